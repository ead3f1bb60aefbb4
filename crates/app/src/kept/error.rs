//! Why the notebook did not do what was asked.

use crate::AppError;
use crate::error::with_causes;
use notebook::{Conflict, FolderError, NotebookError};
use std::fmt;

/// Why the notebook did not do what was asked.
#[derive(Debug)]
pub enum KeepError {
    /// Somebody else changed the test since; nothing was saved.
    Conflict(Box<Conflict>),
    /// There is no such test or revision.
    NotThere(AppError),
    /// Anything else.
    Failed(AppError),
}

impl KeepError {
    /// What was seen and what to do, for whoever treats all alike.
    #[must_use]
    pub fn to_app_error(&self) -> AppError {
        match self {
            Self::Conflict(conflict) => AppError::new(
                conflict_sentence(conflict),
                "look at what was changed, then make your change again",
            ),
            Self::NotThere(error) | Self::Failed(error) => error.clone(),
        }
    }
}

/// Who changed what since, in one sentence.
fn conflict_sentence(conflict: &Conflict) -> String {
    let changes: Vec<String> = conflict
        .since
        .iter()
        .map(|revision| {
            let mut differences: Vec<String> = revision
                .differences
                .iter()
                .take(6)
                .map(ToString::to_string)
                .collect();
            let more = revision.differences.len().saturating_sub(6);
            if more > 0 {
                differences.push(format!("and {more} more"));
            }
            let what = if differences.is_empty() {
                revision.what.clone()
            } else {
                format!("{} ({})", revision.what, differences.join("; "))
            };
            format!("{} at {}: {what}", revision.by, revision.at)
        })
        .collect();
    format!(
        "nothing was saved, for the test was changed since you opened it. {}",
        changes.join(". ")
    )
}

impl fmt::Display for KeepError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.to_app_error().fmt(f)
    }
}

impl std::error::Error for KeepError {}

impl From<NotebookError> for KeepError {
    fn from(error: NotebookError) -> Self {
        let told = AppError::new(with_causes(&error), error.remedy());
        match error {
            NotebookError::Conflict(conflict) => Self::Conflict(conflict),
            NotebookError::NoTest(_) | NotebookError::NoRevision { .. } => Self::NotThere(told),
            _ => Self::Failed(told),
        }
    }
}

impl From<AppError> for KeepError {
    fn from(error: AppError) -> Self {
        Self::Failed(error)
    }
}

impl From<FolderError> for KeepError {
    fn from(error: FolderError) -> Self {
        Self::Failed(error.into())
    }
}

impl From<KeepError> for AppError {
    fn from(error: KeepError) -> Self {
        error.to_app_error()
    }
}
