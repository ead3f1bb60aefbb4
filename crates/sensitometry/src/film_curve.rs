//! The explicit characteristic curve of a film: toe, straight line, shoulder.
//!
//! Holds the formula, its slope, its inverse and its exact derivatives, and
//! nothing else: how its parameters are found from readings is in
//! [`curve_fit`](crate::fit_characteristic_curve).
//!
//! Begin with [`FilmCurve`]. [`film_density`] and [`film_density_derivatives`]
//! are the same formula on plain numbers, for loops of a joint estimate.
//!
//! Symbols: x = log10 H; b base+fog; g gradient of the straight line; x0, s0
//! position and width of the toe; x1, s1 position and width of the shoulder.
//!
//! D(x) = b + g·s0·ln(1 + e^((x − x0)/s0)) − g·s1·ln(1 + e^((x − x1)/s1))
//!
//! Source: the toe term is the film curve that photographers fit by hand
//! ("Film curve plotting and fitting", a forum thread); the shoulder term is
//! its mirror image (own derivation).

use crate::gradient::Gradient;
use quantity::{Density, LogExposure};

/// How many parameters the formula has.
pub const FILM_CURVE_PARAMETERS: usize = 6;

/// Why six numbers make no film curve.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FilmCurveError {
    /// A parameter is NaN, or infinite where it must not be.
    #[error("the film curve's {parameter} must be a finite number, found {value}")]
    NotFinite {
        /// Name of the parameter.
        parameter: &'static str,
        /// The number seen.
        value: f64,
    },
    /// Gradient or a width is zero or negative.
    #[error("the film curve's {parameter} must be greater than 0, found {value}")]
    NotPositive {
        /// Name of the parameter.
        parameter: &'static str,
        /// The number seen.
        value: f64,
    },
    /// The shoulder must lie above the toe.
    #[error("the shoulder at log H {shoulder} must lie above the toe at log H {toe}")]
    ShoulderBelowToe {
        /// Position of the toe, log10 H.
        toe: f64,
        /// Position of the shoulder, log10 H.
        shoulder: f64,
    },
}

/// The shoulder of a film curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shoulder {
    /// Where the straight line, carried on, meets the maximum density.
    pub position: LogExposure,
    /// Width of the bend. (log10 H)
    pub width: f64,
}

/// An explicit film curve; an infinite shoulder position means no shoulder.
///
/// Invariants: finite base+fog and toe; gradient and widths positive; shoulder
/// above the toe. Density rises with exposure between
/// [`rising_between`](Self::rising_between); with unequal widths the formula
/// has turning points far outside toe and shoulder.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilmCurve {
    parameters: [f64; FILM_CURVE_PARAMETERS],
}

impl FilmCurve {
    /// Joins base+fog, gradient, toe (position, width in log10 H) and shoulder.
    ///
    /// # Errors
    /// [`FilmCurveError`] when a width is not positive or the shoulder lies below the toe.
    pub fn new(
        base_plus_fog: Density,
        straight_line: Gradient,
        toe: LogExposure,
        toe_width: f64,
        shoulder: Option<Shoulder>,
    ) -> Result<Self, FilmCurveError> {
        let (x1, s1) = shoulder.map_or((f64::INFINITY, 1.0), |s| (s.position.to_log10(), s.width));
        Self::from_parameters([
            base_plus_fog.to_density(),
            straight_line.to_density_per_log_h(),
            toe.to_log10(),
            toe_width,
            x1,
            s1,
        ])
    }

    /// Takes [b, g, x0, s0, x1, s1]; x1 may be positive infinity (no shoulder).
    ///
    /// # Errors
    /// [`FilmCurveError`] naming the parameter.
    pub fn from_parameters(
        parameters: [f64; FILM_CURVE_PARAMETERS],
    ) -> Result<Self, FilmCurveError> {
        let [b, g, x0, s0, x1, s1] = parameters;
        for (parameter, value) in [("base+fog", b), ("toe position", x0)] {
            if !value.is_finite() {
                return Err(FilmCurveError::NotFinite { parameter, value });
            }
        }
        for (parameter, value) in [("gradient", g), ("toe width", s0), ("shoulder width", s1)] {
            if !value.is_finite() {
                return Err(FilmCurveError::NotFinite { parameter, value });
            }
            if value <= 0.0 {
                return Err(FilmCurveError::NotPositive { parameter, value });
            }
        }
        if x1.is_nan() {
            return Err(FilmCurveError::NotFinite {
                parameter: "shoulder position",
                value: x1,
            });
        }
        if x1 <= x0 {
            return Err(FilmCurveError::ShoulderBelowToe {
                toe: x0,
                shoulder: x1,
            });
        }
        Ok(Self { parameters })
    }

