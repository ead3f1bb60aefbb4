//! The light table and the tiles of scans, held for a while.

use super::{Book, LaidTable, MOST_LAID, MOST_TILED, Tiled, id};
use crate::frame_found::FrameFound;
use app::shown::density_scale_of_page;
use app::{
    AppError, KeepError, LaidPairs, LightTable, Progress, TiledScan, light_table_again,
    tiles_of_test_scan,
};
use serde_json::{Value, json};
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, PoisonError};

impl Book {
    /// The light table, if it is laid out already.
    pub(crate) fn laid(&self, test: u32, revision: u32) -> Option<Arc<LaidTable>> {
        let laid = self.laid.lock().unwrap_or_else(PoisonError::into_inner);
        laid.iter()
            .find(|(key, _)| *key == (test, revision))
            .map(|(_, table)| Arc::clone(table))
    }

    /// Lays the light table out.
    pub(crate) fn lay(&self, test: u32, progress: &dyn Progress) -> Result<(), KeepError> {
        let (revision, dir) = self.notebook.folder(id(test), None)?;
        let pairs = self.pairs(&self.scans_as_recorded(test, revision)?);
        let mut table = light_table_again(&dir, &pairs, progress)
            .map_err(|error| self.without_place(test, error.into()))?;
        let frames = self.cut(test, &table, progress)?;
        with_frames(&mut table, &frames);
        let base_plus_fog = self.evaluated(test)?.and_then(|pages| {
            pages
                .json
                .get("curves")?
                .get(0)?
                .get("base_plus_fog_density")?
                .get("value")?
                .as_f64()
        });
        let scale = density_scale_of_page(base_plus_fog);
        let mut laid = self.laid.lock().unwrap_or_else(PoisonError::into_inner);
        laid.push_back((
            (test, revision),
            Arc::new(LaidTable {
                table,
                scale,
                base_plus_fog,
            }),
        ));
        while laid.len() > MOST_LAID {
            laid.pop_front();
        }
        Ok(())
    }

    /// Whether the light table is laid out at once: its scans are cut into tiles and laid on
    /// each other already, and only what is outlined has changed.
    pub(crate) fn lays_at_once(&self, test: u32) -> Result<bool, KeepError> {
        let (revision, dir) = self.notebook.folder(id(test), None)?;
        let recorded = self.scans_as_recorded(test, revision)?;
        let cut = self.tiled.lock().unwrap_or_else(PoisonError::into_inner);
        let looked_at = cut.iter().any(|((of, _), _)| *of == recorded);
        drop(cut);
        Ok(looked_at && self.pairs(&recorded).hold_all_of(&dir)?)
    }

    /// The scans of one state of a record that were laid on each other.
    fn pairs(&self, recorded: &Arc<str>) -> Arc<LaidPairs> {
        let mut all = self.pairs.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, pairs)) = all.iter().find(|(of, _)| of == recorded) {
            return Arc::clone(pairs);
        }
        let pairs = Arc::new(LaidPairs::default());
        all.push_back((Arc::clone(recorded), Arc::clone(&pairs)));
        while all.len() > MOST_LAID {
            all.pop_front();
        }
        pairs
    }

    /// A name for the scans of a revision and all that is recorded of them: the same for
    /// revisions that differ only in what is outlined or written down as read.
    fn scans_as_recorded(&self, test: u32, revision: u32) -> Result<Arc<str>, KeepError> {
        let key = (test, revision);
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, recorded)) = seen.iter().find(|(of, _)| *of == key) {
            return Ok(Arc::clone(recorded));
        }
        let open = self.notebook.open_test(id(test), Some(revision))?;
        let files: Vec<String> = open
            .documents
            .iter()
            .filter(|(path, _)| !["patches.csv", "readings.csv", "plan.toml"].contains(path))
            .map(|(path, held)| format!("{path} {:?}", held.fingerprint()))
            .collect();
        let recorded: Arc<str> = format!("{test} {}", files.join(" ")).into();
        seen.push_back((key, Arc::clone(&recorded)));
        while seen.len() > MOST_TILED {
            seen.pop_front();
        }
        Ok(recorded)
    }

    /// Cuts every scan of a light table into tiles, so that the page finds them; gives the
    /// frames that were found in them.
    fn cut(
        &self,
        test: u32,
        table: &LightTable,
        progress: &dyn Progress,
    ) -> Result<BTreeMap<String, FrameFound>, KeepError> {
        let views = table.json.get("views").and_then(Value::as_array);
        let mut scans: Vec<&str> = views
            .into_iter()
            .flatten()
            .filter_map(|view| view.get("scan")?.as_str())
            .collect();
        scans.dedup();
        let total = scans.len() as u64;
        let mut frames = BTreeMap::new();
        for (done, scan) in scans.into_iter().enumerate() {
            if progress.stop_asked() {
                return Err(AppError::new("the work was stopped", "").into());
            }
            progress.at(&format!("opening scan {scan}"), done as u64, total);
            // A scan that can't be opened is told beside its frame; the others are shown.
            let found = self.tiled(test, scan).ok();
            if let Some(frame) = found.and_then(|tiled| FrameFound::of(&tiled)) {
                frames.insert(scan.to_owned(), frame);
            }
        }
        Ok(frames)
    }

    /// A scan as tiles; the first look at it cuts them.
    pub(crate) fn tiled(&self, test: u32, scan: &str) -> Result<Arc<TiledScan>, KeepError> {
        let (revision, dir) = self.notebook.folder(id(test), None)?;
        let key = (self.scans_as_recorded(test, revision)?, scan.to_owned());
        let known = |tiled: &VecDeque<Tiled>| {
            tiled
                .iter()
                .find(|(k, _)| *k == key)
                .map(|(_, t)| Arc::clone(t))
        };
        if let Some(tiled) = known(&self.tiled.lock().unwrap_or_else(PoisonError::into_inner)) {
            return Ok(tiled);
        }
        let made = Arc::new(tiles_of_test_scan(&dir, scan, &self.tiles, &app::Silent)?);
        let mut tiled = self.tiled.lock().unwrap_or_else(PoisonError::into_inner);
        tiled.push_back((key, Arc::clone(&made)));
        while tiled.len() > MOST_TILED {
            tiled.pop_front();
        }
        Ok(made)
    }
}

/// Puts the frames that were found into the views of their scans. One in a scan of several
/// frames belongs to none of them, and is left out.
fn with_frames(table: &mut LightTable, frames: &BTreeMap<String, FrameFound>) {
    let views = table.json.get_mut("views").and_then(Value::as_array_mut);
    for view in views.into_iter().flatten().filter_map(Value::as_object_mut) {
        let scan = view.get("scan").and_then(Value::as_str).unwrap_or_default();
        let whole = view.get("bounds_px").is_none_or(Value::is_null);
        if let Some(frame) = frames.get(scan).filter(|_| whole) {
            view.insert("frame_found".to_owned(), json!(frame));
        }
    }
}
