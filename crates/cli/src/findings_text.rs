//! Findings as text for a terminal: answer first, then why.

use app::shown::{
    self, Bound, BracketFinding, CriterionRow, CurveFinding, FactorFinding, Findings, Flag,
    FrameFinding, filters_words, opposite,
};

/// Widest line of running text, in characters.
const WIDTH: usize = 78;

/// Writes the findings.
pub(crate) fn findings_text(f: &Findings) -> String {
    let mut out = String::new();
    let mut line = |text: String| {
        out.push_str(text.trim_end());
        out.push('\n');
    };
    line(f.title.clone());
    if f.invented {
        line("INVENTED DATA: no film was exposed; the numbers show how the work is done.".into());
    }
    line(String::new());
    for factor in &f.factors {
        for text in factor_lines(factor, f.coverage) {
            line(text);
        }
    }
    for speed in &f.speeds {
        line(format!(
            "film {} in {}, no filter: EI {}",
            speed.film,
            speed.process,
            shown::ei_interval(speed.ei, None)
        ));
    }
    for curve in &f.curves {
        line(curve_line(curve));
    }
    for bracket in &f.bracket_curves {
        line(bracket_line(bracket));
    }
    for wood in &f.wood_effect {
        line(format!(
            "Wood effect, {}, {}, light {}: {} stops ({} against {})",
            filters_words(&wood.filters),
            if wood.shade { "shade" } else { "sun" },
            wood.light,
            shown::interval(wood.gain, wood.bound, shown::signed_stops),
            wood.foliage,
            wood.card,
        ));
    }
    line(String::new());
    line("Frames".into());
    for row in frame_lines(&f.frames) {
        line(row);
    }
    if !f.causes.is_empty() {
        line(String::new());
        line("What explains differences within the test".into());
        for c in &f.causes {
            line(indented(
                "- ",
                &format!(
                    "{}: {} gives {} stops; assumed: {}.",
                    c.question,
                    c.cause,
                    shown::interval(c.stops, None, shown::signed_stops),
                    c.assumed
                ),
            ));
        }
    }
    if !f.notes.is_empty() {
        line(String::new());
        for note in &f.notes {
            line(indented("! ", note));
        }
    }
    if !f.cannot_tell.is_empty() {
        line(String::new());
        line("What can't be told, and what would settle it".into());
        for c in &f.cannot_tell {
            line(indented(
                "- ",
                &format!("{}: {}. Remedy: {}.", c.question, c.reason, c.remedy),
            ));
        }
    }
    out
}

/// Writes sentences under a heading; nothing when there are none.
pub(crate) fn sentences(heading: &str, sentences: &[String]) -> String {
    if sentences.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{heading}\n");
    for sentence in sentences {
        out.push_str(&indented("- ", sentence));
        out.push('\n');
    }
    out
}

fn bracket_line(b: &BracketFinding) -> String {
    let behind = if b.filters.is_empty() {
        "without filter".to_owned()
    } else {
        format!("behind {}", filters_words(&b.filters))
    };
    let whose = format!(
        "curve of film {} in {} by its own bracket {behind}, no step tablet",
        b.film, b.process
    );
    match &b.answer {
        Ok(told) => {
            let ends = told.samples.first().zip(told.samples.last());
            let span = ends.map_or(0.0, |(first, last)| last.log_h - first.log_h);
            format!(
                "{whose}: relative log H over {span:.2}, {} readings scatter by {:.3}; it has no level",
                told.used, told.reading_sd
            )
        }
        Err(why) => format!("{whose}: none, because {why}"),
    }
}

fn curve_line(c: &CurveFinding) -> String {
    let mut text = format!(
        "curve of film {} in {}: gradient {}",
        c.film,
        c.process,
        shown::value_with_uncertainty(c.gradient.value(), c.gradient.standard_uncertainty())
    );
    if let Some(base) = &c.base_plus_fog {
        text.push_str(&format!(
            ", base+fog {}",
            shown::value_with_uncertainty(base.value().to_density(), base.standard_uncertainty())
        ));
    }
    if let Some(m) = &c.speed_point {
        text.push_str(&format!(
            ", 0.10 over it at {} {}",
            if c.absolute_exposure {
                "log H (lux seconds)"
            } else {
                "relative log H"
            },
            shown::value_with_uncertainty(m.value().to_log10(), m.standard_uncertainty())
        ));
    }
    text.push_str(&format!(
        "; {} readings, rms {:.3}",
        c.reading_count, c.residual_rms
    ));
    if c.flags.contains(Flag::RelativeDensity) {
        text.push_str("; the vertical scale is relative");
    }
    if c.flags.contains(Flag::RelativeExposure) {
        text.push_str("; the exposure scale is relative");
    }
    text
}

