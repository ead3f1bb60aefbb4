//! Spectra among the fields of a CGATS table, in each of the ways they are laid out.
//!
//! One spectrum to a row, with the wavelength in the field's name
//! (`SPECTRAL_PCT_550`, `SPECTRAL_DEC550`, `SPECTRAL_NM_550`) or in pairs of
//! fields (`SPECTRAL_NM SPECTRAL_DEC SPECTRAL_NM SPECTRAL_DEC …`); or one
//! spectrum to a table, with a wavelength in each row. PCT is per cent, DEC a
//! fraction; `SPECTRAL_NM_550` says the wavelength and not the scale.

use super::error::CgatsError;
use super::tables::Table;
use crate::read::answers::ValueScale;
use crate::read::assemble::RawRow;
use crate::read::cells::{Cell, DecimalMark, cell};

/// Where the spectra of a table are.
#[derive(Debug, PartialEq)]
pub(super) enum Spectra {
    /// Each row is a spectrum; wavelength in nm and index of each field.
    Rows {
        fields: Vec<(f64, usize)>,
        scale: Option<ValueScale>,
    },
    /// Each row is a spectrum; indices of wavelength and value.
    Pairs {
        fields: Vec<(usize, usize)>,
        scale: ValueScale,
    },
    /// The table is one spectrum; indices of wavelength and value.
    Column {
        wavelength: usize,
        value: usize,
        scale: ValueScale,
    },
}

/// One field.
enum Field {
    Wavelength,
    Value(ValueScale),
    At(f64, Option<ValueScale>),
}

/// The spectra of a table; `None` when it has none.
///
/// # Errors
/// [`CgatsError::Unpaired`] when wavelengths and values don't match.
pub(super) fn spectra_in(table: &Table) -> Result<Option<Spectra>, CgatsError> {
    let mut at: Vec<(f64, usize, Option<ValueScale>)> = vec![];
    let mut wavelengths = vec![];
    let mut values: Vec<(usize, ValueScale)> = vec![];
    for (index, name) in table.fields.iter().enumerate() {
        match field(name) {
            Some(Field::At(nm, scale)) => at.push((nm, index, scale)),
            Some(Field::Wavelength) => wavelengths.push(index),
            Some(Field::Value(scale)) => values.push((index, scale)),
            None => {}
        }
    }
    if let Some((_, _, scale)) = at.first().copied() {
        let one_scale = at.iter().all(|(_, _, other)| *other == scale);
        let fields = at.into_iter().map(|(nm, index, _)| (nm, index)).collect();
        return Ok(Some(Spectra::Rows {
            fields,
            scale: scale.filter(|_| one_scale),
        }));
    }
    match (wavelengths.as_slice(), values.as_slice()) {
        ([], []) => Ok(None),
        ([wavelength], [(value, scale)]) => Ok(Some(Spectra::Column {
            wavelength: *wavelength,
            value: *value,
            scale: *scale,
        })),
        (many, [(_, scale), ..])
            if many.len() == values.len() && values.iter().all(|(_, other)| other == scale) =>
        {
            let fields = many
                .iter()
                .copied()
                .zip(values.iter().map(|(index, _)| *index))
                .collect();
            Ok(Some(Spectra::Pairs {
                fields,
                scale: *scale,
            }))
        }
        _ => Err(CgatsError::Unpaired {
            wavelengths: wavelengths.len(),
            values: values.len(),
        }),
    }
}

fn field(name: &str) -> Option<Field> {
    let upper = name.to_uppercase();
    let rest = upper.strip_prefix("SPECTRAL")?.trim_start_matches('_');
    let (scale, rest) = if let Some(rest) = rest.strip_prefix("NM") {
        (None, rest)
    } else if let Some(rest) = rest.strip_prefix("PCT") {
        (Some(ValueScale::Percent), rest)
    } else if let Some(rest) = rest.strip_prefix("DEC") {
        (Some(ValueScale::Fraction), rest)
    } else {
        (None, rest)
    };
    let number = rest.trim_start_matches('_');
    if number.is_empty() {
        return match scale {
            Some(scale) => Some(Field::Value(scale)),
            None => (upper.ends_with("NM")).then_some(Field::Wavelength),
        };
    }
    match cell(number, DecimalMark::Point) {
        Cell::Number(nm) => Some(Field::At(nm, scale)),
        _ => None,
    }
}

impl Spectra {
    /// The scale that the fields state.
    pub(super) fn scale(&self) -> Option<ValueScale> {
        match self {
            Self::Rows { scale, .. } => *scale,
            Self::Pairs { scale, .. } | Self::Column { scale, .. } => Some(*scale),
        }
    }

    /// Whether each row is a spectrum of its own.
    pub(super) fn one_to_a_row(&self) -> bool {
        !matches!(self, Self::Column { .. })
    }

    /// The points of a spectrum: of this row, or of the whole table.
    pub(super) fn points(&self, table: &Table, row: usize) -> Result<Vec<RawRow>, CgatsError> {
        match self {
            Self::Rows { fields, .. } => fields
                .iter()
                .map(|(nm, index)| point(table, row, Err(*nm), *index))
                .collect(),
            Self::Pairs { fields, .. } => fields
                .iter()
                .map(|(wavelength, value)| point(table, row, Ok(*wavelength), *value))
                .collect(),
            Self::Column {
                wavelength, value, ..
            } => (0..table.rows.len())
                .map(|row| point(table, row, Ok(*wavelength), *value))
                .collect(),
        }
    }
}

/// A point, its wavelength from a field (`Ok`) or from a field's name (`Err`).
fn point(
    table: &Table,
    row: usize,
    wavelength: Result<usize, f64>,
    value: usize,
) -> Result<RawRow, CgatsError> {
    let x = match wavelength {
        Err(nm) => nm,
        Ok(index) => number(table, row, index)?.ok_or_else(|| no_number(table, row, index))?,
    };
    Ok(RawRow {
        line: table.rows[row].line,
        x,
        y: number(table, row, value)?,
    })
}

/// The number in a field of a row; `None` for a hole.
pub(super) fn number(table: &Table, row: usize, index: usize) -> Result<Option<f64>, CgatsError> {
    match cell(&table.rows[row].values[index], DecimalMark::Point) {
        Cell::Number(number) => Ok(Some(number)),
        Cell::Hole => Ok(None),
        Cell::Text => Err(no_number(table, row, index)),
    }
}

fn no_number(table: &Table, row: usize, index: usize) -> CgatsError {
    CgatsError::NoNumber {
        line: table.rows[row].line,
        field: table.fields[index].clone(),
        value: table.rows[row].values[index].chars().take(40).collect(),
    }
}
