//! The field log: what was done with the planned frames, as a phone's JSON or as
//! a CSV typed from a paper card. Both give the same entries.

use crate::csv_file::{Column, CsvFile, Row, Unknown, finite};
use crate::f_sign::without_f_sign;
use crate::keys::seconds_from_text;
use crate::path::read_text;
use crate::problem::{FolderError, Place, Problem, Problems, likely, short};
use crate::words::Words;
use base64::Engine as _;
use quantity::{Ev100, FNumber, Seconds};
use record::{Id, Sky};
use serde_json::{Map, Value};
use std::path::Path;

/// What a log calls itself.
const FORMAT: &str = "filmproof field log";
/// The version of the log that is read here.
const VERSION: u64 = 1;
/// How many digits of the plan's checksum a row of the CSV repeats.
pub(crate) const PLAN_DIGITS: usize = 12;

/// Columns of a field log typed from paper.
pub(crate) const FIELD_LOG: [Column; 12] = [
    Column {
        name: "frame",
        required: true,
        doc: "id of the planned frame",
    },
    Column {
        name: "plan",
        required: true,
        doc: "first 12 digits of the plan's checksum, as on the card",
    },
    Column {
        name: "exposed",
        required: true,
        doc: "x when the frame was exposed (or loaded and kept dark, as planned); empty when not",
    },
    Column {
        name: "holder",
        required: false,
        doc: "holder side really used; empty: as planned",
    },
    Column {
        name: "load",
        required: false,
        doc: "which loading of that side; empty: as planned",
    },
    Column {
        name: "aperture_f",
        required: false,
        doc: "f-number really set; empty: as planned",
    },
    Column {
        name: "time_marked_s",
        required: false,
        doc: "time set or meant, seconds or 1/30; empty: as planned",
    },
    Column {
        name: "time_actual_s",
        required: false,
        doc: "time it really was, seconds; empty: not known",
    },
    Column {
        name: "ev100",
        required: false,
        doc: "reading for this frame, EV at ISO 100; empty: that of the light",
    },
    Column {
        name: "sky",
        required: false,
        doc: "the sky: clear_sun, thin_cloud, broken_cloud, overcast, open_shade, under_leaves, lamp; empty: as planned",
    },
    Column {
        name: "exposed_at",
        required: false,
        doc: "when, with the offset from UTC: 2026-06-21T12:31:05+02:00",
    },
    Column {
        name: "remarks",
        required: false,
        doc: "anything else",
    },
];

/// What was written down for one planned frame.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct LogEntry {
    pub(crate) frame: Id,
    pub(crate) exposed: bool,
    pub(crate) holder: Option<String>,
    pub(crate) load: Option<u32>,
    pub(crate) aperture: Option<FNumber>,
    pub(crate) time_marked: Option<Seconds>,
    pub(crate) time_actual: Option<Seconds>,
    pub(crate) ev100: Option<Ev100>,
    pub(crate) sky: Option<Sky>,
    pub(crate) exposed_at: Option<String>,
    pub(crate) remarks: Option<String>,
    /// A PNG file.
    pub(crate) sketch: Option<Vec<u8>>,
    /// Where it stands in the log.
    pub(crate) place: Place,
    /// The same in words.
    pub(crate) at: String,
}

/// A log that was read.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FieldLog {
    /// The plan's checksum, or its beginning.
    pub(crate) plan: String,
    pub(crate) entries: Vec<LogEntry>,
    /// The file as it is.
    pub(crate) text: String,
    /// Whether it is JSON.
    pub(crate) json: bool,
}

