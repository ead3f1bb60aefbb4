//! A test folder into the notebook, and out of it again, byte for byte.

use crate::bundle::GoOn;
use crate::documents::{BYTES_MOST, Documents, Fingerprint, Held, is_own};
use crate::folder::TEST_TOML;
use crate::path::{TEXT_BYTES_MOST, hash_file};
use crate::problem::FolderError;
use crate::store::content::held as held_in;
use crate::store::error::file_error;
use crate::store::scans::{StoredPlace, same_bytes};
use crate::store::{NotebookError, NotebookFile, ScanPlace};
use crate::write::Partial;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::Path;

/// The most files a test may have.
pub(crate) const FILES_MOST: usize = 20_000;

/// The folder that holds what can be computed again.
const COMPUTED: &str = "results";

/// A test folder's files, read to be kept.
#[derive(Clone, Debug)]
pub struct TakenIn {
    /// Its files.
    pub documents: Documents,
    /// What was left out, and why, as sentences.
    pub left_out: Vec<String>,
}

impl NotebookFile {
    /// Reads the files of a test folder: texts with their bytes, scans taken in
    /// or referred to. Results, hidden files and links are left out, and named.
    /// `go_on` is told the number of files, before each; their sum is not known.
    ///
    /// # Errors
    /// [`NotebookError`] when the folder has no `test.toml`, a file can't be
    /// read, or a name would not stand on every disk; [`NotebookError::Stopped`].
    pub fn take_folder_in(
        &self,
        dir: &Path,
        scans: ScanPlace,
        go_on: &GoOn<'_>,
    ) -> Result<TakenIn, NotebookError> {
        read_files(dir, go_on, &|path| match scans {
            ScanPlace::TakenIn => self.take_in(path),
            ScanPlace::ReferredTo => self.refer_to(path),
        })
    }

    /// Takes in files that lie under other names than they have in the test: each with its
    /// path there, and where it is. `go_on` is told which file of how many comes next.
    ///
    /// # Errors
    /// [`NotebookError`] when there is no `test.toml` among them, a file can't be read, or a
    /// path would not stand on every disk; [`NotebookError::Stopped`].
    pub fn take_files_in(
        &self,
        files: &[(&str, &Path)],
        go_on: &GoOn<'_>,
    ) -> Result<Documents, NotebookError> {
        let mut documents = Documents::default();
        for (done, (path, file)) in files.iter().enumerate() {
            if !go_on(done as u64, files.len() as u64) {
                return Err(NotebookError::Stopped);
            }
            documents.put(path, kept_as(path, file, &|file| self.take_in(file))?)?;
        }
        if documents.get(TEST_TOML).is_none() {
            return Err(no_record("the folder", "send its test.toml too").into());
        }
        Ok(documents)
    }

    /// Opens a file of a test to be read.
    ///
    /// # Errors
    /// As for [`Self::place_of`].
    pub fn open_held(&self, held: &Held) -> Result<Box<dyn Read>, NotebookError> {
        Ok(match held {
            Held::Bytes(bytes) => Box::new(io::Cursor::new(bytes.clone())),
            Held::Stored(fingerprint) => match self.place_of(fingerprint)? {
                StoredPlace::File(path) => {
                    Box::new(File::open(&path).map_err(file_error("reading", &path))?)
                }
                StoredPlace::Within(content) => match held_in(&self.connection, content)? {
                    Held::Bytes(bytes) => Box::new(io::Cursor::new(bytes)),
                    // Taken out of the file between the two questions.
                    Held::Stored(Fingerprint { sha256, .. }) => {
                        return Err(NotebookError::NoScan { sha256 });
                    }
                },
            },
        })
    }

    /// Writes files as a test folder: whole, or not at all.
    ///
    /// # Errors
    /// [`NotebookError`] when `dir` holds anything already, a scan is not there
    /// or is not what it was, or a file can't be written.
    pub fn write_folder(&self, documents: &Documents, dir: &Path) -> Result<(), NotebookError> {
        self.lay_out(documents, dir, Laying::Copied)
    }

