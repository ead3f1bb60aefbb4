//! The red end of a film from the findings of a made test.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use findings::{Assumptions, Findings, VerdictCriteria, evaluate, tails};
use quantity::Nanometres;
use record::{Edge, EdgeLevel, Test, TestParts};
use testkit::{ReadingsSpec, simulate_readings};

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

/// A made test with one deep-red filter, its edge as given.
fn one_filter(edge: Option<Edge>, name: &str) -> TestParts {
    let spec = ReadingsSpec {
        factor_stops: (6.0, 6.0),
        ..ReadingsSpec::default()
    };
    let mut parts = simulate_readings(&spec, 3).0;
    for filter in &mut parts.filters {
        filter.edge = edge;
        filter.name = name.to_owned();
        filter.marking = None;
    }
    parts
}

fn edge(nm: f64, level: EdgeLevel) -> Edge {
    Edge {
        wavelength: Nanometres::from_nm(nm).unwrap(),
        level,
    }
}

#[test]
fn one_filter_is_a_ridge_and_names_another_to_try() {
    let parts = one_filter(
        Some(edge(715.0, EdgeLevel::HalfOfPeak)),
        "deep red (invented)",
    );
    let (test, findings) = evaluated(parts);
    let found = tails(&findings, &test);
    let tail = &found[0];
    assert!(!tail.told_apart);
    assert_eq!(tail.readings.len(), 1);
    assert_eq!(tail.readings[0].half_peak_nm.0, 715.0);
    let next = tail.next.unwrap();
    assert!((next.half_peak_nm - 715.0).abs() > 8.0, "{next:?}");
    assert!(
        next.edge_half_width_nm.1 < next.edge_half_width_nm.0,
        "{next:?}"
    );
}

#[test]
fn two_filters_a_few_stops_apart_are_told_apart_and_hold_a_third() {
    // Two factors in one light, made by hand from one finding: 4 stops behind 665
    // and 6 behind 715.
    let parts = one_filter(
        Some(edge(715.0, EdgeLevel::HalfOfPeak)),
        "deep red (invented)",
    );
    let (_, mut findings) = evaluated(parts.clone());
    let mut parts = parts;
    let mut second = parts.filters[0].clone();
    let first_id = second.id.clone();
    second.id = record::Id::new("r665").unwrap();
    second.edge = Some(edge(665.0, EdgeLevel::HalfOfPeak));
    parts.filters.push(second);
    let test = Test::assemble(parts).unwrap();
    let behind = findings
        .factors
        .iter()
        .find(|f| f.filters == [first_id.clone()])
        .unwrap();
    let mut other = behind.clone();
    other.filters = vec![record::Id::new("r665").unwrap()];
    other.stops = other
        .stops
        .map(|s| quantity::Stops::new(s.to_stops() - 2.0).unwrap());
    let only = findings
        .factors
        .iter()
        .position(|f| f.filters == [first_id.clone()])
        .unwrap();
    findings.factors = vec![findings.factors[only].clone(), other];
    let tail = &tails(&findings, &test)[0];
    assert!(tail.told_apart);
    assert_eq!(tail.readings.len(), 2);
    // What is expected between the two lies between their factors.
    let between = tail
        .outlooks
        .iter()
        .find(|o| o.half_peak_nm == 695.0)
        .unwrap();
    let stops = between.factor.value.to_ratio().log2();
    assert!((3.5..6.5).contains(&stops), "{stops}");
}

#[test]
fn an_edge_at_no_stated_level_is_known_less_well() {
    let sd = |level| {
        let (test, findings) = evaluated(one_filter(Some(edge(720.0, level)), "a"));
        tails(&findings, &test)[0].readings[0].half_peak_nm.1
    };
    assert_eq!(sd(EdgeLevel::HalfTransmittance), 3.0);
    // √(14.74²/12 + 8²) = 9.06.
    assert!((sd(EdgeLevel::NotStated) - 9.06).abs() < 0.01);
}

#[test]
fn a_filter_without_a_wavelength_says_nothing() {
    let (test, findings) = evaluated(one_filter(None, "an old glass"));
    assert!(tails(&findings, &test).is_empty());
    // The number in a name counts, at no stated level.
    let (test, findings) = evaluated(one_filter(None, "R 715"));
    assert_eq!(tails(&findings, &test).len(), findings.factors.len());
}
