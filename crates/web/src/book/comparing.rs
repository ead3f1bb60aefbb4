//! Tests held against each other; the last comparisons are held.

use super::{Book, MOST_LAID, Tests, id, number};
use app::{ComparedTests, KeepError, Progress, compare_named_tests};
use std::path::PathBuf;
use std::sync::{Arc, PoisonError};

impl Book {
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
}
