//! The command as a photographer meets it: exit codes, messages, JSON keys.

#![expect(
    clippy::unwrap_used,
    reason = "a panic is the failure of a test; a skip is told loudly"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use testkit::{Depth, TiffForm, scan_from_codes};

fn filmproof() -> Command {
    let mut command = Command::cargo_bin("filmproof").unwrap();
    command.arg("--quiet");
    command
}

/// Runs a command that must succeed, and reads its JSON.
fn json_of(arguments: &[&str]) -> Value {
    let output = filmproof().args(arguments).output().unwrap();
    assert!(
        output.status.success(),
        "{arguments:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Runs a command that must be refused, and gives its message.
fn refusal_of(arguments: &[&str]) -> String {
    let output = filmproof().args(arguments).output().unwrap();
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{arguments:?}: {message}");
    assert!(output.stdout.is_empty(), "{arguments:?} printed an answer");
    assert!(
        !message.contains("panicked") && !message.contains("backtrace"),
        "{message}"
    );
    message
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("a number, found {value}"))
}

/// The worked example, once for all tests that change a copy of it.
fn demo_in(dir: &Path) -> std::path::PathBuf {
    let demo = dir.join("demo");
    filmproof().arg("demo").arg(&demo).assert().success();
    demo
}

#[test]
fn the_first_command_writes_evaluates_and_holds_the_truth() {
    let dir = tempfile::tempdir().unwrap();
    let output = filmproof()
        .current_dir(dir.path())
        .args(["evaluate", "demo"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}");
    assert!(
        said.contains("INVENTED DATA") && said.contains("Report: "),
        "{said}"
    );
    let results = dir.path().join("demo/results");
    let report = fs::read_to_string(results.join("report.html")).unwrap();
    assert!(report.contains("INVENTED DATA"));
    let findings: Value =
        serde_json::from_slice(&fs::read(results.join("findings.json")).unwrap()).unwrap();
    // Truth: written beside the example by the code that made its negatives,
    // which shares none with the estimate.
    let truth = fs::read_to_string(dir.path().join("demo/truth.csv")).unwrap();
    let mut checked = 0;
    for factor in findings["factors"].as_array().unwrap() {
        let (filter, light) = (
            factor["filter"].as_str().unwrap(),
            factor["light"].as_str().unwrap(),
        );
        let row = truth
            .lines()
            .find(|l| l.contains("factor") && l.contains(filter) && l.contains(light))
            .unwrap_or_else(|| panic!("no truth for {filter} in {light}:\n{truth}"));
        let stops: f64 = truth_in_stops(row);
        let (low, high) = (
            number(&factor["factor_stops"]["low"]),
            number(&factor["factor_stops"]["high"]),
        );
        assert!(
            low <= stops && stops <= high,
            "{filter} in {light}: {low} to {high} misses {stops}"
        );
        let ei = 80.0 / stops.exp2();
        let (low, high) = (number(&factor["ei"]["low"]), number(&factor["ei"]["high"]));
        // The example's film has its speed point at log H -2.0, so EI 80 (0.8/0.01).
        assert!(low <= ei && ei <= high, "EI {low} to {high} misses {ei}");
        checked += 1;
    }
    assert_eq!(checked, 3);
    // Again, over earlier results: replaced, not refused.
    filmproof()
        .current_dir(dir.path())
        .args(["evaluate", "demo"])
        .assert()
        .success();
}

#[test]
fn the_readme_shows_what_the_first_command_prints() {
    let readme = include_str!("../../../README.md");
    let shown = readme
        .split("```text\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    let dir = tempfile::tempdir().unwrap();
    let output = filmproof()
        .current_dir(dir.path())
        .args(["evaluate", "demo"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    // Columns may be wider in full, and lines are broken elsewhere.
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = words(&said);
    for part in shown.split('…').map(words).filter(|part| !part.is_empty()) {
        for line in part.split(" - ") {
            assert!(
                said.contains(line),
                "the README shows, and the command doesn't: {line}"
            );
        }
    }
}

/// The value of a truth row, which is a factor or already stops.
fn truth_in_stops(row: &str) -> f64 {
    let cells: Vec<&str> = row.split(',').collect();
    let value: f64 = cells[2].parse().unwrap();
    match cells[1] {
        "stops" => value,
        _ => value.log2(),
    }
}

/// Code values of a simulated linear 16-bit scanner with 0.15 % flare reading a
/// 21-step tablet, and the same in 8 bits with gamma 2.2.
/// Source: reference computation from v = k(T + f)/(1 + f), rounded to codes.
const TABLET_CODES_16: [u16; 21] = [
    53745, 38075, 26982, 19128, 13568, 9632, 6845, 4872, 3476, 2487, 1787, 1291, 941, 692, 516,
    392, 304, 242, 197, 166, 144,
];
const TABLET_CODES_8: [u16; 21] = [
    233, 199, 170, 146, 125, 107, 91, 78, 67, 58, 50, 43, 37, 32, 28, 25, 22, 20, 18, 17, 16,
];
/// Densities and their 16-bit codes in the same scan; the last is 0.14 off when
/// the code is taken for the transmittance.
const PATCHES_16: [(f64, u16); 5] = [
    (0.12, 45758),
    (0.47, 20489),
    (1.11, 4763),
    (1.62, 1534),
    (2.40, 330),
];

/// Writes a scan of codes, a tablet table and a table of patches.
fn scanner_case(dir: &Path, steps: &[u16], others: &[u16], depth: Depth) -> [String; 3] {
    let codes: Vec<u16> = steps.iter().chain(others).copied().collect();
    let scan = scan_from_codes(&codes, depth, TiffForm::default());
    fs::write(dir.join("scan.tif"), &scan.bytes).unwrap();
    let mut tablet = String::from("step,density,density_sd\n");
    for k in 0..steps.len() {
        tablet += &format!("{},{:.2},0.005\n", k + 1, 0.05 + 0.15 * k as f64);
    }
    let mut patches = String::from("name,x_px,y_px,width_px,height_px\n");
    for (i, outline) in scan.outlines.iter().enumerate() {
        let record::Outline::Rectangle {
            x,
            y,
            width,
            height,
        } = outline
        else {
            panic!("squares are rectangles");
        };
        let name = if i < steps.len() {
            format!("step-{}", i + 1)
        } else {
            format!("patch-{}", i - steps.len() + 1)
        };
        patches += &format!("{name},{x},{y},{width},{height}\n");
    }
    fs::write(dir.join("tablet.csv"), tablet).unwrap();
    fs::write(dir.join("patches.csv"), patches).unwrap();
    ["scan.tif", "tablet.csv", "patches.csv"].map(|f| text(&dir.join(f)).to_owned())
}

fn patch<'a>(answer: &'a Value, name: &str) -> &'a Value {
    answer["patches"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["name"] == name)
        .unwrap()
}

#[test]
fn a_tablet_in_the_scan_takes_scanner_flare_out() {
    let dir = tempfile::tempdir().unwrap();
    let others: Vec<u16> = PATCHES_16.iter().map(|(_, code)| *code).collect();
    let [scan, tablet, patches] =
        scanner_case(dir.path(), &TABLET_CODES_16, &others, Depth::Sixteen);
    let answer = json_of(&[
        "measure",
        &scan,
        "--tablet",
        &tablet,
        "--patches",
        &patches,
        "--json",
    ]);
    for (i, (density, _)) in PATCHES_16.iter().enumerate() {
        let found = number(&patch(&answer, &format!("patch-{}", i + 1))["density"]);
        // 0.01: the interpolation between steps 0.15 apart errs by under 0.002,
        // one code at 2.40 is 0.002.
        assert!((found - density).abs() < 0.01, "{density}: {found}");
    }
    assert!(number(&answer["calibration"]["residual_sd"]) < 0.01);
    assert_eq!(answer["scan"]["bits"], 16);
}

#[test]
fn a_scan_whose_codes_rise_with_density_keeps_its_sign() {
    let dir = tempfile::tempdir().unwrap();
    let inverted = TABLET_CODES_16.map(|code| 65535 - code);
    let others: Vec<u16> = PATCHES_16.iter().map(|(_, code)| 65535 - code).collect();
    let [scan, tablet, patches] = scanner_case(dir.path(), &inverted, &others, Depth::Sixteen);
    let answer = json_of(&[
        "measure",
        &scan,
        "--tablet",
        &tablet,
        "--patches",
        &patches,
        "--json",
    ]);
    for (i, (density, _)) in PATCHES_16.iter().enumerate() {
        let found = &patch(&answer, &format!("patch-{}", i + 1));
        assert!(
            (number(&found["density"]) - density).abs() < 0.01,
            "{found}"
        );
        assert!(
            found["flags"]
                .as_array()
                .unwrap()
                .contains(&"signal_reversed".into())
        );
    }
}

#[test]
fn eight_bits_grow_uncertain_in_the_dense_steps() {
    let dir = tempfile::tempdir().unwrap();
    // Codes of patches at 0.47 and 2.40: 255·(k(T + f)/(1 + f))^(1/2.2), rounded.
    let [scan, tablet, patches] =
        scanner_case(dir.path(), &TABLET_CODES_8, &[150, 23], Depth::Eight);
    let answer = json_of(&[
        "measure",
        &scan,
        "--tablet",
        &tablet,
        "--patches",
        &patches,
        "--json",
    ]);
    let (thin, dense) = (patch(&answer, "patch-1"), patch(&answer, "patch-2"));
    assert!((number(&thin["density"]) - 0.47).abs() < 0.02, "{thin}");
    // Half a code at D 2.4 is about 0.03.
    assert!((number(&dense["density"]) - 2.40).abs() < 0.08, "{dense}");
    assert!(
        number(&dense["density_sd"]) > 2.0 * number(&thin["density_sd"]),
        "{thin} {dense}"
    );
}

#[test]
fn without_a_tablet_no_density_is_given() {
    // Published case: a flatbed read as densitometer without calibration gave
    // .10 for .118 ("Measuring relative film density using a scanner"). One
    // ratio at one density is no calibration: the density is refused.
    let dir = tempfile::tempdir().unwrap();
    let scan = scan_from_codes(&[202, 230], Depth::Eight, TiffForm::default());
    let path = dir.path().join("flatbed.tif");
    fs::write(&path, &scan.bytes).unwrap();
    let answer = json_of(&["measure", text(&path), "--json"]);
    assert!(answer["patches"][0]["density"].is_null());
    assert!(answer["calibration"].is_null());
    let flags = answer["patches"][0]["flags"].as_array().unwrap();
    assert!(flags.contains(&"uncalibrated".into()));
    assert!(
        answer["scan"]["flags"]
            .as_array()
            .unwrap()
            .contains(&"unknown_tone".into())
    );
}

#[test]
fn an_exposure_is_worked_out_in_the_right_order() {
    // Source: reference computation of the chain meter, filter, bellows,
    // reciprocity: 0.25, 21.62, 23.84, 93.22 s, 8.54 stops over the meter.
    let answer = json_of(&[
        "expose",
        "--ev100",
        "12",
        "--ei",
        "200",
        "--aperture",
        "45.254834",
        "--factor",
        "86.49",
        "--magnification",
        "0.05",
        "--reciprocity",
        "power:1.43",
        "--json",
    ]);
    for (key, printed, half_unit) in [
        ("time_metered_s", 0.25, 1e-6),
        ("time_after_filter_s", 21.62, 0.005),
        ("time_after_bellows_s", 23.84, 0.005),
        ("time_corrected_s", 93.22, 0.05),
        ("stops_over_meter", 8.54, 0.005),
    ] {
        let found = number(&answer[key]);
        assert!((found - printed).abs() <= half_unit, "{key}: {found}");
    }
}

#[test]
fn a_reciprocity_table_is_read_and_not_left() {
    let dir = tempfile::tempdir().unwrap();
    let table = dir.path().join("law.csv");
    // Source: a maker's data sheet F-4016, page 5: 1 s as metered +1/3 stop left
    // out here, 10 s becomes 15 s, 100 s becomes 200 s.
    fs::write(&table, "t_metered_s,t_corrected_s\n1,1\n10,15\n100,200\n").unwrap();
    let law = format!("table:{}", text(&table));
    let base = [
        "expose",
        "--ev100",
        "3.678072",
        "--ei",
        "100",
        "--reciprocity",
        &law,
        "--json",
    ];
    // N² = t·2^EV: 10 s at EV 3.678 (2^EV = 12.8) is f/11.3137.
    let mut ten = base.to_vec();
    ten.extend(["--aperture", "11.313708"]);
    let found = number(&json_of(&ten)["time_corrected_s"]);
    assert!((found - 15.0).abs() < 0.01, "{found}");
    let mut beyond = base.to_vec();
    beyond.extend(["--aperture", "64"]);
    let message = refusal_of(&beyond);
    assert!(message.contains("100"), "{message}");
}

#[test]
fn curve_gives_every_criterion_with_its_unit() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("curve.csv");
    // Closed form D = .25 + .7·.18·ln(1 + e^((x + 1.95)/.18)) at a tablet's steps.
    let mut rows = String::from("log_h,density\n");
    for k in 0..21 {
        let x = 0.65 - 0.15 * f64::from(k);
        let d = 0.25 + 0.7 * 0.18 * (1.0 + ((x + 1.95) / 0.18_f64).exp()).ln();
        rows += &format!("{x:.4},{d:.6}\n");
    }
    fs::write(&file, rows).unwrap();
    let answer = json_of(&["curve", text(&file), "--json"]);
    // Source: reference computation from the closed form, root finding at 1e-14.
    for (key, expected) in [
        ("base_plus_fog_density", 0.25),
        ("speed_point_log_h", -1.915_472),
        ("fractional_gradient_log_h", -2.147_616),
        ("delta_x_log_h", -2.195_053),
        ("average_gradient_1_30", 0.641_727),
        ("average_gradient_1_50", 0.649_463),
        ("contrast_index_arcs", 0.659_235),
        ("contrast_index_chord", 0.654_688),
        ("gamma", 0.70),
    ] {
        let found = number(&answer[key]["value"]);
        // 0.01 is asked for; readings of six decimals allow more.
        assert!((found - expected).abs() < 1e-3, "{key}: {found}");
        assert!(number(&answer[key]["low"]) <= found && found <= number(&answer[key]["high"]));
    }
    assert!((number(&answer["iso_arithmetic_speed"]["value"]) - 65.85).abs() < 0.1);
    let figure = dir.path().join("curve.svg");
    filmproof()
        .args(["curve", text(&file), "--figure", text(&figure)])
        .assert()
        .success();
    assert!(
        fs::read_to_string(figure)
            .unwrap()
            .contains("log H (lux seconds)")
    );
}

#[test]
fn bad_folders_are_refused_with_a_remedy_and_write_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo_in(dir.path());
    let refused = |name: &str, spoil: &dyn Fn(&Path), wanted: &[&str]| {
        let copy = dir.path().join(name);
        copy_folder(&demo, &copy);
        spoil(&copy);
        let message = refusal_of(&["evaluate", text(&copy)]);
        for word in wanted {
            assert!(message.contains(word), "{name}: {message}");
        }
        assert!(!copy.join("results").exists(), "{name} left results behind");
    };
    let edit = |file: &'static str, change: fn(String) -> String| {
        move |dir: &Path| {
            let path = dir.join(file);
            let text = fs::read_to_string(&path).unwrap();
            let changed = change(text.clone());
            assert_ne!(text, changed, "the change must change something");
            fs::write(path, changed).unwrap();
        }
    };
    refused(
        "cut-in-half",
        &|dir| {
            let scan = dir.join("scans/sun-715-3.tif");
            let bytes = fs::read(&scan).unwrap();
            fs::write(&scan, &bytes[..bytes.len() / 2]).unwrap();
        },
        &["sun-715-3.tif", "cut short"],
    );
    refused(
        "scan-gone",
        &|dir| fs::remove_file(dir.join("scans/sun-715-3.tif")).unwrap(),
        &["sun-715-3.tif", "not there"],
    );
    refused(
        "tablet-gone",
        &edit("test.toml", |s| {
            let from = s.find("[[tablet]]").unwrap();
            let to = from + 5 + s[from + 5..].find("[[").unwrap();
            format!("{}{}", &s[..from], &s[to..])
        }),
        &["test.toml, line", "tablet", "not recorded"],
    );
    refused(
        "two-patches",
        &edit("patches.csv", |s| {
            let row = s
                .lines()
                .find(|l| l.starts_with("sun-") && l.contains("grey_card"))
                .unwrap()
                .to_owned();
            format!("{s}{row}\n")
        }),
        &["patches.csv, line", "two patches named"],
    );
    refused(
        "ei-zero",
        &edit("test.toml", |s| {
            let at = s.find("\nei = ").unwrap();
            let end = at + 1 + s[at + 1..].find('\n').unwrap();
            format!("{}\nei = 0{}", &s[..at], &s[end..])
        }),
        &["test.toml, line", "EI must be greater than 0"],
    );
    refused(
        "no-unit",
        &edit("test.toml", |s| {
            s.replacen("temperature_c", "temperature", 1)
        }),
        &["temperature_c"],
    );
    let empty = dir.path().join("empty");
    fs::create_dir(&empty).unwrap();
    let message = refusal_of(&["evaluate", text(&empty)]);
    assert!(message.contains("filmproof demo"), "{message}");
    let message = refusal_of(&["evaluate", text(&dir.path().join("nowhere"))]);
    assert!(message.contains("nowhere"), "{message}");
    // A folder with something else in it is never replaced by results.
    let precious = dir.path().join("precious");
    fs::create_dir(&precious).unwrap();
    fs::write(precious.join("letter.txt"), "keep").unwrap();
    let message = refusal_of(&["evaluate", text(&demo), "--out", text(&precious)]);
    assert!(
        message.contains("letter.txt is no part of earlier results"),
        "{message}"
    );
    assert_eq!(
        fs::read_to_string(precious.join("letter.txt")).unwrap(),
        "keep"
    );
}

