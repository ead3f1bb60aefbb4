//! Revisions: only added, told record by record, and never lost to another program.

use crate::made::{documents, notebook, record, scan, stamp, test};
use notebook::{Check, Held, NotebookError, NotebookFile, Stage, StoredPlace, TestId};
use std::fs;
use std::io::Read as _;

#[test]
fn what_differs_is_told_record_by_record() {
    let dir = tempfile::tempdir().unwrap();
    let mut file = notebook(dir.path());
    let id = file
        .add_test(&test("A test", "16"), &stamp(), "typed")
        .unwrap();
    let told = |file: &NotebookFile| -> Vec<String> {
        let history = file.history(id).unwrap();
        let last = history.last().unwrap();
        last.differences.iter().map(ToString::to_string).collect()
    };
    let changed = record("Another title", "22")
        .replace("time_marked_s = 1", "time_marked_s = \"1/2\"")
        .replace("ev100 = 14.7", "ev100 = 15")
        + "\n[[frame]]\nid = \"f4\"\nfilm = \"a\"\nprocess = \"tray\"\nrole = \"unexposed\"\n";
    let files = documents(&[
        ("test.toml", changed.as_bytes()),
        ("patches.csv", b"frame,patch,role\nf3,card,grey_card\n"),
        ("notes.txt", b"x"),
    ]);
    file.save(id, 1, &files, &stamp(), "mended").unwrap();
    assert_eq!(
        told(&file),
        [
            "frame f3: aperture f/16 → f/22",
            "frame f3: time marked 1 s → 1/2 s",
            "frame f4: added",
            "light noon: EV at ISO 100 14.7 → 15",
            "patch card of frame f3: added",
            "test: title A test → Another title",
            "file notes.txt: added",
        ]
    );
    // A note in the text is a change of the file, and of no record.
    let noted = documents(&[
        ("test.toml", format!("{changed}# a note\n").as_bytes()),
        ("patches.csv", b"frame,patch,role\nf3,card,grey_card\n"),
        ("notes.txt", b"x"),
    ]);
    file.save(id, 2, &noted, &stamp(), "noted").unwrap();
    assert_eq!(told(&file), ["file test.toml: changed"]);
}

