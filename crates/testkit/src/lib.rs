//! Negatives and tests made from known truth, for tests and the worked example.
//!
//! A pure room: the number that picks a draw is handed in, bytes are handed
//! out, and the same number gives the same bytes on every machine. It makes
//! records ([`record::TestParts`]) and scans; it knows no folder format.
//!
//! Read [`truth`](Truth) first: the convention of exposure stands there. Then
//! [`demo`], the worked example with pictures; [`simulate_readings`], whole
//! tests without pixels by the hundred; and [`scan_from_codes`], a scan from a
//! table of code values.

mod demo;
mod expose_frames;
mod film_scan;
mod frame_pair;
mod frame_scan;
mod invented;
mod landscape;
mod large_test;
mod made;
mod makers_raw;
mod negative;
mod noise;
mod plain_tiff;
mod planned_test;
mod random_test;
mod raw_frame;
mod scan_from_codes;
mod scanner;
mod tablet_scan;
mod texture;
mod tiff_file;
mod truth;
mod waves;

pub use demo::{DemoTest, demo};
pub use expose_frames::{FrameTruth, expose_frames};
pub use film_scan::{FilmScan, FilmScanPlan, ScanCoding, film_scan};
pub use frame_pair::{FramePair, FramePairPlan, SecondFrame, frame_pair};
pub use frame_scan::{FrameFlaw, FrameScan, frame_scan};
pub use large_test::large_test;
pub use makers_raw::{MakersKind, MakersRaw};
pub use plain_tiff::{PlainTiff, low_byte_first};
pub use planned_test::{
    GradientChange, MeanDensities, Placement, Plan, PlannedTest, RecordedLaw,
    THRESHOLD_NET_DENSITY, Times, Timing, Unknown, factor_by_eye, plan_test,
};
pub use random_test::{
    BLANK_NET_DENSITY, Bracket, CurveShape, ErrorSizes, ReadingsSpec, Tails, simulate_readings,
};
pub use raw_frame::{RawFrame, RawTag};
pub use scan_from_codes::{CodeScan, Depth, scan_from_codes};
pub use tablet_scan::{AnsweredStep, PlaceError, TabletFlaw, TabletScan, tablet_scan};
pub use tiff_file::{
    DeclaredTone, TiffForm, linear_grey_profile, tiff_grey8, tiff_grey16, tiff_of_light,
};
pub use truth::{
    Bend, PIVOT_NET_DENSITY, TrueDensity, TrueFilter, TrueFrame, TrueWoodEffect, Truth, TruthCurve,
};
pub use waves::waves;
