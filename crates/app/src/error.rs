//! What went wrong, and what to do.

use notebook::FolderError;
use std::fmt;
use std::path::Path;

/// Why a use case gave no result: what was being tried, what was seen, and the
/// remedy. The input is at fault; a bug of ours panics instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AppError {
    /// What was seen, with file, line and value where there are any.
    pub problem: String,
    /// What to do about it.
    pub remedy: String,
}

impl AppError {
    /// Joins a problem and its remedy.
    pub fn new(problem: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            problem: problem.into(),
            remedy: remedy.into(),
        }
    }

    /// A file that could not be read or written.
    pub(crate) fn file(doing: &str, path: &Path, error: &std::io::Error) -> Self {
        Self::new(
            format!("{doing} {} failed: {error}", path.display()),
            "check the path, its permissions and the free space",
        )
    }
}

impl fmt::Display for AppError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.problem)?;
        if !self.remedy.is_empty() {
            write!(f, "\n{}", self.remedy)?;
        }
        Ok(())
    }
}

impl std::error::Error for AppError {}

impl From<FolderError> for AppError {
    fn from(error: FolderError) -> Self {
        // Each problem of a folder carries its own remedy.
        Self::new(error.to_string(), "")
    }
}

/// An error with its causes, in one line.
pub(crate) fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        let more = cause.to_string();
        if !text.contains(&more) {
            text.push_str(": ");
            text.push_str(&more);
        }
        source = cause.source();
    }
    text
}
