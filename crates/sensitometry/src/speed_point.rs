//! Speed point m, point n, film speed and the contrast condition.
//!
//! Net and gross: the speed point is 0.10 over base+fog, so it is a net
//! criterion; the curve it is read from is gross.
//!
//! Begin with [`speed_point`]; [`film_speed`] is what becomes of it.
//!
//! Symbols: m speed point, D = base+fog + 0.10; n the point 1.30 log H above it;
//! Hm exposure at m, lux seconds; ΔD density difference n − m; S, S° speed.
//! Source: ISO 6:1993 (S = 0.8/Hm, S° = 1 + 10 log10 S, ΔD 0.80), as quoted in
//! secondary texts; the tolerance of ±0.05 on 0.80 is from memory.

use crate::characteristic_curve::{CharacteristicCurve, PlainCurve, log_exposure_of};
use crate::curve_fit::ExposureScale;
use crate::film_curve::density_of;
use crate::missing::Missing;
use quantity::{Density, ExposureIndex, Flag, LogExposure, Measured, NetDensity, QuantityError};

/// Net density of the speed point.
pub(crate) const SPEED_POINT_NET: f64 = 0.10;
/// Distance of point n above point m, log10 H.
pub(crate) const POINT_N_ABOVE: f64 = 1.30;
/// ΔD of the ISO development.
const ISO_DELTA_D: f64 = 0.80;
/// Tolerance on it, from memory.
const ISO_DELTA_D_TOLERANCE: f64 = 0.05;
/// Half-width of a 90 % interval, in standard uncertainties.
const SURE: f64 = 1.645;

/// Point n of ISO 6: 1.30 log H above the speed point.
#[derive(Clone, Debug, PartialEq)]
pub struct PointN {
    /// Exposure of the point.
    pub log_h: Measured<LogExposure>,
    /// Gross density of the point.
    pub density: Measured<Density>,
}

/// Whether the development meets the contrast condition of ISO 6.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ContrastCondition {
    /// ΔD lies within 0.80 ± 0.05, uncertainty counted.
    Holds,
    /// ΔD lies outside 0.80 ± 0.05, uncertainty counted.
    Fails,
    /// The uncertainty of ΔD reaches over a limit.
    CannotBeTold,
}

/// One step of the ISO speed scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedStep {
    /// The number printed for this step: 100, 125, 160 ...
    pub arithmetic: f64,
    /// Logarithmic speed: 21, 22, 23 ... (degrees)
    pub degrees: i32,
}

/// A film speed: an ISO speed only when the contrast condition holds.
#[derive(Clone, Debug, PartialEq)]
pub struct FilmSpeed {
    /// S = 0.8/Hm, not rounded; flagged [`Flag::NotIsoSpeed`] unless the condition holds.
    pub arithmetic: Measured<ExposureIndex>,
    /// S° = 1 + 10 log10 S, not rounded. (degrees)
    pub degrees: f64,
    /// Standard uncertainty of S°. (degrees)
    pub degrees_standard_uncertainty: f64,
    /// The nearest step of the scale.
    pub step: SpeedStep,
    /// Whether it may be called an ISO speed.
    pub condition: ContrastCondition,
}

impl PlainCurve {
    /// log10 H of the speed point, continued past the readings where needed.
    pub(crate) fn speed_point(&self) -> Option<f64> {
        self.log_h_at(self.base + SPEED_POINT_NET)
    }

    /// Density difference over a distance in log H above the speed point.
    pub(crate) fn density_difference(&self, above: f64) -> Option<f64> {
        let m = self.speed_point()?;
        Some(self.density(m + above) - self.base - SPEED_POINT_NET)
    }
}

/// Gives the exposure of the speed point, 0.10 over base+fog.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when the curve does not reach it within the readings.
pub fn speed_point(curve: &CharacteristicCurve) -> Result<Measured<LogExposure>, Missing> {
    let m = place_of_speed_point(curve)?;
    Ok(curve.measured(m, log_exposure_of, PlainCurve::speed_point))
}

