//! A disk that lost the end of what was being written.
//!
//! What SQLite has not yet brought into the notebook's own file stands in the log
//! beside it. Here the log is cut at every place, and damaged, as a sudden end
//! may leave it: the notebook must open, be sound, and hold some number of whole
//! changes in their order, all of them when nothing was lost.

use crate::made::{stamp, test};
use notebook::{Check, NotebookFile, TestId};
use std::fs;
use std::path::Path;

const SAVES: u32 = 6;

fn title(revision: u32) -> String {
    format!("Change {revision}")
}

/// Opens what is there and gives the last revision, once all of them are right.
fn held(path: &Path) -> u32 {
    let file = NotebookFile::open(path, Check::Full).unwrap();
    let tests = file.tests(false).unwrap();
    let Some(overview) = tests.first() else {
        return 0;
    };
    for revision in 1..=overview.revision {
        let (_, documents) = file.documents(TestId::new(1), Some(revision)).unwrap();
        assert_eq!(documents, test(&title(revision), "16"));
    }
    assert_eq!(overview.title, title(overview.revision));
    assert_eq!(file.search("change", 10).unwrap().len(), 1);
    overview.revision
}

#[test]
fn a_log_that_is_cut_or_damaged_anywhere_leaves_whole_changes_in_their_order() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("n.sqlite");
    let log = dir.path().join("n.sqlite-wal");
    let mut file = NotebookFile::open(&path, Check::Quick).unwrap();
    file.add_test(&test(&title(1), "16"), &stamp(), "typed")
        .unwrap();
    for revision in 2..=SAVES {
        file.save(
            TestId::new(1),
            revision - 1,
            &test(&title(revision), "16"),
            &stamp(),
            "counted",
        )
        .unwrap();
    }
    // As they stand while the program is at work.
    let (own, logged) = (fs::read(&path).unwrap(), fs::read(&log).unwrap());
    drop(file);
    let other = tempfile::tempdir().unwrap();
    let (path, log) = (
        other.path().join("n.sqlite"),
        other.path().join("n.sqlite-wal"),
    );
    let try_one = |logged: &[u8]| {
        for stale in fs::read_dir(other.path()).unwrap() {
            fs::remove_file(stale.unwrap().path()).unwrap();
        }
        fs::write(&path, &own).unwrap();
        fs::write(&log, logged).unwrap();
        held(&path)
    };
    assert_eq!(try_one(&logged), SAVES);
    // Every page of the log, and odd places within: never less than with a shorter one.
    let mut last = 0;
    for cut in (0..logged.len()).step_by(4370) {
        let now = try_one(&logged[..cut]);
        assert!(now >= last, "{now} after {last} at {cut}");
        last = now;
    }
    let damaged: Vec<u32> = (100..logged.len())
        .step_by(13_000)
        .map(|at| {
            let mut torn = logged.clone();
            torn[at] ^= 0x40;
            try_one(&torn)
        })
        .collect();
    assert!(damaged.iter().any(|held| *held < SAVES), "{damaged:?}");
    assert!(damaged.is_sorted(), "{damaged:?}");
}
