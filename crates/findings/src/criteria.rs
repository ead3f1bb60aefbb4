//! Every named criterion of speed and contrast as rows to be shown.
//!
//! The keys are those of the command line's JSON and never change their
//! meaning; the numbers come from the sensitometry room.

use crate::finding::CriterionRow;
use quantity::{Flags, Measured};
use sensitometry::{Gradient, Missing, SpeedAndContrast};

fn row<Q: Copy>(
    key: &'static str,
    name: &'static str,
    answer: Result<Measured<Q>, Missing>,
    number: impl Fn(Q) -> f64,
) -> CriterionRow {
    let flags = answer
        .as_ref()
        .map_or_else(|_| Flags::none(), |m| m.flags().clone());
    CriterionRow {
        key,
        name,
        answer: answer
            .map(|m| (number(m.value()), m.standard_uncertainty()))
            .map_err(|missing| missing.to_string()),
        flags,
    }
}

/// Gives the rows of one curve, and the flags of the curve as a whole.
#[must_use]
pub fn rows(s: &SpeedAndContrast) -> (Vec<CriterionRow>, Flags) {
    let log_h = |x: quantity::LogExposure| x.to_log10();
    let slope = |g: Gradient| g.to_density_per_log_h();
    let ei = |e: quantity::ExposureIndex| e.to_arithmetic();
    let film_speed = s.film_speed.clone();
    let rows = vec![
        row(
            "base_plus_fog_density",
            "base+fog, gross density",
            Ok(s.base_plus_fog.clone()),
            |d: quantity::Density| d.to_density(),
        ),
        row(
            "speed_point_log_h",
            "log H at 0.10 over base+fog (m)",
            s.speed_point.clone(),
            log_h,
        ),
        row(
            "iso_arithmetic_speed",
            "0.8/Hm, arithmetic (an ISO speed only if the contrast condition holds)",
            film_speed
                .as_ref()
                .map(|f| f.arithmetic.clone())
                .map_err(Clone::clone),
            ei,
        ),
        row(
            "iso_logarithmic_speed_degrees",
            "1 + 10 log10 S, degrees",
            film_speed
                .as_ref()
                .map(|f| {
                    Measured::new(f.degrees, f.degrees_standard_uncertainty)
                        .flagged_all(f.arithmetic.flags())
                })
                .map_err(Clone::clone),
            |d: f64| d,
        ),
        row(
            "density_difference_1_30",
            "density of n less density of m, 1.30 log H apart (ISO 6 asks 0.80)",
            s.density_difference.clone(),
            |d: quantity::NetDensity| d.to_density(),
        ),
        row(
            "fractional_gradient_log_h",
            "log H at 0.3 of the average gradient (0.3 G)",
            s.fractional_gradient_point.clone(),
            log_h,
        ),
        row(
            "delta_x_log_h",
            "log H at 0.3 G as the delta-X equation estimates it",
            s.delta_x
                .as_ref()
                .map(|d| d.log_h.clone())
                .map_err(Clone::clone),
            log_h,
        ),
        row(
            "delta_x_arithmetic_speed",
            "speed from the delta-X estimate, arithmetic",
            s.delta_x.clone().and_then(|d| d.speed),
            ei,
        ),
        row(
            "average_gradient_1_30",
            "average gradient from m over 1.30 log H",
            s.average_gradient_1_30.clone(),
            slope,
        ),
        row(
            "average_gradient_1_50",
            "average gradient from m over 1.50 log H",
            s.average_gradient_1_50.clone(),
            slope,
        ),
        row(
            "contrast_index_arcs",
            "contrast index by arcs of 0.2 and 2.2 from the base+fog line",
            s.contrast_index_arcs
                .as_ref()
                .map(|c| c.gradient.clone())
                .map_err(Clone::clone),
            slope,
        ),
        row(
            "contrast_index_chord",
            "common chord from m to an arc of radius 2.0",
            s.contrast_index_chord.clone(),
            slope,
        ),
        row(
            "average_gradient_2_00",
            "average gradient from m over 2.00 log H",
            s.average_gradient_2_00.clone(),
            slope,
        ),
        row(
            "gamma",
            "gamma, the largest gradient",
            s.gamma.clone(),
            slope,
        ),
        row(
            "density_range",
            "density range: highest reading over base+fog",
            Ok(s.density_range.clone()),
            |d: quantity::NetDensity| d.to_density(),
        ),
        row(
            "log_exposure_range_stops",
            "log exposure range from m to the highest reading, stops",
            s.log_exposure_range.clone(),
            |d: quantity::Stops| d.to_stops(),
        ),
    ];
    (rows, s.flags.clone())
}
