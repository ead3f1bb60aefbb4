//! The bundle: a test folder in one zip file, with the hash of each file.
//!
//! `bundle.json` lists every file with its path, size and SHA-256; the files
//! themselves stand under `test/`. The same files give the same bundle, byte for
//! byte.
//!
//! A bundle may come from a stranger. Before anything is written its list is
//! checked: every path, every size, their sum against the bundle's own size.
//! What is then unpacked goes under checked names into a new folder, never
//! more bytes than were listed, and must have the hash that was listed; it is
//! removed again when anything is amiss. Nothing in it is ever run.

use crate::documents::{BYTES_MOST, Documents, Fingerprint, Held, is_own};
use crate::problem::{FolderError, short};
use crate::store::{Hashed, NotebookError, file_error};
use crate::write::Partial;
use serde_json::{Value, json};
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// The list of files.
const LIST: &str = "bundle.json";
/// Where the files stand.
const WITHIN: &str = "test/";
/// The version of this format.
const FORMAT: u64 = 1;
/// The most bytes the list may have.
const LIST_BYTES_MOST: u64 = 8 << 20;

/// The most bytes of a bundle that are deflated; what comes after is stored, so that
/// no bundle of ours can look like one that is to fill a disk.
const DEFLATED_MOST: u64 = 32 << 20;

/// What a bundle may hold at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BundleLimits {
    /// Number of files.
    pub files: usize,
    /// Bytes of all files together.
    pub bytes: u64,
    /// Bytes of all files together, for each byte of the bundle; texts are
    /// deflated to a tenth or so, and scans are stored as they are.
    pub times: u64,
    /// Bytes that are allowed whatever the bundle's size.
    pub bytes_free: u64,
}

impl BundleLimits {
    /// What is taken without being asked: 20,000 files, 64 GB, 20 times the size
    /// of the bundle once that is more than 64 MB.
    pub const USUAL: Self = Self {
        files: 20_000,
        bytes: 64 << 30,
        times: 20,
        bytes_free: 64 << 20,
    };
}

/// Opens a file of a test to be read.
pub type OpenHeld<'a> = dyn Fn(&str, &Held) -> Result<Box<dyn Read>, NotebookError> + 'a;

/// Writes files as a bundle.
///
/// # Errors
/// [`NotebookError`] when a file can't be read or has other bytes than it had,
/// or the bundle can't be written.
pub fn write_bundle<W: Write + Seek>(
    documents: &Documents,
    open: &OpenHeld<'_>,
    to: W,
) -> Result<(), NotebookError> {
    let failed = |error: io::Error| file_error("writing", Path::new("the bundle"))(error);
    let zipped = |error: zip::result::ZipError| failed(io::Error::other(error));
    let mut writer = ZipWriter::new(to);
    // The date of every member is the first that a zip knows, and its rights
    // are those of a plain file, so that nothing depends on when and where.
    let options = |deflate: bool, size: u64| {
        SimpleFileOptions::default()
            .compression_method(if deflate {
                CompressionMethod::Deflated
            } else {
                CompressionMethod::Stored
            })
            .compression_level(deflate.then_some(6))
            .unix_permissions(0o644)
            .large_file(size >= u64::from(u32::MAX))
    };
    let files: Vec<Value> = documents
        .iter()
        .map(|(path, held)| {
            let Fingerprint { sha256, size } = held.fingerprint();
            json!({ "path": path, "size": size, "sha256": sha256 })
        })
        .collect();
    let list = json!({ "format": FORMAT, "files": files });
    let mut list = serde_json::to_vec_pretty(&list).map_err(|e| failed(io::Error::other(e)))?;
    list.push(b'\n');
    writer.start_file(LIST, options(true, 0)).map_err(zipped)?;
    writer.write_all(&list).map_err(failed)?;
    let mut deflated = 0;
    for (path, held) in documents.iter() {
        let fingerprint = held.fingerprint();
        let small = is_own(path) || fingerprint.size <= BYTES_MOST;
        let deflate = small && deflated + fingerprint.size <= DEFLATED_MOST;
        if deflate {
            deflated += fingerprint.size;
        }
        writer
            .start_file(
                format!("{WITHIN}{path}"),
                options(deflate, fingerprint.size),
            )
            .map_err(zipped)?;
        let mut from = open(path, held)?;
        let mut hashed = Hashed::new(&mut writer);
        let size = io::copy(&mut from, &mut hashed).map_err(failed)?;
        if size != fingerprint.size || hashed.sha256() != fingerprint.sha256 {
            return Err(NotebookError::ScanChanged {
                path: path.into(),
                what: "another file now",
            });
        }
    }
    writer.finish().map_err(zipped)?.flush().map_err(failed)
}

