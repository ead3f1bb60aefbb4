//! The planning of a test: which frames to expose, in what order, and what
//! interval of the factor they are expected to give.
//!
//! Begin with [`plan_test`]. [`FactorPrior`] is what is believed of the factor
//! beforehand, [`factor_prior`] what common practice believes. The expected
//! interval comes from the very model that evaluates the test afterwards.
//!
//! This part must never choose what is not at hand: sheets, sides, marks and
//! times are handed in.

mod changed_light;
mod expected;
mod frames;
mod layout;
mod left_expected;
mod order;
mod prior;
mod request;
mod setting;
mod several;
mod timing;

pub use changed_light::{
    ChangedLight, ChangedLightError, FramesLeft, LawOfFrame, PlannedAnew, frames_left,
};
pub use expected::ExpectedInterval;
use expected::Foresight;
pub use frames::FrameOfPlan;
pub use left_expected::{LeftExpected, expected_of_left};
pub use prior::{FactorPrior, OutsidePriorTable, factor_prior};
pub use request::{PlanError, PlanRequest};
pub use several::{FilterAsked, FilterPlanned, SharedPlan, plan_filters};
pub use timing::Timing;

use crate::assumptions::Assumptions;
use frames::{frames, none_fits};
use layout::{Layout, layouts};
use quantity::ExposureIndex;
use record::{PlannedExposure, TestParts};

/// Fewest sheets with which a factor can have an interval: one without and one
/// behind the filter.
pub const FEWEST_SHEETS: usize = 2;
/// The bracket reaches so many standard deviations of the expected factor to either
/// side, which leaves the best frame at its end in at most a fifth of cases.
const HELD_SD: f64 = 1.28;
/// Most sheets of one plan.
pub const MOST_SHEETS: usize = 24;

/// A plan, or why no sheet should be spent.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanAnswer {
    /// Film and filter hardly overlap: no image is expected.
    NoImage,
    /// What to expose.
    Planned(Box<TestPlan>),
}

/// What to expose and what it is expected to bring.
#[derive(Clone, Debug, PartialEq)]
pub struct TestPlan {
    /// The frames in the order they are to be exposed.
    pub frames: Vec<FrameOfPlan>,
    /// What interval they are expected to give.
    pub expected: ExpectedInterval,
    /// EI that is expected behind the filter: box speed over the factor's middle.
    pub expected_ei: ExposureIndex,
    /// EI at the ends of the interval, should the factor be as expected.
    pub ei_low: ExposureIndex,
    /// The other end.
    pub ei_high: ExposureIndex,
    /// Step of the bracket. \[stops\]
    pub step_stops: f64,
    /// How times and apertures are chosen.
    pub timing: Timing,
    /// Records and patches of the test as it will be once exposed, without readings.
    pub as_if_exposed: TestParts,
}

impl TestPlan {
    /// Counts the frames of a kind of exposure with filters or without.
    #[must_use]
    pub fn camera_frames(&self) -> usize {
        self.frames
            .iter()
            .filter(|f| matches!(f.frame.exposure, PlannedExposure::Camera(_)))
            .count()
    }
}

/// Plans the test whose expected interval is narrowest.
///
/// # Errors
/// [`PlanError`] when sheets, sides, marks or the longest time allow no test.
pub fn plan_test(
    request: &PlanRequest,
    assumptions: &Assumptions,
) -> Result<PlanAnswer, PlanError> {
    let FactorPrior::Expected {
        mean_stops,
        sd_stops,
    } = request.prior
    else {
        return Ok(PlanAnswer::NoImage);
    };
    at_hand(request)?;
    let middle = setting::more_exposed(request.box_speed, mean_stops)?;
    // A bracket too narrow for what is believed is taken only where none is wide enough.
    let narrow = |layout: &Layout| {
        let half_span = 0.5 * (layout.filtered as f64 - 1.0) * layout.step_stops;
        half_span < HELD_SD * sd_stops
    };
    let look = |frames: &[FrameOfPlan], foresight| {
        expected::expected(
            request,
            frames,
            mean_stops,
            sd_stops,
            foresight,
            assumptions,
        )
    };
    let mut best: Option<(Layout, Vec<FrameOfPlan>, ExpectedInterval)> = None;
    for layout in layouts(request) {
        let Some(frames) = frames(request, &layout, middle)? else {
            continue;
        };
        let found = look(&frames, Foresight::Search)?;
        let better =
            best.as_ref()
                .is_none_or(|(other, _, b)| match (narrow(&layout), narrow(other)) {
                    (false, true) => true,
                    (true, false) => false,
                    _ => found.score < b.score,
                });
        if better {
            best = Some((layout, frames, found));
        }
    }
    let (layout, frames, _) = best.ok_or_else(|| none_fits(request, middle))?;
    let expected = look(&frames, Foresight::Promise)?;
    let end = |stops| setting::more_exposed(middle, stops);
    Ok(PlanAnswer::Planned(Box::new(TestPlan {
        expected_ei: middle,
        ei_low: end(expected.at_the_middle_stops)?,
        ei_high: end(-expected.at_the_middle_stops)?,
        step_stops: layout.step_stops,
        timing: layout.timing,
        as_if_exposed: expected::as_if_exposed(request, &frames),
        frames,
        expected,
    })))
}

/// Refuses sheets, sides and marks that allow no plan.
fn at_hand(request: &PlanRequest) -> Result<(), PlanError> {
    if request.sheets < FEWEST_SHEETS {
        return Err(PlanError::TooFewSheets {
            sheets: request.sheets,
        });
    }
    if request.sheets > MOST_SHEETS {
        return Err(PlanError::TooManySheets {
            sheets: request.sheets,
            most: MOST_SHEETS,
        });
    }
    if request.sheets > request.sides.len() {
        return Err(PlanError::TooFewSides {
            sheets: request.sheets,
            sides: request.sides.len(),
        });
    }
    if request.apertures.is_empty() {
        return Err(PlanError::NoAperture);
    }
    Ok(())
}

/// A bracket as it is made by hand: an anchor and whole stops about the middle,
/// times only, with as many sheets; for comparison.
///
/// # Errors
/// [`PlanError`] as for [`plan_test`].
pub fn hand_bracket(
    request: &PlanRequest,
    assumptions: &Assumptions,
) -> Result<PlanAnswer, PlanError> {
    let FactorPrior::Expected {
        mean_stops,
        sd_stops,
    } = request.prior
    else {
        return Ok(PlanAnswer::NoImage);
    };
    let middle = setting::more_exposed(request.box_speed, mean_stops)?;
    let layout = Layout {
        anchors: 1,
        filtered: request.sheets.saturating_sub(1).max(1),
        step_stops: 1.0,
        unexposed: false,
        red: false,
        tablet: false,
        repeat: false,
        timing: Timing::PreferredAperture,
    };
    let frames = frames(request, &layout, middle)?.ok_or_else(|| none_fits(request, middle))?;
    let expected = expected::expected(
        request,
        &frames,
        mean_stops,
        sd_stops,
        Foresight::Promise,
        assumptions,
    )?;
    let end = |stops| setting::more_exposed(middle, stops);
    Ok(PlanAnswer::Planned(Box::new(TestPlan {
        expected_ei: middle,
        ei_low: end(expected.at_the_middle_stops)?,
        ei_high: end(-expected.at_the_middle_stops)?,
        step_stops: 1.0,
        timing: Timing::PreferredAperture,
        as_if_exposed: expected::as_if_exposed(request, &frames),
        frames,
        expected,
    })))
}
