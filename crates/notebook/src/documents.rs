//! The files of a test by their paths: texts with their bytes, scans by their hash.

use crate::folder::{PATCHES_CSV, PLAN_TOML, READINGS_CSV, TEST_TOML};
use crate::import::hex;
use crate::path::fault;
use crate::problem::FolderError;
use std::collections::{BTreeMap, BTreeSet};

/// Files up to this size are kept with their bytes; larger ones, which are
/// scans, by their hash.
pub(crate) const BYTES_MOST: u64 = 1 << 20;

/// Which bytes a file has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fingerprint {
    /// SHA-256 as 64 hex digits, as `sha256sum` prints it.
    pub sha256: String,
    /// Number of bytes.
    pub size: u64,
}

impl Fingerprint {
    /// The fingerprint of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self {
            sha256: hex(bytes),
            size: bytes.len() as u64,
        }
    }
}

/// A file of a test.
///
/// Two are equal when they have the same bytes, wherever those lie.
#[derive(Clone, Debug)]
pub enum Held {
    /// A text, or another small file.
    Bytes(Vec<u8>),
    /// A scan or another large file, which the notebook finds by its hash.
    Stored(Fingerprint),
}

impl PartialEq for Held {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Bytes(one), Self::Bytes(other)) => one == other,
            _ => self.fingerprint() == other.fingerprint(),
        }
    }
}

impl Eq for Held {}

impl Held {
    /// Which bytes the file has.
    #[must_use]
    pub fn fingerprint(&self) -> Fingerprint {
        match self {
            Self::Bytes(bytes) => Fingerprint::of(bytes),
            Self::Stored(fingerprint) => fingerprint.clone(),
        }
    }
}

/// All files of a test, by their paths within its folder.
///
/// Invariant: each path stays within the folder, and no two differ in case only.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Documents {
    files: BTreeMap<String, Held>,
    /// Their paths in lower case, for a disk that knows none.
    folded: BTreeSet<String>,
}

impl Documents {
    /// Adds or replaces a file.
    ///
    /// # Errors
    /// [`FolderError`] when the path leaves the folder, is the name of a device
    /// on some systems, or differs from another file's in case only.
    pub fn put(&mut self, path: &str, held: Held) -> Result<(), FolderError> {
        let refused = |fault: &str| {
            FolderError::of_file(
                crate::problem::short(path),
                format!("the path {fault}"),
                "a path within the test folder, with / between its parts",
                "name the file otherwise",
            )
        };
        if let Some(fault) = fault(path).or_else(|| portable_fault(path)) {
            return Err(refused(fault));
        }
        if !self.files.contains_key(path) {
            let folded = path.to_lowercase();
            if self.clashes(&folded) {
                return Err(refused("is taken by another file"));
            }
            self.folded.insert(folded);
        }
        self.files.insert(path.to_owned(), held);
        Ok(())
    }

    /// Whether another file has this path in another case, or is a folder of it or in it.
    fn clashes(&self, folded: &str) -> bool {
        let within = format!("{folded}/");
        let is_folder = self
            .folded
            .range(within.clone()..)
            .next()
            .is_some_and(|next| next.starts_with(&within));
        let above = folded.match_indices('/').map(|(at, _)| &folded[..at]);
        self.folded.contains(folded)
            || is_folder
            || above.into_iter().any(|f| self.folded.contains(f))
    }

    /// Takes a file out; says whether it was there.
    pub fn remove(&mut self, path: &str) -> bool {
        self.folded.remove(&path.to_lowercase());
        self.files.remove(path).is_some()
    }

    /// A file by its path.
    #[must_use]
    pub fn get(&self, path: &str) -> Option<&Held> {
        self.files.get(path)
    }

