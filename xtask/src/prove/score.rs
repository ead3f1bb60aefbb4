//! One kind, simulated and scored.

use crate::prove::bound::{LeastError, least_error};
use crate::prove::kinds::Kind;
use core::f64::consts::LOG10_2;
use findings::{VerdictCriteria, evaluate};
use quantity::Bound;
use record::{Exposure, Test};
use std::sync::atomic::{AtomicU64, Ordering};
use testkit::{PlannedTest, THRESHOLD_NET_DENSITY, factor_by_eye, plan_test};

/// Error with which an eye judges the difference of two cards' densities.
const EYE_DENSITY: f64 = 0.1;
/// Sets of records over which the bound is averaged.
const BOUND_DRAWS: u64 = 100;
/// A draw of a kind whose frames must be blank is taken again until they are.
const TRIES: u64 = 200;

/// One factor, estimated and true, stops.
#[derive(Clone, Copy, Debug)]
struct Answer {
    error: f64,
    half_width: f64,
    held: bool,
    bound: Option<Bound>,
    eye_error: Option<f64>,
    /// Truth less the bound, where there is one.
    gap: Option<f64>,
    short_of_threshold: f64,
}

/// What came of one kind.
#[derive(Clone, Debug)]
pub(crate) struct Score {
    pub(crate) tests: u64,
    /// Tests that the estimate refused, with the first reason.
    pub(crate) refused: (u64, Option<String>),
    pub(crate) least: Option<LeastError>,
    /// Answers with an interval.
    pub(crate) intervals: usize,
    pub(crate) rmse: f64,
    pub(crate) bias: f64,
    /// Share of intervals and bounds that hold the truth.
    pub(crate) coverage: f64,
    pub(crate) half_width: f64,
    pub(crate) eye_rmse: f64,
    pub(crate) bounds: usize,
    /// Share of bounds that hold.
    pub(crate) bounds_held: f64,
    /// Median of truth less bound, with the best blank frame within two stops
    /// of the threshold, and how many such tests there were.
    pub(crate) median_gap: Option<(f64, usize)>,
}

/// Simulates and scores one kind.
pub(crate) fn score(kind: &Kind, tests: u64, first_draw: u64) -> Result<Score, String> {
    let draw_of = |number: u64| first_draw.wrapping_mul(1_000_003).wrapping_add(number);
    let next = AtomicU64::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut all: Vec<(u64, Result<Vec<Answer>, String>)> = std::thread::scope(|scope| {
        let work = || {
            let mut done = vec![];
            loop {
                let number = next.fetch_add(1, Ordering::Relaxed);
                if number >= tests {
                    return done;
                }
                done.push((number, answers(kind, draw_of(number))));
            }
        };
        let running: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        running
            .into_iter()
            .map(|t| t.join().map_err(|_| "a simulation panicked".to_owned()))
            .collect::<Result<Vec<_>, _>>()
            .map(|parts| parts.into_iter().flatten().collect())
    })?;
    // Threads finish in any order; sums must not depend on it.
    all.sort_by_key(|(number, _)| *number);
    let mut refused = (0, None);
    let mut answers = vec![];
    for (_, outcome) in all {
        match outcome {
            Ok(found) => answers.extend(found),
            Err(why) => {
                refused.0 += 1;
                refused.1.get_or_insert(why);
            }
        }
    }
    let least = if kind.one_sided {
        None
    } else {
        Some(least_error(
            &kind.plan,
            (0..tests.min(BOUND_DRAWS)).map(draw_of),
        )?)
    };
    Ok(summary(tests, refused, least, &answers))
}

fn answers(kind: &Kind, draw: u64) -> Result<Vec<Answer>, String> {
    let (made, draw) = drawn(kind, draw)?;
    let parts = made.parts.clone();
    let readings = parts.readings.clone();
    let test = Test::assemble(parts).map_err(|e| e.to_string())?;
    let findings = evaluate(
        &test,
        &readings,
        &kind.assumptions,
        &VerdictCriteria::COMMON_PRACTICE,
    )
    .map_err(|e| e.to_string())?;
    made.factors
        .iter()
        .map(|(light, at)| {
            let truth = made.unknowns[*at].value / LOG10_2;
            let found = findings
                .factors
                .iter()
                .find(|f| f.light == *light)
                .ok_or_else(|| format!("no factor in {light}"))?;
            let low = found.stops.low.to_stops();
            let high = found.stops.high.to_stops();
            Ok(Answer {
                error: found.stops.value.to_stops() - truth,
                half_width: 0.5 * (high - low),
                held: match found.bound {
                    None => (low..=high).contains(&truth),
                    Some(Bound::AtLeast) => truth >= low,
                    Some(Bound::AtMost) => truth <= high,
                },
                bound: found.bound,
                eye_error: factor_by_eye(&made.parts, light, EYE_DENSITY, draw)
                    .map(|eye| eye.to_stops() - truth),
                gap: (found.bound == Some(Bound::AtLeast)).then_some(truth - low),
                short_of_threshold: made.short_of_threshold_stops,
            })
        })
        .collect()
}

/// Draws a test; one that must be blank is drawn again until it is.
fn drawn(kind: &Kind, draw: u64) -> Result<(PlannedTest, u64), String> {
    for again in 0..TRIES {
        // Far from the numbers of other tests.
        let number = draw.wrapping_add(again.wrapping_mul(1_000_000_007));
        let made = plan_test(&kind.plan, number);
        if !kind.one_sided || all_blank(&made) {
            return Ok((made, number));
        }
    }
    Err(format!("no blank test in {TRIES} draws"))
}

/// Whether no filtered reading tells itself from the base+fog of its own sheet.
fn all_blank(made: &PlannedTest) -> bool {
    let parts = &made.parts;
    parts
        .frames
        .iter()
        .filter(|f| matches!(f.exposure, Exposure::Camera(_)) && !f.filters.is_empty())
        .all(|frame| {
            let mut own = parts.readings.iter().filter(|r| r.frame == frame.id);
            let base = own.next().map_or(0.0, |r| r.value.value());
            own.all(|r| r.value.value() < base + THRESHOLD_NET_DENSITY)
        })
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        sum += value;
        count += 1.0;
    }
    sum / count
}

fn share(holds: impl Iterator<Item = bool>) -> f64 {
    mean(holds.map(|h| if h { 1.0 } else { 0.0 }))
}

fn summary(
    tests: u64,
    refused: (u64, Option<String>),
    least: Option<LeastError>,
    answers: &[Answer],
) -> Score {
    let intervals: Vec<&Answer> = answers.iter().filter(|a| a.bound.is_none()).collect();
    let bounds: Vec<&Answer> = answers.iter().filter(|a| a.bound.is_some()).collect();
    let mut gaps: Vec<f64> = bounds
        .iter()
        .filter(|a| a.short_of_threshold < 2.0)
        .filter_map(|a| a.gap)
        .collect();
    gaps.sort_by(f64::total_cmp);
    Score {
        tests,
        refused,
        least,
        intervals: intervals.len(),
        rmse: mean(intervals.iter().map(|a| a.error * a.error)).sqrt(),
        bias: mean(intervals.iter().map(|a| a.error)),
        coverage: share(answers.iter().map(|a| a.held)),
        half_width: mean(intervals.iter().map(|a| a.half_width)),
        eye_rmse: mean(answers.iter().filter_map(|a| a.eye_error).map(|e| e * e)).sqrt(),
        bounds: bounds.len(),
        bounds_held: share(bounds.iter().map(|a| a.held)),
        median_gap: gaps.get(gaps.len() / 2).map(|gap| (*gap, gaps.len())),
    }
}
