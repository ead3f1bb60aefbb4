//! Region maps: pictures of a scan's size whose values number its patches.

use crate::AppError;
use crate::error::with_causes;
use crate::scan_reader::{scan_file, scan_reader};
use negative::decode::{ChannelChoice, Colour};
use quantity::Flag;
use std::path::Path;

/// Reads a picture whose values are labels, of the size of its scan.
///
/// What the header tells is asked before a row is decoded, so that a wrong file
/// costs nothing.
pub(crate) fn read_labels(
    path: &Path,
    shown: &str,
    (width, height): (u32, u32),
) -> Result<(u32, u32, Vec<u8>), AppError> {
    let remedy =
        "give an 8-bit grey PNG or TIFF of the scan's size, whose values are region numbers";
    let file = scan_file(path)?;
    let fail = |e: &dyn std::error::Error| {
        AppError::new(format!("region map {shown}: {}", with_causes(e)), remedy)
    };
    let mut reader = scan_reader(file, 0).map_err(|e| fail(&e))?;
    let info = reader.info();
    let refuse = |fault: String, remedy: &str| {
        Err(AppError::new(format!("region map {shown} {fault}"), remedy))
    };
    if (info.width, info.height) != (width, height) {
        return refuse(
            format!(
                "has {} × {} pixels, but its scan has {width} × {height}",
                info.width, info.height
            ),
            "draw the map over the scan itself, and save it without cropping or scaling",
        );
    }
    if info.flags.contains(Flag::Lossy) {
        return refuse(
            format!(
                "is a {} file compressed with loss, which changes region numbers",
                info.format
            ),
            "draw the map anew and save it as 8-bit grey PNG or TIFF; saving this file again in another format does not \
             bring the numbers back",
        );
    }
    if info.colour != Colour::Grey {
        return refuse(
            format!(
                "has {}, but region numbers are values of grey",
                match info.colour {
                    Colour::Mosaic => "a mosaic of colours",
                    _ => "red, green and blue",
                }
            ),
            "save the map as 8-bit grey PNG or TIFF, whose values are region numbers",
        );
    }
    if info.bits > 8 {
        return refuse(
            format!("has {} bits, but labels have 8", info.bits),
            "save the map with 8 bits to the pixel, without rescaling its values",
        );
    }
    let mut labels = Vec::with_capacity(width as usize * height as usize);
    reader
        .for_each_row(ChannelChoice::Grey, |row| {
            for i in 0..row.codes.len() {
                // At most 8 bits, checked above; a missing sample is no region.
                labels.push(row.codes.at(i).map_or(0, |c| c.min(255) as u8));
            }
        })
        .map_err(|e| fail(&e))?;
    Ok((width, height, labels))
}
