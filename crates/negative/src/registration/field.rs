//! Edge directions without sign.
//!
//! With the slopes gx and gy of the softened picture as one complex number
//! g = gx + i·gy, the field is z = g²/(|g|² + ε²): its angle is twice that of
//! the edge, so an edge and its negative have the same z; its length is near 1
//! at an edge and small in grain, where directions mean nothing.
//!
//! A field is made strip by strip, and within a strip row by row: the few rows that
//! a row of it is made of stay in the first cache.

use super::halving::Rows;
use super::lanes::MOST_LANES;
use core::ops::Range;
use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

/// ε over the median slope of the picture: above what grain and faint texture
/// make, below what edges make.
const EPSILON_TIMES_MEDIAN: f32 = 2.0;
/// Of about how many pixels the median is taken: 1 % of it.
const MEDIAN_OF: usize = 16_384;
/// Pixels to each side that a direction is made of: two of the softening, one of the slope.
const REACH: usize = 3;
/// Rows of the softening.
const SOFTENED: usize = 5;
/// Strips of a field, at most, and their least height.
const STRIPS: usize = 8;
const LEAST_STRIP: usize = 48;

/// The field of a picture, zero where there is none.
pub(super) struct Field {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) real: Vec<f32>,
    pub(super) imaginary: Vec<f32>,
    /// ε².
    epsilon: f32,
}

/// What becomes of slopes.
#[derive(Clone, Copy)]
enum Slopes {
    /// They stay; where there are none they are not a number.
    Kept,
    /// They are made directions with this ε².
    Directed(f32),
}

impl Field {
    /// Gives the field of a picture.
    pub(super) fn of(picture: &impl Rows) -> Self {
        let (width, height) = picture.size();
        let nothing = || vec![f32::NAN; width * height];
        let mut field = Self {
            width,
            height,
            real: nothing(),
            imaginary: nothing(),
            epsilon: 0.0,
        };
        field.fill(picture, Slopes::Kept);
        // A picture of large even parts has a median slope of nothing.
        field.epsilon = (EPSILON_TIMES_MEDIAN * EPSILON_TIMES_MEDIAN * field.median()).max(1e-10);
        let epsilon = field.epsilon;
        let strip = field.strip();
        field
            .real
            .par_chunks_mut(strip * width)
            .zip(field.imaginary.par_chunks_mut(strip * width))
            .for_each(|(real, imaginary)| {
                Arch::new().dispatch(
                    #[inline(always)]
                    || directions(real, imaginary, epsilon),
                );
            });
        field
    }

    /// Makes this the field of a picture that differs by a small motion, with the same ε.
    pub(super) fn renewed(mut self, picture: &impl Rows) -> Self {
        self.fill(picture, Slopes::Directed(self.epsilon));
        self
    }

    /// Rows of a strip.
    fn strip(&self) -> usize {
        self.height.div_ceil(STRIPS).max(LEAST_STRIP)
    }

    fn fill(&mut self, picture: &impl Rows, slopes: Slopes) {
        let (width, strip) = (self.width, self.strip());
        self.real
            .par_chunks_mut(strip * width)
            .zip(self.imaginary.par_chunks_mut(strip * width))
            .enumerate()
            .for_each(|(number, (real, imaginary))| {
                let top = number * strip;
                let rows = top..top + real.len() / width;
                Arch::new().dispatch(Strip {
                    picture,
                    rows,
                    slopes,
                    real,
                    imaginary,
                });
            });
    }

    /// The median of |g|², while slopes are still kept.
    fn median(&self) -> f32 {
        // Odd, so that it does not stay on few columns.
        let stride = (self.real.len() / MEDIAN_OF) | 1;
        let mut squares: Vec<f32> = self
            .real
            .iter()
            .zip(&self.imaginary)
            .step_by(stride)
            .map(|(x, y)| x * x + y * y)
            .filter(|s| !s.is_nan())
            .collect();
        if squares.is_empty() {
            return 0.0;
        }
        let middle = squares.len() / 2;
        *squares.select_nth_unstable_by(middle, f32::total_cmp).1
    }
}

/// Some rows of a field, to be filled; those at its edge, which lack neighbours, stay.
struct Strip<'a, P> {
    picture: &'a P,
    rows: Range<usize>,
    slopes: Slopes,
    real: &'a mut [f32],
    imaginary: &'a mut [f32],
}

