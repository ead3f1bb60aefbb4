//! The notebook's use cases as a whole.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use app::{Check, KeepError, Notebook, PatchRow, ScanPlace, Silent, Stage, TestId};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

/// The worked example, written once for all tests.
fn demo() -> &'static Path {
    static DEMO: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
        let dir = tempfile::tempdir().unwrap();
        app::write_demo(dir.path(), &Silent).unwrap();
        dir
    });
    DEMO.path()
}

/// Every file of a folder with its bytes.
fn files(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    fn into(dir: &Path, within: &str, all: &mut BTreeMap<String, Vec<u8>>) {
        for entry in fs::read_dir(dir).unwrap() {
            let entry = entry.unwrap();
            let name = format!("{within}{}", entry.file_name().to_string_lossy());
            if entry.file_type().unwrap().is_dir() {
                into(&entry.path(), &format!("{name}/"), all);
            } else {
                all.insert(name, fs::read(entry.path()).unwrap());
            }
        }
    }
    let mut all = BTreeMap::new();
    into(dir, "", &mut all);
    all
}

#[test]
fn the_worked_example_goes_through_notebook_and_bundle_and_back_with_every_byte() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    let demo = demo();
    let added = notebook
        .import_folder(demo, ScanPlace::TakenIn, "A. Tester", &Silent)
        .unwrap();
    assert_eq!(added.left_out, Vec::<String>::new());
    let bundle = dir.path().join("demo.zip");
    notebook.export_bundle(added.test, None, &bundle).unwrap();
    let other = Notebook::open(&dir.path().join("other.sqlite"), Check::Quick).unwrap();
    let again = other.import_bundle(&bundle, "B. Tester", &Silent).unwrap();
    let back = dir.path().join("back");
    other.export_folder(again.test, None, &back).unwrap();
    assert_eq!(files(demo), files(&back));
    // The same files give the same bundle, whoever makes it.
    let second = dir.path().join("second.zip");
    other.export_bundle(again.test, None, &second).unwrap();
    assert_eq!(fs::read(&bundle).unwrap(), fs::read(&second).unwrap());
    let third = dir.path().join("third.zip");
    app::bundle_of_folder(demo, &third).unwrap();
    assert_eq!(fs::read(&bundle).unwrap(), fs::read(&third).unwrap());
    assert_eq!(
        notebook.open_test(added.test, None).unwrap().checked.parts,
        other.open_test(again.test, None).unwrap().checked.parts
    );
    notebook.check().unwrap();
    other.check().unwrap();
}

#[test]
fn results_are_kept_by_revision() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    // One scan is made large enough to be referred to where it is.
    let folder = dir.path().join("folder");
    for (path, bytes) in files(demo()) {
        let place = folder.join(path);
        fs::create_dir_all(place.parent().unwrap()).unwrap();
        fs::write(place, bytes).unwrap();
    }
    let scan = folder.join("scans/sun-anchor-1.tif");
    let mut bytes = fs::read(&scan).unwrap();
    bytes.resize(2_000_000, 0);
    fs::write(&scan, &bytes).unwrap();
    let test = notebook
        .import_folder(&folder, ScanPlace::ReferredTo, "A. Tester", &Silent)
        .unwrap()
        .test;
    assert_eq!(notebook.evaluated(test, None).unwrap(), None);
    let (revision, evaluated) = notebook.evaluate(test, None, None, &Silent).unwrap();
    assert_eq!(revision, 1);
    let kept = notebook.evaluated(test, None).unwrap().unwrap();
    assert!(fs::read_to_string(&kept.report).unwrap().contains("<html"));
    let told = serde_json::to_vec_pretty(&evaluated.json).unwrap();
    assert!(fs::read(&kept.findings).unwrap() == told);
    // A changed test has none yet; the earlier revision's are still there.
    let open = notebook.open_test(test, None).unwrap();
    let noted = open.with_text("notes.txt", Some("wind")).unwrap();
    notebook
        .save(test, 1, &noted, "A. Tester", "noted")
        .unwrap();
    assert_eq!(notebook.evaluated(test, None).unwrap(), None);
    assert_eq!(notebook.evaluated(test, Some(1)).unwrap(), Some(kept));
    // Somebody writes another file of the same size over the scan.
    bytes[1_999_999] = 1;
    fs::write(&scan, &bytes).unwrap();
    for revision in [1, 2] {
        let error = notebook
            .evaluate(test, Some(revision), None, &Silent)
            .unwrap_err()
            .to_string();
        let told = error.contains("was changed since it was imported")
            || error.contains("another file now");
        assert!(told, "{error}");
        assert_eq!(notebook.evaluated(test, Some(revision)).unwrap(), None);
    }
    let error = notebook.check().unwrap_err().to_string();
    assert!(error.contains("scans are not"), "{error}");
}

