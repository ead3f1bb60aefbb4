//! What an evaluation finds: plain data, ready to be shown.
//!
//! Everything here was computed from records and readings and can be computed
//! again. Every number carries its interval, its flags, and the names of the
//! records it came from.

use quantity::{
    Bound, Density, ExposureIndex, FilterFactor, Flags, Interval, LogExposure, Measured,
    NetDensity, Stops,
};
use record::{FrameRole, Id, PatchRole, Response};

/// All findings of one test.
#[derive(Clone, Debug, PartialEq)]
pub struct Findings {
    /// Title of the test.
    pub title: String,
    /// Whether the test's data are invented.
    pub invented: bool,
    /// Name and version of the method that made these findings.
    pub method: String,
    /// Share of cases in which the intervals are meant to hold the truth.
    pub coverage: f64,
    /// One curve for each film and process.
    pub curves: Vec<CurveFinding>,
    /// Curves of brackets, where no tablet sheet tells the film's curve.
    pub bracket_curves: Vec<BracketFinding>,
    /// One entry for each frame, in the order of the records.
    pub frames: Vec<FrameFinding>,
    /// One entry for each film, filter and light.
    pub factors: Vec<FactorFinding>,
    /// The film's own speed without a filter, for each film and light.
    pub speeds: Vec<SpeedFinding>,
    /// The Wood effect, for each film, filter, light, and sun or shade.
    pub wood_effect: Vec<WoodFinding>,
    /// What could have made differences within the test, and by how many stops.
    pub causes: Vec<Cause>,
    /// What was asked and could not be told, and what would settle it.
    pub cannot_tell: Vec<CannotTell>,
    /// Each number that was assumed rather than recorded.
    pub assumptions: Vec<Assumed>,
    /// Every reading as it was used.
    pub readings: Vec<ReadingUse>,
    /// What the verdicts on frames go by.
    pub criteria: VerdictCriteria,
    /// Flags of the test as a whole.
    pub flags: Flags,
    /// Sentences about the test as a whole, most important first.
    pub notes: Vec<String>,
}

/// The fitted curve of one film in one process.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveFinding {
    /// The film.
    pub film: Id,
    /// The process.
    pub process: Id,
    /// What the vertical scale is.
    pub response: Response,
    /// Whether log H is in lux seconds; otherwise it is relative.
    pub absolute_exposure: bool,
    /// Base+fog; `None` on a scale where it has no meaning.
    pub base_plus_fog: Option<Measured<Density>>,
    /// The curve, sampled from the lowest to the highest log H that readings
    /// reach, with the fitted value and its standard uncertainty.
    pub samples: Vec<CurveSample>,
    /// Gradient of the straight line.
    pub gradient: Measured<f64>,
    /// log H at 0.10 over base+fog; `None` where it has no meaning.
    pub speed_point: Option<Measured<LogExposure>>,
    /// log H 1.30 above the speed point with the gross density there: point n.
    pub point_n: Option<(LogExposure, Density)>,
    /// Speed and contrast under every named criterion, as rows to be shown.
    pub criteria: Vec<CriterionRow>,
    /// Root mean square of the residuals of the readings on this curve.
    pub residual_rms: f64,
    /// How many readings, limits counted, lie on this curve.
    pub reading_count: usize,
    /// Flags.
    pub flags: Flags,
}

/// One point of a sampled curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurveSample {
    /// log10 exposure.
    pub log_h: f64,
    /// Gross density, or signal on the response's own scale.
    pub value: f64,
    /// One standard deviation of the fitted value.
    pub standard_uncertainty: f64,
}

/// The curve that the frames' own bracket gives, without a step tablet.
#[derive(Clone, Debug, PartialEq)]
pub struct BracketFinding {
    /// The film.
    pub film: Id,
    /// The process.
    pub process: Id,
    /// Filters of the bracket's frames.
    pub filters: Vec<Id>,
    /// What was read: densities, or values relative to clear film.
    pub response: Response,
    /// Frames with readings that were taken.
    pub frames: Vec<Id>,
    /// The curve, or why there is none.
    pub answer: Result<BracketTold, String>,
}

/// What a bracket tells.
#[derive(Clone, Debug, PartialEq)]
pub struct BracketTold {
    /// The curve.
    pub samples: Vec<BracketSample>,
    /// The readings on it.
    pub readings: Vec<PlacedReading>,
    /// Value at which log H is set to zero.
    pub anchor: f64,
    /// Scatter of a reading about the curve, one standard deviation.
    pub reading_sd: f64,
    /// Readings used.
    pub used: usize,
    /// Readings left out: clipped, or alone in their patch.
    pub left_out: usize,
    /// What it can't tell, as sentences.
    pub cannot_tell: Vec<String>,
}

