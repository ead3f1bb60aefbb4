//! Fractional gradient point and the ΔX estimate of it.
//!
//! Begin with [`fractional_gradient_point`]; [`delta_x`] is the short cut that
//! reads only the speed point and the density 1.30 log H above it.
//!
//! Symbols: G slope; 0.3 G the point where the slope is 0.3 of the average slope
//! over the next 1.50 log H; ΔX distance of that point below m, log10 H.
//! Sources: fractional gradient of ASA Z38.2.1-1947; ΔX = 0.83 − 0.86 ΔD + 0.24 ΔD²
//! after Nelson and Simonds 1956, constants from memory; 0.296 at ΔD 0.80 is published.

use crate::characteristic_curve::{CharacteristicCurve, PlainCurve, log_exposure_of};
use crate::curve_fit::ExposureScale;
use crate::missing::Missing;
use crate::root::root_between;
use crate::speed_point::{
    POINT_N_ABOVE, density_difference, exposure_index_of, place_of_speed_point,
};
use quantity::{ExposureIndex, Flag, LogExposure, Measured, NetDensity};

/// Share of the average slope.
const FRACTION: f64 = 0.3;
/// Stretch of the average slope, log10 H.
const STRETCH: f64 = 1.50;
/// ΔD between which the equation is known to hold.
const DELTA_D_KNOWN: core::ops::RangeInclusive<f64> = 0.4..=1.3;
/// ΔX at ΔD 0.80, where both speeds agree by construction.
const DELTA_X_ISO: f64 = 0.2956;

/// What the ΔX equation gives.
#[derive(Clone, Debug, PartialEq)]
pub struct DeltaX {
    /// ΔX, log10 H; flagged [`Flag::BeyondFormula`] outside ΔD 0.4 to 1.3.
    pub delta_x: Measured<f64>,
    /// Estimated exposure of the fractional gradient point, log Hm − ΔX.
    pub log_h: Measured<LogExposure>,
    /// 0.8/Hm × 10^(ΔX − 0.2956); the reason when the exposure scale is relative.
    pub speed: Result<Measured<ExposureIndex>, Missing>,
}

impl PlainCurve {
    /// Slope less 0.3 of the average slope over the next 1.50.
    fn fractional_excess(&self, x: f64) -> f64 {
        self.gradient(x) - FRACTION * (self.density(x + STRETCH) - self.density(x)) / STRETCH
    }

    /// Lowest crossing from below between two exposures.
    fn fractional_gradient_between(&self, low: f64, high: f64) -> Option<f64> {
        const STEPS: usize = 60;
        let step = (high - low) / STEPS as f64;
        let mut before = self.fractional_excess(low);
        for k in 1..=STEPS {
            let x = low + step * k as f64;
            let after = self.fractional_excess(x);
            if before <= 0.0 && after > 0.0 {
                return root_between(|x| self.fractional_excess(x), x - step, x);
            }
            before = after;
        }
        None
    }

    fn fractional_gradient_point(&self) -> Option<f64> {
        let end = self.high - STRETCH;
        if end > self.low
            && let Some(x) = self.fractional_gradient_between(self.low, end)
        {
            return Some(x);
        }
        // Where the continued curve would have it, for the message.
        self.fractional_gradient_between(self.low - 1.5, self.high)
    }

    fn delta_x_log_h(&self) -> Option<f64> {
        let m = self.speed_point()?;
        Some(m - delta_x_equation(self.density_difference(POINT_N_ABOVE)?))
    }
}

/// Gives the point whose slope is 0.3 of the average slope over the next 1.50 log H.
///
/// # Errors
/// [`Missing::OutsideCurve`] when the point, or the 1.50 above it, lies outside the readings.
pub fn fractional_gradient_point(
    curve: &CharacteristicCurve,
) -> Result<Measured<LogExposure>, Missing> {
    let plain = curve.plain();
    let x = plain.within(plain.fractional_gradient_point())?;
    plain.within(Some(x + STRETCH))?;
    Ok(curve.measured(x, log_exposure_of, PlainCurve::fractional_gradient_point))
}

/// Gives ΔX of a density difference over 1.30 log H, with its uncertainty.
#[must_use]
pub fn delta_x_from_density_difference(delta_d: &Measured<NetDensity>) -> Measured<f64> {
    let d = delta_d.value().to_density();
    let slope = -0.86 + 2.0 * 0.24 * d;
    let sd = slope.abs() * delta_d.standard_uncertainty();
    let answer = Measured::new(delta_x_equation(d), sd).flagged_all(delta_d.flags());
    if DELTA_D_KNOWN.contains(&d) {
        answer
    } else {
        answer.flagged(Flag::BeyondFormula)
    }
}

/// Gives the ΔX estimate of the fractional gradient point and its speed.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when m or the point 1.30 above it lies outside the readings.
pub fn delta_x(curve: &CharacteristicCurve) -> Result<DeltaX, Missing> {
    let delta_d = density_difference(curve)?;
    let delta_x = delta_x_from_density_difference(&delta_d);
    let m = place_of_speed_point(curve)?;
    let log_h = curve
        .measured(
            m - delta_x.value(),
            log_exposure_of,
            PlainCurve::delta_x_log_h,
        )
        .flagged_all(delta_x.flags());
    let speed = if curve.exposure_scale() == ExposureScale::Relative {
        Err(Missing::RelativeExposure)
    } else {
        let log_s = libm::log10(0.8) - log_h.value().to_log10() - DELTA_X_ISO;
        let s = libm::pow(10.0, log_s);
        let sd = s * core::f64::consts::LN_10 * log_h.standard_uncertainty();
        Ok(exposure_index_of(s, sd, &log_h).flagged(Flag::NotIsoSpeed))
    };
    Ok(DeltaX {
        delta_x,
        log_h,
        speed,
    })
}

fn delta_x_equation(delta_d: f64) -> f64 {
    // ΔX = 0.83 − 0.86 ΔD + 0.24 ΔD²
    0.83 - 0.86 * delta_d + 0.24 * delta_d * delta_d
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delta_x_agrees_with_the_table() {
        // Source: reference computation of the equation; 0.80 -> .296 is also published in a forum
        // thread on film curve graphing. (ΔD, ΔX)
        for (d, dx) in [
            (0.55, 0.4296),
            (0.70, 0.3456),
            (0.80, 0.2956),
            (0.90, 0.2504),
        ] {
            let ours =
                delta_x_from_density_difference(&Measured::new(NetDensity::new(d).unwrap(), 0.01));
            // 5e-5: four printed decimals.
            assert!((ours.value() - dx).abs() < 5e-5, "{d}: {ours:?}");
            assert!(!ours.flags().contains(Flag::BeyondFormula));
        }
        let soft =
            delta_x_from_density_difference(&Measured::new(NetDensity::new(0.3).unwrap(), 0.01));
        assert!(soft.flags().contains(Flag::BeyondFormula));
    }
}
