//! Weighted least squares of the film curve with a smooth correction.
//!
//! Private machinery of the curve fit: the model on plain numbers, its
//! Levenberg-Marquardt descent and the normal matrix at the end. What the
//! numbers mean, and which of several fits is taken, is decided in `curve_fit`.
//!
//! Inner parameters q: b, ln g, x0, ln s0, ln(x1 − x0), ln(s1/s0), then the weights
//! of the correction. Logarithms keep what must be positive positive; equal widths
//! (ln(s1/s0) = 0) give a curve that rises everywhere.
//!
//! Source of the method: Levenberg 1944, Marquardt 1963, from memory.

use crate::film_curve::{
    FILM_CURVE_PARAMETERS, film_density, film_density_derivatives, film_gradient,
};
use nalgebra::{DMatrix, DVector};

/// Number of film parameters in front of the correction's weights.
pub(crate) const FILM: usize = FILM_CURVE_PARAMETERS;

/// A smooth addition to the film curve: a sum of bells of one width.
///
/// c(x) = Σ w_k exp(−(x − c_k)²/(2 ℓ²)); it vanishes away from the readings.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Bells {
    /// Centres, log10 H.
    pub(crate) centres: Vec<f64>,
    /// Width ℓ, log10 H.
    pub(crate) width: f64,
}

impl Bells {
    /// Height of bell `k` at x.
    pub(crate) fn height(&self, k: usize, x: f64) -> f64 {
        let u = (x - self.centres[k]) / self.width;
        libm::exp(-0.5 * u * u)
    }
}

/// The whole curve on plain numbers: film parameters, bells and their weights.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shape {
    /// Inner parameters q, film first, then one weight for each bell.
    pub(crate) q: Vec<f64>,
    /// Whether the shoulder is part of the film curve.
    pub(crate) shoulder: bool,
    /// The bells; none without a correction.
    pub(crate) bells: Bells,
}

impl Shape {
    /// Gives [b, g, x0, s0, x1, s1].
    pub(crate) fn film(&self) -> [f64; FILM] {
        let q = &self.q;
        let (x1, s1) = if self.shoulder {
            (q[2] + libm::exp(q[4]), libm::exp(q[3] + q[5]))
        } else {
            (f64::INFINITY, 1.0)
        };
        [q[0], libm::exp(q[1]), q[2], libm::exp(q[3]), x1, s1]
    }

    /// Density at x = log10 H.
    pub(crate) fn density(&self, x: f64) -> f64 {
        let mut sum = film_density(&self.film(), x);
        for (k, w) in self.q[FILM..].iter().enumerate() {
            sum += w * self.bells.height(k, x);
        }
        sum
    }

    /// Slope at x = log10 H.
    pub(crate) fn gradient(&self, x: f64) -> f64 {
        let mut sum = film_gradient(&self.film(), x);
        let l2 = self.bells.width * self.bells.width;
        for (k, w) in self.q[FILM..].iter().enumerate() {
            sum -= w * self.bells.height(k, x) * (x - self.bells.centres[k]) / l2;
        }
        sum
    }

    /// Density and its derivatives with respect to q.
    fn density_and_row(&self, film: &[f64; FILM], x: f64, row: &mut [f64]) -> f64 {
        let (mut density, _, d) = film_density_derivatives(film, x);
        let gap = film[4] - film[2];
        row[0] = d[0];
        row[1] = d[1] * film[1];
        // x1 = x0 + gap moves with x0.
        row[2] = d[2] + if self.shoulder { d[4] } else { 0.0 };
        // s1 = s0·e^q5 moves with s0.
        row[3] = d[3] * film[3] + if self.shoulder { d[5] * film[5] } else { 0.0 };
        row[4] = if self.shoulder { d[4] * gap } else { 0.0 };
        row[5] = if self.shoulder { d[5] * film[5] } else { 0.0 };
        for (k, w) in self.q[FILM..].iter().enumerate() {
            let height = self.bells.height(k, x);
            row[FILM + k] = height;
            density += w * height;
        }
        density
    }
}

/// One weighted point.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Point {
    /// log10 H.
    pub(crate) x: f64,
    /// Density.
    pub(crate) y: f64,
    /// Standard uncertainty of the density, greater than zero.
    pub(crate) sd: f64,
    /// Share of its full weight, 0 to 1.
    pub(crate) trust: f64,
}

impl Point {
    fn weight(&self) -> f64 {
        self.trust / (self.sd * self.sd)
    }
}

/// Bounds of the inner film parameters.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bounds {
    pub(crate) low: [f64; FILM],
    pub(crate) high: [f64; FILM],
}

/// A finished descent.
#[derive(Clone, Debug)]
pub(crate) struct Descent {
    pub(crate) shape: Shape,
    /// Weighted sum of squared residuals, without the penalty.
    pub(crate) chi_squared: f64,
    /// Weighted sum of squared residuals with the penalty.
    pub(crate) objective: f64,
}