/// A point of a curve from a bracket.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BracketSample {
    /// Value, in the unit of the readings.
    pub value: f64,
    /// log10 H relative to the anchor.
    pub log_h: f64,
    /// Standard uncertainty of `log_h` against the anchor: scatter, and what the exposures
    /// are uncertain by.
    pub log_h_sd: f64,
}

/// A reading where a bracket's curve puts it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedReading {
    /// The frame.
    pub frame: Id,
    /// The patch.
    pub patch: Id,
    /// log10 H relative to the curve's anchor.
    pub log_h: f64,
    /// The reading.
    pub value: Measured<f64>,
}

/// One criterion of speed or contrast, answered or not.
#[derive(Clone, Debug, PartialEq)]
pub struct CriterionRow {
    /// Stable key with unit, as in JSON.
    pub key: &'static str,
    /// Name in words.
    pub name: &'static str,
    /// The value and one standard deviation, or why there is none.
    pub answer: Result<(f64, f64), String>,
    /// Flags of the value.
    pub flags: Flags,
}

/// What a frame came out as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// No density over base+fog.
    Blank,
    /// Shadows without detail.
    Thin,
    /// Within the range of a paper.
    Printable,
    /// Beyond what prints well.
    Dense,
    /// A control, not judged as a picture.
    Control,
    /// Cannot be told on this scale or from these patches.
    CannotTell,
}

impl Verdict {
    /// Gives the stable word used in JSON and on pages.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Blank => "blank",
            Self::Thin => "thin",
            Self::Printable => "printable",
            Self::Dense => "dense",
            Self::Control => "control",
            Self::CannotTell => "cannot_tell",
        }
    }
}

/// One frame.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameFinding {
    /// The frame.
    pub frame: Id,
    /// Film.
    pub film: Id,
    /// Process.
    pub process: Id,
    /// Filters, in order.
    pub filters: Vec<Id>,
    /// Light, when exposed in a camera.
    pub light: Option<Id>,
    /// What it was for.
    pub role: FrameRole,
    /// Holder and side.
    pub holder: Option<String>,
    /// Exposure in words: `f/22, 1/4 s`.
    pub exposure: String,
    /// What it came out as.
    pub verdict: Verdict,
    /// Why, in one sentence with numbers.
    pub reason: String,
    /// How many stops more exposure the frame needed for its shadows to reach
    /// the criterion; negative when it had more than enough.
    pub stops_missing: Option<Measured<Stops>>,
    /// Set where the factor of the frame's filters is only a bound:
    /// `stops_missing` is then the limit, and the truth lies on this side of it.
    pub stops_missing_bound: Option<Bound>,
    /// How far the frame's exposure is off from what the record says, as the
    /// fit sees it: positive when it got more light.
    pub exposure_error: Option<Measured<Stops>>,
    /// The EI that this frame's exposure stands for in its light, filter
    /// included; `None` without a light reading. As in the EI that is answered,
    /// reciprocity is left out: the time is the one that the film felt.
    pub effective_ei: Option<ExposureIndex>,
    /// Its patches.
    pub patches: Vec<PatchFinding>,
    /// Flags.
    pub flags: Flags,
}

/// One patch of a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchFinding {
    /// Name.
    pub patch: Id,
    /// What it shows.
    pub role: PatchRole,
    /// The reading on the response's own scale (gross density on the density scale).
    pub reading: Measured<f64>,
    /// Whether the reading is a limit.
    pub limit: Option<Bound>,
    /// Net density, on the density scale only.
    pub net: Option<NetDensity>,
    /// Where the fit places it on the exposure axis.
    pub log_h: Option<LogExposure>,
}

/// A filter factor, or the bound that is all the data allow.
#[derive(Clone, Debug, PartialEq)]
pub struct FactorFinding {
    /// The film.
    pub film: Id,
    /// The filters, in order, joined by `+` when shown.
    pub filters: Vec<Id>,
    /// The light.
    pub light: Id,
    /// The filters of the anchor; empty when it was unfiltered.
    pub against: Vec<Id>,
    /// The factor with its interval; with a bound, only the end that it names holds.
    pub factor: Interval<FilterFactor>,
    /// The same in stops.
    pub stops: Interval<Stops>,
    /// The EI to set on a meter that reads without the filter, with its
    /// interval; `None` when it can't be told.
    pub ei: Option<Interval<ExposureIndex>>,
    /// What the EI rests on, in words.
    pub ei_basis: String,
    /// Which side the factor is known from, when it is only a bound.
    pub bound: Option<Bound>,
    /// The net density at which the two curves were matched.
    pub matched_at: Option<NetDensity>,
    /// What it was matched on: names of the patches.
    pub matched_on: Vec<Id>,
    /// One standard deviation of the factor from patch to patch, in stops;
    /// `None` with fewer than three patches.
    pub patch_spread: Option<Stops>,
    /// Number of filtered frames with at least one reading that is no limit.
    pub frames_used: usize,
    /// Number of filtered frames that are limits only.
    pub frames_as_limits: usize,
    /// What made the variance of the factor, largest first; shares add to 1.
    pub shares: Vec<Share>,
    /// The readings that made it: frame and patch.
    pub made_from: Vec<(Id, Id)>,
    /// What would narrow the interval most, best first.
    pub next_steps: Vec<NextStep>,
    /// How the interval was made.
    pub interval_method: String,
    /// Flags.
    pub flags: Flags,
}