/// A folder of one anchor of a density, and two blanks behind a filter.
fn blank_behind_the_filter(dir: &Path, anchor: f64) -> PathBuf {
    let folder = dir.join("blank");
    fs::create_dir(&folder).unwrap();
    fs::write(
        folder.join("test.toml"),
        r#"format = 1
title = "Blank behind the filter"
invented = true
[[film]]
id = "film"
name = "Testfilm"
box_speed = 100
[[filter]]
id = "760"
name = "R-760"
[[light]]
id = "sun"
sky = "clear_sun"
ev100 = 15
[[process]]
id = "dev"
developer = "Developer D"
[[frame]]
id = "anchor"
film = "film"
process = "dev"
role = "anchor"
light = "sun"
aperture_f = 16
time_marked_s = "1/125"
[[frame]]
id = "b1"
film = "film"
filters = ["760"]
process = "dev"
role = "bracket"
light = "sun"
aperture_f = 16
time_marked_s = "1/2"
[[frame]]
id = "b2"
film = "film"
filters = ["760"]
process = "dev"
role = "bracket"
light = "sun"
aperture_f = 16
time_marked_s = 1
[[frame]]
id = "clear"
film = "film"
process = "dev"
role = "unexposed"
"#,
    )
    .unwrap();
    fs::write(
        folder.join("patches.csv"),
        "frame,patch,role\nanchor,card,grey_card\nb1,card,grey_card\nb2,card,grey_card\nclear,base,base_fog\n",
    )
    .unwrap();
    fs::write(
        folder.join("readings.csv"),
        format!("frame,patch,density,density_sd\nanchor,card,{anchor},0.01\nb1,card,0.15,0.01\nb2,card,0.16,0.01\nclear,base,0.15,0.01\n"),
    )
    .unwrap();
    folder
}

