//! Opening a notebook: checks first, then a copy, then what is missing of its schema.

use crate::store::error::{Doing, file_error};
use crate::store::index::index_all;
use crate::store::schema::{APPLICATION_ID, MIGRATIONS, Migration};
use crate::store::{NotebookError, scans};
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How thoroughly a notebook is checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Check {
    /// The structure of the file.
    Quick,
    /// Every index against its table, references between tables, and the hash
    /// of everything that lies within the file.
    Full,
}

/// A notebook that is open and passed its check.
#[derive(Debug)]
pub struct NotebookFile {
    pub(crate) connection: Connection,
    path: PathBuf,
}

/// How long another program's change is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

impl NotebookFile {
    /// Opens a notebook, or begins one where there is no file.
    ///
    /// A notebook of an earlier schema is copied before it is brought up to
    /// date; the copy lies beside it and stays there.
    ///
    /// # Errors
    /// [`NotebookError`] when the file is something else, of a later schema,
    /// damaged, or can't be read and written; it is then left as it is.
    pub fn open(path: &Path, check: Check) -> Result<Self, NotebookError> {
        Self::open_with(path, check, &MIGRATIONS)
    }

    /// Opens a notebook and makes only these migrations.
    pub(crate) fn open_with(
        path: &Path,
        check: Check,
        migrations: &[Migration],
    ) -> Result<Self, NotebookError> {
        let path = std::path::absolute(path).map_err(file_error("finding", path))?;
        let is_new = match fs::metadata(&path) {
            Ok(kind) if kind.is_file() => kind.len() == 0,
            Ok(_) => return Err(NotebookError::Foreign { path }),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => true,
            Err(error) => return Err(file_error("opening", &path)(error)),
        };
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(&path, flags).doing("opening the notebook")?;
        connection
            .busy_timeout(PATIENCE)
            .doing("opening the notebook")?;
        if connection
            .is_readonly("main")
            .doing("opening the notebook")?
        {
            let denied = std::io::Error::from(std::io::ErrorKind::PermissionDenied);
            return Err(file_error("writing", &path)(denied));
        }
        let mut file = Self { connection, path };
        file.refuse_foreign(is_new, migrations.len())?;
        file.settings()?;
        if !is_new {
            file.check(check)?;
        }
        file.migrate(migrations)?;
        scans::sweep(&file.scans_folder(), ".partial-");
        if let (Some(parent), Some(name)) = (file.path.parent(), file.path.file_name()) {
            scans::sweep(parent, &format!("{}.schema-", name.to_string_lossy()));
        }
        Ok(file)
    }

    /// Opens the same notebook once more, for long work beside the pages.
    ///
    /// # Errors
    /// [`NotebookError`] when it can't be opened any more.
    pub fn again(&self) -> Result<Self, NotebookError> {
        let doing = "opening the notebook";
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(&self.path, flags).doing(doing)?;
        connection.busy_timeout(PATIENCE).doing(doing)?;
        let again = Self {
            connection,
            path: self.path.clone(),
        };
        again.settings()?;
        Ok(again)
    }

    /// The notebook's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder of scans that were taken in: `NAME.scans` beside the notebook.
    #[must_use]
    pub fn scans_folder(&self) -> PathBuf {
        self.beside(".scans")
    }

    /// A path beside the notebook, by what is put behind its name.
    #[must_use]
    pub fn beside(&self, ending: &str) -> PathBuf {
        let mut name = self
            .path
            .file_name()
            .map_or_else(OsString::new, OsString::from);
        name.push(ending);
        self.path.with_file_name(name)
    }

    /// Refuses what is no notebook, before anything is written.
    fn refuse_foreign(&self, is_new: bool, known: usize) -> Result<(), NotebookError> {
        if is_new {
            return Ok(());
        }
        let foreign = || NotebookError::Foreign {
            path: self.path.clone(),
        };
        let number = |pragma: &str| -> Result<i64, NotebookError> {
            self.connection
                .query_row(&format!("PRAGMA {pragma}"), [], |row| row.get(0))
                .map_err(|error| match error.sqlite_error_code() {
                    Some(rusqlite::ErrorCode::NotADatabase) => foreign(),
                    _ => NotebookError::Sql {
                        doing: "opening the notebook",
                        error,
                    },
                })
        };
        let tables: i64 = self
            .connection
            .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
            .map_err(|error| match error.sqlite_error_code() {
                Some(rusqlite::ErrorCode::NotADatabase) => foreign(),
                Some(rusqlite::ErrorCode::DatabaseCorrupt) => NotebookError::Damaged {
                    path: self.path.clone(),
                    findings: vec![error.to_string()],
                },
                _ => NotebookError::Sql {
                    doing: "opening the notebook",
                    error,
                },
            })?;
        let (id, version) = (number("application_id")?, number("user_version")?);
        if id != i64::from(APPLICATION_ID) && !(tables == 0 && id == 0 && version == 0) {
            return Err(foreign());
        }
        let found = u32::try_from(version).map_err(|_| foreign())?;
        let known = u32::try_from(known).unwrap_or(u32::MAX);
        if found > known {
            return Err(NotebookError::Newer {
                path: self.path.clone(),
                found,
                known,
            });
        }
        Ok(())
    }

