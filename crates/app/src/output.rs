//! Writing results whole or not at all.

use crate::AppError;
use std::fs;
use std::path::{Path, PathBuf};

/// The findings among the results.
pub(crate) const FINDINGS_JSON: &str = "findings.json";
/// The report among the results.
pub(crate) const REPORT_HTML: &str = "report.html";
/// What the fit made of each reading, among the results.
pub(crate) const READINGS_CSV: &str = "readings.csv";
/// The folder of drawings among the results.
pub(crate) const FIGURES: &str = "figures";

/// Writes a folder of results: first beside its place, then moved into it.
///
/// A folder that holds nothing but earlier results is replaced whole. One that
/// holds anything else is refused, so that no file of another hand is lost.
pub(crate) fn write_results(out: &Path, files: &[(String, Vec<u8>)]) -> Result<(), AppError> {
    let had = out.exists();
    // "." and ".." have no name to put a folder beside.
    let out = &if had {
        out.canonicalize()
            .map_err(|e| AppError::file("looking into", out, &e))?
    } else {
        out.to_path_buf()
    };
    if had {
        only_results(out)?;
    }
    let beside = |word: &str| -> PathBuf {
        let name = out
            .file_name()
            .map_or_else(|| "results".into(), |n| n.to_string_lossy().into_owned());
        out.with_file_name(format!(".{name}.{word}-{}", std::process::id()))
    };
    let (new, old) = (beside("new"), beside("old"));
    // The half-written folder is ours and goes; the error is what is told.
    let gone = |error: AppError| {
        drop(fs::remove_dir_all(&new));
        error
    };
    write_all(&new, files).map_err(gone)?;
    if had {
        fs::rename(out, &old).map_err(|e| gone(AppError::file("moving", out, &e)))?;
    }
    if let Err(error) = fs::rename(&new, out) {
        if had {
            drop(fs::rename(&old, out));
        }
        return Err(gone(AppError::file("moving the results to", out, &error)));
    }
    if had {
        fs::remove_dir_all(&old).map_err(|e| AppError::file("removing", &old, &e))?;
    }
    Ok(())
}

/// Refuses a place for results that holds anything but earlier results.
fn only_results(out: &Path) -> Result<(), AppError> {
    if !out.is_dir() {
        return Err(AppError::new(
            format!("{} is a file, and the results need a folder", out.display()),
            "name another folder with --out",
        ));
    }
    if std::env::current_dir().is_ok_and(|here| here.starts_with(out)) {
        return Err(AppError::new(
            format!(
                "{} is the folder that you work in, and would be replaced",
                out.display()
            ),
            "name a folder within it with --out",
        ));
    }
    let is_ours = |within: &Path, name: &str| {
        if within == out {
            matches!(name, FINDINGS_JSON | REPORT_HTML | READINGS_CSV)
        } else {
            name.ends_with(".svg")
        }
    };
    let mut folders = vec![out.to_path_buf()];
    while let Some(folder) = folders.pop() {
        let looking = |e: std::io::Error| AppError::file("looking into", &folder, &e);
        for entry in fs::read_dir(&folder).map_err(looking)? {
            let entry = entry.map_err(looking)?;
            let name = entry.file_name();
            let kind = entry.file_type().map_err(looking)?;
            if kind.is_dir() && folder == *out && name == FIGURES {
                folders.push(entry.path());
            } else if !(kind.is_file() && is_ours(&folder, &name.to_string_lossy())) {
                return Err(AppError::new(
                    format!(
                        "{} is no part of earlier results; nothing in {} is overwritten",
                        entry.path().display(),
                        out.display()
                    ),
                    "name a new or empty folder with --out",
                ));
            }
        }
    }
    Ok(())
}

/// Writes one file whole or not at all: beside its place, then moved into it.
///
/// # Errors
/// [`AppError`] when it can't be written; what stood there stays.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), AppError> {
    let name = path.file_name().ok_or_else(|| {
        AppError::new(
            format!("{} is not the name of a file", path.display()),
            "name a file",
        )
    })?;
    let new = path.with_file_name(format!(
        ".{}.new-{}",
        name.to_string_lossy(),
        std::process::id()
    ));
    fs::write(&new, bytes)
        .and_then(|()| fs::rename(&new, path))
        .map_err(|e| {
            drop(fs::remove_file(&new));
            AppError::file("writing", path, &e)
        })
}

fn write_all(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<(), AppError> {
    fs::create_dir_all(folder).map_err(|e| AppError::file("making", folder, &e))?;
    for (name, bytes) in files {
        let path = folder.join(name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).map_err(|e| AppError::file("making", parent, &e))?;
        }
        fs::write(&path, bytes).map_err(|e| AppError::file("writing", &path, &e))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn results() -> Vec<(String, Vec<u8>)> {
        [
            FINDINGS_JSON,
            REPORT_HTML,
            READINGS_CSV,
            "figures/curve.svg",
        ]
        .map(|name| (name.to_owned(), b"new".to_vec()))
        .to_vec()
    }

    #[test]
    fn earlier_results_are_replaced_and_nothing_else_is() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("results");
        write_results(&out, &results()).unwrap();
        write_results(&out, &results()[..2]).unwrap();
        assert!(!out.join(READINGS_CSV).exists());
        // Findings saved into a folder of another kind make it no results.
        for foreign in ["test.toml", "notes.txt", "figures/sketch.png"] {
            write_results(&out, &results()).unwrap();
            fs::write(out.join(foreign), "mine").unwrap();
            let error = write_results(&out, &results()).unwrap_err();
            assert!(error.problem.contains(foreign), "{error}");
            assert_eq!(fs::read_to_string(out.join(foreign)).unwrap(), "mine");
            fs::remove_file(out.join(foreign)).unwrap();
        }
        let left: Vec<_> = fs::read_dir(dir.path()).unwrap().collect();
        assert_eq!(left.len(), 1, "{left:?}");
    }

    #[test]
    fn a_file_that_cant_be_moved_into_place_leaves_nothing_behind() {
        let dir = tempfile::tempdir().unwrap();
        let taken = dir.path().join("taken");
        fs::create_dir_all(taken.join("full")).unwrap();
        assert!(write_file(&taken, b"x").is_err());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
        write_file(&dir.path().join("figure.svg"), b"x").unwrap();
        assert_eq!(fs::read(dir.path().join("figure.svg")).unwrap(), b"x");
    }
}
