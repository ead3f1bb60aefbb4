//! The named checks of a scan, joined for `measure` and `evaluate`: what texture,
//! tablet and clear film show, what follows for a density, and the JSON of it.
//!
//! Camera frames, read as signals, are not asked for rhythms or veiling light: their
//! mosaics and subjects have their own.

use negative::calibration::Calibration;
use negative::decode::ScanInfo;
use negative::honesty::{
    CheckResult, HonestyFinding, Looked, Outcome, ScannerFlare, Texture, check_results,
    tells_halos, texture_findings, told_flare,
};
use negative::outline::Outline;
use negative::tone::Tone;
use quantity::{Flag, Measured};
use serde_json::{Value, json};

/// What to do about a positive that nothing calibrates.
pub(crate) const POSITIVE_REFUSED: &str = "it was turned into a positive and no step tablet calibrates it, so no density can \
     be read from it; scan it again as a negative with every correction switched off, or with a step tablet beside the film";

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
    let (outcome, evidence) = match &result.outcome {
        Outcome::Passed => ("passed", None),
        Outcome::Found(evidence) => ("found", Some(evidence.as_str())),
        Outcome::NotLooked(why) => ("not_looked", Some(*why)),
    };
    json!({
        "name": result.check.name(),
        "meaning": result.check.meaning(),
        "outcome": outcome,
        "evidence": evidence,
        "consequence": result.consequence.name(),
    })
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
