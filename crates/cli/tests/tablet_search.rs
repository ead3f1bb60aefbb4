//! A tablet whose place nobody says, from outside: found, drawn, or refused.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fmt::Write;
use std::fs;
use std::path::Path;
use testkit::{AnsweredStep, TabletFlaw, TabletScan, tablet_scan, tiff_of_light};

/// Writes a made scan and its table, and gives their paths.
fn written(dir: &Path, scan: &TabletScan) -> [String; 2] {
    let tiff = tiff_of_light(scan.width, scan.height, &scan.signal);
    let mut table = "density\n".to_owned();
    for density in &scan.table {
        writeln!(table, "{density:.4}").unwrap();
    }
    let paths = ["scan.tif", "tablet.csv"].map(|name| dir.join(name));
    fs::write(&paths[0], tiff).unwrap();
    fs::write(&paths[1], table).unwrap();
    paths.map(|p| p.to_str().unwrap().to_owned())
}

fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// The first draw from `draw` on with a linear tone and 16 bits.
fn linear_scan(draw: u64, flaw: TabletFlaw) -> TabletScan {
    (draw..draw + 20)
        .map(|draw| tablet_scan(draw, 21, flaw))
        .find(|scan| scan.gamma == 1.0 && scan.bits == 16)
        .unwrap()
}

#[test]
fn a_tablet_is_found_and_calibrates_the_scan() {
    let dir = tempfile::tempdir().unwrap();
    let made = linear_scan(501, TabletFlaw::None);
    let [scan, table] = written(dir.path(), &made);
    let picture = dir.path().join("found.svg");
    let arguments = [
        "measure",
        &scan,
        "--tablet",
        &table,
        "--picture",
        picture.to_str().unwrap(),
    ];
    let (code, text, error) = run(&arguments);
    assert_eq!(code, 0, "{error} {}", made.scene);
    assert!(text.contains("tablet found: 21 steps"), "{text}");
    assert!(
        text.contains("quality") && text.contains("--strip"),
        "{text}"
    );
    let drawn = fs::read_to_string(&picture).unwrap();
    assert!(drawn.contains(">21</text>"), "numbers of the steps");

    let (_, text, _) = run(&["measure", &scan, "--tablet", &table, "--json"]);
    let answer: Value = serde_json::from_str(&text).unwrap();
    let steps = answer["tablet_found"]["steps"].as_array().unwrap();
    let corners = |value: &Value| -> Vec<(f64, f64)> {
        let corners = value.as_array().unwrap().iter();
        corners
            .map(|c| (c[0].as_f64().unwrap(), c[1].as_f64().unwrap()))
            .collect()
    };
    let answered: Vec<AnsweredStep> = steps
        .iter()
        .map(|step| AnsweredStep {
            inner: corners(&step["outline_px"]),
            whole: corners(&step["whole_px"]).try_into().unwrap(),
            seen: step["placed_by_pitch"] == false,
        })
        .collect();
    let off = made.compare(&answered).unwrap();
    // Outlines leave a fifth of the pitch free on both sides.
    assert!(off.edge < 0.15, "{off:?}");
    // Tables are good to 0.012 and steps are even, so the calibration is.
    let residual = answer["calibration"]["residual_sd"].as_f64().unwrap();
    assert!(residual < 0.05, "{residual}");
}

#[test]
fn a_tablet_that_lacks_a_step_is_refused_with_a_reason() {
    let dir = tempfile::tempdir().unwrap();
    let made = linear_scan(521, TabletFlaw::MiddleStepMissing);
    let [scan, table] = written(dir.path(), &made);
    let (code, text, error) = run(&["measure", &scan, "--tablet", &table]);
    assert_eq!(code, 1, "{text}");
    assert!(
        error.contains("outline") && error.contains("by hand"),
        "{error}"
    );
}

#[test]
fn one_picture_shows_one_scan() {
    let arguments = ["measure", "a.tif", "b.tif", "--picture", "p.svg"];
    let (code, _, error) = run(&arguments);
    assert_eq!(code, 1);
    assert!(error.contains("several scans"), "{error}");
}

#[test]
fn evaluate_finds_the_tablets_that_the_record_does_not_place() {
    let dir = tempfile::tempdir().unwrap();
    let test = dir.path().join("demo");
    let folder = test.to_str().unwrap();
    assert_eq!(run(&["demo", folder]).0, 0);
    let record = fs::read_to_string(test.join("test.toml")).unwrap();
    // Leaves the outlines of the steps out of every strip.
    let mut left_out = String::new();
    let mut inside = false;
    let mut strip = false;
    for line in record.lines() {
        strip = strip && !line.starts_with("[[") || line.starts_with("[scan.strip]");
        if strip && line.starts_with("steps = [") {
            inside = true;
        }
        if !inside {
            left_out.push_str(line);
            left_out.push('\n');
        }
        if inside && line.starts_with(']') {
            inside = false;
        }
    }
    assert!(left_out.len() < record.len());
    let recorded = run(&["evaluate", folder, "--json", "--no-date"]);
    fs::write(test.join("test.toml"), left_out).unwrap();
    let (code, text, error) = run(&["evaluate", folder, "--json", "--no-date"]);
    assert_eq!(code, 0, "{error}");
    let (found, recorded): (Value, Value) = (
        serde_json::from_str(&text).unwrap(),
        serde_json::from_str(&recorded.1).unwrap(),
    );
    assert_eq!(found["tablets_found"].as_array().unwrap().len(), 14);
    assert_eq!(recorded["tablets_found"].as_array().unwrap().len(), 0);
    let stops = |answer: &Value| answer["factors"][0]["factor_stops"]["value"].as_f64();
    let (a, b) = (stops(&found).unwrap(), stops(&recorded).unwrap());
    // The same film read through the same tablet: patches of it differ by grain only.
    assert!((a - b).abs() < 0.02, "{a} {b}");
    assert!(
        test.join("results/figures/tablet-scan-unexposed.svg")
            .exists()
    );
}