#[test]
fn a_test_of_blanks_alone_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let folder = blank_behind_the_filter(dir.path(), 0.16);
    let message = refusal_of(&["evaluate", text(&folder)]);
    assert!(
        message.contains("every picture is blank (1 of 3 without a filter)"),
        "{message}"
    );
    assert!(message.contains("expose an unfiltered anchor"), "{message}");
    assert!(!folder.join("results").exists());
}

#[test]
fn a_blank_anchor_bounds_nothing_in_its_light() {
    let dir = tempfile::tempdir().unwrap();
    let folder = blank_behind_the_filter(dir.path(), 0.16);
    // A second light, in which the anchor came out.
    let record = fs::read_to_string(folder.join("test.toml")).unwrap();
    let other = r#"
[[light]]
id = "cloud"
sky = "overcast"
ev100 = 12
[[frame]]
id = "cloud-anchor"
film = "film"
process = "dev"
role = "anchor"
light = "cloud"
aperture_f = 16
time_marked_s = "1/15"
"#;
    fs::write(folder.join("test.toml"), record + other).unwrap();
    for (file, row) in [
        ("patches.csv", "cloud-anchor,card,grey_card\n"),
        ("readings.csv", "cloud-anchor,card,0.80,0.01\n"),
    ] {
        let rows = fs::read_to_string(folder.join(file)).unwrap();
        fs::write(folder.join(file), rows + row).unwrap();
    }
    let answer = json_of(&["evaluate", text(&folder), "--json"]);
    assert_eq!(answer["factors"].as_array().unwrap().len(), 0);
    let told = answer["cannot_tell"].to_string();
    assert!(
        told.contains("the unfiltered frames are blank too"),
        "{told}"
    );
}

