//! The frame of a scan as `measure` says it, from outside.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use testkit::{FrameFlaw, FrameScan, frame_scan, tiff_of_light};

fn measured(scan: &FrameScan, json: bool) -> String {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("scan.tif");
    let tiff = tiff_of_light(scan.width, scan.height, &scan.signal);
    fs::write(&path, tiff).unwrap();
    let mut command = Command::cargo_bin("filmproof").unwrap();
    command.arg("measure").arg(&path);
    if json {
        command.arg("--json");
    }
    let output = command.output().unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_frame_is_said_where_it_lies() {
    let scan = (300..340)
        .map(|draw| frame_scan(draw, FrameFlaw::None))
        .find(|scan| scan.rebate == [true; 4] && scan.in_light)
        .unwrap();
    let answer: Value = serde_json::from_str(&measured(&scan, true)).unwrap();
    let frame = &answer["frame"];
    assert_eq!(frame["found"], true, "{frame}");
    for (corner, truth) in frame["corners_px"]
        .as_array()
        .unwrap()
        .iter()
        .zip(scan.corners)
    {
        let off = |k: usize, t: f64| (corner[k].as_f64().unwrap() - t).abs();
        assert!(off(0, truth.0) < 1.0 && off(1, truth.1) < 1.0, "{frame}");
    }
    let tilt = frame["tilt_deg"].as_f64().unwrap();
    assert!((tilt - scan.tilt_deg).abs() < 0.05, "{frame}");
    let words = measured(&scan, false);
    assert!(words.contains("frame: corners ("), "{words}");
    assert!(words.contains("not used for base + fog"), "{words}");
}

#[test]
fn every_key_of_the_frame_is_described() {
    let scan = (300..340)
        .map(|draw| frame_scan(draw, FrameFlaw::None))
        .find(|scan| scan.rebate == [true; 4] && scan.in_light)
        .unwrap();
    let answer: Value = serde_json::from_str(&measured(&scan, true)).unwrap();
    let page = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/frame-found.md");
    let told = fs::read_to_string(page).unwrap();
    let frame = answer["frame"].as_object().unwrap();
    let keys = |within: &str, object: &serde_json::Map<String, Value>| -> Vec<String> {
        object
            .keys()
            .map(|key| format!("`{within}{key}`"))
            .collect()
    };
    let mut all = keys("", frame);
    all.retain(|key| key != "`rebate`");
    all.extend(keys("rebate.", frame["rebate"].as_object().unwrap()));
    all.extend(keys("sides[].", frame["sides"][0].as_object().unwrap()));
    let lacking: Vec<&String> = all.iter().filter(|key| !told.contains(*key)).collect();
    assert!(lacking.is_empty(), "{lacking:?}");
}

#[test]
fn a_blank_film_has_no_frame_and_says_so() {
    let answer = measured(&frame_scan(400, FrameFlaw::Blank), true);
    let answer: Value = serde_json::from_str(&answer).unwrap();
    assert_eq!(answer["frame"]["found"], false);
    let reason = answer["frame"]["reason"].as_str().unwrap();
    assert!(reason.contains("even throughout"), "{reason}");
}
