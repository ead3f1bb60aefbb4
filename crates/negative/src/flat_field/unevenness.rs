//! How uneven lens and light table are together.
//!
//! A lens darkens evenly with the distance from the middle; a table is brighter
//! on one side, or in spots. One picture can't tell the two apart for certain:
//! what follows the distance from the middle is told as such, and a round spot
//! of the table is in it.
//!
//! Symbols: ln f = c₀ + c₁x + c₂y + a·r² + b·r⁴; x, y from −1 to 1 along the
//! longer side, r² = x² + y², by least squares.

use super::light_field::LightField;
use nalgebra::{DMatrix, DVector};

/// What a picture of the bare light table shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unevenness {
    /// Brightest less darkest, against the brightest. \[percent\]
    pub range_percent: f64,
    /// Light of each corner against the middle: upper left, upper right, lower
    /// left, lower right. \[stops\]
    pub corner_stops: [f64; 4],
    /// Part that follows the distance from the middle, from there to the
    /// corners: lens shading, and a table that is brighter in its middle. \[stops\]
    pub radial_stops: f64,
    /// Light from the left edge to the right that a straight line tells. \[percent\]
    pub across_percent: f64,
    /// The same from the upper edge to the lower. \[percent\]
    pub down_percent: f64,
    /// Standard deviation of what is left: spots, bands. \[percent\]
    pub rest_percent: f64,
    /// Standard uncertainty of the light at a place, against the brightest. \[percent\]
    pub noise_percent: f64,
    /// Share of the picture that took its neighbours' value: dust. \[percent\]
    pub dust_percent: f64,
}

impl Unevenness {
    /// Gives the mean of the four corners against the middle. \[stops\]
    #[must_use]
    pub fn mean_corner_stops(&self) -> f64 {
        self.corner_stops.iter().sum::<f64>() / 4.0
    }
}

pub(crate) fn unevenness(field: &LightField, uncertainty: f64) -> Unevenness {
    let (columns, rows) = (field.columns, field.rows);
    let brightest = field.light.iter().copied().fold(0.0, f64::max);
    let darkest = field.light.iter().copied().fold(f64::INFINITY, f64::min);
    let (width, height) = (f64::from(field.width), f64::from(field.height));
    let half = width.max(height) / 2.0;
    let place = |index: usize| {
        let x = ((index % columns) as f64 + 0.5) / columns as f64 * width - width / 2.0;
        let y = ((index / columns) as f64 + 0.5) / rows as f64 * height - height / 2.0;
        (x / half, y / half)
    };
    let terms = |(x, y): (f64, f64)| {
        let r2 = x * x + y * y;
        [1.0, x, y, r2, r2 * r2]
    };
    let all: Vec<[f64; 5]> = (0..field.light.len()).map(|i| terms(place(i))).collect();
    let matrix = DMatrix::from_fn(all.len(), 5, |row, column| all[row][column]);
    let logs = DVector::from_iterator(all.len(), field.light.iter().map(|l| l.ln()));
    // Five terms over at least 25 places: never without a solution.
    let solved = (matrix.transpose() * &matrix)
        .cholesky()
        .map(|c| c.solve(&(matrix.transpose() * &logs)));
    let fit: Vec<f64> = solved.map_or(vec![0.0; 5], |s| s.iter().copied().collect());
    let rest = all.iter().zip(logs.iter()).map(|(terms, log)| {
        let told: f64 = terms.iter().zip(&fit).map(|(t, c)| t * c).sum();
        (log - told) * (log - told)
    });
    let rest = (rest.sum::<f64>() / all.len() as f64).sqrt();
    let (x, y) = (width / 2.0 / half, height / 2.0 / half);
    let r2 = x * x + y * y;
    let middle = value(field, 0.5, 0.5);
    let corner = |x, y| (value(field, x, y) / middle).log2();
    Unevenness {
        range_percent: (1.0 - darkest / brightest) * 100.0,
        corner_stops: [
            corner(0.0, 0.0),
            corner(1.0, 0.0),
            corner(0.0, 1.0),
            corner(1.0, 1.0),
        ],
        radial_stops: (fit[3] * r2 + fit[4] * r2 * r2) / core::f64::consts::LN_2,
        across_percent: ((2.0 * fit[1] * x).exp() - 1.0) * 100.0,
        down_percent: ((2.0 * fit[2] * y).exp() - 1.0) * 100.0,
        rest_percent: rest * 100.0,
        noise_percent: uncertainty / brightest * 100.0,
        dust_percent: field.rough_boxes as f64 / field.light.len() as f64 * 100.0,
    }
}

/// The field's light at a place from 0 to 1; outside the middles of the outer
/// boxes it goes on straight, but never below the darkest box's half.
fn value(field: &LightField, x: f64, y: f64) -> f64 {
    let mut out = Vec::new();
    let x = core::iter::once(x * f64::from(field.width));
    field.row(y * f64::from(field.height), x, &mut out);
    let least = field.light.iter().copied().fold(f64::INFINITY, f64::min) / 2.0;
    out.first().copied().unwrap_or(least).max(least)
}
