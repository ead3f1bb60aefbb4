//! The least error that any estimate can have, from the simulation alone.
//!
//! The information of a test is taken from the simulation's own mean densities
//! by finite differences over every unknown, and the precision with which each
//! unknown was drawn is added (van Trees 1968: the Cramér–Rao bound with priors
//! counted). Nothing of the estimate is used.
//!
//! Recorded exposures are no unknowns, so they are kept: for each set of records
//! the information is averaged over newly drawn unknowns and inverted, and the
//! factor's entry is averaged over sets of records. The mean of inverses, which
//! also inverts for each drawing of the unknowns, stands beside it: it is never
//! smaller, is no strict bound, and shows how far the bound may be out of reach.

use nalgebra::{DMatrix, DVector};
use testkit::{Plan, PlannedTest, plan_test};

/// Both numbers, stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LeastError {
    /// From the information averaged over unknowns, records kept.
    pub(crate) bound: f64,
    /// From the inverse for each drawing of the unknowns.
    pub(crate) mean_of_inverses: f64,
    /// From the errors of single exposures alone, without help from the meter.
    pub(crate) frames_alone: Option<f64>,
}

/// Drawings of the unknowns for each set of records.
const DRAWINGS: u64 = 8;

/// Gives the least error for a plan, over the draws given.
pub(crate) fn least_error(
    plan: &Plan,
    draws: impl Iterator<Item = u64>,
) -> Result<LeastError, String> {
    let (mut sum_of_bounds, mut sum_of_inverses, mut count) = (0.0, 0.0, 0.0);
    let mut frame_sd = 0.0;
    for draw in draws {
        let test = plan_test(plan, draw);
        let (_, factor) = test.factors.first().ok_or("a plan without a light")?;
        let size = test.unknowns.len();
        let mut total = DMatrix::zeros(size, size);
        for again in 0..DRAWINGS {
            let values = test.drawn_anew(draw.wrapping_mul(DRAWINGS).wrapping_add(again));
            let information = information(&test, &values);
            sum_of_inverses += inverse_entry(&information, *factor)? / DRAWINGS as f64;
            total += information;
        }
        sum_of_bounds += inverse_entry(&(total / DRAWINGS as f64), *factor)?;
        count += 1.0;
        frame_sd = test.frame_sd;
    }
    let stops = |variance: f64| variance.sqrt() / core::f64::consts::LOG10_2;
    let (anchors, filtered) = (f64::from(plan.anchors), f64::from(plan.filtered));
    Ok(LeastError {
        bound: stops(sum_of_bounds / count),
        mean_of_inverses: stops(sum_of_inverses / count),
        frames_alone: (plan.anchors > 0)
            .then(|| stops(frame_sd * frame_sd * (1.0 / anchors + 1.0 / filtered))),
    })
}

/// Information of the readings plus the precision of each unknown's own draw.
fn information(test: &PlannedTest, values: &[f64]) -> DMatrix<f64> {
    let size = values.len();
    // Central differences: 1e-4 of log10 exposure is far above rounding and
    // far below the width of any bend.
    let step = 1e-4;
    let columns: Vec<DVector<f64>> = (0..size)
        .map(|i| {
            let moved = |by: f64| {
                let mut at = values.to_vec();
                at[i] += by;
                DVector::from_vec(test.mean.at(&at))
            };
            (moved(step) - moved(-step)) / (2.0 * step * test.reading_sd)
        })
        .collect();
    let jacobian = DMatrix::from_columns(&columns);
    let mut information = jacobian.tr_mul(&jacobian);
    for (i, unknown) in test.unknowns.iter().enumerate() {
        // An infinite size is a precision of zero.
        information[(i, i)] += 1.0 / (unknown.sd * unknown.sd);
    }
    information
}

fn inverse_entry(information: &DMatrix<f64>, at: usize) -> Result<f64, String> {
    let factorised = information
        .clone()
        .cholesky()
        .ok_or("the information of a plan is singular: something is left open")?;
    let mut unit = DVector::zeros(information.nrows());
    unit[at] = 1.0;
    Ok(factorised.solve(&unit)[at])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_is_told_by_more_sheets_and_never_beyond_the_frames() {
        let plan = Plan::SIX_SHEETS_MEASURED;
        let three = least_error(&plan, 0..5).unwrap_or_else(|e| panic!("{e}"));
        // Hand calculation: 0.15·√(1/3 + 1/3) = 0.122 5.
        let alone = three.frames_alone.unwrap_or(f64::NAN);
        assert!((alone - 0.122_5).abs() < 1e-4, "{alone}");
        // Readings add to it: 0.012/0.65 = 0.018 in log10, 0.061 stop, a frame; by
        // √(2/3) 0.05 in all, so 0.132; the toe and shoulder add up to a tenth.
        assert!((0.122_5..0.150).contains(&three.bound), "{}", three.bound);
        assert!(three.mean_of_inverses >= three.bound);
        let six = Plan {
            anchors: 6,
            filtered: 6,
            ..plan
        };
        let six = least_error(&six, 0..5).unwrap_or_else(|e| panic!("{e}"));
        assert!(six.bound < three.bound);
    }
}