    /// Lays files out as a folder to work in: scans are linked to where the disk
    /// allows it, and must only be read.
    ///
    /// # Errors
    /// As for [`Self::write_folder`].
    pub fn lay_out_to_read(&self, documents: &Documents, dir: &Path) -> Result<(), NotebookError> {
        self.lay_out(documents, dir, Laying::Linked)
    }

    fn lay_out(
        &self,
        documents: &Documents,
        dir: &Path,
        laying: Laying,
    ) -> Result<(), NotebookError> {
        let failed = |error| file_error("writing", dir)(error);
        let had = match fs::read_dir(dir) {
            Ok(mut entries) => {
                if entries.next().is_some() {
                    return Err(FolderError::of_file(
                        dir.display().to_string(),
                        "the folder is not empty",
                        "a new or empty folder: nothing is overwritten",
                        "name another folder, or empty this one yourself",
                    )
                    .into());
                }
                true
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => false,
            Err(error) => return Err(failed(error)),
        };
        let partial = Partial::beside(dir).map_err(failed)?;
        for (path, held) in documents.iter() {
            self.lay_file(held, &partial.path.join(path), laying)?;
        }
        if had {
            fs::remove_dir(dir).map_err(failed)?;
        }
        fs::rename(&partial.path, dir).map_err(failed)
    }

    fn lay_file(&self, held: &Held, path: &Path, laying: Laying) -> Result<(), NotebookError> {
        let failed = |error| file_error("writing", path)(error);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).map_err(failed)?;
        }
        if let (Held::Stored(fingerprint), Laying::Linked) = (held, laying)
            && let StoredPlace::File(stored) = self.place_of(fingerprint)?
            && fs::hard_link(&stored, path).is_ok()
        {
            // What lies beside the notebook is not altered; elsewhere anybody may.
            return if stored.starts_with(self.scans_folder()) {
                Ok(())
            } else {
                same_bytes(&stored, fingerprint)
            };
        }
        let mut from = self.open_held(held)?;
        let mut to = File::create_new(path).map_err(failed)?;
        let mut hash = Hashed::new(&mut to);
        io::copy(&mut from, &mut hash).map_err(failed)?;
        if let Held::Stored(fingerprint) = held
            && hash.sha256() != fingerprint.sha256
        {
            return Err(match self.place_of(fingerprint)? {
                StoredPlace::File(path) => NotebookError::ScanChanged {
                    path,
                    what: "another file now",
                },
                StoredPlace::Within(_) => NotebookError::NoScan {
                    sha256: fingerprint.sha256.clone(),
                },
            });
        }
        if laying == Laying::Copied {
            to.sync_all().map_err(failed)?;
        }
        Ok(())
    }
}

/// Reads the files of a test folder that is not kept in a notebook, for a
/// bundle: large ones by their hash.
///
/// # Errors
/// As for [`NotebookFile::take_folder_in`].
pub fn folder_files(dir: &Path) -> Result<TakenIn, NotebookError> {
    read_files(dir, &|_, _| true, &|path| {
        let failed = |error| file_error("reading", path)(error);
        let size = fs::metadata(path).map_err(failed)?.len();
        Ok(if size > BYTES_MOST {
            Held::Stored(Fingerprint {
                sha256: hash_file(path)?,
                size,
            })
        } else {
            Held::Bytes(fs::read(path).map_err(failed)?)
        })
    })
}

/// What makes a kept file of one on the disk.
type Keep<'a> = dyn Fn(&Path) -> Result<Held, NotebookError> + 'a;

fn read_files(dir: &Path, go_on: &GoOn<'_>, keep: &Keep<'_>) -> Result<TakenIn, NotebookError> {
    let root = dir.canonicalize().map_err(file_error("opening", dir))?;
    if !root.join(TEST_TOML).is_file() {
        return Err(no_record(
            &dir.display().to_string(),
            "run `filmproof demo DIR` to see a filled-in folder",
        )
        .into());
    }
    let mut taken = TakenIn {
        documents: Documents::default(),
        left_out: Vec::new(),
    };
    read_into(&root, "", go_on, keep, &mut taken)?;
    Ok(taken)
}

