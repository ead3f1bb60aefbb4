//! Strips of curves' products, and the product of two strips over the wavelengths.
//!
//! A strip holds a few products side by side, wavelength after wavelength, so that
//! one pass through memory serves all of them; the sums of a tile of rows by columns
//! stay in the processor's registers through a stretch of wavelengths. A stretch is as
//! long as a strip of rows stays in the first cache, while the columns stream past.
//! `pulp` picks the widest vectors that the processor has when the program runs.

use crate::batch::Sampled;
use core::ops::Range;
use pulp::{Arch, Simd, WithSimd};

/// Rows of a strip: three vectors of eight doubles, or two times three of four.
pub(crate) const ROWS: usize = 24;
/// Columns of a strip: with three vectors of rows, 24 sums and what feeds them stay
/// within 32 registers; processors with 16 take four columns at a time.
pub(crate) const COLUMNS: usize = 8;
/// Wavelengths of a stretch: 24 · 176 doubles are 33 kB.
pub(crate) const STRETCH: usize = 176;
/// Vectors of rows whose sums are kept at once.
const VECTORS: usize = 3;
/// Wavelengths that are filled at once: a strip's part of that many stays in the first cache.
const FILLED: usize = 32;

/// Fills part of strip number `at` with the products outer × inner, inner fastest.
///
/// `out` holds `WIDTH` values for each wavelength of `range`, of curves with `n` of
/// them; places beyond the last product are zero.
pub(crate) fn strip<const WIDTH: usize>(
    outer: Sampled<'_>,
    inner: Sampled<'_>,
    at: usize,
    n: usize,
    range: Range<usize>,
    out: &mut [f64],
) {
    let (out, _) = out.as_chunks_mut::<WIDTH>();
    let first = at * WIDTH;
    let count = (outer.count * inner.count).saturating_sub(first).min(WIDTH);
    for (part, out) in out.chunks_mut(FILLED).enumerate() {
        let begin = range.start + part * FILLED;
        for place in 0..WIDTH {
            if place >= count {
                out.iter_mut().for_each(|out| out[place] = 0.0);
                continue;
            }
            let product = first + place;
            let (a, b) = (product / inner.count, product % inner.count);
            let a = &outer.values[a * n + begin..][..out.len()];
            let b = &inner.values[b * n + begin..][..out.len()];
            for ((out, a), b) in out.iter_mut().zip(a).zip(b) {
                out[place] = a * b;
            }
        }
    }
}

/// Multiplies a stretch of one strip of rows with that of every strip of columns.
///
/// `columns` are whole strips of `n` wavelengths; `out` has `ROWS` sums for each column,
/// which a stretch that begins at 0 sets and every other adds to.
pub(crate) fn multiply(
    rows: &[f64],
    columns: &[f64],
    n: usize,
    range: Range<usize>,
    out: &mut [f64],
) {
    Arch::new().dispatch(Product {
        rows,
        columns,
        n,
        range,
        out,
    });
}

struct Product<'a> {
    rows: &'a [f64],
    columns: &'a [f64],
    n: usize,
    range: Range<usize>,
    out: &'a mut [f64],
}

impl WithSimd for Product<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (rows, _) = self.rows.as_chunks::<ROWS>();
        let begins = self.range.start == 0;
        let strips = self.columns.chunks_exact(COLUMNS * self.n);
        for (columns, out) in strips.zip(self.out.chunks_exact_mut(COLUMNS * ROWS)) {
            let (columns, _) = columns.as_chunks::<COLUMNS>();
            let columns = &columns[self.range.clone()];
            let (out, _) = out.as_chunks_mut::<ROWS>();
            for first in (0..ROWS).step_by(VECTORS * S::F64_LANES) {
                if S::F64_LANES == 8 {
                    tile::<S, COLUMNS>(simd, rows, columns, (first, 0), begins, out);
                } else {
                    tile::<S, 4>(simd, rows, columns, (first, 0), begins, out);
                    tile::<S, 4>(simd, rows, columns, (first, 4), begins, out);
                }
            }
        }
    }
}

/// Sums a tile of `VECTORS` vectors of rows by `WIDE` columns, from this row and column on.
#[inline(always)]
fn tile<S: Simd, const WIDE: usize>(
    simd: S,
    rows: &[[f64; ROWS]],
    columns: &[[f64; COLUMNS]],
    (row, column): (usize, usize),
    begins: bool,
    out: &mut [[f64; ROWS]],
) {
    let height = VECTORS * S::F64_LANES;
    let mut sums = [[simd.splat_f64s(0.0); VECTORS]; WIDE];
    for (rows, columns) in rows.iter().zip(columns) {
        let (rows, _) = S::as_simd_f64s(&rows[row..][..height]);
        for (sums, value) in sums.iter_mut().zip(&columns[column..][..WIDE]) {
            let value = simd.splat_f64s(*value);
            for (sum, row) in sums.iter_mut().zip(rows) {
                *sum = simd.mul_add_e_f64s(*row, value, *sum);
            }
        }
    }
    for (out, sums) in out[column..].iter_mut().zip(&sums) {
        let (out, _) = S::as_mut_simd_f64s(&mut out[row..][..height]);
        for (out, sum) in out.iter_mut().zip(sums) {
            *out = if begins {
                *sum
            } else {
                simd.add_f64s(*out, *sum)
            };
        }
    }
}