fn factor_lines(f: &FactorFinding, coverage: f64) -> Vec<String> {
    let mut lines = vec![format!(
        "film {}, {}, light {}:",
        f.film,
        filters_words(&f.filters),
        f.light
    )];
    match &f.ei {
        Some(ei) => {
            lines.push(format!(
                "  EI {}",
                shown::ei_interval(*ei, opposite(f.bound))
            ));
            if f.ei_basis.contains("box speed") {
                lines.push(format!("  EI is {}", f.ei_basis));
            }
        }
        None => lines.push(format!("  EI: {}", f.ei_basis)),
    }
    lines.push(format!(
        "  factor {}, that is {} stops",
        shown::interval(f.factor, f.bound, shown::factor),
        shown::interval(f.stops, f.bound, shown::stops),
    ));
    let how = match f.bound {
        None => format!("{:.0} % interval, {}", 100.0 * coverage, f.interval_method),
        Some(Bound::AtLeast) => "a lower bound: all frames blank there".to_owned(),
        Some(Bound::AtMost) => "an upper bound: all frames too dense there".to_owned(),
    };
    let matched: Vec<&str> = f.matched_on.iter().map(|id| id.as_str()).collect();
    lines.push(format!(
        "  {how}; {}, {} as limits; matched on {}{}",
        counted(f.frames_used, "frame used", "frames used"),
        f.frames_as_limits,
        if matched.is_empty() {
            "nothing".to_owned()
        } else {
            matched.join(", ")
        },
        f.matched_at.map_or_else(String::new, |d| format!(
            " at {:.2} over base+fog",
            d.to_density()
        )),
    ));
    for step in &f.next_steps {
        lines.push(format!(
            "  to narrow it from ±{:.2} to ±{:.2} stop: {}",
            step.half_width_now_stops, step.half_width_then_stops, step.what
        ));
    }
    for flag in f.flags.iter() {
        lines.push(format!("  note: {}", flag.meaning()));
    }
    lines
}

fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// The frames as a table; columns as wide as their longest entry.
fn frame_lines(frames: &[FrameFinding]) -> Vec<String> {
    let rows: Vec<[String; 5]> = frames
        .iter()
        .map(|f| {
            let stops = f.stops_missing.as_ref().map(|m| m.value().to_stops());
            let missing = match stops {
                Some(s) if f.stops_missing_bound == Some(Bound::AtLeast) => {
                    format!("; at least {s:.1} stops short")
                }
                Some(s) if f.stops_missing_bound == Some(Bound::AtMost) => {
                    format!("; at least {:.1} stops more than needed", -s)
                }
                Some(s) if f.flags.contains(Flag::RecordContradicted) => {
                    let side = if s > 0.0 { "short" } else { "more than needed" };
                    format!("; by its record {:.1} stops {side}", s.abs())
                }
                Some(s) if s > 0.05 => format!("; {s:.1} stops short"),
                Some(s) if s < -1.0 => format!("; {:.1} stops more than needed", -s),
                _ => String::new(),
            };
            [
                f.frame.to_string(),
                filters_words(&f.filters),
                f.exposure.clone(),
                f.verdict.word().replace('_', " "),
                format!("{}{missing}", f.reason),
            ]
        })
        .collect();
    let wide = |column: usize| {
        rows.iter()
            .map(|r| r[column].chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths = [wide(0), wide(1), wide(2), wide(3)];
    rows.iter()
        .map(|r| {
            let mut line = String::from("  ");
            for (cell, width) in r.iter().zip(widths) {
                line.push_str(cell);
                line.push_str(&" ".repeat(width - cell.chars().count() + 2));
            }
            line.push_str(&r[4]);
            line
        })
        .collect()
}

/// Writes the criteria as a table; ± is one standard deviation, limits are said as such.
pub(crate) fn criteria_text(
    rows: &[CriterionRow],
    limits: &[(&'static str, Bound, f64)],
) -> String {
    let mut out = String::new();
    let mut reasons: Vec<&str> = vec![];
    for row in rows {
        let flags: Vec<&str> = row.flags.iter().map(shown::Flag::name).collect();
        let limit = limits.iter().find(|(key, _, _)| *key == row.key);
        let value = match (&row.answer, limit) {
            (Ok(_), Some((_, Bound::AtLeast, limit))) => format!("at least {limit:.2}"),
            (Ok(_), Some((_, Bound::AtMost, limit))) => format!("at most {limit:.2}"),
            (Ok((value, sd)), None) => shown::value_with_uncertainty(*value, *sd),
            (Err(why), _) if reasons.contains(&why.as_str()) => {
                "not given, for a reason given above".to_owned()
            }
            (Err(why), _) => {
                reasons.push(why);
                format!("not given: {why}")
            }
        };
        out.push_str(&format!(
            "{:<70} {value}{}\n",
            row.name,
            if flags.is_empty() {
                String::new()
            } else {
                format!("  [{}]", flags.join(", "))
            }
        ));
    }
    out
}

pub(crate) fn indented(mark: &str, text: &str) -> String {
    let mut out = String::from(mark);
    let mut column = mark.len();
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if column + length + 1 > WIDTH && column > mark.len() {
            out.push('\n');
            out.push_str(&" ".repeat(mark.len()));
            column = mark.len();
        } else if column > mark.len() {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out
}