#[test]
fn blanks_behind_the_filter_give_a_bound_and_say_what_would_settle_it() {
    let dir = tempfile::tempdir().unwrap();
    let folder = blank_behind_the_filter(dir.path(), 0.82);
    let answer = json_of(&["evaluate", text(&folder), "--json"]);
    let factor = &answer["factors"][0];
    assert_eq!(factor["bound"], "at_least");
    assert!(factor["factor"]["high"].is_null());
    // b2 got 125 times the anchor's exposure, 7.0 stops, and is blank where the
    // anchor's card is 0.67 net: the card needs about 2.6 stops less than the
    // anchor to be lost, so the factor is at least 9 stops or so.
    let low = number(&factor["factor_stops"]["low"]);
    assert!((7.0..11.0).contains(&low), "{low}");
    assert!(factor["ei"]["low"].is_null() && !factor["ei"]["high"].is_null());
    for frame in ["b1", "b2"] {
        let frames = answer["frames"].as_array().unwrap();
        let found = frames.iter().find(|f| f["name"] == frame).unwrap();
        assert_eq!(found["verdict"], "blank");
    }
    let told = answer["cannot_tell"].to_string();
    assert!(told.contains("one more sheet"), "{told}");
}

#[test]
fn hostile_and_unreadable_scans_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = dir.path().join(name);
        fs::write(&path, bytes).unwrap();
        text(&path).to_owned()
    };
    // A header that claims 32768 × 16384 samples of 16 bits, 1 GiB, in 200 bytes.
    let mut bomb = b"II*\0\x08\0\0\0".to_vec();
    let entries: [(u16, u16, u32, u32); 9] = [
        (256, 4, 1, 32768),
        (257, 4, 1, 16384),
        (258, 3, 1, 16),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 122),
        (277, 3, 1, 1),
        (278, 4, 1, 16384),
        (279, 4, 1, 1 << 30),
    ];
    bomb.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        bomb.extend(tag.to_le_bytes());
        bomb.extend(kind.to_le_bytes());
        bomb.extend(count.to_le_bytes());
        bomb.extend(value.to_le_bytes());
    }
    bomb.extend([0; 82]);
    let message = refusal_of(&["measure", &file("bomb.tif", &bomb)]);
    assert!(message.contains("bomb.tif"), "{message}");
    let message = refusal_of(&["measure", &file("notes.tif", b"these are my notes")]);
    assert!(message.contains("not a TIFF, PNG or JPEG"), "{message}");
    let message = refusal_of(&["measure", &file("nothing.tif", b"")]);
    assert!(message.contains("nothing.tif"), "{message}");
}