/// There is no record at the top of a folder.
pub(crate) fn no_record(folder: &str, remedy: impl Into<String>) -> FolderError {
    FolderError::of_file(
        folder,
        "the folder holds no test.toml",
        "a test folder: test.toml with the record, patches.csv, readings.csv and the scans",
        remedy,
    )
}

fn read_into(
    folder: &Path,
    within: &str,
    go_on: &GoOn<'_>,
    keep: &Keep<'_>,
    taken: &mut TakenIn,
) -> Result<(), NotebookError> {
    let reading = |error| file_error("reading", folder)(error);
    let mut entries: Vec<fs::DirEntry> = fs::read_dir(folder)
        .and_then(Iterator::collect)
        .map_err(reading)?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let name = entry.file_name();
        let Some(name) = name.to_str() else {
            taken.left_out.push(format!(
                "{within}{}: its name is no text",
                name.to_string_lossy()
            ));
            continue;
        };
        let path = format!("{within}{name}");
        let kind = entry.file_type().map_err(reading)?;
        let as_shown = if kind.is_dir() {
            format!("{path}/")
        } else {
            path.clone()
        };
        if let Some(why) = why_left_out(&as_shown) {
            taken.left_out.push(format!("{path}: {why}"));
        } else if kind.is_dir() {
            read_into(&entry.path(), &as_shown, go_on, keep, taken)?;
        } else if !kind.is_file() {
            taken.left_out.push(format!("{path}: a link, or no file"));
        } else {
            if !go_on(taken.documents.count() as u64, 0) {
                return Err(NotebookError::Stopped);
            }
            taken
                .documents
                .put(&path, kept_as(&path, &entry.path(), keep)?)?;
            if taken.documents.count() > FILES_MOST {
                return Err(FolderError::of_file(
                    folder.display().to_string(),
                    format!("there are more than {FILES_MOST} files"),
                    "a test folder",
                    "name the folder of one test",
                )
                .into());
            }
        }
    }
    Ok(())
}

/// Says why a path within a test folder is left out of what is kept; that of a folder ends
/// with /.
pub(crate) fn why_left_out(path: &str) -> Option<&'static str> {
    if path.split('/').any(|part| part.starts_with('.')) {
        Some("hidden")
    } else if path.split_once('/').is_some_and(|(top, _)| top == COMPUTED) {
        Some("can be computed again")
    } else {
        None
    }
}

/// Keeps a file of the disk under a path of the test.
fn kept_as(path: &str, file: &Path, keep: &Keep<'_>) -> Result<Held, NotebookError> {
    if is_own(path) {
        own_text(file, path)
    } else {
        keep(file)
    }
}

/// How a test's files are laid out as a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Laying {
    Copied,
    Linked,
}

/// Writes on, and takes the hash of what went through.
pub(crate) struct Hashed<W> {
    to: W,
    hash: sha2::Sha256,
}

impl<W: Write> Hashed<W> {
    pub(crate) fn new(to: W) -> Self {
        Self {
            to,
            hash: sha2::Digest::new(),
        }
    }

    pub(crate) fn sha256(self) -> String {
        crate::store::content::hash_text(&sha2::Digest::finalize(self.hash))
    }
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.to.write(bytes)?;
        sha2::Digest::update(&mut self.hash, &bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// One of the four texts: kept with its bytes whatever its size.
fn own_text(file: &Path, path: &str) -> Result<Held, NotebookError> {
    let mut bytes = Vec::new();
    File::open(file)
        .and_then(|file| file.take(TEXT_BYTES_MOST + 1).read_to_end(&mut bytes))
        .map_err(file_error("reading", file))?;
    if bytes.len() as u64 > TEXT_BYTES_MOST {
        return Err(FolderError::of_file(
            path,
            format!("the file has more than {TEXT_BYTES_MOST} bytes"),
            "a text file of at most 16 MB",
            "check that this is the right file",
        )
        .into());
    }
    Ok(Held::Bytes(bytes))
}
