//! The command `bracket-curve` from outside.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use std::fmt::Write;
use std::fs;

fn run(table: &str, more: &[&str]) -> (i32, String, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bracket.csv");
    fs::write(&file, table).unwrap();
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .arg("bracket-curve")
        .arg(&file)
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

/// A straight line of gradient 0.6, invented: density = 0.3 + 0.6·(0.1·patch + log H).
fn line() -> String {
    let mut table = "frame,patch,exposure_stops,density\n".to_owned();
    for stops in [0, 1, 2] {
        for patch in 0..9 {
            let log_h = 0.1 * f64::from(patch) + f64::from(stops) * 2f64.log10();
            writeln!(table, "f{stops},p{patch},{stops},{:.3}", 0.3 + 0.6 * log_h).unwrap();
        }
    }
    table
}

#[test]
fn a_line_comes_back_with_its_gradient() {
    let (code, text, _) = run(&line(), &["--json"]);
    assert_eq!(code, 0);
    let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
    let points = answer["points"].as_array().unwrap();
    let of = |at: usize, key: &str| points[at][key].as_f64().unwrap();
    let last = points.len() - 1;
    let gradient = (of(last, "value") - of(0, "value")) / (of(last, "log_h") - of(0, "log_h"));
    assert!((gradient - 0.6).abs() < 0.006, "{gradient}");
    let (_, text, _) = run(&line(), &[]);
    assert!(text.contains("repeats every 1.00 stops"), "{text}");
    assert!(text.contains("no speed"), "{text}");
    let (_, csv, _) = run(&line(), &["--csv"]);
    assert!(csv.starts_with("log_h,density,log_h_sd\n"), "{csv}");
}

#[test]
fn odd_tables_are_refused_with_their_line() {
    let (code, _, text) = run("frame,patch,exposure_s,value\na,p,0,3\n", &[]);
    assert_eq!(code, 1);
    assert!(text.contains("line 2: the time 0 s"), "{text}");
    let (code, _, text) = run("frame,patch,exposure_s,value\na,p,1,3\na,q,2,3\n", &[]);
    assert_eq!(code, 1);
    assert!(text.contains("frame 'a' has the exposure 2"), "{text}");
    let (code, _, text) = run("frame,patch,exposure_s\n", &[]);
    assert_eq!(code, 1);
    assert!(text.contains("density or value"), "{text}");
}

#[test]
fn exposures_that_run_the_wrong_way_are_told() {
    let table = line()
        .replace(",0,", ",none,")
        .replace(",2,", ",0,")
        .replace(",none,", ",2,");
    let (code, _, err) = run(&table, &[]);
    assert_eq!(code, 1);
    assert!(err.contains("exposures run the wrong way"), "{err}");
}
