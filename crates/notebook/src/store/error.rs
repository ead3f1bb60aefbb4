//! Why the notebook could not do what was asked.

use crate::problem::FolderError;
use crate::store::{Revision, TestId};
use std::path::PathBuf;

/// Somebody else changed a test since it was read; nothing was saved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conflict {
    /// The test.
    pub test: TestId,
    /// The revision that the change was made to.
    pub expected: u32,
    /// The revision that the test has.
    pub current: u32,
    /// What was changed since, oldest first.
    pub since: Vec<Revision>,
}

/// Why the notebook could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum NotebookError {
    /// The file is of a later version of the program.
    #[error(
        "{}: the notebook has schema {found}, and this program knows schemas up to {known}",
        path.display()
    )]
    Newer {
        /// The notebook.
        path: PathBuf,
        /// Its schema.
        found: u32,
        /// The newest schema that is known.
        known: u32,
    },
    /// The file is something else.
    #[error("{}: this file is no notebook", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// The file does not pass its integrity check.
    #[error("{}: the notebook is damaged: {}", path.display(), findings.join("; "))]
    Damaged {
        /// The notebook.
        path: PathBuf,
        /// What the check found.
        findings: Vec<String>,
    },
    /// A file could not be read or written.
    #[error("{doing} {} failed", path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system says.
        #[source]
        error: std::io::Error,
    },
    /// SQLite refused.
    #[error("{doing} failed")]
    Sql {
        /// What was being done.
        doing: &'static str,
        /// What SQLite says.
        #[source]
        error: rusqlite::Error,
    },
    /// There is no such test.
    #[error("the notebook has no test {}", .0.number())]
    NoTest(TestId),
    /// There is no such revision.
    #[error("test {} has no revision {revision}", test.number())]
    NoRevision {
        /// The test.
        test: TestId,
        /// The revision asked for.
        revision: u32,
    },
    /// There is nothing that could be undone.
    #[error("nothing was changed in test {} since it was made", .0.number())]
    NothingToUndo(TestId),
    /// Somebody else changed the test since.
    #[error(
        "test {} was changed since it was opened here: revision {} was expected, it has {}",
        .0.test.number(), .0.expected, .0.current
    )]
    Conflict(Box<Conflict>),
    /// A scan's bytes are not there.
    #[error("the scan with SHA-256 {sha256} is not in the notebook")]
    NoScan {
        /// Its hash.
        sha256: String,
    },
    /// A scan that is referred to is not what it was, or not there.
    #[error("{}: the scan is {what}", path.display())]
    ScanChanged {
        /// Where it was.
        path: PathBuf,
        /// What was found instead.
        what: &'static str,
    },
    /// Somebody asked for the work to stop; nothing was kept of it.
    #[error("the work was stopped")]
    Stopped,
    /// A file of a test is at fault.
    #[error(transparent)]
    Files(#[from] FolderError),
}

impl NotebookError {
    /// Says what to do; empty when the message has it.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Newer { .. } => "use the program that made it, or a later one",
            Self::Foreign { .. } => "name a notebook, or a file that is not there yet to begin one",
            Self::Damaged { .. } => {
                "keep this file as it is; take a copy of yours, or the copy that was made before the last migration (it lies beside the notebook), and import from it"
            }
            Self::File { .. } => "check the path, its permissions and the free space",
            Self::Sql { .. } => {
                "check the free space, and whether another program holds the notebook"
            }
            Self::NoTest(_) | Self::NoRevision { .. } => "look at the list of tests",
            Self::NothingToUndo(_) => "",
            Self::Stopped => "begin it again when you like",
            Self::Conflict(_) => "look at what was changed, then make your change again",
            Self::NoScan { .. } => "import the test again with its scans",
            Self::ScanChanged { .. } => {
                "put the file back, or import the test again with its scans taken in"
            }
            Self::Files(_) => "",
        }
    }
}

/// Names what was being done when SQLite refused.
pub(crate) trait Doing<T> {
    /// Adds the words.
    fn doing(self, doing: &'static str) -> Result<T, NotebookError>;
}

impl<T> Doing<T> for Result<T, rusqlite::Error> {
    fn doing(self, doing: &'static str) -> Result<T, NotebookError> {
        self.map_err(|error| NotebookError::Sql { doing, error })
    }
}

/// Names the file that could not be read or written.
pub(crate) fn file_error(
    doing: &'static str,
    path: &std::path::Path,
) -> impl FnOnce(std::io::Error) -> NotebookError {
    let path = path.to_path_buf();
    move |error| NotebookError::File { doing, path, error }
}
