//! Writing a test folder: whole, or not at all.

use crate::folder::{
    PATCHES_CSV, PLAN_TOML, READINGS_CSV, TEST_TOML, read_planned_folder, read_test_folder,
};
use crate::format::TestTable;
use crate::from_record::{patches_csv, readings_csv, test_table};
use crate::keys::{Entry, Field, Key, Written, inline};
use crate::path::fault;
use crate::plan_format::PlanTable;
use crate::plan_record::plan_table;
use crate::problem::FolderError;
use record::{PlannedFrame, PlannedTest, TestParts};
use std::collections::BTreeSet;
use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// A line longer than this is broken.
const LINE: usize = 96;

/// Writes a test folder with its records and other files (scans, certificates),
/// each named by its path within the folder.
///
/// The folder is first written beside its place and read back; only when it
/// holds equal records is it moved to its place.
///
/// # Errors
/// [`FolderError`] when `dir` holds anything already, a path leaves the folder,
/// a file can't be written, the records are at fault, or they hold something
/// that the format has no key for.
pub fn write_test_folder(
    parts: &TestParts,
    files: &[(String, Vec<u8>)],
    dir: &Path,
) -> Result<(), FolderError> {
    write_folder(parts, None, files, dir)
}

/// Writes a test folder with its plan; there may be no exposed frame yet.
///
/// # Errors
/// [`FolderError`] as for [`write_test_folder`].
pub fn write_planned_folder(
    test: &PlannedTest,
    files: &[(String, Vec<u8>)],
    dir: &Path,
) -> Result<(), FolderError> {
    write_folder(test.records().parts(), Some(test.planned()), files, dir)
}

/// Writes `plan.toml` into a test folder that has none.
///
/// # Errors
/// [`FolderError`] when there is a plan already, the folder is no test folder,
/// the plan does not fit the records, or the file can't be written; then the
/// folder is as it was.
pub fn write_plan(planned: &[PlannedFrame], dir: &Path) -> Result<(), FolderError> {
    let path = dir.join(PLAN_TOML);
    let failed = |error: &std::io::Error| {
        let (seen, remedy) = if error.kind() == ErrorKind::AlreadyExists {
            (
                "there is a plan already, and nothing is overwritten".to_owned(),
                "move plan.toml away first, if you want another plan",
            )
        } else {
            (
                format!("writing the plan failed: {error}"),
                "check the path, its permissions and the free space",
            )
        };
        FolderError::of_file(PLAN_TOML, seen, "a test folder without a plan", remedy)
    };
    write_file(&path, plan_toml(planned).as_bytes()).map_err(|error| failed(&error))?;
    let read = read_planned_folder(dir);
    if read.as_ref().is_ok_and(|f| f.test.planned() == planned) {
        return Ok(());
    }
    // Ours, written just now.
    fs::remove_file(&path).map_err(|error| failed(&error))?;
    Err(read.err().unwrap_or_else(plan_differs))
}

fn plan_differs() -> FolderError {
    FolderError::of_file(
        PLAN_TOML,
        "the plan reads back differently",
        "planned frames that the format can hold: no empty texts",
        "leave out what the format has no key for",
    )
}

