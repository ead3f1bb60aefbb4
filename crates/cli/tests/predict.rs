//! The command `predict` from outside.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;

fn write(folder: &Path) {
    let files = [
        // Falling order, with a hole that no other curve fills.
        (
            "film.csv",
            "wavelength_nm,sensitivity\n800,0\n700,1\n400,1\n",
        ),
        (
            "log.csv",
            "wavelength_nm,s\n400,0\n700,0\n700.001,-9\n800,-9\n",
        ),
        ("half.csv", "wavelength_nm,t\n400,0.5\n800,0.5\n"),
        ("quarter.csv", "wavelength_nm,t\n400,0.25\n800,0.25\n"),
        ("blue.csv", "wavelength_nm,t\n400,0\n800,0\n"),
        ("light.csv", "wavelength_nm,e\n400,2\n800,2\n"),
        ("leaf.csv", "wavelength_nm,r\n400,0.36\n800,0.36\n"),
        (
            "twice.csv",
            "wavelength_nm,t\n400,0.1\n500,0.2\n450,0.9\n800,1\n",
        ),
        ("two.csv", "wavelength_nm,a,b\n400,0.5,0.25\n800,0.5,0.25\n"),
    ];
    for (name, text) in files {
        fs::write(folder.join(name), text).unwrap();
    }
}

fn predict(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .current_dir(folder)
        .arg("predict")
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn json(folder: &Path, arguments: &[&str]) -> Value {
    let all: Vec<&str> = arguments.iter().copied().chain(["--json"]).collect();
    let (code, out, err) = predict(folder, &all);
    assert_eq!(code, 0, "{err}");
    serde_json::from_str(&out).unwrap()
}

const BASE: [&str; 4] = ["--film", "film.csv", "--light", "light.csv"];

fn with(more: &[&'static str]) -> Vec<&'static str> {
    BASE.iter().copied().chain(more.iter().copied()).collect()
}

#[test]
fn a_neutral_half_is_one_stop_and_a_subject_of_36_percent_is_one_over_the_card() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let answer = json(
        folder.path(),
        &with(&["--filter", "half.csv", "--subject", "leaf.csv"]),
    );
    // Hand calculation: 1/0.5 = 2; 0.36/0.18 = 2; both one stop. The film is 1 to
    // 700 nm and falls to 0 at 800: area 350, tenth at 435, nine tenths within the
    // straight fall, where 15 of 50 remain below: 700 + 100 (1 − √0.7).
    let number = |key: &str| answer[key].as_f64().unwrap();
    assert!((number("factor") - 2.0).abs() < 1e-9);
    assert!((number("factor_stops") - 1.0).abs() < 1e-9);
    assert!((number("subject_minus_grey_stops") - 1.0).abs() < 1e-9);
    let band = &answer["effective_band_nm"];
    assert!((band["low"].as_f64().unwrap() - 435.0).abs() < 1e-6);
    let high = 700.0 + 100.0 * (1.0 - 0.7_f64.sqrt());
    assert!(
        (band["high"].as_f64().unwrap() - high).abs() < 1e-6,
        "{band}"
    );
    assert_eq!(answer["verdict"], "image");
}

#[test]
fn a_film_in_logarithms_needs_the_word() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let log = [
        "--film",
        "log.csv",
        "--film-log",
        "--light",
        "light.csv",
        "--filter",
        "half.csv",
    ];
    let answer = json(folder.path(), &log);
    assert!((answer["factor"].as_f64().unwrap() - 2.0).abs() < 1e-9);
    let mean = answer["mean_wavelength_nm"].as_f64().unwrap();
    // Equal sensitivity from 400 to 700 nm.
    assert!((mean - 550.0).abs() < 0.5, "{mean}");
    let (code, _, err) = predict(
        folder.path(),
        &[
            "--film",
            "log.csv",
            "--light",
            "light.csv",
            "--filter",
            "half.csv",
        ],
    );
    assert_eq!(code, 1);
    assert!(err.contains("--film-log"), "{err}");
}

#[test]
fn several_filters_are_ranked_and_a_stack_is_one() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let three = with(&[
        "--filter",
        "blue.csv",
        "--filter",
        "quarter.csv",
        "--filter",
        "half.csv",
    ]);
    let answer = json(folder.path(), &three);
    let names: Vec<&str> = answer["filters"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["filter"]["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["half", "quarter", "blue"]);
    assert_eq!(answer["filters"][2]["verdict"], "none");
    assert_eq!(answer["filters"][2]["factor"], Value::Null);
    let stack = with(&["--filter", "quarter.csv", "--filter", "half.csv", "--stack"]);
    let answer = json(folder.path(), &stack);
    // Hand calculation: 4 × 2.
    assert!((answer["factor"].as_f64().unwrap() - 8.0).abs() < 1e-9);
}

#[test]
fn a_column_is_named_after_the_file() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let answer = json(folder.path(), &with(&["--filter", "two.csv#b"]));
    assert!((answer["factor"].as_f64().unwrap() - 4.0).abs() < 1e-9);
    let (code, _, err) = predict(folder.path(), &with(&["--filter", "two.csv"]));
    assert_eq!(code, 1);
    assert!(err.contains("FILE.csv#COLUMN"), "{err}");
}

#[test]
fn a_class_and_an_edge_give_an_interval() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let asked = [
        "--film-class",
        "extended-red",
        "--filter-edge",
        "715:50%",
        "--light",
        "light.csv",
    ];
    let answer = json(folder.path(), &asked);
    let of = |end: &str| answer["factor_stops"][end].as_f64().unwrap();
    assert!(of("low") < of("value") && of("value") < of("high"));
    let shares: f64 = answer["uncertainty"]["shares"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["share"].as_f64().unwrap())
        .sum();
    assert!((shares - 1.0).abs() < 1e-9);
}

