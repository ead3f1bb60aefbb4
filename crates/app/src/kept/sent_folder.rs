//! A test folder that is sent file by file, as a browser sends one.
//!
//! What is to come is listed and checked first. Each file then lies under its number in a
//! folder of this program's own, beside the notebook, until all are there: no name that was
//! sent becomes a name on the disk. Dropped before it is kept, all of it goes again.

use super::ways::{Added, Scratch, told};
use super::{KeepError, Notebook};
use crate::{AppError, Progress};
use notebook::{ListedFile, ListingLimits, TakenIn, check_listing};
use std::fs;
use std::path::{Path, PathBuf};

/// A folder of which files are coming.
#[derive(Debug)]
pub struct SentFolder {
    scratch: Scratch,
    name: String,
    files: Vec<ListedFile>,
    /// Of each file whether it is wanted, and whether it came.
    state: Vec<FileState>,
    left_out: Vec<String>,
}

/// How far a file of a sent folder is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum FileState {
    LeftOut,
    Awaited,
    Came,
}

impl SentFolder {
    /// Numbers of the files that are wanted, in the order they were listed.
    pub fn wanted(&self) -> impl Iterator<Item = usize> {
        self.state
            .iter()
            .enumerate()
            .filter(|(_, state)| **state != FileState::LeftOut)
            .map(|(number, _)| number)
    }

    /// What is left out, and why, as sentences.
    #[must_use]
    pub fn left_out(&self) -> &[String] {
        &self.left_out
    }

    /// Files that have not come yet.
    #[must_use]
    pub fn missing(&self) -> usize {
        self.state
            .iter()
            .filter(|state| **state == FileState::Awaited)
            .count()
    }

    /// The folder in which files that come are to be written.
    #[must_use]
    pub fn place(&self) -> &Path {
        &self.scratch.0
    }

    /// A wanted file: its path as it was listed, and its bytes.
    ///
    /// # Errors
    /// [`AppError`] when no such file is wanted.
    pub fn awaited(&self, number: usize) -> Result<&ListedFile, AppError> {
        let wanted = self
            .state
            .get(number)
            .is_some_and(|state| *state != FileState::LeftOut);
        self.files.get(number).filter(|_| wanted).ok_or_else(|| {
            AppError::new(
                format!("file {number} of this folder is not wanted"),
                "send the files that were asked for",
            )
        })
    }

    /// Takes a file that came whole; it was written within [`Self::place`] and is moved.
    ///
    /// # Errors
    /// [`AppError`] when it is not wanted, has another size than was listed, or can't be kept.
    pub fn take(&mut self, number: usize, written: &Path) -> Result<(), AppError> {
        let listed = self.awaited(number)?;
        let size = fs::metadata(written)
            .map_err(|e| AppError::file("reading", written, &e))?
            .len();
        if size != listed.size {
            return Err(AppError::new(
                format!(
                    "{}: {size} bytes came, and {} were listed",
                    listed.path, listed.size
                ),
                "the file was changed meanwhile; choose the folder again",
            ));
        }
        let place = self.numbered(number);
        fs::rename(written, &place).map_err(|e| AppError::file("keeping", &place, &e))?;
        if let Some(state) = self.state.get_mut(number) {
            *state = FileState::Came;
        }
        Ok(())
    }

    fn numbered(&self, number: usize) -> PathBuf {
        self.scratch.0.join(number.to_string())
    }
}

impl Notebook {
    /// Begins to take a folder in that is sent file by file.
    ///
    /// # Errors
    /// [`KeepError`] naming each file whose name or size is refused; or there is no `test.toml`.
    pub fn await_folder(
        &self,
        name: &str,
        files: Vec<ListedFile>,
        limits: ListingLimits,
    ) -> Result<SentFolder, KeepError> {
        let listing = check_listing(name, &files, limits)?;
        let mut state = vec![FileState::LeftOut; files.len()];
        for number in listing.wanted {
            state[number] = FileState::Awaited;
        }
        let scratch = Scratch::within(self.work())?;
        fs::create_dir(&scratch.0).map_err(|e| AppError::file("making", &scratch.0, &e))?;
        Ok(SentFolder {
            scratch,
            name: name.to_owned(),
            files,
            state,
            left_out: listing.left_out,
        })
    }

    /// Keeps a folder of which all files came, as a new test.
    ///
    /// # Errors
    /// [`KeepError`] when files are missing, or the notebook can't be written.
    pub fn keep_sent(
        &self,
        sent: SentFolder,
        by: &str,
        progress: &dyn Progress,
    ) -> Result<Added, KeepError> {
        let missing = sent.missing();
        if missing > 0 {
            return Err(AppError::new(
                format!("{missing} of the folder's files have not come"),
                "choose the folder again",
            )
            .into());
        }
        let places: Vec<(&str, PathBuf)> = sent
            .wanted()
            .map(|number| (sent.files[number].path.as_str(), sent.numbered(number)))
            .collect();
        let files: Vec<(&str, &Path)> = places
            .iter()
            .map(|(path, place)| (*path, place.as_path()))
            .collect();
        let documents = self
            .another()?
            .take_files_in(&files, &told(progress, "reading the folder's files"))?;
        progress.at("keeping the test", 0, 1);
        let taken = TakenIn {
            documents,
            left_out: sent.left_out.clone(),
        };
        let what = format!("imported from the folder {}", shown(&sent.name));
        let added = self.keep(taken, by, &what)?;
        progress.at("keeping the test", 1, 1);
        Ok(added)
    }
}

/// A folder's name as the history shows it.
fn shown(name: &str) -> String {
    name.chars().filter(|c| !c.is_control()).take(120).collect()
}
