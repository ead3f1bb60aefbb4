//! The fitted curves as findings: samples, speed point, criteria.

use crate::estimate::Estimate;
use crate::finding::{CriterionRow, CurveFinding, CurveSample};
use crate::model::{Curve, CurveForm};
use crate::solve::Seen;
use quantity::{Density, Flag, Flags, LogExposure, Measured, Stops};
use record::{PatchRole, Response, Test};
use sensitometry::{CharacteristicCurve, ExposureScale, FilmCurve, speed_and_contrast_continued};

/// Points in a sampled curve.
const SAMPLES: usize = 121;

pub(crate) fn log_exposure(x: f64) -> LogExposure {
    match LogExposure::from_log10(x) {
        Ok(x) => x,
        Err(_) => unreachable!("a fitted log H is finite"),
    }
}

fn density(d: f64) -> Option<Density> {
    Density::gross(d).ok()
}

/// The range of x that readings of a curve reach: lowest and highest.
pub(crate) fn reach(e: &Estimate, curve: usize) -> Option<(f64, f64)> {
    let p = &e.fit.parameters;
    let pivot = e.model.curves[curve].pivot;
    e.model
        .terms
        .iter()
        .zip(&e.model.observations)
        .filter(|(t, _)| t.curve == curve)
        .filter_map(|(t, o)| {
            let x = t.exposed.as_ref()?.on_curve(p, pivot);
            (matches!(o.seen, Seen::Value(_)) && x > -25.0).then_some(x)
        })
        .fold(None, |range, x| match range {
            None => Some((x, x)),
            Some((low, high)) => Some((f64::min(low, x), f64::max(high, x))),
        })
}

/// Tells whether the readings of a curve reach a place x, on both sides.
pub(crate) fn reaches(e: &Estimate, curve: usize, x: f64) -> bool {
    reach(e, curve).is_some_and(|(low, high)| (low..=high).contains(&x))
}

pub(crate) fn curve_findings(e: &Estimate, test: &Test) -> Vec<CurveFinding> {
    (0..e.model.curves.len())
        .filter_map(|i| curve_finding(e, test, i))
        .collect()
}

fn curve_finding(e: &Estimate, test: &Test, i: usize) -> Option<CurveFinding> {
    let model = &e.model;
    let p = &e.fit.parameters;
    let curve = &model.curves[i];
    let (low, high) = reach(e, i)?;
    let film = curve.form == CurveForm::Film;
    // A curve is drawn a little beyond its readings downwards, where it only
    // runs into base+fog.
    let from = if film { low - 0.3 } else { low };
    let samples = (0..SAMPLES)
        .map(|k| {
            let x = from + (high - from) * k as f64 / (SAMPLES - 1) as f64;
            let (value, _, gradient) = curve.value(p, x);
            CurveSample {
                log_h: x,
                value,
                standard_uncertainty: libm::sqrt(e.covariance.variance(&gradient)),
            }
        })
        .collect();
    let absolute_density = curve.response == Response::Density;
    let mut flags = Flags::none();
    if !curve.absolute {
        flags.insert(Flag::RelativeExposure);
    }
    if !absolute_density {
        flags.insert(Flag::RelativeDensity);
    }
    let base_read = model
        .terms
        .iter()
        .any(|t| t.curve == i && t.exposed.is_none());
    if film && !base_read {
        flags.insert(Flag::BaseFromToe);
    }
    let tablet_sheet = model.terms.iter().any(|t| {
        t.curve == i
            && matches!(
                test.parts().frames[t.frame].exposure,
                record::Exposure::Tablet { .. }
            )
    });
    if film && !tablet_sheet && absolute_density {
        flags.insert(Flag::NoControl);
    }

    let base = curve.base(p);
    let base_plus_fog = base.filter(|_| absolute_density).and_then(|b| {
        let sd = libm::sqrt(e.covariance.variance(&[(curve.first, 1.0)]));
        density(b).map(|d| Measured::new(d, sd))
    });
    let speed_point = base.filter(|_| absolute_density).and_then(|b| {
        let x = curve.x_at(p, b + 0.10)?;
        let sd = libm::sqrt(e.covariance.variance(&curve.place_gradient(p, x)));
        let mut point = Measured::new(log_exposure(x), sd);
        if !reaches(e, i, x) {
            point = point.flagged(Flag::OutsideCurve);
        }
        Some(point)
    });
    let point_n = speed_point.as_ref().and_then(|m| {
        let x = m.value().to_log10() + 1.30;
        let d = density(curve.value(p, x).0)?;
        (x <= high).then(|| (log_exposure(x), d))
    });
    // The straight line's gradient is the parameter itself; its uncertainty is
    // that of ln g times g.
    let g = match curve.form {
        CurveForm::Film => curve.film_parameters(p)[1],
        CurveForm::Straight => libm::exp(p[curve.first + 1]),
    };
    let gradient = Measured::new(
        g,
        g * libm::sqrt(e.covariance.variance(&[(curve.first + 1, 1.0)])),
    );
    let (criteria, more) = if film && absolute_density {
        criteria(e, i, low, high)
    } else {
        (vec![], Flags::none())
    };
    flags.extend(&more);
    let residuals: Vec<f64> = model
        .terms
        .iter()
        .zip(&model.observations)
        .enumerate()
        .filter(|(_, (t, _))| t.curve == i)
        .filter_map(|(k, (_, o))| match o.seen {
            Seen::Value(y) => Some(
                y - crate::solve::Model::value(model, &crate::solve::Model::ready(model, p), k, p),
            ),
            _ => None,
        })
        .collect();
    let residual_rms = if residuals.is_empty() {
        0.0
    } else {
        libm::sqrt(residuals.iter().map(|r| r * r).sum::<f64>() / residuals.len() as f64)
    };
    Some(CurveFinding {
        film: curve.film.clone(),
        process: curve.process.clone(),
        response: curve.response,
        absolute_exposure: curve.absolute,
        base_plus_fog,
        samples,
        gradient,
        speed_point,
        point_n,
        criteria,
        residual_rms,
        reading_count: model.terms.iter().filter(|t| t.curve == i).count(),
        flags,
    })
}

