//! How far each block of the picture is off, by the fields of both.
//!
//! Around a small shift d the correlation Σ z₁*(x)·z₂(x + d) has the slope
//! b = ½ Σ Re(z₁*·∇z₂ − z₂*·∇z₁) and the curvature A = Σ Re(∇z₁*·∇z₂ᵀ), so its
//! peak lies at A⁻¹b. Both are products of one field with the other: noise of
//! one alone does not shift the peak, and equal fields give exactly 0.

use super::field::Field;
use rayon::prelude::*;

/// Pixels around the border of a field that hold no slope of it.
const BORDER: usize = 4;
/// Pixels over which the noise of a field hangs together: 4πσ² with the
/// softening's σ of one pixel, made smaller by the square in z.
const NOISE_AREA: f64 = 8.0;

/// A symmetric 2 × 2 matrix.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Symmetric {
    pub(super) xx: f64,
    pub(super) xy: f64,
    pub(super) yy: f64,
}

impl Symmetric {
    pub(super) fn plus(self, other: Self) -> Self {
        Self {
            xx: self.xx + other.xx,
            xy: self.xy + other.xy,
            yy: self.yy + other.yy,
        }
    }

    pub(super) fn times(self, factor: f64) -> Self {
        Self {
            xx: self.xx * factor,
            xy: self.xy * factor,
            yy: self.yy * factor,
        }
    }

    pub(super) fn inverse(self) -> Self {
        let determinant = (self.xx * self.yy - self.xy * self.xy).max(f64::MIN_POSITIVE);
        Self {
            xx: self.yy,
            xy: -self.xy,
            yy: self.xx,
        }
        .times(1.0 / determinant)
    }

    /// The square of the matrix.
    pub(super) fn squared(self) -> Self {
        Self {
            xx: self.xx * self.xx + self.xy * self.xy,
            xy: self.xy * (self.xx + self.yy),
            yy: self.yy * self.yy + self.xy * self.xy,
        }
    }

    pub(super) fn of(self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.xx * x + self.xy * y, self.xy * x + self.yy * y)
    }

    /// The same without the part that curves the wrong way.
    pub(super) fn without_negative(self) -> Self {
        let mean = 0.5 * (self.xx + self.yy);
        let half = libm::hypot(0.5 * (self.xx - self.yy), self.xy);
        if mean - half >= 0.0 {
            return self;
        }
        if mean + half <= 0.0 {
            return Self::default();
        }
        // Only the larger eigenvalue stays: (M − λ₂)·λ₁/(λ₁ − λ₂).
        let (large, small) = (mean + half, mean - half);
        Self {
            xx: self.xx - small,
            xy: self.xy,
            yy: self.yy - small,
        }
        .times(large / (large - small))
    }
}

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

/// Sums that run side by side, so that a processor adds several at once.
const LANES: usize = 4;

/// Sums of one row of a block, in single precision: at most some 64 pixels.
#[derive(Default, Clone, Copy)]
struct RowSums {
    slope_x: [f32; LANES],
    slope_y: [f32; LANES],
    xx: [f32; LANES],
    xy: [f32; LANES],
    yy: [f32; LANES],
    own_xx: [f32; LANES],
    own_xy: [f32; LANES],
    own_yy: [f32; LANES],
    first: [f32; LANES],
    second: [f32; LANES],
    both: [f32; LANES],
}

fn total(lanes: [f32; LANES]) -> f64 {
    lanes.iter().map(|lane| f64::from(*lane)).sum()
}

