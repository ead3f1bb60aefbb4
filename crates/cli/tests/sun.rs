//! The command `sun` from outside.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;

fn sun(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .arg("sun")
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

const PAPER: [&str; 10] = [
    "--latitude",
    "39.742476",
    "--longitude",
    "-105.1786",
    "--time",
    "2003-10-17T12:30:30-07:00",
    "--pressure",
    "820",
    "--temperature",
    "11",
];

#[test]
fn the_published_example_comes_out() {
    let (code, out, _) = sun(&[&PAPER[..], &["--json"]].concat());
    assert_eq!(code, 0);
    let json: Value = serde_json::from_str(&out).unwrap();
    // Source: NREL/TP-560-34302: zenith 50.11162, azimuth 194.34024 degrees.
    let elevation = json["sun_elevation_deg"].as_f64().unwrap();
    assert!((elevation - (90.0 - 50.11162)).abs() < 0.001, "{elevation}");
    let azimuth = json["sun_azimuth_deg"].as_f64().unwrap();
    assert!((azimuth - 194.34024).abs() < 0.001, "{azimuth}");
    // Hand calculation: EV = log2(lux / 2.5) with C = 250.
    let lux = json["illuminance_lux"].as_f64().unwrap();
    let ev = json["ev100_incident"].as_f64().unwrap();
    assert!((ev - (lux / 2.5).log2()).abs() < 1e-9);
    assert!((14.0..15.2).contains(&ev), "{ev}");
}

#[test]
fn a_sun_below_the_horizon_gives_its_place_and_no_light() {
    let night = [
        "--latitude",
        "51.5",
        "--longitude",
        "0",
        "--time",
        "2026-06-21T00:00:00Z",
    ];
    let (code, out, err) = sun(&[&night[..], &["--json"]].concat());
    assert_eq!(code, 0);
    let json: Value = serde_json::from_str(&out).unwrap();
    assert!(json["sun_elevation_deg"].as_f64().unwrap() < -10.0);
    assert!(json["illuminance_lux"].is_null());
    assert!(err.contains("below the horizon"), "{err}");
    let (code, out, _) = sun(&[&night[..], &["--spectrum"]].concat());
    assert_eq!((code, out.as_str()), (1, ""));
}

#[test]
fn the_spectrum_feeds_a_prediction_and_eyes_are_cautioned() {
    let (code, out, err) = sun(&[&PAPER[..], &["--spectrum"]].concat());
    assert_eq!(code, 0);
    assert!(err.contains("never look at the sun"), "{err}");
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sun.csv"), out).unwrap();
    Command::cargo_bin("filmproof")
        .unwrap()
        .current_dir(folder.path())
        .args([
            "predict",
            "--film-class",
            "extended-red",
            "--filter-edge",
            "715:50%",
        ])
        .args([
            "--light",
            "sun.csv#global_horizontal",
            "--shade",
            "sun.csv#open_shade",
        ])
        .assert()
        .success();
}

#[test]
fn what_has_no_meaning_is_refused() {
    for (place, value, word) in [
        (1, "95", "latitude"),
        (5, "noon", "noon"),
        (7, "20", "pressure"),
    ] {
        let mut arguments = PAPER;
        arguments[place] = value;
        let (code, out, err) = sun(&arguments);
        assert_eq!((code, out.as_str()), (1, ""), "{value}");
        assert!(err.contains(word), "{err}");
    }
    assert_eq!(sun(&["--latitude", "1"]).0, 2);
}

#[test]
fn a_tilted_plane_gets_its_light_and_its_angle_to_the_sun() {
    let on_plane = ["--plane-tilt", "30", "--facing", "170"];
    let (code, out, _) = sun(&[&PAPER[..], &on_plane, &["--json"]].concat());
    assert_eq!(code, 0);
    let json: Value = serde_json::from_str(&out).unwrap();
    // Source: NREL/TP-560-34302, slope 30°, turned 10° from south to east: the sun falls
    // on it 25.18700° off the normal (from memory).
    let cosine = json["plane"]["cosine_to_sun"].as_f64().unwrap();
    assert!(
        (cosine.acos().to_degrees() - 25.187).abs() < 0.002,
        "{cosine}"
    );
    let (lux, level) = (&json["plane"]["lux"], &json["illuminance_lux"]);
    assert!(lux.as_f64() > level.as_f64(), "{lux} {level}");

    let (code, out, _) = sun(&[&PAPER[..], &on_plane, &["--spectrum"]].concat());
    assert_eq!(code, 0);
    assert!(
        out.lines().next().unwrap().ends_with(",plane"),
        "{out:.200}"
    );
    assert!(out.lines().all(|line| line.split(',').count() == 7));

    let (code, _, err) = sun(&[&PAPER[..], &["--plane-tilt", "200", "--facing", "0"]].concat());
    assert_eq!(code, 1);
    assert!(err.contains("200"), "{err}");
    let (code, _, _) = sun(&[&PAPER[..], &["--plane-tilt", "20"]].concat());
    assert_eq!(code, 2);
}
