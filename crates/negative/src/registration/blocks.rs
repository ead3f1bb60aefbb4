//! How far each block of the picture is off, by the fields of both.
//!
//! Around a small shift d the correlation Σ z₁*(x)·z₂(x + d) has the slope
//! b = ½ Σ Re(z₁*·∇z₂ − z₂*·∇z₁) and the curvature A = Σ Re(∇z₁*·∇z₂ᵀ), so its
//! peak lies at A⁻¹b. Both are products of one field with the other: noise of
//! one alone does not shift the peak, and equal fields give exactly 0.

use super::field::Field;
use super::lanes::{Lanes, MOST_LANES};
use super::symmetric::Symmetric;
use core::ops::Range;
use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

/// Pixels around the border of a field that hold no slope of it.
const BORDER: usize = 4;
/// Pixels over which the noise of a field hangs together: 4πσ² with the
/// softening's σ of one pixel, made smaller by the square in z.
const NOISE_AREA: f64 = 8.0;

/// What one block says.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Block {
    /// Column and row of the block in the raster.
    pub(super) column: usize,
    pub(super) row: usize,
    /// Its middle. \[pixels\]
    pub(super) middle: (f64, f64),
    /// Slope of the correlation.
    pub(super) slope: (f64, f64),
    /// Curvature of the correlation.
    pub(super) curvature: Symmetric,
    /// Curvature of both fields with themselves, their mean.
    pub(super) own: Symmetric,
    /// The curvature the block is weighed by.
    pub(super) expected: Symmetric,
    /// Covariance of the slope by noise.
    pub(super) noise: Symmetric,
    /// Correlation of the fields, −1 to 1.
    pub(super) agreement: f64,
    /// Energies of the first and second field, and their product.
    pub(super) first: f64,
    pub(super) second: f64,
    pub(super) both: f64,
    /// The same products with the second field taken elsewhere: chance.
    pub(super) elsewhere: [f64; 4],
}

/// Width and height of the blocks for a picture.
pub(super) fn block_side(width: usize, height: usize) -> usize {
    (width.max(height) / 16).clamp(16, 64)
}

/// Gives what every block says about fields that lie nearly on each other.
pub(super) fn blocks_of(first: &Field, second: &Field) -> Vec<Block> {
    let (width, height) = (first.width, first.height);
    let side = block_side(width, height);
    let raster = |length: usize| (length - 2 * BORDER) / side;
    let (columns, rows) = (raster(width).max(1), raster(height).max(1));
    (0..columns * rows)
        .into_par_iter()
        .map(|number| {
            let (column, row) = (number % columns, number / columns);
            // Blocks fill the picture: their sides differ by a pixel.
            let cut = |k: usize, n: usize, length: usize| BORDER + k * (length - 2 * BORDER) / n;
            let left = cut(column, columns, width);
            let right = cut(column + 1, columns, width);
            let top = cut(row, rows, height);
            let bottom = cut(row + 1, rows, height);
            let mut block = block_within(first, second, left..right, top..bottom);
            (block.column, block.row) = (column, row);
            block.middle = (0.5 * (left + right) as f64, 0.5 * (top + bottom) as f64);
            block
        })
        .collect()
}

/// Sums over the pixels of a block: in single precision up to some 64 × 64 products of
/// numbers below 1, of every sixteenth column each.
#[derive(Clone, Copy, Default)]
struct Sums<T> {
    slope_x: T,
    slope_y: T,
    xx: T,
    xy: T,
    yy: T,
    own_xx: T,
    own_xy: T,
    own_yy: T,
    first: T,
    second: T,
    both: T,
}

/// A field and its slopes at some pixels of a row.
struct Around<S: Simd> {
    here: Lanes<S>,
    across: Lanes<S>,
    down: Lanes<S>,
}

impl<S: Simd> Around<S> {
    /// From this place in the field on.
    #[inline(always)]
    fn of(simd: S, values: &[f32], width: usize, place: usize) -> Self {
        let half = Lanes::all(simd, 0.5);
        let above = &values[place - width..][..S::F32_LANES];
        let here = &values[place - 1..][..S::F32_LANES + 2];
        let below = &values[place + width..][..S::F32_LANES];
        Self {
            here: Lanes::of(simd, &here[1..]),
            across: (Lanes::of(simd, &here[2..]) - Lanes::of(simd, here)) * half,
            down: (Lanes::of(simd, below) - Lanes::of(simd, above)) * half,
        }
    }

    #[inline(always)]
    fn times(&self, factors: Lanes<S>) -> Self {
        Self {
            here: self.here * factors,
            across: self.across * factors,
            down: self.down * factors,
        }
    }
}

impl<S: Simd> Sums<Lanes<S>> {
    #[inline(always)]
    fn zero(simd: S) -> Self {
        let zero = Lanes::all(simd, 0.0);
        Self {
            slope_x: zero,
            slope_y: zero,
            xx: zero,
            xy: zero,
            yy: zero,
            own_xx: zero,
            own_xy: zero,
            own_yy: zero,
            first: zero,
            second: zero,
            both: zero,
        }
    }

