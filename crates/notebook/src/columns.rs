//! The columns of our CSV files, and how rows become records.

use crate::csv_file::{Column, CsvFile, Refused, Row, Unknown, deviation, finite};
use crate::problem::{Place, Problems};
use crate::words::{Words, patch_role, patch_role_words};
use quantity::{Bound, Density, Flag, Measured, Seconds};
use record::{Id, Outline, Patch, PatchRole, Reading, ReadingOrigin, Response};

/// Taken as one standard deviation of a density that was written down without
/// one; a warning names it.
///
/// Common practice: two operators with well-kept densitometers agree within
/// about 0.02.
pub(crate) const DENSITY_SD_UNSTATED: f64 = 0.02;

const FRAME: Column = Column {
    name: "frame",
    required: true,
    doc: "id of the frame",
};
const OUTLINE: [Column; 6] = [
    Column {
        name: "x_px",
        required: false,
        doc: "left edge of a rectangle, in pixels from the left of the scan",
    },
    Column {
        name: "y_px",
        required: false,
        doc: "top edge, in pixels from the top",
    },
    Column {
        name: "width_px",
        required: false,
        doc: "width in pixels, at least 1",
    },
    Column {
        name: "height_px",
        required: false,
        doc: "height in pixels, at least 1",
    },
    Column {
        name: "region",
        required: false,
        doc: "label of a region in the scan's region map",
    },
    Column {
        name: "polygon_px",
        required: false,
        doc: "corners of a polygon: \"10 20; 90 20; 90 70\"",
    },
];

/// Columns of `patches.csv`.
pub(crate) const PATCHES: [Column; 11] = [
    FRAME,
    Column {
        name: "patch",
        required: true,
        doc: "name of the patch; patches of one name on several frames show the same subject",
    },
    Column {
        name: "role",
        required: true,
        doc: "what it shows: base_fog, tablet_step:N, grey_card, sunlit_foliage, shaded_foliage, \
              shaded_grey_card, sky, wall, shadow, highlight or other",
    },
    Column {
        name: "scan",
        required: false,
        doc: "id of the scan it is outlined in; empty when it was read otherwise",
    },
    OUTLINE[0],
    OUTLINE[1],
    OUTLINE[2],
    OUTLINE[3],
    OUTLINE[4],
    OUTLINE[5],
    Column {
        name: "carried_from",
        required: false,
        doc: "instead of an outline: the frame on which the patch of this name is drawn; it is carried here by \
              registration of the two scans",
    },
];

/// Columns of `readings.csv`.
pub(crate) const READINGS: [Column; 9] = [
    FRAME,
    Column {
        name: "patch",
        required: true,
        doc: "name of the patch, as in patches.csv",
    },
    Column {
        name: "density",
        required: true,
        doc: "the number read, base and fog still in it",
    },
    Column {
        name: "density_sd",
        required: false,
        doc: "one standard deviation of it; 0.02 with a warning when empty",
    },
    Column {
        name: "response",
        required: false,
        doc: "what kind of number: density (when empty), relative_density or log_signal",
    },
    Column {
        name: "limit",
        required: false,
        doc: "at_least or at_most when the number is a limit",
    },
    Column {
        name: "origin",
        required: false,
        doc: "densitometer (when empty), contact_print or scan:ID",
    },
    Column {
        name: "geometry",
        required: false,
        doc: "geometry and spectral product of the densitometer, as stated: \"diffuse visual\"",
    },
    Column {
        name: "flags",
        required: false,
        doc: "names of flags, separated by blanks",
    },
];

/// Columns of a tablet's certificate.
pub(crate) const TABLET: [Column; 3] = [
    Column {
        name: "step",
        required: false,
        doc: "number of the step, from 1 on without gaps",
    },
    Column {
        name: "density",
        required: true,
        doc: "density of the step",
    },
    Column {
        name: "density_sd",
        required: false,
        doc: "one standard deviation of it",
    },
];

/// Columns of patches outlined in one scan that is named elsewhere.
pub(crate) const NAMED_PATCHES: [Column; 8] = [
    Column {
        name: "name",
        required: true,
        doc: "name of the patch",
    },
    OUTLINE[0],
    OUTLINE[1],
    OUTLINE[2],
    OUTLINE[3],
    OUTLINE[4],
    OUTLINE[5],
    Column {
        name: "role",
        required: false,
        doc: PATCHES[2].doc,
    },
];

/// Columns of the readings of one characteristic curve.
pub(crate) const CURVE: [Column; 4] = [
    Column {
        name: "log_h",
        required: true,
        doc: "log10 of the exposure in lux seconds, or relative",
    },
    Column {
        name: "density",
        required: true,
        doc: "gross density",
    },
    Column {
        name: "density_sd",
        required: false,
        doc: "one standard deviation of it",
    },
    Column {
        name: "step",
        required: false,
        doc: "number of the tablet's step",
    },
];

