//! What blocks would say of fields that do not lie on each other.

use super::blocks::{Block, block_side};
use super::field::Field;
use super::lanes::Lanes;
use core::ops::Range;
use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

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
            let inside = |middle: i64, step: i64, length: i64| {
                let from = (middle - side / 2).max(-step).clamp(0, length);
                let to = (middle + side / 2).min(length - step).clamp(from, length);
                from as usize..to as usize
            };
            let (columns, rows) = (inside(x0, dx, width), inside(y0, dy, height));
            *chance = Arch::new().dispatch(Apart {
                first,
                second,
                columns,
                rows,
                apart: dy * width + dx,
            });
        }
    });
}

/// Pixels of the first field, and how many places further on those of the second stand.
struct Apart<'a> {
    first: &'a Field,
    second: &'a Field,
    columns: Range<usize>,
    rows: Range<usize>,
    apart: i64,
}

impl WithSimd for Apart<'_> {
    type Output = f64;

    /// The product of the fields.
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> f64 {
        let (first, second) = (self.first, self.second);
        let mut sum = 0.0;
        if self.columns.is_empty() {
            return sum;
        }
        for (p, q) in [
            (&first.real, &second.real),
            (&first.imaginary, &second.imaginary),
        ] {
            let mut sums = Lanes::all(simd, 0.0);
            for y in self.rows.clone() {
                let here = y * first.width + self.columns.start;
                let there = (here as i64 + self.apart) as usize;
                let p = p[here..][..self.columns.len()].chunks_exact(S::F32_LANES);
                let q = q[there..][..self.columns.len()].chunks_exact(S::F32_LANES);
                for (p, q) in p.remainder().iter().zip(q.remainder()) {
                    sum += f64::from(p * q);
                }
                for (p, q) in p.zip(q) {
                    sums = Lanes::of(simd, p).times_plus(Lanes::of(simd, q), sums);
                }
            }
            sums.total_to(&mut sum);
        }
        sum
    }
}
