//! One picture of even light, smoothed to a coarse field.
//!
//! The picture is cut into boxes. A box's value is the mean of its light without
//! what lies far from its median (specks of dust, hot pixels). A box that still
//! differs from what its neighbours on both sides lead to (a larger speck) takes
//! their value instead. Values between the middles of boxes lie on straight lines.

use super::error::FlatFieldError;
use crate::decode::{ChannelChoice, Mosaic, Polarity, ScanReader};
use crate::tone::Tone;
use std::io::{Read, Seek};

/// Boxes along the longer side. Light that falls off to a quarter in the corners
/// (two stops) bends by less than 0.0005 in density within such a box.
const BOXES_LONG: u32 = 48;
/// Fewest values along a side of the picture, and of a box.
const LEAST_SIDE: u32 = 32;
const LEAST_BOX: u32 = 6;
/// Distance from a box's median, in robust standard deviations, beyond which a
/// pixel is a speck.
const SPECK_BEYOND: f64 = 3.5;
/// Distance of a box from its neighbours, in robust standard deviations of such
/// distances, beyond which it is a speck, and the least in parts of its light.
const ROUGH_BEYOND: f64 = 6.0;
const ROUGH_LEAST: f64 = 0.004;
/// Passes in which specks of several boxes are worn away from their edges.
const PASSES: usize = 4;

/// One picture of even light (or of none), as a coarse field of light.
#[derive(Clone, Debug)]
pub struct LightField {
    /// Pixels of the picture in a row.
    pub width: u32,
    /// Rows of pixels.
    pub height: u32,
    pub(crate) channel: ChannelChoice,
    pub(crate) mosaic: Option<Mosaic>,
    /// Boxes in a row, and rows of boxes.
    pub(crate) columns: usize,
    pub(crate) rows: usize,
    /// Light of each box, row by row.
    pub(crate) light: Vec<f64>,
    /// Standard uncertainty of a box's light.
    pub(crate) uncertainty: f64,
    /// Largest share of full pixels in a box.
    pub(crate) full_share: f64,
    /// Boxes that took their neighbours' value.
    pub(crate) rough_boxes: usize,
    /// Robust standard deviation of a box from what its neighbours lead to.
    pub(crate) roughness: f64,
}

/// Reads a picture and smooths it.
///
/// The answer is the light of `channel` by `tone`, 0 to 1.
///
/// # Errors
/// [`FlatFieldError`] when the tone is unknown, or the picture is too small or
/// can't be read.
pub fn light_field<R: Read + Seek>(
    reader: &mut ScanReader<R>,
    channel: ChannelChoice,
    tone: &Tone,
    what: &'static str,
) -> Result<LightField, FlatFieldError> {
    if !tone.encoding.is_known() {
        return Err(FlatFieldError::UnknownTone { what });
    }
    let info = reader.info();
    let (width, height) = (info.width, info.height);
    let (across, down) = info.steps(channel);
    let values = (width / across, height / down);
    if values.0.min(values.1) < LEAST_SIDE {
        return Err(FlatFieldError::TooSmall {
            width: values.0,
            height: values.1,
            least: LEAST_SIDE,
        });
    }
    let side = (values.0.max(values.1) / BOXES_LONG).max(LEAST_BOX);
    let (columns, rows) = (
        (values.0 / side).max(1) as usize,
        (values.1 / side).max(1) as usize,
    );
    let mosaic = info.mosaic.clone();
    let mut band: Vec<Vec<u16>> = vec![Vec::new(); columns];
    let mut boxes = Vec::with_capacity(columns * rows);
    let light_of = tone.table();
    let full = match tone.polarity {
        Polarity::BlackIsZero => tone.code_max,
        Polarity::WhiteIsZero => 0,
    };
    let mut current = 0;
    reader.for_each_row(channel, |row| {
        let place = (row.y as usize * rows / height as usize).min(rows - 1);
        if place != current {
            boxes.extend(band.iter_mut().map(|codes| box_of(codes, &light_of, full)));
            current = place;
        }
        for i in 0..row.codes.len() {
            let x = (row.x_first + i as u32 * row.x_step) as usize;
            if let (Some(code), Some(codes)) =
                (row.codes.at(i), band.get_mut(x * columns / width as usize))
            {
                codes.push(code);
            }
        }
    })?;
    boxes.extend(band.iter_mut().map(|codes| box_of(codes, &light_of, full)));
    let mut light: Vec<f64> = boxes.iter().map(|b| b.light).collect();
    let (rough_boxes, left) = smooth(&mut light, columns, rows);
    // What pixels lead to, and what boxes show beside each other: the larger.
    let pixels = median(boxes.iter().map(|b| b.uncertainty).collect());
    Ok(LightField {
        width,
        height,
        channel,
        mosaic,
        columns,
        rows,
        light,
        uncertainty: pixels.max(left),
        full_share: boxes.iter().map(|b| b.full_share).fold(0.0, f64::max),
        rough_boxes,
        roughness: left,
    })
}

