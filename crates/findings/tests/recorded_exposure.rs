//! What a record says of an exposure reaches the findings: a target that was placed off
//! the mid-tone, and a reciprocity law that is carried on by name.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use findings::{Assumptions, EvaluateError, Findings, VerdictCriteria, evaluate};
use quantity::{Ev100, Flag, Stops};
use record::{LightReading, MeterMode, ReciprocityRecord, Test, TestParts};
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