/// Is told how many bytes or files of how many are done, and says whether to go on.
pub type GoOn<'a> = dyn Fn(u64, u64) -> bool + 'a;

/// A file that a bundle lists.
struct Listed {
    path: String,
    fingerprint: Fingerprint,
}

/// Unpacks a bundle into a new or empty folder: whole, or not at all. `go_on` is told
/// the bytes that are done, before each file.
///
/// # Errors
/// [`NotebookError::Files`] naming the bundle and what is wrong with it;
/// [`NotebookError::Stopped`].
pub fn unpack_bundle(
    bundle: &Path,
    dir: &Path,
    limits: BundleLimits,
    go_on: &GoOn<'_>,
) -> Result<(), NotebookError> {
    let shown = bundle.display().to_string();
    let refused = |seen: String, expected: &str| {
        NotebookError::from(FolderError::of_file(
            &shown,
            seen,
            expected,
            "ask for the bundle again, as `filmproof export` writes it; nothing was imported",
        ))
    };
    let mut file = File::open(bundle).map_err(file_error("opening", bundle))?;
    let size = file
        .metadata()
        .map_err(file_error("reading", bundle))?
        .len();
    let members = members_told(&mut file, size).map_err(file_error("reading", bundle))?;
    let mut archive = ZipArchive::new(file).map_err(|error| {
        refused(
            format!("this is no bundle: {error}"),
            "a zip file with bundle.json in it",
        )
    })?;
    if members.is_some_and(|told| told != archive.len()) {
        return Err(refused(
            "two members have one name".to_owned(),
            "each file once",
        ));
    }
    if archive.len() > limits.files.saturating_add(1) {
        return Err(refused(
            format!("there are {} members", archive.len()),
            &format!("at most {} files", limits.files),
        ));
    }
    let listed = list_of(&mut archive, &refused)?;
    check_list(&listed, &mut archive, size, limits, &refused)?;
    let had = is_empty_folder(dir)?;
    let partial = Partial::beside(dir).map_err(file_error("writing", dir))?;
    let total = listed.iter().map(|file| file.fingerprint.size).sum();
    let mut done = 0;
    for file in &listed {
        if !go_on(done, total) {
            return Err(NotebookError::Stopped);
        }
        done += file.fingerprint.size;
        let target = partial.path.join(&file.path);
        let writing = |error| file_error("writing", &target)(error);
        if let Some(parent) = target.parent() {
            fs::create_dir_all(parent).map_err(writing)?;
        }
        let member = archive
            .by_name(&format!("{WITHIN}{}", file.path))
            .map_err(|error| refused(format!("{}: {error}", short(&file.path)), "a sound file"))?;
        let mut to = File::create_new(&target).map_err(writing)?;
        let mut hashed = Hashed::new(&mut to);
        let copied = io::copy(&mut member.take(file.fingerprint.size + 1), &mut hashed);
        let same = match copied {
            Ok(size) => {
                size == file.fingerprint.size
                    && hashed.sha256() == file.fingerprint.sha256.to_ascii_lowercase()
            }
            Err(error) if error.kind() == io::ErrorKind::StorageFull => {
                return Err(writing(error));
            }
            // Whatever else the unpacking says, the bytes are not those listed.
            Err(_) => false,
        };
        if !same {
            return Err(refused(
                format!(
                    "{} has other bytes than bundle.json lists",
                    short(&file.path)
                ),
                "files with the size and SHA-256 that are listed",
            ));
        }
    }
    if had {
        fs::remove_dir(dir).map_err(file_error("replacing", dir))?;
    }
    fs::rename(&partial.path, dir).map_err(file_error("writing", dir))
}

/// Whether a folder is there; it must be empty then.
fn is_empty_folder(dir: &Path) -> Result<bool, NotebookError> {
    match fs::read_dir(dir) {
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
            Ok(true)
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(file_error("writing", dir)(error)),
    }
}

/// The number of members that the end of a zip file tells; `None` when it tells
/// none there. A reader that goes by names shows two of one name as one.
fn members_told(file: &mut File, size: u64) -> io::Result<Option<usize>> {
    const END: u64 = 22;
    let from = size.saturating_sub(END + u64::from(u16::MAX));
    file.seek(SeekFrom::Start(from))?;
    let mut tail = Vec::new();
    file.take(END + u64::from(u16::MAX))
        .read_to_end(&mut tail)?;
    file.seek(SeekFrom::Start(0))?;
    let place = tail.windows(4).rposition(|bytes| bytes == b"PK\x05\x06");
    Ok(place
        .and_then(|place| tail.get(place + 10..place + 12))
        .map(|bytes| u16::from_le_bytes([bytes[0], bytes[1]]))
        .filter(|told| *told != u16::MAX)
        .map(usize::from))
}

