//! What differs between two revisions, record by record.

use crate::checked::check;
use crate::documents::{Documents, is_own};
use crate::from_record::{patch_row, reading_row, test_table};
use crate::keys::{Entry, Written, inline};
use crate::plan_record::plan_table;
use record::{PlannedFrame, TestParts};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt;

/// The most differences that are told of one change; the rest is counted.
const MOST: usize = 200;

/// One thing that differs: a value, a record or a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// Which record: "frame f3", "test", "file scans/a.tif".
    pub record: String,
    /// Which key of it; empty for the whole record.
    pub key: String,
    /// What stood there; `None` when nothing did.
    pub before: Option<String>,
    /// What stands there now; `None` when nothing does.
    pub after: Option<String>,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.record)?;
        if self.key.is_empty() {
            return match (&self.before, &self.after) {
                (None, Some(_)) => f.write_str(": added"),
                (Some(_), None) => f.write_str(": taken out"),
                _ => f.write_str(": changed"),
            };
        }
        let unit = |value: &str| match (self.key.as_str(), value) {
            ("aperture_f", value) => {
                format!("f/{}", value.trim_matches('"').trim_start_matches("f/"))
            }
            (key, value) => match short_unit(key) {
                Some(unit) => format!("{} {unit}", value.trim_matches('"')),
                None => value.trim_matches('"').to_owned(),
            },
        };
        let side = |value: &Option<String>| match value {
            Some(value) => unit(value),
            None => "nothing".to_owned(),
        };
        write!(
            f,
            ": {} {} → {}",
            words_of_key(&self.key),
            side(&self.before),
            side(&self.after)
        )
    }
}

/// Endings of keys, and the unit each stands for.
const UNITS: [(&str, &str); 9] = [
    ("_cd_per_m2", "cd/m²"),
    ("_stops", "stops"),
    ("_lux", "lx"),
    ("_px", "px"),
    ("_mm", "mm"),
    ("_nm", "nm"),
    ("_c", "°C"),
    ("_s", "s"),
    ("_rfc3339", ""),
];

fn short_unit(key: &str) -> Option<&'static str> {
    UNITS
        .into_iter()
        .find(|(ending, _)| key.ends_with(ending))
        .map(|(_, unit)| unit)
        .filter(|unit| !unit.is_empty())
}

/// A key as words, without its unit: `time_marked_s` is "time marked".
fn words_of_key(key: &str) -> String {
    match key {
        "aperture_f" => return "aperture".to_owned(),
        "ei" => return "EI".to_owned(),
        "ev100" => return "EV at ISO 100".to_owned(),
        _ => {}
    }
    let bare = UNITS
        .into_iter()
        .find_map(|(ending, _)| key.strip_suffix(ending))
        .unwrap_or(key);
    bare.replace('_', " ")
}

impl Difference {
    /// A list as the text that the notebook keeps.
    pub(crate) fn list_to_text(list: &[Self]) -> String {
        let rows: Vec<Value> = list
            .iter()
            .map(|one| json!([one.record, one.key, one.before, one.after]))
            .collect();
        Value::from(rows).to_string()
    }

    /// The list that such a text holds; what can't be read is left out.
    pub(crate) fn list_from_text(text: &str) -> Vec<Self> {
        let Ok(Value::Array(rows)) = serde_json::from_str(text) else {
            return Vec::new();
        };
        rows.iter()
            .filter_map(|row| {
                let cell = |index: usize| Some(row.get(index)?.as_str()?.to_owned());
                Some(Self {
                    record: cell(0)?,
                    key: cell(1)?,
                    before: cell(2),
                    after: cell(3),
                })
            })
            .collect()
    }
}

/// Records by name, each with its values by key.
type Values = BTreeMap<String, Vec<(String, String)>>;

