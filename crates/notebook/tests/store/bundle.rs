//! Folder to bundle to folder.

use crate::made::{files, record, scan};
use notebook::{BundleLimits, Held, NotebookError, folder_files, unpack_bundle, write_bundle};
use std::fs::{self, File};
use std::io::{Cursor, Read};
use std::path::Path;

fn bundle_of(dir: &Path) -> Vec<u8> {
    let taken = folder_files(dir).unwrap();
    let mut bytes = Cursor::new(vec![]);
    let open = |path: &str, held: &Held| -> Result<Box<dyn Read>, NotebookError> {
        Ok(match held {
            Held::Bytes(bytes) => Box::new(Cursor::new(bytes.clone())),
            Held::Stored(_) => Box::new(File::open(dir.join(path)).unwrap()),
        })
    };
    write_bundle(&taken.documents, &open, &mut bytes).unwrap();
    bytes.into_inner()
}

#[test]
fn a_folder_comes_out_of_its_bundle_byte_for_byte_without_what_is_no_part_of_it() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("folder");
    for part in ["scans", "results/figures", ".git"] {
        fs::create_dir_all(folder.join(part)).unwrap();
    }
    fs::write(folder.join("test.toml"), record("A test", "16")).unwrap();
    fs::write(folder.join("scans/ü 1.tif"), scan(1)).unwrap();
    fs::write(folder.join("empty.txt"), "").unwrap();
    let own = files(&folder);
    fs::write(folder.join("results/report.html"), "x").unwrap();
    fs::write(folder.join(".git/config"), "x").unwrap();
    fs::write(folder.join("scans/.thumbs"), "x").unwrap();
    assert_eq!(
        folder_files(&folder).unwrap().left_out,
        [
            ".git: hidden",
            "results: can be computed again",
            "scans/.thumbs: hidden"
        ]
    );
    let bytes = bundle_of(&folder);
    let bundle = dir.path().join("b.zip");
    fs::write(&bundle, &bytes).unwrap();
    let back = dir.path().join("back");
    unpack_bundle(&bundle, &back, BundleLimits::USUAL, &|_, _| true).unwrap();
    assert_eq!(files(&back), own);
    // The same files, touched at another time, give the same bundle.
    assert_eq!(bundle_of(&back), bytes);
    // Texts that deflate to almost nothing, more than the limits allow a stranger at one go.
    for number in 0..70 {
        fs::write(back.join(format!("{number}.txt")), vec![b'x'; 1 << 20]).unwrap();
    }
    let large = dir.path().join("large.zip");
    fs::write(&large, bundle_of(&back)).unwrap();
    let again = dir.path().join("again");
    unpack_bundle(&large, &again, BundleLimits::USUAL, &|_, _| true).unwrap();
    assert_eq!(files(&again), files(&back));
    // A place that holds something is never written into.
    let error = unpack_bundle(&bundle, &back, BundleLimits::USUAL, &|_, _| true).unwrap_err();
    assert!(error.to_string().contains("not empty"), "{error}");
}