fn write_folder(
    parts: &TestParts,
    planned: Option<&[PlannedFrame]>,
    files: &[(String, Vec<u8>)],
    dir: &Path,
) -> Result<(), FolderError> {
    let shown = dir.display().to_string();
    let failed = |what: &str, error: &std::io::Error| {
        FolderError::of_file(
            &shown,
            format!("{what} failed: {error}"),
            "a place where a folder can be written",
            "check the path, its permissions and the free space",
        )
    };
    let exists = match fs::read_dir(dir) {
        Ok(mut entries) => {
            if entries.next().is_some() {
                return Err(FolderError::of_file(
                    &shown,
                    "the folder is not empty",
                    "a new or empty folder: nothing is overwritten",
                    "name another folder, or empty this one yourself",
                ));
            }
            true
        }
        Err(error) if error.kind() == ErrorKind::NotFound => false,
        Err(error) => return Err(failed("looking at the folder", &error)),
    };
    check_paths(files)?;
    let partial = Partial::beside(dir).map_err(|error| failed("making a folder", &error))?;
    let own = [
        (TEST_TOML, test_toml(parts)),
        (PATCHES_CSV, patches_csv(&parts.patches)),
        (READINGS_CSV, readings_csv(&parts.readings)),
    ];
    let plan = planned.map(|planned| (PLAN_TOML, plan_toml(planned)));
    let own = own
        .iter()
        .chain(&plan)
        .map(|(name, text)| (*name, text.as_bytes()));
    let others = files
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
    for (name, bytes) in own.chain(others) {
        write_file(&partial.path.join(name), bytes)
            .map_err(|error| failed(&format!("writing {name}"), &error))?;
    }
    let read_back = match planned {
        None => read_test_folder(&partial.path)?.test,
        Some(planned) => {
            let read_back = read_planned_folder(&partial.path)?.test;
            if read_back.planned() != planned {
                return Err(plan_differs());
            }
            read_back.records().clone()
        }
    };
    if read_back.parts() != parts {
        return Err(FolderError::of_file(
            TEST_TOML,
            format!(
                "the records read back differently: {}",
                first_difference(parts, read_back.parts())
            ),
            "records that the format can hold: no empty texts, no flags on exposures and tablets",
            "leave out what the format has no key for",
        ));
    }
    if exists {
        fs::remove_dir(dir).map_err(|error| failed("replacing the empty folder", &error))?;
    }
    fs::rename(&partial.path, dir).map_err(|error| failed("moving the folder", &error))
}

/// A folder that is removed again unless it was moved to its place.
pub(crate) struct Partial {
    pub(crate) path: PathBuf,
}

impl Partial {
    /// Makes a folder beside the one to be written, on the same disk.
    pub(crate) fn beside(dir: &Path) -> std::io::Result<Self> {
        let absolute = std::path::absolute(dir)?;
        let (Some(parent), Some(name)) = (absolute.parent(), absolute.file_name()) else {
            return Err(std::io::Error::new(
                ErrorKind::InvalidInput,
                "the path has no name to write under",
            ));
        };
        fs::create_dir_all(parent)?;
        let mut number = 0_u32;
        loop {
            let mut own = std::ffi::OsString::from(".");
            own.push(name);
            own.push(format!(".partial-{}-{number}", std::process::id()));
            let path = parent.join(own);
            match fs::create_dir(&path) {
                Ok(()) => return Ok(Self { path }),
                Err(error) if error.kind() == ErrorKind::AlreadyExists && number < 1000 => {
                    number += 1;
                }
                Err(error) => return Err(error),
            }
        }
    }
}

impl Drop for Partial {
    fn drop(&mut self) {
        // Gone already when it was moved to its place; what can't be removed
        // stays under a name that says what it is.
        let _removed = fs::remove_dir_all(&self.path);
    }
}

fn check_paths(files: &[(String, Vec<u8>)]) -> Result<(), FolderError> {
    let mut taken: BTreeSet<String> = [TEST_TOML, PLAN_TOML, PATCHES_CSV, READINGS_CSV]
        .into_iter()
        .map(str::to_owned)
        .collect();
    for (name, _) in files {
        let fault = match fault(name) {
            Some(fault) => fault,
            // Compared without case, for some disks know none.
            None if !taken.insert(name.to_lowercase()) => "is taken by another file",
            None => continue,
        };
        return Err(FolderError::of_file(
            name,
            format!("the path {fault}"),
            "a path within the test folder, with / between its parts",
            "name the file otherwise",
        ));
    }
    Ok(())
}

