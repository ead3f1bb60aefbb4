//! Folder to notebook to bundle to notebook to folder: equal, byte by byte and
//! record by record.

use crate::made::{files, notebook, stamp};
use notebook::{
    BundleLimits, Checked, Documents, Held, NotebookFile, ScanPlace, check, unpack_bundle,
    write_bundle,
};
use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};

/// Sends a folder all the way round, and compares.
fn round(folder: &Path, scans: ScanPlace) {
    let dir = tempfile::tempdir().unwrap();
    let mut one = notebook(dir.path());
    let before = files(folder);
    let taken = one.take_folder_in(folder, scans, &|_, _| true).unwrap();
    assert_eq!(taken.left_out, Vec::<String>::new());
    let id = one
        .add_test(&taken.documents, &stamp(), "imported")
        .unwrap();
    let (_, documents) = one.documents(id, None).unwrap();
    assert_eq!(documents, taken.documents);
    let bundle = dir.path().join("b.zip");
    let to = fs::File::create(&bundle).unwrap();
    write_bundle(&documents, &|_, held| one.open_held(held), to).unwrap();
    let unpacked = dir.path().join("unpacked");
    unpack_bundle(&bundle, &unpacked, BundleLimits::USUAL, &|_, _| true).unwrap();
    let mut other =
        NotebookFile::open(&dir.path().join("other.sqlite"), notebook::Check::Quick).unwrap();
    let again = other
        .take_folder_in(&unpacked, ScanPlace::TakenIn, &|_, _| true)
        .unwrap()
        .documents;
    let id = other.add_test(&again, &stamp(), "imported").unwrap();
    let (_, documents_again) = other.documents(id, None).unwrap();
    let back = dir.path().join("back");
    other.write_folder(&documents_again, &back).unwrap();
    assert_eq!(files(&back), before);
    let (was, is): (Checked, Checked) = (check(&documents), check(&documents_again));
    assert_eq!(was, is);
    other.check(notebook::Check::Full).unwrap();
}

/// The folders among the examples that hold a test.
fn examples() -> Vec<PathBuf> {
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples");
    let mut found: Vec<PathBuf> = fs::read_dir(examples)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.join("test.toml").is_file())
        .collect();
    found.sort();
    assert!(found.len() >= 3, "{found:?}");
    found
}

#[test]
fn every_example_goes_all_the_way_round() {
    for folder in examples() {
        round(&folder, ScanPlace::TakenIn);
        round(&folder, ScanPlace::ReferredTo);
    }
}

/// Names of files as people give them.
fn path() -> impl Strategy<Value = String> {
    "[a-zäß0-9][a-zäß0-9 _.-]{0,10}[a-z0-9](/[a-z0-9][a-z0-9_-]{0,8}\\.(tif|csv|txt))?"
}

fn some_files() -> impl Strategy<Value = Vec<(String, Vec<u8>)>> {
    let bytes = prop_oneof![
        prop::collection::vec(any::<u8>(), 0..400),
        // Larger than what lies within the notebook's file.
        (any::<u8>(), 1_048_570_usize..1_048_590).prop_map(|(byte, size)| vec![byte; size]),
    ];
    prop::collection::vec((path(), bytes), 0..6)
}

/// A record that may or may not check: any text must come back.
fn text() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        (1_u8..60, "[a-zA-Z ü\"\\\\#]{0,20}").prop_map(|(aperture, title)| {
            crate::made::record(&title.replace(['"', '\\'], "'"), &aperture.to_string())
                .into_bytes()
        }),
        "\\PC{0,200}".prop_map(String::into_bytes),
        prop::collection::vec(any::<u8>(), 0..200),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn any_folder_goes_all_the_way_round(record in text(), others in some_files()) {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("folder");
        fs::create_dir(&folder).unwrap();
        fs::write(folder.join("test.toml"), &record).unwrap();
        for (path, bytes) in others {
            // Names that no disk takes beside each other are left out.
            let mut sound = Documents::default();
            for known in files(&folder).into_keys() {
                sound.put(&known, Held::Bytes(vec![])).unwrap();
            }
            let target = folder.join(&path);
            if path.starts_with("results/") || sound.put(&path, Held::Bytes(vec![])).is_err() {
                continue;
            }
            fs::create_dir_all(target.parent().unwrap()).unwrap();
            fs::write(target, bytes).unwrap();
        }
        round(&folder, ScanPlace::TakenIn);
    }
}
