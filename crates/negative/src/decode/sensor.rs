//! What a camera's raw frame says of its sensor: mosaic, levels, crop.

use core::fmt;

/// Longest side of a mosaic's cell, in pixels.
const LONGEST_SIDE: usize = 8;

/// The colour of one filter of a mosaic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MosaicColour {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
}

/// The cell of colour filters that is repeated over a sensor.
///
/// Its first place lies at the top left corner of the picture as it comes out,
/// not of the stored frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mosaic {
    columns: usize,
    colours: Vec<MosaicColour>,
}

impl Mosaic {
    /// Takes a cell, row by row; `None` for sides other than 2 to 8 pixels, and
    /// for a cell that lacks red, green or blue.
    #[must_use]
    pub fn new(columns: usize, colours: Vec<MosaicColour>) -> Option<Self> {
        let sides = 2..=LONGEST_SIDE;
        let whole = sides.contains(&columns)
            && colours.len().is_multiple_of(columns)
            && sides.contains(&(colours.len() / columns));
        let all = [MosaicColour::Red, MosaicColour::Green, MosaicColour::Blue];
        (whole && all.iter().all(|c| colours.contains(c))).then_some(Self { columns, colours })
    }

    /// Gives the cell's width. \[pixels\]
    #[must_use]
    pub fn columns(&self) -> u32 {
        self.columns as u32
    }

    /// Gives the cell's height. \[pixels\]
    #[must_use]
    pub fn rows(&self) -> u32 {
        (self.colours.len() / self.columns) as u32
    }

    /// Gives the places of a colour in the cell, counted row by row.
    #[must_use]
    pub fn places(&self, colour: MosaicColour) -> Vec<usize> {
        (0..self.colours.len())
            .filter(|place| self.colours[*place] == colour)
            .collect()
    }
}

impl fmt::Display for Mosaic {
    /// The colours' first letters, row by row: `RG/GB`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, colour) in self.colours.iter().enumerate() {
            if place > 0 && place.is_multiple_of(self.columns) {
                f.write_str("/")?;
            }
            f.write_str(match colour {
                MosaicColour::Red => "R",
                MosaicColour::Green => "G",
                MosaicColour::Blue => "B",
            })?;
        }
        Ok(())
    }
}

/// The scale of a camera sensor's numbers, and the part of the frame that is
/// the picture.
///
/// Between black and white the numbers are proportional to light; at white the
/// sensor, or its converter, is full.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorScale {
    /// Mean code without light: one for each place of the mosaic's cell, or one
    /// for each colour sample.
    pub black: Vec<f64>,
    /// Code from which a pixel is full. Codes above it come out as this.
    pub white: u16,
    /// Column and row of the stored frame where the picture begins.
    pub origin: (u32, u32),
    /// Width and height of the stored frame, with its masked border.
    pub stored: (u32, u32),
    /// Codes that stand for stored ones, where the file has such a table.
    pub table: Option<Vec<u16>>,
}
