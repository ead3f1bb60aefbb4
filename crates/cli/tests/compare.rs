//! `filmproof compare` as a photographer meets it.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;

fn filmproof() -> Command {
    let mut command = Command::cargo_bin("filmproof").unwrap();
    command.arg("--quiet");
    command
}

#[test]
fn two_copies_of_a_test_show_no_difference() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["mine", "yours"] {
        filmproof()
            .arg("demo")
            .arg(dir.path().join(name))
            .assert()
            .success();
    }
    let run = |more: &[&str]| {
        let output = filmproof()
            .current_dir(dir.path())
            .args(["compare", "mine", "yours"])
            .args(more)
            .output()
            .unwrap();
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8(output.stdout).unwrap()
    };
    let text = run(&["--figure", "process.svg"]);
    assert!(text.starts_with("INVENTED DATA"), "{text}");
    assert!(
        text.contains("no difference shown; it is less than"),
        "{text}"
    );
    assert!(text.contains("Figure: process.svg"), "{text}");
    let svg = fs::read_to_string(dir.path().join("process.svg")).unwrap();
    assert!(svg.contains("every curve within the limits"), "{svg}");
    let json: Value = serde_json::from_str(&run(&["--json"])).unwrap();
    assert_eq!(json["compared"][0], "mine");
    for difference in json["differences"].as_array().unwrap() {
        // One and the same test twice: nothing lies between.
        assert_eq!(difference["stops"]["value"], 0.0);
        assert_eq!(difference["significant"], false);
    }
    assert_eq!(json["outside_reports"].as_array().unwrap().len(), 4);
}

#[test]
fn a_figure_needs_two_curves() {
    let dir = tempfile::tempdir().unwrap();
    filmproof()
        .arg("demo")
        .arg(dir.path().join("mine"))
        .assert()
        .success();
    let output = filmproof()
        .current_dir(dir.path())
        .args(["compare", "mine", "--figure", "process.svg"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    let message = String::from_utf8_lossy(&output.stderr);
    assert!(message.contains("no running plot"), "{message}");
    assert!(!dir.path().join("process.svg").exists());
    // No folder at all is a mistake of usage.
    let output = filmproof().arg("compare").output().unwrap();
    assert_eq!(output.status.code(), Some(2));
}
