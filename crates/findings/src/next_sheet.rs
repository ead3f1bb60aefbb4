//! Which sheet, or which measurement, would narrow a factor most.
//!
//! For each candidate the reading it would bring is written as a linear answer
//! of the fitted parameters with its own noise; what is left of the factor's
//! variance then follows without any new fit:
//!
//! g'Cg − g'CH'(V + HCH')⁻¹HCg
//!
//! with C the covariance of the fit, g the factor's gradient, H the gradients of
//! the new readings and V their noise. A new sheet's own errors (shutter mark,
//! light, aperture) are part of V.
//!
//! Source: Bayesian linear experimental design, from memory.

use crate::assumptions::Assumptions;
use crate::estimate::Estimate;
use crate::finding::NextStep;
use crate::model::{CurveForm, Exposed, FactorKey, Key};
use crate::normal::quantile;
use crate::solve::Seen;
use core::f64::consts::LOG10_2;
use nalgebra::{Cholesky, DMatrix, DVector};
use record::{Exposure, FrameRole, Test};

/// Noise of a good reading of a new sheet. \[density\]
const READING_SD: f64 = 0.01;

/// A reading that a candidate would bring.
struct Expected {
    gradient: Vec<(usize, f64)>,
}

/// Variance of `target` that is left after readings with noise `noise`.
fn left_over(
    e: &Estimate,
    target: &[(usize, f64)],
    readings: &[Expected],
    noise: &DMatrix<f64>,
) -> f64 {
    let c = &e.covariance;
    let before = c.variance(target);
    let n = readings.len();
    let across = DVector::from_fn(n, |i, _| c.between(target, &readings[i].gradient));
    let within = DMatrix::from_fn(n, n, |i, j| {
        c.between(&readings[i].gradient, &readings[j].gradient) + noise[(i, j)]
    });
    match Cholesky::new(within) {
        Some(cholesky) => (before - across.dot(&cholesky.solve(&across))).max(0.0),
        None => before,
    }
}

/// The gradient of a density at place `x` of a curve, and the slope there.
fn density_gradient(e: &Estimate, curve: usize, x: f64) -> (Vec<(usize, f64)>, f64) {
    let (_, slope, gradient) = e.model.curves[curve].value(&e.fit.parameters, x);
    (gradient, slope)
}

/// The gradient of a density that lies at `x` of the curve, exposed as another
/// frame was, and its slope by exposure. Errors that are `new` on the new sheet
/// are left out, for they belong to its noise.
fn repeated(
    e: &Estimate,
    curve: usize,
    x: f64,
    exposed: &Exposed,
    new: impl Fn(&Key) -> bool,
) -> (Vec<(usize, f64)>, f64) {
    let (mut gradient, slope) = density_gradient(e, curve, x);
    // Behind a filter the curve is stretched about its pivot by the ratio r:
    // x = pivot + (exposure − pivot)·r, so dx/dexposure = r and dx/dln r = x − pivot.
    let by_exposure = slope * exposed.steeper(&e.fit.parameters);
    let by_ratio = slope * (x - e.model.curves[curve].pivot);
    let linear = exposed.linear.iter().map(|&(i, c)| (i, by_exposure * c));
    let stretch = exposed.stretch.iter().map(|&i| (i, by_ratio));
    gradient.extend(
        linear
            .chain(stretch)
            .filter(|(i, _)| !new(&e.model.keys[*i])),
    );
    (gradient, by_exposure)
}