/// Every named criterion, from the joint curve and its covariance.
fn criteria(e: &Estimate, i: usize, low: f64, high: f64) -> (Vec<CriterionRow>, Flags) {
    let Some(joint) = joint_curve(e, i, low, high) else {
        return (vec![], Flags::none());
    };
    // One stop past the readings, flagged: the toe is fitted from base+fog upward.
    let Ok(stop) = Stops::new(1.0) else {
        unreachable!("one stop is a number of stops");
    };
    let speed = speed_and_contrast_continued(&joint, stop);
    crate::criteria::rows(&speed)
}

/// The joint fit as a characteristic curve of the sensitometry room: the
/// covariance is carried from the fit's own parameters to the formula's.
fn joint_curve(e: &Estimate, i: usize, low: f64, high: f64) -> Option<CharacteristicCurve> {
    let curve: &Curve = &e.model.curves[i];
    let p = &e.fit.parameters;
    let f = curve.film_parameters(p);
    let film = FilmCurve::from_parameters(f).ok()?;
    let gap = f[4] - f[2];
    let k = curve.first;
    let rows: [Vec<(usize, f64)>; 6] = [
        vec![(k, 1.0)],
        vec![(k + 1, f[1])],
        vec![(k + 2, 1.0)],
        vec![(k + 3, f[3])],
        vec![(k + 2, 1.0), (k + 4, gap)],
        vec![(k + 5, f[5])],
    ];
    let mut covariance = [[0.0; 6]; 6];
    for (a, row) in rows.iter().enumerate() {
        let c = e.covariance.times(row);
        for (b, other) in rows.iter().enumerate() {
            covariance[a][b] = other.iter().map(|&(j, v)| v * c[j]).sum();
        }
    }
    let scale = if curve.absolute {
        ExposureScale::LuxSeconds
    } else {
        ExposureScale::Relative
    };
    CharacteristicCurve::from_estimate(
        &film,
        &covariance,
        (log_exposure(low), log_exposure(high)),
        scale,
    )
}

/// Tells whether a patch is an exposed subject.
pub(crate) fn is_subject(role: PatchRole) -> bool {
    !matches!(role, PatchRole::BaseFog | PatchRole::TabletStep(_))
}
