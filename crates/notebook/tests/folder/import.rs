//! A field log into the record: from a phone, from paper, refused, twice.

use crate::plan::write_unexposed;
use notebook::{field_log_csv, import_field_log, plan_hash, read_planned_folder, read_test_folder};
use record::Exposure;
use serde_json::{Value, json};
use std::path::Path;

fn hash(dir: &Path) -> String {
    plan_hash(read_planned_folder(dir).unwrap().test.planned())
}

/// A PNG's first bytes, enough to be kept as one.
const SKETCH: &str = "data:image/png;base64,iVBORw0KGgo=";

fn log(dir: &Path) -> Value {
    json!({
        "format": "filmproof field log", "version": 1, "plan_sha256": hash(dir),
        "test": "t", "exported_at": "2026-06-21T13:00:00+02:00",
        "frames": [
            { "frame": "p1", "exposed": true, "exposed_at": "2026-06-21T12:31:05+02:00",
              "time_marked_s": 0.008, "ev100": 14.5, "remarks": "wind, \"gusts\" <b> # =" },
            { "frame": "p2", "exposed": true, "holder": "9B", "load": 2, "aperture_f": 45,
              "time_marked_s": 3.5, "time_actual_s": 3.62, "ev100": 13.2, "sky": "thin_cloud" },
            { "frame": "p3", "exposed": false, "remarks": "forgot it" },
        ],
    })
}

const CSV: &str = "frame,plan,exposed,holder,load,aperture_f,time_marked_s,time_actual_s,ev100,sky,exposed_at,remarks
p1,PLAN,x,,,,1/125,,14.5,,2026-06-21T12:31:05+02:00,\"wind, \"\"gusts\"\" <b> # =\"
p2,PLAN,x,9B,2,f/45,3.5,3.62,13.2,thin_cloud,,
p3,PLAN,,,,,,,,,,forgot it
";

fn put(dir: &Path, name: &str, text: &str) -> std::path::PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, text).unwrap();
    path
}

fn record(dir: &Path) -> String {
    std::fs::read_to_string(dir.join("test.toml")).unwrap()
}

fn ids(ids: &[record::Id]) -> Vec<&str> {
    ids.iter().map(record::Id::as_str).collect()
}

#[test]
fn a_log_becomes_frames_behind_what_stands_there_and_twice_is_once() {
    let dir = tempfile::tempdir().unwrap();
    let test = dir.path().join("t");
    write_unexposed(&test);
    let before = record(&test);
    let mut value = log(&test);
    value["frames"][0]["sketch_png"] = json!(SKETCH);
    let file = put(dir.path(), "log.json", &value.to_string());
    let imported = import_field_log(&test, &file).unwrap();
    assert_eq!(ids(&imported.added), ["p1", "p2"]);
    assert_eq!(ids(&imported.not_exposed), ["p3"]);
    assert!(imported.warnings[0].contains("was in holder 9B, planned was 1B"));
    let after = record(&test);
    assert!(after.starts_with(&before));
    for name in &imported.files {
        assert!(test.join(name).is_file(), "{name}");
    }
    assert_eq!(imported.files.len(), 2);
    let folder = read_test_folder(&test).unwrap();
    let parts = folder.test.parts();
    let p2 = &parts.frames[1];
    assert_eq!((p2.holder.as_deref(), p2.load), (Some("9B"), Some(2)));
    let Exposure::Camera(camera) = &p2.exposure else {
        panic!("exposed in a camera")
    };
    assert_eq!(camera.light.as_str(), "noon-thin-cloud");
    assert_eq!(camera.time.actual.unwrap().to_s(), 3.62);
    assert_eq!(camera.aperture.to_ratio(), 45.0);
    let light = parts.lights.last().unwrap();
    assert!(light.reading.is_none() && light.meter.is_some());
    assert_eq!(
        parts.frames[0].remarks.as_deref(),
        Some("wind, \"gusts\" <b> # =")
    );
    assert_eq!(
        parts.frames[0].exposed_at.as_deref(),
        Some("2026-06-21T12:31:05+02:00")
    );
    let again = import_field_log(&test, &file).unwrap();
    assert_eq!(ids(&again.unchanged), ["p1", "p2"]);
    assert_eq!(record(&test), after);
    // A later log of the same plan adds what is new.
    value["frames"][2]["exposed"] = json!(true);
    let file = put(dir.path(), "later.json", &value.to_string());
    assert_eq!(ids(&import_field_log(&test, &file).unwrap().added), ["p3"]);
    assert!(record(&test).starts_with(&after));
}

#[test]
fn paper_and_phone_give_the_same_record() {
    let dir = tempfile::tempdir().unwrap();
    let (phone, paper) = (dir.path().join("phone"), dir.path().join("paper"));
    write_unexposed(&phone);
    write_unexposed(&paper);
    let digits = &hash(&paper)[..12];
    let json = put(dir.path(), "log.json", &log(&phone).to_string());
    let csv = put(dir.path(), "log.csv", &CSV.replace("PLAN", digits));
    import_field_log(&phone, &json).unwrap();
    import_field_log(&paper, &csv).unwrap();
    assert_eq!(
        read_test_folder(&phone).unwrap().test,
        read_test_folder(&paper).unwrap().test
    );
    // And the one after the other changes nothing.
    let before = record(&phone);
    assert!(import_field_log(&phone, &csv).unwrap().added.is_empty());
    assert_eq!(record(&phone), before);
}

