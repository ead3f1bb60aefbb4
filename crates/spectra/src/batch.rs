//! Many integrals at once: every light × subject with every film × filter.
//!
//! ∫ E R S T dλ is a sum over the grid of (E R w) × (S T), w the weights of the
//! trapezoid rule: one product of two matrices, rows by films and filters,
//! columns by lights and subjects. The product itself is `nalgebra`'s, shared
//! between the processor's cores by blocks of columns.
//!
//! Begin with [`integrals`].

use nalgebra::{DMatrix, DMatrixView, DMatrixViewMut};
use rayon::prelude::*;

/// Fewest columns worth a core of their own.
const BLOCK_COLUMNS: usize = 32;

/// Values of several curves on one grid, curve after curve.
#[derive(Clone, Copy, Debug)]
pub struct Sampled<'a> {
    /// `count` × `wavelengths` values on the linear scale.
    pub values: &'a [f64],
    /// Number of curves.
    pub count: usize,
}

/// Why a batch can't be computed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BatchError {
    /// Give as many values as curves times wavelengths.
    #[error(
        "{what}: {found} values, but {count} curves on {wavelengths} wavelengths need {}",
        count.saturating_mul(*wavelengths)
    )]
    Length {
        /// Which curves.
        what: &'static str,
        /// Values given.
        found: usize,
        /// Curves said.
        count: usize,
        /// Wavelengths of the grid.
        wavelengths: usize,
    },
}

/// All integrals of a batch.
#[derive(Clone, Debug, PartialEq)]
pub struct Integrals {
    /// Rows film × filter, columns light × subject.
    table: DMatrix<f64>,
    filters: usize,
    subjects: usize,
}

impl Integrals {
    /// Gives ∫ E R S T dλ of one light, film, filter and subject, by their places.
    ///
    /// `None` beyond the curves that were given.
    #[must_use]
    pub fn at(&self, light: usize, film: usize, filter: usize, subject: usize) -> Option<f64> {
        if filter >= self.filters || subject >= self.subjects {
            return None;
        }
        self.table
            .get((
                film * self.filters + filter,
                light * self.subjects + subject,
            ))
            .copied()
    }

    /// Gives how many integrals there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.table.len()
    }
}

/// Gives ∫ E R S T dλ for every light, film, filter and subject.
///
/// `weights_nm` are those of the grid ([`crate::Grid::trapezoid_weights_nm`]); all
/// curves are sampled on it.
///
/// # Errors
/// [`BatchError::Length`] when values and curves don't fit.
pub fn integrals(
    lights: Sampled<'_>,
    films: Sampled<'_>,
    filters: Sampled<'_>,
    subjects: Sampled<'_>,
    weights_nm: &[f64],
) -> Result<Integrals, BatchError> {
    let n = weights_nm.len();
    for (what, of) in [
        ("lights", lights),
        ("films", films),
        ("filters", filters),
        ("subjects", subjects),
    ] {
        if of.count.checked_mul(n) != Some(of.values.len()) {
            return Err(BatchError::Length {
                what,
                found: of.values.len(),
                count: of.count,
                wavelengths: n,
            });
        }
    }
    let (rows, columns) = (films.count * filters.count, lights.count * subjects.count);
    // rows × n and n × columns, both column after column.
    let response = by_wavelength(films, filters, n);
    let incoming = weighted(lights, subjects, weights_nm);
    let left = DMatrixView::from_slice(&response, rows, n);
    let mut table = DMatrix::zeros(rows, columns);
    let block = columns
        .div_ceil(rayon::current_num_threads().max(1))
        .max(BLOCK_COLUMNS);
    if rows > 0 && n > 0 {
        table
            .as_mut_slice()
            .par_chunks_mut(rows * block)
            .zip(incoming.par_chunks(n * block))
            .for_each(|(out, right)| {
                let width = right.len() / n;
                let right = DMatrixView::from_slice(right, n, width);
                DMatrixViewMut::from_slice(out, rows, width).gemm(1.0, &left, &right, 0.0);
            });
    }
    Ok(Integrals {
        table,
        filters: filters.count,
        subjects: subjects.count,
    })
}

/// S T for every film and filter, wavelength after wavelength.
fn by_wavelength(films: Sampled<'_>, filters: Sampled<'_>, n: usize) -> Vec<f64> {
    let mut products = Vec::with_capacity(films.count * filters.count * n);
    let mut at_filter = vec![0.0; filters.count];
    for i in 0..n {
        for (t, curve) in at_filter.iter_mut().zip(filters.values.chunks_exact(n)) {
            *t = curve[i];
        }
        for film in films.values.chunks_exact(n) {
            products.extend(at_filter.iter().map(|t| film[i] * t));
        }
    }
    products
}

/// E R w for every light and subject, curve after curve.
fn weighted(lights: Sampled<'_>, subjects: Sampled<'_>, weights: &[f64]) -> Vec<f64> {
    let n = weights.len();
    if n == 0 {
        return vec![];
    }
    let mut products = Vec::with_capacity(lights.count * subjects.count * n);
    for light in lights.values.chunks_exact(n) {
        let light: Vec<f64> = light.iter().zip(weights).map(|(e, w)| e * w).collect();
        for subject in subjects.values.chunks_exact(n) {
            products.extend(light.iter().zip(subject).map(|(e, r)| e * r));
        }
    }
    products
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Grid;

    fn values(count: usize, n: usize, seed: f64) -> Vec<f64> {
        // Any smooth positive numbers will do.
        (0..count * n)
            .map(|i| 0.6 + 0.4 * libm::sin(seed * i as f64 + seed))
            .collect()
    }

    #[test]
    fn a_batch_is_the_same_as_one_integral_after_the_other() {
        let grid = Grid::regular(400.0, 900.0, 5.0).unwrap();
        let n = grid.wavelengths_nm().len();
        let (lights, films) = (values(3, n, 0.013), values(5, n, 0.017));
        let (filters, subjects) = (values(17, n, 0.019), values(2, n, 0.023));
        let of = |values, count| Sampled { values, count };
        let all = integrals(
            of(&lights, 3),
            of(&films, 5),
            of(&filters, 17),
            of(&subjects, 2),
            &grid.trapezoid_weights_nm(),
        )
        .unwrap();
        assert_eq!(all.count(), 3 * 5 * 17 * 2);
        for (e, s, t, r) in [(0, 0, 0, 0), (2, 4, 16, 1), (1, 3, 8, 0), (2, 0, 1, 1)] {
            let product: Vec<f64> = (0..n)
                .map(|i| {
                    lights[e * n + i] * films[s * n + i] * filters[t * n + i] * subjects[r * n + i]
                })
                .collect();
            let one = grid.integral(&product);
            let ours = all.at(e, s, t, r).unwrap();
            // 1e-12: the order of the sum differs.
            assert!((ours / one - 1.0).abs() < 1e-12, "{ours} against {one}");
        }
        assert_eq!(all.at(3, 0, 0, 0), None);
        assert_eq!(all.at(0, 0, 17, 0), None);
        assert_eq!(all.at(0, 0, 0, 2), None);
    }

    #[test]
    fn values_that_do_not_fit_are_refused() {
        let one = Sampled {
            values: &[1.0, 1.0],
            count: 1,
        };
        let odd = Sampled {
            values: &[1.0],
            count: 1,
        };
        let weights = [0.5, 0.5];
        assert!(integrals(one, one, one, one, &weights).is_ok());
        let error = integrals(one, one, odd, one, &weights).unwrap_err();
        assert_eq!(
            error.to_string(),
            "filters: 1 values, but 1 curves on 2 wavelengths need 2"
        );
    }
}