/// Reads a field log, JSON or CSV by what it holds.
pub(crate) fn read_field_log(path: &Path) -> Result<FieldLog, FolderError> {
    let shown = path.display().to_string();
    let text = read_text(path, &shown)?;
    let json = text.trim_start().starts_with(['{', '[']);
    let mut problems = Problems::default();
    let read = if json {
        from_json(&shown, &text, &mut problems)?
    } else {
        from_csv(&shown, &text, &mut problems)
    };
    let Some((plan, entries)) = read else {
        problems.into_result()?;
        unreachable!("a log that is not read has a problem");
    };
    for (index, entry) in entries.iter().enumerate() {
        if entries[..index].iter().any(|e| e.frame == entry.frame) {
            problems.add(
                &entry.place,
                format!("{}: frame {} is logged twice", entry.at, entry.frame),
                "one entry for each frame",
                "keep the right one and remove the other",
            );
        }
    }
    problems.into_result()?;
    Ok(FieldLog {
        plan,
        entries,
        text,
        json,
    })
}

const LOAD: &str = "a whole number, 1 or more";
const TIME: &str = "seconds greater than 0, or a fraction such as 1/30";
const EV: &str = "an exposure value at ISO 100, between -30 and 40";
const APERTURE: &str = "an f-number greater than 0";
const MOMENT: &str = "a date and time with its offset from UTC, such as 2026-06-21T12:30:00+02:00";

fn sky(text: &str) -> Option<Sky> {
    Sky::WORDS
        .iter()
        .find(|(word, _)| *word == text)
        .map(|(_, sky)| *sky)
}

fn sky_words() -> String {
    let words: Vec<_> = Sky::WORDS.iter().map(|(word, _)| *word).collect();
    format!("one of {}", words.join(", "))
}

fn moment(text: &str) -> Option<String> {
    text.parse::<jiff::Timestamp>()
        .is_ok()
        .then(|| text.to_owned())
}

fn load(text: &str) -> Option<u32> {
    text.parse().ok().filter(|load| *load > 0)
}

type Read = Option<(String, Vec<LogEntry>)>;

fn from_csv(shown: &str, text: &str, problems: &mut Problems) -> Read {
    let csv = CsvFile::read(shown, text, &FIELD_LOG, Unknown::Refused, problems)?;
    let mut plan: Option<String> = None;
    let mut entries = Vec::new();
    for row in csv.rows() {
        let place = row.place("frame");
        let at = format!("line {}", place.line);
        let entry = csv_entry(&row, place, at, problems);
        let own = row.read_required(
            "plan",
            "the first 12 digits of the plan's checksum",
            problems,
            |text| Some(text.to_lowercase()),
        );
        let (Ok(own), Some(entry)) = (own, entry) else {
            continue;
        };
        if plan.as_ref().is_some_and(|first| *first != own) {
            row.mismatch(
                "plan",
                "the same plan in each row",
                "split the file: one log for each plan",
                problems,
            );
        }
        plan.get_or_insert(own);
        entries.push(entry);
    }
    if plan.is_none() && problems.is_empty() {
        problems.add(
            &Place::whole(shown),
            "the log has no row",
            "a row for each frame",
            "fill in the log",
        );
    }
    Some((plan?, entries))
}

fn csv_entry(row: &Row<'_>, place: Place, at: String, problems: &mut Problems) -> Option<LogEntry> {
    let frame = row.read_required("frame", "the name of a planned frame", problems, |t| {
        Id::new(t).ok()
    });
    let exposed = row.read(
        "exposed",
        "x, or an empty cell",
        problems,
        |text| match text.to_lowercase().as_str() {
            "x" | "yes" | "true" | "1" => Some(true),
            "no" | "false" | "0" | "-" => Some(false),
            _ => None,
        },
    );
    let load = row.read("load", LOAD, problems, load);
    let aperture = row.read("aperture_f", APERTURE, problems, |t| {
        FNumber::from_ratio(finite(without_f_sign(t))?).ok()
    });
    let marked = row.read("time_marked_s", TIME, problems, seconds_from_text);
    let actual = row.read("time_actual_s", TIME, problems, seconds_from_text);
    let ev100 = row.read("ev100", EV, problems, |t| Ev100::from_ev(finite(t)?).ok());
    let sky = row.read("sky", &sky_words(), problems, sky);
    let exposed_at = row.read("exposed_at", MOMENT, problems, moment);
    Some(LogEntry {
        frame: frame.ok()?,
        exposed: exposed.ok()?.unwrap_or(false),
        holder: row.text("holder").map(str::to_owned),
        load: load.ok()?,
        aperture: aperture.ok()?,
        time_marked: marked.ok()?,
        time_actual: actual.ok()?,
        ev100: ev100.ok()?,
        sky: sky.ok()?,
        exposed_at: exposed_at.ok()?,
        remarks: row.text("remarks").map(str::to_owned),
        sketch: None,
        place,
        at,
    })
}