#[test]
fn contact_printing_times_are_densities_over_blank_film() {
    // Published case ("Negative density by contact printing"): blank film matches
    // at 10 s; 13 s, 12.6 s and 20 s are densities of 0.114, 0.100 and 0.301.
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("contact");
    fs::create_dir(&folder).unwrap();
    fs::write(
        folder.join("test.toml"),
        r#"format = 1
title = "Densities by contact printing"
[[film]]
id = "film"
name = "Testfilm"
[[process]]
id = "dev"
developer = "Developer D"
[[frame]]
id = "zone-1"
film = "film"
process = "dev"
role = "bracket"
log_h_relative = 0.0
log_h_relative_sd = 0.01
[[frame]]
id = "zone-2"
film = "film"
process = "dev"
role = "bracket"
log_h_relative = 0.301
log_h_relative_sd = 0.01
[[frame]]
id = "blank"
film = "film"
process = "dev"
role = "unexposed"
"#,
    )
    .unwrap();
    fs::write(
        folder.join("patches.csv"),
        "frame,patch,role\nzone-1,card,grey_card\nzone-2,card,grey_card\nblank,clear,base_fog\n",
    )
    .unwrap();
    let row = |frame: &str, patch: &str, seconds: f64| {
        format!(
            "{frame},{patch},{:.4},0.02,contact_print\n",
            (seconds / 10.0_f64).log10()
        )
    };
    fs::write(
        folder.join("readings.csv"),
        format!(
            "frame,patch,density,density_sd,origin\n{}{}{}",
            row("zone-1", "card", 13.0),
            row("zone-2", "card", 20.0),
            row("blank", "clear", 10.0)
        ),
    )
    .unwrap();
    let answer = json_of(&["evaluate", text(&folder), "--json"]);
    let net = |frame: &str| {
        let frames = answer["frames"].as_array().unwrap();
        let found = frames.iter().find(|f| f["name"] == frame).unwrap();
        number(&found["patches"][0]["net_density"])
    };
    // 0.02: the base+fog of the fit may move within its own reading's uncertainty.
    assert!((net("zone-1") - 0.114).abs() < 0.02, "{}", net("zone-1"));
    assert!((net("zone-2") - 0.301).abs() < 0.02, "{}", net("zone-2"));
}

