//! Strips of curves' products, and the product of two strips over the wavelengths.
//!
//! A strip holds a few products side by side, wavelength after wavelength, so that
//! one pass through memory serves all of them; the sums of a tile of rows by columns
//! stay in the processor's registers from the first wavelength to the last. `pulp` picks
//! the widest vectors that the processor has when the program runs.

use crate::batch::Sampled;
use pulp::{Arch, Simd, WithSimd};

/// Rows of a strip: two vectors of eight doubles, four of four.
pub(crate) const ROWS: usize = 16;
/// Columns of a strip: with two vectors of rows, twelve sums and what feeds them
/// fill sixteen registers.
pub(crate) const COLUMNS: usize = 6;
/// Vectors of rows whose sums are kept at once.
const VECTORS: usize = 2;

/// Fills strip number `at` with the products outer × inner, inner fastest.
///
/// `out` holds `WIDTH` values for each wavelength; places beyond the last
/// product are left as they are and mean nothing.
pub(crate) fn strip<const WIDTH: usize>(
    outer: Sampled<'_>,
    inner: Sampled<'_>,
    at: usize,
    out: &mut [f64],
) {
    let n = out.len() / WIDTH;
    let (out, _) = out.as_chunks_mut::<WIDTH>();
    let last = outer.count * inner.count;
    for (place, product) in (at * WIDTH..last).take(WIDTH).enumerate() {
        let (a, b) = (product / inner.count, product % inner.count);
        let a = &outer.values[a * n..][..n];
        let b = &inner.values[b * n..][..n];
        for ((out, a), b) in out.iter_mut().zip(a).zip(b) {
            out[place] = a * b;
        }
    }
}

/// Multiplies one strip of `ROWS` with every strip of `COLUMNS`, over `n` wavelengths.
///
/// `out` takes `ROWS` sums for each column.
pub(crate) fn multiply(rows: &[f64], columns: &[f64], n: usize, out: &mut [f64]) {
    Arch::new().dispatch(Product {
        rows,
        columns,
        n,
        out,
    });
}

struct Product<'a> {
    rows: &'a [f64],
    columns: &'a [f64],
    n: usize,
    out: &'a mut [f64],
}

impl WithSimd for Product<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (rows, _) = self.rows.as_chunks::<ROWS>();
        let strips = self.columns.chunks_exact(COLUMNS * self.n);
        for (columns, out) in strips.zip(self.out.chunks_exact_mut(COLUMNS * ROWS)) {
            let (columns, _) = columns.as_chunks::<COLUMNS>();
            let (out, _) = out.as_chunks_mut::<ROWS>();
            for first in (0..ROWS).step_by(VECTORS * S::F64_LANES) {
                tile(simd, rows, columns, first, out);
            }
        }
    }
}

/// Sums a tile of `VECTORS` vectors of rows from row `first` on by `COLUMNS` columns.
#[inline(always)]
fn tile<S: Simd>(
    simd: S,
    rows: &[[f64; ROWS]],
    columns: &[[f64; COLUMNS]],
    first: usize,
    out: &mut [[f64; ROWS]],
) {
    let width = VECTORS * S::F64_LANES;
    let mut sums = [[simd.splat_f64s(0.0); VECTORS]; COLUMNS];
    for (row, column) in rows.iter().zip(columns) {
        let (row, _) = S::as_simd_f64s(&row[first..][..width]);
        for (sums, value) in sums.iter_mut().zip(column) {
            let value = simd.splat_f64s(*value);
            for (sum, row) in sums.iter_mut().zip(row) {
                *sum = simd.mul_add_e_f64s(*row, value, *sum);
            }
        }
    }
    for (out, sums) in out.iter_mut().zip(&sums) {
        let (out, _) = S::as_mut_simd_f64s(&mut out[first..][..width]);
        out.copy_from_slice(sums);
    }
}
