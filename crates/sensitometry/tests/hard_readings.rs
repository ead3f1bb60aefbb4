//! Readings that are few, wild, blank, reversed or scattered.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot build its input must fail"
)]

mod common;

use common::{Noise, closed_form, reading, readings, readings_21};
use quantity::{Density, Flag, Measured, Stops};
use sensitometry::{
    CurveError, CurveFitSettings, CurveReading, fit_characteristic_curve, speed_point,
};

fn fit(readings: &[CurveReading]) -> Result<sensitometry::CharacteristicCurve, CurveError> {
    fit_characteristic_curve(readings, &CurveFitSettings::in_lux_seconds())
}

fn iso() -> impl Fn(f64) -> f64 {
    closed_form(0.25, 0.70, -1.95, 0.18, None)
}

#[test]
fn a_wild_reading_is_flagged_and_does_not_carry_the_curve() {
    // Places on base, toe, line and end; up and down.
    for (place, off) in [
        (2, 0.15),
        (8, -0.12),
        (12, 0.10),
        (18, 0.08),
        (0, -0.20),
        (20, 0.10),
    ] {
        let mut noise = Noise::starting_from(7);
        let mut all = readings_21(&iso(), 0.65, 0.005, &mut || 0.005 * noise.normal());
        let x = all[place].log_h.to_log10();
        all[place] = reading(x, iso()(x) + off, 0.005, Some(1));
        let fitted = fit(&all).unwrap();
        let flagged: Vec<usize> = (0..21)
            .filter(|&k| fitted.readings()[k].flags.contains(Flag::NoFilmCurve))
            .collect();
        assert_eq!(flagged, [place], "off by {off}");
        assert!(fitted.readings()[place].weight < 0.5);
        assert!(fitted.flags().contains(Flag::NoFilmCurve));
        // Source: reference computation, m of this curve at -1.915472. 0.06: three standard
        // uncertainties of m with readings of 0.005 and base+fog inferred (0.02).
        let m = speed_point(&fitted).unwrap().value().to_log10();
        assert!((m + 1.915_472).abs() < 0.06, "place {place}: m at {m}");
    }
}

#[test]
fn too_few_exposures_say_how_many_are_needed() {
    let four = readings(&iso(), 0.0, 0.5, 4, 0.01, &mut || 0.0);
    assert_eq!(
        fit(&four).unwrap_err().to_string(),
        "4 different exposures, but a curve needs at least 5 \
         (one less when base+fog is read from unexposed film)"
    );
    // Ten readings at one exposure are one exposure.
    let same: Vec<_> = (0..10).map(|k| reading(-1.0, 0.9, 0.01, Some(k))).collect();
    assert!(matches!(
        fit(&same),
        Err(CurveError::TooFewReadings { found: 1, .. })
    ));
    assert!(matches!(
        fit(&[]),
        Err(CurveError::TooFewReadings { found: 0, .. })
    ));
    let base = Measured::new(Density::gross(0.25).unwrap(), 0.01);
    let settings = CurveFitSettings::in_lux_seconds().with_base_plus_fog(base);
    assert!(fit_characteristic_curve(&four, &settings).is_ok());
}

#[test]
fn blank_film_is_no_image() {
    let mut noise = Noise::starting_from(3);
    let blank = readings(&|_| 0.25, 0.65, 0.15, 21, 0.01, &mut || {
        0.01 * noise.normal()
    });
    assert!(matches!(fit(&blank), Err(CurveError::NoImage { .. })));
}

#[test]
fn falling_densities_ask_whether_the_exposures_are_reversed() {
    let upside_down = readings(&|x| iso()(-1.7 - x), 0.65, 0.15, 21, 0.01, &mut || 0.0);
    let error = fit(&upside_down).unwrap_err();
    assert!(matches!(error, CurveError::DensityFalls { .. }));
    assert!(
        error
            .to_string()
            .ends_with("are the exposures sorted the other way, or is this a positive?")
    );
}

