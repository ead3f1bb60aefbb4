//! Tests compared with each other, on made tests whose truth is known.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use findings::{
    Assumptions, BatchQuantity, CauseState, Compared, ComparedQuantity, Comparison, Difference,
    Findings, ReportVerdict, VerdictCriteria, compare, evaluate,
};
use quantity::{ExposureIndex, Nanometres, Stops};
use record::{Edge, EdgeLevel, Id, OutsideReport, Seen, Test, TestParts};
use testkit::{ReadingsSpec, simulate_readings};

/// Six unfiltered and filtered frames with a measured shutter, factor given.
fn made(factor_stops: f64, draw: u64) -> TestParts {
    let spec = ReadingsSpec {
        anchors: 2,
        measured_shutter: true,
        factor_stops: (factor_stops, factor_stops),
        ..ReadingsSpec::default()
    };
    simulate_readings(&spec, draw).0
}

/// Renames the deep-red filter of a made test.
fn behind(mut parts: TestParts, nm: f64) -> TestParts {
    for filter in &mut parts.filters {
        if filter.id.as_str() == "r715" {
            filter.name = format!("R-{nm} (invented)");
            filter.marking = Some(format!("R {nm}"));
            filter.edge = Some(Edge {
                wavelength: Nanometres::from_nm(nm).unwrap(),
                level: EdgeLevel::HalfTransmittance,
            });
        }
    }
    parts
}

fn of_batch(mut parts: TestParts, batch: &str) -> TestParts {
    parts.films[0].batch = Some(batch.to_owned());
    parts
}

fn evaluated(parts: TestParts) -> (Test, Findings) {
    let readings = parts.readings.clone();
    let test = Test::assemble(parts).unwrap();
    let findings = evaluate(
        &test,
        &readings,
        &Assumptions::COMMON_PRACTICE,
        &VerdictCriteria::COMMON_PRACTICE,
    )
    .unwrap();
    (test, findings)
}

fn comparison(tests: &[(&str, TestParts)]) -> Comparison {
    let done: Vec<_> = tests
        .iter()
        .map(|(name, parts)| (*name, evaluated(parts.clone())))
        .collect();
    let compared: Vec<_> = done
        .iter()
        .map(|(name, (test, findings))| Compared {
            name: (*name).to_owned(),
            test,
            findings,
        })
        .collect();
    compare(&compared, &Assumptions::COMMON_PRACTICE).unwrap()
}

fn of(comparison: &Comparison, quantity: ComparedQuantity) -> &Difference {
    comparison
        .differences
        .iter()
        .find(|d| d.quantity == quantity)
        .unwrap()
}

fn state(difference: &Difference, cause: &str) -> CauseState {
    difference
        .causes
        .iter()
        .find(|c| c.cause == cause)
        .unwrap()
        .state
}

fn held(difference: &Difference, truth: f64) -> bool {
    difference.stops.low.unwrap().to_stops() <= truth
        && truth <= difference.stops.high.unwrap().to_stops()
}

#[test]
fn a_longer_edge_explains_two_and_a_half_stops_and_the_batch_is_not_blamed() {
    let first = of_batch(behind(made(5.0, 3), 715.0), "A");
    let second = of_batch(behind(made(7.5, 4), 740.0), "B");
    let found = comparison(&[("first", first), ("second", second)]);
    for quantity in [ComparedQuantity::FilterFactor, ComparedQuantity::FilteredEi] {
        let d = of(&found, quantity);
        // Truth: the tests were made with factors of 5.0 and 7.5 stops.
        if quantity == ComparedQuantity::FilterFactor {
            assert!(held(d, 2.5), "{d:?}");
        }
        assert!(d.significant && d.important, "{}", d.verdict);
        assert_eq!(state(d, "the filter's edge"), CauseState::Present);
        // Hand calculation: 25 nm at 0.4 to 1.2 stop for 10 nm.
        assert!(
            d.verdict
                .contains("The filter's edge explains it by 1.0 to 3.0 stops of"),
            "{}",
            d.verdict
        );
        assert!(!d.verdict.contains("batch"), "{}", d.verdict);
        assert_eq!(d.causes[0].state, CauseState::Present);
    }
    // The other way round it is as many stops less.
    let first = of_batch(behind(made(7.5, 4), 740.0), "B");
    let second = of_batch(behind(made(5.0, 3), 715.0), "A");
    let turned = comparison(&[("first", first), ("second", second)]);
    let (d, t) = (
        of(&found, ComparedQuantity::FilterFactor),
        of(&turned, ComparedQuantity::FilterFactor),
    );
    // 1e-9: the same subtraction with the signs changed.
    assert!((d.stops.value.to_stops() + t.stops.value.to_stops()).abs() < 1e-9);
    assert!(t.verdict.contains("less exposure"), "{}", t.verdict);
    assert!(
        t.verdict
            .contains("filter's edge explains it by 1.0 to 3.0")
    );
}

