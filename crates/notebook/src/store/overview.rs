//! The list of tests.

use crate::store::error::Doing;
use crate::store::{NotebookError, NotebookFile, TestId};
use rusqlite::Row;

/// How far a test is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Something in it can't be read yet.
    Draft,
    /// It has a title, and neither plan nor frame.
    Begun,
    /// It has a plan and no exposed frame.
    Planned,
    /// Frames were exposed; there is nothing to measure yet.
    Exposed,
    /// It has outlined patches or readings, so that it can be evaluated.
    Measured,
}

impl Stage {
    pub(crate) const ALL: [Self; 5] = [
        Self::Draft,
        Self::Begun,
        Self::Planned,
        Self::Exposed,
        Self::Measured,
    ];

    /// One word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Draft => "draft",
            Self::Begun => "begun",
            Self::Planned => "planned",
            Self::Exposed => "exposed",
            Self::Measured => "measured",
        }
    }
}

/// A test as it stands in the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TestOverview {
    /// Its number.
    pub id: TestId,
    /// What it is called.
    pub title: String,
    /// How far it is.
    pub stage: Stage,
    /// Its revision.
    pub revision: u32,
    /// When it was last changed, as RFC 3339.
    pub changed_at: String,
    /// Whether its data are invented.
    pub invented: bool,
    /// Number of exposed frames.
    pub frames: u32,
    /// Number of planned frames.
    pub planned: u32,
    /// Number of scans.
    pub scans: u32,
    /// Number of outlined patches and written readings.
    pub readings: u32,
    /// Number of problems that keep it a draft.
    pub problems: u32,
    /// Its films, by name.
    pub films: Vec<String>,
    /// Its filters, by name.
    pub filters: Vec<String>,
    /// Batches of its films.
    pub batches: Vec<String>,
    /// Places of its lights.
    pub places: Vec<String>,
    /// When it was put away, if it was.
    pub put_away_at: Option<String>,
}

/// Parts a list that is kept as one text.
const BETWEEN: char = '\u{1f}';

/// Joins a list to one text.
pub(crate) fn joined<'a>(list: impl Iterator<Item = &'a str>) -> String {
    let mut seen: Vec<&str> = Vec::new();
    for item in list {
        if !seen.contains(&item) {
            seen.push(item);
        }
    }
    seen.join(&BETWEEN.to_string())
}

fn parted(text: &str) -> Vec<String> {
    text.split(BETWEEN)
        .filter(|item| !item.is_empty())
        .map(str::to_owned)
        .collect()
}

/// What [`overview`] reads of `test` and `overview`, in its order.
pub(crate) const COLUMNS: &str =
    "test.id, title, stage, revision, changed_at, invented, frames, planned,
    scans, readings, problems, films, filters, batches, places, put_away_at";

/// Their number.
pub(crate) const COLUMN_COUNT: usize = 16;

pub(crate) fn overview(row: &Row<'_>) -> rusqlite::Result<TestOverview> {
    let stage: String = row.get(2)?;
    let list = |index| row.get::<_, String>(index).map(|text| parted(&text));
    Ok(TestOverview {
        id: TestId::from_row(row.get(0)?),
        title: row.get(1)?,
        stage: Stage::ALL
            .into_iter()
            .find(|known| known.word() == stage)
            .unwrap_or(Stage::Draft),
        revision: row.get(3)?,
        changed_at: row.get(4)?,
        invented: row.get(5)?,
        frames: row.get(6)?,
        planned: row.get(7)?,
        scans: row.get(8)?,
        readings: row.get(9)?,
        problems: row.get(10)?,
        films: list(11)?,
        filters: list(12)?,
        batches: list(13)?,
        places: list(14)?,
        put_away_at: row.get(15)?,
    })
}

impl NotebookFile {
    /// The tests of the notebook, last changed first: those at hand, or those
    /// put away.
    ///
    /// # Errors
    /// [`NotebookError::Sql`].
    pub fn tests(&self, put_away: bool) -> Result<Vec<TestOverview>, NotebookError> {
        let doing = "listing the tests";
        let mut statement = self
            .connection
            .prepare_cached(&format!(
                "SELECT {COLUMNS} FROM test JOIN overview ON overview.test = test.id
                 WHERE (put_away_at IS NOT NULL) = ?1 ORDER BY changed_at DESC, test.id DESC"
            ))
            .doing(doing)?;
        let rows = statement.query_map([put_away], overview).doing(doing)?;
        rows.collect::<Result<_, _>>().doing(doing)
    }

    /// One test as it stands in the list, put away or not.
    ///
    /// # Errors
    /// [`NotebookError::NoTest`].
    pub fn overview(&self, test: TestId) -> Result<TestOverview, NotebookError> {
        use rusqlite::OptionalExtension;
        self.connection
            .prepare_cached(&format!(
                "SELECT {COLUMNS} FROM test JOIN overview ON overview.test = test.id
                 WHERE test.id = ?1"
            ))
            .doing("looking for a test")?
            .query_row([test.number()], overview)
            .optional()
            .doing("looking for a test")?
            .ok_or(NotebookError::NoTest(test))
    }
}
