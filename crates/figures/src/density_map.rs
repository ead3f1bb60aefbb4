//! Density at every pixel, with the grey scale beneath it.
//!
//! The picture is made by the caller with [`DensityScale::grey`] for densities and
//! [`Mark::pixel`] where there is none, so that picture and legend can't part.

use crate::density_scale::{DensityScale, SURROUND, draw_scale};
use crate::shown;
use crate::svg::{Ink, Sheet, Style, Svg};
use crate::text_width::{Weight, wrap};
use base64::Engine as _;

/// Tallest picture. \[pixels\]
const TALLEST: f64 = 720.0;

/// What stands at a pixel that has no number: a pattern, so that it is not taken
/// for a density.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Too thin to be read: white with dots.
    Thin,
    /// Too dense to be read: black with dots.
    Dense,
    /// At an end of the scanner's scale: stripes.
    Clipped,
    /// Left out: the grey of the surround.
    LeftOut,
}

impl Mark {
    /// Gives the grey of a pixel of the pattern, by its column and row.
    #[must_use]
    pub fn pixel(self, x: u32, y: u32) -> u8 {
        let dot = (x % 4 < 2 && y % 8 < 2) || ((x + 2) % 4 < 2 && (y + 4) % 8 < 2);
        match self {
            Self::Thin if dot => 0x90,
            Self::Thin => 0xff,
            Self::Dense if dot => 0x90,
            Self::Dense => 0x00,
            Self::Clipped if (x + y) % 8 < 4 => 0xe0,
            Self::Clipped => 0x20,
            Self::LeftOut => SURROUND,
        }
    }
}

/// A picture of a map and its words.
#[derive(Clone, Debug, PartialEq)]
pub struct MapFigure {
    /// What is seen.
    pub title: String,
    /// What was plotted, from how much.
    pub subtitle: String,
    /// The picture as a PNG file.
    pub png: Vec<u8>,
    /// Its width and height. \[pixels\]
    pub size: (u32, u32),
    /// Marks that occur, what each means here, and its share of the pixels, 0 to 1.
    pub marks: Vec<(Mark, &'static str, f64)>,
}

/// Begins a figure with its heading and picture, and gives the y below.
pub(crate) fn begin(figure: &MapFigure, sheet: Sheet) -> (Svg, f64) {
    let mut svg = Svg::new(sheet, &figure.title, &figure.subtitle);
    let top = svg.heading();
    let (columns, rows) = (f64::from(figure.size.0), f64::from(figure.size.1));
    let unit = (sheet.width_px / columns).min(TALLEST / rows);
    let (width, height) = (unit * columns, unit * rows);
    svg.grey_rectangle(0.0, top, sheet.width_px, height, SURROUND);
    let data = base64::engine::general_purpose::STANDARD.encode(&figure.png);
    svg.picture(
        (0.5 * (sheet.width_px - width), top),
        (width, height),
        &format!("data:image/png;base64,{data}"),
    );
    (svg, top + height + 10.0)
}

/// Draws what the marks mean, in the width of the sheet, and gives the y below.
pub(crate) fn draw_marks(svg: &mut Svg, figure: &MapFigure, (from_y, width_px): (f64, f64)) -> f64 {
    const SIDE: (u32, u32) = (24, 14);
    /// Where the words begin.
    const BESIDE: f64 = 34.0;
    let mut y = from_y;
    for (mark, meaning, share) in &figure.marks {
        svg.grey_rectangle(
            0.0,
            y,
            f64::from(SIDE.0) + 2.0,
            f64::from(SIDE.1) + 2.0,
            0x77,
        );
        // Runs of one grey along each row of the pattern.
        for row in 0..SIDE.1 {
            let mut column = 0;
            while column < SIDE.0 {
                let grey = mark.pixel(column, row);
                let run = (column..SIDE.0)
                    .take_while(|x| mark.pixel(*x, row) == grey)
                    .count() as u32;
                let (x, y) = (1.0 + f64::from(column), y + 1.0 + f64::from(row));
                svg.grey_rectangle(x, y, f64::from(run), 1.0, grey);
                column += run;
            }
        }
        let percent = if *share >= 0.0005 {
            format!("{} %", shown::fixed(100.0 * share, 1))
        } else {
            "less than 0.1 %".to_owned()
        };
        let words = format!("{meaning}: {percent} of the picture");
        let lines = wrap(&words, 12.0, Weight::Regular, width_px - BESIDE);
        for (place, line) in lines.iter().enumerate() {
            let y = y + 12.0 + 15.0 * place as f64;
            svg.text(BESIDE, y, line, Style::SMALL.ink(Ink::Muted));
        }
        y += 5.0 + 15.0 * lines.len() as f64;
    }
    y
}

/// Draws a map of densities with its scale.
#[must_use]
pub fn density_map(figure: &MapFigure, scale: &DensityScale, sheet: Sheet) -> String {
    let (mut svg, y) = begin(figure, sheet);
    let y = draw_scale(&mut svg, scale, y) + 10.0;
    let y = draw_marks(&mut svg, figure, (y, sheet.width_px));
    svg.finish(y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_differ_from_every_even_grey() {
        for mark in [Mark::Thin, Mark::Dense, Mark::Clipped] {
            let greys: std::collections::BTreeSet<u8> = (0..64)
                .map(|place| mark.pixel(place % 8, place / 8))
                .collect();
            assert!(greys.len() > 1, "{mark:?}");
        }
    }
}
