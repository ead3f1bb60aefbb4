//! The ways into a notebook and out of it: folder and bundle, and the worked example.

use super::tests_kept::stamp;
use super::{KeepError, Notebook};
use crate::{AppError, Progress, write_demo};
use notebook::{
    BundleLimits, Documents, Held, NotebookError, OpenHeld, ScanPlace, TakenIn, TestId,
    folder_files, unpack_bundle, write_bundle,
};
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, SystemTime};

/// A test that came into the notebook.
#[derive(Clone, Debug)]
pub struct Added {
    /// Its number.
    pub test: TestId,
    /// Files of the folder that were left out, and why, as sentences.
    pub left_out: Vec<String>,
    /// Tests that were there already with the very same files.
    pub same_as: Vec<TestId>,
}

/// Numbers the folders in use.
static NUMBER: AtomicU64 = AtomicU64::new(0);

/// Tells progress of one work, and goes on unless it was asked to stop.
pub(super) fn told<'a>(
    progress: &'a dyn Progress,
    work: &'a str,
) -> impl Fn(u64, u64) -> bool + 'a {
    move |done, total| {
        progress.at(work, done, total);
        !progress.stop_asked()
    }
}

/// A folder that goes away with its holder.
#[derive(Debug)]
pub(super) struct Scratch(pub(super) PathBuf);

/// What a scratch folder's name begins with.
const IN_USE: &str = "in-use-";
/// One that is older than this was left behind by a program that was killed.
const ABANDONED: Duration = Duration::from_secs(24 * 3600);

/// Name of the folder for files that are being sent.
const UPLOADS: &str = "uploads";

/// Removes scratch folders and files half sent that nobody uses any more.
pub(super) fn sweep(work: &Path) {
    let entries = |dir: &Path| fs::read_dir(dir).into_iter().flatten().flatten();
    let uploads = work.join(UPLOADS);
    // Neither folder is there until something is laid out or sent.
    for entry in entries(work).chain(entries(&uploads)) {
        let old = entry
            .metadata()
            .and_then(|kind| kind.modified())
            .is_ok_and(|at| {
                SystemTime::now()
                    .duration_since(at)
                    .is_ok_and(|age| age > ABANDONED)
            });
        // What can't be removed is harmless.
        if old && entry.file_name().to_string_lossy().contains(IN_USE) {
            drop(fs::remove_dir_all(entry.path()));
        } else if old && entry.path().parent() == Some(uploads.as_path()) {
            drop(fs::remove_file(entry.path()));
        }
    }
}

impl Scratch {
    /// The name of a new folder within `work`, which is made if need be.
    pub(super) fn within(work: &Path) -> Result<Self, AppError> {
        fs::create_dir_all(work).map_err(|e| AppError::file("making", work, &e))?;
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        Ok(Self(
            work.join(format!("{IN_USE}{}-{number}", std::process::id())),
        ))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // Ours; what can't be removed is harmless beside the notebook.
        drop(fs::remove_dir_all(&self.0));
    }
}

/// A new test's record, with nothing but a title.
fn empty_record(title: &str) -> String {
    format!(
        "# A test folder. Lines that begin with # are notes for people.\nformat = 1\ntitle = {}\n",
        serde_json::Value::from(title)
    )
}

impl Notebook {
    /// The folder beside the notebook for files that are being sent: on the disk that is
    /// to keep them.
    ///
    /// # Errors
    /// [`AppError`] when it can't be made.
    pub fn uploads(&self) -> Result<PathBuf, AppError> {
        let dir = self.work().join(UPLOADS);
        fs::create_dir_all(&dir).map_err(|e| AppError::file("making", &dir, &e))?;
        Ok(dir)
    }