    /// Gives [b, g, x0, s0, x1, s1].
    #[must_use]
    pub fn to_parameters(&self) -> [f64; FILM_CURVE_PARAMETERS] {
        self.parameters
    }

    /// Gives base+fog, the density far below the toe.
    ///
    /// # Panics
    /// Never for a curve whose base+fog is a density; see [`density_at`](Self::density_at).
    #[must_use]
    pub fn base_plus_fog(&self) -> Density {
        density_of(self.parameters[0])
    }

    /// Gives the gradient of the straight line.
    #[must_use]
    pub fn straight_line(&self) -> Gradient {
        Gradient::of(self.parameters[1])
    }

    /// Gives the shoulder, if the curve has one.
    #[must_use]
    pub fn shoulder(&self) -> Option<Shoulder> {
        let position = LogExposure::from_log10(self.parameters[4]).ok()?;
        Some(Shoulder {
            position,
            width: self.parameters[5],
        })
    }

    /// Gives the density at an exposure, clamped to what a density can be (−1 to 10).
    #[must_use]
    pub fn density_at(&self, at: LogExposure) -> Density {
        density_of(film_density(&self.parameters, at.to_log10()))
    }

    /// Gives the slope dD/d(log10 H) at an exposure.
    #[must_use]
    pub fn gradient_at(&self, at: LogExposure) -> Gradient {
        Gradient::of(film_gradient(&self.parameters, at.to_log10()))
    }

    /// Gives the range of log10 H in which the formula rises; infinite ends are legal.
    #[must_use]
    pub fn rising_between(&self) -> (f64, f64) {
        // The slope vanishes where both bends are equally far on: (x − x0)/s0 = (x − x1)/s1.
        let [_, _, x0, s0, x1, s1] = self.parameters;
        if x1 == f64::INFINITY || s0 == s1 {
            return (f64::NEG_INFINITY, f64::INFINITY);
        }
        let turn = (x0 * s1 - x1 * s0) / (s1 - s0);
        if s1 > s0 {
            (turn, f64::INFINITY)
        } else {
            (f64::NEG_INFINITY, turn)
        }
    }

