//! Curves by the frames' own brackets against tests whose true curve is known.
//!
//! The tests are made by `testkit`, which shares no code with the estimate: shutter
//! marks, apertures, light, base+fog and contrast of each sheet are off by drawn amounts.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use findings::{Assumptions, BracketFinding, Findings, VerdictCriteria, evaluate};
use quantity::Measured;
use record::{Reading, Response, Test};
use testkit::{CurveShape, ReadingsSpec, Truth, TruthCurve, simulate_readings};

fn found(spec: &ReadingsSpec, draw: u64, relative: bool) -> (Findings, Truth) {
    let (parts, truth) = simulate_readings(spec, draw);
    let mut readings = parts.readings.clone();
    if relative {
        over_clear_film(&mut readings);
    }
    let test = Test::assemble(parts).unwrap();
    let findings = evaluate(
        &test,
        &readings,
        &Assumptions::COMMON_PRACTICE,
        &VerdictCriteria::COMMON_PRACTICE,
    )
    .unwrap();
    (findings, truth)
}

/// What a scan without a tablet gives: densities over the frame's own clear film.
fn over_clear_film(readings: &mut [Reading]) {
    let clear: Vec<_> = readings
        .iter()
        .filter(|r| r.patch.as_str() == "base-fog")
        .map(|r| (r.frame.clone(), r.value.value()))
        .collect();
    for reading in readings {
        let base = clear.iter().find(|(frame, _)| *frame == reading.frame);
        let base = base.map_or(0.0, |(_, value)| *value);
        reading.value = Measured::new(
            reading.value.value() - base,
            reading.value.standard_uncertainty(),
        );
        reading.response = Response::RelativeDensity;
    }
}

/// How far log H of a value over the anchor's is off, in standard uncertainties, at the
/// places of the curve where it says something.
fn off(bracket: &BracketFinding, curve: &TruthCurve, base: f64) -> Vec<f64> {
    let told = bracket.answer.as_ref().unwrap();
    let true_log_h = |value: f64| curve.log_h_of_net(value - base);
    let (low, high) = (
        told.samples[0].value,
        told.samples[told.samples.len() - 1].value,
    );
    [0.15, 0.3, 0.7, 0.85]
        .iter()
        .filter_map(|share| {
            let wanted = low + share * (high - low);
            let at = told.samples.iter().min_by(|a, b| {
                (a.value - wanted)
                    .abs()
                    .total_cmp(&(b.value - wanted).abs())
            })?;
            // On the toe a base+fog that is off by a hundredth is half a stop; the joint
            // estimate calls anything below 0.05 a limit, too.
            (at.value - base > 0.1).then(|| {
                let truth = true_log_h(at.value) - true_log_h(told.anchor);
                (at.log_h - truth) / at.log_h_sd
            })
        })
        .collect()
}

fn coverage(spec: &ReadingsSpec, relative: bool, draws: u64) -> (usize, usize, f64) {
    let (mut held, mut count, mut squares) = (0, 0, 0.0);
    for draw in 0..draws {
        let (findings, truth) = found(spec, draw, relative);
        let base = if relative {
            0.0
        } else {
            truth.curve.base_plus_fog
        };
        let brackets: Vec<_> = findings
            .bracket_curves
            .iter()
            .filter(|b| b.answer.is_ok())
            .collect();
        assert!(!brackets.is_empty(), "draw {draw}: no curve");
        for bracket in brackets {
            assert_eq!(bracket.response == Response::RelativeDensity, relative);
            for z in off(bracket, &truth.curve, base) {
                count += 1;
                held += usize::from(z.abs() <= 2.0);
                squares += z * z;
            }
        }
    }
    (held, count, (squares / count as f64).sqrt())
}

fn without_tablet_sheet() -> ReadingsSpec {
    ReadingsSpec {
        tablet_sheet: false,
        ..ReadingsSpec::default()
    }
}

#[test]
fn a_bracket_gives_the_true_curve_within_its_uncertainty() {
    for curve in [CurveShape::ToeAndShoulder, CurveShape::Sagging] {
        let spec = ReadingsSpec {
            curve,
            ..without_tablet_sheet()
        };
        let (held, count, rms) = coverage(&spec, false, 40);
        // Two standard uncertainties of a normal law hold 95 %; of 100 and more places, four
        // to a curve and so not independent, 88 % or more in all but one run of a hundred.
        assert!(
            held * 100 >= count * 88,
            "{curve:?}: {held} of {count}, rms {rms:.2}"
        );
        // Nor may the uncertainty be so wide that it says nothing.
        assert!(rms > 0.4, "{curve:?}: rms {rms:.2}");
    }
}

#[test]
fn without_any_tablet_the_relative_curve_is_the_films_over_its_base() {
    let (held, count, rms) = coverage(&without_tablet_sheet(), true, 40);
    assert!(held * 100 >= count * 88, "{held} of {count}, rms {rms:.2}");
    let (findings, _) = found(&without_tablet_sheet(), 1, true);
    let told = findings.bracket_curves[0].answer.as_ref().unwrap();
    let unknown = told.cannot_tell.join(" ");
    assert!(unknown.contains("film and scanner"), "{unknown}");
    assert!(unknown.contains("no speed and no EI"), "{unknown}");
}

#[test]
fn a_tablet_sheet_leaves_no_need_for_a_bracket() {
    let (findings, _) = found(&ReadingsSpec::default(), 1, false);
    assert!(findings.bracket_curves.is_empty());
}

#[test]
fn two_frames_are_no_bracket() {
    let spec = ReadingsSpec {
        filtered_frames: 2,
        ..without_tablet_sheet()
    };
    let (findings, _) = found(&spec, 1, false);
    assert!(findings.bracket_curves.is_empty());
}