fn from_json(shown: &str, text: &str, problems: &mut Problems) -> Result<Read, FolderError> {
    let value: Value = serde_json::from_str(text).map_err(|error| {
        let seen = if error.is_eof() {
            "the log ends in the middle".to_owned()
        } else {
            format!("no JSON: {error}")
        };
        FolderError {
            problems: vec![Problem {
                file: shown.to_owned(),
                line: Some(error.line()).filter(|line| *line > 0),
                column: Some(error.column()).filter(|column| *column > 0),
                seen,
                expected: "a whole field log, as the card's page exports it".to_owned(),
                remedy: "export the log again, and copy the file or the text whole".to_owned(),
            }],
            more: 0,
        }
    })?;
    let whole = Place::whole(shown);
    let again = "export the log again from the card's page";
    if value.get("format").and_then(Value::as_str) != Some(FORMAT) {
        problems.add(
            &whole,
            "this is no field log",
            format!("\"format\": \"{FORMAT}\""),
            "name the file that the card's page exported",
        );
        return Ok(None);
    }
    if value.get("version").and_then(Value::as_u64) != Some(VERSION) {
        let seen = value
            .get("version")
            .map_or("nothing".to_owned(), Value::to_string);
        problems.add(
            &whole,
            format!("the version of the field log is {}", short(&seen)),
            format!("\"version\": {VERSION}"),
            "use the version of the program that made the card",
        );
        return Ok(None);
    }
    let plan = value
        .get("plan_sha256")
        .and_then(Value::as_str)
        .filter(|hash| hash.len() == 64 && hash.bytes().all(|byte| byte.is_ascii_hexdigit()));
    let frames = value.get("frames").and_then(Value::as_array);
    let (Some(plan), Some(frames)) = (plan, frames) else {
        problems.add(
            &whole,
            "the log lacks its plan or its frames",
            "\"plan_sha256\" with 64 hex digits, and a list \"frames\"",
            again,
        );
        return Ok(None);
    };
    if let Some(object) = value.as_object() {
        unknown(
            object,
            &[
                "format",
                "version",
                "plan_sha256",
                "test",
                "exported_at",
                "frames",
            ],
            "the log",
            &whole,
            problems,
        );
    }
    let entries = frames
        .iter()
        .enumerate()
        .filter_map(|(index, frame)| json_entry(shown, index, frame, problems))
        .collect();
    Ok(Some((plan.to_lowercase(), entries)))
}

fn unknown(
    object: &Map<String, Value>,
    known: &[&str],
    at: &str,
    place: &Place,
    problems: &mut Problems,
) {
    for key in object.keys().filter(|key| !known.contains(&key.as_str())) {
        let meant = likely(key, known.iter().copied());
        let remedy = meant.first().map_or_else(
            || "remove it; nothing is dropped unseen".to_owned(),
            |word| format!("did you mean {word}?"),
        );
        problems.add(
            place,
            format!("unknown key \"{}\" in {at}", short(key)),
            format!("one of {}", known.join(", ")),
            remedy,
        );
    }
}

/// Reads values of one frame of a JSON log.
struct Values<'a> {
    object: &'a Map<String, Value>,
    at: String,
    place: Place,
}

impl Values<'_> {
    fn read<T>(
        &self,
        key: &str,
        expected: &str,
        problems: &mut Problems,
        parse: impl Fn(&Value) -> Option<T>,
    ) -> Option<T> {
        let value = self.object.get(key).filter(|value| !value.is_null())?;
        let read = parse(value);
        if read.is_none() {
            problems.add(
                &self.place,
                format!("{}: \"{key}\" is {}", self.at, short(&value.to_string())),
                expected,
                "correct the value in the log",
            );
        }
        read
    }

    fn text(&self, key: &str, problems: &mut Problems) -> Option<String> {
        self.read(key, "a text", problems, |value| {
            Some(value.as_str()?.trim().to_owned())
        })
        .filter(|text| !text.is_empty())
    }
}