    #[inline(always)]
    fn add(&mut self, p: &Around<S>, q: &Around<S>) {
        // Each product rounded by itself, so that equal fields have no slope at all.
        self.slope_x += p.here * q.across - q.here * p.across;
        self.slope_y += p.here * q.down - q.here * p.down;
        self.xx = p.across.times_plus(q.across, self.xx);
        self.xy = p.across.times_plus(q.down, self.xy);
        self.xy = p.down.times_plus(q.across, self.xy);
        self.yy = p.down.times_plus(q.down, self.yy);
        self.own_xx = p.across.times_plus(p.across, self.own_xx);
        self.own_xx = q.across.times_plus(q.across, self.own_xx);
        self.own_xy = p.across.times_plus(p.down, self.own_xy);
        self.own_xy = q.across.times_plus(q.down, self.own_xy);
        self.own_yy = p.down.times_plus(p.down, self.own_yy);
        self.own_yy = q.down.times_plus(q.down, self.own_yy);
        self.first = p.here.times_plus(p.here, self.first);
        self.second = q.here.times_plus(q.here, self.second);
        self.both = p.here.times_plus(q.here, self.both);
    }

    /// Adds what each sum comes to.
    #[inline(always)]
    fn total_to(&self, totals: &mut Sums<f64>) {
        self.slope_x.total_to(&mut totals.slope_x);
        self.slope_y.total_to(&mut totals.slope_y);
        self.xx.total_to(&mut totals.xx);
        self.xy.total_to(&mut totals.xy);
        self.yy.total_to(&mut totals.yy);
        self.own_xx.total_to(&mut totals.own_xx);
        self.own_xy.total_to(&mut totals.own_xy);
        self.own_yy.total_to(&mut totals.own_yy);
        self.first.total_to(&mut totals.first);
        self.second.total_to(&mut totals.second);
        self.both.total_to(&mut totals.both);
    }
}

/// The pixels of a block, at least `MOST_LANES` columns wide, in two fields.
struct Within<'a> {
    first: &'a Field,
    second: &'a Field,
    columns: Range<usize>,
    rows: Range<usize>,
}

impl WithSimd for Within<'_> {
    type Output = Sums<f64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Sums<f64> {
        let (first, second, width) = (self.first, self.second, self.first.width);
        let rest = self.columns.len() % MOST_LANES;
        let whole = self.columns.start..self.columns.end - rest;
        // The last columns overlap those before them, which then count as nothing.
        let mut new = [0.0; MOST_LANES];
        new[MOST_LANES - rest..].fill(1.0);
        let mut totals = Sums::default();
        for part in (0..MOST_LANES).step_by(S::F32_LANES) {
            let new = Lanes::of(simd, &new[part..]);
            let mut sums = Sums::zero(simd);
            for (p, q) in [
                (&first.real, &second.real),
                (&first.imaginary, &second.imaginary),
            ] {
                for y in self.rows.clone() {
                    let line = y * width + part;
                    for x in whole.clone().step_by(MOST_LANES) {
                        let p = Around::of(simd, p, width, line + x);
                        let q = Around::of(simd, q, width, line + x);
                        sums.add(&p, &q);
                    }
                    if rest > 0 {
                        let x = self.columns.end - MOST_LANES;
                        let p = Around::of(simd, p, width, line + x).times(new);
                        let q = Around::of(simd, q, width, line + x).times(new);
                        sums.add(&p, &q);
                    }
                }
            }
            sums.total_to(&mut totals);
        }
        totals
    }
}

fn block_within(first: &Field, second: &Field, columns: Range<usize>, rows: Range<usize>) -> Block {
    let pixels = columns.len() * rows.len();
    let sums = Arch::new().dispatch(Within {
        first,
        second,
        columns,
        rows,
    });
    let own = Symmetric {
        xx: sums.own_xx,
        xy: sums.own_xy,
        yy: sums.own_yy,
    };
    let mut block = Block {
        slope: (0.5 * sums.slope_x, 0.5 * sums.slope_y),
        curvature: Symmetric {
            xx: sums.xx,
            xy: 0.5 * sums.xy,
            yy: sums.yy,
        },
        first: sums.first,
        second: sums.second,
        both: sums.both,
        ..Block::default()
    };
    block.own = own.times(0.5);
    let energy = libm::sqrt(block.first * block.second);
    block.agreement = if energy > 0.0 {
        block.both / energy
    } else {
        0.0
    };
    // What the fields do not share is noise, half of it in each; against the
    // slopes of the other it makes the noise of b.
    let unshared = 2.0 * energy * (1.0 - block.agreement).max(0.0) / pixels as f64;
    block.noise = own.times(0.25 * unshared * NOISE_AREA * 0.5);
    let floor = 1e-9 * (own.xx + own.yy) + 1e-12;
    block.noise.xx += floor;
    block.noise.yy += floor;
    block
}
