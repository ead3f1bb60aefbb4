//! Tests and folders to begin with.

use notebook::{Check, Documents, Held, NotebookFile, Stamp};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// A small sound test; the aperture makes it another one.
pub(crate) fn record(title: &str, aperture: &str) -> String {
    format!(
        "# typed by hand\nformat = 1\ntitle = \"{title}\"   # a note\ninvented = true\n\n[[film]]\nid = \"a\"\nname = \"Testfilm A\"\nbatch = \"0417\"\n\n\
         [[filter]]\nid = \"715\"\nname = \"R-715\"\n\n[[light]]\nid = \"noon\"\nsky = \"clear_sun\"\nev100 = 14.7\n\n\
         [[process]]\nid = \"tray\"\ndeveloper = \"Developer D\"\n\n[[frame]]\nid = \"f3\"\nfilm = \"a\"\nfilters = [\"715\"]\nprocess = \"tray\"\n\
         role = \"bracket\"\nlight = \"noon\"\naperture_f = {aperture}\ntime_marked_s = 1\n"
    )
}

pub(crate) fn documents(files: &[(&str, &[u8])]) -> Documents {
    let mut documents = Documents::default();
    for (path, bytes) in files {
        documents.put(path, Held::Bytes(bytes.to_vec())).unwrap();
    }
    documents
}

pub(crate) fn test(title: &str, aperture: &str) -> Documents {
    documents(&[("test.toml", record(title, aperture).as_bytes())])
}

pub(crate) fn stamp() -> Stamp {
    Stamp {
        at: "2026-06-21T12:30:00Z".to_owned(),
        by: "A. Tester".to_owned(),
    }
}

pub(crate) fn notebook(dir: &Path) -> NotebookFile {
    NotebookFile::open(&dir.join("n.sqlite"), Check::Quick).unwrap()
}

/// Every file of a folder with its bytes.
pub(crate) fn files(dir: &Path) -> BTreeMap<String, Vec<u8>> {
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

/// Bytes that are large enough to lie beside the notebook.
pub(crate) fn scan(seed: u32) -> Vec<u8> {
    (0..1_500_000_u32)
        .map(|i| (i.wrapping_mul(2_654_435_761).wrapping_add(seed << 24) >> 24) as u8)
        .collect()
}
