//! After the light has changed: what is left of a plan, by the command.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn filmproof(arguments: &[&str]) -> Command {
    let mut command = Command::cargo_bin("filmproof").unwrap();
    command.args(arguments);
    command
}

fn answer(arguments: &[&str]) -> Value {
    let out = filmproof(arguments)
        .assert()
        .success()
        .get_output()
        .stdout
        .clone();
    serde_json::from_slice(&out).unwrap()
}

/// The planned example, in a folder of its own.
fn example(at: &Path) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/planned-test");
    let to = at.join("test");
    fs::create_dir(&to).unwrap();
    for file in ["test.toml", "plan.toml"] {
        fs::copy(from.join(file), to.join(file)).unwrap();
    }
    to
}

/// Ticks frames in the card's CSV and imports it.
fn expose(test: &Path, frames: &[&str]) {
    let folder = test.to_str().unwrap();
    filmproof(&["card", folder]).assert().success();
    let log = test.join("card/field-log.csv");
    let text = fs::read_to_string(&log).unwrap();
    let ticked: Vec<String> = text
        .lines()
        .map(|line| match line.split_once(',') {
            Some((frame, rest)) if frames.contains(&frame) => {
                let (plan, rest) = rest.split_once(',').unwrap();
                format!("{frame},{plan},x{rest}")
            }
            _ => line.to_owned(),
        })
        .collect();
    fs::write(&log, ticked.join("\n")).unwrap();
    filmproof(&["import", folder, log.to_str().unwrap()])
        .assert()
        .success();
}

#[test]
fn half_the_light_asks_for_twice_the_time_before_reciprocity() {
    let scratch = tempfile::tempdir().unwrap();
    let test = example(scratch.path());
    let folder = test.to_str().unwrap();
    // The example's reading is EV 14.7; one stop less of light is twice the metered time.
    let json = answer(&["replan", folder, "--ev100", "13.7", "--json"]);
    let metered = |name: &str| {
        let frames = json["frames"].as_array().unwrap();
        let frame = frames.iter().find(|f| f["name"] == name).unwrap();
        frame["time_metered_s"].as_f64().unwrap()
    };
    // By hand: N² / 2^EV · 100 / EI with f/22 as written, EI 400 and EV 13.7: 484 / 13 308 / 4.
    let by_hand = 22.0 * 22.0 / 13.7_f64.exp2() * 100.0 / 400.0;
    assert!((metered("anchor") / by_hand - 1.0).abs() < 1e-9);
    assert_eq!(json["anchored"], true);
    // Nothing was written.
    assert!(!test.join("field").exists());
    assert!(
        !fs::read_to_string(test.join("test.toml"))
            .unwrap()
            .contains("noon-2")
    );
}

/// By hand: EV 13.7 is 2.5 · 2^13.7 lx by C = 250 and 2^13.7 / 8 cd/m² by K = 12.5.
#[test]
fn a_reading_in_lux_or_luminance_is_the_same_light() {
    let scratch = tempfile::tempdir().unwrap();
    let test = example(scratch.path());
    let folder = test.to_str().unwrap();
    let light = 13.7_f64.exp2();
    let times = |option: &str, value: f64| -> Vec<f64> {
        let json = answer(&["replan", folder, option, &value.to_string(), "--json"]);
        let change = json["light_change_stops"].as_f64().unwrap();
        assert!((change + 1.0).abs() < 1e-9, "{change}");
        let frames = json["frames"].as_array().unwrap();
        let metered = frames.iter().map(|f| f["time_metered_s"].as_f64().unwrap());
        metered.collect()
    };
    let by_ev = times("--ev100", 13.7);
    for other in [
        times("--lux", 2.5 * light),
        times("--luminance", light / 8.0),
    ] {
        for (a, b) in by_ev.iter().zip(&other) {
            assert!((a / b - 1.0).abs() < 1e-9, "{a} and {b}");
        }
    }
}

#[test]
fn a_new_light_gets_an_unfiltered_frame_and_the_old_plan_is_kept() {
    let scratch = tempfile::tempdir().unwrap();
    let test = example(scratch.path());
    let folder = test.to_str().unwrap();
    let whole = answer(&["replan", folder, "--ev100", "12.2", "--json"]);
    let before = whole["expected"][0]["half_width_stops"].as_f64().unwrap();
    expose(&test, &["anchor", "red", "ei-25"]);
    let record = fs::read_to_string(test.join("test.toml")).unwrap();
    let json = answer(&[
        "replan",
        folder,
        "--ev100",
        "12.2",
        "--sky",
        "thin-cloud",
        "--write",
        "--json",
    ]);
    assert_eq!(json["anchored"], true);
    assert_eq!(json["frames"][0]["role"], "anchor");
    assert_eq!(json["frames"][0]["filters"].as_array().unwrap().len(), 0);
    // One filtered frame and its anchor tell something, but less than the whole bracket.
    let half = |json: &Value| json["expected"][0]["half_width_stops"].as_f64().unwrap();
    assert!(half(&json) > before, "{} after {before}", half(&json));
    assert!(half(&json) < 2.0);
    let exposed: Vec<&str> = json["exposed"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert_eq!(exposed, ["anchor", "red", "ei-25"]);
    // The record's text so far stands, byte for byte; the old plan is kept.
    let after = fs::read_to_string(test.join("test.toml")).unwrap();
    assert!(after.starts_with(&record) && after.contains("\"noon-2\""));
    let kept = test.join(json["old_plan"].as_str().unwrap());
    let example =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/planned-test/plan.toml");
    assert_eq!(fs::read(kept).unwrap(), fs::read(example).unwrap());
    // A card of the new plan comes back as a record in the new light.
    fs::remove_dir_all(test.join("card")).unwrap();
    let new_anchor = json["frames"][0]["name"].as_str().unwrap();
    expose(&test, &[new_anchor, "ei-12"]);
    let after = fs::read_to_string(test.join("test.toml")).unwrap();
    assert_eq!(after.matches("light = \"noon-2\"").count(), 2);
}

#[test]
fn what_cannot_be_done_is_told_and_changes_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let test = example(scratch.path());
    let folder = test.to_str().unwrap();
    let before = fs::read(test.join("plan.toml")).unwrap();
    for (arguments, told) in [
        (vec!["--ev100", "nan"], "EV at ISO 100"),
        (vec!["--ev100", "2"], "longest time"),
        (vec!["--ev100", "12", "--sky", "rain"], "no sky is called"),
        (vec!["--ev100", "12", "--light", "noon"], "already"),
    ] {
        let mut all = vec!["replan", folder, "--write"];
        all.extend(arguments);
        let out = filmproof(&all).assert().code(1).get_output().stderr.clone();
        let out = String::from_utf8(out).unwrap();
        assert!(out.contains(told), "{all:?}: {out}");
    }
    assert_eq!(fs::read(test.join("plan.toml")).unwrap(), before);
}
