//! The fit and every criterion on curves of the closed form, 21 readings each,
//! base+fog not given.
//!
//! Expected values: the reference table where it has the curve, and for all
//! others a second method (bisection on the closed form, in `common`).

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot build its input must fail"
)]

mod common;

use common::{Truth, closed_form, readings, readings_21, truth};
use quantity::Flag;
use sensitometry::{
    CurveFitSettings, CurveMethod, SpeedAndContrast, fit_characteristic_curve, speed_and_contrast,
    speed_and_contrast_continued,
};

fn criteria(curve: common::Curve, high: f64) -> SpeedAndContrast {
    // Readings rounded to six decimals, as the reference table prints them.
    let rounded = |x: f64| (curve(x) * 1e6).round() / 1e6;
    let readings = readings_21(&rounded, high, 0.0, &mut || 0.0);
    let fitted = fit_characteristic_curve(&readings, &CurveFitSettings::in_lux_seconds()).unwrap();
    assert!(!fitted.flags().contains(Flag::NoFilmCurve));
    speed_and_contrast(&fitted)
}

/// 2e-4: readings rounded to 1e-6, times how far a toe's parameters carry it (about 100).
const TOLERANCE: f64 = 2e-4;

fn assert_near(what: &str, ours: f64, expected: f64) {
    assert!(
        (ours - expected).abs() < TOLERANCE,
        "{what}: expected {expected}, ours {ours}"
    );
}

fn assert_all_near(ours: &SpeedAndContrast, expected: &Truth) {
    let slope = |g: &Result<quantity::Measured<sensitometry::Gradient>, _>| {
        g.as_ref().unwrap().value().to_density_per_log_h()
    };
    assert_near(
        "base",
        ours.base_plus_fog.value().to_density(),
        expected.base,
    );
    let m = ours.speed_point.as_ref().unwrap().value().to_log10();
    assert_near("m", m, expected.log_hm);
    let delta_d = ours
        .density_difference
        .as_ref()
        .unwrap()
        .value()
        .to_density();
    assert_near("ΔD", delta_d, expected.delta_d);
    assert_near(
        "G 1.30",
        slope(&ours.average_gradient_1_30),
        expected.delta_d / 1.3,
    );
    assert_near(
        "G 1.50",
        slope(&ours.average_gradient_1_50),
        expected.g_1_50,
    );
    assert_near("chord", slope(&ours.contrast_index_chord), expected.chord);
    let arcs = ours.contrast_index_arcs.as_ref().unwrap();
    assert_near(
        "arcs",
        arcs.gradient.value().to_density_per_log_h(),
        expected.arcs,
    );
    assert_near("gamma", slope(&ours.gamma), expected.gamma);
    let fractional = ours
        .fractional_gradient_point
        .as_ref()
        .unwrap()
        .value()
        .to_log10();
    assert_near("0.3 G", fractional, expected.fractional);
}

#[test]
fn the_reference_curves_are_repeated() {
    // Source: reference computation from the closed form with root finding to 1e-14; toe at -1.95,
    // width 0.18. Columns: b, g, log Hm, G over 1.50, chord of radius 2.0, arcs, 0.3 G, ΔX log H,
    // 0.8/Hm, gradient 0.10 to +2.0.
    #[rustfmt::skip]
    let rows = [
        (0.25, 0.70, -1.915472, 0.649463, 0.654688, 0.659235, -2.147616, -2.195053, 65.850938, 0.662086),
        (0.25, 0.45, -1.789670, 0.431438, 0.434816, 0.429096, -2.147616, -2.215007, 49.290098, 0.436075),
        (0.30, 0.95, -1.991380, 0.857161, 0.858240, 0.879461, -2.147616, -2.167163, 78.427721, 0.880346),
    ];
    for (b, g, log_hm, g_1_50, chord, arcs, fractional, delta_x, speed, g_2_00) in rows {
        let curve = closed_form(b, g, -1.95, 0.18, None);
        let ours = criteria(&curve, 0.65);
        let expected = Truth {
            base: b,
            log_hm,
            delta_d: curve(log_hm + 1.3) - b - 0.10,
            g_1_50,
            chord,
            arcs,
            fractional,
            gamma: g,
        };
        assert_all_near(&ours, &expected);
        let dx = ours.delta_x.unwrap();
        assert_near("ΔX", dx.log_h.value().to_log10(), delta_x);
        let s = ours.film_speed.unwrap();
        assert!((s.arithmetic.value().to_arithmetic() / speed - 1.0).abs() < 1e-3);
        let slope = ours
            .average_gradient_2_00
            .unwrap()
            .value()
            .to_density_per_log_h();
        assert_near("+2.0", slope, g_2_00);
    }
}

#[test]
fn long_toes_shoulders_and_high_fog_are_recovered() {
    // (b, g, x0, s0, shoulder)
    let cases = [
        (0.25, 0.70, -1.60, 0.35, None),
        (0.25, 0.80, -1.45, 0.45, None),
        (0.20, 0.75, -1.20, 0.50, None),
        (0.25, 0.70, -1.95, 0.18, Some((0.2, 0.25))),
        // A shoulder wider than the toe: the formula dips 0.0005 under base far below.
        (0.25, 0.70, -1.95, 0.18, Some((-0.2, 0.35))),
        (0.25, 0.70, -1.95, 0.18, Some((-0.2, 0.15))),
        (0.60, 0.70, -1.95, 0.18, None),
        (0.60, 0.65, -1.70, 0.30, Some((0.3, 0.30))),
    ];
    for (b, g, x0, s0, end) in cases {
        let curve = closed_form(b, g, x0, s0, end);
        // The long toe of 0.50 has its 0.3 G point 1.6 below x0, so its readings begin lower.
        let high = if s0 > 0.42 { 0.35 } else { 0.65 };
        let expected = truth(&curve, b, high - 3.0, high);
        assert_all_near(&criteria(&curve, high), &expected);
    }
}

