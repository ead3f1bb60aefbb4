//! Test folders on disk compared: JSON keys, verdicts, messages.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{Silent, compare_tests};
use quantity::Nanometres;
use record::{Edge, EdgeLevel, TestParts};
use serde_json::Value;
use std::path::{Path, PathBuf};
use testkit::{ReadingsSpec, simulate_readings};

/// A made test with this factor behind a long-pass filter of this edge.
fn made(factor_stops: f64, edge_nm: f64, batch: &str, draw: u64) -> TestParts {
    let spec = ReadingsSpec {
        anchors: 2,
        measured_shutter: true,
        factor_stops: (factor_stops, factor_stops),
        ..ReadingsSpec::default()
    };
    let mut parts = simulate_readings(&spec, draw).0;
    parts.films[0].batch = Some(batch.to_owned());
    let filter = &mut parts.filters[0];
    filter.name = format!("R-{edge_nm} (invented)");
    filter.marking = None;
    filter.edge = Some(Edge {
        wavelength: Nanometres::from_nm(edge_nm).unwrap(),
        level: EdgeLevel::HalfTransmittance,
    });
    parts
}

fn folder(dir: &Path, name: &str, parts: &TestParts) -> PathBuf {
    let path = dir.join(name);
    notebook::write_test_folder(parts, &[], &path).unwrap();
    path
}

#[test]
fn two_testers_with_one_film_and_two_filters() {
    let dir = tempfile::tempdir().unwrap();
    let dirs = [
        folder(dir.path(), "first", &made(5.0, 715.0, "A", 3)),
        folder(dir.path(), "second", &made(7.5, 740.0, "B", 4)),
    ];
    let compared = compare_tests(&dirs, &Silent).unwrap();
    let json = &compared.json;
    assert_eq!(json["compared"][0], "first");
    assert_eq!(json["compared"][1], "second");
    let difference = json["differences"]
        .as_array()
        .unwrap()
        .iter()
        .find(|d| d["quantity"] == "filter_factor")
        .unwrap();
    assert_eq!(difference["significant"], true);
    assert_eq!(difference["important"], true);
    // Truth: made with factors of 5.0 and 7.5 stops.
    let stops = &difference["stops"];
    assert!(stops["low"].as_f64().unwrap() <= 2.5 && stops["high"].as_f64().unwrap() >= 2.5);
    let verdict = difference["verdict"].as_str().unwrap();
    assert!(
        verdict.contains("The filter's edge explains it"),
        "{verdict}"
    );
    assert!(!verdict.contains("batch"), "{verdict}");
    let edge = json["causes"]
        .as_array()
        .unwrap()
        .iter()
        .find(|c| c["cause"] == "the filter's edge")
        .unwrap();
    assert_eq!(edge["state"], "present");
    // Hand calculation: 25 nm at 0.4 to 1.2 stop for 10 nm.
    let near = |key: &str, expected: f64| {
        let ours = edge[key].as_f64().unwrap();
        assert!((ours - expected).abs() < 1e-9, "{key}: {ours}");
    };
    near("stops_low", 1.0);
    near("stops_high", 3.0);
    let assumed = json["assumptions"].as_array().unwrap();
    assert!(
        assumed
            .iter()
            .any(|a| a["source"] == "independent model of the trade")
    );
    assert_eq!(json["batch"].as_array().unwrap().len(), 3);
    let [(film, svg)] = compared.process_plots.as_slice() else {
        panic!("one film, one running plot");
    };
    assert_eq!(film, "Invented Pan 100");
    assert!(svg.starts_with("<svg"));
    // Same folders, same answer.
    assert_eq!(*json, compare_tests(&dirs, &Silent).unwrap().json);
}

#[test]
fn the_worked_example_is_held_against_what_others_tell() {
    let dir = tempfile::tempdir().unwrap();
    let demo = dir.path().join("demo");
    app::write_demo(&demo, &Silent).unwrap();
    let compared = compare_tests(&[demo], &Silent).unwrap();
    assert_eq!(compared.json["differences"], Value::Array(vec![]));
    let reports = compared.json["outside_reports"].as_array().unwrap();
    // Truth of the example: EI 80 over a factor of 80 (6.3 stops) is EI 1. At
    // EI 3, a stop and a half less, a card still shows; at EI 25, 4.6 stops
    // less, it lies 1.3 stops below the speed point and is no more than a trace.
    assert_eq!(reports[0]["id"], "told-1");
    assert_eq!(reports[0]["verdict"], "expected", "{}", reports[0]);
    assert_eq!(reports[1]["id"], "told-2");
    assert_eq!(reports[1]["verdict"], "expected", "{}", reports[1]);
    assert!(compared.process_plots.is_empty());
}

#[test]
fn what_is_at_fault_is_named_with_its_folder() {
    let dir = tempfile::tempdir().unwrap();
    let one = folder(dir.path(), "one", &made(5.0, 715.0, "A", 3));
    let error = compare_tests(std::slice::from_ref(&one), &Silent).unwrap_err();
    assert!(error.problem.contains("[[outside_report]]"), "{error}");
    let missing = dir.path().join("missing");
    let error = compare_tests(&[one.clone(), missing], &Silent).unwrap_err();
    assert!(error.problem.contains("missing"), "{error}");
    // A folder given twice differs in nothing: a mistake, not a comparison.
    let error = compare_tests(&[one.clone(), one], &Silent).unwrap_err();
    assert!(error.problem.contains("two of the tests"), "{error}");
}