/// Ranks what would narrow a factor, best first; at most three steps, each
/// worth at least a tenth of the half-width.
pub(crate) fn next_steps(
    e: &Estimate,
    test: &Test,
    assumptions: &Assumptions,
    factor: usize,
    key: &FactorKey,
    curve: usize,
) -> Vec<NextStep> {
    let model = &e.model;
    if model.curves[curve].form != CurveForm::Film {
        return vec![];
    }
    let z = quantile(0.5 + 0.5 * assumptions.coverage) / LOG10_2;
    let target = [(factor, 1.0)];
    let now = libm::sqrt(e.covariance.variance(&target));
    let frame_sd = assumptions.frame_stops * LOG10_2;
    let mark_sd = assumptions.marked_time_stops * LOG10_2;
    let frames = &test.parts().frames;
    let mut steps: Vec<NextStep> = vec![];
    let mut consider = |what: String, after: f64| {
        steps.push(NextStep {
            what,
            half_width_now_stops: z * now,
            half_width_then_stops: z * libm::sqrt(after),
        });
    };
    // The same exposure again, of an anchor or of the best filtered frame: its
    // own errors are new, the subject, light and filter are the old ones.
    let again = |filtered: bool| {
        model
            .terms
            .iter()
            .zip(&model.observations)
            .filter(|(t, o)| {
                let frame = &frames[t.frame];
                t.curve == curve
                    && matches!(o.seen, Seen::Value(_))
                    && frame.film == key.film
                    && matches!(&frame.exposure, Exposure::Camera(c) if c.light == key.light)
                    && (frame.filters == key.filters) == filtered
                    && (filtered
                        || model.anchors.get(&(key.film.clone(), key.light.clone()))
                            == Some(&frame.filters))
                    && t.exposed.as_ref().is_some_and(|x| {
                        x.linear.iter().any(|(i, _)| {
                            matches!(&model.keys[*i], Key::Subject(name, _)
                                if model.matched_on.get(key).is_some_and(|m| m.contains(name)))
                        })
                    })
            })
            // The steepest place tells most.
            .map(|(t, _)| {
                let x = t.exposed.as_ref().map_or(0.0, |x| {
                    x.on_curve(&e.fit.parameters, model.curves[curve].pivot)
                });
                (t, x, density_gradient(e, curve, x).1)
            })
            .max_by(|a, b| a.2.total_cmp(&b.2))
    };
    for (filtered, what) in [
        (false, "expose a second anchor like frame"),
        (true, "repeat frame"),
    ] {
        let Some((term, x, _)) = again(filtered) else {
            continue;
        };
        let Some(exposed) = &term.exposed else {
            continue;
        };
        let (gradient, slope) = repeated(e, curve, x, exposed, |key| {
            matches!(key, Key::Frame(_) | Key::Development(_))
        });
        let noise = READING_SD.powi(2) + (slope * frame_sd).powi(2);
        let after = left_over(
            e,
            &target,
            &[Expected { gradient }],
            &DMatrix::from_element(1, 1, noise),
        );
        consider(format!("{what} {}", frames[term.frame].id), after);
    }
    // A filtered frame at another shutter mark, whose deviation is new.
    if let Some((term, x, _)) = again(true)
        && let Some(exposed) = &term.exposed
    {
        let (gradient, slope) = repeated(e, curve, x, exposed, |key| {
            matches!(key, Key::Frame(_) | Key::Development(_) | Key::Shutter(..))
        });
        let noise = READING_SD.powi(2) + slope.powi(2) * (frame_sd.powi(2) + mark_sd.powi(2));
        let after = left_over(
            e,
            &target,
            &[Expected { gradient }],
            &DMatrix::from_element(1, 1, noise),
        );
        consider(
            format!(
                "expose one more filtered frame near {} at another shutter speed",
                frames[term.frame].id
            ),
            after,
        );
    }
    // A tablet sheet, when there is none.
    let has_tablet = frames.iter().any(|f| {
        f.role == FrameRole::TabletSheet
            && f.film == model.curves[curve].film
            && f.process == model.curves[curve].process
    });
    if !has_tablet {
        let c = &model.curves[curve];
        let parameters = c.film_parameters(&e.fit.parameters);
        let places: Vec<f64> = (0..11)
            .map(|k| parameters[2] - 0.4 + 0.3 * f64::from(k))
            .collect();
        let rows: Vec<(Vec<(usize, f64)>, f64)> = places
            .iter()
            .map(|x| density_gradient(e, curve, *x))
            .collect();
        // The sheet's own exposure is not known: all its readings share it.
        let free = 1.0_f64;
        let noise = DMatrix::from_fn(rows.len(), rows.len(), |i, j| {
            rows[i].1 * rows[j].1 * free + if i == j { READING_SD.powi(2) } else { 0.0 }
        });
        let readings: Vec<Expected> = rows
            .into_iter()
            .map(|(gradient, _)| Expected { gradient })
            .collect();
        let after = left_over(e, &target, &readings, &noise);
        consider(
            "expose a sheet through a step tablet and develop it with the others".to_owned(),
            after,
        );
    }
    // The shutter measured.
    let marks: Vec<Expected> = model
        .keys
        .iter()
        .enumerate()
        .filter(|(i, key)| {
            matches!(key, Key::Shutter(..))
                && model.priors[*i].sd > 2.0 * assumptions.measured_time_stops * LOG10_2
        })
        .map(|(i, _)| Expected {
            gradient: vec![(i, 1.0)],
        })
        .collect();
    if !marks.is_empty() {
        let sd = assumptions.measured_time_stops * LOG10_2;
        let noise = DMatrix::from_diagonal_element(marks.len(), marks.len(), sd * sd);
        let after = left_over(e, &target, &marks, &noise);
        consider(
            "measure the shutter speeds that were used".to_owned(),
            after,
        );
    }
    // Reciprocity, by a pair of equal times.
    if let Some(&i) = model.index.get(&Key::Reciprocity(key.film.clone())) {
        let sd = frame_sd * core::f64::consts::SQRT_2;
        let after = left_over(
            e,
            &target,
            &[Expected {
                gradient: vec![(i, 1.0)],
            }],
            &DMatrix::from_element(1, 1, sd * sd),
        );
        consider(
            "expose an equal-time pair: an unfiltered frame behind a neutral filter or stopped down to the time of a filtered one".to_owned(),
            after,
        );
    }
    steps.retain(|s| s.half_width_then_stops < 0.9 * s.half_width_now_stops);
    steps.sort_by(|a, b| a.half_width_then_stops.total_cmp(&b.half_width_then_stops));
    steps.truncate(3);
    steps
}