/// Something to expose or measure, and what it is expected to bring.
#[derive(Clone, Debug, PartialEq)]
pub struct NextStep {
    /// What to do.
    pub what: String,
    /// Half-width of the factor's interval now, in stops.
    pub half_width_now_stops: f64,
    /// Half-width to be expected then, in stops.
    pub half_width_then_stops: f64,
}

/// A cause and how many stops it explains.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// What is compared.
    pub question: String,
    /// The cause.
    pub cause: String,
    /// How many stops it explains, with its interval.
    pub stops: Interval<Stops>,
    /// What was assumed.
    pub assumed: String,
}

/// What a source of uncertainty contributed to the variance of an answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// What it is, in words: `marked shutter speeds`.
    pub source: String,
    /// Share of the variance, 0 to 1.
    pub share: f64,
}

/// The film's own speed, without a filter.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedFinding {
    /// The film.
    pub film: Id,
    /// The process.
    pub process: Id,
    /// EI at 0.10 over base+fog with its interval.
    pub ei: Interval<ExposureIndex>,
    /// What it rests on, in words.
    pub basis: String,
    /// Flags.
    pub flags: Flags,
}

/// Foliage against a grey card, behind the filter less without it.
#[derive(Clone, Debug, PartialEq)]
pub struct WoodFinding {
    /// The film.
    pub film: Id,
    /// The filters.
    pub filters: Vec<Id>,
    /// The light.
    pub light: Id,
    /// Whether the foliage was in the shade.
    pub shade: bool,
    /// The foliage patch.
    pub foliage: Id,
    /// The card it was compared with.
    pub card: Id,
    /// How many stops the foliage gained over the card.
    pub gain: Interval<Stops>,
    /// Which side it is known from, when it is only a bound.
    pub bound: Option<Bound>,
    /// Flags.
    pub flags: Flags,
}

/// A question without an answer, and the sheet that would settle it.
#[derive(Clone, Debug, PartialEq)]
pub struct CannotTell {
    /// What can't be told.
    pub question: String,
    /// Why.
    pub reason: String,
    /// What to expose or write down.
    pub remedy: String,
}

/// A number that was assumed.
#[derive(Clone, Debug, PartialEq)]
pub struct Assumed {
    /// What it is.
    pub name: String,
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// Where it comes from.
    pub source: String,
}

/// A reading as it entered the estimate.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingUse {
    /// The frame.
    pub frame: Id,
    /// The patch.
    pub patch: Id,
    /// What kind of number it is.
    pub response: Response,
    /// The number, its uncertainty and flags.
    pub value: Measured<f64>,
    /// Whether it was used as a limit.
    pub limit: Option<Bound>,
    /// What the fit gives for it.
    pub fitted: Option<f64>,
    /// Standard deviation that the fit allowed it.
    pub allowed: f64,
    /// Weight it was left with, 1 for full.
    pub weight: f64,
    /// How it was got, in words.
    pub origin: String,
}

/// What verdicts go by. All densities are net.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VerdictCriteria {
    /// A patch below this can't be told from base+fog.
    pub blank_below: f64,
    /// Shadows below this have no detail.
    pub shadow_at_least: f64,
    /// Shadows above this waste the paper's range.
    pub shadow_at_most: f64,
    /// Highlights above this don't print.
    pub highlight_at_most: f64,
    /// A grey card below this means a thin negative, when no shadow is marked.
    pub card_at_least: f64,
    /// A grey card above this means a dense negative, when no highlight is marked.
    pub card_at_most: f64,
}

impl VerdictCriteria {
    /// The criteria of common practice: shadows from 0.10, a card near Zone V
    /// (0.65 to 0.75) give or take a stop and a third, highlights up to the
    /// softest paper's range.
    pub const COMMON_PRACTICE: Self = Self {
        blank_below: 0.03,
        shadow_at_least: 0.10,
        shadow_at_most: 0.60,
        highlight_at_most: 1.60,
        card_at_least: 0.40,
        card_at_most: 1.10,
    };
}