/// log10 H of the speed point, when base+fog is known and the readings reach it.
pub(crate) fn place_of_speed_point(curve: &CharacteristicCurve) -> Result<f64, Missing> {
    curve.base_seen.clone()?;
    let plain = curve.plain();
    plain.within(plain.speed_point())
}

/// Gives point n, 1.30 log H above the speed point.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when m or n lies outside the readings.
pub fn point_n(curve: &CharacteristicCurve) -> Result<PointN, Missing> {
    let plain = curve.plain();
    let m = place_of_speed_point(curve)?;
    let n = plain.within(Some(m + POINT_N_ABOVE))?;
    Ok(PointN {
        log_h: curve.measured(n, log_exposure_of, |c| {
            Some(c.speed_point()? + POINT_N_ABOVE)
        }),
        density: curve.measured(plain.density(n), density_of, |c| {
            Some(c.density(c.speed_point()? + POINT_N_ABOVE))
        }),
    })
}

/// Gives ΔD: density of n less density of m.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when m or n lies outside the readings.
pub fn density_difference(curve: &CharacteristicCurve) -> Result<Measured<NetDensity>, Missing> {
    let plain = curve.plain();
    let m = place_of_speed_point(curve)?;
    let n = plain.within(Some(m + POINT_N_ABOVE))?;
    let delta = plain.density(n) - plain.density(m);
    Ok(curve.measured(delta, net_density_of, |c| {
        c.density_difference(POINT_N_ABOVE)
    }))
}

/// Tells whether ΔD meets 0.80 ± 0.05, counting its uncertainty.
///
/// It holds or fails when the 90 % interval of ΔD lies wholly within or wholly
/// outside the limits.
#[must_use]
pub fn contrast_condition(delta_d: &Measured<NetDensity>) -> ContrastCondition {
    let off = (delta_d.value().to_density() - ISO_DELTA_D).abs();
    let reach = SURE * delta_d.standard_uncertainty();
    if off + reach <= ISO_DELTA_D_TOLERANCE {
        ContrastCondition::Holds
    } else if off - reach > ISO_DELTA_D_TOLERANCE {
        ContrastCondition::Fails
    } else {
        ContrastCondition::CannotBeTold
    }
}

/// Gives the arithmetic speed of an exposure at the speed point: S = 0.8/Hm.
///
/// # Errors
/// [`QuantityError`] when the exposure is so far out that the number overflows or vanishes.
pub fn arithmetic_speed(log_hm: LogExposure) -> Result<ExposureIndex, QuantityError> {
    ExposureIndex::from_arithmetic(0.8 / libm::pow(10.0, log_hm.to_log10()))
}

/// Gives the film speed from the speed point.
///
/// When point n lies outside the readings the condition cannot be told, and the
/// number is an exposure index.
///
/// # Errors
/// [`Missing::RelativeExposure`] without lux seconds; else as [`speed_point`].
pub fn film_speed(curve: &CharacteristicCurve) -> Result<FilmSpeed, Missing> {
    if curve.exposure_scale() == ExposureScale::Relative {
        return Err(Missing::RelativeExposure);
    }
    let m = speed_point(curve)?;
    let condition = density_difference(curve)
        .map_or(ContrastCondition::CannotBeTold, |d| contrast_condition(&d));
    let log_hm = m.value().to_log10();
    // S = 0.8/Hm
    let s = 0.8 / libm::pow(10.0, log_hm);
    let mut arithmetic = exposure_index_of(
        s,
        s * core::f64::consts::LN_10 * m.standard_uncertainty(),
        &m,
    );
    if condition != ContrastCondition::Holds {
        arithmetic = arithmetic.flagged(Flag::NotIsoSpeed);
    }
    Ok(FilmSpeed {
        arithmetic,
        // S° = 1 + 10 log10 S
        degrees: 1.0 + 10.0 * libm::log10(s),
        degrees_standard_uncertainty: 10.0 * m.standard_uncertainty(),
        step: speed_step(m.value()),
        condition,
    })
}

