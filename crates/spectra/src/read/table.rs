//! A text table of wavelengths and values: CSV, TSV and their kin.
//!
//! First the layout (separator, decimal mark), then the rows, then the heading
//! above them and the remarks that speak of units, then the column.

use super::answers::{Answers, Purpose, ValueScale, WavelengthUnit};
use super::assemble::{MOST_POINTS, Raw, RawRow, assemble};
use super::cells::{Cell, DecimalMark, cell};
use super::error::ReadError;
use super::layout::{Layout, Separator};
use super::reading::{Notice, SpectralReading};
use super::stated::{
    is_molar, is_uncertainty, value_scale_in, value_scale_in_remark, wavelength_unit_in,
    wavelength_unit_in_remark,
};
use super::text::{Line, lines};

/// The heading of the wavelengths in the form documented for this program.
const OWN_HEADING: &str = "wavelength_nm";

/// Reads a table.
///
/// A table whose first heading is `wavelength_nm` is in the form that this
/// program documents: where its headings say nothing else, filters and subjects
/// are fractions and films are linear. Of any other table the scale must be
/// said by the file or by the answers.
///
/// # Errors
/// [`ReadError`]: a question, or what is wrong and in which line.
pub(super) fn reading_from_table(
    text: &str,
    purpose: Purpose,
    answers: &Answers,
) -> Result<SpectralReading, ReadError> {
    let all = lines(text);
    let (remarks, plain): (Vec<Line<'_>>, Vec<Line<'_>>) = all
        .iter()
        .filter(|line| !line.text.trim().is_empty())
        .partition(|line| remark(line.text).is_some());
    let layout = Layout::of(&plain).ok_or(ReadError::NoTable { lines: all.len() })?;
    let first = plain
        .iter()
        .position(|line| layout.is_row(line.text))
        .ok_or(ReadError::NoTable { lines: all.len() })?;
    let (above, rows) = plain.split_at(first);
    let width = layout.cells(rows[0].text).len();
    let before = rows[0].number;
    let heading = Heading::above(above, &remarks, layout, width, before);
    commas_once(rows, layout, heading.as_ref(), width)?;
    let column = column(heading.as_ref(), width, answers)?;
    let name = heading.as_ref().map_or_else(
        || format!("column {}", column + 1),
        |heading| heading.names[column].clone(),
    );
    if is_molar(&name) {
        return Err(ReadError::OtherQuantity {
            found: name,
            purpose,
        });
    }
    let mut notices = vec![];
    let aside: Vec<String> = heading
        .iter()
        .flat_map(|heading| heading.names.iter().skip(1))
        .filter(|other| **other != name && is_uncertainty(other))
        .cloned()
        .collect();
    if !aside.is_empty() {
        notices.push(Notice::Uncertainties { columns: aside });
    }
    let spoken = Spoken {
        heading: heading.as_ref(),
        above,
        remarks: &remarks,
    };
    let raw = Raw {
        title: None,
        rows: raw_rows(rows, layout, width, column)?,
        unit_said: spoken.unit(),
        scale_said: spoken.scale(&name, purpose),
        taken: name,
        notices,
    };
    assemble(raw, purpose, answers)
}

/// The text of a remark line without its mark.
fn remark(text: &str) -> Option<&str> {
    let text = text.trim_start();
    ["#", "!", "//"]
        .iter()
        .find_map(|mark| text.strip_prefix(mark))
}

/// The names above the columns.
struct Heading {
    names: Vec<String>,
}

