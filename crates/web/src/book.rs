//! The notebook as handlers use it: tests by number, in words ready to be shown.

use app::shown::density_scale_of_page;
use app::{
    AppError, Check, ComparedTests, EvaluatedPages, KeepError, LightTable, Notebook, PlanQuestion,
    PlannedRow, Progress, RecordRow, TILE_CACHE_BYTES, TestId, TestOverview, TileCache, TiledScan,
    cell_table, compare_named_tests, light_table, plan, planned_rows, record_rows,
    tiles_of_test_scan, with_record_rows, with_top_keys, write_card,
};
use serde_json::Value;
use std::collections::{BTreeMap, VecDeque};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Who makes changes here, as the history names them.
const BY: &str = "in the browser";
/// Scans whose tiles are held open.
const MOST_TILED: usize = 64;
/// Light tables that are held.
const MOST_LAID: usize = 8;

/// A scan of a test's revision as tiles.
type Tiled = ((u32, u32, String), Arc<TiledScan>);
/// The light table of a test's revision.
type Laid = ((u32, u32), Arc<LaidTable>);

/// Tests by number and revision.
type Tests = Vec<(u32, u32)>;

/// The notebook with what was computed from it lately.
#[derive(Debug)]
pub(crate) struct Book {
    notebook: Notebook,
    tiles: TileCache,
    tiled: Mutex<VecDeque<Tiled>>,
    laid: Mutex<VecDeque<Laid>>,
    compared: Mutex<VecDeque<(Tests, Arc<ComparedTests>)>>,
}

/// A test that is open, in words.
#[derive(Clone, Debug)]
pub(crate) struct OpenTest {
    pub(crate) number: u32,
    pub(crate) revision: u32,
    pub(crate) title: String,
    pub(crate) invented: bool,
    /// The text of its record.
    pub(crate) record: String,
    /// What has to be mended before it can be evaluated.
    pub(crate) problems: Vec<String>,
    pub(crate) frames: usize,
    pub(crate) scans: usize,
    /// Outlined patches and written readings.
    pub(crate) readings: usize,
    pub(crate) planned: Vec<PlannedRow>,
    /// Its step tablets, by id.
    pub(crate) tablets: Vec<String>,
}

/// A light table laid out for one revision.
#[derive(Clone, Debug)]
pub(crate) struct LaidTable {
    pub(crate) table: LightTable,
    /// The grey scale that stands over the pictures.
    pub(crate) scale: String,
    pub(crate) base_plus_fog: Option<f64>,
}

/// A change of a record in one save: for each kind its rows.
pub(crate) type Rows = BTreeMap<String, Vec<RecordRow>>;

impl OpenTest {
    /// The cut-on of its first filter that has one, and the level's short word.
    pub(crate) fn first_edge(&self) -> Option<(String, &'static str)> {
        let table = cell_table("filter")?;
        record_rows(&self.record, &table)
            .ok()?
            .iter()
            .find_map(|row| {
                let nm = row.cells.get("edge.wavelength_nm")?.clone();
                let level = match row.cells.get("edge.level").map(String::as_str) {
                    Some("half_of_peak") => "half-peak",
                    Some("ten_percent") => "10%",
                    Some("minus_three_stops") => "-3stops",
                    _ => "50%",
                };
                Some((nm, level))
            })
    }
}

fn id(test: u32) -> TestId {
    TestId::new(test)
}

impl Book {
    pub(crate) fn open_at(path: &Path) -> Result<Self, AppError> {
        let notebook = Notebook::open(path, Check::Quick)?;
        let tiles = TileCache {
            dir: notebook.path().with_extension("tiles"),
            max_bytes: TILE_CACHE_BYTES,
        };
        Ok(Self {
            notebook,
            tiles,
            tiled: Mutex::default(),
            laid: Mutex::default(),
            compared: Mutex::default(),
        })
    }

    pub(crate) fn tests(&self, put_away: bool) -> Result<Vec<TestOverview>, KeepError> {
        if put_away {
            self.notebook.tests_put_away()
        } else {
            self.notebook.tests()
        }
    }

    /// Tests that have these words anywhere, best first.
    pub(crate) fn search(&self, words: &str) -> Result<Vec<TestOverview>, KeepError> {
        let mut tests = vec![];
        for found in self.notebook.search(words)? {
            if !tests.iter().any(|t: &TestOverview| t.id == found.test) {
                tests.push(self.notebook.overview(found.test)?);
            }
        }
        Ok(tests)
    }

    pub(crate) fn open(&self, test: u32) -> Result<OpenTest, KeepError> {
        let open = self.notebook.open_test(id(test), None)?;
        let parts = &open.checked.parts;
        let outlined = parts.patches.iter().filter(|p| p.place.is_some()).count();
        Ok(OpenTest {
            number: test,
            revision: open.revision,
            title: open.checked.title(),
            invented: parts.invented,
            record: open.documents.record_text().unwrap_or_default().to_owned(),
            problems: open
                .checked
                .problems
                .iter()
                .flat_map(|found| &found.problems)
                .map(ToString::to_string)
                .collect(),
            frames: parts.frames.len(),
            scans: parts.scans.len(),
            readings: outlined + parts.readings.len(),
            planned: planned_rows(&open.checked),
            tablets: parts.tablets.iter().map(|t| t.id.to_string()).collect(),
        })
    }