    /// All files in the order of their paths.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Held)> {
        self.files.iter().map(|(path, held)| (path.as_str(), held))
    }

    /// All paths, in order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// The text of a file, when it is there and is UTF-8.
    #[must_use]
    pub fn text(&self, path: &str) -> Option<&str> {
        match self.files.get(path) {
            Some(Held::Bytes(bytes)) => core::str::from_utf8(bytes).ok(),
            _ => None,
        }
    }

    /// Number of files.
    #[must_use]
    pub fn count(&self) -> usize {
        self.files.len()
    }

    /// The text of `test.toml`.
    #[must_use]
    pub fn record_text(&self) -> Option<&str> {
        self.text(TEST_TOML)
    }
}

/// Says whether a path is one of the four texts with a meaning of their own,
/// which are kept with their bytes whatever their size.
pub(crate) fn is_own(path: &str) -> bool {
    [TEST_TOML, PLAN_TOML, PATCHES_CSV, READINGS_CSV].contains(&path)
}

/// How the names of pictures end: of scans, and of cameras' raw files.
pub const PICTURE_ENDINGS: [&str; 23] = [
    "tif", "tiff", "png", "jpg", "jpeg", "dng", "arw", "cr2", "cr3", "crw", "nef", "nrw", "raf",
    "orf", "rw2", "pef", "srw", "mrw", "mef", "erf", "iiq", "3fr", "x3f",
];

/// Says whether a path is that of a picture, whose bytes no reader of records
/// asks for: they are fetched only when the file is opened.
pub(crate) fn is_picture(path: &str) -> bool {
    path.rsplit_once('.').is_some_and(|(_, ending)| {
        PICTURE_ENDINGS
            .iter()
            .any(|known| ending.eq_ignore_ascii_case(known))
    })
}

/// Says why a path can't stand on every common disk; `None` when it can.
pub(crate) fn portable_fault(path: &str) -> Option<&'static str> {
    if path.len() > 400 {
        return Some("has more than 400 bytes");
    }
    for part in path.split('/') {
        let stem = part.split('.').next().unwrap_or(part).to_ascii_uppercase();
        let numbered = |word: &str| {
            stem.strip_prefix(word)
                .is_some_and(|n| n.len() == 1 && n.as_bytes()[0].is_ascii_digit())
        };
        if matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL")
            || numbered("COM")
            || numbered("LPT")
        {
            return Some("holds the name of a device");
        }
        if part.ends_with(['.', ' ']) {
            return Some("has a part that ends with a dot or a blank");
        }
        if part.len() > 200 {
            return Some("has a part of more than 200 bytes");
        }
        if part
            .chars()
            .any(|c| c.is_control() || matches!(c, '<' | '>' | ':' | '"' | '|' | '?' | '*'))
        {
            return Some("holds a character that some disks refuse");
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(documents: &mut Documents, path: &str) -> bool {
        documents.put(path, Held::Bytes(vec![])).is_ok()
    }

    #[test]
    fn no_two_files_can_need_one_place_on_a_disk() {
        let mut documents = Documents::default();
        assert!(put(&mut documents, "Scans/a.tif"));
        // The same path again replaces the file.
        assert!(put(&mut documents, "Scans/a.tif"));
        for clash in ["scans/A.tif", "scans", "SCANS", "scans/a.tif/b"] {
            assert!(!put(&mut documents, clash), "{clash}");
        }
        for beside in [
            "scans/a.tiff",
            "scans-a",
            "scan",
            "scans.txt",
            "scans/b.tif",
        ] {
            assert!(put(&mut documents, beside), "{beside}");
        }
        assert!(documents.remove("Scans/a.tif"));
        assert!(put(&mut documents, "scans/A.tif"));
    }

    #[test]
    fn many_files_are_put_in_no_time() {
        // 20 000, the most that a test may have; each against all others would take minutes.
        let mut documents = Documents::default();
        for number in 0..20_000 {
            assert!(put(&mut documents, &format!("scans/a/{number}.tif")));
        }
        assert_eq!(documents.count(), 20_000);
    }
}
