//! What interval the frames left of a plan are expected to give in a new light.
//!
//! The plan's record holds no belief about the factor, but its bracket does: it was
//! laid about the expected EI, and reaches [`HELD_SD`] standard deviations of what was
//! believed to either side. That belief is taken up here.

use super::HELD_SD;
use super::changed_light::FramesLeft;
use super::expected::{ExpectedInterval, Foresight, foreseen, frame_of, patches_of};
use super::frames::as_exposed;
use super::request::PlanError;
use crate::assumptions::Assumptions;
use crate::model::FactorKey;
use record::{FrameRole, Id, Light, PlannedExposure, PlannedFrame, PlannedTest, Test, TestParts};
use std::collections::BTreeSet;

/// Least spread that is read off a bracket; a single frame says nothing of it. \[stops\]
const LEAST_SD_STOPS: f64 = 0.7;

/// What is expected of the factor behind one set of filters.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftExpected {
    /// The filters.
    pub filters: Vec<Id>,
    /// Factor that the plan's bracket was laid out for. \[stops\]
    pub mean_stops: f64,
    /// Its spread by the bracket's reach. \[stops\]
    pub sd_stops: f64,
    /// What the frames left are expected to give.
    pub expected: ExpectedInterval,
}

/// Foresees the factors behind every set of filters that has frames left, in the new
/// light; frames exposed before count with what they tell of the curve. Empty without
/// an unfiltered frame, or where the plan has no EI to start from.
///
/// # Errors
/// [`PlanError`] when the test can't be written down as if it were exposed.
pub fn expected_of_left(
    test: &PlannedTest,
    left: &FramesLeft,
    light: &Light,
    assumptions: &Assumptions,
) -> Result<Vec<LeftExpected>, PlanError> {
    if !left.anchored {
        return Ok(vec![]);
    }
    let assembled = Test::assemble(as_if_exposed(test, left, light))?;
    let sets: BTreeSet<(&Id, &Vec<Id>)> = (left.frames.iter())
        .map(|f| (&f.frame.film, &f.frame.filters, f.frame.role))
        .filter(|(_, filters, role)| !filters.is_empty() && *role != FrameRole::RedControl)
        .map(|(film, filters, _)| (film, filters))
        .collect();
    let mut found = vec![];
    for (film, filters) in sets {
        let Some((mean_stops, sd_stops)) = belief(test, film, filters) else {
            continue;
        };
        let key = FactorKey {
            film: film.clone(),
            filters: filters.clone(),
            light: light.id.clone(),
        };
        let others = |other: &FactorKey| {
            belief(test, &other.film, &other.filters).map_or(0.0, |(mean, _)| mean)
        };
        let expected = foreseen(
            &assembled,
            &key,
            (mean_stops, sd_stops),
            &others,
            Foresight::Promise,
            assumptions,
        )?;
        found.push(LeftExpected {
            filters: filters.clone(),
            mean_stops,
            sd_stops,
            expected,
        });
    }
    Ok(found)
}

/// The record with the frames left as if they were exposed and all patches marked.
fn as_if_exposed(test: &PlannedTest, left: &FramesLeft, light: &Light) -> TestParts {
    let mut parts = test.records().parts().clone();
    parts.readings.clear();
    parts.patches.clear();
    if parts.lights.iter().all(|l| l.id != light.id) {
        parts.lights.push(light.clone());
    }
    let camera = left.frames.iter().map(|f| &f.frame);
    let others = (test.planned().iter()).filter(|f| {
        test.exposed(&f.id).is_none() && !matches!(f.exposure, PlannedExposure::Camera(_))
    });
    for frame in camera.chain(others) {
        parts
            .frames
            .push(frame_of(frame, as_exposed(&frame.exposure)));
    }
    parts.patches = (parts.frames.iter())
        .flat_map(|f| patches_of(&f.id, &f.exposure, &parts.tablets))
        .collect();
    parts
}

/// Middle and spread of the factor that a bracket was laid out for. \[stops\]
fn belief(test: &PlannedTest, film: &Id, filters: &[Id]) -> Option<(f64, f64)> {
    let stops_of = |keep: &dyn Fn(&PlannedFrame) -> bool| -> Vec<f64> {
        (test.planned().iter())
            .filter(|f| f.film == *film && keep(f))
            .filter_map(|f| match &f.exposure {
                PlannedExposure::Camera(camera) => Some(libm::log2(camera.ei.to_arithmetic())),
                _ => None,
            })
            .collect()
    };
    let bare = match test.records().film(film).and_then(|f| f.box_speed) {
        Some(speed) => libm::log2(speed.to_arithmetic()),
        // The anchor that is exposed least.
        None => stops_of(&|f| f.filters.is_empty())
            .into_iter()
            .max_by(f64::total_cmp)?,
    };
    let behind = stops_of(&|f| f.filters == filters && f.role != FrameRole::Repeat);
    let most = behind.iter().copied().max_by(f64::total_cmp)?;
    let least = behind.iter().copied().min_by(f64::total_cmp)?;
    let half_span = 0.5 * (most - least);
    Some((
        (bare - 0.5 * (most + least)).max(0.0),
        (half_span / HELD_SD).max(LEAST_SD_STOPS),
    ))
}
