//! Paths within a test folder, and checksums of its files.

use crate::problem::{FolderError, Problem, likely};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// The most bytes a text file of a test folder may have.
pub(crate) const TEXT_BYTES_MOST: u64 = 16 * 1024 * 1024;

/// What a path within the folder must look like.
pub(crate) const RELATIVE: &str =
    "a path within the test folder, with / between its parts, such as scans/a.tif";

/// Says why a text is no path within the folder; `None` when it is one.
pub(crate) fn fault(path: &str) -> Option<&'static str> {
    let bytes = path.as_bytes();
    if path.is_empty() {
        Some("is empty")
    } else if path.contains('\\') {
        Some("holds a backslash")
    } else if path.contains('\0') {
        Some("holds a zero byte")
    } else if path.starts_with('/') {
        Some("is absolute")
    } else if bytes.len() >= 2 && bytes[1] == b':' && bytes[0].is_ascii_alphabetic() {
        Some("begins with a drive letter")
    } else if path.split('/').any(|part| part == "..") {
        Some("leaves the folder by ..")
    } else if path.split('/').any(|part| part.is_empty() || part == ".") {
        Some("has an empty part or a single dot in it")
    } else {
        None
    }
}

/// Finds a file of the folder, or says what was seen, expected and is to be done.
pub(crate) fn find(root: &Path, path: &str) -> Result<PathBuf, (String, String, String)> {
    let shown = crate::problem::short(path);
    if let Some(fault) = fault(path) {
        return Err((
            format!("the path \"{shown}\" {fault}"),
            RELATIVE.to_owned(),
            "move the file into the folder and name it from there".to_owned(),
        ));
    }
    let unreadable = |error: std::io::Error| {
        (
            format!("the file \"{shown}\" can't be opened: {error}"),
            "a file that can be read".to_owned(),
            "check the file and its permissions".to_owned(),
        )
    };
    let joined = root.join(path);
    let found = match joined.canonicalize() {
        Ok(found) => found,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err((
                format!("the file \"{shown}\" is not there"),
                "a file of this folder".to_owned(),
                similar(&joined, path),
            ));
        }
        Err(error) => return Err(unreadable(error)),
    };
    let root = root.canonicalize().map_err(unreadable)?;
    if !found.starts_with(&root) {
        return Err((
            format!("the path \"{shown}\" leads out of the folder by a link"),
            RELATIVE.to_owned(),
            "copy the file into the folder instead of linking to it".to_owned(),
        ));
    }
    if !found.is_file() {
        return Err((
            format!("\"{shown}\" is no file"),
            "a file of this folder".to_owned(),
            "name the file itself".to_owned(),
        ));
    }
    Ok(found)
}

/// Names the files that a missing one may have meant.
fn similar(missing: &Path, path: &str) -> String {
    let name = path.rsplit('/').next().unwrap_or(path);
    let Some(Ok(entries)) = missing.parent().map(std::fs::read_dir) else {
        return "its folder is not there either; correct the path".to_owned();
    };
    let mut names: Vec<String> = entries
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .take(10_000)
        .collect();
    names.sort();
    let stem = |name: &str| {
        name.rsplit_once('.')
            .map_or(name, |(stem, _)| stem)
            .to_lowercase()
    };
    let mut close: Vec<&str> = likely(name, names.iter().map(String::as_str));
    for other in &names {
        if stem(other) == stem(name) && !close.contains(&other.as_str()) {
            close.push(other);
        }
    }
    if close.is_empty() {
        return "copy the file there, or correct its path".to_owned();
    }
    let close: Vec<_> = close.iter().map(|name| format!("\"{name}\"")).collect();
    format!(
        "beside it are {}: did you mean one of them?",
        close.join(", ")
    )
}