impl LightField {
    /// Gives the light at each of these columns of a row, on straight lines
    /// between the middles of boxes and on beyond the outer ones.
    pub(crate) fn row(&self, y: f64, columns: impl Iterator<Item = f64>, out: &mut Vec<f64>) {
        out.clear();
        let (above, below, part) = between(y / f64::from(self.height), self.rows);
        let of = |row: usize, column: usize| self.light[row * self.columns + column];
        out.extend(columns.map(|x| {
            let (left, right, across) = between(x / f64::from(self.width), self.columns);
            let upper = of(above, left) * (1.0 - across) + of(above, right) * across;
            let lower = of(below, left) * (1.0 - across) + of(below, right) * across;
            upper * (1.0 - part) + lower * part
        }));
    }
}

/// The two boxes that a place (0 to 1) lies between, and how far along.
fn between(place: f64, boxes: usize) -> (usize, usize, f64) {
    if boxes < 2 {
        return (0, 0, 0.0);
    }
    let at = place * boxes as f64 - 0.5;
    let first = (at.max(0.0) as usize).min(boxes - 2);
    (first, first + 1, at - first as f64)
}

struct BoxOfLight {
    light: f64,
    uncertainty: f64,
    full_share: f64,
}

/// The mean light of a box without specks; empties the codes.
fn box_of(codes: &mut Vec<u16>, light_of: &[f64], full: u16) -> BoxOfLight {
    if codes.is_empty() {
        // A box without a single number is as dark as can be.
        return BoxOfLight {
            light: 0.0,
            uncertainty: 0.0,
            full_share: 0.0,
        };
    }
    let middle = codes.len() / 2;
    let median_code = f64::from(*codes.select_nth_unstable(middle).1);
    let distance = |code: &u16| (f64::from(*code) - median_code).abs();
    let spread = 1.4826 * median(codes.iter().map(distance).collect());
    // Codes are whole: half a code is always within.
    let within = (SPECK_BEYOND * spread).max(1.0);
    let (mut sum, mut squares, mut count, mut at_end) = (0.0, 0.0, 0.0_f64, 0.0);
    for code in codes.iter() {
        if *code == full {
            at_end += 1.0;
        }
        if distance(code) <= within {
            let light = light_of[usize::from(*code)];
            sum += light;
            squares += light * light;
            count += 1.0;
        }
    }
    let full_share = at_end / codes.len() as f64;
    codes.clear();
    let mean = sum / count;
    BoxOfLight {
        light: mean,
        uncertainty: ((squares / count - mean * mean).max(0.0) / count).sqrt(),
        full_share,
    }
}

/// Puts boxes that differ from their neighbours right; gives how many, and the
/// robust standard deviation of a box from what its neighbours lead to.
fn smooth(light: &mut [f64], columns: usize, rows: usize) -> (usize, f64) {
    if columns < 5 || rows < 5 {
        return (0, 0.0);
    }
    let mut rough = vec![false; light.len()];
    let mut left = 0.0;
    for _ in 0..PASSES {
        let expected: Vec<f64> = (0..light.len())
            .map(|place| expected_at(light, columns, rows, place))
            .collect();
        let off = |place: usize| (light[place] - expected[place]).abs();
        let spread = 1.4826 * median((0..light.len()).map(off).collect());
        // A box against the median of some eight others: √(1 + 1.57/8) of its own.
        left = spread / 1.09;
        let found: Vec<usize> = (0..light.len())
            .filter(|place| {
                off(*place) > (ROUGH_BEYOND * spread).max(ROUGH_LEAST * expected[*place].abs())
            })
            .collect();
        if found.is_empty() {
            break;
        }
        for place in found {
            rough[place] = true;
            light[place] = expected[place];
        }
    }
    (rough.iter().filter(|r| **r).count(), left)
}

/// What the neighbours of a box lead to: the median of the middles of opposite
/// ones, one and two boxes away; at the edge, of straight lines from inside.
fn expected_at(light: &[f64], columns: usize, rows: usize, place: usize) -> f64 {
    let (row, column) = ((place / columns) as isize, (place % columns) as isize);
    let at = |down: isize, across: isize| {
        let (r, c) = (row + down, column + across);
        let inside = (0..rows as isize).contains(&r) && (0..columns as isize).contains(&c);
        inside.then(|| light[r as usize * columns + c as usize])
    };
    let directions = [(0, 1), (1, 0), (1, 1), (1, -1)];
    let mut led = Vec::with_capacity(16);
    for (down, across) in directions {
        for far in 1..=2 {
            let (d, a) = (down * far, across * far);
            if let (Some(one), Some(other)) = (at(d, a), at(-d, -a)) {
                led.push((one + other) / 2.0);
            }
        }
    }
    if led.len() < 4 {
        for (down, across) in directions {
            for sign in [1, -1] {
                for far in 1..=2 {
                    let (d, a) = (down * sign * far, across * sign * far);
                    if let (Some(near), Some(beyond)) = (at(d, a), at(2 * d, 2 * a)) {
                        led.push(2.0 * near - beyond);
                    }
                }
            }
        }
    }
    median(led)
}

/// The median; 0 of nothing.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    values.sort_unstable_by(f64::total_cmp);
    if values.len().is_multiple_of(2) {
        (values[middle - 1] + values[middle]) / 2.0
    } else {
        values[middle]
    }
}
