//! One spectrum, its table checked against its own head.
//!
//! Checked: the number of points, the step, the abscissa each line begins with,
//! the check value after a line of differences (in [`super::ordinates`]). The
//! first value in the head is compared and told, no more: programs that
//! export spectra often leave a stale one there.

use super::blocks::Block;
use super::error::JcampError;
use super::ordinates::{Ordinates, ordinates};
use super::pairs::pairs;
use super::records::Record;
use crate::read::assemble::MOST_POINTS;
use crate::read::text::Line;

/// The points of a spectrum in its own units, factors applied.
#[derive(Debug)]
pub(super) struct Points {
    /// Line, abscissa, ordinate (`None` where the file has `?`).
    pub points: Vec<(usize, f64, Option<f64>)>,
    /// The first ordinate as the head gives it, where it disagrees with the table.
    pub first_y_said: Option<f64>,
}

/// The checked points of a block.
///
/// # Errors
/// [`JcampError`]: what is missing, or where the table disagrees with its head.
pub(super) fn points(block: &Block<'_>) -> Result<Points, JcampError> {
    let table = block.table().ok_or(JcampError::NoSpectrum)?;
    let x_factor = number(block, "XFACTOR")?.unwrap_or(1.0);
    let y_factor = number(block, "YFACTOR")?.unwrap_or(1.0);
    let points = match table.label.as_str() {
        "XYDATA" => {
            form(table, "(X++(Y..Y))")?;
            even(block, &table_lines(table), x_factor, y_factor)?
        }
        "XYPOINTS" => {
            form(table, "(XY..XY)")?;
            pairs(&table_lines(table))?
                .into_iter()
                .map(|pair| (pair.line, pair.x * x_factor, pair.y.map(|y| y * y_factor)))
                .collect()
        }
        "PEAKTABLE" | "PEAKASSIGNMENTS" => {
            return Err(JcampError::PeakTable {
                line: table.line,
                label: table.label.clone(),
            });
        }
        _ => {
            return Err(JcampError::OtherForm {
                line: table.line,
                label: table.label.clone(),
                form: table.value.chars().take(40).collect(),
                wanted: "##XYDATA= (X++(Y..Y)) or ##XYPOINTS= (XY..XY)",
            });
        }
    };
    if let Some(said) = count(block)?
        && said != points.len()
    {
        return Err(JcampError::PointCount {
            title: block.title().to_owned(),
            found: points.len(),
            said,
        });
    }
    let first_y = points.first().and_then(|(_, _, y)| *y);
    let said = number(block, "FIRSTY")?;
    let first_y_said = said.zip(first_y).and_then(|(said, found)| {
        // The head is written with few digits: 1 % or two factors' worth is agreement.
        let near = 0.01 * said.abs().max(found.abs()) + 2.0 * y_factor.abs();
        ((said - found).abs() > near).then_some(said)
    });
    Ok(Points {
        points,
        first_y_said,
    })
}

/// The lines of the table; numbers may begin on the label's own line after the form.
fn table_lines<'a>(table: &Record<'a>) -> Vec<Line<'a>> {
    let after = table
        .value
        .rfind(')')
        .map_or("", |at| &table.value[at + 1..])
        .trim();
    let own = (!after.is_empty()).then_some(Line {
        number: table.line,
        text: after,
    });
    own.into_iter().chain(table.more.iter().copied()).collect()
}

fn form(table: &Record<'_>, wanted: &'static str) -> Result<(), JcampError> {
    let close: String = table.value.chars().filter(|c| !c.is_whitespace()).collect();
    if close.starts_with(wanted) {
        return Ok(());
    }
    Err(JcampError::OtherForm {
        line: table.line,
        label: table.label.clone(),
        form: table.value.chars().take(40).collect(),
        wanted,
    })
}

/// The points of a table with even steps.
fn even(
    block: &Block<'_>,
    lines: &[Line<'_>],
    x_factor: f64,
    y_factor: f64,
) -> Result<Vec<(usize, f64, Option<f64>)>, JcampError> {
    let missing = |label| JcampError::Missing {
        title: block.title().to_owned(),
        label,
    };
    let first = number(block, "FIRSTX")?.ok_or_else(|| missing("FIRSTX"))?;
    let last = number(block, "LASTX")?.ok_or_else(|| missing("LASTX"))?;
    let count = count(block)?.ok_or_else(|| missing("NPOINTS"))?;
    let step = if count > 1 {
        // Exact: a count that is no whole number in f64 is far above what is read.
        (last - first) / f64::from(u32::try_from(count - 1).unwrap_or(u32::MAX))
    } else {
        0.0
    };
    if let Some(said) = number(block, "DELTAX")?
        && (said - step).abs() > 0.01 * step.abs()
    {
        return Err(JcampError::StepDiffers {
            title: block.title().to_owned(),
            said,
            first,
            last,
            points: count,
        });
    }
    // A damaged repeat may ask for millions of points: none beyond the head's count is made.
    let table = ordinates(lines, count.min(MOST_POINTS))?;
    let at = |index: usize| first + step * f64::from(u32::try_from(index).unwrap_or(u32::MAX));
    check_x(&table, x_factor, step, at)?;
    Ok(table
        .values
        .iter()
        .zip(&table.value_lines)
        .enumerate()
        .map(|(index, (y, line))| (*line, at(index), y.map(|y| y * y_factor)))
        .collect())
}

/// Each line must begin where the points before it lead to.
fn check_x(
    table: &Ordinates,
    x_factor: f64,
    step: f64,
    at: impl Fn(usize) -> f64,
) -> Result<(), JcampError> {
    for check in &table.checks {
        let seen = check.x * x_factor;
        let wanted = at(check.index);
        // Half a step tells a missing point; the rounding of the written number
        // is allowed on top, since it is often written coarser than the step.
        let allowed = 0.5 * step.abs() + check.rounding * x_factor.abs() + 1e-9 * wanted.abs();
        if (seen - wanted).abs() > allowed {
            return Err(JcampError::XCheck {
                line: check.line,
                seen,
                wanted,
            });
        }
    }
    Ok(())
}

/// The number of a record; `None` when there is no such record or it is empty.
pub(super) fn number(block: &Block<'_>, label: &str) -> Result<Option<f64>, JcampError> {
    let Some(record) = block.find(label).filter(|record| !record.value.is_empty()) else {
        return Ok(None);
    };
    record
        .value
        .parse::<f64>()
        .ok()
        .filter(|number| number.is_finite())
        .map(Some)
        .ok_or_else(|| bad_number(record))
}

fn count(block: &Block<'_>) -> Result<Option<usize>, JcampError> {
    let Some(record) = block
        .find("NPOINTS")
        .filter(|record| !record.value.is_empty())
    else {
        return Ok(None);
    };
    let number = record
        .value
        .parse::<usize>()
        .ok()
        .filter(|count| *count > 0);
    number.map(Some).ok_or_else(|| bad_number(record))
}

fn bad_number(record: &Record<'_>) -> JcampError {
    JcampError::BadNumber {
        line: record.line,
        label: record.label.clone(),
        value: record.value.chars().take(40).collect(),
    }
}
