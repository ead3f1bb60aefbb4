//! What a TIFF's own tags say of how codes follow light.
//!
//! Source: TIFF 6.0, section 20 (TransferFunction, TransferRange).

use super::error::DecodeError;
use super::tiff_directory::{Directory, tag};
use std::io::{Read, Seek};

/// Reads the tables of light by code: none, one for all colours, or three.
///
/// A table that this room can't follow is not used, and a remark says so.
pub(crate) fn transfer_function<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    bits: u8,
    remarks: &mut Vec<String>,
) -> Result<Vec<Vec<u16>>, DecodeError> {
    if directory.has(tag::GRAY_RESPONSE_CURVE) {
        remarks.push(
            "the file holds a grey response curve (tag 291), which says nothing sure of light and was not used"
                .to_owned(),
        );
    }
    if !directory.has(tag::TRANSFER_FUNCTION) {
        return Ok(Vec::new());
    }
    let entries = 1_u64 << bits;
    let values = directory.numbers(source, tag::TRANSFER_FUNCTION, 3 * entries)?;
    let tables = values.len() as u64 / entries;
    if !(values.len() as u64).is_multiple_of(entries) || !matches!(tables, 1 | 3) {
        remarks.push(format!(
            "the file's transfer function was not used: it has {} values, {entries} or three times as many were expected",
            values.len()
        ));
        return Ok(Vec::new());
    }
    if directory.has(tag::TRANSFER_RANGE) {
        remarks.push(
            "the file's transfer function was not used: it comes with a range of its own (tag 342)"
                .to_owned(),
        );
        return Ok(Vec::new());
    }
    Ok(values
        .chunks_exact(entries as usize)
        .map(|table| {
            table
                .iter()
                .map(|v| u16::try_from(*v).unwrap_or(u16::MAX))
                .collect()
        })
        .collect())
}