#[test]
fn the_order_of_readings_and_repeats_do_not_matter() {
    let curve = closed_form(0.25, 0.70, -1.95, 0.18, None);
    let mut shuffled = readings(&curve, 0.65, 0.15, 21, 0.01, &mut || 0.0);
    shuffled.extend(readings(&curve, 0.65, 0.15, 21, 0.01, &mut || 0.0));
    // A fixed shuffle: 17 and 42 have no common divisor.
    let shuffled: Vec<_> = (0..42).map(|k| shuffled[(k * 17) % 42].clone()).collect();
    let fitted = fit_characteristic_curve(&shuffled, &CurveFitSettings::in_lux_seconds()).unwrap();
    let m = speed_and_contrast(&fitted).speed_point.unwrap();
    // Source: the reference table above.
    assert_near("m", m.value().to_log10(), -1.915_472);
    assert_eq!(fitted.readings()[5].reading, shuffled[5]);
    assert_eq!(fitted.method(), CurveMethod::Toe);
    assert_eq!(fitted.assumed_reading_sd(), None);
}

#[test]
fn nothing_is_extrapolated_unless_asked_for() {
    let curve = closed_form(0.25, 0.70, -1.95, 0.18, None);
    // 13 readings from -2.35 to -0.55: m is inside, the point 1.50 above it is not.
    let short = readings(&curve, -0.55, 0.15, 13, 0.01, &mut || 0.0);
    let fitted = fit_characteristic_curve(&short, &CurveFitSettings::in_lux_seconds()).unwrap();
    let ours = speed_and_contrast(&fitted);
    assert!(ours.speed_point.is_ok());
    let missing = ours.average_gradient_1_50.unwrap_err();
    // Hand calculation: -1.915 + 1.50 = -0.415.
    assert_eq!(
        missing.to_string(),
        "needs the curve at log H -0.415, but the readings run from -2.350 to -0.550"
    );
    let beyond = quantity::LogExposure::from_log10(0.0).unwrap();
    assert!(fitted.density_at(beyond).is_err());
    assert!(
        fitted
            .density_extrapolated_at(beyond)
            .flags()
            .contains(Flag::Extrapolated)
    );
    let further = fitted.continued_by(quantity::Stops::new(1.0).unwrap());
    let continued = speed_and_contrast(&further).average_gradient_1_50.unwrap();
    assert!(continued.flags().contains(Flag::Extrapolated));
    // Source: the reference table above.
    assert_near(
        "G 1.50",
        continued.value().to_density_per_log_h(),
        0.649_463,
    );
}

#[test]
fn a_given_base_is_used_and_its_uncertainty_carried() {
    let curve = closed_form(0.25, 0.70, -1.95, 0.18, None);
    let readings = readings_21(&curve, 0.65, 0.01, &mut || 0.0);
    let base = |sd| quantity::Measured::new(quantity::Density::gross(0.25).unwrap(), sd);
    let m_sd = |sd| {
        let settings = CurveFitSettings::in_lux_seconds().with_base_plus_fog(base(sd));
        let fitted = fit_characteristic_curve(&readings, &settings).unwrap();
        assert!(fitted.base_plus_fog().flags().is_empty());
        let m = speed_and_contrast(&fitted).speed_point.unwrap();
        assert_near("m", m.value().to_log10(), -1.915_472);
        m.standard_uncertainty()
    };
    let (exact, loose) = (m_sd(0.0), m_sd(0.02));
    assert!(
        exact > 0.001 && loose > 1.5 * exact,
        "{exact} against {loose}"
    );
}

#[test]
fn a_toe_longer_than_the_readings_is_continued_by_name_and_flagged() {
    // Toe 0.50 at -1.95: m at -2.41, the small arc of the contrast index at -2.64 and the 0.3 G
    // point at -2.96 lie below the lowest reading at -2.35.
    let curve = closed_form(0.25, 0.60, -1.95, 0.50, None);
    let expected = truth(&curve, 0.25, -2.35, 0.65);
    let readings = readings_21(&curve, 0.65, 0.0, &mut || 0.0);
    let fitted = fit_characteristic_curve(&readings, &CurveFitSettings::in_lux_seconds()).unwrap();
    let within = speed_and_contrast(&fitted);
    assert!(within.speed_point.is_err());
    assert!(within.contrast_index_arcs.is_err());
    let ours = speed_and_contrast_continued(&fitted, quantity::Stops::new(3.0).unwrap());
    let arcs = ours.contrast_index_arcs.as_ref().unwrap().gradient.clone();
    assert!(arcs.flags().contains(Flag::Extrapolated));
    assert!(
        ours.speed_point
            .as_ref()
            .unwrap()
            .flags()
            .contains(Flag::Extrapolated)
    );
    assert_eq!(ours.gamma, within.gamma);
    assert_all_near(&ours, &expected);
}
