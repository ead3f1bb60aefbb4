//! What interval a plan is expected to give: the planned test is written down
//! as if it had been exposed, and the estimate's own model tells its covariance.
//!
//! For each of a few factors, spread evenly over the prior's probability, the
//! readings are the model's own means; readings that fall on base+fog become
//! limits by the same rule as real ones and so bring little. No fit is made: the
//! covariance is taken at the parameters that the readings came from.
//!
//! That ranks layouts. What is promised is the mean over many such tests in which the
//! film, the marks, the light and the frames differ as they are assumed to: an interval
//! is wider where they differ badly than it is narrower where they do well.
//!
//! Source: Bayesian experimental design with the Laplace approximation, from memory.

use super::frames::{FrameOfPlan, as_exposed};
use super::request::{PlanError, PlanRequest, id};
use crate::assumptions::{Assumptions, Source};
use crate::estimate::set_pivots;
use crate::model::{FactorKey, JointModel, Key};
use crate::normal::quantile;
use crate::solve::{Covariance, Model, Seen};
use core::f64::consts::LOG10_2;
use quantity::{Measured, Stops};
use record::{
    Exposure, Filter, Frame, Id, Lens, LightReading, Patch, PatchRole, PlannedFrame, Reading,
    ReadingOrigin, Response, Shutter, Tablet, Test, TestParts,
};

/// Factors that are looked at, each with the same share of the prior.
const NODES: usize = 9;
/// Tests that a promise is the mean of.
const DRAWS: usize = 90;
/// Noise of a good reading. \[density\]
const READING_SD: f64 = 0.01;
/// A wall in the picture, darker than the card. \[stops\]
const WALL_STOPS: f64 = -2.0;
/// Deviation of a measured shutter speed. \[stops\]
const MEASURED_STOPS: f64 = 0.05;
/// A step tablet's readings reach from base+fog to the shoulder.
const CARD: &str = "grey-card";

/// How closely is looked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Foresight {
    /// A few factors, the film and all marks as believed: enough to rank layouts.
    Search,
    /// Many tests, film, marks, light and frames drawn too: what is told to a person.
    Promise,
}

/// What a plan is expected to bring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedInterval {
    /// Mean half-width of the factor's interval, where there is one. \[stops\]
    pub half_width_stops: f64,
    /// Half-width where the factor is as the prior's middle says. \[stops\]
    pub at_the_middle_stops: f64,
    /// Share of the prior for which the bracket holds an image of the card, so
    /// that there is an interval and not only a bound.
    pub chance_of_interval: f64,
    /// What layouts are ranked by: as the half-width, with the prior's own where
    /// there is only a bound. \[stops\]
    pub(super) score: f64,
}

/// Writes the planned test down as if it had been exposed and marked, without readings.
pub(super) fn as_if_exposed(request: &PlanRequest, frames: &[FrameOfPlan]) -> TestParts {
    with_filters(request, &[&request.filter], frames)
}

/// As [`as_if_exposed`], with several filters that are tested.
pub(super) fn with_filters(
    request: &PlanRequest,
    tested: &[&Filter],
    frames: &[FrameOfPlan],
) -> TestParts {
    let mut light = request.light.clone();
    light.reading = Some(LightReading::Ev100(request.ev100));
    let mut film = request.film.clone();
    film.box_speed = Some(request.box_speed);
    let names: Vec<&str> = tested.iter().map(|f| f.name.as_str()).collect();
    let mut filters: Vec<Filter> = tested.iter().map(|f| (*f).clone()).collect();
    filters.extend(request.red.iter().map(|(red, _)| red.clone()));
    let mut parts = TestParts {
        title: format!("{} behind {}", film.name, names.join(", ")),
        films: vec![film],
        filters,
        lenses: vec![Lens {
            id: id("lens"),
            name: "lens of the test".to_owned(),
            focal_length: None,
            pupil_ratio: None,
            shutter: Shutter {
                marked_uncertainty: if request.measured_shutter {
                    Stops::new(MEASURED_STOPS).ok()
                } else {
                    None
                },
                measured: vec![],
            },
        }],
        lights: vec![light],
        processes: vec![request.process.clone()],
        tablets: request.tablet.iter().cloned().collect(),
        ..TestParts::default()
    };
    for planned in frames {
        let frame = &planned.frame;
        let exposure = as_exposed(&frame.exposure);
        parts
            .patches
            .extend(patches_of(&frame.id, &exposure, &parts.tablets));
        parts.frames.push(frame_of(frame, exposure));
    }
    parts
}