#[test]
fn one_filter_and_two_batches_are_not_blamed_on_the_filter() {
    let first = of_batch(made(5.0, 3), "A");
    let second = of_batch(made(6.3, 4), "B");
    let found = comparison(&[("first", first), ("second", second)]);
    let d = of(&found, ComparedQuantity::FilterFactor);
    assert!(held(d, 1.3), "{d:?}");
    assert!(d.significant && d.important, "{}", d.verdict);
    assert_eq!(state(d, "the filter's edge"), CauseState::Excluded);
    assert_eq!(state(d, "the batch"), CauseState::Present);
    assert!(!d.verdict.contains("filter's edge"), "{}", d.verdict);
    assert!(d.verdict.contains("the batch"), "{}", d.verdict);
}

#[test]
fn two_tests_without_a_difference_give_a_bound() {
    let mut shown = 0;
    for draw in 0..20 {
        let found = comparison(&[
            ("first", made(6.0, 100 + draw)),
            ("second", made(6.0, 200 + draw)),
        ]);
        let d = of(&found, ComparedQuantity::FilterFactor);
        shown += usize::from(d.significant);
        if !d.significant {
            let most = d
                .stops
                .low
                .unwrap()
                .to_stops()
                .abs()
                .max(d.stops.high.unwrap().to_stops());
            // Rounded up, so that it stays true.
            let words = format!("it is less than {:.1} stops", (10.0 * most).ceil() / 10.0);
            assert!(d.verdict.contains("no difference shown"), "{}", d.verdict);
            assert!(d.verdict.contains(&words), "{}", d.verdict);
        }
    }
    // Of 20 at 90 %, more than 5 come with a chance of 1 in 90.
    assert!(shown <= 5, "{shown} of 20 shown where there is none");
}

#[test]
fn differences_hold_the_truth() {
    let mut holds = 0;
    for draw in 0..30 {
        let found = comparison(&[
            ("first", made(5.0, 300 + draw)),
            ("second", made(6.0, 400 + draw)),
        ]);
        holds += usize::from(held(of(&found, ComparedQuantity::FilterFactor), 1.0));
    }
    // Of 30 at 90 %, fewer than 23 come with a chance of 1 in 40.
    assert!(holds >= 23, "{holds} of 30 hold the truth");
}

fn told(id: &str, ei: f64, seen: Seen) -> OutsideReport {
    OutsideReport {
        id: Id::new(id).unwrap(),
        film: "Invented Pan 100".to_owned(),
        filter: "R-715 (invented)".to_owned(),
        ei: Some(ExposureIndex::from_arithmetic(ei).unwrap()),
        light: Some("clear sun".to_owned()),
        seen,
        source: None,
    }
}