fn block_within(
    first: &Field,
    second: &Field,
    columns: core::ops::Range<usize>,
    rows: core::ops::Range<usize>,
) -> Block {
    let width = first.width;
    let mut block = Block::default();
    let mut own = Symmetric::default();
    let pixels = columns.len() * rows.len();
    for y in rows.clone() {
        let mut s = RowSums::default();
        for (p, q) in [
            (&first.real, &second.real),
            (&first.imaginary, &second.imaginary),
        ] {
            let n = columns.len();
            let here = y * width + columns.start;
            let (p0, q0) = (&p[here..here + n], &q[here..here + n]);
            let (pl, ql) = (&p[here - 1..][..n], &q[here - 1..][..n]);
            let (pr, qr) = (&p[here + 1..][..n], &q[here + 1..][..n]);
            let (pu, qu) = (&p[here - width..][..n], &q[here - width..][..n]);
            let (pd, qd) = (&p[here + width..][..n], &q[here + width..][..n]);
            let mut add = |x: usize, k: usize| {
                let (px, qx) = (0.5 * (pr[x] - pl[x]), 0.5 * (qr[x] - ql[x]));
                let (py, qy) = (0.5 * (pd[x] - pu[x]), 0.5 * (qd[x] - qu[x]));
                s.slope_x[k] += p0[x] * qx - q0[x] * px;
                s.slope_y[k] += p0[x] * qy - q0[x] * py;
                s.xx[k] += px * qx;
                s.xy[k] += px * qy + py * qx;
                s.yy[k] += py * qy;
                s.own_xx[k] += px * px + qx * qx;
                s.own_xy[k] += px * py + qx * qy;
                s.own_yy[k] += py * py + qy * qy;
                s.first[k] += p0[x] * p0[x];
                s.second[k] += q0[x] * q0[x];
                s.both[k] += p0[x] * q0[x];
            };
            for start in (0..n / LANES * LANES).step_by(LANES) {
                for k in 0..LANES {
                    add(start + k, k);
                }
            }
            for x in n / LANES * LANES..n {
                add(x, 0);
            }
        }
        block.slope.0 += 0.5 * total(s.slope_x);
        block.slope.1 += 0.5 * total(s.slope_y);
        block.curvature = block.curvature.plus(Symmetric {
            xx: total(s.xx),
            xy: 0.5 * total(s.xy),
            yy: total(s.yy),
        });
        own = own.plus(Symmetric {
            xx: total(s.own_xx),
            xy: total(s.own_xy),
            yy: total(s.own_yy),
        });
        block.first += total(s.first);
        block.second += total(s.second);
        block.both += total(s.both);
    }
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

/// Fills in what each block would say by chance: the product of the first field
/// there with the second a block and a half away, to four sides.
pub(super) fn add_chance(blocks: &mut [Block], first: &Field, second: &Field) {
    let side = block_side(first.width, first.height) as i64;
    let far = side + side / 2;
    let (width, height) = (first.width as i64, first.height as i64);
    blocks.par_iter_mut().for_each(|block| {
        let (x0, y0) = (block.middle.0 as i64, block.middle.1 as i64);
        let offsets = [(far, 0), (-far, 0), (0, far), (0, -far)];
        for (chance, (dx, dy)) in block.elsewhere.iter_mut().zip(offsets) {
            // Off the picture it is taken on the other side.
            let fits = |middle: i64, step: i64, length: i64| {
                let to = middle + step;
                if to - side / 2 >= 0 && to + side / 2 < length {
                    step
                } else {
                    -step
                }
            };
            let (dx, dy) = (fits(x0, dx, width), fits(y0, dy, height));
            let mut sum = 0.0;
            for y in (y0 - side / 2).max(0)..(y0 + side / 2).min(height) {
                for x in (x0 - side / 2).max(0)..(x0 + side / 2).min(width) {
                    let (u, v) = (x + dx, y + dy);
                    if u < 0 || v < 0 || u >= width || v >= height {
                        continue;
                    }
                    let p = (y * width + x) as usize;
                    let q = (v * width + u) as usize;
                    sum += f64::from(
                        first.real[p] * second.real[q] + first.imaginary[p] * second.imaginary[q],
                    );
                }
            }
            *chance = sum;
        }
    });
}
