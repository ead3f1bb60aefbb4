//! Scans: beside the notebook under their hash, or where they are.
//!
//! A scan is written whole under another name, brought to the disk, then
//! renamed; only then does the notebook learn of it. What a pulled plug leaves
//! behind is a file nobody refers to, never a reference that leads nowhere.

use crate::documents::{BYTES_MOST, Fingerprint, Held};
use crate::path::hash_file;
use crate::store::content::{add, hash_text};
use crate::store::error::{Doing, file_error};
use crate::store::{NotebookError, NotebookFile};
use rusqlite::OptionalExtension;
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

/// Where scans of an imported test are to lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScanPlace {
    /// Copied into the folder of scans beside the notebook.
    TakenIn,
    /// Left where they are; the notebook knows path, hash and size.
    ReferredTo,
}

/// Where the bytes of a stored file lie.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StoredPlace {
    /// Within the notebook's file, as the content of this number.
    Within(i64),
    /// In a file of their own.
    File(PathBuf),
}

/// A half-written scan that is older than this is nobody's.
const ABANDONED: Duration = Duration::from_secs(24 * 3600);

/// Numbers the files being written by this program.
static NUMBER: std::sync::atomic::AtomicU64 = std::sync::atomic::AtomicU64::new(0);

/// Brings a written file to the disk and then to its name.
pub(crate) fn settle(partial: &Path, name: &Path) -> Result<(), NotebookError> {
    File::open(partial)
        .and_then(|file| file.sync_all())
        .and_then(|()| fs::rename(partial, name))
        .and_then(|()| sync_folder_of(name))
        .map_err(file_error("writing", name))
}