    pub(crate) fn add_example(&self, progress: &dyn Progress) -> Result<u32, KeepError> {
        number(self.notebook.add_demo(BY, progress)?)
    }

    pub(crate) fn put_away(&self, test: u32, away: bool) -> Result<(), KeepError> {
        if away {
            self.notebook.put_away(id(test))
        } else {
            self.notebook.take_out(id(test))
        }
    }

    pub(crate) fn take_bundle_in(
        &self,
        bundle: &Path,
        progress: &dyn Progress,
    ) -> Result<u32, KeepError> {
        number(self.notebook.import_bundle(bundle, BY, progress)?.test)
    }

    pub(crate) fn bundle(&self, test: u32, to: &Path) -> Result<String, KeepError> {
        self.notebook.export_bundle(id(test), None, to)?;
        self.notebook.file_name(id(test))
    }

    /// Begins a record: keys as `title` or `film.name`.
    pub(crate) fn begin(&self, title: &str, keys: &[(&str, &str)]) -> Result<u32, KeepError> {
        let test = self.notebook.begin_test(title, BY)?;
        let open = self.notebook.open_test(test, None)?;
        let mut text = open.documents.record_text().unwrap_or_default().to_owned();
        let mut kinds: BTreeMap<&str, RecordRow> = BTreeMap::new();
        for (key, value) in keys {
            if let Some((kind, column)) = key.split_once('.') {
                let row = kinds.entry(kind).or_default();
                row.cells.insert(column.to_owned(), (*value).to_owned());
            }
        }
        for (kind, row) in kinds {
            if let Some(table) = cell_table(kind) {
                text = with_record_rows(&text, &table, &[row])?;
            }
        }
        let documents = open.with_text("test.toml", Some(&text))?;
        self.notebook.save(
            test,
            open.revision,
            &documents,
            BY,
            "film, filter and development named",
        )?;
        number(test)
    }

    /// Plans a test and keeps it; the names take the place of those that a plan makes up.
    pub(crate) fn plan(
        &self,
        question: PlanQuestion,
        title: &str,
        film: &str,
        filter: &str,
    ) -> Result<u32, KeepError> {
        let place = tempfile::tempdir().map_err(|e| no_room(&e))?;
        let dir = place.path().join("plan");
        plan(&PlanQuestion {
            out: Some(dir.clone()),
            ..question
        })?;
        let added = self
            .notebook
            .import_folder(&dir, app::ScanPlace::TakenIn, BY, &app::Silent)?;
        let open = self.notebook.open_test(added.test, None)?;
        let mut text = open.documents.record_text().unwrap_or_default().to_owned();
        text = with_top_keys(&text, &[("title", title)])?;
        for (kind, own, name) in [("film", "film", film), ("filter", "filter", filter)] {
            let Some(table) = cell_table(kind).filter(|_| !name.is_empty()) else {
                continue;
            };
            let mut rows = record_rows(&text, &table)?;
            for row in &mut rows {
                if row.cells.get("id").is_some_and(|id| id == own) {
                    row.cells.insert("name".to_owned(), name.to_owned());
                }
            }
            text = with_record_rows(&text, &table, &rows)?;
        }
        let documents = open.with_text("test.toml", Some(&text))?;
        self.notebook
            .save(added.test, open.revision, &documents, BY, "named")?;
        number(added.test)
    }

