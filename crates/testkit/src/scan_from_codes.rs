//! A scan from a table of code values: one even square for each.
//!
//! For tests that begin with a table of readings and need a file of pixels.

use crate::tiff_file::{TiffForm, tiff_grey8, tiff_grey16};
use record::Outline;

/// Depth of the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// 8 bits: codes 0 to 255.
    Eight,
    /// 16 bits: codes 0 to 65535.
    Sixteen,
}

/// A scan of squares.
#[derive(Clone, Debug, PartialEq)]
pub struct CodeScan {
    /// Width of the picture, pixels.
    pub width: u32,
    /// Height of the picture, pixels.
    pub height: u32,
    /// The TIFF file.
    pub bytes: Vec<u8>,
    /// Where each code lies, in the order given: a square 32 pixels wide inside
    /// an even square of 40.
    pub outlines: Vec<Outline>,
}

const SIDE: u32 = 40;
const GAP: u32 = 8;
const MARGIN: u32 = 4;
const COLUMNS: u32 = 10;

/// Lays codes out as squares, ten in a row, on a ground of code 0.
///
/// # Panics
/// When there are no codes, or a code does not fit the depth.
#[must_use]
pub fn scan_from_codes(codes: &[u16], depth: Depth, form: TiffForm) -> CodeScan {
    assert!(!codes.is_empty(), "a scan needs at least one code");
    let count = codes.len() as u32;
    let width = GAP + count.min(COLUMNS) * (SIDE + GAP);
    let height = GAP + count.div_ceil(COLUMNS) * (SIDE + GAP);
    let corner = |index: u32| {
        let place = |cell: u32| GAP + cell * (SIDE + GAP);
        (place(index % COLUMNS), place(index / COLUMNS))
    };
    let mut samples = vec![0_u16; (width * height) as usize];
    let mut outlines = Vec::with_capacity(codes.len());
    for (index, code) in (0..).zip(codes) {
        let (left, top) = corner(index);
        for y in top..top + SIDE {
            let from = (y * width + left) as usize;
            samples[from..from + SIDE as usize].fill(*code);
        }
        outlines.push(Outline::Rectangle {
            x: left + MARGIN,
            y: top + MARGIN,
            width: SIDE - 2 * MARGIN,
            height: SIDE - 2 * MARGIN,
        });
    }
    let bytes = match depth {
        Depth::Sixteen => tiff_grey16(width, height, &samples, form),
        Depth::Eight => {
            let narrow: Vec<u8> = samples
                .iter()
                .map(|code| {
                    u8::try_from(*code)
                        .unwrap_or_else(|_| panic!("code {code} does not fit 8 bits"))
                })
                .collect();
            tiff_grey8(width, height, &narrow, form)
        }
    };
    CodeScan {
        width,
        height,
        bytes,
        outlines,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;
    use tiff::decoder::{Decoder, DecodingResult};

    #[test]
    fn each_outline_holds_its_code_and_nothing_else() {
        let codes: Vec<u16> = (1..=13).map(|i| i * 17).collect();
        for depth in [Depth::Eight, Depth::Sixteen] {
            let scan = scan_from_codes(&codes, depth, TiffForm::default());
            let mut decoder = Decoder::new(Cursor::new(scan.bytes)).unwrap();
            let read: Vec<u16> = match decoder.read_image().unwrap() {
                DecodingResult::U8(read) => read.into_iter().map(u16::from).collect(),
                DecodingResult::U16(read) => read,
                other => panic!("{other:?}"),
            };
            for (outline, code) in scan.outlines.iter().zip(&codes) {
                let Outline::Rectangle {
                    x,
                    y,
                    width,
                    height,
                } = *outline
                else {
                    panic!("{outline:?}")
                };
                for row in y..y + height {
                    for column in x..x + width {
                        assert_eq!(read[(row * scan.width + column) as usize], *code);
                    }
                }
            }
        }
    }
}
