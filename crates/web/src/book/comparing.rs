//! Tests held against each other; the last comparisons are held.

use super::{Book, MOST_LAID, Tests, id, number};
use app::{ComparedTests, KeepError, Progress, TestOverview, compare_named_tests};
use std::path::PathBuf;
use std::sync::{Arc, PoisonError};

/// Most tests that are offered to be compared with.
const MOST_OTHERS: usize = 12;

/// Tests that one can be compared with.
#[derive(Clone, Debug)]
pub(crate) struct Others {
    pub(crate) tests: Vec<OtherTest>,
    /// How many there are in the notebook.
    pub(crate) all: usize,
}

/// One of them.
#[derive(Clone, Debug)]
pub(crate) struct OtherTest {
    pub(crate) number: u32,
    pub(crate) title: String,
    /// Its films and filters.
    pub(crate) about: String,
}

impl Book {
    /// Tests that one can be compared with: those that have the words, or else those
    /// that are nearest by film and filter, last changed first.
    pub(crate) fn others(&self, test: u32, words: &str) -> Result<Others, KeepError> {
        let own = self.notebook.overview(id(test))?;
        let fits = |other: &TestOverview| other.id != own.id && other.stage.word() == "measured";
        let all = self.notebook.tests()?;
        let count = all.iter().filter(|other| fits(other)).count();
        let mut near = if words.trim().is_empty() {
            all
        } else {
            self.notebook.tests_found(words)?.tests
        };
        near.retain(fits);
        if words.trim().is_empty() && near.len() > MOST_OTHERS {
            let common = |one: &[String], other: &[String]| one.iter().any(|o| other.contains(o));
            let nearness = |other: &TestOverview| {
                2 * u8::from(common(&own.films, &other.films))
                    + u8::from(common(&own.filters, &other.filters))
            };
            near.retain(|other| nearness(other) > 0);
            // Stable: of two that are equally near the later changed one stays first.
            near.sort_by_key(|other| std::cmp::Reverse(nearness(other)));
        }
        near.truncate(MOST_OTHERS);
        let tests = near
            .into_iter()
            .map(|other| {
                Ok(OtherTest {
                    number: number(other.id)?,
                    about: [other.films.join(", "), other.filters.join(", ")]
                        .into_iter()
                        .filter(|part| !part.is_empty())
                        .collect::<Vec<_>>()
                        .join("; "),
                    title: other.title,
                })
            })
            .collect::<Result<_, KeepError>>()?;
        Ok(Others { tests, all: count })
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
}