#[test]
fn reports_are_held_against_the_curve() {
    // The made film has its speed point near log H −2 (EI 80); behind 5 stops
    // that is EI 2.5. At EI 2.5 a card lies a mid-tone above the speed point
    // and prints; 8 stops less (EI 640) it is far in the toe and blank.
    let mut parts = made(5.0, 3);
    parts.outside_reports = vec![
        told("image-at-its-ei", 2.5, Seen::Image),
        told("blank-at-its-ei", 2.5, Seen::Blank),
        told("blank-far-off", 640.0, Seen::Blank),
        told("image-far-off", 640.0, Seen::Image),
        // 10 is two stops less than 2.5: neither is ruled out.
        told("printable-two-stops-less", 10.0, Seen::Printable),
        OutsideReport {
            film: "Another film".to_owned(),
            ..told("other-film", 2.5, Seen::Image)
        },
        OutsideReport {
            filter: "a 850".to_owned(),
            ..told("other-filter", 2.5, Seen::Image)
        },
        OutsideReport {
            filter: "a 720".to_owned(),
            ..told("told-by-number", 2.5, Seen::Image)
        },
        OutsideReport {
            ei: None,
            ..told("no-ei", 2.5, Seen::Image)
        },
    ];
    let found = comparison(&[("one", parts)]);
    let verdict = |id: &str| {
        found
            .outside_reports
            .iter()
            .find(|r| r.report.id.as_str() == id)
            .unwrap()
    };
    assert_eq!(verdict("image-at-its-ei").verdict, ReportVerdict::Expected);
    assert_eq!(
        verdict("blank-at-its-ei").verdict,
        ReportVerdict::Contradictory
    );
    assert_eq!(verdict("blank-far-off").verdict, ReportVerdict::Expected);
    assert_eq!(
        verdict("image-far-off").verdict,
        ReportVerdict::Contradictory
    );
    assert_eq!(
        verdict("printable-two-stops-less").verdict,
        ReportVerdict::Possible
    );
    assert_eq!(verdict("told-by-number").verdict, ReportVerdict::Expected);
    for unchecked in ["other-film", "other-filter", "no-ei"] {
        let r = verdict(unchecked);
        assert_eq!(r.verdict, ReportVerdict::Possible);
        assert!(r.reason.starts_with("unchecked"), "{}", r.reason);
        assert_eq!(r.probability, None);
    }
    let sd = verdict("image-at-its-ei").standard_uncertainty.unwrap();
    // A stop for the metering, and what the test itself doesn't know on top.
    assert!((1.0..1.3).contains(&sd.to_stops()), "{sd:?}");
}

#[test]
fn one_test_without_reports_is_refused() {
    let (test, findings) = evaluated(made(5.0, 3));
    let one = Compared {
        name: "one".to_owned(),
        test: &test,
        findings: &findings,
    };
    let error = compare(std::slice::from_ref(&one), &Assumptions::COMMON_PRACTICE).unwrap_err();
    assert!(error.to_string().contains("[[outside_report]]"), "{error}");
    let error = compare(&[one.clone(), one], &Assumptions::COMMON_PRACTICE).unwrap_err();
    assert!(error.to_string().contains("named one"), "{error}");
    assert!(compare(&[], &Assumptions::COMMON_PRACTICE).is_err());
}

#[test]
fn batches_are_compared_by_welch_when_each_has_several_tests() {
    let tests: Vec<_> = (0..4)
        .map(|i| {
            let batch = if i < 2 { "A" } else { "B" };
            let name = ["a1", "a2", "b1", "b2"][i];
            (name, of_batch(made(5.0, 20 + i as u64), batch))
        })
        .collect();
    let found = comparison(&tests);
    assert_eq!(found.process.len(), 4);
    assert_eq!(found.batch.len(), BatchQuantity::ALL.len());
    let speed = found
        .batch
        .iter()
        .find(|b| b.quantity == BatchQuantity::Speed)
        .unwrap();
    // By hand from the four points: mean of the later less that of the earlier.
    let of = |i: usize| found.process[i].speed_stops.as_ref().unwrap().value();
    let by_hand = 0.5 * (of(2) + of(3)) - 0.5 * (of(0) + of(1));
    assert!((speed.value - by_hand).abs() < 1e-12);
    let freedom = speed.degrees_of_freedom.unwrap();
    // Welch: between the smaller count less one and the sum of both.
    assert!((1.0..=2.0).contains(&freedom), "{freedom}");
    assert!(speed.batches_differ);
    assert_eq!((speed.first_count, speed.second_count), (2, 2));
    // With one test each the fits' own uncertainties are all there is.
    let found = comparison(&tests[1..3]);
    let speed = found
        .batch
        .iter()
        .find(|b| b.quantity == BatchQuantity::Speed)
        .unwrap();
    assert_eq!(speed.degrees_of_freedom, None);
    assert!(speed.verdict.contains("uncertainties of the fits"));
}

