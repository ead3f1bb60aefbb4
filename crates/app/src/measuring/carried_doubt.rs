//! What patches that were carried from another frame are more uncertain by.

use super::surveyed::Surveyed;
use crate::carrying::{Carried, Way};
use negative::registration::misplacement;
use quantity::{Flag, Measured};
use record::Reading;

/// Flags the readings of carried patches, and makes them as uncertain as their
/// place makes them.
pub(super) fn doubt_carried(carried: &Carried, scans: &[Surveyed], readings: &mut [Reading]) {
    for frame in &carried.frames {
        let flag = match frame.way {
            Way::Registered(_) => Flag::PatchCarried,
            Way::Holder { .. } => Flag::PatchByHolder,
        };
        for patch in &frame.patches {
            let here = |r: &&mut Reading| r.frame == frame.frame && r.patch == patch.name;
            let statistics = scans
                .iter()
                .filter(|s| s.scan == frame.scan)
                .flat_map(|s| &s.patches)
                .find(|((f, name), _)| *f == frame.frame && *name == patch.name);
            if let (Some(reading), Some((_, statistics))) =
                (readings.iter_mut().find(here), statistics)
            {
                let doubt = misplacement(statistics, &patch.outline, patch.uncertainty_px);
                let value = &reading.value;
                reading.value =
                    Measured::new(value.value(), value.standard_uncertainty().hypot(doubt))
                        .flagged_all(value.flags())
                        .flagged(flag);
            }
        }
    }
}
