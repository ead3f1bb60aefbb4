//! The records of `test.toml` as rows of cells, and changed rows back into its
//! text.
//!
//! A cell is a key of a table, as it would be typed: `1/30`, `715`, `715+kr`. Only
//! the keys that were changed are written; comments, order and all keys that no
//! column shows stay as they are. Nothing is checked here: what was typed is
//! written, and the reader of the record says what is wrong with it.
//!
//! Begin with [`record_rows`] and [`with_record_rows`].

use crate::f_sign::without_f_sign;
use crate::folder::TEST_TOML;
use crate::problem::FolderError;
use std::collections::BTreeMap;
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CellKind {
    /// Words.
    Text,
    /// A number; a comma may stand for the point.
    Number,
    /// An f-number: 22, f/22 or f22.
    FNumber,
    /// Seconds: a number, or a fraction as 1/30.
    Seconds,
    /// Names with + between.
    List,
    /// Yes or nothing.
    Yes,
}

/// A column of a table of records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CellColumn {
    /// Its key; a part of a part is written with a dot: `edge.wavelength_nm`.
    pub key: &'static str,
    /// What its cells hold.
    pub kind: CellKind,
}

/// A kind of record with its columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CellTable {
    /// The table's name in `test.toml`.
    pub name: &'static str,
    /// Its columns, in the order in which they are shown.
    pub columns: &'static [CellColumn],
}

const fn text(key: &'static str) -> CellColumn {
    CellColumn {
        key,
        kind: CellKind::Text,
    }
}

const fn number(key: &'static str) -> CellColumn {
    CellColumn {
        key,
        kind: CellKind::Number,
    }
}

const fn seconds(key: &'static str) -> CellColumn {
    CellColumn {
        key,
        kind: CellKind::Seconds,
    }
}

/// The kinds of record that can be written as rows.
pub const CELL_TABLES: [CellTable; 8] = [
    CellTable {
        name: "frame",
        columns: &[
            text("id"),
            text("holder"),
            text("role"),
            text("film"),
            CellColumn {
                key: "filters",
                kind: CellKind::List,
            },
            text("light"),
            number("ei"),
            CellColumn {
                key: "aperture_f",
                kind: CellKind::FNumber,
            },
            seconds("time_marked_s"),
            seconds("time_actual_s"),
            text("process"),
            text("lens"),
            text("remarks"),
            number("ev100"),
            number("bellows_draw_mm"),
            number("magnification"),
            text("tablet"),
        ],
    },
    CellTable {
        name: "film",
        columns: &[
            text("id"),
            text("name"),
            text("format"),
            number("box_speed"),
            text("batch"),
            text("expiry"),
            text("reciprocity.law"),
            text("reciprocity.source"),
        ],
    },
    CellTable {
        name: "filter",
        columns: &[
            text("id"),
            text("name"),
            text("marking"),
            number("edge.wavelength_nm"),
            text("edge.level"),
            number("stated_factor.factor"),
            text("stated_factor.basis"),
        ],
    },
    CellTable {
        name: "light",
        columns: &[
            text("id"),
            text("sky"),
            text("place"),
            text("time_rfc3339"),
            number("ev100"),
            text("meter.mode"),
            text("meter.cell"),
            text("meter.target"),
            number("meter.placement_stops"),
            number("drift_stops"),
            text("remarks"),
        ],
    },
    CellTable {
        name: "lens",
        columns: &[
            text("id"),
            text("name"),
            number("focal_length_mm"),
            number("pupil_ratio"),
            number("marked_uncertainty_stops"),
        ],
    },
    CellTable {
        name: "process",
        columns: &[
            text("id"),
            text("developer"),
            text("dilution"),
            number("time_s"),
            number("temperature_c"),
            text("agitation"),
            text("remarks"),
        ],
    },
    CellTable {
        name: "tablet",
        columns: &[
            text("id"),
            text("nominal"),
            text("serial"),
            text("steps_file"),
            CellColumn {
                key: "certified",
                kind: CellKind::Yes,
            },
        ],
    },
    CellTable {
        name: "outside_report",
        columns: &[
            text("id"),
            text("film"),
            text("filter"),
            number("ei"),
            text("light"),
            text("seen"),
            text("source"),
        ],
    },
];