/// Columns of a reciprocity table.
pub(crate) const RECIPROCITY: [Column; 2] = [
    Column {
        name: "t_metered_s",
        required: true,
        doc: "metered time in seconds",
    },
    Column {
        name: "t_corrected_s",
        required: true,
        doc: "time that gives the density wanted, in seconds",
    },
];

/// A row of a reciprocity table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReciprocityTableRow {
    /// Metered time.
    pub metered: Seconds,
    /// Time that gives the density wanted.
    pub corrected: Seconds,
}

/// Reads a reciprocity table; what the rows must be to each other is the law's matter.
pub(crate) fn reciprocity_table(
    file: &str,
    text: &str,
    unknown: Unknown,
    problems: &mut Problems,
    warnings: &mut Vec<String>,
) -> Vec<ReciprocityTableRow> {
    let Some(csv) = CsvFile::read(file, text, &RECIPROCITY, unknown, problems) else {
        return Vec::new();
    };
    let rows = csv
        .rows()
        .filter_map(|row| {
            let mut time = |name| {
                row.read_required(name, "a time in seconds, greater than 0", problems, |t| {
                    Seconds::from_s(finite(t)?).ok()
                })
            };
            let (metered, corrected) = (time("t_metered_s"), time("t_corrected_s"));
            Some(ReciprocityTableRow {
                metered: metered.ok()?,
                corrected: corrected.ok()?,
            })
        })
        .collect();
    warnings.extend(csv.warnings);
    rows
}

/// What a density in a cell must be.
pub(crate) const DENSITY_EXPECTED: &str = "a density between -0.2 and 10";
/// The least density in a cell. A densitometer that was set to zero on clear film
/// reads a little below zero on clearer film, never so much: that is a lost sign.
const LEAST_DENSITY: f64 = -0.2;
/// What an uncertainty in a cell must be.
pub(crate) const DEVIATION_EXPECTED: &str = "a standard deviation, a number of 0 or more";

/// Reads a density.
pub(crate) fn density(text: &str) -> Option<Density> {
    Density::gross(text.parse().ok().filter(|d| *d >= LEAST_DENSITY)?).ok()
}

/// A record that was read from a row, and where.
#[derive(Debug)]
pub(crate) struct FromRow<T> {
    /// The record.
    pub(crate) record: T,
    /// Where it names its frame.
    pub(crate) frame_at: Place,
    /// Where it names its patch.
    pub(crate) patch_at: Place,
    /// Where it names a scan.
    pub(crate) scan_at: Place,
}

/// Reads the id in a cell.
fn id(row: &Row<'_>, name: &str, problems: &mut Problems) -> Result<Option<Id>, Refused> {
    let expected = "a record name: letters, digits, '-', '_' or '.'";
    row.read(name, expected, problems, |text| Id::new(text).ok())
}

fn id_required(row: &Row<'_>, name: &str, problems: &mut Problems) -> Result<Id, Refused> {
    match id(row, name, problems)? {
        Some(id) => Ok(id),
        None => {
            row.mismatch(name, "a record name", "fill the cell", problems);
            Err(Refused)
        }
    }
}

/// Reads one of several words.
fn word<T: Words>(
    row: &Row<'_>,
    name: &str,
    problems: &mut Problems,
) -> Result<Option<T>, Refused> {
    let words: Vec<_> = T::WORDS.iter().map(|(word, _)| *word).collect();
    let expected = format!("one of {}", words.join(", "));
    row.read(name, &expected, problems, |text| {
        T::WORDS
            .iter()
            .find(|(word, _)| *word == text)
            .map(|(_, state)| *state)
    })
}

/// Reads the role of a patch.
pub(crate) fn role(row: &Row<'_>, problems: &mut Problems) -> Result<Option<PatchRole>, Refused> {
    let expected = format!("one of {}", patch_role_words().join(", "));
    row.read("role", &expected, problems, patch_role)
}

