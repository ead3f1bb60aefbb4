//! Reading a test folder.

use crate::columns::{FromRow, patches, readings};
use crate::files::Files;
use crate::format::{FORMAT, TestTable};
use crate::keys::{Reader, Span};
use crate::path::{find, hash_file};
use crate::plan_format::{PLAN_FORMAT, PlanTable};
use crate::problem::{FolderError, Place, Problems, Source, likely};
use crate::to_record::{Conversion, Name, Reference};
use record::{
    Calibrator, Id, Outline, Patch, PlannedFrame, PlannedTest, Reading, ReadingOrigin, RecordError,
    Scan, Test, TestParts,
};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::{Path, PathBuf};
use toml::de::DeTable;

/// The record of a test folder.
pub(crate) const TEST_TOML: &str = "test.toml";
/// Its plan.
pub(crate) const PLAN_TOML: &str = "plan.toml";
/// Its outlines of patches.
pub(crate) const PATCHES_CSV: &str = "patches.csv";
/// Its readings.
pub(crate) const READINGS_CSV: &str = "readings.csv";

/// A test folder that was read and is sound.
#[derive(Clone, Debug)]
pub struct TestFolder {
    /// The test.
    pub test: Test,
    /// The folder, as an absolute path without links.
    pub root: PathBuf,
    /// Sentences that name what was assumed.
    pub warnings: Vec<String>,
}

/// A test folder with a plan, read and sound; it may have no exposed frame yet.
#[derive(Clone, Debug)]
pub struct PlannedFolder {
    /// Records and plan.
    pub test: PlannedTest,
    /// The folder, as an absolute path without links.
    pub root: PathBuf,
    /// Sentences that name what was assumed.
    pub warnings: Vec<String>,
}

/// What a scan's file has become since its checksum was written down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HashState {
    /// Nothing: the checksum is the recorded one.
    Same,
    /// The file is another one.
    Changed {
        /// The checksum in the record.
        recorded: String,
        /// The checksum of the file.
        found: String,
    },
    /// No checksum is recorded.
    NotRecorded {
        /// The checksum of the file.
        found: String,
    },
}

impl TestFolder {
    /// Finds a file of the folder by its path within it.
    ///
    /// # Errors
    /// [`FolderError`] when the path leaves the folder, also by a link, or the
    /// file is not there; similarly named files are listed.
    pub fn scan_path(&self, path: &str) -> Result<PathBuf, FolderError> {
        find(&self.root, path).map_err(|(seen, expected, remedy)| {
            FolderError::of_file(TEST_TOML, seen, expected, remedy)
        })
    }

    /// Opens a scan's file, which can be read and sought in.
    ///
    /// # Errors
    /// [`FolderError`] as for [`Self::scan_path`], or when it can't be opened.
    pub fn open_scan(&self, scan: &Scan) -> Result<File, FolderError> {
        let path = self.scan_path(&scan.file)?;
        File::open(&path).map_err(|error| {
            FolderError::of_file(
                &scan.file,
                format!("the file can't be opened: {error}"),
                "a file that can be read",
                "check its permissions",
            )
        })
    }

    /// Compares a scan's file with the checksum in the record.
    ///
    /// # Errors
    /// [`FolderError`] as for [`Self::scan_path`], or when it can't be read.
    pub fn hash_state(&self, scan: &Scan) -> Result<HashState, FolderError> {
        let found = hash_file(&self.scan_path(&scan.file)?)?;
        Ok(match &scan.sha256 {
            None => HashState::NotRecorded { found },
            Some(recorded) if recorded.eq_ignore_ascii_case(&found) => HashState::Same,
            Some(recorded) => HashState::Changed {
                recorded: recorded.clone(),
                found,
            },
        })
    }
}

/// Reads a test folder: `test.toml`, and `patches.csv` and `readings.csv` when
/// they are there. Scans are looked for, and not opened.
///
/// # Errors
/// [`FolderError`] with every problem found, at most 20. Problems of keys and
/// cells come first; references between records are checked once those are
/// sound.
pub fn read_test_folder(dir: &Path) -> Result<TestFolder, FolderError> {
    let read = read_files(dir, false, None)?;
    let planned = read.root.join(PLAN_TOML).exists();
    let test = Test::assemble(read.records.parts).map_err(|error| {
        if planned && error == RecordError::NoFrames {
            return FolderError::of_file(
                TEST_TOML,
                "nothing has been exposed yet: test.toml has no [[frame]], and plan.toml only says what is to be exposed",
                "frames that were exposed",
                "take the plan along with `filmproof card DIR`; what was exposed comes into the record with `filmproof import DIR LOG`, or write a [[frame]] for each",
            );
        }
        record_problem(&error, &read.records.places)
    })?;
    Ok(TestFolder {
        test,
        root: read.root,
        warnings: read.records.warnings,
    })
}

