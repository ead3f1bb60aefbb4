//! A test folder that is sent file by file: what is to come, checked before any of it does.
//!
//! Whoever sends lists paths and sizes first. The paths are looked at as names only: what is
//! sent lies under names of the receiver's own making until all of it is there, and is
//! then taken in by [`crate::NotebookFile::take_files_in`].

use crate::documents::{Documents, Fingerprint, Held, is_own};
use crate::folder::TEST_TOML;
use crate::path::{TEXT_BYTES_MOST, fault};
use crate::problem::{FolderError, Problem, Problems, short};
use crate::store::{FILES_MOST, no_record, why_left_out};

/// A file that a sender has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListedFile {
    /// Its path within the folder, with / between its parts.
    pub path: String,
    /// Number of bytes.
    pub size: u64,
}

/// What may be sent at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ListingLimits {
    /// Bytes of all files together.
    pub bytes: u64,
    /// Bytes of one file.
    pub file_bytes: u64,
}

/// What is wanted of a folder, and what is not.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Listing {
    /// Places, in the list that was given, of the files that are wanted.
    pub wanted: Vec<usize>,
    /// What is left out, and why, as sentences.
    pub left_out: Vec<String>,
}

/// Checks the names and sizes of a folder's files: as for a folder on the disk, hidden files
/// and results are left out, and a name that would not stand on every disk is refused.
///
/// # Errors
/// [`FolderError`] with every name that is refused; or when there is no `test.toml`, or
/// there is too much.
pub fn check_listing(
    folder: &str,
    files: &[ListedFile],
    limits: ListingLimits,
) -> Result<Listing, FolderError> {
    let mut listing = Listing::default();
    let mut names = Documents::default();
    let mut problems = Problems::default();
    let mut bytes = 0_u64;
    for (place, file) in files.iter().enumerate() {
        if fault(&file.path).is_none()
            && let Some(why) = why_left_out(&file.path)
        {
            let told = format!("{}: {why}", left_out_part(&file.path));
            if !listing.left_out.contains(&told) {
                listing.left_out.push(told);
            }
            continue;
        }
        if names.get(&file.path).is_some() {
            problems.push(of_name(
                &file.path,
                "the file is listed twice",
                "each file once",
            ));
            continue;
        }
        let placeholder = Held::Stored(Fingerprint {
            sha256: String::new(),
            size: file.size,
        });
        if let Err(refused) = names.put(&file.path, placeholder) {
            problems.add_all(refused);
            continue;
        }
        let most = if is_own(&file.path) {
            TEXT_BYTES_MOST.min(limits.file_bytes)
        } else {
            limits.file_bytes
        };
        if file.size > most {
            problems.push(of_name(
                &file.path,
                &format!("the file has {} bytes", file.size),
                &format!("at most {most}"),
            ));
            continue;
        }
        bytes = bytes.saturating_add(file.size);
        listing.wanted.push(place);
    }
    problems.into_result()?;
    if names.count() > FILES_MOST {
        return Err(FolderError::of_file(
            folder,
            format!("the folder holds {} files", names.count()),
            format!("at most {FILES_MOST}"),
            "choose the folder of one test",
        ));
    }
    if bytes > limits.bytes {
        return Err(FolderError::of_file(
            folder,
            format!("its files have {bytes} bytes together"),
            format!("at most {}", limits.bytes),
            "choose the folder of one test, or take it in with `filmproof import`",
        ));
    }
    if names.get(TEST_TOML).is_none() {
        return Err(no_record_in(folder, &names));
    }
    Ok(listing)
}

/// The file or folder that is left out as a whole.
fn left_out_part(path: &str) -> &str {
    path.match_indices('/')
        .map(|(at, _)| at)
        .find(|at| why_left_out(&path[..=*at]).is_some())
        .map_or(path, |at| &path[..at])
}

fn of_name(path: &str, seen: &str, expected: &str) -> Problem {
    Problem {
        file: short(path),
        line: None,
        column: None,
        seen: seen.to_owned(),
        expected: expected.to_owned(),
        remedy: "check that this is the right folder".to_owned(),
    }
}

/// There is no record at the top; one further down is named.
fn no_record_in(folder: &str, names: &Documents) -> FolderError {
    let within = names
        .names()
        .find_map(|path| path.strip_suffix(TEST_TOML)?.strip_suffix('/'));
    let remedy = match within {
        Some(within) => format!("choose the folder {} in it", short(within)),
        None => "choose the folder in which test.toml lies".to_owned(),
    };
    no_record(folder, remedy)
}