/// Reads the outline of a patch; `None` when none of its columns is filled.
pub(crate) fn outline(row: &Row<'_>, problems: &mut Problems) -> Result<Option<Outline>, Refused> {
    let sides = ["x_px", "y_px", "width_px", "height_px"];
    let side = |index: usize, problems: &mut Problems| {
        let least = u32::from(index >= 2);
        let expected = format!("a whole number of pixels, {least} or more");
        row.read(sides[index], &expected, problems, |text| {
            text.parse::<u32>().ok().filter(|n| *n >= least)
        })
    };
    let read = [
        side(0, problems),
        side(1, problems),
        side(2, problems),
        side(3, problems),
    ];
    let region = row.read(
        "region",
        "a label of a region, a whole number",
        problems,
        |text| text.parse::<u32>().ok(),
    );
    let polygon = row.read(
        "polygon_px",
        "at least three corners \"x y\", separated by semicolons",
        problems,
        corners,
    );
    let [x, y, width, height] = read;
    let rectangle = [x?, y?, width?, height?];
    let (region, polygon) = (region?, polygon?);
    let kinds = usize::from(rectangle.iter().any(Option::is_some))
        + usize::from(region.is_some())
        + usize::from(polygon.is_some());
    if kinds > 1 {
        problems.add(
            &row.place("x_px"),
            "the patch has more than one outline",
            "a rectangle, a region or a polygon",
            "empty the cells of the others",
        );
        return Err(Refused);
    }
    if let Some(label) = region {
        return Ok(Some(Outline::Region(label)));
    }
    if let Some(corners) = polygon {
        return Ok(Some(Outline::Polygon(corners)));
    }
    match rectangle {
        [None, None, None, None] => Ok(None),
        [Some(x), Some(y), Some(width), Some(height)] => {
            if x.checked_add(width).is_none() || y.checked_add(height).is_none() {
                problems.add(
                    &row.place("x_px"),
                    "the rectangle ends beyond the largest possible pixel",
                    "a rectangle within the scan",
                    "correct the numbers",
                );
                return Err(Refused);
            }
            Ok(Some(Outline::Rectangle {
                x,
                y,
                width,
                height,
            }))
        }
        some => {
            let missing = some.iter().position(Option::is_none).unwrap_or_default();
            row.mismatch(
                sides[missing],
                "all four of x_px, y_px, width_px, height_px",
                "fill the cell",
                problems,
            );
            Err(Refused)
        }
    }
}

/// Reads `10 20; 90 20; 90 70`.
fn corners(text: &str) -> Option<Vec<(f64, f64)>> {
    let corners: Option<Vec<_>> = text
        .split(';')
        .map(|corner| {
            let mut numbers = corner.split_whitespace().map(finite);
            match (numbers.next(), numbers.next(), numbers.next()) {
                (Some(Some(x)), Some(Some(y)), None) => Some((x, y)),
                _ => None,
            }
        })
        .collect();
    corners.filter(|corners| corners.len() >= 3)
}

/// Reads `patches.csv`.
pub(crate) fn patches(file: &str, text: &str, problems: &mut Problems) -> Vec<FromRow<Patch>> {
    let Some(csv) = CsvFile::read(file, text, &PATCHES, Unknown::Refused, problems) else {
        return Vec::new();
    };
    csv.rows()
        .filter_map(|row| {
            let frame = id_required(&row, "frame", problems);
            let name = id_required(&row, "patch", problems);
            let role = role(&row, problems);
            let scan = id(&row, "scan", problems);
            let outline = outline(&row, problems);
            let carried = id(&row, "carried_from", problems);
            let role = match role.ok()? {
                Some(role) => role,
                None => {
                    let expected = format!("one of {}", patch_role_words().join(", "));
                    row.mismatch(
                        "role",
                        &expected,
                        "fill the cell; \"other\" if none fits",
                        problems,
                    );
                    return None;
                }
            };
            let outline = match (outline.ok()?, carried.ok()?) {
                (Some(_), Some(_)) => {
                    problems.add(
                        &row.place("carried_from"),
                        "the patch has an outline and is carried from another frame",
                        "one of the two",
                        "empty the cell, or the outline's cells",
                    );
                    return None;
                }
                (outline, None) => outline,
                (None, Some(from)) => Some(Outline::CarriedFrom(from)),
            };
            let place = match (scan.ok()?, outline) {
                (Some(scan), Some(outline)) => Some((scan, outline)),
                (None, None) => None,
                (Some(_), None) => {
                    problems.add(
                        &row.place("scan"),
                        "the patch names a scan and has no outline",
                        "a rectangle, a region or a polygon, or carried_from",
                        "outline it, or leave the scan out",
                    );
                    return None;
                }
                (None, Some(_)) => {
                    row.mismatch(
                        "scan",
                        "the scan that is outlined in",
                        "fill the cell",
                        problems,
                    );
                    return None;
                }
            };
            Some(FromRow {
                record: Patch {
                    frame: frame.ok()?,
                    name: name.ok()?,
                    role,
                    place,
                },
                frame_at: row.place("frame"),
                patch_at: row.place("patch"),
                scan_at: row.place("scan"),
            })
        })
        .collect()
}

