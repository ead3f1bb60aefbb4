//! The files of a test, wherever they lie: in a folder, or kept in a notebook.
//!
//! Readers ask here for a text by its path within the test, so that the same
//! reader serves both and neither place can be read in another way.

use crate::documents::{Documents, Held};
use crate::path::{RELATIVE, fault, find, read_text, text_of};
use crate::problem::{FolderError, Place, Problems, likely, short};
use std::path::Path;

/// Where the files of a test lie.
#[derive(Clone, Copy)]
pub(crate) enum Files<'a> {
    /// In a folder, given without links.
    Folder(&'a Path),
    /// Kept in a notebook, or on their way into it.
    Kept(&'a Documents),
}

/// What was seen, what was expected, what to do.
type Fault = (String, String, String);

impl Files<'_> {
    /// Says whether there is something of this name, sound or not.
    pub(crate) fn has(&self, path: &str) -> bool {
        match self {
            Self::Folder(root) => root.join(path).symlink_metadata().is_ok(),
            Self::Kept(documents) => documents.get(path).is_some(),
        }
    }

    /// Says what is wrong with a path that must lead to a file of the test.
    pub(crate) fn find(&self, path: &str) -> Result<(), Fault> {
        match self {
            Self::Folder(root) => find(root, path).map(drop),
            Self::Kept(documents) => {
                let shown = short(path);
                if let Some(fault) = fault(path) {
                    return Err((
                        format!("the path \"{shown}\" {fault}"),
                        RELATIVE.to_owned(),
                        "name the file by its path within the test".to_owned(),
                    ));
                }
                if documents.get(path).is_some() {
                    return Ok(());
                }
                let close: Vec<String> = likely(path, documents.names())
                    .iter()
                    .map(|name| format!("\"{name}\""))
                    .collect();
                Err((
                    format!("the file \"{shown}\" is not there"),
                    "a file of this test".to_owned(),
                    if close.is_empty() {
                        "add the file, or correct its path".to_owned()
                    } else {
                        format!("did you mean one of {}?", close.join(", "))
                    },
                ))
            }
        }
    }

    /// Adds a problem at `place` unless a path leads to a file of the test.
    pub(crate) fn resolve(&self, path: &str, place: &Place, problems: &mut Problems) -> Option<()> {
        match self.find(path) {
            Ok(()) => Some(()),
            Err((seen, expected, remedy)) => {
                problems.add(place, seen, expected, remedy);
                None
            }
        }
    }

    /// Reads a text file of the test by its path.
    pub(crate) fn text(&self, path: &str) -> Result<String, FolderError> {
        let as_error =
            |(seen, expected, remedy): Fault| FolderError::of_file(path, seen, expected, remedy);
        match self {
            Self::Folder(root) => read_text(&find(root, path).map_err(as_error)?, path),
            Self::Kept(documents) => {
                self.find(path).map_err(as_error)?;
                match documents.get(path) {
                    Some(Held::Bytes(bytes)) => text_of(bytes.clone(), path),
                    _ => Err(FolderError::of_file(
                        path,
                        "the file is kept like a scan and not as text",
                        "a text file of at most 1 MB",
                        "check that this is the right file",
                    )),
                }
            }
        }
    }
}