/// Reads a test folder with its plan, `plan.toml`. There may be no exposed
/// frame yet.
///
/// # Errors
/// [`FolderError`] as for [`read_test_folder`], when there is no `plan.toml`, and
/// for what is at fault in it.
pub fn read_planned_folder(dir: &Path) -> Result<PlannedFolder, FolderError> {
    planned_folder(read_files(dir, true, None)?)
}

/// Reads a test folder with its plan as if `test.toml` held another text.
pub(crate) fn read_with_record(dir: &Path, text: &str) -> Result<PlannedFolder, FolderError> {
    planned_folder(read_files(dir, true, Some(text))?)
}

fn planned_folder(read: ReadFiles) -> Result<PlannedFolder, FolderError> {
    let ReadFiles { records, root } = read;
    let fault = |error: RecordError| record_problem(&error, &records.places);
    if !records.parts.frames.is_empty() {
        // First the record alone, so that its faults are told at its own lines.
        Test::assemble(records.parts.clone()).map_err(fault)?;
    }
    let test = PlannedTest::assemble(records.parts, records.planned).map_err(fault)?;
    Ok(PlannedFolder {
        test,
        root,
        warnings: records.warnings,
    })
}

/// Where records stand in the files.
struct Places {
    names: Vec<Name>,
    patches: Vec<(Id, Id)>,
    patch_places: Vec<Place>,
}

/// What the files of a test hold.
struct Records {
    parts: TestParts,
    planned: Vec<PlannedFrame>,
    warnings: Vec<String>,
    places: Places,
}

/// What the files of a folder hold, sound but for what records say together.
struct ReadFiles {
    records: Records,
    root: PathBuf,
}

/// Checks the files of a test without refusing them.
pub(crate) fn checked_records(files: Files<'_>) -> CheckedRecords {
    let mut problems = Problems::default();
    let with_plan = files.has(PLAN_TOML);
    let records = read_records(files, with_plan, None, &mut problems);
    let Records {
        parts,
        planned,
        warnings,
        places,
    } = records;
    let together = |problems: &mut Problems, error: RecordError| {
        problems.add_all(record_problem(&error, &places));
    };
    if problems.is_empty() {
        if !parts.frames.is_empty()
            && let Err(error) = Test::assemble(parts.clone())
        {
            together(&mut problems, error);
        } else if !planned.is_empty()
            && let Err(error) = PlannedTest::assemble(parts.clone(), planned.clone())
        {
            together(&mut problems, error);
        }
    }
    CheckedRecords {
        parts,
        planned,
        warnings,
        problems: problems.into_result().err(),
    }
}

/// The records of a test with all that is wrong with them.
pub(crate) struct CheckedRecords {
    pub(crate) parts: TestParts,
    pub(crate) planned: Vec<PlannedFrame>,
    pub(crate) warnings: Vec<String>,
    pub(crate) problems: Option<FolderError>,
}

fn record_problem(error: &RecordError, places: &Places) -> FolderError {
    let place = place_of(error, &places.names, &places.patches, &places.patch_places);
    let mut problems = Problems::default();
    let (expected, remedy) = advice(error);
    problems.add(&place, error.to_string(), expected, remedy);
    match problems.into_result() {
        Err(error) => error,
        Ok(()) => unreachable!("a problem was added above"),
    }
}

fn read_files(dir: &Path, with_plan: bool, record: Option<&str>) -> Result<ReadFiles, FolderError> {
    let shown = dir.display().to_string();
    let root = dir.canonicalize().map_err(|error| {
        FolderError::of_file(
            &shown,
            format!("the folder can't be opened: {error}"),
            "a test folder",
            "check the path, or run `filmproof demo DIR` to see a filled-in folder",
        )
    })?;
    if !root.is_dir() {
        return Err(FolderError::of_file(
            &shown,
            "this is a file",
            "a test folder, which holds test.toml",
            "name the folder instead of a file in it",
        ));
    }
    if !root.join(TEST_TOML).exists() {
        return Err(FolderError::of_file(
            &shown,
            "the folder holds no test.toml",
            "a test folder: test.toml with the record, patches.csv, readings.csv and the scans",
            "run `filmproof demo DIR` to see a filled-in folder, and copy its test.toml",
        ));
    }
    let files = Files::Folder(&root);
    let mut problems = Problems::default();
    if with_plan && !files.has(PLAN_TOML) {
        return Err(FolderError::of_file(
            &shown,
            "the folder holds no plan.toml",
            "plan.toml beside test.toml, with a [[planned]] for each frame to be exposed",
            "write one; docs/test-folder.md shows an example",
        ));
    }
    let records = read_records(files, with_plan, record, &mut problems);
    problems.into_result()?;
    Ok(ReadFiles { records, root })
}

