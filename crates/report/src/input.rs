//! What a report is made from.
//!
//! Plain data, filled by the caller: nothing here opens a file or reads a
//! clock. Pictures come in as finished PNG bytes, drawn at one fixed density
//! scale; this room only sets them side by side and draws outlines over them.

use figures::DensityScale;
use findings::{Findings, TailFinding};
use quantity::Flag;
use record::{Id, Test};

/// Everything that a report shows.
#[derive(Clone, Debug)]
pub struct ReportInput<'a> {
    /// The records.
    pub test: &'a Test,
    /// What was found.
    pub findings: &'a Findings,
    /// The red ends of its films, where filters with known edges tell them.
    pub tails: Vec<TailFinding>,
    /// The negatives, all at the same scale.
    pub pictures: Vec<FramePicture>,
    /// The same negatives, all lifted by the amount that `lifted_scale` names;
    /// empty when no frame needs it.
    pub lifted_pictures: Vec<FramePicture>,
    /// The scale of `pictures`; `None` when there are none.
    pub scale: Option<DensityScale>,
    /// The scale of `lifted_pictures`; `None` when there are none.
    pub lifted_scale: Option<DensityScale>,
    /// Frames behind a filter over the frame without one, pixel by pixel.
    pub maps: MapsTold,
    /// One entry for each scan.
    pub scans: Vec<ScanSummary>,
    /// What was refused, as sentences: `absolute density is refused because …`.
    pub refusals: Vec<String>,
    /// Command lines that make these findings again.
    pub recompute: Vec<String>,
    /// Version of the program.
    pub version: String,
    /// Day the report was made, as it shall be shown.
    pub made_on: Option<String>,
}

/// A frame as it looks on the light table.
#[derive(Clone, Debug, PartialEq)]
pub struct FramePicture {
    /// The frame.
    pub frame: Id,
    /// The scan it was cut from.
    pub scan: Id,
    /// A finished PNG file.
    pub png: Vec<u8>,
    /// Width of the picture in pixels.
    pub width: u32,
    /// Height of the picture in pixels.
    pub height: u32,
    /// What is marked on it.
    pub outlines: Vec<PictureOutline>,
    /// Which outlines were drawn on another frame and carried here, and how
    /// well, as sentences to confirm by looking.
    pub carried: Vec<String>,
}

/// Maps of pairs of frames, and what is said of those that are not drawn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MapsTold {
    /// Pairs that are drawn.
    pub pairs: Vec<PairPictures>,
    /// How many are drawn at most.
    pub most: usize,
    /// Command lines that draw the rest.
    pub further: Vec<String>,
    /// Pairs that could not be drawn, each with its reason.
    pub refused: Vec<String>,
}

/// Two frames of one subject that were laid on each other.
#[derive(Clone, Debug, PartialEq)]
pub struct PairPictures {
    /// The frame behind the filter.
    pub frame: Id,
    /// The frame without it.
    pub against: Id,
    /// The filters.
    pub filters: Vec<Id>,
    /// The light of both.
    pub light: Id,
    /// Density of the frame at every pixel, as SVG.
    pub density: String,
    /// What it got more light than the other, in stops, as SVG.
    pub stops: String,
    /// How the densities of both go together, as SVG.
    pub joint: Option<String>,
    /// How much of the picture is told.
    pub told: String,
    /// What the difference rests on.
    pub limits: String,
    /// The command that draws the same large.
    pub command: String,
}

/// An outline to be drawn over a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureOutline {
    /// What it encloses.
    pub kind: OutlineKind,
    /// Corners, in pixels of the picture from the top left.
    pub corners: Vec<(f64, f64)>,
}

/// What an outline encloses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OutlineKind {
    /// A patch, by the name it has in the records; its letter is found from it.
    Patch(Id),
    /// A step of the tablet that lies in the scan, counted from 1.
    TabletStep(u32),
    /// Clear film.
    BasePlusFog,
}

/// What is known of a scan, in words and numbers ready to be shown.
#[derive(Clone, Debug, PartialEq)]
pub struct ScanSummary {
    /// The scan.
    pub scan: Id,
    /// Path within the test folder.
    pub file: String,
    /// SHA-256 of the file, 64 hex digits.
    pub sha256: String,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Bits for each sample.
    pub bits: u32,
    /// How code values follow light, in words.
    pub tone: String,
    /// Which samples were measured, in words.
    pub channel: String,
    /// What calibrated it, in words.
    pub calibrator: String,
    /// Standard deviation of the calibration's residuals, in density.
    pub residual_sd: Option<f64>,
    /// Lowest and highest gross density that the calibration covers.
    pub valid_density: Option<(f64, f64)>,
    /// What the honesty checks found, each with its evidence.
    pub flags: Vec<FlagEvidence>,
    /// How it compares with the scan it repeats, in words.
    pub repeat: Option<String>,
    /// Every honesty check, in one order for all scans.
    pub checks: Vec<CheckTold>,
}

/// How a check of a scan ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CheckOutcome {
    /// It looked and found nothing.
    NothingFound,
    /// It found something.
    Found,
    /// It could not look.
    NotLooked,
}

/// A check of a scan with how it ended, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckTold {
    /// What it is called.
    pub check: String,
    /// What it means when it finds something.
    pub meaning: &'static str,
    /// How it ended.
    pub outcome: CheckOutcome,
    /// The outcome in words.
    pub words: &'static str,
    /// What was seen, or why it could not look; empty where nothing was found.
    pub evidence: String,
    /// What follows for the densities, in words.
    pub follows: &'static str,
}

/// A flag with what was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct FlagEvidence {
    /// The flag.
    pub flag: Flag,
    /// What was seen, in one sentence with numbers; may be empty.
    pub evidence: String,
}
