//! Gamma, average gradients, chords and ranges.
//!
//! Begin with [`average_gradient`]. Every function names the stretch of curve it
//! is taken over: these numbers differ on one curve and must not be mixed.
//!
//! Net and gross: gradients do not depend on base+fog except through where they
//! start (0.10 over base+fog).
//!
//! Source: average gradient over 1.50 and ISO triangle over 1.30 from the 0.10
//! point, common practice and film makers' data sheets; gamma by definition.

use crate::characteristic_curve::{CharacteristicCurve, PlainCurve};
use crate::gradient::Gradient;
use crate::missing::Missing;
use crate::speed_point::{net_density_of, place_of_speed_point};
use quantity::{Measured, NetDensity, Stops};

/// Gives the slope of the chord from the speed point to a point `above` it (a
/// distance in log10 H, given as the stops it is).
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when either end lies outside the readings.
pub fn average_gradient(
    curve: &CharacteristicCurve,
    above: Stops,
) -> Result<Measured<Gradient>, Missing> {
    gradient_chord(curve, above.to_delta_log_h())
}

/// Gives the slope of the chord from the speed point to a point `delta_log_h` above it.
///
/// 1.30 gives the slope of the ISO triangle, 1.50 the average gradient of some
/// makers, 2.00 a rough contrast index.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when either end lies outside the readings;
/// [`Missing::NoSolution`] unless the distance is finite and positive.
pub fn gradient_chord(
    curve: &CharacteristicCurve,
    delta_log_h: f64,
) -> Result<Measured<Gradient>, Missing> {
    if !(delta_log_h.is_finite() && delta_log_h > 0.0) {
        return Err(Missing::NoSolution {
            criterion: "average gradient",
        });
    }
    let plain = curve.plain();
    let m = place_of_speed_point(curve)?;
    let end = plain.within(Some(m + delta_log_h))?;
    let slope = (plain.density(end) - plain.density(m)) / delta_log_h;
    Ok(curve.measured(slope, Gradient::of, |c| {
        Some(c.density_difference(delta_log_h)? / delta_log_h)
    }))
}

/// Gives gamma, the largest gradient of the curve within the readings.
///
/// # Errors
/// [`Missing::StraightLineNotReached`] when the gradient still rises at the last reading.
pub fn gamma(curve: &CharacteristicCurve) -> Result<Measured<Gradient>, Missing> {
    Ok(curve.straight_line()?.gradient)
}

/// Gives the density range of the readings: the curve at the highest exposure less base+fog.
///
/// A lower limit when it carries [`Flag::BaseFromLowestReading`](quantity::Flag::BaseFromLowestReading):
/// base+fog is then at most the lowest reading.
#[must_use]
pub fn density_range(curve: &CharacteristicCurve) -> Measured<NetDensity> {
    let plain = curve.plain();
    let range = |c: &PlainCurve| Some(c.density(c.high) - c.base);
    curve.measured(
        plain.density(plain.high) - plain.base,
        net_density_of,
        range,
    )
}

/// Gives the exposure range in use: from the speed point to the highest exposure with a reading.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when the speed point lies outside the readings.
pub fn log_exposure_range(curve: &CharacteristicCurve) -> Result<Measured<Stops>, Missing> {
    let plain = curve.plain();
    let m = place_of_speed_point(curve)?;
    let range = |c: &PlainCurve| Some((c.high - c.speed_point()?) / core::f64::consts::LOG10_2);
    Ok(curve.measured(
        (plain.high - m) / core::f64::consts::LOG10_2,
        stops_of,
        range,
    ))
}

/// Gives the exposure range between two net densities.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when either lies outside the readings.
pub fn log_exposure_range_between(
    curve: &CharacteristicCurve,
    low: NetDensity,
    high: NetDensity,
) -> Result<Measured<Stops>, Missing> {
    curve.base_seen.clone()?;
    let plain = curve.plain();
    let (low, high) = (low.to_density(), high.to_density());
    let from = plain.within(plain.log_h_at(plain.base + low))?;
    let to = plain.within(plain.log_h_at(plain.base + high))?;
    let range = |c: &PlainCurve| {
        let span = c.log_h_at(c.base + high)? - c.log_h_at(c.base + low)?;
        Some(span / core::f64::consts::LOG10_2)
    };
    Ok(curve.measured((to - from) / core::f64::consts::LOG10_2, stops_of, range))
}

/// A number of stops of our own arithmetic.
fn stops_of(value: f64) -> Stops {
    match Stops::new(value) {
        Ok(stops) => stops,
        Err(_) => unreachable!("a distance between finite exposures is finite, found {value}"),
    }
}
