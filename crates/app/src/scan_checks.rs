//! The named checks of a scan, joined for `measure` and `evaluate`: what texture,
//! tablet and clear film show, what follows for a density, and the JSON of it.
//!
//! Camera frames, read as signals, are not asked for rhythms or veiling light: their
//! mosaics and subjects have their own.

use negative::calibration::Calibration;
use negative::decode::ScanInfo;
use negative::honesty::{
    CheckResult, HonestyFinding, Looked, Outcome, ScannerFlare, Texture, check_results, of_sensor,
    tells_halos, texture_findings, told_flare,
};
use negative::outline::Outline;
use negative::tone::Tone;
use quantity::{Flag, Measured};
use report::{CheckOutcome, CheckTold};
use serde_json::{Value, json};

/// What to do about a positive that nothing calibrates.
pub(crate) const POSITIVE_REFUSED: &str = "it was turned into a positive and no step tablet calibrates it, so no density can \
     be read from it; scan it again as a negative with every correction switched off, or with a step tablet beside the film";

/// Adds a finding, joined to one of the same flag.
pub(crate) fn add_finding(findings: &mut Vec<HonestyFinding>, finding: HonestyFinding) {
    match findings.iter_mut().find(|f| f.flag == finding.flag) {
        Some(first) => {
            first.evidence += "; ";
            first.evidence += &finding.evidence;
        }
        None => findings.push(finding),
    }
}

/// Adds what the fine structure shows, and says what there was to look at; `tablet`
/// are the outlines of the tablet's steps, if any.
pub(crate) fn look_at_texture(
    info: &ScanInfo,
    texture: &Texture,
    tablet: &[Outline],
    findings: &mut Vec<HonestyFinding>,
) -> Looked {
    findings.extend(texture_findings(info, texture, tablet));
    Looked {
        texture: texture.tells_rhythms(),
        edges: tells_halos(texture, tablet),
        sensor: of_sensor(info),
        ..Looked::default()
    }
}

/// Adds to a density what veiling light may differ by from the tablet to it.
pub(crate) fn veiled(value: Measured<f64>, flare: Option<&ScannerFlare>) -> Measured<f64> {
    let Some(flare) = flare else {
        return value;
    };
    let doubt = flare.doubt(value.value());
    Measured::new(value.value(), value.standard_uncertainty().hypot(doubt))
        .flagged_all(value.flags())
}

/// The veiling light that is told of a calibration.
pub(crate) fn flare_of(calibration: Option<&Calibration>, tone: &Tone) -> Option<ScannerFlare> {
    calibration.and_then(|c| told_flare(c, tone))
}

/// Tells of a positive.
pub(crate) fn is_positive(findings: &[HonestyFinding]) -> bool {
    findings.iter().any(|f| f.flag == Flag::InvertedPositive)
}

/// Every check with its outcome and what follows, as JSON.
pub(crate) fn checks_json(findings: &[HonestyFinding], looked: Looked) -> Value {
    check_results(findings, looked)
        .iter()
        .map(check_json)
        .collect()
}

fn check_json(result: &CheckResult) -> Value {
    json!({
        "name": result.check.name(),
        "meaning": result.check.meaning(),
        "outcome": result.outcome.name(),
        "evidence": result.outcome.reason(),
        "consequence": result.consequence.name(),
        "words": result.words(),
    })
}

/// Every check with its outcome and what follows, for the report.
pub(crate) fn checks_told(findings: &[HonestyFinding], looked: Looked) -> Vec<CheckTold> {
    check_results(findings, looked)
        .into_iter()
        .map(|result| CheckTold {
            check: result.check.words(),
            meaning: result.check.meaning(),
            outcome: match result.outcome {
                Outcome::Passed => CheckOutcome::NothingFound,
                Outcome::Found(_) => CheckOutcome::Found,
                Outcome::NotLooked(_) => CheckOutcome::NotLooked,
            },
            words: result.outcome.words(),
            evidence: result.outcome.reason().unwrap_or_default().to_owned(),
            follows: result.consequence.words(),
        })
        .collect()
}

/// How many checks of one scan ended in which way, and why some could not look, as
/// lines; what was found stands in lines of its own.
pub(crate) fn checks_lines(findings: &[HonestyFinding], looked: Looked) -> Vec<String> {
    let results = check_results(findings, looked);
    let of = |wanted: &str| -> Vec<String> {
        results
            .iter()
            .filter(|r| r.outcome.name() == wanted)
            .map(|r| r.check.words())
            .collect()
    };
    let (passed, found) = (of("passed"), of("found"));
    let mut lines = vec![format!(
        "{} checks of the scan: {} found something, {} found nothing{}",
        results.len(),
        found.len(),
        passed.len(),
        if passed.is_empty() {
            String::new()
        } else {
            format!(" ({})", passed.join(", "))
        }
    )];
    let mut reasons: Vec<(&str, Vec<String>)> = vec![];
    for result in &results {
        let Outcome::NotLooked(why) = result.outcome else {
            continue;
        };
        match reasons.iter_mut().find(|(known, _)| *known == why) {
            Some((_, checks)) => checks.push(result.check.words()),
            None => reasons.push((why, vec![result.check.words()])),
        }
    }
    lines.extend(
        reasons.into_iter().map(|(why, checks)| {
            format!("  could not be looked for: {} ({why})", checks.join(", "))
        }),
    );
    lines
}

/// Evidence of a finding with what follows for the densities, where anything does.
pub(crate) fn evidence_words(finding: &HonestyFinding, looked: Looked) -> String {
    let results = check_results(std::slice::from_ref(finding), looked);
    let follows = results
        .iter()
        .find(|r| matches!(r.outcome, Outcome::Found(_)))
        .map(|r| r.consequence.words());
    match follows {
        Some(words) => format!("{} ({words})", finding.evidence),
        None => finding.evidence.clone(),
    }
}