/// A row of cells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RecordRow {
    /// Place of the record in the text, counted from 0; `None` for a new one.
    pub was: Option<usize>,
    /// What the cells hold, by the keys of the columns; an empty one is not recorded.
    pub cells: BTreeMap<String, String>,
}

/// Gives the columns of a kind of record; `None` when it has no rows.
#[must_use]
pub fn cell_table(name: &str) -> Option<CellTable> {
    CELL_TABLES.into_iter().find(|table| table.name == name)
}

/// Reads the records of one kind as rows.
///
/// # Errors
/// [`FolderError`] when the text is no TOML, or the records are no tables.
pub fn record_rows(text: &str, table: &CellTable) -> Result<Vec<RecordRow>, FolderError> {
    let document = parsed(text)?;
    let Some(item) = document.get(table.name) else {
        return Ok(vec![]);
    };
    let tables = item
        .as_array_of_tables()
        .ok_or_else(|| no_tables(table.name))?;
    Ok(tables
        .iter()
        .enumerate()
        .map(|(place, record)| RecordRow {
            was: Some(place),
            cells: table
                .columns
                .iter()
                .filter_map(|column| {
                    let shown = shown(found(record, column.key)?);
                    (!shown.is_empty()).then(|| (column.key.to_owned(), shown))
                })
                .collect(),
        })
        .collect())
}

/// Writes rows into the text of `test.toml`, in their order. Records without a row
/// are taken out; cells that are as they were are not touched.
///
/// # Errors
/// [`FolderError`] when the text is no TOML, the records are no tables, or a row
/// names a record that is not there or is named twice.
pub fn with_record_rows(
    text: &str,
    table: &CellTable,
    rows: &[RecordRow],
) -> Result<String, FolderError> {
    let mut document = parsed(text)?;
    let before = match document.get(table.name) {
        Some(item) => item
            .as_array_of_tables()
            .ok_or_else(|| no_tables(table.name))?
            .clone(),
        None => ArrayOfTables::new(),
    };
    let mut positions: Vec<isize> = before.iter().filter_map(Table::position).collect();
    positions.sort_unstable();
    let mut taken = vec![];
    let mut after = ArrayOfTables::new();
    for (place, row) in rows.iter().enumerate() {
        let mut record = match row.was {
            Some(was) if taken.contains(&was) => return Err(wrong_row(table.name, was)),
            Some(was) => {
                taken.push(was);
                before
                    .get(was)
                    .cloned()
                    .ok_or_else(|| wrong_row(table.name, was))?
            }
            None => Table::new(),
        };
        for column in table.columns {
            let typed = row.cells.get(column.key).map_or("", |t| t.trim());
            let stood = found(&record, column.key).map(shown).unwrap_or_default();
            if typed != stood {
                set(&mut record, column, typed);
            }
        }
        // The places that the records have had, so that other tables stay between them.
        record.set_position(positions.get(place).or(positions.last()).copied());
        after.push(record);
    }
    if after.is_empty() {
        document.remove(table.name);
    } else {
        document.insert(table.name, Item::ArrayOfTables(after));
    }
    Ok(document.to_string())
}

/// Writes keys at the top of `test.toml`; empty ones are taken out.
///
/// # Errors
/// [`FolderError`] when the text is no TOML.
pub fn with_top_keys(text: &str, keys: &[(&str, &str)]) -> Result<String, FolderError> {
    let mut document = parsed(text)?;
    for (key, typed) in keys {
        if typed.trim().is_empty() {
            document.remove(key);
        } else {
            document.insert(key, toml_edit::value(typed.trim()));
        }
    }
    Ok(document.to_string())
}

fn parsed(text: &str) -> Result<DocumentMut, FolderError> {
    text.parse::<DocumentMut>().map_err(|e| {
        FolderError::of_file(
            TEST_TOML,
            e.message(),
            "TOML",
            "mend the text of the record first",
        )
    })
}

fn no_tables(name: &str) -> FolderError {
    FolderError::of_file(
        TEST_TOML,
        format!("`{name}` is written as a list"),
        format!("[[{name}]] tables"),
        format!("write them as [[{name}]] tables to edit them here"),
    )
}

fn wrong_row(name: &str, was: usize) -> FolderError {
    FolderError::of_file(
        TEST_TOML,
        format!("{name} record {} is not there, or is named twice", was + 1),
        "each record once",
        "load the page again",
    )
}