#[test]
fn a_program_that_saves_beside_another_is_told_who_was_first() {
    let dir = tempfile::tempdir().unwrap();
    let mut one = notebook(dir.path());
    let mut other = notebook(dir.path());
    let id = one
        .add_test(&test("A test", "16"), &stamp(), "typed")
        .unwrap();
    other
        .save(id, 1, &test("A test", "22"), &stamp(), "mended")
        .unwrap();
    let error = one
        .save(id, 1, &test("A test", "32"), &stamp(), "mended too")
        .unwrap_err();
    assert!(matches!(error, NotebookError::Conflict(_)), "{error}");
    assert_eq!(one.documents(id, None).unwrap().1, test("A test", "22"));
    // Both begin tests at once, and each is kept under a number of its own.
    let ids: Vec<TestId> = std::thread::scope(|scope| {
        let path = dir.path();
        let threads: Vec<_> = (0..4)
            .map(|number| {
                scope.spawn(move || {
                    let mut file = notebook(path);
                    (0..10)
                        .map(|_| {
                            file.add_test(&test(&format!("T {number}"), "8"), &stamp(), "typed")
                                .unwrap()
                        })
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|t| t.join().unwrap())
            .collect()
    });
    let distinct: std::collections::BTreeSet<_> = ids.iter().collect();
    assert_eq!(distinct.len(), 40);
    assert_eq!(one.tests(false).unwrap().len(), 41);
    one.check(Check::Full).unwrap();
}

#[test]
fn stages_follow_what_is_recorded() {
    let dir = tempfile::tempdir().unwrap();
    let mut file = notebook(dir.path());
    let mut stage = |files: &[(&str, &[u8])]| {
        let id = file.add_test(&documents(files), &stamp(), "typed").unwrap();
        let overview = file.overview(id).unwrap();
        (overview.stage, overview.title)
    };
    let sound = record("A test", "16");
    let begun = sound.split("[[frame]]").next().unwrap();
    let plan = "format = 1\n[[planned]]\nid = \"p\"\nfilm = \"a\"\nprocess = \"tray\"\nrole = \"unexposed\"\n";
    let own = |stage: Stage| (stage, "A test".to_owned());
    assert_eq!(stage(&[("test.toml", begun.as_bytes())]), own(Stage::Begun));
    assert_eq!(
        stage(&[
            ("test.toml", begun.as_bytes()),
            ("plan.toml", plan.as_bytes())
        ]),
        own(Stage::Planned)
    );
    assert_eq!(
        stage(&[("test.toml", sound.as_bytes())]),
        own(Stage::Exposed)
    );
    let patch = b"frame,patch,role\nf3,card,grey_card\n";
    let reading = b"frame,patch,density,density_sd\nf3,card,0.7,0.02\n";
    assert_eq!(
        stage(&[
            ("test.toml", sound.as_bytes()),
            ("patches.csv", patch),
            ("readings.csv", reading)
        ]),
        own(Stage::Measured)
    );
    let draft = sound.replace("noon\"\na", "moon\"\na");
    assert_eq!(stage(&[("test.toml", draft.as_bytes())]), own(Stage::Draft));
    assert_eq!(
        stage(&[("test.toml", b"title = no TOML")]),
        (Stage::Draft, "Test without a title".to_owned())
    );
    assert_eq!(stage(&[("notes.txt", b"x")]).0, Stage::Draft);
    assert_eq!(stage(&[("test.toml", b"\xff\xfe")]).0, Stage::Draft);
}

#[test]
fn a_scan_that_is_referred_to_is_missed_when_it_goes_or_changes() {
    let dir = tempfile::tempdir().unwrap();
    let mut file = notebook(dir.path());
    let original = dir.path().join("sheet.tif");
    fs::write(&original, scan(1)).unwrap();
    let held = file.refer_to(&original).unwrap();
    assert!(!file.scans_folder().exists(), "nothing was copied");
    let mut files = test("A test", "16");
    files.put("scans/sheet.tif", held.clone()).unwrap();
    let id = file.add_test(&files, &stamp(), "typed").unwrap();
    let out = dir.path().join("out");
    file.write_folder(&file.documents(id, None).unwrap().1, &out)
        .unwrap();
    assert_eq!(fs::read(out.join("scans/sheet.tif")).unwrap(), scan(1));
    // Another file of the same size: its hash gives it away, and nothing is left.
    fs::write(&original, scan(2)).unwrap();
    let second = dir.path().join("second");
    let error = file.write_folder(&files, &second).unwrap_err();
    assert!(error.to_string().contains("another file now"), "{error}");
    assert!(!second.exists());
    fs::remove_file(&original).unwrap();
    let error = file.write_folder(&files, &second).unwrap_err();
    assert!(error.to_string().contains("not there any more"), "{error}");
    // Taken in from elsewhere, the same bytes are there again.
    fs::write(dir.path().join("found.tif"), scan(1)).unwrap();
    assert_eq!(file.take_in(&dir.path().join("found.tif")).unwrap(), held);
    file.write_folder(&files, &second).unwrap();
    let Held::Stored(fingerprint) = held else {
        panic!("a large file is stored");
    };
    assert_eq!(
        file.place_of(&fingerprint).unwrap(),
        StoredPlace::File(file.scans_folder().join(&fingerprint.sha256))
    );
}

#[test]
fn a_small_picture_stays_within_and_its_bytes_are_fetched_only_when_it_is_opened() {
    let dir = tempfile::tempdir().unwrap();
    let mut file = notebook(dir.path());
    let mut files = test("A test", "16");
    let bytes = scan(3)[..300_000].to_vec();
    for name in ["scans/sheet.tif", "scans/SHEET-2.PNG", "scans/curve.csv"] {
        files.put(name, Held::Bytes(bytes.clone())).unwrap();
    }
    let id = file.add_test(&files, &stamp(), "typed").unwrap();
    let (_, read) = file.documents(id, None).unwrap();
    assert_eq!(read, files, "the same bytes, wherever they lie");
    let within = |path: &str| match read.get(path).unwrap() {
        Held::Stored(fingerprint) => {
            matches!(file.place_of(fingerprint).unwrap(), StoredPlace::Within(_))
        }
        Held::Bytes(_) => false,
    };
    assert!(within("scans/sheet.tif") && within("scans/SHEET-2.PNG"));
    assert!(!within("scans/curve.csv"), "a table is read at once");
    let mut opened = vec![];
    file.open_held(read.get("scans/sheet.tif").unwrap())
        .unwrap()
        .read_to_end(&mut opened)
        .unwrap();
    assert_eq!(opened, bytes);
    // Laid out to be read, and saved again: nothing is lost, and nothing is kept twice.
    let out = dir.path().join("out");
    file.lay_out_to_read(&read, &out).unwrap();
    assert_eq!(fs::read(out.join("scans/sheet.tif")).unwrap(), bytes);
    assert!(!file.save(id, 1, &read, &stamp(), "again").unwrap().is_new);
}
