//! Files that go in and out: bundles, scans, logs of the field, field cards.

use super::{BY, Book, id, no_room, number};
use crate::upload::{MOST_FOLDER_BYTES, MOST_SCAN_BYTES};
use app::{
    Added, AppError, KeepError, ListedFile, ListingLimits, Progress, SentFolder, write_card,
};
use std::path::Path;

impl Book {
    /// The folder for files that are being sent, or made to be handed out.
    pub(crate) fn uploads(&self) -> Result<std::path::PathBuf, AppError> {
        self.notebook.uploads()
    }

    pub(crate) fn take_bundle_in(
        &self,
        bundle: &Path,
        progress: &dyn Progress,
    ) -> Result<TakenIn, KeepError> {
        let added = self
            .notebook
            .import_sent_bundle(bundle, BY, progress)
            .map_err(|e| named(&e, bundle, "the bundle"))?;
        taken_in(added)
    }

    /// Begins to take a test folder in whose files are sent one by one.
    pub(crate) fn await_folder(
        &self,
        name: &str,
        files: Vec<ListedFile>,
    ) -> Result<SentFolder, KeepError> {
        let limits = ListingLimits {
            bytes: MOST_FOLDER_BYTES,
            file_bytes: MOST_SCAN_BYTES,
        };
        self.notebook.await_folder(name, files, limits)
    }

    /// Takes it in once all of them came.
    pub(crate) fn take_folder_in(
        &self,
        sent: SentFolder,
        progress: &dyn Progress,
    ) -> Result<TakenIn, KeepError> {
        taken_in(self.notebook.keep_sent(sent, BY, progress)?)
    }

    pub(crate) fn bundle(&self, test: u32, to: &Path) -> Result<String, KeepError> {
        self.notebook.export_bundle(id(test), None, to)?;
        self.notebook.file_name(id(test))
    }

    /// Takes a scan in and names it in the record; gives the new revision.
    pub(crate) fn take_scan_in(
        &self,
        test: u32,
        seen: u32,
        file: &Path,
        name: &str,
    ) -> Result<u32, KeepError> {
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let path = format!("scans/{name}");
        let mut from = std::fs::File::open(file).map_err(|e| {
            AppError::new(
                format!("the scan can't be read again: {e}"),
                "send it again",
            )
        })?;
        // What can't be decoded is told now and not when it is measured.
        app::measure_scan(
            &app::MeasureRequest {
                scan: file.to_path_buf(),
                page: 0,
                tablet: None,
                strip: None,
                patches: None,
                region_map: None,
                tone: None,
                channel: None,
                flat_field: None,
                dark_frame: None,
                picture: None,
            },
            &app::Silent,
        )
        .map_err(|e| {
            AppError::new(
                e.problem.replace(&file.display().to_string(), name),
                e.remedy,
            )
        })?;
        let held = self.notebook.take_in(&mut from, Path::new(name))?;
        let mut text = open.documents.record_text().unwrap_or_default().to_owned();
        if !text.ends_with('\n') {
            text.push('\n');
        }
        let own = scan_id(name, &open.checked.parts);
        text.push_str(&format!("\n[[scan]]\nid = \"{own}\"\nfile = \"{path}\"\n"));
        let mut documents = open.with_text("test.toml", Some(&text))?;
        if documents.get(&path).is_some() {
            return Err(AppError::new(
                format!("the test has a scan {name} already"),
                "send it under another name",
            )
            .into());
        }
        documents.put(&path, held)?;
        let saved = self.notebook.save(
            id(test),
            seen,
            &documents,
            BY,
            &format!("scan {name} taken in"),
        )?;
        Ok(saved.revision)
    }