#[test]
fn scatter_is_not_one_curve() {
    let mut noise = Noise::starting_from(11);
    let cloud = readings(&|x| 1.0 + 0.1 * x, 0.65, 0.15, 21, 0.01, &mut || {
        0.4 * noise.normal()
    });
    assert!(matches!(
        fit(&cloud),
        Err(CurveError::NotOneCurve { .. }
            | CurveError::NoImage { .. }
            | CurveError::DensityFalls { .. })
    ));
}

#[test]
fn net_readings_with_a_gross_base_are_noticed() {
    let net = readings(&|x| iso()(x) - 0.25, 0.65, 0.15, 21, 0.01, &mut || 0.0);
    let base = Measured::new(Density::gross(0.25).unwrap(), 0.01);
    let settings = CurveFitSettings::in_lux_seconds().with_base_plus_fog(base);
    let error = fit_characteristic_curve(&net, &settings).unwrap_err();
    assert!(
        error.to_string().ends_with("are the readings net?"),
        "{error}"
    );
}

#[test]
fn a_missing_uncertainty_is_assumed_and_said() {
    let bare = readings_21(&iso(), 0.65, 0.0, &mut || 0.0);
    let fitted = fit(&bare).unwrap();
    assert_eq!(fitted.assumed_reading_sd(), Some(0.01));
    assert!((fitted.readings()[0].reading_sd - 0.01).abs() < 1e-15);
}

#[test]
fn without_a_toe_base_is_the_lowest_reading_and_says_so() {
    // All readings on the straight line.
    let line = readings(&|x| 0.9 + 0.6 * x, 0.65, 0.15, 12, 0.01, &mut || 0.0);
    let fitted = fit(&line).unwrap();
    assert!(
        fitted
            .base_plus_fog()
            .flags()
            .contains(Flag::BaseFromLowestReading)
    );
    // Hand calculation: lowest log H 0.65 - 11 × 0.15 = -1.00, density 0.9 - 0.6 = 0.30.
    assert!((fitted.base_plus_fog().value().to_density() - 0.30).abs() < 1e-9);
}

/// Density never falls between the lowest and the highest exposure.
fn assert_rises(fitted: &sensitometry::CharacteristicCurve) {
    let (low, high) = fitted.range();
    let mut before = f64::NEG_INFINITY;
    for k in 0..=200 {
        let along = f64::from(k) / 200.0;
        let at = low.plus(Stops::new(high.stops_above(low).to_stops() * along).unwrap());
        let density = fitted.density_extrapolated_at(at).value().to_density();
        // 1e-5: the fit allows a slope of -1e-7 per log H as rounding, and looks at 100 points.
        assert!(
            density > before - 1e-5,
            "falls at {at:?}: {before} to {density}"
        );
        before = density;
    }
}

#[test]
fn noisy_films_of_any_form_rise_everywhere() {
    // Saturating, soft and sharp forms with noise that tempts a fit to bend back.
    for start in 0..12 {
        let mut noise = Noise::starting_from(start);
        let width = 0.3 + 0.05 * f64::from(u32::try_from(start).unwrap());
        let film = |x: f64| 0.25 + 2.2 * (1.0 - (-((x + 0.5) / width).exp()).exp());
        let sheet = readings(&film, 0.65, 0.15, 21, 0.02, &mut || 0.02 * noise.normal());
        assert_rises(&fit(&sheet).unwrap());
    }
}

#[test]
fn wild_numbers_never_panic() {
    for start in 0..60 {
        let mut noise = Noise::starting_from(start);
        let count = 5 + (start % 20) as u32;
        let wild: Vec<CurveReading> = (0..count)
            .map(|k| {
                let x = 3.0 * noise.normal();
                let y = (2.0 + 2.5 * noise.normal()).clamp(-1.0, 10.0);
                reading(
                    x,
                    y,
                    if k % 3 == 0 { 0.0 } else { 0.02 * f64::from(k) },
                    None,
                )
            })
            .collect();
        if let Ok(fitted) = fit(&wild) {
            let _ = sensitometry::speed_and_contrast(&fitted);
            assert_eq!(fitted.readings().len(), wild.len());
            assert_rises(&fitted);
        }
    }
}
