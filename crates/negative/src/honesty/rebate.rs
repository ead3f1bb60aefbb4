//! Clear film of several scans that should be alike.

use super::finding::HonestyFinding;
use crate::patch::{PatchStatistics, median};
use quantity::Flag;

/// The reading of clear film (rebate, base) in one of several scans.
#[derive(Clone, Copy, Debug)]
pub struct RebateReading<'a> {
    /// How the scan is called.
    pub name: &'a str,
    /// Statistics of the rebate.
    pub statistics: &'a PatchStatistics,
}

/// How well the clear film of several scans agrees.
#[derive(Clone, Debug, PartialEq)]
pub struct RebateComparison {
    /// Largest difference from the median scan, as log10 of signal.
    pub largest_difference: f64,
    /// The scans that do not agree with the others, by name.
    pub changed: Vec<RebateChange>,
}

/// A scan whose clear film reads differently.
#[derive(Clone, Debug, PartialEq)]
pub struct RebateChange {
    /// How the scan is called.
    pub name: String,
    /// log10 of its signal over that of the median scan; between two scans
    /// alone, over that of the other.
    pub difference: f64,
    /// [`Flag::LevelsChanged`] with its numbers.
    pub finding: HonestyFinding,
}

/// Compares the clear film of scans that should be alike.
///
/// `tolerance` is a density that film base may differ by without reason for
/// doubt (0.02 is usual); three standard uncertainties of the readings are
/// allowed as well. Readings of one name are averaged. The scans that differ
/// from the median of all are named; of two scans, both are, since which was
/// changed can't be told. Fewer than two scans agree with themselves.
#[must_use]
pub fn rebates_agree(rebates: &[RebateReading<'_>], tolerance: f64) -> RebateComparison {
    struct Clear<'a> {
        name: &'a str,
        log: f64,
        error: f64,
        code: f64,
        patches: f64,
    }
    let mut scans: Vec<Clear<'_>> = Vec::new();
    for rebate in rebates {
        let signal = rebate.statistics.signal.max(1e-9);
        let log = libm::log10(signal);
        let error = rebate.statistics.signal_uncertainty / signal * core::f64::consts::LOG10_E;
        let code = rebate.statistics.mean_code;
        match scans.iter_mut().find(|s| s.name == rebate.name) {
            Some(scan) => {
                let count = scan.patches;
                let joined = |old: f64, new: f64| (old * count + new) / (count + 1.0);
                scan.log = joined(scan.log, log);
                scan.error = scan.error.max(error);
                scan.code = joined(scan.code, code);
                scan.patches += 1.0;
            }
            None => scans.push(Clear {
                name: rebate.name,
                log,
                error,
                code,
                patches: 1.0,
            }),
        }
    }
    let usual = median(scans.iter().map(|s| s.log).collect());
    let usual_code = median(scans.iter().map(|s| s.code).collect());
    let usual_error = median(scans.iter().map(|s| s.error).collect());
    let known = rebates.iter().all(|r| r.statistics.tone_known);
    let scale = if known {
        "density"
    } else {
        "log10 of code (tone unknown)"
    };
    // Codes of one scale only can be compared by eye.
    let code_max = rebates.first().map_or(0, |r| r.statistics.code_max);
    let one_scale = rebates.iter().all(|r| r.statistics.code_max == code_max);
    let decimals = usize::from(code_max <= u16::from(u8::MAX));
    let shown = |scan: Option<&Clear<'_>>| {
        let (log, code) = scan.map_or((usual, usual_code), |s| (s.log, s.code));
        if one_scale {
            format!("code {code:.decimals$}")
        } else {
            format!("{:.1} % of the scale", libm::pow(10.0, log) * 100.0)
        }
    };
    let mut comparison = RebateComparison {
        largest_difference: 0.0,
        changed: Vec::new(),
    };
    for (i, scan) in scans.iter().enumerate() {
        let (difference, against) = if let [a, b] = &scans[..] {
            let other = if i == 0 { b } else { a };
            let against = format!(
                "{} in {}, and which of the two was changed can't be told",
                shown(Some(other)),
                other.name
            );
            (scan.log - other.log, against)
        } else {
            let against = format!("{} in the median of {} scans", shown(None), scans.len());
            (scan.log - usual, against)
        };
        let allowed = tolerance.max(3.0 * scan.error.hypot(usual_error));
        comparison.largest_difference = comparison.largest_difference.max(difference.abs());
        if difference.abs() > allowed {
            let evidence = format!(
                "clear film reads {} here and {against}: a difference of {:.3} in {scale}, where up to {allowed:.3} would pass",
                shown(Some(scan)),
                difference.abs()
            );
            comparison.changed.push(RebateChange {
                name: scan.name.to_owned(),
                difference,
                finding: HonestyFinding::new(Flag::LevelsChanged, evidence),
            });
        }
    }
    comparison
}