/// A planned frame as it will be recorded.
pub(super) fn frame_of(frame: &PlannedFrame, exposure: Exposure) -> Frame {
    Frame {
        id: frame.id.clone(),
        film: frame.film.clone(),
        filters: frame.filters.clone(),
        process: frame.process.clone(),
        holder: frame.holder.clone(),
        load: frame.load,
        role: frame.role,
        exposed_at: None,
        exposure,
        remarks: None,
    }
}

/// The patches that a frame will show: the card and a darker wall in a camera, the
/// steps through a tablet, base+fog always.
pub(super) fn patches_of(frame: &Id, exposure: &Exposure, tablets: &[Tablet]) -> Vec<Patch> {
    let patch = |name: &str, role| Patch {
        frame: frame.clone(),
        name: id(name),
        role,
        place: None,
    };
    let mut patches = vec![patch("base-fog", PatchRole::BaseFog)];
    match exposure {
        Exposure::Camera(_) => {
            patches.push(patch(CARD, PatchRole::GreyCard));
            patches.push(patch("wall", PatchRole::Wall));
        }
        Exposure::Tablet { tablet, .. } => {
            let steps = (tablets.iter().find(|t| t.id == *tablet)).map_or(0, |t| t.steps.len());
            for (step, _) in (1_u32..).zip(0..steps) {
                patches.push(patch(&format!("step-{step}"), PatchRole::TabletStep(step)));
            }
        }
        Exposure::Relative(_) | Exposure::None => {}
    }
    patches
}

fn reading(patch: &Patch, density: f64) -> Reading {
    Reading {
        frame: patch.frame.clone(),
        patch: patch.name.clone(),
        response: Response::Density,
        value: Measured::new(density, READING_SD),
        limit: None,
        origin: ReadingOrigin::Densitometer(None),
    }
}

/// Foresees what a plan's frames bring.
///
/// # Errors
/// [`PlanError`] when the planned records contradict each other.
pub(super) fn expected(
    request: &PlanRequest,
    frames: &[FrameOfPlan],
    mean_stops: f64,
    sd_stops: f64,
    foresight: Foresight,
    assumptions: &Assumptions,
) -> Result<ExpectedInterval, PlanError> {
    let belief = Belief {
        filter: &request.filter,
        mean_stops,
        sd_stops,
    };
    expected_of(request, &[belief], 0, frames, foresight, assumptions)
}

/// What is believed of one filter's factor.
#[derive(Clone, Copy)]
pub(super) struct Belief<'a> {
    pub(super) filter: &'a Filter,
    pub(super) mean_stops: f64,
    pub(super) sd_stops: f64,
}

