//! Tests into a notebook and out of it, on the command line.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn filmproof(dir: &Path, arguments: &[&str]) -> assert_cmd::assert::Assert {
    Command::cargo_bin("filmproof")
        .unwrap()
        .current_dir(dir)
        .args(arguments)
        .assert()
}

fn json(assert: assert_cmd::assert::Assert) -> Value {
    serde_json::from_slice(&assert.success().get_output().stdout).unwrap()
}

fn error(assert: assert_cmd::assert::Assert) -> String {
    String::from_utf8(assert.get_output().stderr.clone()).unwrap()
}

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../examples")
        .join(name)
}

const NOTEBOOK: [&str; 2] = ["--notebook", "n.sqlite"];

fn imported(dir: &Path) -> Value {
    let from = example("planned-test");
    let [option, file] = NOTEBOOK;
    json(filmproof(
        dir,
        &[
            "import",
            from.to_str().unwrap(),
            option,
            file,
            "--by",
            "A. Tester",
            "--json",
        ],
    ))
}

#[test]
fn a_folder_goes_into_a_notebook_and_comes_out_as_bundle_and_folder() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path();
    let added = imported(dir);
    assert_eq!(
        (&added["test"], &added["stage"]),
        (&1.into(), &"planned".into())
    );
    let [option, file] = NOTEBOOK;
    filmproof(dir, &["export", "1", "t.zip", option, file]).success();
    filmproof(dir, &["export", "1", "folder", option, file]).success();
    filmproof(dir, &["import", "t.zip", "--into", "unpacked"]).success();
    for name in ["test.toml", "plan.toml"] {
        let own = fs::read(example("planned-test").join(name)).unwrap();
        assert_eq!(fs::read(dir.join("folder").join(name)).unwrap(), own);
        assert_eq!(fs::read(dir.join("unpacked").join(name)).unwrap(), own);
    }
    // From the folder itself comes the same bundle.
    filmproof(dir, &["export", "unpacked", "second.zip"]).success();
    assert_eq!(
        fs::read(dir.join("t.zip")).unwrap(),
        fs::read(dir.join("second.zip")).unwrap()
    );
    let second = json(filmproof(dir, &["import", "t.zip", option, file, "--json"]));
    assert_eq!(second["test"], 2);
    assert_eq!(second["same_as"], serde_json::json!([1]));
    let listed = json(filmproof(dir, &["notebook", file, "--json"]));
    assert_eq!(listed["tests"].as_array().unwrap().len(), 2);
    let title = listed["tests"][0]["title"].as_str().unwrap();
    let word = title.split_whitespace().next().unwrap();
    let found = json(filmproof(
        dir,
        &["notebook", file, "--search", word, "--json"],
    ));
    assert!(found["found"].as_array().unwrap().len() >= 2, "{found}");
    filmproof(dir, &["notebook", file, "--put-away", "2"]).success();
    let listed = json(filmproof(dir, &["notebook", file, "--json"]));
    assert_eq!(listed["tests"].as_array().unwrap().len(), 1);
    assert_eq!(
        json(filmproof(dir, &["notebook", file, "--check", "--json"]))["sound"],
        true
    );
}

#[test]
fn a_field_log_goes_into_a_test_of_the_notebook() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path();
    imported(dir);
    let [option, file] = NOTEBOOK;
    filmproof(dir, &["export", "1", "folder", option, file]).success();
    filmproof(dir, &["card", "folder"]).success();
    let text = fs::read_to_string(dir.join("folder/card/field-log.csv")).unwrap();
    let hash = text.lines().nth(2).unwrap().split(',').nth(1).unwrap();
    let filled = text.replace(&format!("anchor,{hash},,"), &format!("anchor,{hash},x,"));
    assert_ne!(filled, text);
    fs::write(dir.join("log.csv"), filled).unwrap();
    let log = [
        "import",
        "1",
        "log.csv",
        option,
        file,
        "--by",
        "B. Tester",
        "--json",
    ];
    assert_eq!(
        json(filmproof(dir, &log))["added"],
        serde_json::json!(["anchor"])
    );
    let history = json(filmproof(
        dir,
        &["notebook", file, "--history", "1", "--json"],
    ));
    let last = &history["revisions"][1];
    assert_eq!(
        (&last["by"], &last["what"]),
        (&"B. Tester".into(), &"field log imported".into())
    );
    let words = last["differences"].to_string();
    assert!(words.contains("frame anchor: added"), "{words}");
    // The same log again changes nothing, and is no revision.
    assert_eq!(
        json(filmproof(dir, &log))["unchanged"],
        serde_json::json!(["anchor"])
    );
    let again = json(filmproof(
        dir,
        &["notebook", file, "--history", "1", "--json"],
    ));
    assert_eq!(again, history);
    // As it was before, it is still there.
    filmproof(
        dir,
        &["export", "1", "before", option, file, "--revision", "1"],
    )
    .success();
    assert!(
        !fs::read_to_string(dir.join("before/test.toml"))
            .unwrap()
            .contains("field log")
    );
}

