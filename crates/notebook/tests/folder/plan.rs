//! `plan.toml`: read, refused, written; never taken for what was exposed.

use crate::{document, sample};
use notebook::{
    plan_hash, plan_json_schema, read_planned_folder, read_test_folder, write_plan,
    write_planned_folder,
};
use record::{PlannedExposure, PlannedTest, TestParts};
use std::path::Path;

fn plan_toml() -> String {
    sample::block_after("\n`plan.toml`:")
}

/// The document's folder before anything was exposed.
pub(crate) fn write_unexposed(dir: &Path) {
    let text = sample::test_toml();
    let frames = text.find("[[frame]]").unwrap();
    let scan = text.find("[[scan]]").unwrap();
    std::fs::create_dir_all(dir).unwrap();
    std::fs::write(dir.join("test.toml"), &text[..scan.min(frames)]).unwrap();
    std::fs::write(dir.join("plan.toml"), plan_toml()).unwrap();
}

fn refused(from: &str, to: &str) -> String {
    let dir = tempfile::tempdir().unwrap();
    write_unexposed(dir.path());
    let text = plan_toml();
    assert!(text.contains(from), "{from}");
    std::fs::write(dir.path().join("plan.toml"), text.replacen(from, to, 1)).unwrap();
    read_planned_folder(dir.path()).unwrap_err().to_string()
}

#[test]
fn a_plan_without_a_frame_exposed_is_read_for_the_field_and_not_for_evaluation() {
    let dir = tempfile::tempdir().unwrap();
    write_unexposed(dir.path());
    let folder = read_planned_folder(dir.path()).unwrap();
    assert!(folder.test.records().parts().frames.is_empty());
    assert_eq!(folder.test.planned().len(), 3);
    let PlannedExposure::Camera(camera) = &folder.test.planned()[1].exposure else {
        panic!("it is exposed in a camera");
    };
    assert_eq!(camera.time.law.as_deref(), Some("power:1.31"));
    let error = read_test_folder(dir.path()).unwrap_err().to_string();
    assert!(error.contains("nothing has been exposed yet"), "{error}");
    assert!(error.contains("filmproof import"), "{error}");
}

#[test]
fn planned_frames_beside_exposed_ones_are_no_frames() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let before = read_test_folder(dir.path()).unwrap();
    let text = plan_toml()
        .replace("\"1A\"", "\"7A\"")
        .replace("\"1B\"", "\"7B\"");
    std::fs::write(dir.path().join("plan.toml"), text).unwrap();
    assert_eq!(read_test_folder(dir.path()).unwrap().test, before.test);
    // Lines copied into the record are refused there.
    let wrong = format!("{}\n[[planned]]\nid = \"x\"\n", sample::test_toml());
    std::fs::write(dir.path().join("test.toml"), wrong).unwrap();
    let error = read_test_folder(dir.path()).unwrap_err().to_string();
    assert!(error.contains("unknown key `planned`"), "{error}");
}

#[test]
fn what_is_wrong_is_told_with_its_place() {
    for (from, to, wanted) in [
        ("\"715\"", "\"720\"", "refers to filter 720"),
        (
            "id = \"p2\"",
            "id = \"p1\"",
            "two planned frame records are named p1",
        ),
        (
            "holder = \"1B\"",
            "holder = \"1A\"",
            "are both in holder 1A, loading 1",
        ),
        ("ei = 6\n", "", "planned frame p2 has no key `ei`"),
        (
            "role = \"bracket\"",
            "role = \"braket\"",
            "did you mean \"bracket\"?",
        ),
        ("format = 1", "format = 2", "`format` is 2"),
        (
            "holder = \"1B\"",
            "holder = \"1B\"\nload = 0",
            "`load` of [[planned]] is 0",
        ),
        (
            "time_metered_s",
            "time_meterd_s",
            "did you mean `time_metered_s`",
        ),
    ] {
        let error = refused(from, to);
        assert!(error.contains(wanted), "{from} -> {to}: {error}");
        assert!(error.starts_with("plan.toml, line "), "{error}");
    }
    let error = refused(&plan_toml(), "format = 1\n");
    assert!(error.contains("the plan has no frames"), "{error}");
}

#[test]
fn a_holder_side_is_planned_twice_only_when_it_is_loaded_again() {
    let dir = tempfile::tempdir().unwrap();
    write_unexposed(dir.path());
    let again = plan_toml().replace("holder = \"1B\"", "holder = \"1A\"\nload = 2");
    std::fs::write(dir.path().join("plan.toml"), again).unwrap();
    let folder = read_planned_folder(dir.path()).unwrap();
    assert_eq!(folder.test.planned()[1].load, Some(2));
}

#[test]
fn a_holder_side_that_is_exposed_is_not_planned_again() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    std::fs::write(dir.path().join("plan.toml"), plan_toml()).unwrap();
    let error = read_planned_folder(dir.path()).unwrap_err().to_string();
    assert!(
        error.contains("frames 1 and p1 are both in holder 1A"),
        "{error}"
    );
    assert!(error.contains("`load = 2`"), "{error}");
}

#[test]
fn a_plan_reads_back_equal_and_is_not_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let (from, to) = (dir.path().join("a"), dir.path().join("b"));
    write_unexposed(&from);
    let test = read_planned_folder(&from).unwrap().test;
    write_planned_folder(&test, &[], &to).unwrap();
    let again = read_planned_folder(&to).unwrap().test;
    assert_eq!(again, test);
    assert_eq!(plan_hash(again.planned()), plan_hash(test.planned()));
    let error = write_plan(test.planned(), &to).unwrap_err().to_string();
    assert!(error.contains("there is a plan already"), "{error}");
    std::fs::remove_file(to.join("plan.toml")).unwrap();
    write_plan(test.planned(), &to).unwrap();
    assert_eq!(read_planned_folder(&to).unwrap().test, test);
    let mut other = test.planned().to_vec();
    other[1].film = record::Id::new("nowhere").unwrap();
    assert_ne!(plan_hash(&other), plan_hash(test.planned()));
    std::fs::remove_file(to.join("plan.toml")).unwrap();
    assert!(write_plan(&other, &to).is_err());
    assert!(!to.join("plan.toml").exists());
}

#[test]
fn a_plan_of_nothing_is_no_plan() {
    let error = PlannedTest::assemble(TestParts::default(), vec![]).unwrap_err();
    assert_eq!(error.to_string(), "the plan has no frames");
}

#[test]
fn the_schema_describes_the_example() {
    let example: toml::Value = toml::from_str(&plan_toml()).unwrap();
    document::fits(&plan_json_schema(), &example).unwrap();
}
