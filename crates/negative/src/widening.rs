//! What the checks of a scan mean for the readings in it: coarse codes widen
//! them, and flags that concern the whole scan go with each of them.
//!
//! Begin with [`widen_by_findings`], which belongs between the measuring of
//! patches and [`crate::calibration::calibrate`]: the tablet's steps are read in
//! the same codes as the film, and a tablet that is not widened contradicts its
//! table where its codes are only coarse.
//!
//! | flag | what is added, as the root of the sum of squares |
//! |---|---|
//! | `eight_bit_origin`, `comb` | 1/√12 of the codes from one value that occurs to the next |
//! | `lossy` | 2/√12 codes: compression moves even areas by about a code |

use crate::honesty::HonestyFinding;
use crate::patch::PatchStatistics;
use quantity::{Flag, Flags};

/// Codes that compression with loss leaves between values, in effect.
const LOSSY_STEP: f64 = 2.0;

/// Widens patches by how coarse the checks found the scan's codes to be.
pub fn widen_by_findings(patches: &mut [PatchStatistics], findings: &[HonestyFinding]) {
    // An even spread over a step has a standard deviation of 1/√12 of it.
    let codes = code_step(findings) / 12.0_f64.sqrt();
    for patch in patches {
        patch.code_uncertainty = patch.code_uncertainty.hypot(codes);
        patch.signal_uncertainty = patch
            .signal_uncertainty
            .hypot(codes * patch.signal_per_code);
    }
}

/// Codes from one value to the next, beyond what the file's bits say.
fn code_step(findings: &[HonestyFinding]) -> f64 {
    let lossy = findings.iter().any(|f| f.flag == Flag::Lossy);
    findings
        .iter()
        .filter_map(|f| f.code_step)
        .chain(lossy.then_some(LOSSY_STEP))
        .fold(0.0, f64::max)
}

/// Gives the flags of a scan that each reading in it carries.
///
/// Clipping, evenness and tone are each patch's own matter and stay with it.
#[must_use]
pub fn flags_of_readings(findings: &[HonestyFinding]) -> Flags {
    findings
        .iter()
        .map(|f| f.flag)
        .filter(|f| !matches!(f, Flag::Clipped | Flag::UnevenPatch | Flag::UnknownTone))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::Polarity;
    use crate::tone::{Tone, ToneEncoding, ToneOrigin};

    fn patch() -> PatchStatistics {
        let tone = Tone {
            encoding: ToneEncoding::Linear,
            origin: ToneOrigin::Record,
            polarity: Polarity::BlackIsZero,
            code_max: u16::MAX,
            remarks: Vec::new(),
        };
        PatchStatistics::from_code(4000.0, 3.0, &tone)
    }

    #[test]
    fn coarse_codes_are_added_as_an_even_spread_over_a_step() {
        let mut found = HonestyFinding::new(Flag::EightBitOrigin, String::new());
        found.code_step = Some(257.0);
        let mut patches = [patch()];
        widen_by_findings(&mut patches, &[found]);
        // Hand calculation: 257 / √12 = 74.19; with 3 codes of noise 74.25.
        assert!((patches[0].code_uncertainty - 74.25).abs() < 0.01);
        assert!((patches[0].signal_uncertainty * 65535.0 - 74.25).abs() < 0.01);
    }

    #[test]
    fn loss_counts_as_a_step_of_two_codes_and_a_coarser_step_replaces_it() {
        let lossy = HonestyFinding::new(Flag::Lossy, String::new());
        let mut comb = HonestyFinding::new(Flag::Comb, String::new());
        comb.code_step = Some(3.0);
        assert_eq!(code_step(&[]), 0.0);
        assert_eq!(code_step(std::slice::from_ref(&lossy)), 2.0);
        assert_eq!(code_step(&[lossy, comb]), 3.0);
    }

    #[test]
    fn what_no_check_found_stays_as_it_was() {
        let mut patches = [patch()];
        let clipped = HonestyFinding::new(Flag::Clipped, String::new());
        widen_by_findings(&mut patches, std::slice::from_ref(&clipped));
        assert_eq!(patches, [patch()]);
        assert!(flags_of_readings(&[clipped]).is_empty());
    }
}