/// Reads what the files of a test hold, as far as they can be read: where
/// `problems` are added, records are missing.
fn read_records(
    files: Files<'_>,
    with_plan: bool,
    record: Option<&str>,
    problems: &mut Problems,
) -> Records {
    let mut warnings = Vec::new();
    let text = |name: &str, problems: &mut Problems| match files.text(name) {
        Ok(text) => Some(text),
        Err(error) => {
            problems.add_all(error);
            None
        }
    };
    let mut parts = TestParts::default();
    let (mut names, mut references) = (Vec::new(), Vec::new());
    if let Some(text) = record
        .map(str::to_owned)
        .or_else(|| text(TEST_TOML, problems))
    {
        let source = Source::new(TEST_TOML, text);
        let table = read_table(&source, FORMAT, TestTable::from_table, problems);
        let mut conversion = Conversion::new(&source, files, problems, &mut warnings);
        parts = table
            .map(|table| conversion.parts(table))
            .unwrap_or_default();
        (names, references) = (conversion.names, conversion.references);
    }
    let mut planned = Vec::new();
    if with_plan && let Some(text) = text(PLAN_TOML, problems) {
        let source = Source::new(PLAN_TOML, text);
        let table = read_table(&source, PLAN_FORMAT, PlanTable::from_table, problems);
        let mut conversion = Conversion::new(&source, files, problems, &mut warnings);
        planned = table
            .map(|table| conversion.planned(table))
            .unwrap_or_default();
        names.extend(conversion.names);
        references.extend(conversion.references);
    }
    let optional = |name: &str, problems: &mut Problems| {
        files.has(name).then(|| text(name, problems)).flatten()
    };
    let patches = match optional(PATCHES_CSV, problems) {
        Some(text) => patches(PATCHES_CSV, &text, problems),
        None => Vec::new(),
    };
    let readings = match optional(READINGS_CSV, problems) {
        Some(text) => readings(READINGS_CSV, &text, problems, &mut warnings),
        None => Vec::new(),
    };
    if problems.is_empty() {
        cross_check(&parts, &names, references, &patches, &readings, problems);
    }
    let patch_places: Vec<Place> = patches.iter().map(|row| row.patch_at.clone()).collect();
    parts.patches = patches.into_iter().map(|row| row.record).collect();
    parts.readings = readings.into_iter().map(|row| row.record).collect();
    let patch_names = parts
        .patches
        .iter()
        .map(|patch| (patch.frame.clone(), patch.name.clone()))
        .collect();
    Records {
        parts,
        planned,
        warnings,
        places: Places {
            names,
            patches: patch_names,
            patch_places,
        },
    }
}

/// Reads the keys of a TOML file of ours that states its format.
fn read_table<T>(
    source: &Source,
    version: u32,
    from_table: fn(&DeTable<'_>, Span, &mut Reader<'_>) -> Option<T>,
    problems: &mut Problems,
) -> Option<T> {
    let (table, mut errors) = DeTable::parse_recoverable(&source.text);
    errors.sort_by_key(|error| error.span().map_or(0, |span| span.start));
    for error in &errors {
        let span = error.span().unwrap_or(0..0);
        let place = source.place(span.start);
        let line = source
            .text
            .lines()
            .nth(place.line.saturating_sub(1))
            .unwrap_or_default();
        problems.add(
            &place,
            format!(
                "{}: {}",
                error.message().lines().next().unwrap_or("no TOML"),
                crate::problem::short(line.trim())
            ),
            "TOML: `key = value` lines under [[titles]], text in double quotes",
            "mend the line",
        );
    }
    if !errors.is_empty() {
        return None;
    }
    let span: Span = 0..0;
    let mut reader = Reader { source, problems };
    let table = table.get_ref();
    if let Some(format) = table.get("format")
        && let Some(number) = format.get_ref().as_integer()
        && number.as_str() != version.to_string()
    {
        reader.problem(
            &format.span(),
            format!("`format` is {}", source.quoted(&format.span())),
            format!("format = {version}, the version of the test folder that is understood here"),
            "use a version of the program that knows this format",
        );
        return None;
    }
    from_table(table, span, &mut reader)
}

