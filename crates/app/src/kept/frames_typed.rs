//! Frames that were typed anew: what lies on one goes to its new name with it, and what
//! lies on one that is taken out is told before anything is lost.

use super::{KeepError, OpenTest};
use notebook::{
    Documents, PatchRow, RecordRow, cell_table, on_frame, patch_rows, record_rows, with_patch_rows,
    without_frames,
};

impl OpenTest {
    /// What lies on the frames that `rows` take out, as a sentence for each such frame.
    ///
    /// # Errors
    /// [`KeepError`] when the record or a table can't be read.
    pub fn on_frames_taken_out(&self, rows: &[RecordRow]) -> Result<Vec<String>, KeepError> {
        let mut told = vec![];
        for frame in self.frames_taken_out(rows)? {
            let on = on_frame(&self.documents, &frame)?;
            let parts = &self.checked.parts;
            let scans = parts
                .scans
                .iter()
                .filter(|scan| matches!(parts.frames_of_scan(scan).as_slice(), [one] if one.as_str() == frame))
                .count();
            let mut lies = vec![];
            for (count, one, several) in [
                (on.patches, "patch", "patches"),
                (on.readings, "written density", "written densities"),
                (scans, "scan", "scans"),
            ] {
                match count {
                    0 => {}
                    1 => lies.push(format!("1 {one}")),
                    _ => lies.push(format!("{count} {several}")),
                }
            }
            if on.carried_from_it > 0 {
                lies.push(format!(
                    "{} on other frames that are carried from it",
                    on.carried_from_it
                ));
            }
            if !lies.is_empty() {
                told.push(format!("frame {frame} has {}", lies.join(", ")));
            }
        }
        Ok(told)
    }

    /// The files with patches that follow their frames to new names, and without what lies
    /// on frames that `rows` take out. Scans stay.
    ///
    /// # Errors
    /// [`KeepError`] when the record or a table can't be read.
    pub fn with_patches_following_frames(
        &self,
        documents: &Documents,
        rows: &[RecordRow],
    ) -> Result<Documents, KeepError> {
        let gone = self.frames_taken_out(rows)?;
        let gone: Vec<&str> = gone.iter().map(String::as_str).collect();
        let documents = if gone.is_empty() {
            documents.clone()
        } else {
            without_frames(documents, &gone)?
        };
        let renamed = self.frames_renamed(rows)?;
        if renamed.is_empty() {
            return Ok(documents);
        }
        let now = |frame: &str| {
            let new = renamed.iter().find(|(before, _)| before == frame);
            new.map_or(frame, |(_, after)| after.as_str()).to_owned()
        };
        let mut changed: Vec<PatchRow> = vec![];
        let mut left: Vec<(String, String)> = vec![];
        for row in patch_rows(&documents)? {
            let new = PatchRow {
                frame: now(&row.frame),
                carried_from: now(&row.carried_from),
                ..row.clone()
            };
            if new != row {
                left.push((row.frame, row.patch));
                changed.push(new);
            }
        }
        // Taken out first, so that two frames can change names.
        let without = with_patch_rows(&documents, &[], &left)?;
        Ok(with_patch_rows(&without, &changed, &[])?)
    }

    /// The names of frames as they stand in the record, by their places.
    fn frames_recorded(&self) -> Result<Vec<String>, KeepError> {
        let text = self.documents.record_text().unwrap_or_default();
        let Some(table) = cell_table("frame") else {
            return Ok(vec![]);
        };
        let name = |row: RecordRow| row.cells.get("id").cloned().unwrap_or_default();
        Ok(record_rows(text, &table)?.into_iter().map(name).collect())
    }

    fn frames_taken_out(&self, rows: &[RecordRow]) -> Result<Vec<String>, KeepError> {
        let mut gone = vec![];
        for (place, frame) in self.frames_recorded()?.into_iter().enumerate() {
            let stays = rows.iter().any(|row| row.was == Some(place));
            let typed_anew = rows.iter().any(|row| row.cells.get("id") == Some(&frame));
            if !stays && !typed_anew && !frame.is_empty() {
                gone.push(frame);
            }
        }
        Ok(gone)
    }

    /// Frames with another name than before: the name before and after.
    fn frames_renamed(&self, rows: &[RecordRow]) -> Result<Vec<(String, String)>, KeepError> {
        let recorded = self.frames_recorded()?;
        let name = |row: &RecordRow| {
            let before = recorded.get(row.was?)?;
            let after = row.cells.get("id")?;
            (before != after && !before.is_empty()).then(|| (before.clone(), after.clone()))
        };
        Ok(rows.iter().filter_map(name).collect())
    }
}