/// Gives the step of the ISO scale whose band holds log10 Hm.
///
/// Bands are a degree wide, centred on S° = 1 + 10 log10(0.8/Hm).
#[must_use]
pub fn speed_step(log_hm: LogExposure) -> SpeedStep {
    let exact = 1.0 + 10.0 * (libm::log10(0.8) - log_hm.to_log10());
    // ±400°: beyond any exposure; keeps the conversion exact.
    let degrees = exact.round().clamp(-400.0, 400.0) as i32;
    SpeedStep {
        arithmetic: arithmetic_of_degrees(degrees),
        degrees,
    }
}

/// The printed arithmetic number of a degree.
///
/// Ten numbers to a decade, three to a doubling by custom; from 1000 up and
/// below 10 the decade repeats (1250 for 12 times 100, 1.2 for 12 by 10).
fn arithmetic_of_degrees(degrees: i32) -> f64 {
    // Source: ISO 6, steps as printed on films and meters, common practice.
    const DECADE: [f64; 10] = [10.0, 12.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 64.0, 80.0];
    let place = (degrees - 1).rem_euclid(10);
    let decade = (degrees - 1).div_euclid(10);
    let mantissa = match (usize::try_from(place), decade) {
        // 125 and 1250 are printed with their third digit.
        (Ok(1), 2..) => 12.5,
        (Ok(place), _) => DECADE[place],
        (Err(_), _) => unreachable!("a remainder by ten is not negative"),
    };
    mantissa * libm::pow(10.0, f64::from(decade - 1))
}

/// A density difference of our own arithmetic.
pub(crate) fn net_density_of(value: f64) -> NetDensity {
    match NetDensity::new(value.clamp(-11.0, 11.0)) {
        Ok(net) => net,
        Err(_) => unreachable!("a clamped density difference is one, found {value}"),
    }
}

/// An exposure index with the flags of what it was made from.
pub(crate) fn exposure_index_of<Q: Copy>(
    value: f64,
    sd: f64,
    from: &Measured<Q>,
) -> Measured<ExposureIndex> {
    match ExposureIndex::from_arithmetic(value) {
        Ok(ei) => Measured::new(ei, sd).flagged_all(from.flags()),
        Err(_) => {
            unreachable!("0.8/Hm of a finite log Hm within readings is a speed, found {value}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_those_of_the_published_scale() {
        // Source: ISO speed scale, reference computation of the bands of log Hm:
        // 100/21 from -2.14 to -2.05, 400/27 from -2.74 to -2.65, 25/15 from -1.54 to -1.45,
        // 3200/36 from -3.64 to -3.55.
        for (low, high, arithmetic, degrees) in [
            (-2.14, -2.05, 100.0, 21),
            (-2.74, -2.65, 400.0, 27),
            (-1.54, -1.45, 25.0, 15),
            (-3.64, -3.55, 3200.0, 36),
        ] {
            for log_hm in [low, high] {
                let step = speed_step(LogExposure::from_log10(log_hm).unwrap());
                assert_eq!(step.degrees, degrees, "{log_hm}");
                assert!(
                    (step.arithmetic / arithmetic - 1.0).abs() < 1e-12,
                    "{log_hm}: {step:?}"
                );
            }
        }
        // Source: the same scale: 80/20, 125/22, 160/23, 12/12, 1250/32, 6400/39, 8/10.
        for (s, degrees) in [
            (80.0, 20),
            (125.0, 22),
            (160.0, 23),
            (12.0, 12),
            (1250.0, 32),
            (6400.0, 39),
            (8.0, 10),
        ] {
            assert!(
                (arithmetic_of_degrees(degrees) / s - 1.0).abs() < 1e-12,
                "{degrees}"
            );
        }
    }

    #[test]
    fn the_condition_counts_the_uncertainty() {
        let of =
            |d: f64, sd: f64| contrast_condition(&Measured::new(NetDensity::new(d).unwrap(), sd));
        // Limits 0.75 to 0.85 (ISO 6, tolerance from memory).
        assert_eq!(of(0.80, 0.01), ContrastCondition::Holds);
        assert_eq!(of(0.84, 0.01), ContrastCondition::CannotBeTold);
        assert_eq!(of(0.86, 0.01), ContrastCondition::CannotBeTold);
        assert_eq!(of(0.549, 0.01), ContrastCondition::Fails);
    }
}
