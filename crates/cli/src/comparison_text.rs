//! A comparison as text for a terminal: answer first, then why.

use crate::findings_text::indented;
use app::shown::{Comparison, Difference};

/// Writes a comparison.
pub(crate) fn comparison_text(c: &Comparison) -> String {
    let mut out = String::new();
    let mut line = |text: &str| {
        out.push_str(text.trim_end());
        out.push('\n');
    };
    for note in c.notes.iter().filter(|n| n.starts_with("INVENTED")) {
        line(note);
    }
    for d in &c.differences {
        line(&indented("", &format!("{}.", d.verdict)));
    }
    if c.differences.is_empty() && c.outside_reports.is_empty() {
        line("Nothing in these tests can be compared with each other.");
    }
    if !c.outside_reports.is_empty() {
        line("");
        line("Other people's reports");
        for r in &c.outside_reports {
            line(&indented(
                "- ",
                &format!(
                    "{} (told in {}): {}: {}.",
                    r.report.id,
                    r.told_in,
                    r.verdict.word(),
                    r.reason
                ),
            ));
        }
    }
    if !c.batch.is_empty() {
        line("");
        line("Batches and processes");
        for b in &c.batch {
            line(&indented("- ", &format!("{}.", b.verdict)));
        }
    }
    let told = worth_explaining(&c.differences);
    for d in &told {
        line("");
        line(&format!(
            "What could explain: {} ({})",
            d.second.0, d.second.1
        ));
        line(&format!(
            "           against: {} ({})",
            d.first.0, d.first.1
        ));
        for row in cause_lines(d) {
            line(&row);
        }
    }
    if told.len() < c.differences.len() && c.differences.len() > 1 {
        line("");
        line("All causes of each difference: --json.");
    }
    let mut notes = c
        .notes
        .iter()
        .filter(|n| !n.starts_with("INVENTED"))
        .peekable();
    if notes.peek().is_some() {
        line("");
        for note in notes {
            line(&indented("! ", note));
        }
    }
    line("");
    line("Assumed");
    for a in &c.assumptions {
        line(&indented(
            "- ",
            &format!("{}: {} {} ({})", a.name, a.value, a.unit, a.source).replace("  ", " "),
        ));
    }
    out
}

/// The differences whose causes are told: those that are shown or large, once
/// for each pair. The EI comes last of a pair and has the longest list.
fn worth_explaining(differences: &[Difference]) -> Vec<&Difference> {
    let mut told: Vec<&Difference> = vec![];
    for d in differences {
        if !d.significant && !d.important && differences.len() > 1 {
            continue;
        }
        match told.last_mut() {
            Some(last) if last.first == d.first && last.second == d.second => *last = d,
            _ => told.push(d),
        }
    }
    told
}

/// The causes as a table: state, stops, cause, and why below it. What is
/// excluded stands in one line.
fn cause_lines(d: &Difference) -> Vec<String> {
    let mut lines = vec![];
    let mut excluded = vec![];
    for c in &d.causes {
        if c.state.word() == "excluded" {
            excluded.push(c.cause);
            continue;
        }
        let stops = match c.stops {
            None => "size not known".to_owned(),
            Some((low, high)) if low == high => "0 stops".to_owned(),
            Some((low, high)) => {
                format!("{:+.1} to {:+.1} stops", low.to_stops(), high.to_stops())
            }
        };
        lines.push(format!("  {:<9} {stops:<18} {}", c.state.word(), c.cause));
        lines.push(indented("            ", &c.why));
    }
    if !excluded.is_empty() {
        lines.push(indented(
            "  excluded  ",
            &format!("the same in both: {}", excluded.join("; ")),
        ));
    }
    lines
}
