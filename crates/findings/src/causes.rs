//! What could have made a difference, and how many stops each cause explains.
//!
//! Exposure moves a curve along the axis, development changes its slope: with
//! two processes of one film both can be told. Light is told by comparing the
//! factor of one filter in two lights. Reciprocity is told by the length of the
//! times used. Each answer names what was assumed.

use crate::assumptions::Assumptions;
use crate::estimate::Estimate;
use crate::finding::{Cause, FactorFinding};
use crate::model::{CurveForm, FactorKey, Key};
use crate::named::named;
use crate::normal::quantile;
use quantity::{Interval, Stops};
use record::{Exposure, Response, Test};

fn interval(value: f64, sd: f64, assumptions: &Assumptions) -> Option<Interval<Stops>> {
    let z = quantile(0.5 + 0.5 * assumptions.coverage);
    let stops = |log10: f64| Stops::from_delta_log_h(log10).ok();
    Some(Interval {
        value: stops(value)?,
        low: stops(value - z * sd)?,
        high: stops(value + z * sd)?,
        coverage: assumptions.coverage,
    })
}

pub(crate) fn causes(
    e: &Estimate,
    test: &Test,
    told: &[FactorFinding],
    assumptions: &Assumptions,
) -> Vec<Cause> {
    let mut rows = vec![];
    processes(e, assumptions, &mut rows);
    lights(e, told, assumptions, &mut rows);
    reciprocity(e, test, assumptions, &mut rows);
    rows
}

/// A place on the exposure axis and how it moves with the parameters.
type Place = (f64, Vec<(usize, f64)>);

/// Two processes of one film: shift is exposure or speed, slope is development.
fn processes(e: &Estimate, assumptions: &Assumptions, rows: &mut Vec<Cause>) {
    let p = &e.fit.parameters;
    let film_curves: Vec<usize> = (0..e.model.curves.len())
        .filter(|&i| {
            e.model.curves[i].form == CurveForm::Film
                && e.model.curves[i].response == Response::Density
        })
        .collect();
    for (n, &a) in film_curves.iter().enumerate() {
        for &b in &film_curves[n + 1..] {
            let (ca, cb) = (&e.model.curves[a], &e.model.curves[b]);
            if ca.film != cb.film {
                continue;
            }
            let place = |c: &crate::model::Curve, net: f64| {
                let x = c.x_at(p, c.base(p)? + net)?;
                Some((x, c.place_gradient(p, x)))
            };
            // At the speed point and 0.80 above it.
            let points = [0.10, 0.90].map(|net| Some((place(ca, net)?, place(cb, net)?)));
            let [Some(low), Some(high)] = points else {
                continue;
            };
            let difference = |((xa, ga), (xb, gb)): &(Place, Place)| {
                let mut g: Vec<(usize, f64)> = gb.clone();
                g.extend(ga.iter().map(|(i, d)| (*i, -d)));
                (xb - xa, g)
            };
            let ((shift, g_shift), (upper, g_upper)) = (difference(&low), difference(&high));
            let mut g_slope = g_upper;
            g_slope.extend(g_shift.iter().map(|(i, d)| (*i, -d)));
            let question = format!(
                "{}: {} against {}",
                named("film", &ca.film),
                named("process", &cb.process),
                named("process", &ca.process)
            );
            for (cause, value, g, assumed) in [
                (
                    "exposure or speed (shift at 0.10 over base+fog)",
                    shift,
                    &g_shift,
                    "the frames of both processes were exposed as recorded",
                ),
                (
                    "development (change of slope, from 0.10 to 0.90 over base+fog)",
                    upper - shift,
                    &g_slope,
                    "one film and batch",
                ),
            ] {
                let sd = libm::sqrt(e.covariance.variance(g));
                if let Some(stops) = interval(value, sd, assumptions) {
                    rows.push(Cause {
                        question: question.clone(),
                        cause: cause.to_owned(),
                        stops,
                        assumed: assumed.to_owned(),
                    });
                }
            }
        }
    }
}

/// One filter in two lights; a factor that is only a bound is not compared.
fn lights(e: &Estimate, told: &[FactorFinding], assumptions: &Assumptions, rows: &mut Vec<Cause>) {
    let is_told = |key: &FactorKey| {
        told.iter().any(|f| {
            f.bound.is_none()
                && (&f.film, &f.filters, &f.light) == (&key.film, &key.filters, &key.light)
        })
    };
    let factors: Vec<_> = e
        .model
        .keys
        .iter()
        .enumerate()
        .filter_map(|(i, key)| match key {
            Key::Factor(f) if is_told(f) => Some((i, f)),
            _ => None,
        })
        .collect();
    for (n, &(i, a)) in factors.iter().enumerate() {
        for &(j, b) in &factors[n + 1..] {
            if a.film != b.film || a.filters != b.filters {
                continue;
            }
            let value = e.fit.parameters[j] - e.fit.parameters[i];
            let sd = libm::sqrt(e.covariance.variance(&[(j, 1.0), (i, -1.0)]));
            // A factor that is hardly more than its prior says nothing of light.
            if sd > 1.5 {
                continue;
            }
            if let Some(stops) = interval(value, sd, assumptions) {
                rows.push(Cause {
                    question: format!(
                        "{}, {}: {} against {}",
                        named("film", &a.film),
                        crate::advice::filters_words(&a.filters),
                        named("light", &b.light),
                        named("light", &a.light)
                    ),
                    cause: "light (the filter is the same)".to_owned(),
                    stops,
                    assumed: "filter, film and development are the same in both lights".to_owned(),
                });
            }
        }
    }
}

/// How much of the filtered exposures was given to reciprocity failure.
fn reciprocity(e: &Estimate, test: &Test, assumptions: &Assumptions, rows: &mut Vec<Cause>) {
    for (i, key) in e.model.keys.iter().enumerate() {
        let Key::Reciprocity(film) = key else {
            continue;
        };
        let longest = test
            .parts()
            .frames
            .iter()
            .enumerate()
            .filter(|(_, f)| f.film == *film && matches!(f.exposure, Exposure::Camera(_)))
            .filter_map(|(f, frame)| Some((e.model.recorded[f].as_ref()?, frame)))
            .max_by(|a, b| a.0.decades_beyond_1_s.total_cmp(&b.0.decades_beyond_1_s));
        let Some((recorded, frame)) = longest else {
            continue;
        };
        let decades = recorded.decades_beyond_1_s;
        // The law's own loss is known; the fit adds its correction to it.
        let lost = recorded.reciprocity_loss_log10 - decades * e.fit.parameters[i];
        let sd = decades * libm::sqrt(e.covariance.variance(&[(i, 1.0)]));
        if let Some(stops) = interval(lost, sd, assumptions) {
            rows.push(Cause {
                question: format!(
                    "{}: the longest exposure, {}",
                    named("film", film),
                    named("frame", &frame.id)
                ),
                cause: "reciprocity failure".to_owned(),
                stops,
                assumed: if recorded.reciprocity_stated {
                    "the film's recorded law, with its stated error".to_owned()
                } else {
                    format!(
                        "no law is recorded: {:.1} stops for each tenfold time beyond 1 s, give or take as much",
                        assumptions.unstated_reciprocity_stops_per_decade
                    )
                },
            });
        }
    }
}
