//! `expose` and `focus` as a photographer meets them.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use assert_cmd::Command;
use serde_json::Value;

fn filmproof(arguments: &str) -> std::process::Output {
    Command::cargo_bin("filmproof")
        .unwrap()
        .args(arguments.split_whitespace())
        .output()
        .unwrap()
}

fn json_of(arguments: &str) -> Value {
    let output = filmproof(&format!("{arguments} --json"));
    assert!(
        output.status.success(),
        "{arguments}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

fn refusal_of(arguments: &str) -> String {
    let output = filmproof(arguments);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{arguments}: {message}");
    assert!(
        output.stdout.is_empty() && !message.contains("panicked"),
        "{message}"
    );
    message
}

#[track_caller]
fn near(found: &Value, expected: f64, relative: f64) {
    let found = found.as_f64().unwrap();
    assert!(
        (found - expected).abs() <= relative * expected.abs().max(1e-9),
        "expected {expected}, found {found}"
    );
}

#[test]
fn every_kind_of_chain_gives_its_published_time() {
    // (arguments, seconds to give). The light is set so that the metered time is plain:
    // f/10 at EV 0 and EI 100 is 100 s, f/1 is 1 s. Sources in the rows.
    let rows = [
        // Reference computation of the closed forms, in the order of the chain.
        (
            "--ev100 15 --ei 200 --aperture 22.627417 --factor-stops 4 --reciprocity power:1.43",
            0.125,
        ),
        (
            "--ev100 10 --ei 50 --aperture 22.627417 --factor 8 --magnification 0.5 --pupil-ratio 0.7 --reciprocity power:1.26",
            53.429_74,
        ),
        // Filters multiply: 8 · 2.5 = 20, and 10^0.30103 = 2 (common practice).
        (
            "--ev100 0 --ei 100 --aperture 1 --factor 8 --factor 2.5",
            20.0,
        ),
        (
            "--ev100 0 --ei 100 --aperture 1 --factor-density 0.90309",
            8.0,
        ),
        // US Army course: draw 18 in at 12 in is 2.25, 8 s to 18 s; then 18^1.31 = 44.1.
        (
            "--ev100 5 --ei 100 --aperture 16 --draw 457.2 --focal-length 304.8",
            18.0,
        ),
        (
            "--ev100 5 --ei 100 --aperture 16 --extension 152.4 --focal-length 304.8",
            18.0,
        ),
        (
            "--ev100 5 --ei 100 --aperture 16 --draw 457.2 --focal-length 304.8 --reciprocity power:1.31",
            44.096_8,
        ),
        // A film maker's sheet: 10 s to 20.4 s at P 1.31. Its exponents at 240 s.
        (
            "--ev100 0 --ei 100 --aperture 3.16227766 --reciprocity power:1.31",
            20.417,
        ),
        (
            "--ev100 0 --ei 100 --aperture 15.4919334 --reciprocity power:1.26",
            997.85,
        ),
        // Coefficients from a photographers' forum: Tm + 0.101 Tm^1.62 at 30 s.
        (
            "--ev100 0 --ei 100 --aperture 5.47722558 --reciprocity additive:0.101,1.62",
            54.9608,
        ),
        // Closed form: 60^(1/0.86).
        (
            "--ev100 0 --ei 100 --aperture 7.74596669 --reciprocity schwarzschild:0.86",
            116.847,
        ),
        // A sheet F-4016: 10 to 15 s, 100 to 200 s; 31.6 s lies halfway in log time.
        (
            "--ev100 0 --ei 100 --aperture 5.62341325 --reciprocity points:10/15,100/200",
            54.772,
        ),
        // Kron, yearbook of 1914, a = 0.22, 4 decades off: 10^0.687083.
        (
            "--ev100 0 --ei 100 --aperture 1 --reciprocity catenary:0.22,0.0001",
            4.864_98,
        ),
        // An exposure record: 200 on zone VII is 50 on V, 1/50 s at f/16, EI 256.
        (
            "--luminance 2152.78208 --reflected-constant 10.7639104 --zone 7 --ei 256 --aperture 16",
            0.02,
        ),
        // Sunny rule: EV 15, f/16, EI 100: 1/128 s.
        ("--sky clear --ei 100 --aperture 16", 0.007_812_5),
    ];
    for (arguments, seconds) in rows {
        let answer = json_of(&format!("expose {arguments}"));
        // 2e-5: the digits printed.
        near(&answer["time_corrected_s"], seconds, 4e-5);
    }
}

#[test]
fn a_law_with_a_range_refuses_or_carries_on_by_name() {
    let base = "expose --ev100 0 --ei 100 --aperture 10 --reciprocity power:1.31@..60";
    let message = refusal_of(base);
    assert!(
        message.contains("up to 60 s") && message.contains("--extrapolate"),
        "{message}"
    );
    let answer = json_of(&format!("{base} --extrapolate"));
    near(&answer["time_corrected_s"], 100.0_f64.powf(1.31), 1e-9);
    assert_eq!(answer["flags"][0], "extrapolated");
    // Source: a forum's fit .72538 Tm^1.06559 gives 77.4 s for 80 s (common practice).
    let message = refusal_of(
        "expose --ev100 0 --ei 100 --aperture 8.94427191 --reciprocity fit:0.72538,1.06559",
    );
    assert!(message.contains("shorter than the metered"), "{message}");
}

#[test]
fn a_measured_shutter_replaces_its_mark() {
    // 1/64 s wanted, the mark 1/60; measured at 1/50: that mark gives lg2(64/50) = 0.356
    // stop too much, and the marks a third of a stop to either side are nearer.
    let base = "expose --ev100 14 --ei 100 --aperture 16";
    assert_eq!(json_of(base)["shutter_mark"], "1/60 s");
    let flags = &json_of(base)["flags"];
    assert_eq!(flags[0], "marked_time");
    let answer = json_of(&format!("{base} --measured-time 1/60=0.0158,0.1"));
    assert_eq!(answer["shutter_mark"], "1/60 s");
    near(&answer["shutter_mark_s"], 0.0158, 1e-12);
    // Its spread is the uncertainty of the time.
    near(&answer["uncertainty"]["time_stops"], 0.1, 1e-9);
    let answer = json_of(&format!("{base} --measured-time 1/60=0.02"));
    assert_ne!(answer["shutter_mark"], "1/60 s");
    // Source: a handbook's table (common practice): at f/16, 1/250 gives 2/3 stop more.
    let gain = json_of("expose --ev100 15.333333333 --ei 100 --aperture 16 --small-aperture-gain");
    assert_eq!(gain["flags"][0], "small_aperture_gain");
    for wrong in ["1/60", "1/60=x", "1/60=-1", "1/60=0.02,-1", "1/70=0.02"] {
        let message = refusal_of(&format!("{base} --measured-time {wrong}"));
        assert!(message.contains("1/"), "{message}");
    }
}

#[test]
fn the_uncertainty_of_the_whole_chain_is_told() {
    // √(0.3² + 0.4²) = 0.5 stop of exposure at 100 s, 0.655 of time behind P 1.31; the
    // hand adds 0.1 s of some 400 s, nothing in these digits.
    let answer = json_of(
        "expose --ev100 0 --ei 100 --aperture 10 --reciprocity power:1.31 --reading-sd 0.3 --factor-sd 0.4",
    );
    near(&answer["uncertainty"]["time_stops"], 0.655, 1e-4);
    near(&answer["uncertainty"]["exposure_stops"], 0.5, 1e-4);
    assert!(answer["uncertainty"]["time_s"]["low"].as_f64().unwrap() < 417.0);
    assert!(json_of("expose --ev100 0 --ei 100 --aperture 10")["uncertainty"].is_null());
    refusal_of("expose --ev100 0 --ei 100 --aperture 10 --reading-sd -0.3");
    refusal_of("expose --ev100 0 --ei 100 --aperture 10 --draw-sd 1");
}

#[test]
fn a_reading_through_a_filter_is_not_taken_for_the_films() {
    // Source: rule to meter bare and apply a tested factor (common practice).
    let base = "expose --ev100 12 --ei 100 --aperture 16";
    let message = refusal_of(&format!("{base} --through opaque --cell selenium"));
    assert!(
        message.contains("light record") && message.contains("selenium"),
        "{message}"
    );
    let message = refusal_of(&format!("{base} --through see-through --factor 8"));
    assert!(message.contains("count twice"), "{message}");
    let output = filmproof(&format!("{base} --through see-through"));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("not of the film"), "{said}");
}

#[test]
fn the_aperture_route_stands_beside_the_time() {
    // Source: a film maker's sheet F-4016: 10 s, +1/2 stop or 15 s: f/16 to f/13.45.
    let answer = json_of(
        "expose --ev100 4.678071905 --ei 100 --aperture 16 --reciprocity points:10/15,100/200 --open-lens 10/0.5,100/1",
    );
    near(&answer["time_corrected_s"], 15.0, 1e-6);
    near(&answer["opened_lens"]["aperture_f"], 13.4543, 1e-5);
    refusal_of("expose --ev100 0 --ei 100 --aperture 16 --open-lens 10/0.5,100/1");
    refusal_of("expose --ev100 4.7 --ei 100 --aperture 16 --open-lens 10/-1,100/1");
}

#[test]
fn bad_input_is_refused_in_words() {
    for (arguments, word) in [
        (
            "--ev100 12 --ei 0 --aperture 16",
            "EI must be greater than 0",
        ),
        ("--ev100 NaN --ei 100 --aperture 16", "finite"),
        ("--ev100 12 --ei 100 --aperture inf", "finite"),
        (
            "--ev100 12 --ei 100 --aperture 16 --draw 100 --focal-length 150",
            "shorter than the focal length",
        ),
        (
            "--ev100 12 --ei 100 --aperture 16 --extension -5 --focal-length 150",
            "greater than 0",
        ),
        (
            "--ev100 12 --ei 100 --aperture 16 --focal-length 150",
            "alone",
        ),
        // 1e6 s: f/1000 at EV 0 and EI 100.
        ("--ev100 0 --ei 100 --aperture 1000", "no exposure"),
        (
            "--ev100 12 --ei 100 --aperture 16 --reaction-time -1",
            "greater than 0",
        ),
        (
            "--ev100 12 --ei 100 --aperture 16 --count-error -1",
            "between 0 and 1",
        ),
        (
            "--ev100 12 --ei 100 --aperture 16 --zone 40",
            "cannot be placed",
        ),
        (
            "--lux 1000 --ei 100 --aperture 16 --zone 5",
            "only a reading of a target",
        ),
        (
            "--ev100 12 --ei 100 --aperture 16 --reciprocity power:1.3@5..1",
            "start before it ends",
        ),
        (
            "--ev100 12 --ei 100 --aperture 16 --reciprocity points:-1/2,3/4",
            "greater than 0",
        ),
    ] {
        let message = refusal_of(&format!("expose {arguments}"));
        assert!(message.contains(word), "{arguments}: {message}");
    }
    // Usage: told apart.
    let output = filmproof("expose --ev100 12 --lux 5 --ei 100 --aperture 16");
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn focus_proposes_a_series_and_not_a_constant() {
    // Reference computation from Sellmeier constants: 0.1669 % of 150 mm is 0.2504 mm.
    let answer = json_of("focus --focal-length 150 --wavelength 750 --aperture 22 --lens achromat");
    near(&answer["focus_shift_mm"]["value"], 0.2504, 1e-3);
    // 22 · 153.675/1500 = 2.25 mm hides it.
    assert_eq!(answer["hidden"], true);
    // Source: a quarter of an inch by an encyclopedia (common practice): not hidden.
    let wide = json_of(
        "focus --focal-length 150 --wavelength 750 --aperture 22 --measured-shift 6.35 --measured-shift-sd 1.5",
    );
    assert_eq!(wide["hidden"], false);
    assert_eq!(wide["series_mm"].as_array().unwrap().len(), 2);
    let said = String::from_utf8(
        filmproof("focus --focal-length 300 --wavelength 850 --aperture 5.6").stdout,
    )
    .unwrap();
    assert!(said.contains("never look at the sun"), "{said}");
    for wrong in [
        "--wavelength 2000",
        "--wavelength NaN",
        "--wavelength 750 --divisor 0",
    ] {
        refusal_of(&format!("focus --focal-length 150 --aperture 8 {wrong}"));
    }
}

#[test]
fn the_published_tables_of_the_examples_are_read() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/reciprocity");
    // Sources: a film maker's publication F-4016, page 5; a textbook of 1994. The light
    // is f/10 at EV 0 and EI 100: 100 s metered.
    for (file, seconds) in [
        ("sheet-f4016-100.csv", 200.0),
        ("sheet-f4016-400.csv", 300.0),
    ] {
        let answer = json_of(&format!(
            "expose --ev100 0 --ei 100 --aperture 10 --reciprocity table:{folder}/{file}"
        ));
        near(&answer["time_corrected_s"], seconds, 1e-9);
    }
    // 60 s to 180 s: f/7.745966692 is the root of 60.
    let answer = json_of(&format!(
        "expose --ev100 0 --ei 100 --aperture 7.745966692 --reciprocity table:{folder}/textbook-1994-400.csv"
    ));
    near(&answer["time_corrected_s"], 180.0, 1e-6);
}
