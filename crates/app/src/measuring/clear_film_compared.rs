//! Compares clear film between scans of one device, channel, film and process.
//!
//! It is compared in densities where a tablet calibrates the scans: a tablet that was
//! changed along with the film makes up for it, and then nothing is added.

use super::calibration_used::calibration_of;
use super::surveyed::Surveyed;
use crate::scan_checks::add_finding;
use negative::honesty::{HonestyFinding, RebateChange, RebateReading, rebates_agree};
use negative::patch::PatchStatistics;
use negative::refusal::clear_density;
use notebook::TestFolder;
use quantity::Flag;
use record::{PatchRole, Response};
use std::collections::BTreeMap;

/// Difference of clear film between scans that passes without doubt. \[density\]
const REBATE_TOLERANCE: f64 = 0.02;

/// Compares the scans of a test, and adds to their findings and doubts.
pub(super) fn compare_clear_film(folder: &TestFolder, scans: &mut [Surveyed]) {
    for group in groups(folder, scans) {
        let changed = changed_in(&group);
        let several = group.iter().any(|clear| clear.scan != group[0].scan);
        for clear in &group {
            let scan = &mut scans[clear.scan];
            scan.looked.other_scans |= several;
            let change = changed.iter().find(|c| c.name == clear.name);
            judge(scan, change, density_difference(clear, &group));
        }
    }
}

/// What one scan shows of the clear film of a group.
struct GroupClear {
    scan: usize,
    name: String,
    patches: Vec<PatchStatistics>,
    /// By the scan's calibration.
    density: Option<f64>,
}

/// Clear film that should read alike.
fn groups(folder: &TestFolder, scans: &[Surveyed]) -> Vec<Vec<GroupClear>> {
    let mut groups: BTreeMap<String, Vec<GroupClear>> = BTreeMap::new();
    for (i, scan) in scans.iter().enumerate() {
        let Some(record) = folder.test.scan(&scan.scan) else {
            continue;
        };
        let calibration =
            calibration_of(scans, record).filter(|_| record.response == Response::Density);
        let mut films: BTreeMap<String, Vec<&PatchStatistics>> = BTreeMap::new();
        for ((frame, patch), statistics) in &scan.patches {
            let role = folder.test.patch(frame, patch).map(|p| p.role);
            let (Some(PatchRole::BaseFog), Some(frame)) = (role, folder.test.frame(frame)) else {
                continue;
            };
            let key = format!(
                "{:?} {:?} {} {} {}",
                record.device, record.settings, scan.channel, frame.film, frame.process
            );
            films.entry(key).or_default().push(statistics);
        }
        for (key, patches) in films {
            groups.entry(key).or_default().push(GroupClear {
                scan: i,
                name: scan.scan.to_string(),
                density: calibration
                    .and_then(|c| clear_density(c, &patches))
                    .map(|(density, _)| density),
                patches: patches.into_iter().cloned().collect(),
            });
        }
    }
    groups.into_values().collect()
}

/// Scans whose clear film differs from that of the group by its code values.
fn changed_in(group: &[GroupClear]) -> Vec<RebateChange> {
    let readings: Vec<RebateReading<'_>> = group
        .iter()
        .flat_map(|clear| {
            clear.patches.iter().map(|statistics| RebateReading {
                name: &clear.name,
                statistics,
            })
        })
        .collect();
    rebates_agree(&readings, REBATE_TOLERANCE).changed
}

/// Adds what one scan's difference from the others means for it.
fn judge(
    scan: &mut Surveyed,
    change: Option<&RebateChange>,
    by_density: Option<DensityDifference>,
) {
    // A tablet that was changed along with the film makes up for it.
    let doubt = match (change, by_density) {
        (_, Some(difference)) => difference.beyond().unwrap_or(0.0),
        (Some(change), None) => change.difference.abs(),
        (None, None) => 0.0,
    };
    scan.doubt = scan.doubt.max(doubt);
    let consequence = if doubt > 0.0 {
        format!("; {doubt:.3} is added to the uncertainty of its readings")
    } else {
        "; the tablet in it was changed alike and makes up for it".to_owned()
    };
    match (change, by_density) {
        (Some(change), _) => {
            let mut finding = change.finding.clone();
            finding.evidence += &consequence;
            add_finding(&mut scan.findings, finding);
        }
        (None, Some(difference)) if doubt > 0.0 => {
            let evidence = format!(
                "clear film reads a density of {:.3} here and {:.3} in the other scans, though its code values agree: \
                 this scan's calibration differs{consequence}",
                difference.own, difference.others
            );
            add_finding(
                &mut scan.findings,
                HonestyFinding::new(Flag::TabletMisfit, evidence),
            );
        }
        (None, _) => {}
    }
}

/// Clear film of one scan against that of the others. \[density\]
#[derive(Clone, Copy)]
struct DensityDifference {
    own: f64,
    others: f64,
}

impl DensityDifference {
    /// The difference, when it is more than would pass: the tablet's own uncertainty
    /// is common to all scans of it.
    fn beyond(self) -> Option<f64> {
        let difference = (self.own - self.others).abs();
        (difference > REBATE_TOLERANCE).then_some(difference)
    }
}

/// Gives one scan's clear film beside the median of the other scans'.
fn density_difference(clear: &GroupClear, group: &[GroupClear]) -> Option<DensityDifference> {
    let own = clear.density?;
    let mut others: Vec<f64> = group
        .iter()
        .filter(|c| c.scan != clear.scan)
        .filter_map(|c| c.density)
        .collect();
    others.sort_by(f64::total_cmp);
    let middle = others.len() / 2;
    let others = match others.len() {
        0 => return None,
        n if n % 2 == 1 => others[middle],
        _ => (others[middle - 1] + others[middle]) / 2.0,
    };
    Some(DensityDifference { own, others })
}