fn json_entry(
    shown: &str,
    index: usize,
    frame: &Value,
    problems: &mut Problems,
) -> Option<LogEntry> {
    const KEYS: [&str; 12] = [
        "frame",
        "exposed",
        "holder",
        "load",
        "aperture_f",
        "time_marked_s",
        "time_actual_s",
        "ev100",
        "sky",
        "exposed_at",
        "remarks",
        "sketch_png",
    ];
    let at = format!("frames[{index}]");
    let place = Place::whole(shown);
    let Some(object) = frame.as_object() else {
        problems.add(
            &place,
            format!("{at} is {}", short(&frame.to_string())),
            "an object with a \"frame\"",
            "correct the log",
        );
        return None;
    };
    unknown(object, &KEYS, &at, &place, problems);
    let v = Values { object, at, place };
    let frame = v.read("frame", "the name of a planned frame", problems, |t| {
        Id::new(t.as_str()?).ok()
    });
    if !object.contains_key("frame") {
        problems.add(
            &v.place,
            format!("{} names no \"frame\"", v.at),
            "the name of a planned frame",
            "add it",
        );
    }
    let seconds = |value: &Value| match value.as_str() {
        Some(text) => seconds_from_text(text),
        None => Seconds::from_s(value.as_f64()?).ok(),
    };
    let entry = LogEntry {
        frame: frame?,
        exposed: v
            .read("exposed", "true or false", problems, Value::as_bool)
            .unwrap_or(false),
        holder: v.text("holder", problems),
        load: v.read("load", LOAD, problems, |t| load(&t.to_string())),
        aperture: v.read("aperture_f", APERTURE, problems, |t| {
            let written = |text| finite(without_f_sign(text));
            FNumber::from_ratio(t.as_f64().or_else(|| t.as_str().and_then(written))?).ok()
        }),
        time_marked: v.read("time_marked_s", TIME, problems, seconds),
        time_actual: v.read("time_actual_s", TIME, problems, seconds),
        ev100: v.read("ev100", EV, problems, |t| Ev100::from_ev(t.as_f64()?).ok()),
        sky: v.read("sky", &sky_words(), problems, |t| sky(t.as_str()?)),
        exposed_at: v.read("exposed_at", MOMENT, problems, |t| moment(t.as_str()?)),
        remarks: v.text("remarks", problems),
        sketch: v.read("sketch_png", "a PNG picture as a data URL", problems, |t| {
            let text = t.as_str()?.strip_prefix("data:image/png;base64,")?;
            let bytes = base64::engine::general_purpose::STANDARD
                .decode(text)
                .ok()?;
            bytes.starts_with(b"\x89PNG\r\n\x1a\n").then_some(bytes)
        }),
        at: v.at.clone(),
        place: v.place.clone(),
    };
    Some(entry)
}

/// Writes the CSV to be filled in: a row for each planned frame.
#[must_use]
pub fn field_log_csv(planned: &[record::PlannedFrame]) -> String {
    let hash = crate::plan_record::plan_hash(planned);
    let names: Vec<_> = FIELD_LOG.iter().map(|column| column.name).collect();
    let mut text = String::from(
        "# What was exposed, typed from the card. Empty cells are as planned. Put an x where a frame was exposed.\n",
    );
    text.push_str(&names.join(","));
    text.push('\n');
    for frame in planned {
        let mut cells = vec![frame.id.to_string(), hash[..PLAN_DIGITS].to_owned()];
        cells.resize(FIELD_LOG.len(), String::new());
        let cells: Vec<_> = cells
            .iter()
            .map(|cell| crate::csv_file::written_cell(cell))
            .collect();
        text.push_str(&cells.join(","));
        text.push('\n');
    }
    text
}
