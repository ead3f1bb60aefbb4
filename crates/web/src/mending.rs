//! What has to be mended in a record, in the words of the pages: table, row and column
//! in place of a file and its lines.

use crate::record_tables;
use app::{CellPlace, Problem, RecordRow, cell_of, cell_table, record_rows};
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
    let said = told(record, problem, place);
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
fn told(record: &str, problem: &Problem, place: &CellPlace) -> String {
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
    if let Some(names) = expected_name(record, problem, place) {
        return format!("{out}\n{names}");
    }
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

/// Most short names that are listed.
const MOST_NAMES: usize = 12;

/// What a cell that names another record expects: the short names that there are, and
/// whose full name stands in it. Nothing where it is not the form of the name that is at
/// fault; one that is sound and not recorded is told with those that are.
fn expected_name(record: &str, problem: &Problem, place: &CellPlace) -> Option<String> {
    let key = place.key?;
    let kind = kind_named_by(key).filter(|_| problem.expected.contains("record name"))?;
    let rows = record_rows(record, &cell_table(kind)?).ok()?;
    let cell = |row: &RecordRow, key: &str| row.cells.get(key).cloned();
    let known: Vec<String> = rows.iter().filter_map(|row| cell(row, "id")).collect();
    let table = record_tables::title(kind).to_lowercase();
    if known.is_empty() {
        return Some(format!(
            "Expected: a short name from the table of {table}, where none stands yet"
        ));
    }
    let which = match key {
        "filters" => "short names, with + between,",
        _ => "a short name",
    };
    let listed: Vec<&str> = known.iter().take(MOST_NAMES).map(String::as_str).collect();
    let mut told = format!(
        "Expected: {which} from the table of {table}: {}",
        listed.join(", ")
    );
    if known.len() > MOST_NAMES {
        told.push_str(&format!(" and {} more", known.len() - MOST_NAMES));
    }
    let typed = typed(record, place).unwrap_or_default().to_lowercase();
    let full_name_of = rows
        .iter()
        .find(|row| cell(row, "name").is_some_and(|name| name.to_lowercase() == typed));
    if let Some(id) = full_name_of.and_then(|row| cell(row, "id")) {
        told.push_str(&format!("\nThis is the full name of {id}"));
    }
    Some(told)
}

/// The kind of record that a column names by its short name.
fn kind_named_by(key: &str) -> Option<&'static str> {
    Some(match key {
        "film" => "film",
        "filter" | "filters" => "filter",
        "light" => "light",
        "process" => "process",
        "lens" => "lens",
        "tablet" => "tablet",
        _ => return None,
    })
}

/// What stands in a cell.
fn typed(record: &str, place: &CellPlace) -> Option<String> {
    let rows = record_rows(record, &place.table).ok()?;
    rows.get(place.row)?.cells.get(place.key?).cloned()
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
