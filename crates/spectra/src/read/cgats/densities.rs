//! Densities in a CGATS file: D_VIS, D_RED and their kin, by sample.

use super::error::CgatsError;
use super::spectra::number;
use super::tables::{Table, tables};
use crate::read::error::ReadError;
use crate::read::text::{lines, text_from_bytes};

/// The densities of one table.
#[derive(Clone, Debug, PartialEq)]
pub struct DensityTable {
    /// FILE_DESCRIPTOR, where there is one.
    pub title: Option<String>,
    /// The names of the density fields, such as `D_VIS`, in the order of the file.
    pub fields: Vec<String>,
    /// The rows, in the order of the file.
    pub rows: Vec<DensityRow>,
}

/// The densities of one sample.
#[derive(Clone, Debug, PartialEq)]
pub struct DensityRow {
    /// Line in the file, counted from 1.
    pub line: usize,
    /// Sample name, sample id, or the number of the row.
    pub sample: String,
    /// LOG_H, where the file has it: log10 exposure in lux seconds.
    pub log_h: Option<f64>,
    /// One for each density field; `None` for a hole. Below zero is lawful:
    /// less than the zero the instrument was set to.
    pub densities: Vec<Option<f64>>,
}

/// The tables of densities in a file.
///
/// # Errors
/// [`CgatsError::NoDensities`] when no table has a density field, others for
/// damage; [`ReadError`] for bytes that are no text.
pub fn density_tables(bytes: &[u8]) -> Result<Vec<DensityTable>, ReadError> {
    let text = text_from_bytes(bytes)?;
    let all = tables(&lines(&text))?;
    let mut found = vec![];
    for table in &all {
        let fields: Vec<usize> = (0..table.fields.len())
            .filter(|index| is_density(&table.fields[*index]))
            .collect();
        if !fields.is_empty() {
            found.push(densities(table, &fields)?);
        }
    }
    if found.is_empty() {
        let fields: Vec<&str> = all
            .iter()
            .flat_map(|table| table.fields.iter().map(String::as_str))
            .take(40)
            .collect();
        return Err(CgatsError::NoDensities {
            fields: fields.join(" "),
        }
        .into());
    }
    Ok(found)
}

fn is_density(field: &str) -> bool {
    [
        "D_VIS",
        "D_RED",
        "D_GREEN",
        "D_BLUE",
        "D_CYAN",
        "D_MAGENTA",
        "D_YELLOW",
        "D_BLACK",
        "D_UV",
        "D_IR",
    ]
    .iter()
    .any(|known| field.eq_ignore_ascii_case(known))
}

fn densities(table: &Table, fields: &[usize]) -> Result<DensityTable, CgatsError> {
    let log_h = table.field("LOG_H");
    let rows = (0..table.rows.len())
        .map(|row| {
            let value = |index: usize| number(table, row, index);
            Ok(DensityRow {
                line: table.rows[row].line,
                sample: table.sample(row),
                log_h: log_h.map(value).transpose()?.flatten(),
                densities: fields
                    .iter()
                    .map(|index| value(*index))
                    .collect::<Result<_, _>>()?,
            })
        })
        .collect::<Result<_, CgatsError>>()?;
    Ok(DensityTable {
        title: table.title.clone(),
        fields: fields
            .iter()
            .map(|index| table.fields[*index].clone())
            .collect(),
        rows,
    })
}