/// Makes the error that a bundle is refused with.
type Refused<'a> = dyn Fn(String, &str) -> NotebookError + 'a;

/// Reads `bundle.json`.
fn list_of(
    archive: &mut ZipArchive<File>,
    refused: &Refused<'_>,
) -> Result<Vec<Listed>, NotebookError> {
    let expected = "bundle.json with `format` 1 and `files`: path, size and sha256 of each";
    let wrong = |what: &str| refused(what.to_owned(), expected);
    let mut text = Vec::new();
    archive
        .by_name(LIST)
        .map_err(|_| wrong("it holds no bundle.json"))?
        .take(LIST_BYTES_MOST + 1)
        .read_to_end(&mut text)
        .map_err(|_| wrong("bundle.json can't be unpacked"))?;
    if text.len() as u64 > LIST_BYTES_MOST {
        return Err(wrong("bundle.json is too large"));
    }
    let list: Value = serde_json::from_slice(&text).map_err(|_| wrong("bundle.json is no JSON"))?;
    if list.get("format").and_then(Value::as_u64) != Some(FORMAT) {
        return Err(wrong("bundle.json is of another format"));
    }
    let files = list
        .get("files")
        .and_then(Value::as_array)
        .ok_or_else(|| wrong("bundle.json lists no files"))?;
    files
        .iter()
        .map(|file| {
            let text = |key: &str| Some(file.get(key)?.as_str()?.to_owned());
            Some(Listed {
                path: text("path")?,
                fingerprint: Fingerprint {
                    sha256: text("sha256")?,
                    size: file.get("size")?.as_u64()?,
                },
            })
        })
        .collect::<Option<_>>()
        .ok_or_else(|| wrong("bundle.json lists a file without path, size or sha256"))
}

/// Checks names, sizes and kinds of all members before any is unpacked.
fn check_list(
    listed: &[Listed],
    archive: &mut ZipArchive<File>,
    size: u64,
    limits: BundleLimits,
    refused: &Refused<'_>,
) -> Result<(), NotebookError> {
    let mut names = Documents::default();
    let mut total = 0_u64;
    for file in listed {
        let shown = short(&file.path);
        if names.get(&file.path).is_some() {
            return Err(refused(
                format!("{shown} is listed twice"),
                "each file once",
            ));
        }
        if file.path.split('/').any(|part| part.starts_with('.')) {
            return Err(refused(
                format!("the path {shown} is hidden, or leaves the folder"),
                "paths within the test folder",
            ));
        }
        names
            .put(&file.path, Held::Stored(file.fingerprint.clone()))
            .map_err(|error| match error.problems.first() {
                Some(problem) => refused(
                    format!("{}: {}", problem.file, problem.seen),
                    &problem.expected,
                ),
                None => refused(shown.clone(), "paths within the test folder"),
            })?;
        total = total.saturating_add(file.fingerprint.size);
    }
    let most = limits
        .bytes
        .min(limits.bytes_free.max(size.saturating_mul(limits.times)));
    if total > most {
        return Err(refused(
            format!("its files would have {total} bytes, and the bundle has {size}"),
            &format!("at most {most} bytes for a bundle of this size"),
        ));
    }
    if names.get(crate::folder::TEST_TOML).is_none() {
        return Err(refused("it holds no test.toml".to_owned(), "a test"));
    }
    for index in 0..archive.len() {
        let member = archive
            .by_index_raw(index)
            .map_err(|error| refused(error.to_string(), "a sound zip file"))?;
        let name = member
            .name()
            .map_err(|error| refused(error.to_string(), "names in UTF-8"))?
            .into_owned();
        let path = name.strip_prefix(WITHIN);
        let known = name == LIST
            || path.is_some_and(|path| {
                names
                    .get(path)
                    .is_some_and(|held| held.fingerprint().size == member.size())
            });
        let plain = matches!(
            member.compression(),
            CompressionMethod::Stored | CompressionMethod::Deflated
        ) && !member.encrypted()
            && !member.is_symlink()
            && !member.is_dir();
        if !known || !plain {
            return Err(refused(
                format!(
                    "the member {} is not listed, or no plain file",
                    short(&name)
                ),
                "only files that bundle.json lists with their size",
            ));
        }
    }
    // No name is there twice, so as many members as files means each has its own.
    if archive.len() != listed.len() + 1 {
        return Err(refused(
            "a file that bundle.json lists is missing".to_owned(),
            "every file that is listed",
        ));
    }
    Ok(())
}
