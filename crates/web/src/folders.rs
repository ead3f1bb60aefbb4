//! Test folders that are coming in, file by file.
//!
//! A folder that nobody sends to for an hour is given up when another begins; what came of
//! it goes again.

use crate::refusal::Refusal;
use app::{AppError, ListedFile, SentFolder};
use axum::http::StatusCode;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Folders that may be coming in at once.
const MOST_COMING: usize = 4;
/// How long a folder waits for its next file.
const PATIENCE: Duration = Duration::from_secs(3600);

/// All folders that are coming in.
#[derive(Debug, Default)]
pub(crate) struct Folders {
    inner: Mutex<Inner>,
}

#[derive(Debug, Default)]
struct Inner {
    last: u64,
    coming: BTreeMap<u64, Coming>,
}

#[derive(Debug)]
struct Coming {
    folder: SentFolder,
    touched: Instant,
}

fn missing() -> Refusal {
    Refusal::not_found("this folder is not coming in; it may have been given up")
}

impl Folders {
    /// Adds a folder; gives its number.
    pub(crate) fn begin(&self, folder: SentFolder) -> Result<u64, Refusal> {
        let mut inner = self.lock();
        inner
            .coming
            .retain(|_, coming| coming.touched.elapsed() < PATIENCE);
        if inner.coming.len() >= MOST_COMING {
            return Err(Refusal::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                format!("{MOST_COMING} folders are coming in already"),
                "wait for one to end, or cancel it",
            ));
        }
        inner.last += 1;
        let number = inner.last;
        let touched = Instant::now();
        inner.coming.insert(number, Coming { folder, touched });
        Ok(number)
    }

    /// Where a file of a folder is to be written, and what was listed of it.
    pub(crate) fn awaited(
        &self,
        folder: u64,
        file: usize,
    ) -> Result<(PathBuf, ListedFile), Refusal> {
        self.with(folder, |of| {
            Ok((of.place().to_owned(), of.awaited(file)?.clone()))
        })
    }

    /// Takes a file that came whole; gives how many have not come yet.
    pub(crate) fn take(&self, folder: u64, file: usize, written: &Path) -> Result<usize, Refusal> {
        self.with(folder, |of| {
            of.take(file, written)?;
            Ok(of.missing())
        })
    }

    /// Takes a folder of which all files came out of here, to be kept.
    pub(crate) fn whole(&self, folder: u64) -> Result<SentFolder, Refusal> {
        let missing_files = self.with(folder, |of| Ok(of.missing()))?;
        if missing_files > 0 {
            return Err(Refusal::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                format!("{missing_files} of the folder's files have not come"),
                "send them first",
            ));
        }
        self.take_out(folder)
    }

    /// Takes a folder out of here; what came of it goes when it is dropped.
    pub(crate) fn take_out(&self, folder: u64) -> Result<SentFolder, Refusal> {
        let coming = self.lock().coming.remove(&folder);
        coming.map(|of| of.folder).ok_or_else(missing)
    }

    fn with<T>(
        &self,
        folder: u64,
        work: impl FnOnce(&mut SentFolder) -> Result<T, AppError>,
    ) -> Result<T, Refusal> {
        let mut inner = self.lock();
        let coming = inner.coming.get_mut(&folder).ok_or_else(missing)?;
        coming.touched = Instant::now();
        Ok(work(&mut coming.folder)?)
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // A panic elsewhere leaves nothing half done in here.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