/// Foresees what frames behind several filters bring for the one of number `of`;
/// the others' factors are taken at their middles.
///
/// # Errors
/// [`PlanError`] when the planned records contradict each other.
pub(super) fn expected_of(
    request: &PlanRequest,
    beliefs: &[Belief<'_>],
    of: usize,
    frames: &[FrameOfPlan],
    foresight: Foresight,
    assumptions: &Assumptions,
) -> Result<ExpectedInterval, PlanError> {
    let tested: Vec<&Filter> = beliefs.iter().map(|b| b.filter).collect();
    let test = Test::assemble(with_filters(request, &tested, frames))?;
    let belief = beliefs[of];
    let key = FactorKey {
        film: request.film.id.clone(),
        filters: vec![belief.filter.id.clone()],
        light: request.light.id.clone(),
    };
    let others = |other: &FactorKey| {
        let tested = beliefs
            .iter()
            .find(|b| other.filters == [b.filter.id.clone()]);
        match (tested, &request.red) {
            (Some(belief), _) => belief.mean_stops,
            (None, Some((_, stops))) => stops.to_stops(),
            (None, None) => 0.0,
        }
    };
    foreseen(
        &test,
        &key,
        (belief.mean_stops, belief.sd_stops),
        &others,
        foresight,
        assumptions,
    )
}

/// Foresees what a test written down as if exposed and marked brings for one factor,
/// of which (mean, sd) is believed in stops; `others` gives the middles of the rest.
///
/// # Errors
/// [`PlanError::NotForeseen`] when no frame is behind the filter, or an exposure can't
/// be worked out.
pub(super) fn foreseen(
    test: &Test,
    key: &FactorKey,
    (mean_stops, sd_stops): (f64, f64),
    others: &dyn Fn(&FactorKey) -> f64,
    foresight: Foresight,
    assumptions: &Assumptions,
) -> Result<ExpectedInterval, PlanError> {
    let patches = &test.parts().patches;
    let unforeseen = |problem: String| PlanError::NotForeseen { problem };
    // Parameters do not depend on what is read, so any densities serve to name them.
    let dummy: Vec<Reading> = patches.iter().map(|p| reading(p, 1.0)).collect();
    let model =
        JointModel::build(test, &dummy, assumptions).map_err(|e| unforeseen(e.to_string()))?;
    let Some(&factor) = model.index.get(&Key::Factor(key.clone())) else {
        return Err(unforeseen("no frame is behind the filter".to_owned()));
    };
    let mut start: Vec<f64> = model.priors.iter().map(|p| p.mean).collect();
    for (i, key) in model.keys.iter().enumerate() {
        match key {
            Key::Subject(name, _) if name.as_str() == "wall" => start[i] = WALL_STOPS * LOG10_2,
            Key::Factor(f) => start[i] = others(f) * LOG10_2,
            _ => {}
        }
    }
    let z = quantile(0.5 + 0.5 * assumptions.coverage);
    let draws = match foresight {
        Foresight::Search => NODES,
        Foresight::Promise => DRAWS,
    };
    let (mut widths, mut score) = (vec![], 0.0);
    for draw in 0..draws {
        let share = (draw as f64 + 0.5) / draws as f64;
        let mut p = start.clone();
        if foresight == Foresight::Promise {
            for (i, prior) in model.priors.iter().enumerate() {
                if varies(prior.source) {
                    p[i] += prior.sd * quantile(scrambled(draw as u64, i as u64));
                }
            }
        }
        p[factor] = (mean_stops + sd_stops * quantile(share)) * LOG10_2;
        let ready = model.ready(&p);
        let readings: Vec<Reading> = model
            .terms
            .iter()
            .enumerate()
            .map(|(k, term)| reading(&patches[term.reading], model.value(&ready, k, &p)))
            .collect();
        let mut seen = JointModel::build(test, &readings, assumptions)
            .map_err(|e| unforeseen(e.to_string()))?;
        set_pivots(&mut seen, &p, assumptions);
        // An interval needs the card to be seen behind the filter.
        let shown = seen.terms.iter().zip(&seen.observations).any(|(t, o)| {
            matches!(o.seen, Seen::Value(_))
                && t.exposed
                    .as_ref()
                    .is_some_and(|x| x.linear.iter().any(|(i, _)| *i == factor))
        });
        let half = Covariance::at(&seen, &p)
            .map(|c| z * libm::sqrt(c.variance(&[(factor, 1.0)])) / LOG10_2);
        match half {
            Some(half) if shown => {
                score += half.min(z * sd_stops);
                widths.push((share, half));
            }
            // A bound leaves about as much as was believed before.
            _ => score += z * sd_stops,
        }
    }
    let mean = |of: &[(f64, f64)]| {
        let sum: f64 = of.iter().map(|(_, w)| w).sum();
        (!of.is_empty()).then(|| sum / of.len() as f64)
    };
    // The middle ninth of what is believed.
    let middle: Vec<(f64, f64)> = (widths.iter().copied())
        .filter(|(share, _)| (share - 0.5).abs() < 0.5 / NODES as f64)
        .collect();
    Ok(ExpectedInterval {
        half_width_stops: mean(&widths).unwrap_or(z * sd_stops),
        at_the_middle_stops: mean(&middle).unwrap_or(z * sd_stops),
        chance_of_interval: widths.len() as f64 / draws as f64,
        score: score / draws as f64,
    })
}

/// What differs from test to test of one kind: the film about its class and box speed,
/// what marks, light, frames and sheets are off by. What a test asks for, and what nobody
/// knows beforehand, stays where it is.
fn varies(source: Source) -> bool {
    matches!(
        source,
        Source::Curve
            | Source::BoxSpeed
            | Source::Frame
            | Source::MarkedTime
            | Source::MeasuredTime
            | Source::Aperture
            | Source::LightReading
            | Source::GreyCard
            | Source::Base
            | Source::Development
            | Source::FilterGradient
            | Source::Reciprocity
            | Source::UnstatedReciprocity
    )
}

/// A share between 0 and 1 that is the same for the same two numbers and looks drawn:
/// the mixing step of the generator SplitMix64 (from memory).
fn scrambled(draw: u64, parameter: u64) -> f64 {
    let mut z = (draw << 20 ^ parameter)
        .wrapping_add(1)
        .wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^= z >> 31;
    // 53 bits, moved off both ends.
    ((z >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
}
