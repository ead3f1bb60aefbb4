//! Writing results whole or not at all.

use crate::AppError;
use std::fs;
use std::path::{Path, PathBuf};

/// The file by which a folder of results is recognised, and may be replaced.
pub(crate) const FINDINGS_JSON: &str = "findings.json";

/// Writes a folder of results: first beside its place, then moved into it.
///
/// A folder that holds earlier results is replaced; any other folder that is
/// not empty is refused.
pub(crate) fn write_results(out: &Path, files: &[(String, Vec<u8>)]) -> Result<(), AppError> {
    if out.exists() {
        if !out.is_dir() {
            return Err(AppError::new(
                format!("{} is a file, and the results need a folder", out.display()),
                "name another folder with --out",
            ));
        }
        let empty = fs::read_dir(out)
            .map_err(|e| AppError::file("looking into", out, &e))?
            .next()
            .is_none();
        if !empty && !out.join(FINDINGS_JSON).exists() {
            return Err(AppError::new(
                format!(
                    "{} holds files that are no earlier results; nothing is overwritten",
                    out.display()
                ),
                "name a new or empty folder with --out",
            ));
        }
    }
    let beside = |word: &str| -> PathBuf {
        let name = out
            .file_name()
            .map_or_else(|| "results".into(), |n| n.to_string_lossy().into_owned());
        out.with_file_name(format!(".{name}.{word}-{}", std::process::id()))
    };
    let (new, old) = (beside("new"), beside("old"));
    let written = write_all(&new, files);
    if let Err(error) = written {
        // The half-written folder is ours and goes; the error is what is told.
        drop(fs::remove_dir_all(&new));
        return Err(error);
    }
    let had = out.exists();
    if had {
        fs::rename(out, &old).map_err(|e| AppError::file("moving", out, &e))?;
    }
    if let Err(error) = fs::rename(&new, out) {
        if had {
            drop(fs::rename(&old, out));
        }
        drop(fs::remove_dir_all(&new));
        return Err(AppError::file("moving the results to", out, &error));
    }
    if had {
        fs::remove_dir_all(&old).map_err(|e| AppError::file("removing", &old, &e))?;
    }
    Ok(())
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
