//! The most probable parameters of a model with limits, and their covariance.
//!
//! Knows no film: a [`Problem`] is a list of parameters with priors and a list
//! of observations whose prediction and exact gradient the caller computes.
//! Observations may be values or limits; values and some priors lose weight
//! when they lie far out (Huber's rule), and are never dropped.
//!
//! Method: Levenberg-Marquardt on the negative log posterior; the covariance
//! is the inverse of the Gauss-Newton matrix at the optimum, in which a limit
//! counts with the curvature of its own log likelihood.
//!
//! Source: P. J. Huber, "Robust Estimation of a Location Parameter", Ann.
//! Math. Statist. 35 (1964) 73, for the weights (from memory).

use crate::assumptions::Source;
use crate::normal::{inverse_mills, log_cumulative};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// A normal prior of one parameter.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prior {
    pub(crate) mean: f64,
    pub(crate) sd: f64,
    /// Loses weight when far out.
    pub(crate) robust: bool,
    pub(crate) source: Source,
}

/// What was seen.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Seen {
    Value(f64),
    AtMost(f64),
    AtLeast(f64),
}

/// One observation. \[unit of the response\]
#[derive(Clone, Copy, Debug)]
pub(crate) struct Observation {
    pub(crate) seen: Seen,
    pub(crate) sd: f64,
}

/// A prediction and its gradient: (parameter, derivative), no parameter twice.
#[derive(Clone, Debug, Default)]
pub(crate) struct Prediction {
    pub(crate) value: f64,
    pub(crate) gradient: Vec<(usize, f64)>,
}

/// A model to be fitted.
pub(crate) trait Model {
    fn priors(&self) -> &[Prior];
    fn observations(&self) -> &[Observation];
    /// Predicts observation `index`.
    fn predict(&self, index: usize, parameters: &[f64]) -> Prediction;
    /// Huber's threshold, in standard deviations.
    fn outlier_beyond(&self) -> f64;
}

/// A parameter held at a value while the others are fitted.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Held {
    pub(crate) index: usize,
    pub(crate) value: f64,
}

/// A fit.
#[derive(Clone, Debug)]
pub(crate) struct Fit {
    pub(crate) parameters: Vec<f64>,
    /// Negative log posterior, up to a constant.
    pub(crate) cost: f64,
    /// Whether the steps had become small.
    pub(crate) converged: bool,
}

fn huber(r: f64, k: f64) -> (f64, f64) {
    // cost and weight of a scaled residual
    let a = r.abs();
    // An infinite threshold is plain least squares.
    if a <= k {
        (0.5 * r * r, 1.0)
    } else {
        (k * (a - 0.5 * k), k / a)
    }
}

/// Cost, slope with respect to the prediction, and curvature, of an observation.
fn observation_terms(o: Observation, value: f64, k: f64) -> (f64, f64, f64) {
    match o.seen {
        Seen::Value(y) => {
            let r = (value - y) / o.sd;
            let (cost, w) = huber(r, k);
            (cost, w * r / o.sd, w / (o.sd * o.sd))
        }
        Seen::AtMost(y) => limit_terms((y - value) / o.sd, o.sd, 1.0),
        Seen::AtLeast(y) => limit_terms((value - y) / o.sd, o.sd, -1.0),
    }
}

fn limit_terms(z: f64, sd: f64, sign: f64) -> (f64, f64, f64) {
    // −ln Φ(z); slope and curvature by the inverse Mills ratio h: h, h(h + z).
    let h = inverse_mills(z);
    (
        -log_cumulative(z),
        sign * h / sd,
        (h * (h + z)).max(0.0) / (sd * sd),
    )
}

fn cost_of(model: &impl Model, parameters: &[f64]) -> f64 {
    let k = model.outlier_beyond();
    let priors: f64 = model
        .priors()
        .iter()
        .zip(parameters)
        .map(|(prior, value)| {
            let r = (value - prior.mean) / prior.sd;
            if prior.robust {
                huber(r, k).0
            } else {
                0.5 * r * r
            }
        })
        .sum();
    let observations: f64 = model
        .observations()
        .iter()
        .enumerate()
        .map(|(i, o)| observation_terms(*o, model.predict(i, parameters).value, k).0)
        .sum();
    priors + observations
}