#[test]
fn what_can_not_be_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    for (arguments, code, word) in [
        (with(&["--filter", "none.csv"]), 1, "none.csv"),
        (with(&["--filter-edge", "715"]), 1, "level"),
        (with(&["--filter-edge", "715:95%"]), 1, "peak"),
        (with(&["--filter", "twice.csv"]), 1, "goes back"),
        (with(&["--filter", "half.csv", "--step", "0"]), 1, "step"),
        (with(&["--filter", "half.csv", "--step", "NaN"]), 1, "step"),
        (with(&["--filter", "half.csv", "--ei", "-1"]), 1, "EI"),
        (
            with(&["--filter", "half.csv", "--film-edge-sd", "-1"]),
            1,
            "0 or more",
        ),
        (with(&[]), 2, "--filter"),
        (
            vec![
                "--film-class",
                "green",
                "--light",
                "light.csv",
                "--filter",
                "half.csv",
            ],
            1,
            "panchromatic",
        ),
    ] {
        let (found, _, err) = predict(folder.path(), &arguments);
        assert_eq!(found, code, "{arguments:?}: {err}");
        assert!(err.contains(word), "{arguments:?}: {err}");
    }
}

#[test]
fn the_figure_is_written() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let (code, out, err) = predict(
        folder.path(),
        &with(&["--filter", "half.csv", "--figure", "p.svg"]),
    );
    assert_eq!(code, 0, "{err}");
    assert!(
        out.starts_with("film behind half: ×2.0, 1.0 stops more"),
        "{out}"
    );
    let svg = fs::read_to_string(folder.path().join("p.svg")).unwrap();
    assert!(svg.contains("effective") || svg.contains("10 to 90 %"));
}

#[test]
fn a_wedge_spectrogram_is_divided_by_its_lamp() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    // A lamp that rises with wavelength makes a flat film look like itself: heights
    // equal to log10 of the lamp are a film of equal sensitivity.
    let lamp: String = (400..=700).map(|nm| format!("{nm},{nm}\n")).collect();
    let heights: String = (400..=700)
        .map(|nm| format!("{nm},{}\n", f64::from(nm).log10()))
        .collect();
    let path = |name: &str| folder.path().join(name);
    fs::write(path("lamp.csv"), format!("wavelength_nm,e\n{lamp}")).unwrap();
    fs::write(path("wedge.csv"), format!("wavelength_nm,log_s\n{heights}")).unwrap();
    let asked = [
        "--film",
        "wedge.csv",
        "--film-log",
        "--film-wedge-lamp",
        "lamp.csv",
        "--light",
        "light.csv",
        "--filter",
        "half.csv",
    ];
    let answer = json(folder.path(), &asked);
    // Equal sensitivity from 400 to 700 nm in equal energy: the mean is 550 nm.
    let mean = answer["mean_wavelength_nm"].as_f64().unwrap();
    assert!((mean - 550.0).abs() < 1e-6, "{mean}");
}