/// Reads `readings.csv`.
pub(crate) fn readings(
    file: &str,
    text: &str,
    problems: &mut Problems,
    warnings: &mut Vec<String>,
) -> Vec<FromRow<Reading>> {
    let Some(csv) = CsvFile::read(file, text, &READINGS, Unknown::Refused, problems) else {
        return Vec::new();
    };
    let mut unstated = 0_usize;
    let rows = csv
        .rows()
        .filter_map(|row| {
            let frame = id_required(&row, "frame", problems);
            let patch = id_required(&row, "patch", problems);
            let response = word::<Response>(&row, "response", problems);
            let sd = row.read("density_sd", DEVIATION_EXPECTED, problems, deviation);
            let limit = word::<Bound>(&row, "limit", problems);
            let origin = origin(&row, problems);
            let flags = flags(&row, problems);
            let response = response.ok()?.unwrap_or(Response::Density);
            let number = if response == Response::Density {
                row.read_required("density", DENSITY_EXPECTED, problems, density)
                    .map(Density::to_density)
            } else {
                row.read_required("density", "a finite number", problems, finite)
            };
            // A density without any error would count alone.
            if sd == Ok(Some(0.0)) && response == Response::Density {
                row.mismatch(
                    "density_sd",
                    "a standard deviation greater than 0, or an empty cell when not known",
                    "write what the densitometer is good for, or leave it empty",
                    problems,
                );
                return None;
            }
            let sd = sd.ok()?.unwrap_or_else(|| {
                unstated += 1;
                DENSITY_SD_UNSTATED
            });
            let mut value = Measured::new(number.ok()?, sd);
            for flag in flags.ok()? {
                value = value.flagged(flag);
            }
            Some(FromRow {
                record: Reading {
                    frame: frame.ok()?,
                    patch: patch.ok()?,
                    response,
                    value,
                    limit: limit.ok()?,
                    origin: origin.ok()?,
                },
                frame_at: row.place("frame"),
                patch_at: row.place("patch"),
                scan_at: row.place("origin"),
            })
        })
        .collect();
    if unstated > 0 {
        warnings.push(format!(
            "{file}: {unstated} readings state no density_sd; {DENSITY_SD_UNSTATED} was taken for each"
        ));
    }
    rows
}

/// Reads how a reading was got.
fn origin(row: &Row<'_>, problems: &mut Problems) -> Result<ReadingOrigin, Refused> {
    let geometry = row.text("geometry").map(str::to_owned);
    let expected = "densitometer, contact_print or scan:ID";
    let read = row.read("origin", expected, problems, |text| match text {
        "densitometer" => Some(ReadingOrigin::Densitometer(None)),
        "contact_print" => Some(ReadingOrigin::ContactPrint),
        _ => Id::new(text.strip_prefix("scan:")?)
            .ok()
            .map(ReadingOrigin::Scan),
    })?;
    match (read.unwrap_or(ReadingOrigin::Densitometer(None)), geometry) {
        (ReadingOrigin::Densitometer(_), geometry) => Ok(ReadingOrigin::Densitometer(geometry)),
        (other, None) => Ok(other),
        (_, Some(_)) => {
            row.mismatch(
                "geometry",
                "an empty cell: only a densitometer has a geometry",
                "empty the cell, or correct the origin",
                problems,
            );
            Err(Refused)
        }
    }
}

/// Reads names of flags.
fn flags(row: &Row<'_>, problems: &mut Problems) -> Result<Vec<Flag>, Refused> {
    let expected = "names of flags, separated by blanks";
    let read = row.read("flags", expected, problems, |text| {
        text.split_whitespace()
            .map(|name| Flag::ALL.iter().copied().find(|flag| flag.name() == name))
            .collect::<Option<Vec<_>>>()
    })?;
    Ok(read.unwrap_or_default())
}

/// A step of a tablet as it stands in a certificate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    /// Its density.
    pub(crate) density: Density,
    /// One standard deviation, when stated.
    pub(crate) sd: Option<f64>,
}

/// Reads a tablet's certificate; steps come in order.
pub(crate) fn tablet(
    file: &str,
    text: &str,
    unknown: Unknown,
    problems: &mut Problems,
    warnings: &mut Vec<String>,
) -> Vec<Step> {
    let Some(csv) = CsvFile::read(file, text, &TABLET, unknown, problems) else {
        return Vec::new();
    };
    warnings.extend(csv.warnings.iter().cloned());
    let mut steps = Vec::new();
    for (index, row) in csv.rows().enumerate() {
        let expected = format!("{}, the next step in order", index + 1);
        if csv.has("step") {
            // The problem, if any, is in the list; the densities are read on.
            let _refused = row.read_required("step", &expected, problems, |text| {
                (text.parse::<usize>().ok()? == index + 1).then_some(())
            });
        }
        let density = row.read_required("density", DENSITY_EXPECTED, problems, density);
        let sd = row.read("density_sd", DEVIATION_EXPECTED, problems, deviation);
        if let (Ok(density), Ok(sd)) = (density, sd) {
            steps.push(Step { density, sd });
        }
    }
    if steps.len() < 2 && problems.is_empty() {
        problems.add(
            &Place::whole(file),
            format!("{} steps", steps.len()),
            "at least two steps",
            "list every step of the tablet",
        );
    }
    steps
}
