//! The tables of records: titles and column heads in the trade's words.

use crate::api::records::Row;
use crate::refusal::Refusal;
use crate::shared::OpenTest;
use app::{CELL_TABLES, CellTable, RecordRow, record_rows};
use std::collections::BTreeMap;

/// The kind of record that other people's reports are.
pub(crate) const REPORTS: &str = "outside_report";

/// A kind of record with the words for it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct TableWords {
    pub(crate) table: CellTable,
    pub(crate) title: &'static str,
    /// A head for each column.
    pub(crate) labels: &'static [&'static str],
    /// Whether a test needs one.
    pub(crate) needed: bool,
}

/// Gives all tables of a test with their rows.
pub(crate) fn of(open: &OpenTest) -> Result<Vec<(TableWords, Vec<RecordRow>)>, Refusal> {
    CELL_TABLES
        .into_iter()
        .map(|table| {
            let (title, labels, needed) = words(table.name);
            let words = TableWords {
                table,
                title,
                labels,
                needed,
            };
            let rows = record_rows(&open.record, &table).map_err(app::AppError::from)?;
            Ok((words, rows))
        })
        .collect()
}

/// The title of a kind of record.
pub(crate) fn title(name: &str) -> &'static str {
    words(name).0
}

/// The head of a column.
pub(crate) fn label(table: &CellTable, key: &str) -> Option<&'static str> {
    let place = table.columns.iter().position(|column| column.key == key)?;
    words(table.name).1.get(place).copied()
}

fn words(name: &str) -> (&'static str, &'static [&'static str], bool) {
    match name {
        "frame" => (
            "Frames",
            &[
                "Frame",
                "Holder",
                "For",
                "Film",
                "Filters",
                "Light",
                "EI",
                "f/",
                "Time, s",
                "Measured time, s",
                "Process",
                "Lens",
                "Remarks",
                "EV, own reading",
                "Draw, mm",
                "Magnification",
                "Tablet",
            ],
            true,
        ),
        "film" => (
            "Films",
            &[
                "Film",
                "Name",
                "Format",
                "Box speed",
                "Batch",
                "Expiry",
                "Reciprocity law",
                "from",
            ],
            true,
        ),
        "filter" => (
            "Filters",
            &[
                "Filter",
                "Name",
                "Marking",
                "Cut-on, nm",
                "at",
                "Stated factor",
                "for",
            ],
            false,
        ),
        "light" => (
            "Lights",
            &[
                "Light",
                "Sky",
                "Place",
                "When",
                "EV at ISO 100",
                "Metered",
                "Cell",
                "Target",
                "Placed, stops",
                "Drift, stops",
                "Remarks",
            ],
            true,
        ),
        "lens" => (
            "Lenses",
            &[
                "Lens",
                "Name",
                "Focal length, mm",
                "Pupil ratio",
                "Marked speeds off by, stops",
            ],
            false,
        ),
        "process" => (
            "Developments",
            &[
                "Process",
                "Developer",
                "Dilution",
                "Time, s",
                "°C",
                "Agitation",
                "Remarks",
            ],
            true,
        ),
        REPORTS => (
            "Other people's reports",
            &[
                "Name",
                "Film",
                "Filter",
                "EI",
                "Light",
                "Seen",
                "Where it was told",
            ],
            false,
        ),
        _ => (
            "Step tablets",
            &["Tablet", "Nominal", "Serial", "Table of steps", "Certified"],
            false,
        ),
    }
}

/// Words that a spreadsheet may have over a column, besides its own head and key; from
/// common practice.
fn other_heads(key: &str) -> &'static [&'static str] {
    match key {
        "role" => &["role"],
        "filters" => &["filter"],
        "ei" => &["exposure index", "iso", "asa"],
        "aperture_f" => &["aperture", "f number", "f stop", "fstop"],
        "time_marked_s" => &[
            "time",
            "shutter",
            "shutter speed",
            "exposure time",
            "marked time",
        ],
        "time_actual_s" => &["actual time"],
        "process" => &["development"],
        "remarks" => &["remark", "notes", "note", "comments", "comment"],
        "ev100" => &["ev", "reading"],
        "bellows_draw_mm" => &["bellows draw", "bellows"],
        _ => &[],
    }
}

/// All words that name a column, parted by `|`, for telling a row of heads.
pub(crate) fn heads(label: &str, key: &str) -> String {
    let bare = label.split_once(',').map_or(label, |(before, _)| before);
    let own = [label, bare, key];
    let all: Vec<&str> = own
        .into_iter()
        .chain(other_heads(key).iter().copied())
        .collect();
    all.join("|")
}

/// Letters that a cell of a column shows.
pub(crate) fn width(key: &str) -> u32 {
    match key {
        "id" => 12,
        "holder" | "ei" | "aperture_f" | "time_s" | "temperature_c" => 5,
        "remarks" | "source" | "reciprocity.source" | "stated_factor.basis" | "agitation" => 20,
        "name" | "developer" | "place" | "time_rfc3339" | "meter.target" | "reciprocity.law"
        | "edge.level" => 16,
        "role" | "film" | "filters" | "light" | "process" | "sky" | "meter.cell" => 10,
        _ => 7,
    }
}

/// The list of words that a column takes, by the name of its `datalist`.
pub(crate) fn list_of(key: &str) -> &'static str {
    match key {
        "role" => "role",
        "sky" => "sky",
        "edge.level" => "level",
        "meter.mode" => "mode",
        "meter.cell" => "cell",
        "nominal" => "nominal",
        "seen" => "seen",
        _ => "none",
    }
}

/// The words of each list.
pub(crate) const LISTS: [(&str, &[&str]); 7] = [
    (
        "role",
        &[
            "anchor",
            "bracket",
            "red_control",
            "unexposed",
            "tablet_sheet",
            "repeat",
        ],
    ),
    (
        "sky",
        &[
            "clear_sun",
            "thin_cloud",
            "broken_cloud",
            "overcast",
            "open_shade",
            "under_leaves",
            "lamp",
            "not_stated",
        ],
    ),
    (
        "level",
        &[
            "half_transmittance",
            "half_of_peak",
            "ten_percent",
            "minus_three_stops",
            "not_stated",
        ],
    ),
    ("mode", &["incident", "spot", "averaging"]),
    (
        "cell",
        &["silicon", "cadmium_sulphide", "selenium", "not_stated"],
    ),
    ("nominal", &["21", "31", "11"]),
    ("seen", &["blank", "trace", "image", "printable"]),
];

/// Gives all rows of a test as they are shown, by kind of record.
pub(crate) fn shown_rows(open: &OpenTest) -> Result<BTreeMap<String, Vec<Row>>, Refusal> {
    Ok(of(open)?
        .into_iter()
        .map(|(words, rows)| {
            let rows = rows.into_iter().map(|row| Row {
                was: row.was.and_then(|was| u32::try_from(was).ok()),
                cells: row
                    .cells
                    .into_iter()
                    .map(|(key, value)| {
                        let shown = as_shown(&key, &value);
                        (key, shown)
                    })
                    .collect(),
            });
            (words.table.name.to_owned(), rows.collect())
        })
        .collect())
}

/// A cell as it is shown: words without the record's underscores.
pub(crate) fn as_shown(key: &str, value: &str) -> String {
    match list_of(key) {
        "none" => value.to_owned(),
        _ => value.replace('_', " "),
    }
}

/// A cell as the record has it.
pub(crate) fn as_typed(key: &str, typed: &str) -> String {
    match list_of(key) {
        "none" => typed.to_owned(),
        _ => typed.trim().to_lowercase().replace(' ', "_"),
    }
}
