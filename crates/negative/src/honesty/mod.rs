//! Named checks that a scan is what it seems.
//!
//! Each finding is a flag with one sentence of evidence that holds the numbers.
//! A check that has too little to go on says nothing: small pictures, narrow
//! histograms and charts of a few tones raise no alarm.
//!
//! Begin with [`Check`], the list of them with what each means and what follows
//! for the densities. [`file_findings`] and [`texture_findings`] look at one
//! scan, [`tablet_findings`] and [`light_findings`] at the tablet and the clear
//! film in it, [`uneven_light_finding`] at its rebate from place to place; [`rebates_agree`] and [`repeat_scans_agree`] compare scans.
//! How often they find what was done to a scan, and how often they are wrong, is
//! measured by `xtask doctored` and stands in `docs/scan-checks.md`.

mod check;
mod clipping;
mod finding;
mod halo;
mod histogram;
mod levels;
mod levels_spectrum;
mod light;
mod periodicity;
mod rebate;
mod repeat;
mod single;
mod tablet;
mod texture;
mod uneven_light;

pub use check::{Check, CheckResult, Consequence, EMULSION_LIMIT, Looked, Outcome, check_results};
pub use clipping::{FlatEnds, clipped, flat_ends};
pub use finding::HonestyFinding;
pub use halo::tells_halos;
pub use histogram::{CodeHistogram, HistogramPass};
pub use levels::{comb, eight_bit_origin};
pub use light::{
    ScannerFlare, inverted, light_findings, scanner_flare, told_flare, tone_by_tablet,
};
pub use rebate::{RebateChange, RebateComparison, RebateReading, rebates_agree};
pub use repeat::{RepeatComparison, RepeatError, repeat_scans_agree};
pub use single::{file_findings, of_sensor, texture_findings};
pub use tablet::{tablet_findings, tablet_findings_numbered};
pub use texture::{Texture, TexturePass};
pub use uneven_light::{light_of_scan, uneven_light_finding};
