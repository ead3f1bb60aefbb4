//! Files as they come: falling, coarse, uneven, with holes, and shorter than each other.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

/// An invented film: half-sensitivity at 720 nm, width of the fall 8 nm.
fn film(nm: f64) -> f64 {
    1.0 / (1.0 + ((nm - 720.0) / 8.0).exp())
}

/// An invented glass: half of its peak of 90 % at 700 nm, width of the edge 6 nm.
fn glass(nm: f64) -> f64 {
    0.9 / (1.0 + ((700.0 - nm) / 6.0).exp())
}

fn evenly(from: i32, to: i32, step: usize) -> Vec<f64> {
    (from..=to).step_by(step).map(f64::from).collect()
}

fn write(folder: &TempDir, name: &str, head: &str, at: &[f64], value: impl Fn(f64) -> f64) {
    let rows: String = at
        .iter()
        .map(|nm| format!("{nm},{:.9}\n", value(*nm)))
        .collect();
    let text = format!("wavelength_nm,{head}\n{rows}");
    fs::write(folder.path().join(name), text).unwrap();
}

/// Film and glass every 1 nm, and an even light.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    write(
        &folder,
        "film.csv",
        "sensitivity",
        &evenly(400, 800, 1),
        film,
    );
    write(
        &folder,
        "glass.csv",
        "transmittance",
        &evenly(400, 800, 1),
        glass,
    );
    write(&folder, "even.csv", "irradiance", &[300.0, 1000.0], |_| 1.0);
    folder
}

