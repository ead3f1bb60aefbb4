//! From plan to card to record, on the command line.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use assert_cmd::Command;
use std::path::{Path, PathBuf};

fn filmproof(arguments: &[&Path]) -> assert_cmd::assert::Assert {
    Command::cargo_bin("filmproof")
        .unwrap()
        .args(arguments)
        .assert()
}

fn example(dir: &Path) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/planned-test");
    let to = dir.join("test");
    std::fs::create_dir(&to).unwrap();
    for name in ["test.toml", "plan.toml"] {
        std::fs::copy(from.join(name), to.join(name)).unwrap();
    }
    to
}

fn told(assert: assert_cmd::assert::Assert) -> String {
    let output = assert.get_output();
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[test]
fn a_plan_goes_out_as_a_card_and_comes_back_as_frames() {
    let dir = tempfile::tempdir().unwrap();
    let test = example(dir.path());
    let error = told(filmproof(&["evaluate".as_ref(), &test]).code(1));
    assert!(error.contains("nothing has been exposed yet"), "{error}");
    let card = told(filmproof(&["card".as_ref(), &test]).success());
    assert!(card.contains("field-card.html: for a phone"), "{card}");
    assert!(
        !card.contains("note:"),
        "the example's plan is sound: {card}"
    );
    for name in [
        "field-card.html",
        "field-sheet.html",
        "field-cards-3x5.html",
    ] {
        assert!(test.join("card").join(name).is_file(), "{name}");
    }
    // A log that is filled in is not overwritten by the next card.
    let log = test.join("card/field-log.csv");
    let text = std::fs::read_to_string(&log).unwrap();
    let hash: String = text
        .lines()
        .nth(2)
        .unwrap()
        .split(',')
        .nth(1)
        .unwrap()
        .to_owned();
    let filled = text.replace(&format!("anchor,{hash},,"), &format!("anchor,{hash},x,"));
    assert_ne!(filled, text);
    std::fs::write(&log, &filled).unwrap();
    let again = told(filmproof(&["card".as_ref(), &test]).success());
    assert!(again.contains("was left as it is"), "{again}");
    assert_eq!(std::fs::read_to_string(&log).unwrap(), filled);
    let done = told(filmproof(&["import".as_ref(), &test, &log]).success());
    assert!(done.contains("Recorded as exposed: anchor"), "{done}");
    let done = told(filmproof(&["import".as_ref(), &test, &log, "--json".as_ref()]).success());
    assert!(
        done.contains("\"unchanged\": [\n    \"anchor\"\n  ]"),
        "{done}"
    );
    let card = told(filmproof(&["card".as_ref(), &test]).success());
    assert!(card.contains("frame anchor is exposed already"), "{card}");
}

/// By hand: the example's EV 14.7 is 2.5 · 2^14.7 lx by C = 250, 2^14.7 / 8 cd/m² by K = 12.5.
#[test]
fn a_light_read_in_lux_or_luminance_makes_the_same_card() {
    let light = 14.7_f64.exp2();
    for reading in [
        format!("illuminance_lux = {}", 2.5 * light),
        format!("luminance_cd_per_m2 = {}", light / 8.0),
    ] {
        let dir = tempfile::tempdir().unwrap();
        let test = example(dir.path());
        let record = test.join("test.toml");
        let text = std::fs::read_to_string(&record).unwrap();
        assert!(text.contains("ev100 = 14.7"));
        std::fs::write(&record, text.replace("ev100 = 14.7", &reading)).unwrap();
        let told = told(filmproof(&["card".as_ref(), &test]).success());
        // The plan states its times; a reading that gave others would be told.
        assert!(!told.contains("note:"), "{told}");
        let page = std::fs::read_to_string(test.join("card/field-card.html")).unwrap();
        let at = page.find("\"ev100\":").unwrap() + "\"ev100\":".len();
        let ev: f64 = page[at..]
            .split([',', '}'])
            .next()
            .unwrap()
            .parse()
            .unwrap();
        assert!((ev - 14.7).abs() < 1e-9, "{ev}");
    }
}

#[test]
fn a_folder_without_a_plan_has_no_card() {
    let dir = tempfile::tempdir().unwrap();
    let test = example(dir.path());
    std::fs::remove_file(test.join("plan.toml")).unwrap();
    let error = told(filmproof(&["card".as_ref(), &test]).code(1));
    assert!(error.contains("the folder holds no plan.toml"), "{error}");
    assert!(!test.join("card").exists());
}

#[test]
fn what_plan_and_reading_say_differently_is_told_on_the_card() {
    let dir = tempfile::tempdir().unwrap();
    let test = example(dir.path());
    let plan = test.join("plan.toml");
    // By hand: 45²·100/(2^14.7·3) = 2.54 s, to the power 1.31 is 3.38 s.
    let text = std::fs::read_to_string(&plan).unwrap();
    assert!(
        text.contains("time_metered_s = 2.536\ntime_corrected_s = 3.384"),
        "{text}"
    );
    std::fs::write(
        &plan,
        text.replace("time_metered_s = 2.536", "time_metered_s = 5.5"),
    )
    .unwrap();
    let card = told(filmproof(&["card".as_ref(), &test]).success());
    assert!(
        card.contains("frame ei-3: the plan states 5.5 s metered, reading and EI give 2.54 s"),
        "{card}"
    );
}
