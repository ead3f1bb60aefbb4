//! Changes of a test: rows of records, outlines of patches and tablets.

use super::{BY, Book, Rows, id};
use app::{AppError, KeepError, cell_table, with_record_rows};
use serde_json::Value;

impl Book {
    /// What lies on frames that these rows take out, in words.
    pub(crate) fn on_frames_taken_out(
        &self,
        test: u32,
        seen: u32,
        rows: &Rows,
    ) -> Result<Vec<String>, KeepError> {
        match rows.get("frame") {
            Some(frames) => self
                .notebook
                .open_test(id(test), Some(seen))?
                .on_frames_taken_out(frames),
            None => Ok(vec![]),
        }
    }

    /// Saves rows of records, if the test still has the revision that was seen. Patches
    /// follow their frames to new names, and go with frames that are taken out.
    pub(crate) fn save_rows(&self, test: u32, seen: u32, rows: &Rows) -> Result<(), KeepError> {
        // The rows say which record they were by its place in the revision that was seen.
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let mut text = open.documents.record_text().unwrap_or_default().to_owned();
        for (kind, rows) in rows {
            let Some(table) = cell_table(kind) else {
                return Err(
                    AppError::new(format!("no kind of record is called {kind:?}"), "").into(),
                );
            };
            text = with_record_rows(&text, &table, rows)?;
            if kind == "frame" {
                text = open.with_scans_following_frames(&text, rows)?;
            }
        }
        let mut documents = open.with_text("test.toml", Some(&text))?;
        if let Some(frames) = rows.get("frame") {
            documents = open.with_patches_following_frames(&documents, frames)?;
        }
        let what = format!(
            "{} typed",
            rows.keys()
                .map(String::as_str)
                .collect::<Vec<_>>()
                .join(", ")
        );
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }

