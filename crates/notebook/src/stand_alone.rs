//! Files that a command is given by themselves, outside a test folder.
//!
//! Same columns, same messages; columns that are not known are named in a
//! warning instead of refused, for such files often come from elsewhere.

use crate::columns::{
    CURVE, DENSITY_EXPECTED, NAMED_PATCHES, ReciprocityTableRow, density, outline,
    reciprocity_table, role, tablet,
};
use crate::csv_file::{CsvFile, Unknown, finite};
use crate::path::read_text;
use crate::problem::{FolderError, Problems};
use quantity::{Density, LogExposure};
use record::{Id, Outline, PatchRole};
use std::path::Path;

/// Rows that were read, and what a reader must know of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Rows<T> {
    /// The rows, in the order of the file.
    pub rows: Vec<T>,
    /// Sentences that name what was not used or was assumed.
    pub warnings: Vec<String>,
}

/// A reading of a characteristic curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurveRow {
    /// log10 of the exposure, -10 to 10; lux seconds or relative, the file does not say.
    pub log_h: LogExposure,
    /// Gross density.
    pub density: Density,
    /// One standard deviation of the density, greater than 0, when stated.
    pub density_sd: Option<f64>,
    /// Number of the tablet's step, when stated.
    pub step: Option<u32>,
}

/// A step of a tablet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TabletRow {
    /// Its density.
    pub density: Density,
    /// One standard deviation of the density, when stated.
    pub density_sd: Option<f64>,
}

/// A patch outlined in a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedPatch {
    /// Its name.
    pub name: Id,
    /// Its outline.
    pub outline: Outline,
    /// What it shows, when stated.
    pub role: Option<PatchRole>,
}

/// Exposures of film lie well within; what lies outside is another quantity.
const LOG_H: std::ops::RangeInclusive<f64> = -10.0..=10.0;
const LOG_H_EXPECTED: &str =
    "a number from -10 to 10: log10 of lux seconds, or of a relative exposure";
const DENSITY_SD_EXPECTED: &str = "a number greater than 0, or an empty cell when not known";

fn open(path: &Path) -> Result<(String, String), FolderError> {
    let shown = path.display().to_string();
    let text = read_text(path, &shown)?;
    Ok((shown, text))
}

/// Reads the readings of one characteristic curve: `log_h,density` and, when
/// known, `density_sd` and `step`.
///
/// # Errors
/// [`FolderError`] with every cell that can't be read, at most 20.
pub fn read_curve_csv(path: &Path) -> Result<Rows<CurveRow>, FolderError> {
    let (shown, text) = open(path)?;
    let mut problems = Problems::default();
    let Some(csv) = CsvFile::read(&shown, &text, &CURVE, Unknown::Warned, &mut problems) else {
        problems.into_result()?;
        unreachable!("a file that is not read has a problem");
    };
    let mut rows = Vec::new();
    for row in csv.rows() {
        let log_h = row.read_required("log_h", LOG_H_EXPECTED, &mut problems, |text| {
            let log_h = finite(text).filter(|x| LOG_H.contains(x))?;
            LogExposure::from_log10(log_h).ok()
        });
        let density = row.read_required("density", DENSITY_EXPECTED, &mut problems, density);
        // A reading without any error would count alone.
        let density_sd = row.read("density_sd", DENSITY_SD_EXPECTED, &mut problems, |text| {
            finite(text).filter(|sd| *sd > 0.0)
        });
        let step = row.read("step", "a whole number", &mut problems, |text| {
            text.parse::<u32>().ok()
        });
        if let (Ok(log_h), Ok(density), Ok(density_sd), Ok(step)) =
            (log_h, density, density_sd, step)
        {
            rows.push(CurveRow {
                log_h,
                density,
                density_sd,
                step,
            });
        }
    }
    finish(&shown, rows, csv.warnings, problems)
}

/// Reads the densities of a tablet: `density` and, when known, `step` and
/// `density_sd`; the steps come in order.
///
/// # Errors
/// [`FolderError`] with every cell that can't be read, at most 20.
pub fn read_tablet_csv(path: &Path) -> Result<Rows<TabletRow>, FolderError> {
    let (shown, text) = open(path)?;
    let mut problems = Problems::default();
    let mut warnings = Vec::new();
    let rows = tablet(&shown, &text, Unknown::Warned, &mut problems, &mut warnings)
        .into_iter()
        .map(|step| TabletRow {
            density: step.density,
            density_sd: step.sd,
        })
        .collect();
    finish(&shown, rows, warnings, problems)
}

/// Reads patches outlined in one scan: `name`, a rectangle, region or polygon
/// and, when known, `role`.
///
/// # Errors
/// [`FolderError`] with every cell that can't be read, at most 20.
pub fn read_patches_csv(path: &Path) -> Result<Rows<NamedPatch>, FolderError> {
    let (shown, text) = open(path)?;
    let mut problems = Problems::default();
    let Some(csv) = CsvFile::read(
        &shown,
        &text,
        &NAMED_PATCHES,
        Unknown::Warned,
        &mut problems,
    ) else {
        problems.into_result()?;
        unreachable!("a file that is not read has a problem");
    };
    let mut rows: Vec<NamedPatch> = Vec::new();
    for row in csv.rows() {
        let expected = "a name of letters, digits, '-', '_' or '.'";
        let name = row.read_required("name", expected, &mut problems, |text| Id::new(text).ok());
        let role = role(&row, &mut problems);
        let Ok(outline) = outline(&row, &mut problems) else {
            continue;
        };
        let Some(outline) = outline else {
            problems.add(
                &row.place("name"),
                "the patch has no outline",
                "x_px, y_px, width_px and height_px, or region, or polygon_px",
                "outline it, or remove the row",
            );
            continue;
        };
        let (Ok(name), Ok(role)) = (name, role) else {
            continue;
        };
        if rows.iter().any(|earlier| earlier.name == name) {
            row.mismatch(
                "name",
                "a name that no other patch has",
                "rename one of the two",
                &mut problems,
            );
        }
        rows.push(NamedPatch {
            name,
            outline,
            role,
        });
    }
    finish(&shown, rows, csv.warnings, problems)
}

/// Reads a table of a film's reciprocity failure: `t_metered_s,t_corrected_s`.
///
/// # Errors
/// [`FolderError`] with every cell that can't be read, at most 20.
pub fn read_reciprocity_csv(path: &Path) -> Result<Rows<ReciprocityTableRow>, FolderError> {
    let (shown, text) = open(path)?;
    let mut problems = Problems::default();
    let mut warnings = Vec::new();
    let rows = reciprocity_table(&shown, &text, Unknown::Warned, &mut problems, &mut warnings);
    finish(&shown, rows, warnings, problems)
}

fn finish<T>(
    shown: &str,
    rows: Vec<T>,
    warnings: Vec<String>,
    mut problems: Problems,
) -> Result<Rows<T>, FolderError> {
    if rows.is_empty() && problems.is_empty() {
        problems.add(
            &crate::problem::Place::whole(shown),
            "the file names its columns and has no rows",
            "at least one row",
            "check that this is the right file",
        );
    }
    problems.into_result()?;
    Ok(Rows { rows, warnings })
}
