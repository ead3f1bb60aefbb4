//! What was exposed, and with what: tables that are typed into.

use crate::layout::{Frame, Step, page, token_field};
use crate::record_tables::{self, TableWords};
use crate::refusal::{Refusal, sentence};
use crate::shared::{OpenTest, Shared, away};
use app::{CellKind, RecordRow};
use axum::extract::{Path, State};
use maud::{Markup, html};
use std::sync::Arc;

/// The tables of a test's records.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let open = away(move || book.open(test)).await?;
    let mut tables = record_tables::of(&open)?;
    // These are held against the findings, and stand on their page.
    tables.retain(|(words, _)| words.table.name != record_tables::REPORTS);
    let id = test.to_string();
    let frame = Frame {
        token: shared.token(),
        modules: &["grid.js", "files.js"],
        ..Frame::of_test(&open, &id, Step::Exposures)
    };
    Ok(page(&frame, body(&open, &tables, &id, shared.token())))
}

fn body(open: &OpenTest, tables: &[(TableWords, Vec<RecordRow>)], id: &str, token: &str) -> Markup {
    html! {
        div data-records=(id) data-revision=(open.revision) data-faults=(serde_json::json!(open.faults)) {
            div.told data-told role="status" { @for problem in &open.problems { p { (sentence(problem)) } } }
            @for (words, rows) in tables {
                @let is_frames = words.table.name == "frame";
                @if is_frames {
                    div.empty data-none hidden[!rows.is_empty()] {
                        p { "No frame is written down yet." }
                        p { "Type the first one here, or paste rows from a spreadsheet. Film, light and development are named below; frames refer to them by their short names." }
                    }
                    (table(words, rows))
                    p.about {
                        "Arrow keys and Enter go from cell to cell, rows from a spreadsheet can be pasted, with their heads or without, Ctrl+Z takes back. "
                        "An aperture is 22 or f/22, a time seconds or a fraction: 1/30. Several filters are joined with +."
                    }
                    h2.plain { "What the frames name" }
                } @else {
                    details open[words.needed && (rows.is_empty() || open.frames == 0)] {
                        summary { (words.title) " (" (rows.len()) ")" }
                        (table(words, rows))
                    }
                }
            }
            (word_lists())
            div.bar {
                button.main type="button" data-save disabled { "Saved" }
                a href=(format!("/tests/{id}/history")) { "What was changed" }
            }
        }
        div.actions {
            label.button tabindex="0" data-take {
                "Take in the phone's log"
                input type="file" accept=".json,.csv" hidden data-log=(id) data-revision=(open.revision);
            }
            form method="post" action=(format!("/tests/{id}/undo")) {
                (token_field(token))
                input type="hidden" name="expected_revision" value=(open.revision);
                button disabled[open.revision < 2] { "Undo the last saved change" }
            }
        }
    }
}

/// The words that columns offer.
pub(crate) fn word_lists() -> Markup {
    html! {
        @for (name, list) in record_tables::LISTS {
            datalist id=(format!("words-{name}")) { @for word in list { option value=(word.replace('_', " ")) {} } }
        }
    }
}

/// A table of records that is typed into.
pub(crate) fn table(words: &TableWords, rows: &[RecordRow]) -> Markup {
    html! {
        div.wide.grid data-table=(words.table.name) role="region" aria-label=(words.title) {
            table {
                thead { tr {
                    @for (column, label) in words.table.columns.iter().zip(words.labels) {
                        th scope="col" .n[is_number(column.kind)] data-names=(record_tables::heads(label, column.key)) { (label) }
                    }
                    th scope="col" { span.unseen { "Take out" } }
                } }
                tbody { @for row in rows { (line(words, Some(row))) } }
            }
            template { (line(words, None)) }
        }
    }
}

/// The list of words of a column, where it has one.
fn list(key: &str) -> Option<String> {
    let name = record_tables::list_of(key);
    (name != "none").then(|| format!("words-{name}"))
}

fn is_number(kind: CellKind) -> bool {
    matches!(
        kind,
        CellKind::Number | CellKind::FNumber | CellKind::Seconds
    )
}

fn line(words: &TableWords, row: Option<&RecordRow>) -> Markup {
    let was = row
        .and_then(|r| r.was)
        .map(|w| w.to_string())
        .unwrap_or_default();
    let own = row
        .and_then(|r| r.cells.get("id"))
        .map_or("new row", String::as_str);
    html! {
        tr data-was=(was) {
            @for (column, label) in words.table.columns.iter().zip(words.labels) {
                td .n[is_number(column.kind)] data-head=(label) {
                    input name=(column.key) autocomplete="off" spellcheck="false"
                        aria-label=(format!("{label}, {own}"))
                        size=(record_tables::width(column.key))
                        value=(row.and_then(|r| r.cells.get(column.key)).map(|v| record_tables::as_shown(column.key, v)).unwrap_or_default())
                        list=[list(column.key)];
                }
            }
            td.out { button type="button" data-out aria-label=(format!("Take {own} out")) { "×" } }
        }
    }
}
