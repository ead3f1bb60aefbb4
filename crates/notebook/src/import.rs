//! A field log into the record: new frames are appended to `test.toml`, whose
//! text so far stays as it is, byte for byte, with its order and its comments.
//!
//! That is why no editor of TOML is used here: what is never rewritten can't be
//! changed by mistake.

use crate::field_log::{FieldLog, LogEntry, PLAN_DIGITS, read_field_log};
use crate::folder::{PlannedFolder, TEST_TOML, read_planned_folder, read_with_record};
use crate::from_record::{frame_table, light_table};
use crate::keys::Entry;
use crate::path::read_text;
use crate::plan_record::plan_hash;
use crate::problem::{FolderError, Problems};
use crate::words::Words;
use crate::write::tables_text;
use record::{
    CameraExposure, Exposure, Frame, Id, Light, LightReading, PlannedExposure, PlannedFrame, Sky,
    TestParts, Time,
};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// The folder, within a test folder, of logs and sketches as they came.
const FIELD: &str = "field";

/// What an import did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// Frames that are now recorded as exposed.
    pub added: Vec<Id>,
    /// Frames that were recorded already, with the same facts.
    pub unchanged: Vec<Id>,
    /// Frames that are logged but not ticked as exposed.
    pub not_exposed: Vec<Id>,
    /// Files kept in the test folder: the log itself, sketches.
    pub files: Vec<String>,
    /// What a reader must know though nothing is wrong.
    pub warnings: Vec<String>,
}

