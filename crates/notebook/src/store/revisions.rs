//! Saving: a change is a new revision, and nobody's change is lost.

use crate::documents::Documents;
use crate::store::content::{content_of, documents, keep, listing};
use crate::store::difference::{Difference, differences};
use crate::store::error::Doing;
use crate::store::index::index_test;
use crate::store::{Conflict, NotebookError, NotebookFile};
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use std::collections::BTreeMap;
use std::fmt;

/// A test's number in its notebook. Numbers are never given twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TestId(i64);

impl TestId {
    /// The test of this number, if there is one.
    #[must_use]
    pub fn new(number: u32) -> Self {
        Self(i64::from(number))
    }

    pub(crate) fn from_row(number: i64) -> Self {
        Self(number)
    }

    /// The number.
    #[must_use]
    pub fn number(self) -> i64 {
        self.0
    }
}

impl fmt::Display for TestId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// Who changes something, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// When, as RFC 3339.
    pub at: String,
    /// Who, in their own words.
    pub by: String,
}

/// One change of a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Revision {
    /// Counted from 1.
    pub number: u32,
    /// When, as RFC 3339.
    pub at: String,
    /// Who.
    pub by: String,
    /// What was done, in words.
    pub what: String,
    /// When this was an undoing: the earlier revision that it went back to.
    pub restores: Option<u32>,
    /// What differs from the revision before.
    pub differences: Vec<Difference>,
}

/// What a save did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Saved {
    /// The revision that the test now has.
    pub revision: u32,
    /// Whether it is a new one: the same files again make none.
    pub is_new: bool,
}

impl NotebookFile {
    /// Keeps a new test.
    ///
    /// # Errors
    /// [`NotebookError`] when SQLite refuses, or a stored file is not known.
    pub fn add_test(
        &mut self,
        documents: &Documents,
        stamp: &Stamp,
        what: &str,
    ) -> Result<TestId, NotebookError> {
        let doing = "keeping a test";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        transaction
            .execute("INSERT INTO test (revision) VALUES (1)", [])
            .doing(doing)?;
        let test = transaction.last_insert_rowid();
        write(
            &transaction,
            test,
            1,
            &Documents::default(),
            documents,
            &Note {
                stamp,
                what,
                restores: None,
            },
        )?;
        transaction.commit().doing(doing)?;
        Ok(TestId(test))
    }

    /// Saves a test's files as a new revision, if nobody changed it since
    /// revision `expected`.
    ///
    /// # Errors
    /// [`NotebookError::Conflict`] when somebody did; then nothing is changed.
    pub fn save(
        &mut self,
        test: TestId,
        expected: u32,
        documents: &Documents,
        stamp: &Stamp,
        what: &str,
    ) -> Result<Saved, NotebookError> {
        self.change(test, expected, stamp, |_, _| {
            Ok((documents.clone(), what.to_owned(), None))
        })
    }

    /// Undoes the last change: a new revision with the files of the one before.
    /// Undone again, it goes back one further.
    ///
    /// # Errors
    /// [`NotebookError::NothingToUndo`], and as for [`Self::save`].
    pub fn undo(
        &mut self,
        test: TestId,
        expected: u32,
        stamp: &Stamp,
    ) -> Result<Saved, NotebookError> {
        self.change(test, expected, stamp, |connection, test| {
            let stands_for = |revision: u32| -> Result<u32, NotebookError> {
                Ok(restores(connection, test, revision)?.unwrap_or(revision))
            };
            let undone = stands_for(expected)?;
            if undone <= 1 {
                return Err(NotebookError::NothingToUndo(test));
            }
            let target = stands_for(undone - 1)?;
            let (what,) = connection
                .query_row(
                    "SELECT what FROM revision WHERE test = ?1 AND number = ?2",
                    params![test.0, undone],
                    |row| Ok((row.get::<_, String>(0)?,)),
                )
                .doing("undoing a change")?;
            Ok((
                documents(connection, test.0, target)?,
                format!("undone: {what}"),
                Some(target),
            ))
        })
    }