    /// Gives the exposure at which the curve has a density.
    ///
    /// `None` at or below base+fog, and at or above what the shoulder reaches.
    #[must_use]
    pub fn log_h_at(&self, density: Density) -> Option<LogExposure> {
        let [b, g, x0, s0, x1, s1] = self.parameters;
        let wanted = density.to_density();
        if wanted <= b || wanted >= b + g * (x1 - x0) {
            return None;
        }
        // 60 widths: e^-60 is below the last bit of any density.
        let (rises_from, rises_to) = self.rising_between();
        let mut low = (x0 - 60.0 * s0).max(rises_from);
        let mut high = if x1.is_finite() {
            (x1 + 60.0 * s1).min(rises_to)
        } else {
            x0 + (wanted - b) / g + 1.0
        };
        if film_density(&self.parameters, low) > wanted
            || film_density(&self.parameters, high) < wanted
        {
            return None;
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if film_density(&self.parameters, middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        LogExposure::from_log10(0.5 * (low + high)).ok()
    }
}

/// Clamps to what a density can be.
pub(crate) fn density_of(value: f64) -> Density {
    match Density::gross(value.clamp(-1.0, 10.0)) {
        Ok(density) => density,
        Err(_) => unreachable!("a clamped density of a finite curve is a density, found {value}"),
    }
}

/// ln(1 + e^u), without overflow or loss of digits.
fn softplus(u: f64) -> f64 {
    u.max(0.0) + libm::log1p(libm::exp(-u.abs()))
}

/// 1/(1 + e^−u), the slope of [`softplus`].
fn logistic(u: f64) -> f64 {
    if u >= 0.0 {
        1.0 / (1.0 + libm::exp(-u))
    } else {
        let e = libm::exp(u);
        e / (1.0 + e)
    }
}

/// Gives the density of [b, g, x0, s0, x1, s1] at x = log10 H, unchecked.
///
/// x1 may be positive infinity. Preconditions: s0 and s1 greater than zero.
#[must_use]
pub fn film_density(parameters: &[f64; FILM_CURVE_PARAMETERS], x: f64) -> f64 {
    let [b, g, x0, s0, x1, s1] = *parameters;
    let toe = s0 * softplus((x - x0) / s0);
    let shoulder = if x1 == f64::INFINITY {
        0.0
    } else {
        s1 * softplus((x - x1) / s1)
    };
    b + g * (toe - shoulder)
}

/// Gives the slope dD/dx of [b, g, x0, s0, x1, s1] at x = log10 H, unchecked.
#[must_use]
pub fn film_gradient(parameters: &[f64; FILM_CURVE_PARAMETERS], x: f64) -> f64 {
    let [_, g, x0, s0, x1, s1] = *parameters;
    let shoulder = if x1 == f64::INFINITY {
        0.0
    } else {
        logistic((x - x1) / s1)
    };
    g * (logistic((x - x0) / s0) - shoulder)
}

/// Gives density, dD/dx and the exact derivatives of D with respect to
/// [b, g, x0, s0, x1, s1], in that order.
///
/// Without a shoulder (x1 infinite) the last two derivatives are zero.
#[must_use]
pub fn film_density_derivatives(
    parameters: &[f64; FILM_CURVE_PARAMETERS],
    x: f64,
) -> (f64, f64, [f64; FILM_CURVE_PARAMETERS]) {
    let [b, g, x0, s0, x1, s1] = *parameters;
    let u = (x - x0) / s0;
    let (toe, rise) = (softplus(u), logistic(u));
    let (v, shoulder, fall) = if x1 == f64::INFINITY {
        (0.0, 0.0, 0.0)
    } else {
        let v = (x - x1) / s1;
        (v, softplus(v), logistic(v))
    };
    let net = s0 * toe - s1 * shoulder;
    (
        b + g * net,
        g * (rise - fall),
        [
            1.0,
            net,
            -g * rise,
            g * (toe - u * rise),
            g * fall,
            -g * (shoulder - v * fall),
        ],
    )
}

/// Gives dD/dx, d²D/dx² and the exact derivatives of dD/dx with respect to
/// [b, g, x0, s0, x1, s1], in that order.
///
/// With u = (x − x0)/s0, v = (x − x1)/s1 and σ' = σ(1 − σ) of the logistic σ;
/// without a shoulder (x1 infinite) the last two derivatives are zero.
#[must_use]
pub fn film_gradient_derivatives(
    parameters: &[f64; FILM_CURVE_PARAMETERS],
    x: f64,
) -> (f64, f64, [f64; FILM_CURVE_PARAMETERS]) {
    let [_, g, x0, s0, x1, s1] = *parameters;
    let u = (x - x0) / s0;
    let rise = logistic(u);
    let toe = g * rise * (1.0 - rise) / s0;
    let (v, fall) = if x1 == f64::INFINITY {
        (0.0, 0.0)
    } else {
        let v = (x - x1) / s1;
        (v, logistic(v))
    };
    let shoulder = g * fall * (1.0 - fall) / s1;
    (
        g * (rise - fall),
        toe - shoulder,
        [0.0, rise - fall, -toe, -toe * u, shoulder, shoulder * v],
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn curve(parameters: [f64; 6]) -> FilmCurve {
        FilmCurve::from_parameters(parameters).unwrap()
    }

    #[test]
    fn agrees_with_the_closed_form_reference() {
        // Source: reference computation from the closed form, curve "softtoe_iso":
        // b .25, g .70, x0 -1.95, s0 .18; readings printed to six decimals.
        let iso = curve([0.25, 0.70, -1.95, 0.18, f64::INFINITY, 1.0]);
        for (log_h, printed) in [
            (-2.35, 0.262_964),
            (-1.90, 0.356_048),
            (-1.00, 0.915_641),
            (0.65, 2.070_000),
        ] {
            let ours = iso
                .density_at(LogExposure::from_log10(log_h).unwrap())
                .to_density();
            // 6e-7: rounding to six decimals.
            assert!(
                (ours - printed).abs() < 6e-7,
                "{log_h}: {ours} against {printed}"
            );
        }
    }

    #[test]
    fn far_from_the_bends_nothing_overflows() {
        let with_shoulder = curve([0.2, 0.6, -2.0, 0.01, 0.5, 0.02]);
        // Hand calculation: far above, D = b + g (x1 - x0) = 0.2 + 0.6 * 2.5 = 1.7.
        let top = film_density(&with_shoulder.to_parameters(), 900.0);
        assert!((top - 1.7).abs() < 1e-9, "{top}");
        let bottom = film_density(&with_shoulder.to_parameters(), -900.0);
        assert!((bottom - 0.2).abs() < 1e-12, "{bottom}");
        assert!(with_shoulder.log_h_at(density_of(0.2)).is_none());
        assert!(with_shoulder.log_h_at(density_of(1.71)).is_none());
    }

    #[test]
    fn impossible_parameters_are_named() {
        let bad = FilmCurve::from_parameters([0.2, 0.6, -2.0, 0.0, f64::INFINITY, 1.0]);
        assert_eq!(
            bad.unwrap_err().to_string(),
            "the film curve's toe width must be greater than 0, found 0"
        );
        let crossed = FilmCurve::from_parameters([0.2, 0.6, -1.0, 0.1, -2.0, 1.0]);
        assert!(matches!(
            crossed,
            Err(FilmCurveError::ShoulderBelowToe { .. })
        ));
        assert!(FilmCurve::from_parameters([f64::NAN, 0.6, -1.0, 0.1, 2.0, 1.0]).is_err());
    }

    proptest! {
        /// Exact derivatives against central differences.
        #[test]
        fn derivatives_agree_with_differences(
            b in 0.0_f64..0.8, g in 0.2_f64..1.5, x0 in -2.5_f64..-1.0, s0 in 0.05_f64..0.6,
            gap in 0.5_f64..3.0, s1 in 0.05_f64..0.6, x in -3.0_f64..1.0,
        ) {
            let p = [b, g, x0, s0, x0 + gap, s1];
            let (_, slope, exact) = film_density_derivatives(&p, x);
            let h = 1e-5;
            // Truncation h²·D'''/6 with D''' up to g/s² = 600 is 1e-8; the next
            // derivative, for the slope's, is up to g/s³ = 12000: 2e-7.
            let tolerance = 1e-7;
            let of_slope = 3e-7;
            for i in 0..6 {
                let (mut up, mut down) = (p, p);
                up[i] += h;
                down[i] -= h;
                let difference = (film_density(&up, x) - film_density(&down, x)) / (2.0 * h);
                prop_assert!((difference - exact[i]).abs() < tolerance, "{i}: {difference} {}", exact[i]);
                let difference = (film_gradient(&up, x) - film_gradient(&down, x)) / (2.0 * h);
                let exact = film_gradient_derivatives(&p, x).2[i];
                prop_assert!((difference - exact).abs() < of_slope, "slope, {i}: {difference} {exact}");
            }
            let (same_slope, bend, _) = film_gradient_derivatives(&p, x);
            prop_assert!((slope - same_slope).abs() < 1e-14);
            let along = (film_gradient(&p, x + h) - film_gradient(&p, x - h)) / (2.0 * h);
            prop_assert!((along - bend).abs() < of_slope);
            let along = (film_density(&p, x + h) - film_density(&p, x - h)) / (2.0 * h);
            prop_assert!((along - slope).abs() < tolerance);
            prop_assert!((slope - film_gradient(&p, x)).abs() < 1e-14);
        }

        /// The inverse gives back the exposure.
        #[test]
        fn the_inverse_returns(x in -2.5_f64..0.3, s0 in 0.05_f64..0.5) {
            let c = curve([0.3, 0.7, -2.0, s0, 0.6, 0.25]);
            let at = LogExposure::from_log10(x).unwrap();
            let back = c.log_h_at(c.density_at(at)).unwrap().to_log10();
            // 1e-8: one bit of density over the smallest slope in this range (0.7·e^-10).
            prop_assert!((back - x).abs() < 1e-8, "{x} came back as {back}");
        }
    }
}