    /// Puts a field log into the record; gives what it did, in words.
    pub(crate) fn take_log_in(
        &self,
        test: u32,
        seen: u32,
        log: &Path,
    ) -> Result<String, KeepError> {
        let (_, imported) = self.notebook.change_in_folder(
            id(test),
            seen,
            BY,
            "the field log taken in",
            |dir| app::import_log(dir, log),
        )?;
        let mut told = format!("{} frames recorded as exposed", imported.added.len());
        if !imported.unchanged.is_empty() {
            told.push_str(&format!(
                ", {} were recorded already",
                imported.unchanged.len()
            ));
        }
        if !imported.not_exposed.is_empty() {
            told.push_str(&format!(
                ", {} are not ticked as exposed",
                imported.not_exposed.len()
            ));
        }
        told.push('.');
        for warning in &imported.warnings {
            told.push(' ');
            told.push_str(&crate::refusal::sentence(warning));
        }
        Ok(told)
    }

    /// One of the field cards, as a page.
    pub(crate) fn card(&self, test: u32, name: &str) -> Result<String, KeepError> {
        let (_, dir) = self.notebook.folder(id(test), None)?;
        let place = tempfile::tempdir().map_err(|e| no_room(&e))?;
        write_card(&dir, Some(place.path())).map_err(|e| named(&e.into(), &dir, "the test"))?;
        Ok(std::fs::read_to_string(place.path().join(name)).map_err(|e| no_room(&e))?)
    }
}

/// The error with a name in place of a path that says nothing to who reads it.
fn named(error: &KeepError, path: &Path, name: &str) -> AppError {
    let told = error.to_app_error();
    let path = path.display().to_string();
    AppError::new(
        told.problem.replace(&path, name),
        told.remedy.replace(&path, name),
    )
}

/// A test that came in whole.
#[derive(Clone, Debug)]
pub(crate) struct TakenIn {
    pub(crate) test: u32,
    /// What should be known of it, as sentences.
    pub(crate) notes: Vec<String>,
}

/// Most notes of one kind that are shown.
const MOST_NOTES: usize = 12;

fn taken_in(added: Added) -> Result<TakenIn, KeepError> {
    let same = added
        .same_as
        .iter()
        .map(|test| format!("test {test} has the very same files"));
    let left_out = added.left_out.iter().map(|of| format!("left out {of}"));
    let mut notes: Vec<String> = same.take(MOST_NOTES).collect();
    notes.extend(left_out.take(MOST_NOTES));
    let more = added.left_out.len().saturating_sub(MOST_NOTES);
    if more > 0 {
        notes.push(format!("{more} more were left out"));
    }
    Ok(TakenIn {
        test: number(added.test)?,
        notes,
    })
}

/// The letters, digits and marks of a file's name that an id may have; it begins with a
/// letter or digit.
fn id_of(stem: &str) -> String {
    let allowed = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    let id: String = stem
        .chars()
        .map(|c| if allowed(c) { c } else { '-' })
        .skip_while(|c| !c.is_ascii_alphanumeric())
        .take(50)
        .collect();
    if id.is_empty() { "scan".to_owned() } else { id }
}

/// A name for a scan that the record can refer to.
fn scan_id(name: &str, parts: &app::TestParts) -> String {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let id = id_of(stem);
    let taken = |id: &str| parts.scans.iter().any(|s| s.id.as_str() == id);
    if !taken(&id) {
        return id;
    }
    (2_u32..)
        .map(|number| format!("{id}-{number}"))
        .find(|id| !taken(id))
        .unwrap_or(id)
}

#[cfg(test)]
mod tests {
    use super::id_of;

    #[test]
    fn any_name_of_a_file_gives_a_name_of_a_scan() {
        for (stem, expected) in [
            ("Grün 1", "Gr-n-1"),
            ("Ünï code", "n--code"),
            ("日本", "scan"),
            ("_001", "001"),
            ("-3", "3"),
            ("(1) neg", "1--neg"),
            ("", "scan"),
            ("...", "scan"),
        ] {
            let id = id_of(stem);
            assert_eq!(id, expected, "{stem}");
            assert!(
                id.starts_with(|c: char| c.is_ascii_alphanumeric()),
                "{stem}"
            );
        }
    }
}