#[test]
fn usage_errors_are_told_apart_from_bad_input() {
    let output = filmproof()
        .args(["expose", "--ei", "100"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let output = filmproof().arg("schema").output().unwrap();
    assert!(output.status.success());
    let schema: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(schema["properties"]["film"].is_object(), "{schema}");
    filmproof().args(["completions", "bash"]).assert().success();
}

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy_folder(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn every_command_ends_its_help_with_an_example() {
    let output = filmproof().arg("--help").output().unwrap();
    let help = String::from_utf8(output.stdout).unwrap();
    let commands: Vec<String> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next().map(str::to_owned))
        .filter(|name| name != "help")
        .collect();
    assert!(commands.len() >= 7, "{commands:?}");
    for command in commands {
        for flag in ["-h", "--help"] {
            let output = filmproof().args([&command, flag]).output().unwrap();
            let help = String::from_utf8(output.stdout).unwrap();
            let last = help.trim_end().rsplit("\n\n").next().unwrap();
            let one = format!("Example: filmproof {command}");
            let several = format!("Examples:\n  filmproof {command}");
            assert!(
                last.starts_with(&one) || last.starts_with(&several),
                "{command} {flag}: {last}"
            );
        }
    }
}

#[test]
fn an_exposure_comes_with_the_nearest_marks() {
    let base = [
        "expose", "--ev100", "12", "--ei", "200", "--factor", "86.49",
    ];
    let with = |more: &[&str]| {
        let all: Vec<&str> = base.iter().chain(more).copied().collect();
        json_of(&all)
    };
    // Hand calculation: 45.254834² × 100/(4096 × 200) = 0.25 s, times 86.49 is 21.62 s; the
    // nearest counted time is 20 s, lg2(20/21.6225) = -0.1125 stop. That asks for an aperture
    // 0.1125 stop wider than f/45.25, 43.52; the mark f/45 is exactly 45.25.
    let answer = with(&["--aperture", "45.254834", "--json"]);
    assert_eq!(answer["shutter_mark"], "20 s");
    assert!((number(&answer["shutter_mark_s"]) - 20.0).abs() < 1e-12);
    assert!((number(&answer["shutter_residual_stops"]) + 0.1125).abs() < 1e-4);
    assert_eq!(answer["aperture_at_mark"], "f/45");
    assert!((number(&answer["aperture_wanted_at_mark_f"]) - 43.524).abs() < 1e-3);
    assert!((number(&answer["aperture_residual_stops"]) + 0.1125).abs() < 1e-4);
    assert!((number(&answer["time_corrected_s"]) - 21.6225).abs() < 1e-6);
    // Beyond a second without a law: one sentence, not two that contradict each other.
    let output = filmproof()
        .args(base)
        .args(["--aperture", "45.254834"])
        .output()
        .unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("nearest marks: 20 s at f/45 (0.11 stops too little)"),
        "{said}"
    );
    assert!(!said.contains("loses no speed at this time"), "{said}");
    assert_eq!(said.matches("lose").count(), 1, "{said}");
}

#[test]
fn impossible_numbers_of_an_exposure_are_refused_by_name() {
    let base = ["expose", "--ev100", "12", "--reciprocity", "power:1.31"];
    let refused = |more: &[&str]| {
        let all: Vec<&str> = base.iter().chain(more).copied().collect();
        refusal_of(&all)
    };
    for (more, word) in [
        (
            ["--ei", "-100", "--aperture", "8"].as_slice(),
            "EI must be greater than 0",
        ),
        (
            &["--ei", "100", "--aperture", "-8"],
            "greater than 0, found -8",
        ),
        (
            &["--ei", "100", "--aperture", "8", "--factor", "-1"],
            "filter factor must be greater than 0",
        ),
        (
            &["--ei", "100", "--aperture", "8", "--magnification", "-1"],
            "found -1",
        ),
    ] {
        let message = refused(more);
        assert!(message.contains(word), "{message}");
    }
    let message = refused(&["--ei", "1e308", "--aperture", "1e308"]);
    assert!(!message.contains("law"), "{message}");
    let message = refusal_of(&[
        "expose",
        "--ev100",
        "1",
        "--ei",
        "100",
        "--aperture",
        "8",
        "--reciprocity",
        "best",
    ]);
    for form in [
        "power:",
        "additive:",
        "schwarzschild:",
        "fit:",
        "points:",
        "table:",
    ] {
        assert!(message.contains(form), "{message}");
    }
}

/// Writes a CSV file of a curve.
fn curve_file(dir: &Path, name: &str, content: &str) -> String {
    let file = dir.join(name);
    fs::write(&file, content).unwrap();
    text(&file).to_owned()
}

#[test]
fn a_straight_line_gives_limits_and_asks_for_base_plus_fog() {
    let dir = tempfile::tempdir().unwrap();
    // D = 0.15 + 0.25·ln(1 + e^(2.6 x)) from log H 0.30 on: base+fog 0.15, lowest reading 0.439.
    let mut rows = String::from("log_h,density\n");
    for k in 3..=12 {
        let x = 0.1 * f64::from(k);
        rows += &format!("{x:.2},{:.3}\n", 0.15 + 0.25 * (2.6 * x).exp().ln_1p());
    }
    let file = curve_file(dir.path(), "line.csv", &rows);
    let answer = json_of(&["curve", &file, "--json"]);
    let base = &answer["base_plus_fog_density"];
    assert!(base["value"].is_null() && base["low"].is_null());
    assert!((number(&base["high"]) - 0.439).abs() < 1e-9);
    assert!(
        base["flags"]
            .as_array()
            .unwrap()
            .contains(&"base_from_lowest_reading".into())
    );
    assert!(answer["density_range"]["high"].is_null());
    assert!(number(&answer["density_range"]["low"]) > 0.49);
    for key in [
        "speed_point_log_h",
        "iso_arithmetic_speed",
        "average_gradient_1_30",
    ] {
        assert!(answer[key].is_null(), "{key}: {}", answer[key]);
        let why = answer["missing"][key].as_str().unwrap();
        assert!(why.contains("--base-plus-fog"), "{key}: {why}");
    }
    let output = filmproof().args(["curve", &file]).output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("at most 0.44") && said.contains("at least 0.50"),
        "{said}"
    );
    assert!(said.contains("± is one standard deviation"), "{said}");
    let given = json_of(&["curve", &file, "--base-plus-fog", "0.15", "--json"]);
    assert!(given["base_plus_fog_density"]["value"].is_number());
    assert!(given["iso_arithmetic_speed"]["value"].is_number());
}

