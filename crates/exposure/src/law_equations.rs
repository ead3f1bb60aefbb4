//! The equations behind the reciprocity laws, each with its inverse, in plain seconds.
//!
//! Here is mathematics alone: ranges, checks and sources are in [`crate::reciprocity`].
//! Symbols: Tm metered time, Tc corrected time, both s; T0 threshold or best time, s.

use crate::reciprocity_form::ReciprocityRow;
use core::f64::consts::LN_10;

/// T0·(T/T0)^P above T0; with 1/P it is its own inverse.
pub(crate) fn threshold_power(time: f64, threshold: f64, exponent: f64) -> f64 {
    if time <= threshold {
        time
    } else {
        threshold * libm::pow(time / threshold, exponent)
    }
}

/// Newton steps that are always enough: both functions below are solved in fewer than ten.
const NEWTON_STEPS: usize = 100;

/// Solves t·(t + 1)^(p−1) = Tm for t.
///
/// With x = ln t it is g(x) = x + (p−1)·ln(1 + e^x) − ln Tm = 0. g rises with a
/// slope between p and 1 and is concave, and g(ln Tm) ≤ 0, so that Newton's
/// steps from ln Tm go up to the root and never past it.
pub(crate) fn modified_schwarzschild_corrected(tm: f64, p: f64) -> f64 {
    let log_tm = libm::log(tm);
    let mut x = log_tm;
    for _ in 0..NEWTON_STEPS {
        let value = x + (p - 1.0) * softplus(x) - log_tm;
        let slope = 1.0 + (p - 1.0) / (1.0 + libm::exp(-x));
        let step = value / slope;
        x -= step;
        if step.abs() <= 1e-15 * x.abs().max(1.0) {
            break;
        }
    }
    libm::exp(x)
}

/// ln(1 + e^x), written so that it does not overflow.
fn softplus(x: f64) -> f64 {
    x.max(0.0) + libm::log1p(libm::exp(-x.abs()))
}

/// Solves Tm + a·Tm^b = Tc for Tm.
///
/// With y = ln Tm it is h(y) = y + ln(1 + e^z) − ln Tc = 0, z = ln a + (b−1)·y. h rises
/// with a slope between 1 and b and is convex, and h(ln Tc) ≥ 0, so that Newton's
/// steps from ln Tc go down to the root and never past it.
pub(crate) fn additive_metered(tc: f64, a: f64, b: f64) -> f64 {
    let log_tc = libm::log(tc);
    // ln 0 is minus infinity, for which e^z below is 0, as it should be.
    let log_a = libm::log(a);
    let mut y = log_tc;
    for _ in 0..NEWTON_STEPS {
        let z = log_a + (b - 1.0) * y;
        let value = y + softplus(z) - log_tc;
        let slope = 1.0 + (b - 1.0) / (1.0 + libm::exp(-z));
        let step = value / slope;
        y -= step;
        if step.abs() <= 1e-15 * y.abs().max(1.0) {
            break;
        }
    }
    libm::exp(y)
}

/// Tells whether a time is shorter than the first row, and that row needs no correction.
pub(crate) fn uncorrected_below(rows: &[ReciprocityRow], time_s: f64) -> bool {
    let first = &rows[0];
    first.corrected == first.metered && time_s < first.metered.to_s()
}

/// Interpolates log y against log x in rows of rising x and y; the end segments carry on outside.
pub(crate) fn log_log(
    x: f64,
    rows: &[ReciprocityRow],
    x_of: impl Fn(&ReciprocityRow) -> f64,
    y_of: impl Fn(&ReciprocityRow) -> f64,
) -> f64 {
    let after = rows
        .partition_point(|row| x_of(row) < x)
        .clamp(1, rows.len() - 1);
    let (low, high) = (&rows[after - 1], &rows[after]);
    // Rows are given back unchanged, without the rounding of log and exp.
    if x == x_of(low) {
        return y_of(low);
    }
    if x == x_of(high) {
        return y_of(high);
    }
    let share = libm::log(x / x_of(low)) / libm::log(x_of(high) / x_of(low));
    y_of(low) * libm::pow(y_of(high) / y_of(low), share)
}

/// How the lengthening of a film that is best at one time grows away from it.
///
/// k = log10(Tm/T0): at one density, light k decades weaker needs a metered time k
/// decades longer. Both give log10(Tc/Tm), 0 at k = 0, the same on either side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CatenaryShape {
    /// Kron: a·(√(k² + 1) − 1).
    ///
    /// Source: E. Kron, "Über das Schwärzungsgesetz photographischer Platten", 1913;
    /// constants for three plates in the yearbook of 1914.
    Hyperbola,
    /// Halm: log10 cosh(a·k·ln 10), the mean of the two power laws 10^(±a·k).
    ///
    /// Source: J. Halm, 1915 (form from memory).
    HyperbolicCosine,
}

impl CatenaryShape {
    /// ln(Tc/Tm) and its slope d ln(Tc/Tm)/d ln Tm, between −a and a.
    pub(crate) fn lengthening(self, tm: f64, a: f64, best: f64) -> (f64, f64) {
        let k = libm::log10(tm / best);
        match self {
            Self::Hyperbola => {
                let root = libm::sqrt(k * k + 1.0);
                // √(k²+1) − 1 written without cancellation near k = 0.
                (a * LN_10 * k * k / (root + 1.0), a * k / root)
            }
            Self::HyperbolicCosine => {
                let x = a * k.abs() * LN_10;
                // ln cosh x, written so that it does not overflow.
                let value = x + libm::log1p(libm::exp(-2.0 * x)) - core::f64::consts::LN_2;
                (value.max(0.0), a * libm::tanh(a * k * LN_10))
            }
        }
    }

    /// Tc of Tm.
    pub(crate) fn corrected(self, tm: f64, a: f64, best: f64) -> f64 {
        tm * libm::exp(self.lengthening(tm, a, best).0)
    }

    /// Solves Tc of Tm for Tm.
    ///
    /// ln Tc rises with ln Tm by a slope between 1 − a and 1 + a, is convex, and is
    /// never below ln Tm, so that Newton's steps from ln Tc go down to the root and
    /// never past it.
    pub(crate) fn metered(self, tc: f64, a: f64, best: f64) -> f64 {
        let log_tc = libm::log(tc);
        let mut y = log_tc;
        for _ in 0..NEWTON_STEPS {
            let (value, slope) = self.lengthening(libm::exp(y), a, best);
            let step = (y + value - log_tc) / (1.0 + slope);
            y -= step;
            if step.abs() <= 1e-15 * y.abs().max(1.0) {
                break;
            }
        }
        libm::exp(y)
    }
}
