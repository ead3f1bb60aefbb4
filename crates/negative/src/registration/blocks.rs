//! How far each block of the picture is off, by the fields of both.
//!
//! Around a small shift d the correlation Σ z₁*(x)·z₂(x + d) has the slope
//! b = ½ Σ Re(z₁*·∇z₂ − z₂*·∇z₁) and the curvature A = Σ Re(∇z₁*·∇z₂ᵀ), so its
//! peak lies at A⁻¹b. Both are products of one field with the other: noise of
//! one alone does not shift the peak, and equal fields give exactly 0.

use super::field::Field;
use super::sums::Within;
use super::symmetric::Symmetric;
use core::ops::Range;
use pulp::Arch;
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