#[test]
fn a_curve_of_twenty_thousand_rows_ends_soon() {
    let dir = tempfile::tempdir().unwrap();
    let mut rows = String::from("log_h,density\n");
    for k in 0..20_000 {
        let x = 0.65 - 3.0 * f64::from(k) / 19_999.0;
        // A fixed wobble of 0.005 stands for noise.
        let wobble = 0.005 * (f64::from(k) * 12.9898).sin();
        let d = 0.25 + 0.7 * 0.18 * (1.0 + ((x + 1.95) / 0.18_f64).exp()).ln() + wobble;
        rows += &format!("{x:.6},{d:.5}\n");
    }
    let file = curve_file(dir.path(), "many.csv", &rows);
    let begun = std::time::Instant::now();
    let answer = json_of(&["curve", &file, "--json"]);
    // A quarter of a second when optimised; before, more than a hundred.
    assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
    // Source: reference computation from the closed form, m at -1.915472. 0.005: the wobble
    // averages out over 100 readings of a stretch, and the mean over a stretch errs by 1e-5.
    let m = number(&answer["speed_point_log_h"]["value"]);
    assert!((m + 1.915_472).abs() < 0.005, "{m}");
    assert_eq!(answer["readings"].as_array().unwrap().len(), 20_000);
}

