//! Finding tests by words in their titles, films, filters and batches.

use crate::store::error::Doing;
use crate::store::overview::{COLUMN_COUNT, COLUMNS, overview};
use crate::store::{NotebookError, NotebookFile, TestId, TestOverview};
use rusqlite::params;

/// Something that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The test it belongs to.
    pub test: TestId,
    /// The test's title.
    pub title: String,
    /// What was found: `test`, `film`, `filter` or `batch`.
    pub kind: String,
    /// The record's id within the test; empty for the test itself.
    pub record: String,
    /// What it is called.
    pub label: String,
}

/// The most words of a question that are used.
const WORDS_MOST: usize = 12;

/// Makes a question to the word index: every word must begin a word there.
///
/// Each word goes in quotes, so that nothing a person types is an operator.
fn question(text: &str) -> Option<String> {
    let words: Vec<String> = text
        .split_whitespace()
        .filter(|word| word.chars().any(char::is_alphanumeric))
        .take(WORDS_MOST)
        .map(|word| format!("\"{}\"*", word.replace('"', "\"\"").replace('\0', "")))
        .collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// Tests that were found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FoundTests {
    /// The best of them, best first.
    pub tests: Vec<TestOverview>,
    /// How many there are in all.
    pub all: u32,
}

impl NotebookFile {
    /// Finds tests at hand that have all these words, each once, whether the words
    /// meet its title, a film, a filter or a batch; best first, at most `most`.
    ///
    /// # Errors
    /// [`NotebookError::Sql`].
    pub fn tests_found(&self, words: &str, most: u32) -> Result<FoundTests, NotebookError> {
        let doing = "searching";
        let Some(question) = question(words) else {
            return Ok(FoundTests::default());
        };
        let mut statement = self
            .connection
            .prepare_cached(&format!(
                "SELECT {COLUMNS}, count(*) OVER () FROM
                 (SELECT search_row.test AS found, min(search.rank) AS best
                  FROM search JOIN search_row ON search_row.id = search.rowid
                  WHERE search MATCH ?1 GROUP BY search_row.test)
                 JOIN test ON test.id = found JOIN overview ON overview.test = found
                 WHERE put_away_at IS NULL ORDER BY best, test.id DESC LIMIT ?2"
            ))
            .doing(doing)?;
        let rows = statement
            .query_map(params![question, most], |row| {
                Ok((overview(row)?, row.get::<_, u32>(COLUMN_COUNT)?))
            })
            .doing(doing)?;
        let mut found = FoundTests::default();
        for row in rows {
            let (test, all) = row.doing(doing)?;
            found.tests.push(test);
            found.all = all;
        }
        Ok(found)
    }

    /// Finds tests, films, filters and batches whose words begin with all those
    /// given; best first, at most `most`. Nothing is found for no words.
    ///
    /// # Errors
    /// [`NotebookError::Sql`].
    pub fn search(&self, words: &str, most: u32) -> Result<Vec<Found>, NotebookError> {
        let doing = "searching";
        let Some(question) = question(words) else {
            return Ok(Vec::new());
        };
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT search_row.test, overview.title, kind, record, label
                 FROM search
                 JOIN search_row ON search_row.id = search.rowid
                 JOIN overview ON overview.test = search_row.test
                 JOIN test ON test.id = search_row.test
                 WHERE search MATCH ?1 AND test.put_away_at IS NULL
                 ORDER BY search.rank, search_row.test DESC, search_row.id LIMIT ?2",
            )
            .doing(doing)?;
        let rows = statement
            .query_map(params![question, most], |row| {
                Ok(Found {
                    test: TestId::from_row(row.get(0)?),
                    title: row.get(1)?,
                    kind: row.get(2)?,
                    record: row.get(3)?,
                    label: row.get(4)?,
                })
            })
            .doing(doing)?;
        rows.collect::<Result<_, _>>().doing(doing)
    }
}
