//! What the format is, for machines and for the documentation.

use crate::columns::{CURVE, NAMED_PATCHES, PATCHES, READINGS, TABLET};
use crate::csv_file::Column;
use crate::field_log::FIELD_LOG;
use crate::format::{FORMAT, TestTable};
use crate::keys::{Field, Key, unit};
use crate::plan_format::{PLAN_FORMAT, PlanTable};
use serde_json::{Value, json};

/// Our CSV files with their columns.
const FILES: [(&str, &str, &[Column]); 6] = [
    ("patches.csv", "Outlines of patches.", &PATCHES),
    (
        "readings.csv",
        "Readings written by hand or from a densitometer.",
        &READINGS,
    ),
    (
        "field-log.csv",
        "A field log typed from a paper card, as `filmproof import` takes it.",
        &FIELD_LOG,
    ),
    ("tablet", "Densities of a step tablet.", &TABLET),
    (
        "named patches",
        "Patches of one scan, as `filmproof measure` takes them.",
        &NAMED_PATCHES,
    ),
    (
        "curve",
        "Readings of one characteristic curve, as `filmproof curve` takes them.",
        &CURVE,
    ),
];

/// Gives the JSON Schema (2020-12) of `test.toml`, with the columns of the CSV
/// files under `$defs`.
#[must_use]
pub fn json_schema() -> Value {
    let mut schema = TestTable::schema();
    if let Some(object) = schema.as_object_mut() {
        object.insert(
            "$schema".to_owned(),
            json!("https://json-schema.org/draft/2020-12/schema"),
        );
        object.insert("title".to_owned(), json!("Test folder: test.toml"));
        object.insert(
            "$comment".to_owned(),
            json!("the CSV files beside test.toml are described under $defs, one property for each column"),
        );
        if let Some(format) = object
            .get_mut("properties")
            .and_then(|properties| properties.get_mut("format"))
            .and_then(Value::as_object_mut)
        {
            format.insert("const".to_owned(), json!(FORMAT));
        }
        let mut definitions = serde_json::Map::new();
        for (name, doc, columns) in FILES {
            let mut properties = serde_json::Map::new();
            for column in columns {
                properties.insert(
                    column.name.to_owned(),
                    json!({ "type": "string", "description": column.doc }),
                );
            }
            let required: Vec<_> = columns
                .iter()
                .filter(|column| column.required)
                .map(|column| column.name)
                .collect();
            definitions.insert(
                name.to_owned(),
                json!({
                    "$comment": "a row of the CSV file; its cells are text",
                    "type": "object",
                    "description": doc,
                    "properties": properties,
                    "required": required,
                }),
            );
        }
        object.insert("$defs".to_owned(), Value::Object(definitions));
    }
    schema
}

/// Gives the JSON Schema (2020-12) of `plan.toml`.
#[must_use]
pub fn plan_json_schema() -> Value {
    let mut schema = PlanTable::schema();
    if let Some(object) = schema.as_object_mut() {
        object.insert(
            "$schema".to_owned(),
            json!("https://json-schema.org/draft/2020-12/schema"),
        );
        object.insert("title".to_owned(), json!("Test folder: plan.toml"));
        if let Some(format) = object
            .get_mut("properties")
            .and_then(|properties| properties.get_mut("format"))
            .and_then(Value::as_object_mut)
        {
            format.insert("const".to_owned(), json!(PLAN_FORMAT));
        }
    }
    schema
}

/// Gives the tables of keys and columns as Markdown, as the documentation has
/// them.
#[must_use]
pub fn key_tables() -> String {
    let mut text = String::new();
    push_tables(&mut text, "The top of test.toml", TestTable::keys());
    push_tables(&mut text, "The top of plan.toml", PlanTable::keys());
    for (name, doc, columns) in FILES {
        text.push_str(&format!(
            "### CSV: {name}\n\n{doc}\n\n| column | | what |\n|---|---|---|\n"
        ));
        for column in columns {
            let needed = if column.required { "needed" } else { "" };
            text.push_str(&format!(
                "| `{}` | {needed} | {} |\n",
                column.name, column.doc
            ));
        }
        text.push('\n');
    }
    text
}

fn push_tables(text: &mut String, top: &str, keys: Vec<Key>) {
    let mut todo = vec![(top.to_owned(), keys)];
    while let Some((title, keys)) = todo.pop() {
        text.push_str(&format!(
            "### {title}\n\n| key | | unit | what |\n|---|---|---|---|\n"
        ));
        let mut tables = Vec::new();
        for key in keys {
            text.push_str(&key_row(&key));
            if let Some((inner, keys)) = key.table {
                let inner = match inner.starts_with("[[") {
                    true => inner.to_owned(),
                    false => format!("`{inner}` of {title}"),
                };
                tables.push((inner, keys));
            }
        }
        text.push('\n');
        todo.extend(tables.into_iter().rev());
    }
}

/// Gives the title of the first table that has a key.
pub(crate) fn title_with_key(name: &str) -> Option<&'static str> {
    let mut todo = vec![("the top of the file", TestTable::keys())];
    while let Some((title, keys)) = todo.pop() {
        if keys.iter().any(|key| key.name == name) {
            return Some(title);
        }
        todo.extend(keys.into_iter().rev().filter_map(|key| key.table));
    }
    None
}

fn key_row(key: &Key) -> String {
    let needed = if key.required { "needed" } else { "" };
    let unit = unit(key.name).unwrap_or("");
    let mut what = key.doc.trim().to_owned();
    if let Some(words) = words(&key.schema) {
        what.push_str(&format!(" One of {words}."));
    }
    format!("| `{}` | {needed} | {unit} | {what} |\n", key.name)
}

/// Gives the words a value can be, when it is one of several.
fn words(schema: &Value) -> Option<String> {
    let words: Vec<_> = schema
        .get("enum")?
        .as_array()?
        .iter()
        .filter_map(Value::as_str)
        .map(|word| format!("`{word}`"))
        .collect();
    Some(words.join(", "))
}