/// A test with a title and the records a frame needs.
fn begun(notebook: &Notebook) -> TestId {
    let test = notebook
        .begin_test("Edge of the R-715", "A. Tester")
        .unwrap();
    let open = notebook.open_test(test, None).unwrap();
    let text = format!(
        "{}\n[[film]]\nid = \"a\"\nname = \"Testfilm Å\"\nbatch = \"0417-03\"\n\n[[filter]]\nid = \"715\"\nname = \"R-715\"\n\n\
         [[light]]\nid = \"noon\"\nsky = \"clear_sun\"\nev100 = 14.7\n\n[[process]]\nid = \"tray\"\ndeveloper = \"Developer D\"\n\n\
         [[frame]]\nid = \"f3\"\nfilm = \"a\"\nfilters = [\"715\"]\nprocess = \"tray\"\nrole = \"bracket\"\nlight = \"noon\"\naperture_f = 16\ntime_marked_s = 1\n",
        open.documents.record_text().unwrap()
    );
    let documents = open.with_text("test.toml", Some(&text)).unwrap();
    notebook
        .save(test, 1, &documents, "A. Tester", "frame f3 typed")
        .unwrap();
    test
}

#[test]
fn two_windows_that_edit_one_test_lose_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    let test = begun(&notebook);
    let (one, other) = (
        notebook.open_test(test, None).unwrap(),
        notebook.open_test(test, None).unwrap(),
    );
    let edit = |window: &app::OpenTest, from: &str, to: &str| {
        let text = window.documents.record_text().unwrap().replace(from, to);
        window.with_text("test.toml", Some(&text)).unwrap()
    };
    let saved = notebook
        .save(
            test,
            one.revision,
            &edit(&one, "aperture_f = 16", "aperture_f = 22"),
            "first window",
            "aperture mended",
        )
        .unwrap();
    assert_eq!((saved.revision, saved.is_new), (3, true));
    let refused = notebook
        .save(
            test,
            other.revision,
            &edit(&other, "time_marked_s = 1", "time_marked_s = 2"),
            "second window",
            "time mended",
        )
        .unwrap_err();
    let KeepError::Conflict(conflict) = &refused else {
        panic!("{refused}");
    };
    assert_eq!((conflict.expected, conflict.current), (2, 3));
    assert_eq!(conflict.since.len(), 1);
    let told = refused.to_string();
    assert!(told.contains("first window"), "{told}");
    assert!(told.contains("frame f3: aperture f/16 → f/22"), "{told}");
    // The first window's change stands.
    let now = notebook.open_test(test, None).unwrap();
    assert!(
        now.documents
            .record_text()
            .unwrap()
            .contains("aperture_f = 22")
    );
}

#[test]
fn what_does_not_check_is_kept_as_a_draft_and_undone_step_by_step() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    let test = begun(&notebook);
    let open = notebook.open_test(test, None).unwrap();
    assert_eq!(open.checked.stage(), Stage::Exposed);
    let typed = open
        .documents
        .record_text()
        .unwrap()
        .replace("aperture_f = 16", "aperture_f = \"about f/16\"");
    let documents = open.with_text("test.toml", Some(&typed)).unwrap();
    notebook
        .save(test, 2, &documents, "A. Tester", "aperture typed")
        .unwrap();
    let draft = notebook.open_test(test, None).unwrap();
    assert_eq!(draft.documents.record_text().unwrap(), typed);
    assert_eq!(draft.checked.stage(), Stage::Draft);
    let overview = notebook.overview(test).unwrap();
    assert_eq!((overview.stage, overview.problems), (Stage::Draft, 1));
    assert_eq!(overview.title, "Edge of the R-715");
    // The same text again is no new revision.
    assert!(
        !notebook
            .save(test, 3, &documents, "x", "again")
            .unwrap()
            .is_new
    );
    // Undone once: as in revision 2; undone again: as in revision 1.
    assert_eq!(notebook.undo(test, 3, "A. Tester").unwrap().revision, 4);
    assert_eq!(
        notebook.open_test(test, None).unwrap().documents,
        notebook.open_test(test, Some(2)).unwrap().documents
    );
    assert_eq!(notebook.undo(test, 4, "A. Tester").unwrap().revision, 5);
    assert_eq!(
        notebook.open_test(test, None).unwrap().documents,
        notebook.open_test(test, Some(1)).unwrap().documents
    );
    let nothing = notebook.undo(test, 5, "A. Tester").unwrap_err();
    assert!(
        nothing.to_string().contains("nothing was changed"),
        "{nothing}"
    );
    // The draft is still there to be put back.
    notebook.restore(test, 5, 3, "A. Tester").unwrap();
    let history = notebook.history(test).unwrap();
    let restores: Vec<_> = history.iter().map(|r| r.restores).collect();
    assert_eq!(restores, [None, None, None, Some(2), Some(1), None]);
    assert_eq!(notebook.open_test(test, None).unwrap().documents, documents);
    // Putting back is a change like any other, and can be undone.
    notebook.undo(test, 6, "A. Tester").unwrap();
    assert_eq!(
        notebook.open_test(test, None).unwrap().documents,
        notebook.open_test(test, Some(1)).unwrap().documents
    );
}