fn found<'a>(record: &'a Table, key: &str) -> Option<&'a Value> {
    match key.split_once('.') {
        None => record.get(key)?.as_value(),
        Some((outer, inner)) => record.get(outer)?.as_table_like()?.get(inner)?.as_value(),
    }
}

/// A value as it would be typed.
fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        Value::Integer(number) => number.value().to_string(),
        Value::Float(number) => number.value().to_string(),
        Value::Boolean(yes) => if *yes.value() { "yes" } else { "" }.to_owned(),
        Value::Datetime(at) => at.value().to_string(),
        Value::Array(list) => list.iter().map(shown).collect::<Vec<_>>().join("+"),
        Value::InlineTable(_) => String::new(),
    }
}

fn set(record: &mut Table, column: &CellColumn, typed: &str) {
    let value = (!typed.is_empty()).then(|| value_of(column.kind, typed));
    match column.key.split_once('.') {
        None => put(record, column.key, value),
        Some((outer, inner)) => {
            if record.get(outer).is_none() {
                if value.is_none() {
                    return;
                }
                record.insert(outer, Item::Value(Value::InlineTable(InlineTable::new())));
            }
            let Some(part) = record.get_mut(outer).and_then(Item::as_table_like_mut) else {
                return;
            };
            match value {
                Some(value) => {
                    part.insert(inner, Item::Value(value));
                }
                None => {
                    part.remove(inner);
                }
            }
            if part.is_empty() {
                record.remove(outer);
            }
        }
    }
}

fn put(record: &mut Table, key: &str, value: Option<Value>) {
    let Some(mut value) = value else {
        record.remove(key);
        return;
    };
    match record.get_mut(key).and_then(Item::as_value_mut) {
        Some(stood) => {
            // What stands around it, a comment after it for one, stays.
            *value.decor_mut() = stood.decor().clone();
            *stood = value;
        }
        None => {
            record.insert(key, Item::Value(value));
        }
    }
}

fn value_of(kind: CellKind, typed: &str) -> Value {
    match kind {
        CellKind::Text => Value::from(typed),
        CellKind::Yes => match typed.to_lowercase().as_str() {
            "yes" | "true" | "1" | "x" => Value::from(true),
            _ => Value::from(typed),
        },
        CellKind::Number => number_of(typed).unwrap_or_else(|| Value::from(typed)),
        CellKind::FNumber => number_of(without_f_sign(typed)).unwrap_or_else(|| Value::from(typed)),
        CellKind::Seconds => {
            let bare = typed.trim_end_matches(['s', '"', '″']).trim_end();
            number_of(bare).unwrap_or_else(|| Value::from(bare))
        }
        CellKind::List => {
            let parts = typed.split(['+', ',', ';']).map(str::trim);
            Value::from(parts.filter(|part| !part.is_empty()).collect::<Array>())
        }
    }
}