    /// Keeps an outline on a frame, and has it carried to the others that have a
    /// scan of their own where that is wanted.
    pub(crate) fn outline(
        &self,
        test: u32,
        seen: u32,
        patch: &app::PatchRow,
        carry: bool,
    ) -> Result<(), KeepError> {
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let parts = &open.checked.parts;
        if !parts.frames.iter().any(|f| f.id.as_str() == patch.frame) {
            return Err(not_there("frame", &patch.frame).into());
        }
        if !parts.scans.iter().any(|s| s.id.as_str() == patch.scan) {
            return Err(not_there("scan", &patch.scan).into());
        }
        let named = patch
            .patch
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || "-_.".contains(c));
        if !named || patch.patch.is_empty() || patch.patch.len() > 64 {
            return Err(AppError::new(
                "the patch has no name that can be written down",
                "name it with letters, digits, - and _",
            )
            .into());
        }
        let mut rows = vec![patch.clone()];
        if carry && patch.role != "base_fog" {
            rows.extend(self.carried_rows(&open, patch));
        }
        let documents = open.with_patches(&rows, &[])?;
        let what = format!("patch {} outlined on frame {}", patch.patch, patch.frame);
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }

    /// Confirms patches that were carried to a frame, or to any when none is named, or takes
    /// them off it. Confirmed, they are outlines of their own at the place that was looked at.
    pub(crate) fn settle_carried(
        &self,
        test: u32,
        seen: u32,
        frame: Option<&str>,
        confirm: bool,
    ) -> Result<(), KeepError> {
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let laid = self.laid(test, seen).ok_or_else(|| {
            AppError::new(
                "the light table is of another revision",
                "load the page again",
            )
        })?;
        let views = laid.table.json.get("views").and_then(Value::as_array);
        let mut rows = vec![];
        let mut without = vec![];
        for view in views.into_iter().flatten() {
            let Some(on) = view.get("frame").and_then(Value::as_str) else {
                continue;
            };
            if frame.is_some_and(|frame| frame != on) {
                continue;
            }
            let scan = view.get("scan").and_then(Value::as_str).unwrap_or_default();
            for outline in view
                .get("outlines")
                .and_then(Value::as_array)
                .into_iter()
                .flatten()
            {
                let text = |key: &str| outline.get(key).and_then(Value::as_str).unwrap_or_default();
                if text("carried_from").is_empty() {
                    continue;
                }
                if !confirm {
                    without.push((on.to_owned(), text("patch").to_owned()));
                    continue;
                }
                let corner = |c: &Value| {
                    Some(format!(
                        "{:.1} {:.1}",
                        c.get(0)?.as_f64()?,
                        c.get(1)?.as_f64()?
                    ))
                };
                let corners = outline.get("corners_px").and_then(Value::as_array);
                let corners: Vec<String> =
                    corners.into_iter().flatten().filter_map(corner).collect();
                rows.push(app::PatchRow {
                    frame: on.to_owned(),
                    patch: text("patch").to_owned(),
                    role: text("role").replace(' ', "_"),
                    scan: scan.to_owned(),
                    rectangle_px: Default::default(),
                    region: String::new(),
                    polygon_px: corners.join("; "),
                    carried_from: String::new(),
                });
            }
        }
        if rows.is_empty() && without.is_empty() {
            return Err(AppError::new(
                match frame {
                    Some(frame) => format!("frame {frame:?} has no carried patch"),
                    None => "no frame has a carried patch".to_owned(),
                },
                "load the page again",
            )
            .into());
        }
        let documents = open.with_patches(&rows, &without)?;
        let what = match (frame, confirm) {
            (Some(frame), true) => {
                format!("carried patches of frame {frame} looked at and confirmed")
            }
            (None, true) => "carried patches of all frames looked at and confirmed".to_owned(),
            (Some(frame), false) => format!("carried patches taken off frame {frame}"),
            (None, false) => "carried patches taken off all frames".to_owned(),
        };
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }

    /// Gives a scan to a frame.
    pub(crate) fn give_scan(
        &self,
        test: u32,
        seen: u32,
        scan: &str,
        frame: &str,
    ) -> Result<(), KeepError> {
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let (documents, what) = open.with_scan_given(scan, frame)?;
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }

    /// Keeps where a step tablet lies in a scan.
    pub(crate) fn outline_tablet(
        &self,
        test: u32,
        seen: u32,
        mut place: app::StripPlace,
    ) -> Result<(), KeepError> {
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let recorded = open.checked.parts.tablets.iter();
        if let Some(tablet) = recorded.into_iter().find(|t| t.id.as_str() == place.tablet)
            && let app::StripOutline::Cells { steps, .. } = &mut place.outline
        {
            *steps = u32::try_from(tablet.steps.len()).unwrap_or(*steps);
        }
        let text = open.documents.record_text().unwrap_or_default();
        let text = app::with_strip(text, &place)?;
        let documents = open.with_text("test.toml", Some(&text))?;
        let what = format!("step tablet outlined in scan {}", place.scan);
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }

    /// Rows that carry a patch to each other frame that was exposed in the same
    /// light and is alone in a scan.
    fn carried_rows(&self, open: &app::OpenTest, patch: &app::PatchRow) -> Vec<app::PatchRow> {
        let parts = &open.checked.parts;
        let mut rows = vec![];
        for frame in &parts.frames {
            let name = frame.id.as_str();
            let has_it = parts
                .patches
                .iter()
                .any(|p| p.frame == frame.id && p.name.as_str() == patch.patch);
            if name == patch.frame
                || has_it
                || matches!(frame.role.words(), "unexposed" | "tablet sheet")
            {
                continue;
            }
            let mut scans: Vec<&str> = parts
                .patches
                .iter()
                .filter(|p| p.frame == frame.id)
                .filter_map(|p| p.place.as_ref().map(|(scan, _)| scan.as_str()))
                .collect();
            scans.dedup();
            let alone = |scan: &str| {
                !parts.patches.iter().any(|p| {
                    p.frame != frame.id
                        && p.place.as_ref().is_some_and(|(on, _)| on.as_str() == scan)
                })
            };
            if scans.is_empty() {
                let shows = |s: &&app::Scan| parts.frames_of_scan(s) == [&frame.id];
                scans.extend(parts.scans.iter().filter(shows).map(|s| s.id.as_str()));
            }
            if let [scan] = scans.as_slice()
                && *scan != patch.scan
                && alone(scan)
            {
                rows.push(app::PatchRow {
                    frame: name.to_owned(),
                    scan: (*scan).to_owned(),
                    rectangle_px: Default::default(),
                    polygon_px: String::new(),
                    region: String::new(),
                    carried_from: patch.frame.clone(),
                    ..patch.clone()
                });
            }
        }
        rows
    }
}

fn not_there(what: &str, name: &str) -> AppError {
    let name: String = name.chars().take(64).collect();
    AppError::new(
        format!("the test has no {what} {name:?}"),
        "load the page again",
    )
}
