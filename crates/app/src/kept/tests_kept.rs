//! Tests of a notebook: listed, found, opened, saved.

use super::KeepError;
use crate::AppError;
use notebook::{
    Check, Checked, Documents, Found, FoundTests, Held, NotebookFile, Revision, Saved, Stamp,
    TestId, TestOverview, check,
};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// A notebook that is open. May be shared between threads.
#[derive(Debug)]
pub struct Notebook {
    file: Mutex<NotebookFile>,
    path: PathBuf,
    work: PathBuf,
}

/// A test as it was read.
#[derive(Clone, Debug)]
pub struct OpenTest {
    /// Its number.
    pub id: TestId,
    /// The revision that this is.
    pub revision: u32,
    /// Its files.
    pub documents: Documents,
    /// What they hold, and what is wrong with them.
    pub checked: Checked,
}

/// The most hits of a search.
const FOUND_MOST: u32 = 100;

/// The time now, as records of changes have it.
pub(super) fn stamp(by: &str) -> Stamp {
    let by: String = by.chars().filter(|c| !c.is_control()).take(200).collect();
    Stamp {
        at: written(jiff::Timestamp::now()),
        by,
    }
}

/// A time in one width, to the millisecond: in the order of their letters times are
/// then in their own order.
fn written(at: jiff::Timestamp) -> String {
    format!("{at:.3}")
}

impl Notebook {
    /// Opens a notebook, or begins one where there is no file. The file is
    /// checked, and copied before it is brought to a new schema.
    ///
    /// # Errors
    /// [`AppError`] when the file is no notebook, of a later program, or damaged.
    pub fn open(path: &Path, check: Check) -> Result<Self, AppError> {
        let file = NotebookFile::open(path, check).map_err(KeepError::from)?;
        let work = file.beside(".work");
        super::ways::sweep(&work);
        Ok(Self {
            path: file.path().to_path_buf(),
            work,
            file: Mutex::new(file),
        })
    }

    /// The notebook's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder beside the notebook for what can be computed again.
    pub(super) fn work(&self) -> &Path {
        &self.work
    }

    /// The one connection for short work.
    pub(super) fn file(&self) -> MutexGuard<'_, NotebookFile> {
        // Every change is a transaction, which a panic rolls back.
        self.file.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A connection of its own for long work.
    pub(super) fn another(&self) -> Result<NotebookFile, KeepError> {
        Ok(self.file().again()?)
    }

    /// Checks the whole notebook: every index, reference and hash, scans included.
    ///
    /// # Errors
    /// [`KeepError`] with what is damaged.
    pub fn check(&self) -> Result<(), KeepError> {
        let file = self.another()?;
        file.check(Check::Full)?;
        let wrong = file.wrong_scans()?;
        if wrong.is_empty() {
            return Ok(());
        }
        Err(AppError::new(
            format!(
                "the notebook itself is sound, and scans are not: {}",
                wrong.join("; ")
            ),
            "import the tests that have these scans again, from their folders or bundles",
        )
        .into())
    }

    /// The tests at hand, last changed first.
    ///
    /// # Errors
    /// [`KeepError`] when the notebook can't be read.
    pub fn tests(&self) -> Result<Vec<TestOverview>, KeepError> {
        Ok(self.file().tests(false)?)
    }

    /// The tests that were put away, last changed first.
    ///
    /// # Errors
    /// As for [`Self::tests`].
    pub fn tests_put_away(&self) -> Result<Vec<TestOverview>, KeepError> {
        Ok(self.file().tests(true)?)
    }

    /// One test as it stands in the list.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn overview(&self, test: TestId) -> Result<TestOverview, KeepError> {
        Ok(self.file().overview(test)?)
    }

    /// Finds tests, films, filters and batches whose words begin with those
    /// given, best first, at most 100.
    ///
    /// # Errors
    /// As for [`Self::tests`].
    pub fn search(&self, words: &str) -> Result<Vec<Found>, KeepError> {
        Ok(self.file().search(words, FOUND_MOST)?)
    }

    /// Finds tests that have all these words, each once; best first, at most 100,
    /// with how many there are in all.
    ///
    /// # Errors
    /// As for [`Self::tests`].
    pub fn tests_found(&self, words: &str) -> Result<FoundTests, KeepError> {
        Ok(self.file().tests_found(words, FOUND_MOST)?)
    }

    /// Opens a test as it is, or as it was in a revision.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn open_test(&self, test: TestId, revision: Option<u32>) -> Result<OpenTest, KeepError> {
        let (revision, documents) = self.file().documents(test, revision)?;
        let checked = check(&documents);
        Ok(OpenTest {
            id: test,
            revision,
            documents,
            checked,
        })
    }

    /// Saves a test's files as a new revision, if it still has the revision that
    /// was `seen`. What does not check is kept all the same, as a draft.
    ///
    /// # Errors
    /// [`KeepError::Conflict`] when somebody else changed it; nothing is saved.
    pub fn save(
        &self,
        test: TestId,
        seen: u32,
        documents: &Documents,
        by: &str,
        what: &str,
    ) -> Result<Saved, KeepError> {
        Ok(self.file().save(test, seen, documents, &stamp(by), what)?)
    }

    /// Undoes the last change, as a new revision.
    ///
    /// # Errors
    /// As for [`Self::save`], and when there is nothing to undo.
    pub fn undo(&self, test: TestId, seen: u32, by: &str) -> Result<Saved, KeepError> {
        Ok(self.file().undo(test, seen, &stamp(by))?)
    }

    /// Puts an earlier revision back, as a new one.
    ///
    /// # Errors
    /// As for [`Self::save`].
    pub fn restore(
        &self,
        test: TestId,
        seen: u32,
        revision: u32,
        by: &str,
    ) -> Result<Saved, KeepError> {
        Ok(self.file().restore(test, seen, revision, &stamp(by))?)
    }

    /// All changes of a test, oldest first.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn history(&self, test: TestId) -> Result<Vec<Revision>, KeepError> {
        Ok(self.file().history(test)?)
    }

    /// Puts a test away: no longer listed or found, and all still there.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn put_away(&self, test: TestId) -> Result<(), KeepError> {
        Ok(self.file().put_away(test, &stamp("").at)?)
    }

    /// Takes a test out again that was put away.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn take_out(&self, test: TestId) -> Result<(), KeepError> {
        Ok(self.file().take_out(test)?)
    }

    /// Takes an uploaded file in, to be put among a test's files and saved.
    ///
    /// # Errors
    /// [`KeepError`] when it can't be read or written.
    pub fn take_in(&self, from: &mut dyn Read, named: &Path) -> Result<Held, KeepError> {
        Ok(self.another()?.take_in_from(from, named)?)
    }

    /// Opens a file of a test to be read.
    ///
    /// # Errors
    /// [`KeepError::NotThere`] when the test has no such file.
    pub fn open_file(&self, test: &OpenTest, path: &str) -> Result<Box<dyn Read>, KeepError> {
        let held = test.documents.get(path).ok_or_else(|| {
            KeepError::NotThere(AppError::new(
                format!("test {} has no file {path}", test.id),
                "",
            ))
        })?;
        Ok(self.file().open_held(held)?)
    }
}

#[cfg(test)]
mod tests {
    use super::written;

    #[test]
    fn times_sort_as_their_letters_do() {
        let at = |ms| written(jiff::Timestamp::from_millisecond(ms).unwrap());
        // RFC 3339, section 5.1: of one width, times sort as strings.
        assert_eq!(at(0), "1970-01-01T00:00:00.000Z");
        let times: Vec<String> = (0..2_000).map(at).collect();
        assert!(times.is_sorted());
    }
}