/// A number with a point, or with one comma in its place.
fn number_of(typed: &str) -> Option<Value> {
    if let Ok(whole) = typed.parse::<i64>() {
        return Some(Value::from(whole));
    }
    let pointed = match (typed.matches(',').count(), typed.contains('.')) {
        (1, false) => typed.replace(',', "."),
        _ => typed.to_owned(),
    };
    let plain = pointed
        .chars()
        .all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
    pointed
        .parse::<f64>()
        .ok()
        .filter(|number| plain && number.is_finite())
        .map(Value::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECORD: &str = "format = 1\ntitle = \"T\" # kept\n\n[[film]]\nid = \"a\"\nname = \"A\"\n\n# the first\n[[frame]]\nid = \"1\"\nfilters = [\"715\", \"kr\"] # both\naperture_f = 22\ntime_marked_s = \"1/30\"\nlog_h_relative_sd = 0.1\n\n[[frame]]\nid = \"2\"\naperture_f = 32\n\n[[light]]\nid = \"noon\"\n";

    fn frames() -> CellTable {
        cell_table("frame").unwrap()
    }

    #[test]
    fn rows_that_are_as_they_were_change_no_byte() {
        for table in CELL_TABLES {
            let rows = record_rows(RECORD, &table).unwrap();
            assert_eq!(
                with_record_rows(RECORD, &table, &rows).unwrap(),
                RECORD,
                "{}",
                table.name
            );
        }
    }

    #[test]
    fn a_changed_cell_changes_its_value_alone() {
        let mut rows = record_rows(RECORD, &frames()).unwrap();
        assert_eq!(rows[0].cells["filters"], "715+kr");
        rows[0].cells.insert("filters".to_owned(), "715".to_owned());
        rows[0]
            .cells
            .insert("time_marked_s".to_owned(), "0,5 s".to_owned());
        rows[1].cells.insert("aperture_f".to_owned(), String::new());
        let text = with_record_rows(RECORD, &frames(), &rows).unwrap();
        let expected = RECORD
            .replace("[\"715\", \"kr\"]", "[\"715\"]")
            .replace("\"1/30\"", "0.5")
            .replace("aperture_f = 32\n", "");
        assert_eq!(text, expected);
    }

    #[test]
    fn rows_can_be_added_moved_and_taken_out() {
        let mut rows = record_rows(RECORD, &frames()).unwrap();
        rows.reverse();
        let mut new = RecordRow::default();
        new.cells.insert("id".to_owned(), "3".to_owned());
        new.cells
            .insert("time_marked_s".to_owned(), "1/4".to_owned());
        rows.push(new);
        let text = with_record_rows(RECORD, &frames(), &rows).unwrap();
        let again = record_rows(&text, &frames()).unwrap();
        let ids: Vec<_> = again.iter().map(|r| r.cells["id"].as_str()).collect();
        assert_eq!(ids, ["2", "1", "3"], "{text}");
        assert!(
            text.contains("# the first\n[[frame]]\nid = \"1\""),
            "{text}"
        );
        let text = with_record_rows(&text, &frames(), &again[1..2]).unwrap();
        assert_eq!(record_rows(&text, &frames()).unwrap().len(), 1, "{text}");
        assert!(text.contains("[[light]]"), "{text}");
    }

    #[test]
    fn a_part_of_a_part_comes_and_goes() {
        let text = "[[filter]]\nid = \"715\"\n";
        let table = cell_table("filter").unwrap();
        let mut rows = record_rows(text, &table).unwrap();
        rows[0]
            .cells
            .insert("edge.wavelength_nm".to_owned(), "715".to_owned());
        rows[0]
            .cells
            .insert("edge.level".to_owned(), "half_transmittance".to_owned());
        let with = with_record_rows(text, &table, &rows).unwrap();
        assert!(
            with.contains("edge = { wavelength_nm = 715, level = \"half_transmittance\" }"),
            "{with}"
        );
        rows[0].cells.remove("edge.wavelength_nm");
        rows[0].cells.remove("edge.level");
        assert_eq!(with_record_rows(&with, &table, &rows).unwrap(), text);
    }

    #[test]
    fn what_is_no_number_is_kept_as_it_was_typed() {
        let mut rows = record_rows(RECORD, &frames()).unwrap();
        rows[0]
            .cells
            .insert("aperture_f".to_owned(), "f/wide".to_owned());
        rows[1]
            .cells
            .insert("aperture_f".to_owned(), "inf".to_owned());
        let text = with_record_rows(RECORD, &frames(), &rows).unwrap();
        assert!(
            text.contains("aperture_f = \"f/wide\"") && text.contains("aperture_f = \"inf\""),
            "{text}"
        );
    }

    #[test]
    fn an_aperture_may_be_written_with_its_sign() {
        let mut rows = record_rows(RECORD, &frames()).unwrap();
        for (row, typed) in rows.iter_mut().zip(["f/16", "f5,6"]) {
            row.cells.insert("aperture_f".to_owned(), typed.to_owned());
        }
        let text = with_record_rows(RECORD, &frames(), &rows).unwrap();
        let expected = RECORD
            .replace("aperture_f = 22", "aperture_f = 16")
            .replace("aperture_f = 32", "aperture_f = 5.6");
        assert_eq!(text, expected);
    }

    #[test]
    fn a_record_named_twice_is_refused() {
        let rows = record_rows(RECORD, &frames()).unwrap();
        let twice = [rows[0].clone(), rows[0].clone()];
        assert!(with_record_rows(RECORD, &frames(), &twice).is_err());
    }
}