#[test]
fn the_csv_to_be_filled_in_is_read_back_with_nothing_exposed() {
    let dir = tempfile::tempdir().unwrap();
    let test = dir.path().join("t");
    write_unexposed(&test);
    let folder = read_planned_folder(&test).unwrap();
    let text = field_log_csv(folder.test.planned());
    let file = put(dir.path(), "field-log.csv", &text);
    let before = record(&test);
    let imported = import_field_log(&test, &file).unwrap();
    assert_eq!(imported.not_exposed.len(), 3);
    assert_eq!(record(&test), before);
}

#[test]
fn what_contradicts_the_record_is_told_and_nothing_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let test = dir.path().join("t");
    write_unexposed(&test);
    let mut value = log(&test);
    let frames = value["frames"].as_array_mut().unwrap();
    let first = frames.remove(0);
    let file = put(dir.path(), "log.json", &value.to_string());
    import_field_log(&test, &file).unwrap();
    let before = record(&test);
    value["frames"][0]["time_actual_s"] = json!(4.0);
    value["frames"].as_array_mut().unwrap().push(first);
    let file = put(dir.path(), "log.json", &value.to_string());
    let error = import_field_log(&test, &file).unwrap_err().to_string();
    assert!(
        error.contains("frame p2 is recorded already, with another actual time"),
        "{error}"
    );
    assert_eq!(record(&test), before, "p1 is not recorded either");
    let kept = std::fs::read_dir(test.join("field")).unwrap().count();
    assert_eq!(kept, 1);
}

#[test]
fn logs_that_cant_be_taken_are_refused_with_the_reason() {
    let dir = tempfile::tempdir().unwrap();
    let test = dir.path().join("t");
    write_unexposed(&test);
    let before = record(&test);
    let good = log(&test).to_string();
    let cut = &good[..good.len() / 2];
    let changed = |change: &dyn Fn(&mut Value)| {
        let mut value = log(&test);
        change(&mut value);
        value.to_string()
    };
    let digits = &hash(&test)[..12];
    for (text, wanted) in [
        (cut.to_owned(), "the log ends in the middle"),
        ("{}".to_owned(), "this is no field log"),
        ("[1".to_owned(), "the log ends in the middle"),
        (
            changed(&|v| v["version"] = json!(2)),
            "the version of the field log is 2",
        ),
        (
            changed(&|v| v["plan_sha256"] = json!("0".repeat(64))),
            "the log is of another plan: 000000000000",
        ),
        (
            changed(&|v| v["plan_sha256"] = json!("")),
            "the log lacks its plan",
        ),
        (
            changed(&|v| v["frames"][0]["frame"] = json!("../x")),
            "frames[0]: \"frame\" is",
        ),
        (
            changed(&|v| v["frames"][0]["frame"] = json!("p9")),
            "frame p9 is not in the plan",
        ),
        (
            changed(&|v| v["frames"][1]["frame"] = json!("p1")),
            "frame p1 is logged twice",
        ),
        (
            changed(&|v| v["frames"][0]["time_actual_s"] = json!(-1)),
            "\"time_actual_s\" is -1",
        ),
        (
            changed(&|v| v["frames"][0]["ev100"] = json!("bright")),
            "\"ev100\" is",
        ),
        (
            changed(&|v| v["frames"][0]["sky"] = json!("blue")),
            "\"sky\" is",
        ),
        (
            changed(&|v| v["frames"][0]["exposed_at"] = json!("noon")),
            "\"exposed_at\" is",
        ),
        (
            changed(&|v| v["frames"][0]["load"] = json!(0)),
            "\"load\" is 0",
        ),
        (
            changed(&|v| v["frames"][0]["sketch_png"] = json!("data:text/html;base64,PGI+")),
            "\"sketch_png\" is",
        ),
        (
            changed(&|v| v["frames"][0]["remark"] = json!("x")),
            "did you mean remarks?",
        ),
        (changed(&|v| v["frames"][1]["holder"] = json!("1A")), ""),
        (changed(&|v| v["frames"] = json!([3])), "frames[0] is 3"),
        (
            CSV.replace("PLAN", "0123456789ab"),
            "the log is of another plan",
        ),
        (
            CSV.replace("PLAN", digits).replace("3.62", "long"),
            "`time_actual_s` is \"long\"",
        ),
        (
            CSV.replace("PLAN", digits).replace(",x,9B", ",perhaps,9B"),
            "`exposed` is \"perhaps\"",
        ),
        (
            CSV.replace("PLAN", digits).replacen("p2,", "p1,", 1),
            "frame p1 is logged twice",
        ),
        (CSV.replace("PLAN", "95"), "the log is of another plan"),
        (String::new(), "no line that names the columns"),
        ("x".repeat(17 << 20), "at most 16 MB"),
    ] {
        let file = put(dir.path(), "log", &text);
        let short: String = text.chars().take(60).collect();
        if wanted.is_empty() {
            // Loaded again, as it says: load 2.
            import_field_log(&dir.path().join("t"), &file).unwrap();
            std::fs::write(test.join("test.toml"), &before).unwrap();
            std::fs::remove_dir_all(test.join("field")).unwrap();
            continue;
        }
        let error = import_field_log(&test, &file).unwrap_err().to_string();
        assert!(error.contains(wanted), "{short}: {error}");
        assert_eq!(record(&test), before, "{short}");
        assert!(!test.join("field").exists(), "{short}");
    }
}

#[test]
fn a_holder_side_used_twice_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let test = dir.path().join("t");
    write_unexposed(&test);
    let mut value = log(&test);
    value["frames"][1]["holder"] = json!("1A");
    value["frames"][1]["load"] = json!(1);
    let file = put(dir.path(), "log.json", &value.to_string());
    let error = import_field_log(&test, &file).unwrap_err().to_string();
    assert!(
        error.contains("are both in holder 1A, loading 1"),
        "{error}"
    );
    assert!(!test.join("field").exists());
}