    /// What has to be said on every connection.
    fn settings(&self) -> Result<(), NotebookError> {
        let doing = "preparing the notebook";
        // Gives the mode as a row; where no shared memory is to be had it stays
        // as it was, and every promise but speed still holds.
        let _mode: String = self
            .connection
            .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
            .doing(doing)?;
        self.connection
            .execute_batch(
                "PRAGMA synchronous = FULL;
                 PRAGMA foreign_keys = ON;
                 PRAGMA trusted_schema = OFF;
                 PRAGMA cell_size_check = ON;
                 PRAGMA journal_size_limit = 67108864;",
            )
            .doing(doing)
    }

    /// Checks the file.
    ///
    /// # Errors
    /// [`NotebookError::Damaged`] with what was found.
    pub fn check(&self, check: Check) -> Result<(), NotebookError> {
        let damaged = |findings: Vec<String>| {
            if findings.is_empty() {
                Ok(())
            } else {
                Err(NotebookError::Damaged {
                    path: self.path.clone(),
                    findings,
                })
            }
        };
        let pragma = match check {
            Check::Quick => "PRAGMA quick_check(10)",
            Check::Full => "PRAGMA integrity_check(10)",
        };
        let rows = |sql: &str| -> rusqlite::Result<Vec<String>> {
            let mut statement = self.connection.prepare(sql)?;
            let rows = statement.query_map([], |row| row.get::<_, String>(0))?;
            rows.collect()
        };
        let mut findings = match rows(pragma) {
            Ok(findings) => findings,
            Err(error) => vec![error.to_string()],
        };
        findings.retain(|finding| finding != "ok");
        damaged(findings)?;
        let begun = self
            .connection
            .query_row("PRAGMA user_version", [], |row| row.get::<_, u32>(0))
            .doing("checking the notebook")?
            > 0;
        // One that was begun and cut short has no table yet.
        if check == Check::Full && begun {
            let lost = rows(
                "SELECT 'a row of ' || \"table\" || ' refers to nothing in ' || parent
                 FROM pragma_foreign_key_check LIMIT 10",
            )
            .doing("checking references")?;
            damaged(lost)?;
            damaged(self.wrong_hashes()?)?;
        }
        Ok(())
    }

    /// Brings the schema up to date, after a copy.
    fn migrate(&mut self, migrations: &[Migration]) -> Result<(), NotebookError> {
        let doing = "bringing the notebook up to date";
        let made = |connection: &Connection| -> Result<usize, NotebookError> {
            connection
                .query_row("PRAGMA user_version", [], |row| row.get::<_, u32>(0))
                .doing(doing)
                .map(|version| version as usize)
        };
        let before = made(&self.connection)?;
        if before >= migrations.len() {
            return Ok(());
        }
        if before > 0 {
            self.copy_to(&self.beside(&format!(".schema-{before}.copy")))?;
        }
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        // Another program may have done it since.
        let before = made(&transaction)?;
        let missing = migrations.get(before..).unwrap_or_default();
        for migration in missing {
            transaction.execute_batch(migration.sql).doing(doing)?;
        }
        if missing.iter().any(|migration| migration.index) {
            index_all(&transaction)?;
        }
        transaction
            .execute_batch(&format!(
                "PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {};",
                migrations.len().max(before)
            ))
            .doing(doing)?;
        transaction.commit().doing(doing)
    }

    /// Writes a copy of the whole notebook's file, whole or not at all. The
    /// scans beside it are not in it.
    ///
    /// # Errors
    /// [`NotebookError`] when it can't be written.
    pub fn copy_to(&self, copy: &Path) -> Result<(), NotebookError> {
        let mut partial = copy.as_os_str().to_owned();
        partial.push(format!(".partial-{}", std::process::id()));
        let partial = PathBuf::from(partial);
        let written = self
            .connection
            .execute("VACUUM INTO ?1", [partial.to_string_lossy()])
            .doing("copying the notebook")
            .and_then(|_| scans::settle(&partial, copy));
        if written.is_err() {
            // Ours, and not whole.
            drop(fs::remove_file(&partial));
        }
        written
    }

    /// Takes the index out again, so that a migration can be tried on what is left:
    /// a notebook of schema 1.
    ///
    /// # Errors
    /// [`NotebookError`] when SQLite refuses.
    pub fn back_to_schema_1(self) -> Result<(), NotebookError> {
        self.connection
            .execute_batch(
                "BEGIN IMMEDIATE;
                 DROP TABLE search; DROP TABLE search_row; DROP TABLE frame; DROP TABLE light;
                 DROP TABLE filter; DROP TABLE film; DROP TABLE overview;
                 PRAGMA user_version = 1; COMMIT; VACUUM; PRAGMA wal_checkpoint (TRUNCATE);",
            )
            .doing("taking the index out")
    }

    /// Makes the index of all tests again from their records.
    ///
    /// # Errors
    /// [`NotebookError`] when SQLite refuses.
    pub fn index_again(&mut self) -> Result<(), NotebookError> {
        let doing = "making the index";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        index_all(&transaction)?;
        transaction.commit().doing(doing)
    }
}