#[test]
fn a_test_of_the_notebook_is_evaluated_by_its_number() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path();
    filmproof(dir, &["demo", "demo"]).success();
    let [option, file] = NOTEBOOK;
    filmproof(dir, &["import", "demo", option, file]).success();
    let kept = json(filmproof(
        dir,
        &[
            "evaluate",
            "1",
            option,
            file,
            "--no-date",
            "--out",
            "out",
            "--json",
        ],
    ));
    let own = json(filmproof(dir, &["evaluate", "demo", "--no-date", "--json"]));
    assert_eq!(kept, own);
    for name in ["findings.json", "readings.csv"] {
        let read = |place: &str| fs::read(dir.join(place).join(name)).unwrap();
        assert_eq!(read("out"), read("demo/results"), "{name}");
    }
    assert!(dir.join("out/report.html").is_file());
}

#[test]
fn a_name_that_could_steer_the_terminal_is_shown_harmless() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path();
    fs::create_dir(dir.join("theirs")).unwrap();
    let record = "format = 1\ntitle = \"Red\\u001b[31m and \\u009b2J\"\n";
    fs::write(dir.join("theirs/test.toml"), record).unwrap();
    let [option, file] = NOTEBOOK;
    let commands: [&[&str]; 4] = [
        &["import", "theirs", option, file],
        &["notebook", file],
        &["notebook", file, "--search", "red"],
        &["notebook", file, "--json"],
    ];
    for arguments in commands {
        let assert = filmproof(dir, arguments).success();
        let told = String::from_utf8(assert.get_output().stdout.clone()).unwrap();
        assert!(told.contains("Red"), "{told:?}");
        let steers = told.chars().any(|c| c.is_control() && c != '\n');
        assert!(!steers, "{told:?}");
    }
    let listed = json(filmproof(dir, &["notebook", file, "--json"]));
    assert_eq!(listed["tests"][0]["title"], "Red\u{1b}[31m and \u{9b}2J");
}

#[test]
fn what_cant_be_done_is_told_with_a_remedy() {
    let scratch = tempfile::tempdir().unwrap();
    let dir = scratch.path();
    imported(dir);
    let [option, file] = NOTEBOOK;
    fs::write(dir.join("no.zip"), "no zip").unwrap();
    let cases: [(&[&str], i32, &str); 10] = [
        (
            &["import", "folder"],
            1,
            "nothing says what to import where",
        ),
        (&["import", "no.zip", option, file], 1, "this is no bundle"),
        (&["import", "no.zip", "--into", "x"], 1, "this is no bundle"),
        (&["import", "none", option, file], 1, "none"),
        (&["import", "9", "log.csv", option, file], 1, "no test 9"),
        (&["export", "9", "x.zip", option, file], 1, "no test 9"),
        (
            &["export", "first", "x.zip", option, file],
            1,
            "no number of a test",
        ),
        (
            &["export", "1", "x", option, "none.sqlite"],
            1,
            "is not there",
        ),
        (&["notebook", "no.zip"], 1, "no notebook"),
        (
            &["notebook", file, "--check", "--away"],
            2,
            "cannot be used with",
        ),
    ];
    for (arguments, code, words) in cases {
        let told = error(filmproof(dir, arguments).code(code));
        assert!(told.contains(words), "{arguments:?}: {told}");
    }
    assert!(!dir.join("x").exists() && !dir.join("x.zip").exists());
    assert!(
        !dir.join("none.sqlite").exists(),
        "looking begins no notebook"
    );
}