#[test]
fn a_curve_is_read_off_marked_points() {
    let folder = tempfile::tempdir().unwrap();
    let marked = "what,x_px,y_px,value\nx1,50,300,400\nx2,450,300,800\ny1,50,300,0\ny2,50,100,2\npoint,350,250,\npoint,250,200,\n";
    fs::write(folder.path().join("marked.csv"), marked).unwrap();
    let run = |arguments: &[&str]| {
        Command::cargo_bin("filmproof")
            .unwrap()
            .current_dir(folder.path())
            .arg("trace-plot")
            .args(arguments)
            .output()
            .unwrap()
    };
    let output = run(&["marked.csv"]);
    let text = String::from_utf8(output.stdout).unwrap();
    // By construction: 1 px is 1 nm across and 0.01 up.
    assert!(text.contains("\n600.00,1.000000,"), "{text}");
    assert!(text.contains("\n700.00,0.500000,"), "{text}");
    // Axes by ratios: 400 to 800 nm and 0.01 to 1 over the same pixels, so half-way across is
    // 400 √2 nm and half-way up 0.1. A quarter from the right is 400 × 2^0.75, a quarter up
    // 0.01 × 10^0.5.
    let ratios = marked
        .replace("300,0\n", "300,0.01\n")
        .replace("100,2\n", "100,1\n");
    fs::write(folder.path().join("ratios.csv"), ratios).unwrap();
    let output = run(&["ratios.csv", "--x-log", "--y-log"]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("\n565.69,0.100000,"), "{text}");
    assert!(text.contains("\n672.72,0.031623,"), "{text}");
    fs::write(
        folder.path().join("odd.csv"),
        "what,x_px,y_px,value\nx1,1,2,3\n",
    )
    .unwrap();
    let output = run(&["odd.csv"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        String::from_utf8(output.stderr)
            .unwrap()
            .contains("missing")
    );
}

#[test]
fn lights_subjects_and_filters_by_name_need_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let base = [
        "--film-class",
        "near-infrared",
        "--filter",
        "gelatin:89B",
        "--light",
    ];
    let of = |light: &str, more: &[&str]| {
        let all: Vec<&str> = base
            .iter()
            .copied()
            .chain([light])
            .chain(more.iter().copied())
            .collect();
        json(folder.path(), &all)
    };
    let sun = of("sun:35", &["--subject", "leaf", "--sun-chart"]);
    // A clear sun brings its open shade along, which has less infrared.
    let shade = sun["shade"]["over_sun_stops"].as_f64().unwrap();
    assert!((0.5..2.5).contains(&shade), "{shade}");
    assert!(sun["wood_effect_stops"].as_f64().unwrap() > 1.0);
    let chart = sun["by_sun_height"].as_array().unwrap();
    assert_eq!(chart.len(), 11);
    // The chart and the single answer agree between their neighbours.
    let at = |deg: f64, key: &str| {
        let row = chart
            .iter()
            .find(|r| r["sun_elevation_deg"] == deg)
            .unwrap();
        row[key].as_f64().unwrap()
    };
    let single = sun["factor_stops"]["value"].as_f64().unwrap();
    let (low, high) = (at(30.0, "factor_stops"), at(40.0, "factor_stops"));
    assert!((low.min(high)..=low.max(high)).contains(&single));
    let at_40 = of("open-shade:40", &[]);
    let alone = at_40["factor_stops"]["value"].as_f64().unwrap();
    assert!((alone - at(40.0, "open_shade_factor_stops")).abs() < 1e-12);
    // Clouds are known less well, and say why.
    let cloud = of("overcast:35", &[]);
    let sd = |of: &Value| of["uncertainty"]["sd_stops"].as_f64().unwrap();
    assert!(sd(&cloud) > 1.5 * sd(&sun));
    assert!(cloud["by_sun_height"].is_null() && cloud["shade"].is_null());
    assert!(cloud["notes"].to_string().contains("no published law"));
}

#[test]
fn a_file_comes_before_a_name_and_a_broken_name_is_an_error() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("leaf"),
        "wavelength_nm,r\n300,0.18\n1100,0.18\n",
    )
    .unwrap();
    let base = ["--film-class", "infrared", "--filter-edge", "720:50%"];
    let with = |more: &[&'static str]| [base.as_slice(), more].concat();
    let flat = json(
        folder.path(),
        &with(&["--light", "sun:35", "--subject", "leaf"]),
    );
    let lift = flat["wood_effect_stops"].as_f64().unwrap();
    assert!(
        lift.abs() < 1e-9,
        "the file's flat reflectance, not the model's: {lift}"
    );
    for light in ["sun", "sun:0", "tungsten:x", "nowhere"] {
        let (code, _, err) = predict(folder.path(), &with(&["--light", light]));
        assert_eq!(code, 1, "{light}: {err}");
    }
    let more = ["--light", "sun:35", "--subject", "foliage"];
    let (code, _, err) = predict(folder.path(), &with(&more));
    assert_eq!(code, 1);
    assert!(
        err.contains("foliage") && err.contains("autumn-leaf"),
        "{err}"
    );
}

#[test]
fn a_light_is_printed_by_its_name_and_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let light = |more: &[&str]| {
        Command::cargo_bin("filmproof")
            .unwrap()
            .arg("light")
            .args(more)
            .output()
            .unwrap()
    };
    let csv = light(&["overcast:35", "--spectrum"]);
    fs::write(folder.path().join("light.csv"), &csv.stdout).unwrap();
    let base = [
        "--film-class",
        "near-infrared",
        "--filter-edge",
        "715:50%",
        "--light",
    ];
    let stops = |light: &'static str| {
        let found = json(folder.path(), &[base.as_slice(), &[light]].concat());
        found["factor_stops"]["value"].as_f64().unwrap()
    };
    assert!((stops("light.csv") - stops("overcast:35")).abs() < 1e-6);
    assert_eq!(light(&["moon"]).status.code(), Some(1));
    let told = light(&["daylight:5500", "--json"]);
    let told: Value = serde_json::from_slice(&told.stdout).unwrap();
    // Standard daylight ends at 830 nm, so its share to 900 nm is not known.
    assert!(told["near_infrared_over_visible"].is_null());
}
