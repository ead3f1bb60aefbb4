//! Whether readings ask for more than the film curve, and how smooth a more.
//!
//! Real films are not exactly the formula of `film_curve`. The misfit is modelled
//! as a smooth random function c(x) with covariance a²·exp(−(x−x')²/(2ℓ²)); its
//! size a and width ℓ are those under which the residuals are most likely,
//! counted after the film parameters and the noise level are estimated
//! (restricted likelihood). White residuals choose no correction.
//!
//! Private machinery; begin with [`corrections_asked_for`].
//!
//! Source of the method: restricted maximum likelihood of a mixed model, from memory.

use crate::least_squares::{Bells, FILM, Point, Shape, derivative_rows, moving_parameters};
use nalgebra::{DMatrix, DVector};

/// A correction that the residuals ask for.
#[derive(Clone, Debug)]
pub(crate) struct Choice {
    /// Bells of one width across the readings.
    pub(crate) bells: Bells,
    /// Precision matrix of the bells' weights, for residuals as large as stated.
    pub(crate) penalty: DMatrix<f64>,
    /// Variance of the residuals over the stated variance; the correction's own
    /// variance scales with it.
    pub(crate) noise: f64,
}

/// Widths tried, log10 H: from the narrowest bend a film shows to half a curve.
const WIDTHS: [f64; 3] = [0.3, 0.5, 0.8];
/// Ratios a²/sd² tried.
const RATIOS: [f64; 9] = [0.1, 0.3, 1.0, 3.0, 10.0, 100.0, 1e3, 1e4, 1e5];
/// Gain of log likelihood asked of a correction: odds of 20 to 1 against chance.
const GAIN_MIN: f64 = 3.0;
/// What the stated uncertainty counts for against the residuals, in readings, when
/// the noise level is estimated: enough that few readings cannot be called noiseless.
const STATED_WEIGHT: f64 = 1.0;
/// Distance of neighbouring bells, in widths.
const SPACING: f64 = 0.7;
/// Most bells of one correction.
const BELLS_MAX: usize = 40;

/// Gives the corrections the residuals ask for, likeliest first, one for each width;
/// none when the residuals are as good as noise.
pub(crate) fn corrections_asked_for(
    shape: &Shape,
    points: &[Point],
    free: [bool; FILM],
) -> Vec<Choice> {
    let moving = moving_parameters(shape, free);
    let n = points.len();
    if n < moving.len() + 4 {
        return Vec::new();
    }
    let rows = derivative_rows(shape, points);
    let j = DMatrix::from_fn(n, moving.len(), |i, k| rows[(i, moving[k])]);
    let r = DVector::from_fn(n, |i, _| points[i].y - shape.density(points[i].x));
    let noise = DVector::from_fn(n, |i, _| {
        points[i].sd * points[i].sd / points[i].trust.max(1e-9)
    });
    let mean_variance = points.iter().map(|p| p.sd * p.sd).sum::<f64>() / n as f64;

    let alone = restricted_likelihood(&DMatrix::from_diagonal(&noise), &j, &r);
    let Some(alone) = alone else {
        return Vec::new();
    };
    let mut choices: Vec<(f64, Choice)> = Vec::new();
    for width in WIDTHS {
        let kernel = DMatrix::from_fn(n, n, |a, b| bell(points[a].x - points[b].x, width));
        let mut best: Option<(Likelihood, f64)> = None;
        for ratio in RATIOS {
            let variance = DMatrix::from_diagonal(&noise) + &kernel * (ratio * mean_variance);
            let Some(found) = restricted_likelihood(&variance, &j, &r) else {
                continue;
            };
            if best.as_ref().is_none_or(|(b, _)| found.log > b.log) {
                best = Some((found, ratio));
            }
        }
        let Some((found, ratio)) = best else { continue };
        if found.log - alone.log < GAIN_MIN {
            continue;
        }
        if let Some(choice) = choice_of(points, width, ratio * mean_variance, found.noise) {
            choices.push((found.log, choice));
        }
    }
    choices.sort_by(|a, b| b.0.total_cmp(&a.0));
    choices.into_iter().map(|(_, choice)| choice).collect()
}

/// exp(−d²/(2ℓ²))
fn bell(distance: f64, width: f64) -> f64 {
    let u = distance / width;
    libm::exp(-0.5 * u * u)
}

/// Bells across the readings and the precision of their weights.
fn choice_of(points: &[Point], width: f64, amplitude_squared: f64, noise: f64) -> Option<Choice> {
    let low = points.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.x).fold(f64::NEG_INFINITY, f64::max);
    let wanted = ((high - low) / (SPACING * width)).ceil().max(1.0);
    if wanted >= BELLS_MAX as f64 {
        return None;
    }
    let intervals = wanted as usize;
    let centres: Vec<f64> = (0..=intervals)
        .map(|k| low + (high - low) * k as f64 / intervals as f64)
        .collect();
    let size = centres.len();
    let kernel = DMatrix::from_fn(size, size, |a, b| {
        bell(centres[a] - centres[b], width) + if a == b { 1e-6 } else { 0.0 }
    });
    Some(Choice {
        bells: Bells { centres, width },
        // w = K⁻¹ c(centres) with c ~ N(0, a² K), so the precision of w is K/a².
        penalty: kernel / amplitude_squared,
        noise,
    })
}

/// A restricted likelihood and the noise level it was taken at.
struct Likelihood {
    log: f64,
    /// Variance of the residuals over the stated variance.
    noise: f64,
}

/// −½ [(n − k) ln(r'Pr) + ln|V| + ln|J'V⁻¹J|], the noise level profiled out.
fn restricted_likelihood(
    variance: &DMatrix<f64>,
    j: &DMatrix<f64>,
    r: &DVector<f64>,
) -> Option<Likelihood> {
    let (n, k) = j.shape();
    let scaled = {
        // Columns to unit length: the determinant then compares like with like.
        let mut scaled = j.clone();
        for mut column in scaled.column_iter_mut() {
            let length = column.norm();
            if length > 0.0 {
                column /= length;
            }
        }
        scaled
    };
    let v = variance.clone().cholesky()?;
    let vj = v.solve(&scaled);
    let mut information = scaled.transpose() * &vj;
    for i in 0..k {
        information[(i, i)] *= 1.0 + 1e-10;
    }
    let information = information.cholesky()?;
    let vr = v.solve(r);
    let projected = information.solve(&(vj.transpose() * r));
    let rpr = r.dot(&vr) - (vj.transpose() * r).dot(&projected);
    let log_v: f64 = v
        .l_dirty()
        .diagonal()
        .iter()
        .map(|d| 2.0 * libm::log(*d))
        .sum();
    let log_i: f64 = information
        .l_dirty()
        .diagonal()
        .iter()
        .map(|d| 2.0 * libm::log(*d))
        .sum();
    let freedom = (n - k) as f64 + STATED_WEIGHT;
    let rpr = rpr.max(0.0) + STATED_WEIGHT;
    Some(Likelihood {
        log: -0.5 * (freedom * libm::log(rpr) + log_v + log_i),
        noise: rpr / freedom,
    })
}