fn run(folder: &TempDir, film: &str, glass: &str, more: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .current_dir(folder.path())
        .args([
            "predict", "--light", "even.csv", "--film", film, "--filter", glass,
        ])
        .args(more)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

fn answer(folder: &TempDir, film: &str, glass: &str) -> (Value, String) {
    let (code, out, err) = run(folder, film, glass, &["--json"]);
    assert_eq!(code, 0, "{err}");
    (serde_json::from_str(&out).unwrap(), err)
}

fn stops(answer: &Value) -> f64 {
    answer["factor_stops"].as_f64().unwrap()
}

#[test]
fn falling_wavelengths_give_the_same_answer_and_are_told() {
    let folder = folder();
    let falling: Vec<f64> = evenly(400, 800, 1).into_iter().rev().collect();
    write(&folder, "film-falling.csv", "sensitivity", &falling, film);
    write(
        &folder,
        "glass-falling.csv",
        "transmittance",
        &falling,
        glass,
    );
    let (rising, _) = answer(&folder, "film.csv", "glass.csv");
    let (turned, told) = answer(&folder, "film-falling.csv", "glass-falling.csv");
    assert_eq!(stops(&turned).to_bits(), stops(&rising).to_bits());
    assert_eq!(turned["effective_band_nm"], rising["effective_band_nm"]);
    for name in ["film-falling.csv", "glass-falling.csv"] {
        assert!(
            told.contains(&format!("{name}: wavelengths fall")),
            "{told}"
        );
    }
}

#[test]
fn coarse_and_uneven_grids_come_near_the_fine_one() {
    let folder = folder();
    let fine = stops(&answer(&folder, "film.csv", "glass.csv").0);
    // Integrated by hand every 0.01 nm, which needs no table.
    let sum = |of: &dyn Fn(f64) -> f64| -> f64 {
        (0..40_000).map(|i| of(400.005 + 0.01 * f64::from(i))).sum()
    };
    let exact = (sum(&film) / sum(&|nm| film(nm) * glass(nm))).log2();
    assert!((fine - exact).abs() < 0.002, "{fine}, {exact}");
    // 0.2, 0.6 nm and so on before the last mark: nothing on whole numbers.
    let odd: Vec<f64> = (0..=134)
        .map(|i| (400.2 + 2.99 * f64::from(i)).min(800.0))
        .collect();
    // Straight lines on a curve of width w are off by about (step / w)² / 12 of its value where
    // it bends, of either sign: 0.03 stop at 5 nm on 6 nm, four times that at 10.
    for (name, at, most) in [
        ("5", evenly(400, 800, 5), 0.03),
        ("10", evenly(400, 800, 10), 0.12),
        ("7", evenly(401, 800, 7), 0.06),
        ("odd", odd, 0.03),
    ] {
        write(&folder, "coarse-film.csv", "sensitivity", &at, film);
        write(&folder, "coarse-glass.csv", "transmittance", &at, glass);
        for (film, glass) in [
            ("coarse-film.csv", "glass.csv"),
            ("film.csv", "coarse-glass.csv"),
            ("coarse-film.csv", "coarse-glass.csv"),
        ] {
            let got = stops(&answer(&folder, film, glass).0);
            assert!(
                (got - fine).abs() < most,
                "{name} {film} {glass}: {got}, {fine}"
            );
        }
    }
}

#[test]
fn a_hole_adds_nothing_and_what_it_costs_is_told() {
    let folder = folder();
    // −9.999 is how measured tables say that there is no value.
    let rows = |inside: std::ops::RangeInclusive<i32>, of: &dyn Fn(f64) -> f64| -> String {
        (400..=800)
            .map(|nm| {
                if inside.contains(&nm) {
                    format!("{nm},-9.999\n")
                } else {
                    format!("{nm},{:.9}\n", of(f64::from(nm)))
                }
            })
            .collect()
    };
    let file = |name: &str, head: &str, rows: String| {
        fs::write(
            folder.path().join(name),
            format!("wavelength_nm,{head}\n{rows}"),
        )
        .unwrap();
    };
    file(
        "film-hole.csv",
        "log_sensitivity",
        rows(450..=480, &|nm| film(nm).log10()),
    );
    file("glass-hole.csv", "transmittance", rows(705..=715, &glass));
    let whole = stops(&answer(&folder, "film.csv", "glass.csv").0);
    let unknown = |answer: &Value, curve: &str| {
        let all = answer["unknown"].as_array().unwrap().clone();
        all.into_iter().find(|u| u["curve"] == curve).unwrap()
    };

    let (film_hole, told) = answer(&folder, "film-hole.csv", "glass.csv");
    assert!(told.contains("31 rows without a value"), "{told}");
    // Hand calculation: the bare film loses 32 of about 320 nm: log2(288/320) = −0.15.
    let less = stops(&film_hole) - whole;
    assert!((less + 0.15).abs() < 0.01, "{less}");
    assert!(
        unknown(&film_hole, "film")["stretches_nm"]
            .to_string()
            .contains("449")
    );

    let (glass_hole, told) = answer(&folder, "film.csv", "glass-hole.csv");
    assert!(told.contains("11 rows without a value"), "{told}");
    let more = stops(&glass_hole) - whole;
    let bridged = unknown(&glass_hole, "filter")["factor_change_stops"]
        .as_f64()
        .unwrap();
    assert!(more > 0.3, "{more}");
    // A straight line across the hole leads back to the whole table.
    assert!((more + bridged).abs() < 0.05, "{more} and {bridged}");

    // In linear sensitivity the same number is a value below zero or a mark; it is no value.
    file("film-mark.csv", "sensitivity", rows(450..=480, &film));
    let marked = stops(&answer(&folder, "film-mark.csv", "glass.csv").0);
    assert!((marked - stops(&film_hole)).abs() < 1e-6, "{marked}");
}

#[test]
fn a_film_table_that_ends_before_the_filter_begins_is_no_proof_of_a_blank_sheet() {
    let folder = folder();
    write(&folder, "cut.csv", "sensitivity", &[400.0, 700.0], |_| 1.0);
    let begins = |nm: f64| if nm < 720.0 { 0.0 } else { 0.9 };
    let at = [400.0, 719.0, 720.0, 1000.0];
    write(&folder, "deep.csv", "transmittance", &at, begins);
    let (cut, _) = answer(&folder, "cut.csv", "deep.csv");
    assert_eq!(cut["factor"], Value::Null);
    assert_eq!(cut["verdict"], "none");
    let film = &cut["unknown"][0];
    assert_eq!(film["curve"], "film");
    // Hand calculation: followed 50 nm at both ends, 30.5 nm × 0.9 of 400 nm.
    let share = film["share_of_bare_response"].as_f64().unwrap();
    assert!((share - 30.5 * 0.9 / 400.0).abs() < 1e-3, "{share}");
    let (_, out, _) = run(&folder, "cut.csv", "deep.csv", &[]);
    assert!(out.contains("as far as the curves are known"), "{out}");
    assert!(out.contains("6.9 % of the bare film's response"), "{out}");

    // A film whose table goes down to nothing leaves no such doubt.
    let fall = |nm: f64| if nm < 690.0 { 1.0 } else { 0.0 };
    write(
        &folder,
        "ends.csv",
        "sensitivity",
        &[400.0, 689.0, 690.0, 700.0],
        fall,
    );
    let (_, out, _) = run(&folder, "ends.csv", "deep.csv", &[]);
    assert!(out.contains("no image expected"), "{out}");
    assert!(!out.contains("as far as the curves are known"), "{out}");
}