/// Slope and Gauss-Newton matrix at `parameters`.
fn normal_equations(model: &impl Model, parameters: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
    let k = model.outlier_beyond();
    let n = parameters.len();
    let mut slope = DVector::zeros(n);
    let mut matrix = DMatrix::zeros(n, n);
    for (i, (prior, value)) in model.priors().iter().zip(parameters).enumerate() {
        let r = (value - prior.mean) / prior.sd;
        let w = if prior.robust { huber(r, k).1 } else { 1.0 };
        slope[i] += w * r / prior.sd;
        matrix[(i, i)] += w / (prior.sd * prior.sd);
    }
    for (i, o) in model.observations().iter().enumerate() {
        let p = model.predict(i, parameters);
        let (_, d, c) = observation_terms(*o, p.value, k);
        for &(a, ga) in &p.gradient {
            slope[a] += d * ga;
            if c > 0.0 {
                for &(b, gb) in &p.gradient {
                    matrix[(a, b)] += c * ga * gb;
                }
            }
        }
    }
    (slope, matrix)
}

/// Finds the most probable parameters from a start.
pub(crate) fn fit(model: &impl Model, start: &[f64], held: Option<Held>, steps: usize) -> Fit {
    let mut parameters = start.to_vec();
    if let Some(held) = held {
        parameters[held.index] = held.value;
    }
    let mut cost = cost_of(model, &parameters);
    let mut damping = 1e-3;
    let mut converged = false;
    for _ in 0..steps {
        let (slope, matrix) = normal_equations(model, &parameters);
        let mut improved = false;
        for _ in 0..12 {
            let mut damped = matrix.clone();
            for i in 0..damped.nrows() {
                damped[(i, i)] *= 1.0 + damping;
            }
            if let Some(held) = held {
                for j in 0..damped.nrows() {
                    damped[(held.index, j)] = 0.0;
                    damped[(j, held.index)] = 0.0;
                }
                damped[(held.index, held.index)] = 1.0;
            }
            let mut wanted = -slope.clone();
            if let Some(held) = held {
                wanted[held.index] = 0.0;
            }
            let Some(cholesky) = Cholesky::new(damped) else {
                damping *= 10.0;
                continue;
            };
            let step = cholesky.solve(&wanted);
            let trial: Vec<f64> = parameters
                .iter()
                .zip(step.iter())
                .map(|(p, s)| p + s.clamp(-2.0, 2.0))
                .collect();
            let trial_cost = cost_of(model, &trial);
            if trial_cost.is_finite() && trial_cost <= cost {
                let gained = cost - trial_cost;
                parameters = trial;
                cost = trial_cost;
                damping = (damping * 0.2).max(1e-9);
                improved = true;
                // 1e-9 of log posterior is far below anything an interval can show.
                if gained < 1e-9 {
                    converged = true;
                }
                break;
            }
            damping *= 6.0;
        }
        if !improved {
            converged = true;
        }
        if converged {
            break;
        }
    }
    Fit {
        parameters,
        cost,
        converged,
    }
}

/// The covariance of the parameters at an optimum.
#[derive(Clone, Debug)]
pub(crate) struct Covariance {
    cholesky: Cholesky<f64, Dyn>,
}

impl Covariance {
    /// Computes it; `None` when the data and priors leave a direction open.
    pub(crate) fn at(model: &impl Model, parameters: &[f64]) -> Option<Self> {
        let (_, matrix) = normal_equations(model, parameters);
        Cholesky::new(matrix).map(|cholesky| Self { cholesky })
    }

    /// Gives C g for a sparse g.
    pub(crate) fn times(&self, gradient: &[(usize, f64)]) -> DVector<f64> {
        let mut g = DVector::zeros(self.cholesky.l_dirty().nrows());
        for &(i, v) in gradient {
            g[i] += v;
        }
        self.cholesky.solve(&g)
    }

    /// Gives the variance g'Cg of a linear answer.
    pub(crate) fn variance(&self, gradient: &[(usize, f64)]) -> f64 {
        let c = self.times(gradient);
        gradient
            .iter()
            .map(|&(i, v)| v * c[i])
            .sum::<f64>()
            .max(0.0)
    }
}

/// One end of an interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum End {
    At(f64),
    /// The likelihood never falls far enough on this side.
    Open,
}