/// A scan is never altered: not by mistake, and not through a link to it.
fn read_only(path: &Path) -> std::io::Result<()> {
    // Elsewhere a link that may only be read could not be removed again.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(path, fs::Permissions::from_mode(0o444))?;
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

/// Brings a folder's list of names to the disk, where the system has that.
fn sync_folder_of(path: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    if let Some(folder) = path.parent() {
        File::open(folder)?.sync_all()?;
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

/// Removes half-written files that nobody is writing any more: scans in their
/// folder, and copies and folders beside the notebook that begin with its name.
pub(crate) fn sweep(folder: &Path, begin: &str) {
    let Ok(entries) = fs::read_dir(folder) else {
        // Not there until a scan is taken in.
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let old = entry
            .metadata()
            .and_then(|kind| kind.modified())
            .is_ok_and(|at| {
                SystemTime::now()
                    .duration_since(at)
                    .is_ok_and(|age| age > ABANDONED)
            });
        if old && name.starts_with(begin) && name.contains(".partial-") {
            // What can't be removed is harmless.
            drop(fs::remove_file(entry.path()));
        }
    }
}

/// A file that goes away unless it was brought to its name.
struct Partial(PathBuf);

impl Drop for Partial {
    fn drop(&mut self) {
        // Gone already when it was renamed.
        drop(fs::remove_file(&self.0));
    }
}

impl NotebookFile {
    /// Takes a file in: small ones as bytes, large ones beside the notebook
    /// under their hash.
    ///
    /// # Errors
    /// [`NotebookError::File`] when it can't be read or written.
    pub fn take_in(&self, path: &Path) -> Result<Held, NotebookError> {
        let mut file = File::open(path).map_err(file_error("reading", path))?;
        self.take_in_from(&mut file, path)
    }

    /// Takes in what a reader gives; `named` stands in errors.
    ///
    /// # Errors
    /// As for [`Self::take_in`].
    pub fn take_in_from(&self, reader: &mut dyn Read, named: &Path) -> Result<Held, NotebookError> {
        let mut begin = Vec::new();
        reader
            .take(BYTES_MOST + 1)
            .read_to_end(&mut begin)
            .map_err(file_error("reading", named))?;
        if begin.len() as u64 <= BYTES_MOST {
            return Ok(Held::Bytes(begin));
        }
        let folder = self.scans_folder();
        let writing = |error| file_error("writing", &folder)(error);
        fs::create_dir_all(&folder).map_err(writing)?;
        let number = NUMBER.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let partial = Partial(folder.join(format!(".partial-{}-{number}", std::process::id())));
        let mut file = File::create(&partial.0).map_err(writing)?;
        let mut hash = Sha256::new();
        let mut size = begin.len() as u64;
        hash.update(&begin);
        file.write_all(&begin).map_err(writing)?;
        drop(begin);
        let mut block = vec![0; 1 << 18];
        loop {
            let read = reader
                .read(&mut block)
                .map_err(file_error("reading", named))?;
            if read == 0 {
                break;
            }
            hash.update(&block[..read]);
            file.write_all(&block[..read]).map_err(writing)?;
            size += read as u64;
        }
        drop(file);
        let fingerprint = Fingerprint {
            sha256: hash_text(&hash.finalize()),
            size,
        };
        let place = folder.join(&fingerprint.sha256);
        // The same bytes may be there already, whole, for they were renamed.
        if fs::metadata(&place).map(|kind| kind.len()).ok() != Some(size) {
            read_only(&partial.0).map_err(writing)?;
            settle(&partial.0, &place)?;
        }
        add(&self.connection, &fingerprint, "beside", None, None)?;
        Ok(Held::Stored(fingerprint))
    }

    /// Refers to a file where it is: its path, hash and size are kept. Small
    /// files are taken in all the same.
    ///
    /// # Errors
    /// [`NotebookError::File`] when it can't be read.
    pub fn refer_to(&self, path: &Path) -> Result<Held, NotebookError> {
        let reading = |error| file_error("reading", path)(error);
        let size = fs::metadata(path).map_err(reading)?.len();
        if size <= BYTES_MOST {
            return self.take_in(path);
        }
        let absolute = path.canonicalize().map_err(reading)?;
        let Some(text) = absolute.to_str() else {
            // A path that is no text can't be written down.
            return self.take_in(path);
        };
        let fingerprint = Fingerprint {
            sha256: hash_file(&absolute)?,
            size,
        };
        add(
            &self.connection,
            &fingerprint,
            "elsewhere",
            None,
            Some(text),
        )?;
        Ok(Held::Stored(fingerprint))
    }

    /// Where a stored file's bytes lie. The size of a file is looked at, its hash is not.
    ///
    /// # Errors
    /// [`NotebookError::NoScan`] and [`NotebookError::ScanChanged`].
    pub fn place_of(&self, fingerprint: &Fingerprint) -> Result<StoredPlace, NotebookError> {
        let no_scan = || NotebookError::NoScan {
            sha256: fingerprint.sha256.clone(),
        };
        let id = crate::store::content::content_of(&self.connection, fingerprint)?
            .ok_or_else(no_scan)?;
        let (place, path) = self
            .connection
            .prepare_cached("SELECT place, path FROM content WHERE id = ?1")
            .doing("looking for a scan")?
            .query_row([id], |row| {
                Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?))
            })
            .optional()
            .doing("looking for a scan")?
            .ok_or_else(no_scan)?;
        let path = match (place.as_str(), path) {
            ("beside", _) => self.scans_folder().join(&fingerprint.sha256),
            (_, Some(path)) => PathBuf::from(path),
            _ => return Ok(StoredPlace::Within(id)),
        };
        let what = match fs::metadata(&path) {
            Err(_) => "not there any more",
            Ok(kind) if !kind.is_file() || kind.len() != fingerprint.size => "another file now",
            Ok(_) => return Ok(StoredPlace::File(path)),
        };
        Err(NotebookError::ScanChanged { path, what })
    }

    /// Reads every scan of the notebook, and names those that are not there or have
    /// other bytes than they had.
    ///
    /// # Errors
    /// [`NotebookError::Sql`].
    pub fn wrong_scans(&self) -> Result<Vec<String>, NotebookError> {
        let doing = "checking the scans";
        let stored: Vec<Fingerprint> = {
            let mut statement = self
                .connection
                .prepare("SELECT sha256, size FROM content WHERE bytes IS NULL ORDER BY id")
                .doing(doing)?;
            let rows = statement
                .query_map([], |row| {
                    Ok(Fingerprint {
                        sha256: hash_text(&row.get::<_, Vec<u8>>(0)?),
                        size: row.get::<_, i64>(1)?.cast_unsigned(),
                    })
                })
                .doing(doing)?;
            rows.collect::<Result<_, _>>().doing(doing)?
        };
        let mut wrong = Vec::new();
        for fingerprint in stored {
            let same = match self.place_of(&fingerprint) {
                Ok(StoredPlace::File(path)) => same_bytes(&path, &fingerprint),
                // Within are the contents, which are checked by themselves.
                Ok(StoredPlace::Within(_)) => Ok(()),
                Err(error) => Err(error),
            };
            if let Err(error) = same {
                wrong.push(error.to_string());
            }
        }
        Ok(wrong)
    }
}

/// Compares a file's hash with what it must be.
pub(crate) fn same_bytes(path: &Path, fingerprint: &Fingerprint) -> Result<(), NotebookError> {
    if hash_file(path)? == fingerprint.sha256 {
        return Ok(());
    }
    Err(NotebookError::ScanChanged {
        path: path.to_path_buf(),
        what: "another file now",
    })
}
