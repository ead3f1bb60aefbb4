//! The notebook as handlers use it: tests by number, in words ready to be shown.

mod comparing;
mod edits;
mod files;
mod looking;
mod rebates;
mod tablets;

pub(crate) use comparing::Others;
pub(crate) use files::TakenIn;
pub(crate) use tablets::{Found, Missing, TabletSearch};

use crate::mending::{FaultyCell, ToMend, to_mend};
use app::{
    AppError, Carried, Check, ComparedTests, EvaluatedPages, FoundTests, KeepError, LaidPairs,
    LightTable, Notebook, PlanQuestion, Planned, PlannedFor, PlannedRow, Progress, RecordRow,
    TILE_CACHE_BYTES, TestId, TestOverview, TileCache, TiledScan, carried, cell_table, plan,
    plan_foreseen, planned_rows, record_rows, with_record_rows, with_top_keys,
};
use std::collections::{BTreeMap, VecDeque};
use std::path::Path;
use std::sync::{Arc, Mutex};

/// Who makes changes here, as the history names them.
const BY: &str = "in the browser";
/// Scans whose tiles are held open.
const MOST_TILED: usize = 64;
/// Light tables that are held.
const MOST_LAID: usize = 8;

/// A scan as tiles, by what is recorded of the scans.
type Tiled = ((Arc<str>, String), Arc<TiledScan>);
/// What is recorded of the scans of a test's revision, as one name.
type Recorded = ((u32, u32), Arc<str>);
/// Scans that were laid on each other, by what is recorded of them.
type Pairs = (Arc<str>, Arc<LaidPairs>);
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
    pairs: Mutex<VecDeque<Pairs>>,
    seen: Mutex<VecDeque<Recorded>>,
    compared: Mutex<VecDeque<(Tests, Arc<ComparedTests>)>>,
    looks: Mutex<Vec<tablets::Look>>,
    looking: Mutex<BTreeMap<u32, u64>>,
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
    /// The cells that what has to be mended lies in.
    pub(crate) faults: Vec<FaultyCell>,
    pub(crate) frames: usize,
    pub(crate) scans: usize,
    /// Outlined patches and written readings.
    pub(crate) readings: usize,
    pub(crate) planned: Vec<PlannedRow>,
    /// Its step tablets, by id.
    pub(crate) tablets: Vec<String>,
    /// What it brings into a plan of it.
    pub(crate) carried: Carried,
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
            dir: {
                let mut beside = notebook.path().as_os_str().to_owned();
                beside.push(".tiles");
                beside.into()
            },
            max_bytes: TILE_CACHE_BYTES,
        };
        Ok(Self {
            notebook,
            tiles,
            tiled: Mutex::default(),
            laid: Mutex::default(),
            pairs: Mutex::default(),
            seen: Mutex::default(),
            compared: Mutex::default(),
            looks: Mutex::default(),
            looking: Mutex::default(),
        })
    }

    pub(crate) fn tests(&self, put_away: bool) -> Result<Vec<TestOverview>, KeepError> {
        if put_away {
            self.notebook.tests_put_away()
        } else {
            self.notebook.tests()
        }
    }

    /// Tests that have these words anywhere, best first, and how many there are in all.
    pub(crate) fn search(&self, words: &str) -> Result<FoundTests, KeepError> {
        self.notebook.tests_found(words)
    }

    pub(crate) fn open(&self, test: u32) -> Result<OpenTest, KeepError> {
        let open = self.notebook.open_test(id(test), None)?;
        let parts = &open.checked.parts;
        let outlined = parts.patches.iter().filter(|p| p.place.is_some()).count();
        let record = open.documents.record_text().unwrap_or_default().to_owned();
        let to_mend: Vec<ToMend> = open
            .checked
            .problems
            .iter()
            .flat_map(|found| &found.problems)
            .map(|problem| to_mend(&record, problem))
            .collect();
        Ok(OpenTest {
            number: test,
            revision: open.revision,
            title: open.checked.title(),
            invented: parts.invented,
            record,
            problems: to_mend.iter().map(|found| found.words.clone()).collect(),
            faults: to_mend.into_iter().filter_map(|found| found.cell).collect(),
            frames: parts.frames.len(),
            scans: parts.scans.len(),
            readings: outlined + parts.readings.len(),
            planned: planned_rows(&open.checked),
            tablets: parts.tablets.iter().map(|t| t.id.to_string()).collect(),
            carried: carried(&open.checked),
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

    /// What a plan of a new test would be, with its frames.
    pub(crate) fn foreseen(
        &self,
        question: &PlanQuestion,
    ) -> Result<(Planned, Vec<PlannedRow>), KeepError> {
        let planned = plan(question)?;
        let rows = planned.rows();
        Ok((planned, rows))
    }

    /// The same of a test that is recorded.
    pub(crate) fn foreseen_for(
        &self,
        test: u32,
        question: &PlanQuestion,
        of: &PlannedFor,
    ) -> Result<(Planned, Vec<PlannedRow>), KeepError> {
        let open = self.notebook.open_test(id(test), None)?;
        Ok(plan_foreseen(&open.checked, question, of)?)
    }

    /// Plans a test that is recorded, and keeps the plan with it.
    pub(crate) fn plan_test(
        &self,
        test: u32,
        seen: u32,
        question: &PlanQuestion,
        of: &PlannedFor,
    ) -> Result<(), KeepError> {
        self.notebook
            .plan_test(id(test), seen, question, of, BY)
            .map(drop)
    }

    /// Plans a test and keeps it; the names take the place of those that a plan makes up.
    pub(crate) fn plan(
        &self,
        question: &PlanQuestion,
        title: &str,
        film: &str,
        filter: &str,
    ) -> Result<u32, KeepError> {
        let place = tempfile::tempdir().map_err(|e| no_room(&e))?;
        let dir = place.path().join("plan");
        plan(&PlanQuestion {
            out: Some(dir.clone()),
            ..question.clone()
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
            .map_err(|error| self.without_place(test, error))
    }

    /// An error that names files of a test as they are called in its folder, not where
    /// that lies for as long as it is worked on.
    fn without_place(&self, test: u32, error: KeepError) -> KeepError {
        let KeepError::Failed(mut told) = error else {
            return error;
        };
        if let Ok((_, dir)) = self.notebook.folder(id(test), None) {
            let dir = dir.display().to_string();
            for text in [&mut told.problem, &mut told.remedy] {
                *text = text
                    .replace(&format!("{dir}/"), "")
                    .replace(&dir, "the test's folder");
            }
        }
        KeepError::Failed(told)
    }

    pub(crate) fn evaluated(&self, test: u32) -> Result<Option<EvaluatedPages>, KeepError> {
        self.notebook.evaluated_pages(id(test))
    }

    pub(crate) fn report(&self, pages: &EvaluatedPages) -> Result<String, KeepError> {
        Ok(self.notebook.report_of(pages)?)
    }
}

fn number(test: TestId) -> Result<u32, KeepError> {
    u32::try_from(test.number())
        .map_err(|_| AppError::new("the notebook has too many tests", "begin another").into())
}

fn no_room(error: &std::io::Error) -> AppError {
    AppError::new(
        format!("a folder for work in between can't be used: {error}"),
        "check the free space of the disk",
    )
}
