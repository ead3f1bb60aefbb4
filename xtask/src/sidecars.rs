//! Every file that was not made here says where it comes from.
//!
//! A file in `data/` or in a crate's `assets/` is named, with its sha256, in a
//! note beside it whose name ends in `ORIGIN.md`. Files that are not text may
//! lie nowhere else.

use crate::fault::Fault;
use crate::workspace::Workspace;
use sha2::{Digest, Sha256};
use std::fs;

/// What a note must tell.
const TOLD: &[&str] = &[
    "Title:",
    "Author:",
    "Address:",
    "Fetched:",
    "Licence:",
    "Done to it:",
];

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let mut faults = vec![];
    for file in workspace.files()? {
        let bytes = fs::read(workspace.path(&file)).map_err(|e| format!("{file}: {e}"))?;
        if !is_asset(&file) {
            if std::str::from_utf8(&bytes).is_err() {
                faults.push(Fault::new(
                    &file,
                    "is not text; such files belong in assets/ or data/ with a note",
                ));
            }
            continue;
        }
        let folder = file.rsplit_once('/').map_or("", |(folder, _)| folder);
        let mut notes = String::new();
        for beside in workspace.files_under(folder)? {
            if beside.ends_with("ORIGIN.md") {
                notes.push_str(&workspace.text(&beside)?);
            }
        }
        if file.ends_with("ORIGIN.md") {
            let text = workspace.text(&file)?;
            for told in TOLD.iter().filter(|t| !text.contains(*t)) {
                faults.push(Fault::new(&file, format!("does not tell {told}")));
            }
        } else if let Some(why) = untold(&file, &sha256(&bytes), &notes) {
            faults.push(Fault::new(&file, why));
        }
    }
    Ok(faults)
}

fn is_asset(file: &str) -> bool {
    file.starts_with("data/")
        || (file.starts_with("crates/") && file.split('/').nth(2) == Some("assets"))
}

/// What the notes fail to say about a file. Texts of licences need a mention only.
fn untold(file: &str, sha256: &str, notes: &str) -> Option<String> {
    let name = file.rsplit('/').next().unwrap_or(file);
    if !notes.contains(name) {
        // A note may name files as `Name-{A,B}.ending`; its checksum line names each in full.
        return Some("no note beside it (…ORIGIN.md) names it".to_owned());
    }
    let is_licence =
        name.to_uppercase().contains("LICENSE") || name.to_uppercase().contains("LICENCE");
    let summed = notes
        .lines()
        .any(|line| line.contains(name) && line.contains(sha256));
    (!is_licence && !summed).then(|| format!("no note gives its sha256, {sha256}"))
}

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_changed_file_no_longer_fits_its_note() {
        // Source: FIPS 180-2, appendix B.1: the digest of "abc".
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(b"abc"), abc);
        let note = format!("- `{abc}` abc.bin\n");
        assert_eq!(untold("data/abc.bin", abc, &note), None);
        assert!(untold("data/abc.bin", &sha256(b"abd"), &note).is_some());
        assert!(untold("data/other.bin", abc, &note).is_some());
    }
}