    /// Puts the files of an earlier revision back, as a new one.
    ///
    /// # Errors
    /// [`NotebookError::NoRevision`], and as for [`Self::save`].
    pub fn restore(
        &mut self,
        test: TestId,
        expected: u32,
        revision: u32,
        stamp: &Stamp,
    ) -> Result<Saved, NotebookError> {
        self.change(test, expected, stamp, |connection, test| {
            if revision == 0 || revision > expected {
                return Err(NotebookError::NoRevision { test, revision });
            }
            // A change like any other: undone, it gives what stood before it.
            Ok((
                documents(connection, test.0, revision)?,
                format!("put back as it was in revision {revision}"),
                None,
            ))
        })
    }

    fn change(
        &mut self,
        test: TestId,
        expected: u32,
        stamp: &Stamp,
        make: impl FnOnce(
            &Connection,
            TestId,
        ) -> Result<(Documents, String, Option<u32>), NotebookError>,
    ) -> Result<Saved, NotebookError> {
        let doing = "saving a test";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let current = current_revision(&transaction, test)?;
        if current != expected {
            return Err(NotebookError::Conflict(Box::new(Conflict {
                test,
                expected,
                current,
                since: revisions(&transaction, test, expected)?,
            })));
        }
        let before = documents(&transaction, test.0, current)?;
        let (after, what, restores) = make(&transaction, test)?;
        if before == after {
            return Ok(Saved {
                revision: current,
                is_new: false,
            });
        }
        let revision = current + 1;
        transaction
            .execute(
                "UPDATE test SET revision = ?2 WHERE id = ?1",
                params![test.0, revision],
            )
            .doing(doing)?;
        write(
            &transaction,
            test.0,
            revision,
            &before,
            &after,
            &Note {
                stamp,
                what: &what,
                restores,
            },
        )?;
        transaction.commit().doing(doing)?;
        Ok(Saved {
            revision,
            is_new: true,
        })
    }

    /// The revision that a test has.
    ///
    /// # Errors
    /// [`NotebookError::NoTest`].
    pub fn revision(&self, test: TestId) -> Result<u32, NotebookError> {
        current_revision(&self.connection, test)
    }

    /// The files of a test, as they are or as they were in a revision.
    ///
    /// # Errors
    /// [`NotebookError::NoTest`] and [`NotebookError::NoRevision`].
    pub fn documents(
        &self,
        test: TestId,
        revision: Option<u32>,
    ) -> Result<(u32, Documents), NotebookError> {
        // One transaction, so that revision and files belong together.
        let transaction = self
            .connection
            .unchecked_transaction()
            .doing("reading a test")?;
        let current = current_revision(&transaction, test)?;
        let revision = revision.unwrap_or(current);
        if revision == 0 || revision > current {
            return Err(NotebookError::NoRevision { test, revision });
        }
        Ok((revision, documents(&transaction, test.0, revision)?))
    }

    /// All revisions of a test, oldest first.
    ///
    /// # Errors
    /// [`NotebookError::NoTest`].
    pub fn history(&self, test: TestId) -> Result<Vec<Revision>, NotebookError> {
        current_revision(&self.connection, test)?;
        revisions(&self.connection, test, 0)
    }

    /// The tests at hand that have exactly these files, by number.
    ///
    /// # Errors
    /// [`NotebookError::Sql`].
    pub fn tests_with(&self, files: &Documents) -> Result<Vec<TestId>, NotebookError> {
        let doing = "looking for the same test";
        let mut contents: Vec<(String, i64)> = Vec::new();
        for (path, held) in files.iter() {
            match content_of(&self.connection, &held.fingerprint())? {
                Some(content) => contents.push((path.to_owned(), content)),
                None => return Ok(Vec::new()),
            }
        }
        let Some((path, content)) = contents.first() else {
            return Ok(Vec::new());
        };
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT DISTINCT test.id, test.revision FROM document
                 JOIN test ON test.id = document.test AND test.put_away_at IS NULL
                 WHERE document.content = ?1 AND document.path = ?2 ORDER BY test.id",
            )
            .doing(doing)?;
        let rows = statement
            .query_map(params![content, path], |row| Ok((row.get(0)?, row.get(1)?)))
            .doing(doing)?;
        let mut same = Vec::new();
        for row in rows {
            let (test, revision) = row.doing(doing)?;
            let listed = listing(&self.connection, test, revision)?;
            if listed
                .into_iter()
                .map(|l| (l.path, l.content))
                .eq(contents.iter().cloned())
            {
                same.push(TestId(test));
            }
        }
        Ok(same)
    }

    /// Puts a test away: it is no longer listed or found, and is all still there.
    ///
    /// # Errors
    /// [`NotebookError::NoTest`].
    pub fn put_away(&mut self, test: TestId, at: &str) -> Result<(), NotebookError> {
        self.set_put_away(test, Some(at))
    }

    /// Takes a test out again that was put away.
    ///
    /// # Errors
    /// [`NotebookError::NoTest`].
    pub fn take_out(&mut self, test: TestId) -> Result<(), NotebookError> {
        self.set_put_away(test, None)
    }

    fn set_put_away(&mut self, test: TestId, at: Option<&str>) -> Result<(), NotebookError> {
        let changed = self
            .connection
            .execute(
                "UPDATE test SET put_away_at = ?2 WHERE id = ?1",
                params![test.0, at],
            )
            .doing("putting a test away")?;
        if changed == 0 {
            return Err(NotebookError::NoTest(test));
        }
        Ok(())
    }
}

