//! Films are not exactly the closed form: other smooth shapes, free of noise.
//!
//! Expected values by bisection on the shape itself (`common`). What is asked:
//! the speed point within 0.01 log H, density rising everywhere, and no swing
//! away from the shape between or at the readings.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot build its input must fail"
)]

mod common;

use common::{Curve, bisect, readings_21};
use quantity::{Flag, LogExposure};
use sensitometry::{CurveFitSettings, fit_characteristic_curve, speed_point};

/// Fits a shape whose lowest readings reach its base.
fn check(name: &str, base: f64, curve: Curve) {
    let readings = readings_21(curve, 0.65, 0.0, &mut || 0.0);
    let fitted = fit_characteristic_curve(&readings, &CurveFitSettings::in_lux_seconds()).unwrap();
    assert!(!fitted.flags().contains(Flag::NoFilmCurve), "{name}");
    let expected = bisect(|x| curve(x) - base - 0.10, -3.5, 0.65);
    let m = speed_point(&fitted).unwrap().value().to_log10();
    assert!(
        (m - expected).abs() < 0.01,
        "{name}: m at {expected:.4}, ours {m:.4}, {:?}, {:.4}, {:?}",
        fitted.method(),
        fitted.residual_sd(),
        fitted.base_plus_fog()
    );
    let mut before = f64::NEG_INFINITY;
    for k in 0..=600 {
        let x = -2.35 + 3.0 * f64::from(k) / 600.0;
        let at = LogExposure::from_log10(x).unwrap();
        let ours = fitted.density_extrapolated_at(at).value().to_density();
        // 1e-9: rounding of the last bits in a flat base.
        assert!(ours > before - 1e-9, "{name}: falls at {x}");
        before = ours;
        // 0.005: half of what the speed point may be off, times a toe's gradient of 0.3, and
        // as much again for the kinks of the piecewise shapes.
        assert!(
            (ours - curve(x)).abs() < 0.005,
            "{name} at {x}: {} against {ours}",
            curve(x)
        );
    }
}

#[test]
fn a_hill_curve() {
    check("hill", 0.2, &|x| {
        let h = 10_f64.powf(1.3 * x);
        0.2 + 2.4 * h / (h + 0.08)
    });
}

#[test]
fn a_tanh_curve() {
    check("tanh", 0.2, &|x| 0.2 + 1.0 + ((x + 0.8) / 0.7).tanh());
}

#[test]
fn a_curve_of_parabola_and_line() {
    let toe = |u: f64| match u {
        u if u < 0.0 => 0.0,
        u if u < 0.5 => u * u,
        u => u - 0.25,
    };
    check("toe", 0.25, &|x| 0.25 + 0.65 * toe(x + 2.1));
    check("toe and shoulder", 0.25, &|x| {
        0.25 + 0.65 * (toe(x + 2.1) - toe(x + 0.1))
    });
}

#[test]
fn an_upswept_curve() {
    check("upswept", 0.25, &|x| {
        0.25 + 0.14 * (x + 2.2).max(0.0).powf(1.8)
    });
}

#[test]
fn a_sharp_toe_and_a_long_shoulder() {
    // The double exponential of growth curves: its toe is shorter than any exponential.
    check("double exponential", 0.25, &|x| {
        0.25 + 2.2 * (-(-(x + 0.9) / 0.6).exp()).exp()
    });
}
