//! The cell of a table of records that a problem of `test.toml` lies in.
//!
//! A problem names line and column of the text. Who sees the records as rows of
//! cells has no lines: [`cell_of`] gives the kind of record, the row and the column.

use crate::cells::{CELL_TABLES, CellTable};
use crate::folder::TEST_TOML;
use crate::problem::{Problem, Source};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A cell, or a row as a whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellPlace {
    /// The kind of record, by its table.
    pub table: CellTable,
    /// Place of the record in the text, counted from 0.
    pub row: usize,
    /// Key of the column; `None` when the problem is in no column's value.
    pub key: Option<&'static str>,
}

/// Gives the cell that a problem lies in; `None` when it is in no record that is
/// shown as a row.
#[must_use]
pub fn cell_of(text: &str, problem: &Problem) -> Option<CellPlace> {
    let (line, column) = (problem.line?, problem.column?);
    if problem.file != TEST_TOML {
        return None;
    }
    let source = Source::new(TEST_TOML, text.to_owned());
    let at = |start: usize| {
        let place = source.place(start);
        (place.line, place.column) == (line, column)
    };
    let parsed = DeTable::parse(text).ok()?;
    let tables = parsed.get_ref();
    for table in CELL_TABLES {
        let records = tables.get(table.name).and_then(|t| t.get_ref().as_array());
        for (row, record) in records.into_iter().flat_map(|r| r.iter()).enumerate() {
            let mut keys = vec![];
            let inside = path_of(record, &at, &mut keys);
            if !inside {
                continue;
            }
            let path = if keys.is_empty() {
                missing_key(&problem.seen).unwrap_or_default().to_owned()
            } else {
                keys.reverse();
                keys.join(".")
            };
            return Some(CellPlace {
                table,
                row,
                key: column_of(&table, &path),
            });
        }
    }
    None
}

/// Whether a value, or one within it, begins at a place; `keys` gets the way to it,
/// the innermost first.
fn path_of(
    value: &Spanned<DeValue<'_>>,
    at: &dyn Fn(usize) -> bool,
    keys: &mut Vec<String>,
) -> bool {
    if at(value.span().start) {
        return true;
    }
    match value.get_ref() {
        DeValue::Table(table) => table.iter().any(|(key, inner)| {
            let found = at(key.span().start) || path_of(inner, at, keys);
            if found {
                keys.push(key.get_ref().to_string());
            }
            found
        }),
        DeValue::Array(list) => list.iter().any(|inner| path_of(inner, at, keys)),
        _ => false,
    }
}

/// The key that a table is said to lack.
fn missing_key(seen: &str) -> Option<&str> {
    let (_, rest) = seen.split_once("has no key `")?;
    rest.split('`').next()
}

/// The column of a key, or the first one of the table that is its value.
fn column_of(table: &CellTable, path: &str) -> Option<&'static str> {
    let within = format!("{path}.");
    let keys = || table.columns.iter().map(|column| column.key);
    keys()
        .find(|key| *key == path)
        .or_else(|| keys().find(|key| !path.is_empty() && key.starts_with(&within)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::checked::check;
    use crate::documents::{Documents, Held};

    const RECORD: &str = r#"format = 1
title = "T"

[[film]]
id = "film"
name = "Testfilm A"
box_speed = 100

[[light]]
id = "light"
sky = "sunny"

[[process]]
id = "process"
developer = "D"

[[frame]]
id = "one"
role = "anchor"
film = "film"
process = "process"

[[frame]]
id = "two"
role = "anchor"
film = "other"
ei = "fast"
"#;

    fn places(record: &str) -> Vec<(String, usize, Option<&'static str>)> {
        let mut documents = Documents::default();
        documents
            .put(TEST_TOML, Held::Bytes(record.as_bytes().to_vec()))
            .unwrap();
        let problems = check(&documents).problems.unwrap().problems;
        problems
            .iter()
            .filter_map(|problem| cell_of(record, problem))
            .map(|place| (place.table.name.to_owned(), place.row, place.key))
            .collect()
    }

    #[test]
    fn problems_of_a_record_are_found_in_its_cells() {
        // By eye, from the text above: the second frame has no process and a wrong EI,
        // and there is no such sky.
        let found = places(RECORD);
        for cell in [
            ("frame".to_owned(), 1, Some("process")),
            ("frame".to_owned(), 1, Some("ei")),
            ("light".to_owned(), 0, Some("sky")),
        ] {
            assert!(found.contains(&cell), "{cell:?} is not in {found:?}");
        }
        // The first frame has all that it needs of itself.
        assert!(
            !found.iter().any(|(t, r, _)| t == "frame" && *r == 0),
            "{found:?}"
        );
    }

    #[test]
    fn a_name_that_leads_nowhere_is_found_where_it_is_typed() {
        // Names are looked up when all else is sound.
        let sound = RECORD
            .replace("\"sunny\"", "\"clear_sun\"")
            .replace("\"anchor\"", "\"unexposed\"")
            .replace("ei = \"fast\"\n", "process = \"process\"\n");
        assert!(places(&sound).contains(&("frame".to_owned(), 1, Some("film"))));
    }
}