/// Follows the profile of one parameter to where the log posterior has fallen
/// by `drop`, on one side (`direction` +1 or −1), at most `reach` away.
pub(crate) fn profile_end(
    model: &impl Model,
    best: &Fit,
    index: usize,
    sd: f64,
    direction: f64,
    drop: f64,
    reach: f64,
) -> End {
    let centre = best.parameters[index];
    let mut start = best.parameters.clone();
    let cost_at = |distance: f64, start: &mut Vec<f64>| {
        let held = Held {
            index,
            value: centre + direction * distance,
        };
        let fitted = fit(model, start, Some(held), 30);
        *start = fitted.parameters;
        fitted.cost - best.cost - drop
    };
    let (mut low, mut f_low) = (0.0, -drop);
    let mut high = sd.clamp(1e-4, reach) * libm::sqrt(2.0 * drop);
    let mut f_high = cost_at(high, &mut start);
    let mut tries = 0;
    while f_high < 0.0 {
        (low, f_low) = (high, f_high);
        high *= 1.7;
        tries += 1;
        if high > reach || tries > 40 {
            return End::Open;
        }
        f_high = cost_at(high, &mut start);
    }
    for _ in 0..30 {
        // Illinois-free: plain secant within a bracket, bisection when it stalls.
        let secant = low + (high - low) * (-f_low / (f_high - f_low)).clamp(0.05, 0.95);
        let mut from = best.parameters.clone();
        let f = cost_at(secant, &mut from);
        if f < 0.0 {
            (low, f_low) = (secant, f);
        } else {
            (high, f_high) = (secant, f);
        }
        // A thousandth of a log unit is a three-hundredth of a stop.
        if high - low < 1e-3 || f.abs() < 1e-3 {
            break;
        }
    }
    let at = low + (high - low) * (-f_low / (f_high - f_low)).clamp(0.0, 1.0);
    End::At(centre + direction * at)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Mean {
        priors: Vec<Prior>,
        observations: Vec<Observation>,
    }

    impl Model for Mean {
        fn priors(&self) -> &[Prior] {
            &self.priors
        }
        fn observations(&self) -> &[Observation] {
            &self.observations
        }
        fn predict(&self, _: usize, parameters: &[f64]) -> Prediction {
            Prediction {
                value: parameters[0],
                gradient: vec![(0, 1.0)],
            }
        }
        fn outlier_beyond(&self) -> f64 {
            1e9
        }
    }

    fn mean_of(observations: Vec<Observation>) -> Mean {
        Mean {
            priors: vec![Prior {
                mean: 0.0,
                sd: 1e3,
                robust: false,
                source: Source::Factor,
            }],
            observations,
        }
    }

    #[test]
    fn values_give_the_weighted_mean_and_its_variance() {
        let value = |y, sd| Observation {
            seen: Seen::Value(y),
            sd,
        };
        let model = mean_of(vec![value(1.0, 0.1), value(2.0, 0.2)]);
        let best = fit(&model, &[0.0], None, 50);
        // Hand calculation: weights 100 and 25: (100·1 + 25·2)/125 = 1.2; variance 1/125.
        assert!((best.parameters[0] - 1.2).abs() < 1e-6);
        let covariance = Covariance::at(&model, &best.parameters).unwrap();
        assert!((covariance.variance(&[(0, 1.0)]) - 0.008).abs() < 1e-6);
        // A normal likelihood's profile is the normal interval: 1.2 + 1.645·0.08944.
        let drop = 0.5 * 1.644_854 * 1.644_854;
        let End::At(high) = profile_end(&model, &best, 0, 0.09, 1.0, drop, 10.0) else {
            panic!("a normal likelihood closes");
        };
        assert!((high - 1.347_1).abs() < 2e-3, "{high}");
    }

    #[test]
    fn a_limit_alone_leaves_one_side_open() {
        let model = mean_of(vec![Observation {
            seen: Seen::AtMost(1.0),
            sd: 0.1,
        }]);
        let best = fit(&model, &[0.0], None, 50);
        let drop = 0.5 * 1.281_552 * 1.281_552;
        assert_eq!(
            profile_end(&model, &best, 0, 0.1, -1.0, drop, 20.0),
            End::Open
        );
        let End::At(high) = profile_end(&model, &best, 0, 0.1, 1.0, drop, 20.0) else {
            panic!("the limit closes the upper side");
        };
        // −ln Φ(z) = 0.8212 at z = −0.152: the end lies 0.015 above the limit.
        assert!((high - 1.015).abs() < 5e-3, "{high}");
    }
}