impl<P: Rows> WithSimd for Strip<'_, P> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (width, height) = self.picture.size();
        let first = self.rows.start.max(REACH);
        let last = self.rows.end.min(height.saturating_sub(REACH));
        if first >= last || width <= 2 * REACH {
            return;
        }
        let mut line = vec![0.0; width + MOST_LANES];
        let mut across: [Vec<f32>; SOFTENED] = core::array::from_fn(|_| vec![0.0; width]);
        let mut soft: [Vec<f32>; 3] = core::array::from_fn(|_| vec![0.0; width]);
        for y in first - REACH..last + REACH {
            self.picture.row(simd, y, &mut line);
            soften_across(&line[..width], &mut across[y % SOFTENED]);
            if y + REACH < first + SOFTENED - 1 {
                continue;
            }
            let oldest = |k: usize| &across[(y + 1 + k) % SOFTENED][..];
            softened(core::array::from_fn(oldest), &mut soft[y % 3]);
            if y < first + REACH {
                continue;
            }
            let place = (y - REACH - self.rows.start) * width + REACH;
            let inner = width - 2 * REACH;
            let real = &mut self.real[place..][..inner];
            let imaginary = &mut self.imaginary[place..][..inner];
            let rows = core::array::from_fn(|k| &soft[(y + 1 + k) % 3][..]);
            slopes_of(rows, real, imaginary);
            if let Slopes::Directed(epsilon) = self.slopes {
                directions(real, imaginary, epsilon);
            }
        }
    }
}

/// Softens with the weights 1 4 6 4 1: a standard deviation of one pixel. Two pixels
/// at each side stay.
#[inline(always)]
fn soften_across(from: &[f32], to: &mut [f32]) {
    let n = from.len() - (SOFTENED - 1);
    let part = |k: usize| &from[k..][..n];
    let to = &mut to[2..][..n];
    softened([part(0), part(1), part(2), part(3), part(4)], to);
}

/// The same from five rows or five places of one.
#[inline(always)]
fn softened([a, b, c, d, e]: [&[f32]; SOFTENED], to: &mut [f32]) {
    let n = to.len();
    let (a, b, c, d, e) = (&a[..n], &b[..n], &c[..n], &d[..n], &e[..n]);
    for x in 0..n {
        to[x] = ((a[x] + e[x]) + 4.0 * (b[x] + d[x]) + 6.0 * c[x]) * (1.0 / 16.0);
    }
}

/// The slopes across and down, of rows above, here and below.
#[inline(always)]
fn slopes_of([above, here, below]: [&[f32]; 3], gx: &mut [f32], gy: &mut [f32]) {
    let n = gx.len();
    let (left, right) = (&here[REACH - 1..][..n], &here[REACH + 1..][..n]);
    let (above, below) = (&above[REACH..][..n], &below[REACH..][..n]);
    let gy = &mut gy[..n];
    for x in 0..n {
        gx[x] = 0.5 * (right[x] - left[x]);
        gy[x] = 0.5 * (below[x] - above[x]);
    }
}

/// Makes directions of slopes, zero where there are none.
#[inline(always)]
fn directions(real: &mut [f32], imaginary: &mut [f32], epsilon: f32) {
    let n = real.len();
    let imaginary = &mut imaginary[..n];
    for k in 0..n {
        let (x, y) = (real[k], imaginary[k]);
        let scale = 1.0 / (x * x + y * y + epsilon);
        let known = !scale.is_nan();
        real[k] = if known { (x * x - y * y) * scale } else { 0.0 };
        imaginary[k] = if known { 2.0 * x * y * scale } else { 0.0 };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::registration::GreyPicture;

    #[test]
    fn a_picture_and_its_negative_have_one_field() {
        let values: Vec<f32> = (0..64 * 48)
            .map(|i| {
                let (x, y) = ((i % 64) as f32, (i / 64) as f32);
                (x * 0.3).sin() + (y * 0.2 + x * 0.1).cos()
            })
            .collect();
        let field = |sign: f32| {
            let values = values.iter().map(|v| sign * v).collect();
            Field::of(&GreyPicture::new(64, 48, values).unwrap())
        };
        let (positive, negative) = (field(1.0), field(-1.0));
        assert!(positive.real.iter().any(|z| z.abs() > 0.1));
        assert_eq!(positive.real, negative.real);
        assert_eq!(positive.imaginary, negative.imaginary);
    }
}