    /// Saves rows of records, if the test still has the revision that was seen.
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
        }
        let documents = open.with_text("test.toml", Some(&text))?;
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

    /// Confirms patches that were carried to a frame, or takes them off it. Confirmed,
    /// they are outlines of their own at the place that was looked at.
    pub(crate) fn settle_carried(
        &self,
        test: u32,
        seen: u32,
        frame: &str,
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
            if view.get("frame").and_then(Value::as_str) != Some(frame) {
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
                    without.push((frame.to_owned(), text("patch").to_owned()));
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
                    frame: frame.to_owned(),
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
                format!("frame {frame:?} has no carried patch"),
                "load the page again",
            )
            .into());
        }
        let documents = open.with_patches(&rows, &without)?;
        let what = if confirm {
            format!("carried patches of frame {frame} looked at and confirmed")
        } else {
            format!("carried patches taken off frame {frame}")
        };
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
        if let Some(tablet) = recorded.into_iter().find(|t| t.id.as_str() == place.tablet) {
            place.steps = u32::try_from(tablet.steps.len()).unwrap_or(place.steps);
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
            // A scan that is called like the frame is taken for its scan until a patch says more.
            if scans.is_empty()
                && let Some(scan) = parts.scans.iter().find(|s| s.id == frame.id)
            {
                scans.push(scan.id.as_str());
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

    pub(crate) fn undo(&self, test: u32, seen: u32) -> Result<(), KeepError> {
        self.notebook.undo(id(test), seen, BY).map(drop)
    }

    pub(crate) fn put_back(&self, test: u32, seen: u32, revision: u32) -> Result<(), KeepError> {
        self.notebook
            .restore(id(test), seen, revision, BY)
            .map(drop)
    }

    pub(crate) fn history(&self, test: u32) -> Result<Vec<app::Revision>, KeepError> {
        self.notebook.history(id(test))
    }

    pub(crate) fn evaluate(&self, test: u32, progress: &dyn Progress) -> Result<u32, KeepError> {
        let today = jiff::ZonedDateTime::now().date().to_string();
        self.notebook
            .evaluate_for_pages(id(test), Some(today), progress)
    }

    pub(crate) fn evaluated(&self, test: u32) -> Result<Option<EvaluatedPages>, KeepError> {
        self.notebook.evaluated_pages(id(test))
    }

    pub(crate) fn report(&self, pages: &EvaluatedPages) -> Result<String, KeepError> {
        Ok(self.notebook.report_of(pages)?)
    }

    /// Numbers and titles of tests that can be compared with one.
    pub(crate) fn others(&self, test: u32) -> Result<Vec<(u32, String)>, KeepError> {
        let mut others = vec![];
        for other in self.notebook.tests()? {
            let number = number(other.id)?;
            if number != test && other.stage.word() == "measured" {
                others.push((number, other.title));
            }
        }
        Ok(others)
    }

    fn revisions(&self, tests: &[u32]) -> Result<Tests, KeepError> {
        tests
            .iter()
            .map(|test| Ok((*test, self.notebook.overview(id(*test))?.revision)))
            .collect()
    }

    /// A comparison, if it was made already.
    pub(crate) fn compared(&self, tests: &[u32]) -> Result<Option<Arc<ComparedTests>>, KeepError> {
        let key = self.revisions(tests)?;
        let compared = self.compared.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(compared
            .iter()
            .find(|(of, _)| *of == key)
            .map(|(_, found)| Arc::clone(found)))
    }

    /// Compares tests, the first being the one that is spoken of.
    pub(crate) fn compare(&self, tests: &[u32], progress: &dyn Progress) -> Result<(), KeepError> {
        let key = self.revisions(tests)?;
        let mut named: Vec<(String, PathBuf)> = vec![];
        for (test, revision) in &key {
            let mut name = self.notebook.overview(id(*test))?.title;
            if named.iter().any(|(taken, _)| *taken == name) {
                name = format!("{name} (test {test})");
            }
            named.push((name, self.notebook.folder(id(*test), Some(*revision))?.1));
        }
        let found = Arc::new(compare_named_tests(&named, progress)?);
        let mut compared = self.compared.lock().unwrap_or_else(PoisonError::into_inner);
        compared.push_back((key, found));
        while compared.len() > MOST_LAID {
            compared.pop_front();
        }
        Ok(())
    }

    /// One of the field cards, as a page.
    pub(crate) fn card(&self, test: u32, name: &str) -> Result<String, KeepError> {
        let (_, dir) = self.notebook.folder(id(test), None)?;
        let place = tempfile::tempdir().map_err(|e| no_room(&e))?;
        write_card(&dir, Some(place.path()))?;
        Ok(std::fs::read_to_string(place.path().join(name)).map_err(|e| no_room(&e))?)
    }

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
        let table = light_table(&dir, progress)?;
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

    /// A scan as tiles; the first look at it cuts them.
    pub(crate) fn tiled(&self, test: u32, scan: &str) -> Result<Arc<TiledScan>, KeepError> {
        let (revision, dir) = self.notebook.folder(id(test), None)?;
        let key = (test, revision, scan.to_owned());
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

fn number(test: TestId) -> Result<u32, KeepError> {
    u32::try_from(test.number())
        .map_err(|_| AppError::new("the notebook has too many tests", "begin another").into())
}

fn not_there(what: &str, name: &str) -> AppError {
    let name: String = name.chars().take(64).collect();
    AppError::new(
        format!("the test has no {what} {name:?}"),
        "load the page again",
    )
}

fn no_room(error: &std::io::Error) -> AppError {
    AppError::new(
        format!("a folder for work in between can't be used: {error}"),
        "check the free space of the disk",
    )
}

/// A name for a scan that the record can refer to.
fn scan_id(name: &str, parts: &app::TestParts) -> String {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let mut id: String = stem
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || "-_.".contains(c) {
                c
            } else {
                '-'
            }
        })
        .take(50)
        .collect();
    if id.is_empty() {
        id = "scan".to_owned();
    }
    let taken = |id: &str| parts.scans.iter().any(|s| s.id.as_str() == id);
    if !taken(&id) {
        return id;
    }
    (2_u32..)
        .map(|number| format!("{id}-{number}"))
        .find(|id| !taken(id))
        .unwrap_or(id)
}