impl Heading {
    /// The nearest line above the rows that has a name for each column; a remark
    /// line counts where no plain line does.
    fn above(
        above: &[Line<'_>],
        remarks: &[Line<'_>],
        layout: Layout,
        width: usize,
        before: usize,
    ) -> Option<Self> {
        let named = |text: &str| {
            let cells = layout.cells(text);
            let fits = cells.len() == width
                && cells
                    .iter()
                    .any(|text| cell(text, layout.mark) == Cell::Text);
            fits.then(|| {
                cells
                    .into_iter()
                    .map(str::to_owned)
                    .collect::<Vec<String>>()
            })
        };
        let plain = above.iter().rev().find_map(|line| named(line.text));
        plain
            .or_else(|| {
                remarks
                    .iter()
                    .rev()
                    .filter(|line| line.number < before)
                    .find_map(|line| remark(line.text).and_then(named))
            })
            .map(|names| Self { names })
    }
}

/// Commas between columns and in numbers can't be told apart.
fn commas_once(
    rows: &[Line<'_>],
    layout: Layout,
    heading: Option<&Heading>,
    width: usize,
) -> Result<(), ReadError> {
    let doubtful = layout.separator == Separator::Comma
        && heading.is_none()
        && width > 2
        && rows.iter().all(|line| !line.text.contains('.'));
    if doubtful {
        return Err(ReadError::CommaTwice {
            line: rows[0].number,
            cells: width,
        });
    }
    Ok(())
}

/// The index of the column to read, from 0.
fn column(heading: Option<&Heading>, width: usize, answers: &Answers) -> Result<usize, ReadError> {
    let name_of = |index: usize| {
        heading.map_or_else(
            || "no name".to_owned(),
            |heading| heading.names[index].clone(),
        )
    };
    let all: Vec<(usize, String)> = (1..width)
        .map(|index| (index + 1, name_of(index)))
        .collect();
    if let Some(asked) = &answers.column {
        let wanted = asked.trim();
        let named: Vec<&(usize, String)> = all
            .iter()
            .filter(|(_, name)| name.eq_ignore_ascii_case(wanted))
            .collect();
        if let [(number, _)] = named.as_slice() {
            return Ok(number - 1);
        }
        let number = wanted
            .parse::<usize>()
            .ok()
            .filter(|n| named.is_empty() && (2..=width).contains(n));
        return number
            .map(|number| number - 1)
            .ok_or_else(|| ReadError::NoSuchColumn {
                asked: asked.clone(),
                columns: all,
            });
    }
    let values: Vec<(usize, String)> = all
        .into_iter()
        .filter(|(_, name)| !is_uncertainty(name))
        .collect();
    match values.as_slice() {
        [(number, _)] => Ok(number - 1),
        _ => Err(ReadError::WhichColumn { columns: values }),
    }
}

fn raw_rows(
    rows: &[Line<'_>],
    layout: Layout,
    width: usize,
    column: usize,
) -> Result<Vec<RawRow>, ReadError> {
    let mut raw = Vec::with_capacity(rows.len());
    for line in rows {
        if raw.len() == MOST_POINTS {
            return Err(ReadError::TooManyPoints { limit: MOST_POINTS });
        }
        let mut cells = layout.cells(line.text);
        // A row may end in empty cells, which `cells` can't see.
        if cells.len() < width && ends_in_separators(line.text, layout, width - cells.len()) {
            cells.resize(width, "");
        }
        if cells.len() != width {
            return Err(ReadError::RowLength {
                line: line.number,
                found: cells.len(),
                wanted: width,
            });
        }
        let x = number(cells[0], layout.mark, line.number)?.ok_or_else(|| ReadError::NoNumber {
            line: line.number,
            cell: cells[0].to_owned(),
        })?;
        let y = number(cells[column], layout.mark, line.number)?;
        raw.push(RawRow {
            line: line.number,
            x,
            y,
        });
    }
    Ok(raw)
}

/// Whether a row has the separators of the cells that seem to be missing.
fn ends_in_separators(text: &str, layout: Layout, missing: usize) -> bool {
    let separator = match layout.separator {
        Separator::Semicolon => ';',
        Separator::Tab => '\t',
        Separator::Comma => ',',
        Separator::Blanks => return false,
    };
    let end = text.trim_end_matches([separator, ' ']);
    text[end.len()..].matches(separator).count() >= missing
}

fn number(text: &str, mark: DecimalMark, line: usize) -> Result<Option<f64>, ReadError> {
    match cell(text, mark) {
        Cell::Number(number) => Ok(Some(number)),
        Cell::Hole => Ok(None),
        Cell::Text => Err(ReadError::NoNumber {
            line,
            cell: text.chars().take(40).collect(),
        }),
    }
}

/// Everything in the file that can speak of units.
struct Spoken<'a> {
    heading: Option<&'a Heading>,
    above: &'a [Line<'a>],
    remarks: &'a [Line<'a>],
}

impl Spoken<'_> {
    /// The unit of the wavelengths, from the heading, a "X units" line, or a remark about wavelengths.
    fn unit(&self) -> Option<WavelengthUnit> {
        if let Some(unit) = self
            .heading
            .and_then(|heading| wavelength_unit_in(&heading.names[0]))
        {
            return Some(unit);
        }
        let mut found: Vec<WavelengthUnit> = vec![];
        let described = self
            .keyed("x units")
            .and_then(|line| wavelength_unit_in(line.text));
        let remarks = self
            .remarks
            .iter()
            .filter_map(|line| wavelength_unit_in_remark(line.text));
        // A heading whose names could not be matched to columns still names the unit.
        let loose = self
            .above
            .iter()
            .filter_map(|line| wavelength_unit_in_remark(line.text));
        for unit in described.into_iter().chain(remarks).chain(loose) {
            if !found.contains(&unit) {
                found.push(unit);
            }
        }
        match found.as_slice() {
            [only] => Some(*only),
            _ => None,
        }
    }

    /// The scale of the values, and what to tell when it isn't the column's own heading that says it.
    fn scale(&self, column: &str, purpose: Purpose) -> Option<(ValueScale, Option<Notice>)> {
        if let Some(scale) = value_scale_in(column, purpose) {
            return Some((scale, None));
        }
        if let Some(line) = self.keyed("y units") {
            let scale = value_scale_in(line.text, purpose)?;
            return Some((
                scale,
                Some(Notice::ScaleFromRemark {
                    scale,
                    line: line.number,
                }),
            ));
        }
        let mut found: Vec<(ValueScale, usize)> = vec![];
        for line in self.remarks.iter().chain(self.above) {
            if let Some(scale) = value_scale_in_remark(line.text, purpose)
                && !found.iter().any(|(other, _)| *other == scale)
            {
                found.push((scale, line.number));
            }
        }
        match found.as_slice() {
            [(scale, line)] => {
                let notice = Notice::ScaleFromRemark {
                    scale: *scale,
                    line: *line,
                };
                return Some((*scale, Some(notice)));
            }
            [] => {}
            _ => return None,
        }
        let own = self
            .heading
            .is_some_and(|heading| heading.names[0] == OWN_HEADING);
        let scale = match purpose {
            Purpose::Filter | Purpose::Subject => ValueScale::Fraction,
            Purpose::Film | Purpose::Light => ValueScale::Linear,
        };
        let form = "the form with wavelength_nm";
        own.then_some((scale, Some(Notice::ScaleOfForm { scale, form })))
    }

    /// The line that begins with this key, as in "Y Units: Reflectance (percent)".
    fn keyed(&self, key: &str) -> Option<&Line<'_>> {
        self.above.iter().chain(self.remarks).find(|line| {
            let text = remark(line.text).unwrap_or(line.text).trim_start();
            text.get(..key.len())
                .is_some_and(|start| start.eq_ignore_ascii_case(key))
        })
    }
}