    /// Begins a test with nothing but a title.
    ///
    /// # Errors
    /// [`KeepError`] when there is no title or the notebook can't be written.
    pub fn begin_test(&self, title: &str, by: &str) -> Result<TestId, KeepError> {
        let title: String = title
            .trim()
            .chars()
            .filter(|c| !c.is_control())
            .take(500)
            .collect();
        if title.is_empty() {
            return Err(AppError::new("a test needs a title", "say what it is to find out").into());
        }
        let mut documents = Documents::default();
        documents.put("test.toml", Held::Bytes(empty_record(&title).into_bytes()))?;
        Ok(self.file().add_test(&documents, &stamp(by), "begun")?)
    }

    /// Puts the worked example into the notebook; its data are invented.
    ///
    /// # Errors
    /// [`KeepError`] when the notebook can't be written.
    pub fn add_demo(&self, by: &str, progress: &dyn Progress) -> Result<TestId, KeepError> {
        let scratch = Scratch::within(self.work())?;
        write_demo(&scratch.0, progress)?;
        let file = self.another()?;
        let taken = file.take_folder_in(&scratch.0, ScanPlace::TakenIn, &|_, _| true)?;
        Ok(self
            .file()
            .add_test(&taken.documents, &stamp(by), "the worked example")?)
    }

    /// Imports a test folder: scans taken in, or referred to where they are.
    ///
    /// # Errors
    /// [`KeepError`] when the folder can't be read or is no test folder.
    pub fn import_folder(
        &self,
        dir: &Path,
        scans: ScanPlace,
        by: &str,
        progress: &dyn Progress,
    ) -> Result<Added, KeepError> {
        let taken = self.another()?.take_folder_in(
            dir,
            scans,
            &told(progress, "reading the folder's files"),
        )?;
        progress.at("keeping the test", 0, 1);
        let what = format!("imported from the folder {}", shown_name(dir));
        let added = self.keep(taken, by, &what)?;
        progress.at("keeping the test", 1, 1);
        Ok(added)
    }

    /// Imports a bundle, which may come from a stranger.
    ///
    /// # Errors
    /// [`KeepError`] naming what is wrong with it; then nothing is kept.
    pub fn import_bundle(
        &self,
        bundle: &Path,
        by: &str,
        progress: &dyn Progress,
    ) -> Result<Added, KeepError> {
        let what = format!("imported from the bundle {}", shown_name(bundle));
        self.unpack_and_keep(bundle, by, &what, progress)
    }

    /// As [`Self::import_bundle`] of a file whose name on the disk says nothing: one that
    /// was sent.
    ///
    /// # Errors
    /// As [`Self::import_bundle`].
    pub fn import_sent_bundle(
        &self,
        bundle: &Path,
        by: &str,
        progress: &dyn Progress,
    ) -> Result<Added, KeepError> {
        self.unpack_and_keep(bundle, by, "imported from a bundle that was sent", progress)
    }

    fn unpack_and_keep(
        &self,
        bundle: &Path,
        by: &str,
        what: &str,
        progress: &dyn Progress,
    ) -> Result<Added, KeepError> {
        let scratch = Scratch::within(self.work())?;
        unpack_bundle(
            bundle,
            &scratch.0,
            BundleLimits::USUAL,
            &told(progress, "unpacking the bundle"),
        )?;
        let taken = self.another()?.take_folder_in(
            &scratch.0,
            ScanPlace::TakenIn,
            &told(progress, "reading its files"),
        )?;
        progress.at("keeping the test", 0, 1);
        let added = self.keep(taken, by, what)?;
        progress.at("keeping the test", 1, 1);
        Ok(added)
    }

    pub(super) fn keep(&self, taken: TakenIn, by: &str, what: &str) -> Result<Added, KeepError> {
        let mut file = self.file();
        let same_as = file.tests_with(&taken.documents)?;
        Ok(Added {
            test: file.add_test(&taken.documents, &stamp(by), what)?,
            left_out: taken.left_out,
            same_as,
        })
    }

