//! Many integrals at once: every light × subject with every film × filter.
//!
//! ∫ E R S T dλ is a sum over the grid of (S T) × (E R w), w the weights of the
//! trapezoid rule: one product of two matrices, rows by films and filters,
//! columns by lights and subjects. The factors are no matrices in memory: each is
//! filled straight into the strips that `strips.rs` multiplies, and every
//! core takes the next strip of rows.
//!
//! Begin with [`integrals`].

use crate::strips::{COLUMNS, ROWS, STRETCH, multiply, strip};
use rayon::prelude::*;

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
    /// Strips of [`ROWS`] films × filters; in each, by light × subject, then row.
    /// The last strips may have rows and columns to spare.
    table: Vec<f64>,
    lights: usize,
    films: usize,
    filters: usize,
    subjects: usize,
}

impl Integrals {
    /// Gives ∫ E R S T dλ of one light, film, filter and subject, by their places.
    ///
    /// `None` beyond the curves that were given.
    #[must_use]
    pub fn at(&self, light: usize, film: usize, filter: usize, subject: usize) -> Option<f64> {
        if light >= self.lights
            || film >= self.films
            || filter >= self.filters
            || subject >= self.subjects
        {
            return None;
        }
        let row = film * self.filters + filter;
        let column = light * self.subjects + subject;
        let strip = row / ROWS * strip_values(self.lights * self.subjects);
        self.table.get(strip + column * ROWS + row % ROWS).copied()
    }

    /// Gives how many integrals there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.lights * self.films * self.filters * self.subjects
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
    let mut table = vec![0.0; rows.div_ceil(ROWS) * strip_values(columns)];
    if n > 0 && columns > 0 {
        let weighted: Vec<f64> = lights
            .values
            .chunks_exact(n)
            .flat_map(|light| light.iter().zip(weights_nm).map(|(e, w)| e * w))
            .collect();
        let weighted = Sampled {
            values: &weighted,
            count: lights.count,
        };
        let mut incoming = vec![0.0; columns.div_ceil(COLUMNS) * COLUMNS * n];
        incoming
            .par_chunks_mut(COLUMNS * n)
            .enumerate()
            .for_each(|(at, out)| strip::<COLUMNS>(weighted, subjects, at, n, 0..n, out));
        table
            .par_chunks_mut(strip_values(columns))
            .enumerate()
            .for_each_init(
                || vec![0.0; ROWS * STRETCH],
                |response, (at, out)| {
                    for begin in (0..n).step_by(STRETCH) {
                        let range = begin..(begin + STRETCH).min(n);
                        let response = &mut response[..ROWS * range.len()];
                        strip::<ROWS>(films, filters, at, n, range.clone(), response);
                        multiply(response, &incoming, n, range, out);
                    }
                },
            );
    }
    Ok(Integrals {
        table,
        lights: lights.count,
        films: films.count,
        filters: filters.count,
        subjects: subjects.count,
    })
}

/// Values of one strip of rows: whole strips of columns.
fn strip_values(columns: usize) -> usize {
    columns.div_ceil(COLUMNS) * COLUMNS * ROWS
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
        let (lights, films) = (values(4, n, 0.013), values(5, n, 0.017));
        let (filters, subjects) = (values(17, n, 0.019), values(2, n, 0.023));
        let of = |values, count| Sampled { values, count };
        let all = integrals(
            of(&lights, 4),
            of(&films, 5),
            of(&filters, 17),
            of(&subjects, 2),
            &grid.trapezoid_weights_nm(),
        )
        .unwrap();
        assert_eq!(all.count(), 4 * 5 * 17 * 2);
        for (e, s, t, r) in [(0, 0, 0, 0), (3, 4, 16, 1), (1, 3, 8, 0), (2, 0, 1, 1)] {
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
        assert_eq!(all.at(4, 0, 0, 0), None);
        assert_eq!(all.at(0, 0, 17, 0), None);
        assert_eq!(all.at(0, 0, 0, 2), None);
    }

    #[test]
    fn many_wavelengths_are_summed_stretch_by_stretch() {
        // Ones everywhere: every integral is the width of the grid, 520 nm.
        let ones = vec![1.0; 30 * 521];
        let of = |count| Sampled {
            values: &ones[..count * 521],
            count,
        };
        let grid = Grid::regular(380.0, 900.0, 1.0).unwrap();
        let weights = grid.trapezoid_weights_nm();
        let all = integrals(of(3), of(7), of(30), of(5), &weights).unwrap();
        for (e, s, t, r) in [(0, 0, 0, 0), (2, 6, 29, 4), (1, 0, 23, 2)] {
            assert!((all.at(e, s, t, r).unwrap() - 520.0).abs() < 1e-9);
        }
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