/// Reads a text file, whose size is bounded.
///
/// # Errors
/// [`FolderError`] naming the file, when it can't be read, is too large, or is
/// not UTF-8.
pub(crate) fn read_text(path: &Path, shown: &str) -> Result<String, FolderError> {
    let unreadable = |error: std::io::Error| {
        FolderError::of_file(
            shown,
            format!("the file can't be read: {error}"),
            "a text file",
            "check that the file is there and may be read",
        )
    };
    let kind = std::fs::metadata(path).map_err(unreadable)?;
    if !kind.is_file() {
        return Err(FolderError::of_file(
            shown,
            "this is no file",
            "a text file",
            "name the file itself",
        ));
    }
    let file = File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(TEXT_BYTES_MOST + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > TEXT_BYTES_MOST {
        return Err(FolderError::of_file(
            shown,
            format!("the file has more than {TEXT_BYTES_MOST} bytes"),
            "a text file of at most 16 MB",
            "check that this is the right file",
        ));
    }
    text_of(bytes, shown)
}

/// Takes bytes as UTF-8, with or without a byte order mark.
pub(crate) fn text_of(mut bytes: Vec<u8>, shown: &str) -> Result<String, FolderError> {
    if bytes.starts_with(&[0xEF, 0xBB, 0xBF]) {
        bytes.drain(..3);
    }
    String::from_utf8(bytes).map_err(|error| {
        let sound = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = sound.iter().filter(|byte| **byte == b'\n').count() + 1;
        let wide = error.as_bytes().starts_with(&[0xFF, 0xFE])
            || error.as_bytes().starts_with(&[0xFE, 0xFF]);
        let seen = if wide {
            "the file is written in UTF-16".to_owned()
        } else {
            let byte = error.as_bytes()[sound.len()];
            format!("byte 0x{byte:02X} is no UTF-8 text")
        };
        FolderError {
            problems: vec![Problem {
                file: shown.to_owned(),
                line: Some(line),
                column: None,
                seen,
                expected: "text in UTF-8".to_owned(),
                remedy: "save the file again with the encoding UTF-8".to_owned(),
            }],
            more: 0,
        }
    })
}

/// Gives the SHA-256 of a file as 64 hex digits, as `sha256sum` prints it.
///
/// # Errors
/// [`FolderError`] naming the file when it can't be read.
pub fn hash_file(path: &Path) -> Result<String, FolderError> {
    let unreadable = |error: std::io::Error| {
        FolderError::of_file(
            path.display().to_string(),
            format!("the file can't be read: {error}"),
            "a file",
            "check that the file is there and may be read",
        )
    };
    let mut file = File::open(path).map_err(unreadable)?;
    let mut hash = Sha256::new();
    let mut block = vec![0; 1 << 16];
    loop {
        let read = file.read(&mut block).map_err(unreadable)?;
        if read == 0 {
            break;
        }
        hash.update(&block[..read]);
    }
    Ok(hash
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_published_one() {
        // Source: FIPS 180-4 example, SHA-256 of "abc".
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("abc");
        std::fs::write(&path, "abc").unwrap();
        assert_eq!(
            hash_file(&path).unwrap(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert!(hash_file(&folder.path().join("none")).is_err());
    }

    #[test]
    fn paths_that_leave_the_folder_are_refused() {
        for bad in [
            "",
            "..",
            "../a",
            "a/../../b",
            "/etc/passwd",
            "C:/a",
            "c:a",
            "a\\b",
            "./a",
            "a//b",
            "a/",
            "a\0b",
        ] {
            assert!(fault(bad).is_some(), "{bad:?}");
        }
        for good in ["a.tif", "scans/a.tif", "a..b/c", "ü/ß.tif"] {
            assert_eq!(fault(good), None, "{good:?}");
        }
    }

    #[test]
    fn text_of_another_encoding_is_named_with_its_line() {
        let error = text_of(b"ab\nc\xE9".to_vec(), "f.csv").unwrap_err();
        assert_eq!(error.problems[0].line, Some(2));
        assert_eq!(error.problems[0].seen, "byte 0xE9 is no UTF-8 text");
        let error = text_of(b"\xFF\xFEa\0".to_vec(), "f.csv").unwrap_err();
        assert_eq!(error.problems[0].seen, "the file is written in UTF-16");
        assert_eq!(text_of(b"\xEF\xBB\xBFa".to_vec(), "f").unwrap(), "a");
    }
}
