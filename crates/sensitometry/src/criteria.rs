//! Every named criterion of speed and contrast, side by side.
//!
//! Computes nothing of its own: each number comes from the file that defines it.
//! A criterion that cannot be given says why, and leaves the others alone.

use crate::characteristic_curve::CharacteristicCurve;
use crate::contrast_index::{ContrastIndexArcs, contrast_index_arcs, contrast_index_chord};
use crate::fractional_gradient::{DeltaX, delta_x, fractional_gradient_point};
use crate::gradient::Gradient;
use crate::gradients::{density_range, gamma, gradient_chord, log_exposure_range};
use crate::missing::Missing;
use crate::speed_point::{
    ContrastCondition, FilmSpeed, PointN, contrast_condition, density_difference, film_speed,
    point_n, speed_point,
};
use quantity::{Density, Flags, LogExposure, Measured, NetDensity, Stops};

/// Speed and contrast of one curve under every named criterion.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedAndContrast {
    /// Gross density of base+fog.
    pub base_plus_fog: Measured<Density>,
    /// Exposure of m, 0.10 over base+fog.
    pub speed_point: Result<Measured<LogExposure>, Missing>,
    /// The point 1.30 log H above m; its density is gross.
    pub point_n: Result<PointN, Missing>,
    /// ΔD, density of n less density of m.
    pub density_difference: Result<Measured<NetDensity>, Missing>,
    /// Whether ΔD is 0.80 ± 0.05.
    pub contrast_condition: Result<ContrastCondition, Missing>,
    /// Speed from m; an ISO speed only when the condition holds.
    pub film_speed: Result<FilmSpeed, Missing>,
    /// Exposure of the 0.3 G point.
    pub fractional_gradient_point: Result<Measured<LogExposure>, Missing>,
    /// The ΔX estimate of the 0.3 G point, with its speed.
    pub delta_x: Result<DeltaX, Missing>,
    /// Chord from m over 1.30 log H.
    pub average_gradient_1_30: Result<Measured<Gradient>, Missing>,
    /// Chord from m over 1.50 log H.
    pub average_gradient_1_50: Result<Measured<Gradient>, Missing>,
    /// Chord from m over 2.00 log H.
    pub average_gradient_2_00: Result<Measured<Gradient>, Missing>,
    /// Contrast index by arcs of 0.2 and 2.2.
    pub contrast_index_arcs: Result<ContrastIndexArcs, Missing>,
    /// Chord from m to the curve at distance 2.0.
    pub contrast_index_chord: Result<Measured<Gradient>, Missing>,
    /// Largest gradient.
    pub gamma: Result<Measured<Gradient>, Missing>,
    /// Net density at the highest exposure with a reading.
    pub density_range: Measured<NetDensity>,
    /// From m to the highest exposure with a reading.
    pub log_exposure_range: Result<Measured<Stops>, Missing>,
    /// Flags of the curve as a whole.
    pub flags: Flags,
}

/// Gives every named criterion of a curve.
#[must_use]
pub fn speed_and_contrast(curve: &CharacteristicCurve) -> SpeedAndContrast {
    let delta_d = density_difference(curve);
    SpeedAndContrast {
        base_plus_fog: curve.base_plus_fog().clone(),
        speed_point: speed_point(curve),
        point_n: point_n(curve),
        contrast_condition: delta_d
            .as_ref()
            .map(contrast_condition)
            .map_err(Clone::clone),
        density_difference: delta_d,
        film_speed: film_speed(curve),
        fractional_gradient_point: fractional_gradient_point(curve),
        delta_x: delta_x(curve),
        average_gradient_1_30: gradient_chord(curve, 1.30),
        average_gradient_1_50: gradient_chord(curve, 1.50),
        average_gradient_2_00: gradient_chord(curve, 2.00),
        contrast_index_arcs: contrast_index_arcs(curve),
        contrast_index_chord: contrast_index_chord(curve),
        gamma: gamma(curve),
        density_range: density_range(curve),
        log_exposure_range: log_exposure_range(curve),
        flags: curve.flags().clone(),
    }
}

/// Gives every named criterion of a curve, and those that need a little more than
/// the readings from the curve continued by a distance at both ends.
///
/// What the readings give is given as by [`speed_and_contrast`]; only what they do
/// not reach comes from the continued curve and carries
/// [`Flag::Extrapolated`](quantity::Flag::Extrapolated). Gamma, density range and
/// exposure range are of the readings alone.
#[must_use]
pub fn speed_and_contrast_continued(
    curve: &CharacteristicCurve,
    distance: Stops,
) -> SpeedAndContrast {
    let within = speed_and_contrast(curve);
    let beyond = speed_and_contrast(&curve.continued_by(distance));
    // The first reason is kept where even the continued curve gives nothing.
    fn either<T>(within: Result<T, Missing>, beyond: Result<T, Missing>) -> Result<T, Missing> {
        within.or_else(|why| beyond.map_err(|_| why))
    }
    SpeedAndContrast {
        speed_point: either(within.speed_point, beyond.speed_point),
        point_n: either(within.point_n, beyond.point_n),
        density_difference: either(within.density_difference, beyond.density_difference),
        contrast_condition: either(within.contrast_condition, beyond.contrast_condition),
        film_speed: either(within.film_speed, beyond.film_speed),
        fractional_gradient_point: either(
            within.fractional_gradient_point,
            beyond.fractional_gradient_point,
        ),
        delta_x: either(within.delta_x, beyond.delta_x),
        average_gradient_1_30: either(within.average_gradient_1_30, beyond.average_gradient_1_30),
        average_gradient_1_50: either(within.average_gradient_1_50, beyond.average_gradient_1_50),
        average_gradient_2_00: either(within.average_gradient_2_00, beyond.average_gradient_2_00),
        contrast_index_arcs: either(within.contrast_index_arcs, beyond.contrast_index_arcs),
        contrast_index_chord: either(within.contrast_index_chord, beyond.contrast_index_chord),
        ..within
    }
}