/// Checks names and references, so that every fault is named with its place.
fn cross_check(
    parts: &TestParts,
    names: &[Name],
    references: Vec<Reference>,
    patches: &[FromRow<Patch>],
    readings: &[FromRow<Reading>],
    problems: &mut Problems,
) {
    let mut first: BTreeMap<(&str, &Id), &Place> = BTreeMap::new();
    for name in names {
        if let Some(earlier) = first.insert((name.kind, &name.id), &name.place) {
            problems.add(
                &name.place,
                format!("two {} records are named {}", name.kind, name.id),
                format!(
                    "a name of its own; the other one stands in line {}",
                    earlier.line
                ),
                "rename one of the two",
            );
        }
    }
    let known = |kind: &str| -> BTreeSet<&Id> {
        names
            .iter()
            .filter(|name| name.kind == kind)
            .map(|name| &name.id)
            .collect()
    };
    let kinds: BTreeMap<&str, BTreeSet<&Id>> = [
        "film", "filter", "lens", "light", "process", "tablet", "scan", "frame",
    ]
    .into_iter()
    .map(|kind| (kind, known(kind)))
    .collect();
    let refer =
        |from: &str, kind: &'static str, id: &Id, place: &Place, problems: &mut Problems| {
            let Some(known) = kinds.get(kind) else {
                unreachable!("every kind that is referred to is in the list above");
            };
            if known.contains(id) {
                return true;
            }
            let listed: Vec<_> = known.iter().take(12).map(|id| id.as_str()).collect();
            let expected = if listed.is_empty() {
                format!("a recorded {kind}; none is recorded")
            } else {
                format!("one of the recorded names: {}", listed.join(", "))
            };
            let meant = likely(id.as_str(), known.iter().map(|id| id.as_str()));
            let remedy = match meant.first() {
                Some(name) => format!("did you mean \"{name}\"?"),
                None => format!("add the {kind}, or correct the name"),
            };
            problems.add(
                place,
                format!("{from} refers to {kind} {id}, which is not recorded"),
                expected,
                remedy,
            );
            false
        };
    for reference in &references {
        refer(
            &reference.from,
            reference.kind,
            &reference.id,
            &reference.place,
            problems,
        );
    }
    let scan_of = |id: &Id| parts.scans.iter().find(|scan| scan.id == *id);
    let mut by_frame: BTreeMap<&Id, BTreeMap<&Id, &Place>> = BTreeMap::new();
    for FromRow {
        record: patch,
        frame_at,
        patch_at,
        scan_at,
    } in patches
    {
        let from = format!("patch {}", patch.name);
        refer(&from, "frame", &patch.frame, frame_at, problems);
        if let Some((scan, outline)) = &patch.place {
            let sound = refer(&from, "scan", scan, scan_at, problems);
            let has_map = scan_of(scan).is_some_and(|scan| scan.region_map.is_some());
            if sound && matches!(outline, Outline::Region(_)) && !has_map {
                problems.add(
                    scan_at,
                    format!("{from} is a region, but scan {scan} has no region map"),
                    "`region_map = …` in the scan, an image whose pixel values are labels",
                    "add the region map, or outline the patch otherwise",
                );
            }
        }
        let earlier = by_frame
            .entry(&patch.frame)
            .or_default()
            .insert(&patch.name, patch_at);
        if let Some(earlier) = earlier {
            problems.add(
                patch_at,
                format!("frame {} has two patches named {}", patch.frame, patch.name),
                format!(
                    "a name of its own; the other one stands in line {}",
                    earlier.line
                ),
                "rename one of the two",
            );
        }
    }
    for FromRow {
        record: reading,
        frame_at,
        patch_at,
        scan_at,
    } in readings
    {
        let from = format!("the reading of patch {}", reading.patch);
        if !refer(&from, "frame", &reading.frame, frame_at, problems) {
            continue;
        }
        if let ReadingOrigin::Scan(scan) = &reading.origin {
            refer(&from, "scan", scan, scan_at, problems);
        }
        let patches = by_frame.get(&reading.frame);
        if patches.is_some_and(|patches| patches.contains_key(&reading.patch)) {
            continue;
        }
        let listed: Vec<_> = patches
            .iter()
            .flat_map(|patches| patches.keys().take(12).map(|id| id.as_str()))
            .collect();
        let expected = if listed.is_empty() {
            format!(
                "a patch of frame {} in {PATCHES_CSV}; it has none",
                reading.frame
            )
        } else {
            format!("a patch of frame {}: {}", reading.frame, listed.join(", "))
        };
        problems.add(
            patch_at,
            format!(
                "a reading of frame {} names patch {}, which is not in {PATCHES_CSV}",
                reading.frame, reading.patch
            ),
            expected,
            format!(
                "add a row to {PATCHES_CSV} (the outline may stay empty): {},{},ROLE",
                reading.frame, reading.patch
            ),
        );
    }
    for scan in &parts.scans {
        if scan.repeat_of.as_ref() == Some(&scan.id)
            || matches!(&scan.calibrator, Calibrator::OtherScan(other) if *other == scan.id)
        {
            let place = place_of_name(names, "scan", scan.id.as_str());
            problems.add(
                &place,
                format!("scan {} refers to itself", scan.id),
                "another scan",
                "correct repeat_of or calibrated_by",
            );
        }
    }
}

