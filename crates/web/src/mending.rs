//! What has to be mended in a record, in the words of the pages: table, row and column
//! in place of a file and its lines.

use crate::record_tables;
use app::{CellPlace, Problem, cell_of, record_rows};
use serde::Serialize;
use utoipa::ToSchema;

/// A cell that has to be mended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct FaultyCell {
    /// The kind of record.
    pub(crate) table: String,
    /// Place of the record, counted from 0.
    pub(crate) row: u32,
    /// The cell by its key; null when it is the row as a whole.
    pub(crate) key: Option<String>,
    /// What is wrong with it, and what to do.
    pub(crate) problem: String,
}

/// What has to be mended, and the cell where it lies in one.
#[derive(Clone, Debug)]
pub(crate) struct ToMend {
    pub(crate) words: String,
    pub(crate) cell: Option<FaultyCell>,
}

/// Puts a problem of a record into the words of the pages.
pub(crate) fn to_mend(record: &str, problem: &Problem) -> ToMend {
    match cell_of(record, problem) {
        Some(place) => in_cell(record, problem, &place),
        None => ToMend {
            words: elsewhere(problem),
            cell: None,
        },
    }
}

fn in_cell(record: &str, problem: &Problem, place: &CellPlace) -> ToMend {
    let own = record_rows(record, &place.table)
        .ok()
        .and_then(|rows| rows.get(place.row)?.cells.get("id").cloned());
    let table = record_tables::title(place.table.name);
    let mut at = format!("{table}, row {}", place.row + 1);
    if let Some(own) = own {
        at.push_str(&format!(" ({own})"));
    }
    let label = place
        .key
        .and_then(|key| record_tables::label(&place.table, key));
    if let Some(label) = label {
        at.push_str(&format!(", {label}"));
    } else if problem.seen.starts_with("unknown key") {
        // No column shows it, so it can be mended only where it is written.
        at.push_str(&in_folder(problem));
    }
    let said = told(problem, place);
    ToMend {
        words: format!("{at}: {said}"),
        cell: Some(FaultyCell {
            table: place.table.name.to_owned(),
            row: u32::try_from(place.row).unwrap_or(u32::MAX),
            key: place.key.map(str::to_owned),
            problem: said,
        }),
    }
}

/// What was seen in a cell, what was expected and what to do, without the marks of the
/// file that the record is kept in.
fn told(problem: &Problem, place: &CellPlace) -> String {
    let missing = problem.seen.contains(" has no key `");
    let value = problem
        .seen
        .split_once("` of [[")
        .and_then(|(_, rest)| rest.split_once("]] is "));
    let mut out = match value {
        _ if missing => "nothing is written there".to_owned(),
        Some((_, value)) => format!("{} is written there", plain(value, place)),
        None => plain(&problem.seen, place),
    };
    let expected = match problem.expected.split_once(" = …`, ") {
        Some((_, what)) if missing => what,
        _ => &problem.expected,
    };
    // Where the other one of two stands is seen in the table.
    let expected = expected
        .split_once("; the other one stands in line")
        .map_or(expected, |(what, _)| what);
    if !expected.is_empty() {
        out.push_str(&format!("\nExpected: {}", plain(expected, place)));
    }
    let of_the_file = ["quotes", "the key", "[", "{"];
    if !problem.remedy.is_empty() && !of_the_file.iter().any(|w| problem.remedy.contains(w)) {
        out.push_str(&format!("\n{}", plain(&problem.remedy, place)));
    }
    out
}

/// A text with the heads of columns in place of keys.
fn plain(text: &str, place: &CellPlace) -> String {
    let mut text = text
        .replace(" in quotes", "")
        .replace("a record name", "a short name");
    if place
        .key
        .is_some_and(|key| record_tables::list_of(key) != "none")
    {
        text = text.replace('"', "").replace('_', " ");
    }
    for column in place.table.columns {
        if let Some(label) = record_tables::label(&place.table, column.key) {
            text = text.replace(&format!("`{}`", column.key), label);
        }
    }
    text.replace("[[", "").replace("]]", "")
}

/// A problem that no table of the pages shows.
fn elsewhere(problem: &Problem) -> String {
    let mut out = format!("{}{}", problem.seen, in_folder(problem));
    for (before, more) in [("expected: ", &problem.expected), ("", &problem.remedy)] {
        if !more.is_empty() {
            out.push_str(&format!("\n{before}{more}"));
        }
    }
    out
}

/// Where a problem lies in the folder that the test is as files.
fn in_folder(problem: &Problem) -> String {
    let line = problem.line.map(|line| format!(", line {line}"));
    format!(
        " (in the test's folder: {}{})",
        problem.file,
        line.unwrap_or_default()
    )
}
