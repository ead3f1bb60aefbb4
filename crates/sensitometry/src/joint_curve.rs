//! A characteristic curve from a fit made elsewhere.
//!
//! A joint estimate of a whole test fits the film curve together with much
//! else. It hands over the six numbers and their covariance, and asks here for
//! the criteria. There are no readings beside such a curve: they stay with
//! whoever made the fit.

use crate::characteristic_curve::{Base, BaseSource, CharacteristicCurve};
use crate::curve_fit::ExposureScale;
use crate::film_curve::{FILM_CURVE_PARAMETERS, FilmCurve};
use crate::least_squares::{Bells, Shape};
use nalgebra::DMatrix;
use quantity::{Flag, Flags, LogExposure, Measured};

impl CharacteristicCurve {
    /// Takes a fitted film curve with the covariance of [b, g, x0, s0, x1, s1].
    ///
    /// `range` is the lowest and highest exposure that readings reached;
    /// criteria beyond it are refused. `None` when the curve has no shoulder,
    /// the range is empty, or a variance is not a positive number: a joint
    /// estimate has all of these.
    #[must_use]
    pub fn from_estimate(
        curve: &FilmCurve,
        covariance: &[[f64; FILM_CURVE_PARAMETERS]; FILM_CURVE_PARAMETERS],
        range: (LogExposure, LogExposure),
        scale: ExposureScale,
    ) -> Option<Self> {
        let [b, g, x0, s0, x1, s1] = curve.to_parameters();
        let (low, high) = (range.0.to_log10(), range.1.to_log10());
        let sound = x1.is_finite()
            && low < high
            && (0..FILM_CURVE_PARAMETERS)
                .all(|i| covariance[i][i].is_finite() && covariance[i][i] >= 0.0);
        if !sound {
            return None;
        }
        let gap = x1 - x0;
        // The inner parameters are b, ln g, x0, ln s0, ln(x1 − x0), ln(s1/s0).
        let q = vec![
            b,
            libm::log(g),
            x0,
            libm::log(s0),
            libm::log(gap),
            libm::log(s1 / s0),
        ];
        #[rustfmt::skip]
        let j = DMatrix::from_row_slice(6, 6, &[
            1.0, 0.0,     0.0,        0.0,       0.0,       0.0,
            0.0, 1.0 / g, 0.0,        0.0,       0.0,       0.0,
            0.0, 0.0,     1.0,        0.0,       0.0,       0.0,
            0.0, 0.0,     0.0,        1.0 / s0,  0.0,       0.0,
            0.0, 0.0,     -1.0 / gap, 0.0,       1.0 / gap, 0.0,
            0.0, 0.0,     0.0,        -1.0 / s0, 0.0,       1.0 / s1,
        ]);
        let c = DMatrix::from_fn(6, 6, |a, b| covariance[a][b]);
        let mut flags = Flags::none();
        if scale == ExposureScale::Relative {
            flags.insert(Flag::RelativeExposure);
        }
        Some(Self {
            shape: Shape {
                q,
                shoulder: true,
                bells: Bells {
                    centres: Vec::new(),
                    width: 1.0,
                },
            },
            covariance: &j * c * j.transpose(),
            base: Base {
                source: BaseSource::Parameter,
                own_variance: 0.0,
            },
            base_plus_fog: Measured::new(curve.base_plus_fog(), libm::sqrt(covariance[0][0])),
            base_seen: Ok(()),
            low,
            high,
            scale,
            readings: Vec::new(),
            residual_sd: 0.0,
            assumed_reading_sd: None,
            flags,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speed_point::speed_point;

    #[test]
    fn criteria_of_a_handed_over_curve_carry_its_covariance() {
        // Closed form: without a near shoulder, m lies where
        // g·s0·ln(1 + e^u) = 0.10; moving x0 by d moves m by d, so the
        // standard uncertainty of m is that of x0 when nothing else is uncertain.
        let curve = FilmCurve::from_parameters([0.25, 0.70, -1.95, 0.18, 3.0, 0.2]).unwrap();
        let mut covariance = [[0.0; 6]; 6];
        covariance[2][2] = 0.02 * 0.02;
        // x1 moves with x0, so that the whole curve is shifted.
        covariance[4][4] = covariance[2][2];
        covariance[2][4] = covariance[2][2];
        covariance[4][2] = covariance[2][2];
        let at = |x| LogExposure::from_log10(x).unwrap();
        let joint = CharacteristicCurve::from_estimate(
            &curve,
            &covariance,
            (at(-2.5), at(0.5)),
            ExposureScale::LuxSeconds,
        )
        .unwrap();
        let m = speed_point(&joint).unwrap();
        // Source: reference computation from the closed form, curve "softtoe_iso": -1.915472.
        assert!((m.value().to_log10() + 1.915_472).abs() < 1e-5, "{m:?}");
        // 1e-5: central differences of the propagation.
        assert!((m.standard_uncertainty() - 0.02).abs() < 1e-5, "{m:?}");
    }
}