#[test]
fn shade_and_metering_are_named_with_their_stops() {
    let first = made(5.0, 3);
    let mut second = made(5.7, 4);
    let light = &mut second.lights[0];
    light.sky = record::Sky::OpenShade;
    let meter = light.meter.as_mut().unwrap();
    meter.mode = record::MeterMode::Spot;
    meter.target = Some("sunlit grass".to_owned());
    meter.placement = Stops::new(0.5).unwrap();
    let found = comparison(&[("first", first), ("second", second)]);
    let d = of(&found, ComparedQuantity::FilteredEi);
    let cause =
        |d: &Difference, name: &str| d.causes.iter().find(|c| c.cause == name).cloned().unwrap();
    let meter = cause(d, "meter, target and placement");
    assert_eq!(meter.state, CauseState::Present);
    // Common practice: spot on grass lies 1.5 to 2 stops from incident, on the
    // side of the higher EI.
    let (low, high) = meter.stops.unwrap();
    assert_eq!((low.to_stops(), high.to_stops()), (-2.0, -1.5));
    assert!(meter.why.contains("spot on sunlit grass placed +0.5 stops"));
    let light = cause(
        of(&found, ComparedQuantity::FilterFactor),
        "the light (state of the sky)",
    );
    assert_eq!(light.state, CauseState::Present);
    let (low, high) = light.stops.unwrap();
    assert_eq!((low.to_stops(), high.to_stops()), (0.5, 0.9));
    // Metering moves the EI and not the factor.
    assert!(
        of(&found, ComparedQuantity::FilterFactor)
            .causes
            .iter()
            .all(|c| c.cause != "meter, target and placement")
    );
}

#[test]
fn two_batches_within_one_test() {
    // Every frame once more on a second batch, with 0.07 more base+fog.
    let mut parts = of_batch(made(5.0, 3), "A");
    let mut second = parts.films[0].clone();
    second.id = Id::new("pan-b").unwrap();
    second.batch = Some("B".to_owned());
    parts.films.push(second);
    let again = |id: &Id| Id::new(&format!("{id}-b")).unwrap();
    for mut frame in parts.frames.clone() {
        frame.id = again(&frame.id);
        frame.film = Id::new("pan-b").unwrap();
        parts.frames.push(frame);
    }
    for mut patch in parts.patches.clone() {
        patch.frame = again(&patch.frame);
        parts.patches.push(patch);
    }
    for mut reading in parts.readings.clone() {
        reading.frame = again(&reading.frame);
        let value = reading.value.value() + 0.07;
        let sd = reading.value.standard_uncertainty();
        reading.value = quantity::Measured::new(value, sd).flagged_all(reading.value.flags());
        parts.readings.push(reading);
    }
    // A second test only so that there is something to compare with.
    let found = comparison(&[("one", parts), ("other", of_batch(made(5.0, 9), "C"))]);
    let between = |quantity| {
        found
            .batch
            .iter()
            .find(|b| {
                b.quantity == quantity
                    && b.first.contains("batch A")
                    && b.second.contains("batch B")
            })
            .unwrap()
    };
    let fog = between(BatchQuantity::BasePlusFog);
    // Truth: 0.07 on every sheet; 1e-6 is the rounding of sums of some ten numbers.
    assert!((fog.value - 0.07).abs() < 1e-6, "{fog:?}");
    assert!(fog.significant && fog.important, "{}", fog.verdict);
    assert!(fog.batches_differ && fog.first_count == fog.second_count);
    assert!(fog.degrees_of_freedom.unwrap() >= fog.first_count as f64 - 1.0);
    // Speed and gradient are the same up to the joint fit's own settling.
    for quantity in [BatchQuantity::Speed, BatchQuantity::Gradient] {
        let same = between(quantity);
        assert!(!same.significant && !same.important, "{}", same.verdict);
    }
    assert_eq!(found.process.len(), 3);
}
