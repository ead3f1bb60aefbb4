//! The estimate against tests whose truth is known.
//!
//! Each case simulates many tests, with errors drawn from stated spreads, and
//! asks how often the stated interval holds the truth. The simulation shares
//! no code with the estimate.

#![expect(
    clippy::unwrap_used,
    clippy::print_stderr,
    reason = "a panic is the failure of a test; a skip is told loudly"
)]

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
                let (low, high) = (ei.low.to_arithmetic(), ei.high.to_arithmetic());
                // More filter, less EI: a factor of at least means an EI of at most.
                let holds = match factor.bound {
                    None => (low..=high).contains(&true_ei),
                    Some(Bound::AtLeast) => true_ei <= high,
                    Some(Bound::AtMost) => true_ei >= low,
                };
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

/// Asserts that the intervals hold the truth at least as often as they claim,
/// and that they are not so wide as to say nothing.
///
/// The stated spreads are wider than the simulated ones on purpose (a tester's
/// equipment is not known), so the intervals may hold more often than 90 %. Of
/// 100 draws at 90 %, fewer than 83 come with a chance of 1 in 50.
fn assert_honest(spec: &ReadingsSpec, rms_at_most: f64, half_width_at_most: f64) {
    let s = score(spec, 100);
    assert_eq!(s.count, 100, "each simulated test has one factor");
    assert!(s.held >= 83, "the factor's interval held {} of 100", s.held);
    assert!(
        s.ei_held >= 83,
        "the EI's interval held {} of 100",
        s.ei_held
    );
    assert!(s.rms <= rms_at_most, "rms {:.3} stop", s.rms);
    assert!(
        s.half_width <= half_width_at_most,
        "half width {:.3} stop",
        s.half_width
    );
}

// The bounds on error below are those of a method that judges by densities; by
// eye a tester gets half a stop to a stop (common practice).

#[test]
fn marked_times_only() {
    assert_honest(&ReadingsSpec::default(), 0.30, 0.45);
}

#[test]
fn a_measured_shutter_is_worth_having() {
    let spec = ReadingsSpec {
        measured_shutter: true,
        ..ReadingsSpec::default()
    };
    assert_honest(&spec, 0.17, 0.33);
}

#[test]
fn a_second_anchor() {
    let spec = ReadingsSpec {
        anchors: 2,
        ..ReadingsSpec::default()
    };
    assert_honest(&spec, 0.25, 0.40);
}

#[test]
fn few_sheets_and_no_controls() {
    let spec = ReadingsSpec {
        tablet_sheet: false,
        unexposed_sheet: false,
        filtered_frames: 3,
        ..ReadingsSpec::default()
    };
    assert_honest(&spec, 0.35, 0.55);
}

#[test]
fn brackets_that_miss_on_one_side() {
    for bracket in [Bracket::AllDense, Bracket::AllThin] {
        let spec = ReadingsSpec {
            bracket,
            ..ReadingsSpec::default()
        };
        assert_honest(&spec, 0.35, 0.55);
    }
}

#[test]
fn a_gradient_that_differs_with_the_filter() {
    let spec = ReadingsSpec {
        gradient_ratio_sd: 0.05,
        ..ReadingsSpec::default()
    };
    assert_honest(&spec, 0.30, 0.45);
}

#[test]
fn a_curve_the_formula_cannot_follow_and_heavy_tails() {
    let sagging = ReadingsSpec {
        curve: CurveShape::Sagging,
        ..ReadingsSpec::default()
    };
    assert_honest(&sagging, 0.30, 0.50);
    let heavy = ReadingsSpec {
        tails: Tails::Heavy,
        ..ReadingsSpec::default()
    };
    assert_honest(&heavy, 0.30, 0.45);
}

#[test]
fn without_an_anchor_the_answer_is_wide_and_says_so() {
    let spec = ReadingsSpec {
        anchors: 0,
        ..ReadingsSpec::default()
    };
    assert_honest(&spec, 0.45, 0.80);
    let (findings, _) = found(&spec, 1);
    assert!(
        findings
            .cannot_tell
            .iter()
            .any(|c| c.remedy.contains("anchor")),
        "{:?}",
        findings.cannot_tell
    );
}

#[test]
fn blank_frames_are_a_bound_that_holds() {
    let spec = ReadingsSpec {
        bracket: Bracket::AllBlank,
        ..ReadingsSpec::default()
    };
    let s = score(&spec, 100);
    assert!(s.held >= 83 && s.ei_held >= 83, "{} {}", s.held, s.ei_held);
    let bounds = (0..20)
        .filter(|draw| {
            let (findings, _) = found(&spec, *draw);
            findings.factors[0].bound == Some(Bound::AtLeast)
        })
        .count();
    // A blank card reads past the blank threshold by noise alone once in twenty.
    assert!(bounds >= 17, "{bounds} of 20 are bounds");
}

#[test]
fn blanks_are_a_bound_in_a_test_of_many_frames_too() {
    // So many frames that intervals of seen factors come from the covariance.
    let spec = ReadingsSpec {
        anchors: 90,
        filtered_frames: 3,
        bracket: Bracket::AllBlank,
        ..ReadingsSpec::default()
    };
    for draw in 0..3 {
        let (findings, truth) = found(&spec, draw);
        let factor = &findings.factors[0];
        assert_eq!(factor.bound, Some(Bound::AtLeast), "draw {draw}");
        let (low, true_stops) = (
            factor.stops.low.to_stops(),
            Stops::from_factor(truth.filters[0].factor).to_stops(),
        );
        assert!(low <= true_stops, "draw {draw}: {low} for {true_stops}");
    }
}

#[test]
fn same_input_same_answer() {
    let (first, _) = found(&ReadingsSpec::default(), 7);
    let (again, _) = found(&ReadingsSpec::default(), 7);
    assert_eq!(first, again);
}