/// What differs between the files of two revisions.
pub(crate) fn differences(before: &Documents, after: &Documents) -> Vec<Difference> {
    let mut list = Vec::new();
    let (was, is) = (check(before), check(after));
    compare(
        &values(&was.parts, &was.planned),
        &values(&is.parts, &is.planned),
        &mut list,
    );
    let whole = |record: String, before: Option<String>, after: Option<String>| Difference {
        record,
        key: String::new(),
        before,
        after,
    };
    // Texts can differ where records do not: in notes, order, or what is at fault.
    let records_differ = !list.is_empty();
    let names: std::collections::BTreeSet<&str> = before.names().chain(after.names()).collect();
    for name in names {
        let hash = |documents: &Documents| Some(documents.get(name)?.fingerprint().sha256);
        let (was, is) = (hash(before), hash(after));
        if was == is || is_own(name) && records_differ {
            continue;
        }
        list.push(whole(format!("file {name}"), was, is));
    }
    if list.len() > MOST {
        let more = list.len() - MOST;
        list.truncate(MOST);
        list.push(whole(
            format!("{more} more differences"),
            Some(String::new()),
            Some(String::new()),
        ));
    }
    list
}

fn compare(before: &Values, after: &Values, list: &mut Vec<Difference>) {
    let names: std::collections::BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    for name in names {
        let whole = |before: Option<String>, after: Option<String>| Difference {
            record: name.clone(),
            key: String::new(),
            before,
            after,
        };
        match (before.get(name), after.get(name)) {
            (None, Some(_)) => list.push(whole(None, Some(String::new()))),
            (Some(_), None) => list.push(whole(Some(String::new()), None)),
            (Some(was), Some(is)) if was != is => {
                let value = |values: &[(String, String)], key: &str| {
                    values
                        .iter()
                        .find(|(known, _)| known == key)
                        .map(|(_, value)| value.clone())
                };
                let mut keys: Vec<&String> = Vec::new();
                for (key, _) in was.iter().chain(is) {
                    if !keys.contains(&key) {
                        keys.push(key);
                    }
                }
                for key in keys {
                    let (was, is) = (value(was, key), value(is, key));
                    if was != is {
                        list.push(Difference {
                            record: name.clone(),
                            key: key.clone(),
                            before: was,
                            after: is,
                        });
                    }
                }
            }
            _ => {}
        }
    }
}

/// Every value of a test by record and key.
fn values(parts: &TestParts, planned: &[PlannedFrame]) -> Values {
    let mut values = Values::new();
    push_tables(&mut values, "test", test_table(parts).entries());
    push_tables(&mut values, "plan", plan_table(planned).entries());
    for patch in &parts.patches {
        values.insert(
            format!("patch {} of frame {}", patch.name, patch.frame),
            patch_row(patch),
        );
    }
    for reading in &parts.readings {
        values.insert(
            format!(
                "reading of patch {} of frame {}",
                reading.patch, reading.frame
            ),
            reading_row(reading),
        );
    }
    values
}

/// Adds the values at the top of a file, and each of its tables by its id.
fn push_tables(values: &mut Values, top: &str, entries: Vec<Entry>) {
    let mut own = Vec::new();
    for entry in entries {
        match entry.value {
            Written::Tables(tables) => {
                let kind = match entry.key {
                    "outside_report" => "outside report",
                    "planned" => "planned frame",
                    key => key,
                };
                for table in tables {
                    let mut row = Vec::new();
                    push_row(&mut row, "", table);
                    let id = row
                        .iter()
                        .find(|(key, _)| key == "id")
                        .map_or("", |(_, id)| id.trim_matches('"'))
                        .to_owned();
                    values.insert(format!("{kind} {id}"), row);
                }
            }
            Written::Absent => {}
            value => own.push((entry.key.to_owned(), inline(value))),
        }
    }
    values.insert(top.to_owned(), own);
}

fn push_row(row: &mut Vec<(String, String)>, before: &str, entries: Vec<Entry>) {
    for entry in entries {
        let key = if before.is_empty() {
            entry.key.to_owned()
        } else {
            format!("{before} {}", entry.key)
        };
        match entry.value {
            Written::Absent => {}
            Written::Table(inner) => push_row(row, &key, inner),
            value => row.push((key, inline(value))),
        }
    }
}
