//! Opening: what is checked, copied, migrated and refused.

use crate::made::{notebook, stamp, test};
use notebook::{Check, NotebookError, NotebookFile, TestId};
use std::fs;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;

/// A notebook as the first schema had it, made on 2026-11-25 and never again.
const SCHEMA_1: &str = include_str!("schema-1.sql");

/// Writes the sample of schema 1, and gives its bytes.
fn schema_1(path: &Path) -> Vec<u8> {
    rusqlite::Connection::open(path)
        .unwrap()
        .execute_batch(SCHEMA_1)
        .unwrap();
    fs::read(path).unwrap()
}

#[test]
fn a_notebook_of_schema_1_opens_and_its_copy_is_kept() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("n.sqlite");
    schema_1(&path);
    let file = NotebookFile::open(&path, Check::Full).unwrap();
    let tests = file.tests(false).unwrap();
    let titles: Vec<&str> = tests.iter().map(|test| test.title.as_str()).collect();
    assert_eq!(titles, ["The second test", "The first test"]);
    assert_eq!(
        file.documents(TestId::new(1), None).unwrap().1,
        test("The first test", "22")
    );
    let history = file.history(TestId::new(1)).unwrap();
    assert_eq!(history.len(), 2);
    assert_eq!(
        history[1].differences[0].to_string(),
        "frame f3: aperture f/16 → f/22"
    );
    assert_eq!(file.search("first", 10).unwrap().len(), 1);
    // The copy is of schema 1 still, and opens as this one did.
    let copy = dir.path().join("n.sqlite.schema-1.copy");
    assert_eq!(fs::read(&copy).unwrap()[60..64], 1_u32.to_be_bytes());
    let copied = NotebookFile::open(&copy, Check::Full).unwrap();
    assert_eq!(copied.tests(false).unwrap(), tests);
}

#[test]
fn a_notebook_of_a_later_program_is_refused_and_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("n.sqlite");
    let mut later = schema_1(&path);
    // Source: SQLite file format, section 1.3: the user version, big-endian, at offset 60.
    assert_eq!(later[60..64], 1_u32.to_be_bytes());
    later[60..64].copy_from_slice(&99_u32.to_be_bytes());
    fs::write(&path, &later).unwrap();
    let error = NotebookFile::open(&path, Check::Quick).unwrap_err();
    assert!(
        matches!(
            error,
            NotebookError::Newer {
                found: 99,
                known: 2,
                ..
            }
        ),
        "{error}"
    );
    assert_eq!(fs::read(&path).unwrap(), later);
}

#[test]
fn a_file_that_is_something_else_is_refused_and_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("notes.txt");
    // Another program's SQLite file: the application id, at offset 68, is not ours.
    let mut other = schema_1(&dir.path().join("other.sqlite"));
    other[68..72].copy_from_slice(&7_u32.to_be_bytes());
    for bytes in [b"My notes.\n".to_vec(), vec![0; 5000], other] {
        fs::write(&path, &bytes).unwrap();
        let error = NotebookFile::open(&path, Check::Quick).unwrap_err();
        assert!(matches!(error, NotebookError::Foreign { .. }), "{error}");
        assert_eq!(fs::read(&path).unwrap(), bytes);
    }
    assert!(NotebookFile::open(dir.path(), Check::Quick).is_err());
    assert!(NotebookFile::open(&dir.path().join("none/n.sqlite"), Check::Quick).is_err());
}

#[test]
fn a_damaged_notebook_is_told_and_not_written_to() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("n.sqlite");
    {
        let mut file = notebook(dir.path());
        for number in 0..40 {
            file.add_test(&test(&format!("Test {number}"), "16"), &stamp(), "typed")
                .unwrap();
        }
    }
    let mut damaged = fs::read(&path).unwrap();
    let middle = damaged.len() / 2;
    let page = middle - middle % 4096;
    damaged[page..page + 4096].fill(0xa5);
    fs::write(&path, &damaged).unwrap();
    let error = NotebookFile::open(&path, Check::Quick).unwrap_err();
    assert!(matches!(error, NotebookError::Damaged { .. }), "{error}");
    assert!(error.remedy().contains("copy"), "{}", error.remedy());
    assert_eq!(fs::read(&path).unwrap(), damaged);
}

#[test]
fn the_full_check_finds_bytes_that_changed_within_a_row() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("n.sqlite");
    let marker = b"a text that does not deflate 0123456789";
    {
        let mut file = notebook(dir.path());
        let mut files = test("A test", "16");
        files
            .put("m.txt", notebook::Held::Bytes(marker.to_vec()))
            .unwrap();
        file.add_test(&files, &stamp(), "typed").unwrap();
    }
    let bytes = fs::read(&path).unwrap();
    let at = bytes
        .windows(marker.len())
        .position(|window| window == marker)
        .unwrap();
    let mut file = fs::OpenOptions::new().write(true).open(&path).unwrap();
    file.seek(SeekFrom::Start(at as u64)).unwrap();
    file.write_all(b"A").unwrap();
    // The tree is sound, so the quick check can't see it.
    let file = NotebookFile::open(&path, Check::Quick).unwrap();
    let error = file.check(Check::Full).unwrap_err();
    assert!(error.to_string().contains("other bytes"), "{error}");
}