/// Who changed what.
struct Note<'a> {
    stamp: &'a Stamp,
    what: &'a str,
    restores: Option<u32>,
}

/// Writes a revision with the files that differ from the one before.
fn write(
    connection: &Connection,
    test: i64,
    revision: u32,
    before: &Documents,
    after: &Documents,
    note: &Note<'_>,
) -> Result<(), NotebookError> {
    let doing = "saving a test";
    let differ = if revision == 1 {
        Vec::new()
    } else {
        differences(before, after)
    };
    connection
        .prepare_cached(
            "INSERT INTO revision (test, number, at, by, what, restores, differences)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )
        .doing(doing)?
        .execute(params![
            test,
            revision,
            note.stamp.at,
            note.stamp.by,
            note.what,
            note.restores,
            Difference::list_to_text(&differ)
        ])
        .doing(doing)?;
    let mut insert = connection
        .prepare_cached(
            "INSERT INTO document (test, path, revision, content) VALUES (?1, ?2, ?3, ?4)",
        )
        .doing(doing)?;
    let stood: BTreeMap<String, i64> = if revision == 1 {
        BTreeMap::new()
    } else {
        listing(connection, test, revision - 1)?
            .into_iter()
            .map(|listed| (listed.path, listed.content))
            .collect()
    };
    for (path, held) in after.iter() {
        let content = keep(connection, held)?;
        if stood.get(path) != Some(&content) {
            insert
                .execute(params![test, path, revision, content])
                .doing(doing)?;
        }
    }
    for path in stood.keys().filter(|path| after.get(path).is_none()) {
        insert
            .execute(params![test, path, revision, None::<i64>])
            .doing(doing)?;
    }
    index_test(connection, test, after, &note.stamp.at)
}

fn current_revision(connection: &Connection, test: TestId) -> Result<u32, NotebookError> {
    connection
        .prepare_cached("SELECT revision FROM test WHERE id = ?1")
        .doing("looking for a test")?
        .query_row([test.0], |row| row.get(0))
        .optional()
        .doing("looking for a test")?
        .ok_or(NotebookError::NoTest(test))
}

/// The revision that this one went back to, if it was an undoing.
fn restores(
    connection: &Connection,
    test: TestId,
    revision: u32,
) -> Result<Option<u32>, NotebookError> {
    connection
        .prepare_cached("SELECT restores FROM revision WHERE test = ?1 AND number = ?2")
        .doing("looking for a revision")?
        .query_row(params![test.0, revision], |row| row.get(0))
        .optional()
        .doing("looking for a revision")?
        .ok_or(NotebookError::NoRevision { test, revision })
}

/// The revisions after one, oldest first.
fn revisions(
    connection: &Connection,
    test: TestId,
    after: u32,
) -> Result<Vec<Revision>, NotebookError> {
    let doing = "reading the history of a test";
    let mut statement = connection
        .prepare_cached(
            "SELECT number, at, by, what, restores, differences FROM revision
             WHERE test = ?1 AND number > ?2 ORDER BY number",
        )
        .doing(doing)?;
    let rows = statement
        .query_map(params![test.0, after], |row| {
            Ok(Revision {
                number: row.get(0)?,
                at: row.get(1)?,
                by: row.get(2)?,
                what: row.get(3)?,
                restores: row.get(4)?,
                differences: Difference::list_from_text(&row.get::<_, String>(5)?),
            })
        })
        .doing(doing)?;
    rows.collect::<Result<_, _>>().doing(doing)
}