#[test]
fn words_of_titles_films_filters_and_batches_are_found() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    let test = begun(&notebook);
    let kinds = |words: &str| -> Vec<(String, String)> {
        let found = notebook.search(words).unwrap();
        found.into_iter().map(|hit| (hit.kind, hit.label)).collect()
    };
    let hit = |kind: &str, label: &str| (kind.to_owned(), label.to_owned());
    assert_eq!(kinds("edge"), [hit("test", "Edge of the R-715")]);
    // Without its ring, and only begun.
    assert_eq!(kinds("testfilm a"), [hit("film", "Testfilm Å")]);
    assert_eq!(kinds("0417-0"), [hit("batch", "0417-03 (Testfilm Å)")]);
    assert!(kinds("r-715").contains(&hit("filter", "R-715")));
    // Nothing that is typed is an operator, and nothing breaks the question.
    for odd in [
        "", "  ", "\"", "AND", "edge OR", "*", "NEAR(", "a:b", "'", "\0",
    ] {
        drop(notebook.search(odd).unwrap());
    }
    notebook.put_away(test).unwrap();
    assert_eq!(kinds("edge"), []);
    assert_eq!(notebook.tests().unwrap().len(), 0);
    assert_eq!(notebook.tests_put_away().unwrap().len(), 1);
    notebook.take_out(test).unwrap();
    assert_eq!(kinds("edge").len(), 1);
}

/// Asks to stop once the work is under way.
struct Impatient(std::sync::atomic::AtomicU32);

impl app::Progress for Impatient {
    fn at(&self, _: &str, _: u64, _: u64) {
        self.0.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    }

    fn stop_asked(&self) -> bool {
        self.0.load(std::sync::atomic::Ordering::Relaxed) > 3
    }
}

#[test]
fn an_import_that_is_stopped_keeps_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    let (demo, bundle) = (demo(), dir.path().join("demo.zip"));
    app::bundle_of_folder(demo, &bundle).unwrap();
    let impatient = || Impatient(std::sync::atomic::AtomicU32::new(0));
    for stopped in [
        notebook.import_folder(demo, ScanPlace::TakenIn, "A. Tester", &impatient()),
        notebook.import_bundle(&bundle, "A. Tester", &impatient()),
    ] {
        let error = stopped.unwrap_err().to_string();
        assert!(error.contains("was stopped"), "{error}");
    }
    assert_eq!(notebook.tests().unwrap(), []);
    assert_eq!(files(&dir.path().join("n.sqlite.work")).len(), 0);
}

#[test]
fn a_scan_that_is_dropped_in_and_outlined_is_part_of_the_test() {
    let dir = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(&dir.path().join("n.sqlite"), Check::Quick).unwrap();
    let test = begun(&notebook);
    // Larger than what lies within the notebook's own file.
    let bytes: Vec<u8> = (0..2_000_000_u32).map(|i| (i * 7 % 251) as u8).collect();
    let held = notebook
        .take_in(&mut bytes.as_slice(), Path::new("sheet.tif"))
        .unwrap();
    let mut open = notebook.open_test(test, None).unwrap();
    open.documents.put("scans/sheet.tif", held).unwrap();
    let text = format!(
        "{}\n[[scan]]\nid = \"s\"\nfile = \"scans/sheet.tif\"\n",
        open.documents.record_text().unwrap()
    );
    open.documents = open.with_text("test.toml", Some(&text)).unwrap();
    let row = PatchRow {
        frame: "f3".to_owned(),
        patch: "card".to_owned(),
        role: "grey_card".to_owned(),
        scan: "s".to_owned(),
        rectangle_px: ["10", "20", "30", "40"].map(str::to_owned),
        ..PatchRow::default()
    };
    let documents = open.with_patches(&[row], &[]).unwrap();
    notebook
        .save(test, 2, &documents, "A. Tester", "scan dropped in")
        .unwrap();
    let now = notebook.open_test(test, None).unwrap();
    assert_eq!(now.checked.problems, None);
    assert_eq!(now.checked.stage(), Stage::Measured);
    let mut read = vec![];
    notebook
        .open_file(&now, "scans/sheet.tif")
        .unwrap()
        .read_to_end(&mut read)
        .unwrap();
    assert_eq!(read, bytes);
    // Of many revisions that were laid out the last few stay.
    for revision in 3..8 {
        let noted = notebook.open_test(test, None).unwrap();
        let text = format!("looked at {revision} times");
        let noted = noted.with_text("notes.txt", Some(&text)).unwrap();
        notebook.folder(test, None).unwrap();
        notebook
            .save(test, revision, &noted, "A. Tester", "noted")
            .unwrap();
    }
    let (_, folder) = notebook.folder(test, None).unwrap();
    let laid = fs::read_dir(dir.path().join("n.sqlite.work")).unwrap();
    assert_eq!(laid.count(), 3);
    assert_eq!(fs::read(folder.join("scans/sheet.tif")).unwrap(), bytes);
    let told: Vec<String> = notebook.history(test).unwrap()[2]
        .differences
        .iter()
        .map(ToString::to_string)
        .collect();
    assert!(
        told.contains(&"patch card of frame f3: added".to_owned()),
        "{told:?}"
    );
    assert!(told.contains(&"scan s: added".to_owned()), "{told:?}");
}