fn place_of_name(names: &[Name], kind: &str, id: &str) -> Place {
    // The last one: of two records of one name it is the one to rename.
    names
        .iter()
        .rev()
        .find(|name| name.kind == kind && name.id.as_str() == id)
        .map_or_else(|| Place::whole(TEST_TOML), |name| name.place.clone())
}

/// Finds the place of the record that an error is about.
fn place_of(error: &RecordError, names: &[Name], patches: &[(Id, Id)], places: &[Place]) -> Place {
    let patch_place = |frame: &str, patch: &str| {
        patches
            .iter()
            .zip(places)
            .rev()
            .find(|((f, p), _)| f.as_str() == frame && p.as_str() == patch)
            .map_or_else(|| Place::whole(PATCHES_CSV), |(_, place)| place.clone())
    };
    match error {
        RecordError::NamedTwice { kind, id } => place_of_name(names, kind, id),
        RecordError::NotRecorded { .. } | RecordError::NoFrames => Place::whole(TEST_TOML),
        RecordError::PatchTwice { frame, patch }
        | RecordError::NotCarried { frame, patch, .. }
        | RecordError::StepOutsideTablet { frame, patch, .. } => patch_place(frame, patch),
        RecordError::NothingPlanned => Place::whole(PLAN_TOML),
        RecordError::RoleAgainstExposure { frame, .. }
        | RecordError::DrawWithoutFocalLength { frame } => place_of_frame(names, frame),
        RecordError::HolderTwice { second, .. } => place_of_frame(names, second),
        RecordError::StepCount { scan, .. } | RecordError::CalibratorWithoutTablet { scan, .. } => {
            place_of_name(names, "scan", scan)
        }
    }
}

/// Finds a frame, planned or exposed; the plan is read last and checked last.
fn place_of_frame(names: &[Name], frame: &str) -> Place {
    let planned = names
        .iter()
        .any(|n| n.kind == "planned frame" && n.id.as_str() == frame);
    place_of_name(
        names,
        if planned { "planned frame" } else { "frame" },
        frame,
    )
}

/// Says what was expected and what to do.
fn advice(error: &RecordError) -> (&'static str, &'static str) {
    match error {
        RecordError::NamedTwice { .. } | RecordError::PatchTwice { .. } => {
            ("a name of its own for each", "rename one of the two")
        }
        RecordError::NotRecorded { .. } => (
            "a name that is recorded",
            "add the record, or correct the name",
        ),
        RecordError::NothingPlanned => ("at least one [[planned]]", "plan a frame"),
        RecordError::NoFrames => ("at least one [[frame]]", "record a frame"),
        RecordError::RoleAgainstExposure { .. } => (
            "unexposed without an exposure, tablet_sheet with `tablet`, any other role with \
             light, aperture_f and time_marked_s or with log_h_relative",
            "correct the role or the exposure",
        ),
        RecordError::DrawWithoutFocalLength { .. } => (
            "a frame with `lens`, and `focal_length_mm` in that lens",
            "state the focal length, or give `magnification` instead",
        ),
        RecordError::StepCount { .. } => (
            "one outline for each step",
            "outline every step, or mark it { unreadable = true }",
        ),
        RecordError::CalibratorWithoutTablet { .. } => (
            "a scan with a `strip`",
            "name the scan that holds the tablet",
        ),
        RecordError::StepOutsideTablet { .. } => (
            "a step of the tablet the frame was exposed through, counted from 1",
            "correct the step's number, or the frame's exposure",
        ),
        RecordError::NotCarried { .. } => (
            "the frame on which the patch of this name is drawn as a rectangle or polygon",
            "name that frame in carried_from, or outline the patch here",
        ),
        RecordError::HolderTwice { .. } => (
            "one frame for each side of a holder and each time it was loaded",
            "correct the holder of one of the two; if the side was loaded again in between, say `load = 2` for the later one",
        ),
    }
}
