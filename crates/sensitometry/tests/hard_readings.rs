//! Readings that are few, wild, blank, reversed or scattered.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot build its input must fail"
)]

mod common;

use common::{Noise, closed_form, reading, readings, readings_21, truth};
use quantity::{Density, Flag, Measured, Stops};
use sensitometry::{
    CurveError, CurveFitSettings, CurveReading, Missing, fit_characteristic_curve,
    speed_and_contrast, speed_and_contrast_continued, speed_point,
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
fn without_a_toe_nothing_is_counted_from_the_lowest_reading() {
    // Source: D = 0.15 + 0.25·ln(1 + e^(2.6 x)) of a review, rounded to 0.001: base+fog 0.15,
    // the toe below the readings, the lowest of them 0.29 over base+fog.
    let rows = [
        (0.30, 0.439),
        (0.40, 0.486),
        (0.50, 0.535),
        (0.60, 0.588),
        (0.70, 0.643),
        (0.80, 0.699),
        (0.90, 0.758),
        (1.00, 0.818),
        (1.10, 0.879),
        (1.20, 0.941),
    ];
    let line: Vec<_> = rows
        .iter()
        .map(|&(x, d)| reading(x, d, 0.0, None))
        .collect();
    let fitted = fit(&line).unwrap();
    let base = fitted.base_plus_fog();
    assert!(base.flags().contains(Flag::BaseFromLowestReading));
    assert!((base.value().to_density() - 0.439).abs() < 1e-9);
    let refused = Missing::BasePlusFogNotSeen { at_most: 0.439 };
    // Three stops past the readings would reach a speed point 0.10 over the lowest
    // reading and far below it: both would be wrong.
    let stops = Stops::new(3.0).unwrap();
    for ours in [
        speed_and_contrast(&fitted),
        speed_and_contrast_continued(&fitted, stops),
    ] {
        let refusals = [
            ours.speed_point.err(),
            ours.point_n.err(),
            ours.density_difference.err(),
            ours.contrast_condition.err(),
            ours.film_speed.err(),
            ours.delta_x.err(),
            ours.average_gradient_1_30.err(),
            ours.average_gradient_1_50.err(),
            ours.average_gradient_2_00.err(),
            ours.contrast_index_arcs.err(),
            ours.contrast_index_chord.err(),
            ours.log_exposure_range.err(),
        ];
        for (place, refusal) in refusals.into_iter().enumerate() {
            assert_eq!(refusal.as_ref(), Some(&refused), "criterion {place}");
        }
        // The point of 0.3 G lies in the toe that nobody read.
        assert!(ours.fractional_gradient_point.is_err());
    }
    assert!(refused.to_string().contains("--base-plus-fog"), "{refused}");
    // With base+fog as read from unexposed film the same readings give the speed point.
    let given = Measured::new(Density::gross(0.15).unwrap(), 0.01);
    let settings = CurveFitSettings::in_lux_seconds().with_base_plus_fog(given);
    let fitted = fit_characteristic_curve(&line, &settings).unwrap();
    let ours = speed_and_contrast_continued(&fitted, stops);
    // Hand calculation: 0.25·ln(1 + e^(2.6 m)) = 0.10 at m = -0.2729. 0.25: what 0.01 of base+fog
    // and a toe that is not read leave open.
    let m = ours.speed_point.unwrap();
    assert!((m.value().to_log10() + 0.2729).abs() < 0.25, "{m:?}");
    assert!(m.flags().contains(Flag::Extrapolated));
}

#[test]
fn a_toe_that_is_read_is_taken_however_long_it_is() {
    // Toes of width 0.40 that begin at the lowest reading or a little above it: every
    // criterion is still given, to 0.01.
    for x0 in [-1.95, -1.80, -1.65, -1.50] {
        let curve = closed_form(0.25, 0.75, x0, 0.40, None);
        let sheet = readings_21(&curve, 0.65, 0.0, &mut || 0.0);
        let fitted = fit(&sheet).unwrap();
        let ours = speed_and_contrast_continued(&fitted, Stops::new(3.0).unwrap());
        let expected = truth(&curve, 0.25, -2.35, 0.65);
        let slope = |g: &Measured<sensitometry::Gradient>| g.value().to_density_per_log_h();
        for (what, found, wanted) in [
            ("base", ours.base_plus_fog.value().to_density(), 0.25),
            (
                "m",
                ours.speed_point.unwrap().value().to_log10(),
                expected.log_hm,
            ),
            (
                "G 1.50",
                slope(&ours.average_gradient_1_50.unwrap()),
                expected.g_1_50,
            ),
            (
                "arcs",
                slope(&ours.contrast_index_arcs.unwrap().gradient),
                expected.arcs,
            ),
            ("gamma", slope(&ours.gamma.unwrap()), expected.gamma),
            (
                "0.3 G",
                ours.fractional_gradient_point.unwrap().value().to_log10(),
                expected.fractional,
            ),
        ] {
            assert!(
                (found - wanted).abs() < 0.01,
                "toe at {x0}, {what}: {found} against {wanted}"
            );
        }
    }
}

#[test]
fn twenty_thousand_readings_are_fitted_soon_and_each_keeps_its_place() {
    // Exposures spread evenly over 3 log H, noise of 0.01, every 400th reading 0.3 too high.
    let mut noise = Noise::starting_from(5);
    let film = iso();
    let count = 20_000_u32;
    let many: Vec<CurveReading> = (0..count)
        .map(|k| {
            let x = 0.65 - 3.0 * f64::from(k) / f64::from(count - 1);
            let wild = if k % 400 == 7 { 0.3 } else { 0.0 };
            reading(x, film(x) + 0.01 * noise.normal() + wild, 0.01, None)
        })
        .collect();
    let fitted = fit(&many).unwrap();
    let m = speed_point(&fitted).unwrap();
    // Source: reference computation, m of this curve at -1.915472. 0.003: three standard
    // uncertainties of m, which the noise of 20 000 readings brings to 0.001.
    assert!((m.value().to_log10() + 1.915_472).abs() < 0.003, "{m:?}");
    // Hand calculation: the toe runs out 0.013 below the lowest readings; 0.3 of that for
    // not knowing its form is 0.004 density, over a gradient of about 0.3 at m.
    assert!(m.standard_uncertainty() < 0.015, "{m:?}");
    assert_eq!(fitted.readings().len(), many.len());
    let mut flagged = Vec::new();
    for (k, (ours, given)) in fitted.readings().iter().zip(&many).enumerate() {
        assert_eq!(&ours.reading, given);
        if ours.flags.contains(Flag::NoFilmCurve) {
            flagged.push(k);
        }
    }
    let wild: Vec<usize> = (0..many.len()).filter(|k| k % 400 == 7).collect();
    assert_eq!(flagged, wild);
    assert!((fitted.residual_sd() - 0.01).abs() < 0.0005);
}

#[test]
fn many_repeats_of_a_few_exposures_are_one_curve() {
    let mut noise = Noise::starting_from(9);
    let mut sheets = Vec::new();
    for _ in 0..50 {
        sheets.extend(readings_21(&iso(), 0.65, 0.01, &mut || {
            0.01 * noise.normal()
        }));
    }
    let fitted = fit(&sheets).unwrap();
    let m = speed_point(&fitted).unwrap().value().to_log10();
    // Source: reference computation. 0.009: 0.02 for one sheet, over the root of 50, three times over.
    assert!((m + 1.915_472).abs() < 0.009, "{m}");
    assert_eq!(fitted.readings().len(), 1050);
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
