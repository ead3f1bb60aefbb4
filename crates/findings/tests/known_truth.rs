//! The estimate against tests whose truth is known.
//!
//! Each case simulates many tests, with errors drawn from stated spreads, and
//! asks how often the stated interval holds the truth. The simulation shares
//! no code with the estimate.

use findings::{Assumptions, Findings, VerdictCriteria, evaluate};
use quantity::{Bound, Stops};
use record::Test;
use testkit::{Bracket, CurveShape, ReadingsSpec, Tails, Truth, simulate_readings};

fn found(spec: &ReadingsSpec, draw: u64) -> (Findings, Truth) {
    let (parts, truth) = simulate_readings(spec, draw);
    let readings = parts.readings.clone();
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

struct Score {
    held: usize,
    ei_held: usize,
    count: usize,
    rms: f64,
    half_width: f64,
}

fn score(spec: &ReadingsSpec, draws: u64) -> Score {
    let mut s = Score {
        held: 0,
        ei_held: 0,
        count: 0,
        rms: 0.0,
        half_width: 0.0,
    };
    for draw in 0..draws {
        let (findings, truth) = found(spec, draw);
        for factor in &findings.factors {
            let Some(filter) = factor.filters.first() else {
                continue;
            };
            let Some(true_filter) = truth.filter(filter, &factor.light) else {
                continue;
            };
            let stops = Stops::from_factor(true_filter.factor).to_stops();
            let (low, value, high) = (
                factor.stops.low.to_stops(),
                factor.stops.value.to_stops(),
                factor.stops.high.to_stops(),
            );
            s.count += 1;
            let holds = match factor.bound {
                None => (low..=high).contains(&stops),
                Some(Bound::AtLeast) => stops >= low,
                Some(Bound::AtMost) => stops <= high,
            };
            s.held += usize::from(holds);
            s.rms += (value - stops).powi(2);
            s.half_width += 0.5 * (high - low);
            if let Some(ei) = factor.ei {
                let true_ei =
                    truth.curve.speed_point_index().to_arithmetic() / true_filter.factor.to_ratio();
                let holds = (ei.low.to_arithmetic()..=ei.high.to_arithmetic()).contains(&true_ei);
                s.ei_held += usize::from(holds);
            }
        }
    }
    s.rms = (s.rms / s.count as f64).sqrt();
    s.half_width /= s.count as f64;
    eprintln!(
        "{} factors: held {:.1} %, EI held {:.1} %, rms {:.3} stop, half width {:.3} stop",
        s.count,
        100.0 * s.held as f64 / s.count as f64,
        100.0 * s.ei_held as f64 / s.count as f64,
        s.rms,
        s.half_width
    );
    s
}

#[test]
fn marked_times_only() {
    let s = score(&ReadingsSpec::default(), 100);
    assert_eq!(s.count, 100);
}

#[test]
fn measured_times() {
    let spec = ReadingsSpec {
        measured_shutter: true,
        ..ReadingsSpec::default()
    };
    score(&spec, 100);
}

#[test]
fn variants() {
    let d = ReadingsSpec::default();
    score(&ReadingsSpec { anchors: 2, ..d }, 60);
    score(
        &ReadingsSpec {
            tablet_sheet: false,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            tablet_sheet: false,
            unexposed_sheet: false,
            filtered_frames: 3,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            bracket: Bracket::AllDense,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            bracket: Bracket::AllThin,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            bracket: Bracket::AllBlank,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            gradient_ratio_sd: 0.05,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            curve: CurveShape::Sagging,
            ..d
        },
        60,
    );
    score(
        &ReadingsSpec {
            tails: Tails::Heavy,
            ..d
        },
        60,
    );
    score(&ReadingsSpec { anchors: 0, ..d }, 60);
}