    /// Exports a test as a folder, which must be new or empty.
    ///
    /// # Errors
    /// [`KeepError`] when it can't be written, or a scan is not there any more.
    pub fn export_folder(
        &self,
        test: TestId,
        revision: Option<u32>,
        dir: &Path,
    ) -> Result<(), KeepError> {
        let file = self.another()?;
        let (_, documents) = file.documents(test, revision)?;
        Ok(file.write_folder(&documents, dir)?)
    }

    /// Exports a test as a bundle: whole, or not at all. What stood there is
    /// replaced.
    ///
    /// # Errors
    /// As for [`Self::export_folder`].
    pub fn export_bundle(
        &self,
        test: TestId,
        revision: Option<u32>,
        to: &Path,
    ) -> Result<(), KeepError> {
        let file = self.another()?;
        let (_, documents) = file.documents(test, revision)?;
        bundle_file(&documents, &|_, held| file.open_held(held), to)
    }

    /// A name for a test's folder or bundle, made of its title.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn file_name(&self, test: TestId) -> Result<String, KeepError> {
        let title = self.overview(test)?.title;
        let mut name = String::new();
        for c in title.chars().flat_map(char::to_lowercase) {
            if c.is_alphanumeric() {
                name.push(c);
            } else if !name.ends_with('-') && !name.is_empty() {
                name.push('-');
            }
            if name.len() > 60 {
                break;
            }
        }
        let name = name.trim_matches('-');
        Ok(if name.is_empty() {
            format!("test-{test}")
        } else {
            name.to_owned()
        })
    }
}

/// Writes a bundle beside its place, then moves it there.
fn bundle_file(documents: &Documents, open: &OpenHeld<'_>, to: &Path) -> Result<(), KeepError> {
    let name = to.file_name().ok_or_else(|| {
        AppError::new(
            format!("{} is not the name of a file", to.display()),
            "name a file",
        )
    })?;
    let partial = to.with_file_name(format!(
        ".{}.new-{}",
        name.to_string_lossy(),
        std::process::id()
    ));
    let written = (|| {
        let file = File::create(&partial).map_err(|e| AppError::file("writing", &partial, &e))?;
        write_bundle(documents, open, BufWriter::new(&file))?;
        file.sync_all()
            .and_then(|()| fs::rename(&partial, to))
            .map_err(|e| AppError::file("writing", to, &e))?;
        Ok(())
    })();
    if written.is_err() {
        // Ours, and not whole.
        drop(fs::remove_file(&partial));
    }
    written
}

/// Makes a bundle of a test folder; gives what was left out.
///
/// # Errors
/// [`AppError`] when the folder can't be read or the bundle can't be written.
pub fn bundle_of_folder(dir: &Path, to: &Path) -> Result<Vec<String>, AppError> {
    let taken = folder_files(dir).map_err(KeepError::from)?;
    bundle_file(
        &taken.documents,
        &|path, held| {
            Ok(match held {
                Held::Bytes(bytes) => Box::new(std::io::Cursor::new(bytes.clone())),
                Held::Stored(_) => {
                    let path = dir.join(path);
                    Box::new(File::open(&path).map_err(|error| NotebookError::File {
                        doing: "reading",
                        path,
                        error,
                    })?)
                }
            })
        },
        to,
    )?;
    Ok(taken.left_out)
}

/// Unpacks a bundle, which may come from a stranger, into a new or empty folder.
///
/// # Errors
/// [`AppError`] naming what is wrong with it; then nothing is written.
pub fn folder_of_bundle(
    bundle: &Path,
    dir: &Path,
    progress: &dyn Progress,
) -> Result<(), AppError> {
    let told = told(progress, "unpacking the bundle");
    Ok(unpack_bundle(bundle, dir, BundleLimits::USUAL, &told).map_err(KeepError::from)?)
}

/// A path's last part, for the history.
fn shown_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(|| path.to_string_lossy(), |name| name.to_string_lossy())
        .into_owned()
}
