//! What a record says of an exposure reaches the findings: a target that was placed off
//! the mid-tone, and a reciprocity law that is carried on by name.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use findings::{Assumptions, EvaluateError, Findings, VerdictCriteria, evaluate};
use quantity::{Ev100, Flag, Measured, Stops};
use record::{FrameRole, LightReading, MeterMode, ReciprocityRecord, Response, Test, TestParts};
use testkit::{ReadingsSpec, simulate_readings};

fn parts() -> TestParts {
    simulate_readings(&ReadingsSpec::default(), 5).0
}

fn found(parts: TestParts) -> Result<Findings, EvaluateError> {
    let readings = parts.readings.clone();
    evaluate(
        &Test::assemble(parts).unwrap(),
        &readings,
        &Assumptions::COMMON_PRACTICE,
        &VerdictCriteria::COMMON_PRACTICE,
    )
}

/// The EI that the first frame's setting stands for in its light.
fn ei(findings: &Findings) -> f64 {
    let called = findings.frames.iter().find_map(|f| f.effective_ei);
    called.unwrap().to_arithmetic()
}

/// Every light read with a spot meter off grass, so many stops brighter, and placed so.
fn read_off_grass(more_stops: f64, placed_stops: f64) -> TestParts {
    let mut parts = parts();
    for light in &mut parts.lights {
        if let Some(LightReading::Ev100(ev)) = light.reading {
            let ev = Ev100::from_ev(ev.to_ev() + more_stops).unwrap();
            light.reading = Some(LightReading::Ev100(ev));
        }
        if let Some(meter) = &mut light.meter {
            meter.mode = MeterMode::Spot;
            meter.target = Some("sunlit grass".to_owned());
            meter.placement = Stops::new(placed_stops).unwrap();
        }
    }
    parts
}

/// By hand: a target that reads two stops more and was placed two stops over the mid-tone
/// says the same of the mid-tone as one that was taken for it.
#[test]
fn a_placed_target_is_taken_to_the_mid_tone() {
    let plain = ei(&found(read_off_grass(0.0, 0.0)).unwrap());
    let placed = ei(&found(read_off_grass(2.0, 2.0)).unwrap());
    let unplaced = ei(&found(read_off_grass(2.0, 0.0)).unwrap());
    assert!((placed / plain - 1.0).abs() < 1e-9, "{placed} and {plain}");
    // Taken for the mid-tone the same setting would be called by an EI two stops off.
    let moved = (plain / unplaced).log2();
    assert!((moved - 2.0).abs() < 1e-9, "{moved}");
}

#[test]
fn a_law_is_carried_on_beyond_its_range_only_by_name() {
    let with_law = |extrapolate| {
        let mut parts = parts();
        for film in &mut parts.films {
            film.reciprocity = Some(ReciprocityRecord {
                // Every frame is longer.
                law: "power:1.31@..0.0001".to_owned(),
                source: "invented".to_owned(),
                uncertainty_stops_per_decade: None,
                extrapolate,
            });
        }
        found(parts)
    };
    let refused = with_law(false).unwrap_err().to_string();
    assert!(refused.contains("outside the range"), "{refused}");
    let carried = with_law(true).unwrap();
    assert!(carried.factors[0].flags.contains(Flag::Extrapolated));
}

/// Without a tablet the EI is the box speed over the factor, and so no better known than
/// the box speed. By hand: half a stop, 90 % of a normal distribution within 1.645 times
/// that, so 0.82 stops; the factor's own half-width comes on top in squares.
#[test]
fn an_ei_from_the_box_speed_is_no_surer_than_the_box_speed() {
    let mut parts = parts();
    for reading in &mut parts.readings {
        reading.response = Response::RelativeDensity;
    }
    let findings = found(parts).unwrap();
    let factor = &findings.factors[0];
    assert!(factor.ei_basis.contains("box speed"), "{}", factor.ei_basis);
    let (ei, stops) = (factor.ei.unwrap(), factor.stops);
    let above = ei.high.stops_below(ei.value).to_stops().abs();
    let below = ei.low.stops_below(ei.value).to_stops().abs();
    let of_factor = |end: Stops| (end.to_stops() - stops.value.to_stops()).abs();
    for (half, factor_half) in [
        (above, of_factor(stops.low)),
        (below, of_factor(stops.high)),
    ] {
        let expected = 0.8224_f64.hypot(factor_half);
        assert!((half - expected).abs() < 1e-3, "{half} and {expected}");
    }
}

/// Two pictures under each other's names, in scans that count little because their
/// levels were changed: what a frame shows and what its record lets expect then lie on
/// either side of the criterion.
#[test]
fn a_frame_whose_record_is_another_frames_says_so() {
    let said = |parts: TestParts| -> Vec<String> {
        let findings = found(parts).unwrap();
        let told = findings
            .frames
            .iter()
            .filter(|f| f.flags.contains(Flag::RecordContradicted));
        told.map(|f| f.frame.to_string()).collect()
    };
    assert_eq!(said(parts()), [""; 0]);
    let mut swapped = parts();
    let filtered: Vec<_> = swapped
        .frames
        .iter()
        .filter(|f| f.role == FrameRole::Bracket)
        .map(|f| f.id.clone())
        .collect();
    let (first, last) = (filtered[0].clone(), filtered[filtered.len() - 1].clone());
    for reading in &mut swapped.readings {
        let other = match &reading.frame {
            frame if *frame == first => &last,
            frame if *frame == last => &first,
            _ => continue,
        };
        reading.frame = other.clone();
        reading.value = Measured::new(reading.value.value(), 0.6);
    }
    let told = said(swapped);
    assert!(
        told.contains(&first.to_string()) || told.contains(&last.to_string()),
        "{told:?}"
    );
    assert!(
        told.iter()
            .all(|f| *f == first.as_str() || *f == last.as_str()),
        "{told:?}"
    );
}

/// A doubt about the scans that an answer rests on stands beside the answer.
#[test]
fn a_doubtful_scan_is_told_beside_the_answer() {
    let mut parts = parts();
    for reading in &mut parts.readings {
        reading.value = reading.value.clone().flagged(Flag::Lossy);
    }
    let findings = found(parts).unwrap();
    assert!(findings.factors[0].flags.contains(Flag::Lossy));
}