/// Puts a field log, JSON or CSV, into a test folder: frames that were exposed
/// into `test.toml`, the log itself and its sketches into `field/`. All or nothing.
///
/// The same log again changes nothing.
///
/// # Errors
/// [`FolderError`] when folder, plan or log are at fault, the log is of another
/// plan, or it contradicts a frame that is recorded; then nothing is written.
pub fn import_field_log(dir: &Path, log: &Path) -> Result<Imported, FolderError> {
    let folder = read_planned_folder(dir)?;
    let log_name = log.display().to_string();
    let read = read_field_log(log)?;
    check_plan(&folder, &read, &log_name)?;
    let mut imported = Imported::default();
    let mut problems = Problems::default();
    let mut parts = folder.test.records().parts().clone();
    let lights_before = parts.lights.len();
    let frames_before = parts.frames.len();
    for entry in &read.entries {
        let Some(planned) = folder.test.planned().iter().find(|f| f.id == entry.frame) else {
            problems.add(
                &entry.place,
                format!("{}: frame {} is not in the plan", entry.at, entry.frame),
                "a frame of plan.toml",
                "correct the name, or write the frame into test.toml by hand",
            );
            continue;
        };
        if !entry.exposed {
            imported.not_exposed.push(entry.frame.clone());
            continue;
        }
        let recorded = parts.frames.iter().find(|f| f.id == entry.frame).cloned();
        let lights = parts.lights.len();
        let Some(frame) = frame_of(planned, entry, &mut parts, &mut problems) else {
            continue;
        };
        match recorded {
            None => {
                warn_of(planned, entry, &frame, &parts, &mut imported.warnings);
                imported.added.push(frame.id.clone());
                parts.frames.push(frame);
            }
            Some(recorded) if recorded == frame => imported.unchanged.push(frame.id),
            Some(recorded) => {
                parts.lights.truncate(lights);
                problems.add(
                    &entry.place,
                    format!(
                        "{}: frame {} is recorded already, with another {}",
                        entry.at,
                        frame.id,
                        differences(&recorded, &frame).join(", ")
                    ),
                    "the recorded facts; a record is never overwritten",
                    "find out which is right: correct the [[frame]] in test.toml, or the log",
                );
            }
        }
    }
    problems.into_result()?;
    let mut tables: Vec<(&'static str, Vec<Entry>)> = Vec::new();
    for light in &parts.lights[lights_before..] {
        tables.push(("light", light_table(light).entries()));
    }
    for frame in &parts.frames[frames_before..] {
        tables.push(("frame", frame_table(frame).entries()));
    }
    let record = folder.root.join(TEST_TOML);
    let hash = hex(read.text.as_bytes());
    let changes = !tables.is_empty();
    let mut text = read_text(&record, TEST_TOML)?;
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text.push_str(&format!(
        "\n# From the field log {FIELD}/log-{}, imported.\n{}",
        &hash[..PLAN_DIGITS],
        tables_text(tables)
    ));
    if changes {
        // The whole folder is read with the new text before anything is written.
        let after = read_with_record(dir, &text)?;
        if after.test.records().parts() != &parts {
            return Err(FolderError::of_file(
                TEST_TOML,
                "the imported frames read back differently",
                "[[frame]] tables at the end of test.toml",
                "if frames are written as a list, frame = [ … ], write them as [[frame]] tables",
            ));
        }
    }
    let extension = if read.json { "json" } else { "csv" };
    let mut files = vec![(
        format!("log-{}.{extension}", &hash[..PLAN_DIGITS]),
        read.text.as_bytes(),
    )];
    for entry in &read.entries {
        if let Some(sketch) = &entry.sketch {
            let name = format!("sketch-{}-{}.png", entry.frame, &hex(sketch)[..8]);
            files.push((name, sketch));
        }
    }
    let new_text = changes.then_some(text.as_bytes());
    let kept = keep(&folder.root, &files, &record, new_text)?;
    imported.files = kept;
    Ok(imported)
}

fn check_plan(folder: &PlannedFolder, log: &FieldLog, name: &str) -> Result<(), FolderError> {
    let own = plan_hash(folder.test.planned());
    if log.plan.len() >= PLAN_DIGITS && own.starts_with(&log.plan) {
        return Ok(());
    }
    let digits = |hash: &str| hash.chars().take(PLAN_DIGITS).collect::<String>();
    Err(FolderError::of_file(
        name,
        format!(
            "the log is of another plan: {} instead of {}",
            crate::problem::short(&digits(&log.plan)),
            digits(&own)
        ),
        "a log of the card that was made from this folder's plan.toml as it is now",
        "name the folder whose plan it is; if plan.toml was changed since, put it back as it was when the card was made",
    ))
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

/// The exposed frame that a log entry makes of a planned one.
fn frame_of(
    planned: &PlannedFrame,
    entry: &LogEntry,
    parts: &mut TestParts,
    problems: &mut Problems,
) -> Option<Frame> {
    let exposure = match &planned.exposure {
        PlannedExposure::Camera(camera) => {
            let light = light_for(&camera.light, entry.sky, parts);
            Exposure::Camera(CameraExposure {
                lens: camera.lens.clone(),
                light,
                reading: entry.ev100.map(LightReading::Ev100),
                ei: Some(camera.ei),
                aperture: entry.aperture.unwrap_or(camera.aperture),
                time: Time {
                    marked: entry.time_marked.unwrap_or(camera.time.marked),
                    actual: entry.time_actual,
                    actual_uncertainty_stops: None,
                },
                bellows: camera.bellows,
            })
        }
        other => {
            let camera_keys = [
                ("aperture_f", entry.aperture.is_some()),
                ("time_marked_s", entry.time_marked.is_some()),
                ("time_actual_s", entry.time_actual.is_some()),
                ("ev100", entry.ev100.is_some()),
                ("sky", entry.sky.is_some()),
            ];
            if let Some((key, _)) = camera_keys.into_iter().find(|(_, given)| *given) {
                problems.add(
                    &entry.place,
                    format!(
                        "{}: \"{key}\" is given, but frame {} is not exposed in a camera",
                        entry.at, entry.frame
                    ),
                    "holder, loading, time of day and remarks only",
                    "write it into the remarks",
                );
                return None;
            }
            match other {
                PlannedExposure::Tablet(tablet) => Exposure::Tablet {
                    tablet: tablet.clone(),
                    without_tablet: None,
                },
                _ => Exposure::None,
            }
        }
    };
    Some(Frame {
        id: planned.id.clone(),
        film: planned.film.clone(),
        filters: planned.filters.clone(),
        process: planned.process.clone(),
        holder: entry.holder.clone().or_else(|| planned.holder.clone()),
        load: entry.load.or(planned.load),
        exposed_at: entry.exposed_at.clone(),
        role: planned.role,
        exposure,
        remarks: match (&planned.remarks, &entry.remarks) {
            (Some(planned), Some(logged)) => Some(format!("{planned}; {logged}")),
            (one, other) => other.clone().or_else(|| one.clone()),
        },
    })
}

/// The light of a frame: the planned one, or one like it under the sky that was
/// written down, without the planned one's reading and time.
fn light_for(planned: &Id, sky: Option<Sky>, parts: &mut TestParts) -> Id {
    let Some(light) = parts.lights.iter().find(|light| light.id == *planned) else {
        unreachable!("the plan's references were checked when it was read");
    };
    let Some(sky) = sky.filter(|sky| *sky != light.sky) else {
        return planned.clone();
    };
    let mut other = Light {
        sky,
        time: None,
        reading: None,
        remarks: None,
        ..light.clone()
    };
    let word = sky.word().replace('_', "-");
    let begin: String = planned.as_str().chars().take(40).collect();
    for number in 1_u32.. {
        let name = match number {
            1 => format!("{begin}-{word}"),
            number => format!("{begin}-{word}-{number}"),
        };
        let Ok(id) = Id::new(&name) else {
            unreachable!("a record name with a word behind it is a record name");
        };
        other.id = id;
        match parts.lights.iter().find(|light| light.id == other.id) {
            Some(known) if *known == other => return other.id,
            Some(_) => {}
            None => {
                let id = other.id.clone();
                parts.lights.push(other);
                return id;
            }
        }
    }
    unreachable!("there are fewer lights than numbers")
}

fn warn_of(
    planned: &PlannedFrame,
    entry: &LogEntry,
    frame: &Frame,
    parts: &TestParts,
    warnings: &mut Vec<String>,
) {
    let Exposure::Camera(camera) = &frame.exposure else {
        return;
    };
    let light = parts.lights.iter().find(|light| light.id == camera.light);
    if camera.reading.is_none() && light.is_none_or(|light| light.reading.is_none()) {
        warnings.push(format!(
            "frame {}: no reading was written down, and its light {} has none",
            frame.id, camera.light
        ));
    }
    if let (Some(logged), Some(planned)) = (&entry.holder, &planned.holder)
        && logged != planned
    {
        warnings.push(format!(
            "frame {} was in holder {logged}, planned was {planned}",
            frame.id
        ));
    }
}

/// Names what differs between two frames of one name.
fn differences(recorded: &Frame, logged: &Frame) -> Vec<&'static str> {
    let mut names = Vec::new();
    let mut differ = |name, differs: bool| {
        if differs {
            names.push(name);
        }
    };
    differ("film", recorded.film != logged.film);
    differ("filter", recorded.filters != logged.filters);
    differ("process", recorded.process != logged.process);
    differ("holder", recorded.holder != logged.holder);
    differ("loading", recorded.load != logged.load);
    differ("time of day", recorded.exposed_at != logged.exposed_at);
    differ("role", recorded.role != logged.role);
    differ("remark", recorded.remarks != logged.remarks);
    match (&recorded.exposure, &logged.exposure) {
        (Exposure::Camera(one), Exposure::Camera(other)) => {
            differ("lens", one.lens != other.lens);
            differ("light", one.light != other.light);
            differ("reading", one.reading != other.reading);
            differ("EI", one.ei != other.ei);
            differ("aperture", one.aperture != other.aperture);
            differ("marked time", one.time.marked != other.time.marked);
            differ("actual time", one.time.actual != other.time.actual);
            differ(
                "uncertainty of the actual time",
                one.time.actual_uncertainty_stops != other.time.actual_uncertainty_stops,
            );
            differ("bellows", one.bellows != other.bellows);
        }
        (one, other) => differ("exposure", one != other),
    }
    names
}

/// Keeps the log and its sketches, then moves the new record into place. What
/// was written is taken back when a later step fails.
pub(crate) fn keep(
    root: &Path,
    files: &[(String, &[u8])],
    record: &Path,
    text: Option<&[u8]>,
) -> Result<Vec<String>, FolderError> {
    let failed = |name: &str, error: &std::io::Error| {
        FolderError::of_file(
            name,
            format!("writing failed: {error}"),
            "a test folder that can be written",
            "check its permissions and the free space; nothing was changed",
        )
    };
    let folder = root.join(FIELD);
    let made = !folder.exists();
    fs::create_dir_all(&folder).map_err(|error| failed(FIELD, &error))?;
    let mut written: Vec<PathBuf> = Vec::new();
    let take_back = |written: &[PathBuf]| {
        for path in written {
            // Ours, written just now; what can't be removed is harmless beside the record.
            drop(fs::remove_file(path));
        }
        if made {
            drop(fs::remove_dir(&folder));
        }
    };
    let mut kept = Vec::new();
    for (name, bytes) in files {
        let path = folder.join(name);
        match fs::File::create_new(&path).and_then(|mut file| file.write_all(bytes)) {
            Ok(()) => written.push(path),
            // Named by its checksum: what stands there is the same file.
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            Err(error) => {
                written.push(path);
                take_back(&written);
                return Err(failed(name, &error));
            }
        }
        kept.push(format!("{FIELD}/{name}"));
    }
    let Some(text) = text else {
        return Ok(kept);
    };
    let new = root.join(format!(".{TEST_TOML}.new-{}", std::process::id()));
    let moved = fs::File::create_new(&new)
        .and_then(|mut file| {
            file.write_all(text)?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&new, record));
    if let Err(error) = moved {
        written.push(new);
        take_back(&written);
        return Err(failed(TEST_TOML, &error));
    }
    Ok(kept)
}