fn write_file(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    if let Some(parent) = path.parent() {
        fs::create_dir_all(parent)?;
    }
    let mut file = fs::File::create_new(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Names the first group of records that differs.
fn first_difference(written: &TestParts, read: &TestParts) -> &'static str {
    macro_rules! compare {
        ($($field:ident)*) => { $(
            if written.$field != read.$field {
                return stringify!($field);
            }
        )* };
    }
    compare!(title purpose tester invented films filters lenses lights processes tablets scans);
    compare!(frames patches readings outside_reports);
    "unknown"
}

/// Writes the records of a test as `test.toml`.
fn test_toml(parts: &TestParts) -> String {
    toml_text(
        "# A test folder. Lines that begin with # are notes for people.\n\
         # Units are part of the keys: _s seconds, _mm millimetres, _stops stops, _px pixels.\n\
         # Beside this file: patches.csv (outlines), readings.csv (readings by hand), the scans.\n\n",
        test_table(parts).entries(),
        &TestTable::keys(),
    )
}

/// Writes planned frames as the text of `plan.toml`.
#[must_use]
pub fn plan_toml(planned: &[PlannedFrame]) -> String {
    toml_text(
        "# What is to be exposed. Nothing here has been exposed yet: what was, stands in test.toml.\n\
         # Films, filters, lenses, lights and processes are those of test.toml.\n\n",
        plan_table(planned).entries(),
        &PlanTable::keys(),
    )
}

fn toml_text(head: &str, entries: Vec<Entry>, docs: &[Key]) -> String {
    let mut text = head.to_owned();
    let mut blocks = Vec::new();
    for entry in entries {
        match entry.value {
            Written::Tables(tables) => blocks.push((entry.key, tables)),
            value => push_line(&mut text, entry.key, value, Some(entry.doc)),
        }
    }
    for (key, tables) in blocks {
        let doc = docs
            .iter()
            .find(|known| known.name == key)
            .map_or("", |known| known.doc.trim());
        text.push_str(&format!("\n# {doc}\n"));
        for (index, entries) in tables.into_iter().enumerate() {
            if index > 0 {
                text.push('\n');
            }
            text.push_str(&format!("[[{key}]]\n"));
            // What a key means is said once, where it is met first.
            push_table(&mut text, key, entries, index == 0);
        }
    }
    text
}

/// Writes tables as they are appended to a `test.toml`.
pub(crate) fn tables_text(entries: Vec<(&'static str, Vec<Entry>)>) -> String {
    let mut text = String::new();
    for (key, entries) in entries {
        text.push_str(&format!("\n[[{key}]]\n"));
        push_table(&mut text, key, entries, false);
    }
    text
}

fn push_table(text: &mut String, path: &str, entries: Vec<Entry>, explained: bool) {
    let mut later = Vec::new();
    for entry in entries {
        let doc = explained.then_some(entry.doc);
        match entry.value {
            Written::Table(inner) if breaks(&inner) => later.push((entry.key, inner)),
            value => push_line(text, entry.key, value, doc),
        }
    }
    for (key, entries) in later {
        let path = format!("{path}.{key}");
        text.push_str(&format!("\n[{path}]\n"));
        push_table(text, &path, entries, explained);
    }
}

/// Whether a table is too long for one line.
fn breaks(entries: &[Entry]) -> bool {
    entries
        .iter()
        .any(|entry| matches!(&entry.value, Written::Tables(_)))
}

fn push_line(text: &mut String, key: &str, value: Written, doc: Option<&str>) {
    let (one_line, elements) = match value {
        Written::Absent => return,
        Written::Tables(tables) => {
            let elements: Vec<_> = tables
                .into_iter()
                .map(|entries| inline(Written::Table(entries)))
                .collect();
            (format!("[{}]", elements.join(", ")), elements)
        }
        Written::List(elements) => (format!("[{}]", elements.join(", ")), elements),
        value => (inline(value), Vec::new()),
    };
    let doc = doc.map_or(String::new(), |doc| format!("  # {}", doc.trim()));
    if key.len() + one_line.len() <= LINE || elements.is_empty() {
        text.push_str(&format!("{key} = {one_line}{doc}\n"));
        return;
    }
    text.push_str(&format!("{key} = [{doc}\n"));
    // Numbers share a line as far as they fit; tables have one each.
    let mut line = String::from(" ");
    for element in elements {
        let full = line.len() + element.len() > LINE || element.starts_with('{');
        if full && line.len() > 1 {
            text.push_str(&line);
            text.push('\n');
            line.truncate(1);
        }
        line.push_str(&format!(" {element},"));
    }
    text.push_str(&line);
    text.push('\n');
    text.push_str("]\n");
}