#[test]
fn odd_cells_and_line_ends_of_a_curve_are_told_or_read() {
    let dir = tempfile::tempdir().unwrap();
    let good = "log_h,density\n-2.6,0.26\n-2.2,0.28\n-1.8,0.40\n-1.4,0.64\n-1.0,0.92\n-0.6,1.20\n";
    let plain = json_of(&["curve", &curve_file(dir.path(), "lf.csv", good), "--json"]);
    let old_mac = curve_file(dir.path(), "cr.csv", &good.replace('\n', "\r"));
    assert_eq!(json_of(&["curve", &old_mac, "--json"]), plain);
    let far = curve_file(dir.path(), "far.csv", &good.replace("-0.6,", "1200,"));
    let message = refusal_of(&["curve", &far]);
    assert!(
        message.contains("far.csv, line 7") && message.contains("from -10 to 10"),
        "{message}"
    );
    let exact = "log_h,density,density_sd\n-2.6,0.26,0.01\n-2.2,0.28,0\n";
    let message = refusal_of(&["curve", &curve_file(dir.path(), "sd.csv", exact)]);
    assert!(
        message.contains("sd.csv, line 3") && message.contains("greater than 0"),
        "{message}"
    );
}

#[test]
fn measure_names_what_was_asked_for_and_reads_the_steps() {
    let dir = tempfile::tempdir().unwrap();
    let [scan, tablet, patches] =
        scanner_case(dir.path(), &TABLET_CODES_16, &[20489], Depth::Sixteen);
    let arguments = ["measure", &scan, "--tablet", &tablet, "--patches", &patches];
    let answer = json_of(&[&arguments[..], &["--json", "--tone", "linear"]].concat());
    assert!(
        answer["scan"]["tone"]
            .as_str()
            .unwrap()
            .ends_with("by --tone")
    );
    let step = patch(&answer, "step-7");
    assert_eq!(step["tablet_step"], 7);
    assert!((number(&step["table_density"]) - 0.95).abs() < 1e-9);
    // 0.01: as for the patches of this scan, and it is no echo of the table.
    let read = number(&step["density_left_out"]);
    assert!(
        (read - 0.95).abs() < 0.01 && (read - 0.95).abs() > 1e-9,
        "{read}"
    );
    assert!(patch(&answer, "step-1")["density_left_out"].is_null());
    assert!(patch(&answer, "patch-1")["tablet_step"].is_null());
    let output = filmproof().args(arguments).output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("tablet step 7: 0.950 by its table, ")
            && said.contains("the other steps read it"),
        "{said}"
    );
    assert!(!said.lines().next().unwrap().contains("record"), "{said}");

    let folder = refusal_of(&["measure", text(dir.path())]);
    assert!(
        folder.contains("is a folder") && folder.contains("evaluate"),
        "{folder}"
    );
    let channel = refusal_of(&["measure", &scan, "--channel", "red"]);
    assert!(
        channel.contains("--channel") && !channel.contains("save the scan"),
        "{channel}"
    );
    let page = refusal_of(&["measure", &scan, "--page", "3"]);
    assert!(
        page.contains("--page") && !page.contains("save the scan"),
        "{page}"
    );
    let tone = refusal_of(&["measure", &scan, "--tone", "-1"]);
    assert!(tone.contains("gamma"), "{tone}");
}