/// Descends from a start; `free` says which film parameters may move, `penalty`
/// is the precision matrix of the correction's weights; `steps` is where it stops at the latest.
pub(crate) fn descend(
    start: Shape,
    points: &[Point],
    free: [bool; FILM],
    bounds: &Bounds,
    penalty: Option<&DMatrix<f64>>,
    steps: usize,
) -> Descent {
    let moving = moving_parameters(&start, free);
    let count = moving.len();
    let mut shape = start;
    for &i in moving.iter().filter(|&&i| i < FILM) {
        shape.q[i] = shape.q[i].clamp(bounds.low[i], bounds.high[i]);
    }
    let mut objective = objective_of(&shape, points, penalty);
    let mut damping = 1e-3;
    let mut small_gains = 0;
    for _ in 0..steps {
        let (normal, gradient) = normal_equations(&shape, points, penalty);
        let mut accepted = false;
        while damping < 1e12 {
            let mut a = DMatrix::from_fn(count, count, |i, j| normal[(moving[i], moving[j])]);
            for i in 0..count {
                let d = a[(i, i)];
                a[(i, i)] = d + damping * d.max(1e-9) + 1e-12;
            }
            let right = DVector::from_fn(count, |i, _| gradient[moving[i]]);
            let Some(solver) = a.cholesky() else {
                damping *= 10.0;
                continue;
            };
            let step = solver.solve(&right);
            let mut trial = shape.clone();
            for (i, &m) in moving.iter().enumerate() {
                trial.q[m] += step[i];
                if m < FILM {
                    trial.q[m] = trial.q[m].clamp(bounds.low[m], bounds.high[m]);
                }
            }
            let trial_objective = objective_of(&trial, points, penalty);
            if trial_objective < objective {
                let gain = objective - trial_objective;
                small_gains = if gain < 1e-10 * objective + 1e-14 {
                    small_gains + 1
                } else {
                    0
                };
                shape = trial;
                objective = trial_objective;
                damping = (damping * 0.2).max(1e-12);
                accepted = true;
                break;
            }
            damping *= 6.0;
        }
        if !accepted || small_gains >= 2 {
            break;
        }
    }
    let chi_squared = objective_of(&shape, points, None);
    Descent {
        shape,
        chi_squared,
        objective,
    }
}

/// The places in q that may move.
pub(crate) fn moving_parameters(shape: &Shape, free: [bool; FILM]) -> Vec<usize> {
    (0..shape.q.len())
        .filter(|&i| i >= FILM || free[i])
        .collect()
}

fn objective_of(shape: &Shape, points: &[Point], penalty: Option<&DMatrix<f64>>) -> f64 {
    let film = shape.film();
    let mut sum = 0.0;
    for p in points {
        let mut density = film_density(&film, p.x);
        for (k, w) in shape.q[FILM..].iter().enumerate() {
            density += w * shape.bells.height(k, p.x);
        }
        let r = p.y - density;
        sum += p.weight() * r * r;
    }
    if let Some(penalty) = penalty {
        let w = DVector::from_column_slice(&shape.q[FILM..]);
        sum += (penalty * &w).dot(&w);
    }
    sum
}

/// Gives J'WJ (+ penalty) and J'Wr (− penalty·w) over every place in q.
pub(crate) fn normal_equations(
    shape: &Shape,
    points: &[Point],
    penalty: Option<&DMatrix<f64>>,
) -> (DMatrix<f64>, DVector<f64>) {
    let size = shape.q.len();
    let film = shape.film();
    let mut normal = DMatrix::zeros(size, size);
    let mut right = DVector::zeros(size);
    let mut row = vec![0.0; size];
    for p in points {
        let r = p.y - shape.density_and_row(&film, p.x, &mut row);
        let weight = p.weight();
        for i in 0..size {
            let wi = weight * row[i];
            right[i] += wi * r;
            for j in 0..=i {
                normal[(i, j)] += wi * row[j];
            }
        }
    }
    for i in 0..size {
        for j in 0..i {
            normal[(j, i)] = normal[(i, j)];
        }
    }
    if let Some(penalty) = penalty {
        let w = DVector::from_column_slice(&shape.q[FILM..]);
        let pull = penalty * w;
        for i in FILM..size {
            right[i] -= pull[i - FILM];
            for j in FILM..size {
                normal[(i, j)] += penalty[(i - FILM, j - FILM)];
            }
        }
    }
    (normal, right)
}

/// Gives the rows of derivatives of density with respect to q, one for each point.
pub(crate) fn derivative_rows(shape: &Shape, points: &[Point]) -> DMatrix<f64> {
    let size = shape.q.len();
    let film = shape.film();
    let mut rows = DMatrix::zeros(points.len(), size);
    let mut row = vec![0.0; size];
    for (i, p) in points.iter().enumerate() {
        shape.density_and_row(&film, p.x, &mut row);
        for j in 0..size {
            rows[(i, j)] = row[j];
        }
    }
    rows
}
