//! The wavelengths an integral is taken on, and the rule it is taken by.
//!
//! The rule is the trapezoid rule: the integrand runs in straight lines from
//! one wavelength of the grid to the next. Which grid was used is part of every
//! answer.

use crate::curve::Curve;
use core::fmt;

/// Most wavelengths that a grid may have.
pub const MOST_WAVELENGTHS: usize = 200_000;

/// Wavelengths in nm, strictly rising, two or more.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    wavelengths_nm: Vec<f64>,
    made: Made,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Made {
    Union,
    Regular { step_nm: f64 },
}

/// Why there is no grid.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum GridError {
    /// Give curves that overlap.
    #[error(
        "the curves have no wavelengths in common: one ends at {ends_nm} nm, another begins at {begins_nm} nm"
    )]
    NoOverlap {
        /// Where the first to end ends, nm.
        ends_nm: f64,
        /// Where the last to begin begins, nm.
        begins_nm: f64,
    },
    /// Give two wavelengths in rising order and a step that fits between them.
    #[error("a grid from {low_nm} to {high_nm} nm in steps of {step_nm} nm has no meaning")]
    NoMeaning {
        /// First wavelength, nm.
        low_nm: f64,
        /// Last wavelength, nm.
        high_nm: f64,
        /// Step, nm.
        step_nm: f64,
    },
    /// Give two wavelengths or more in rising order.
    #[error("a grid needs two wavelengths or more in rising order, found {found}")]
    NotRising {
        /// Wavelengths given.
        found: usize,
    },
    /// Give coarser curves or a longer step.
    #[error("the grid would have {found} wavelengths; at most {most} are taken")]
    TooMany {
        /// Wavelengths.
        found: usize,
        /// The limit.
        most: usize,
    },
}

impl Grid {
    /// Gives all wavelengths of all curves within the range that `bounding` curves share.
    ///
    /// A curve that ends earlier than these does not shorten the grid; its end is on it.
    ///
    /// # Errors
    /// [`GridError`] when the bounding curves have no range in common.
    pub fn union(bounding: &[&Curve], others: &[&Curve]) -> Result<Self, GridError> {
        let begins_nm = bounding.iter().map(|c| c.range_nm().0).fold(0.0, f64::max);
        let ends_nm = bounding
            .iter()
            .map(|c| c.range_nm().1)
            .fold(f64::INFINITY, f64::min);
        if ends_nm <= begins_nm {
            return Err(GridError::NoOverlap { ends_nm, begins_nm });
        }
        let mut all: Vec<f64> = bounding
            .iter()
            .chain(others)
            .flat_map(|c| c.points().iter().map(|p| p.wavelength.to_nm()))
            .filter(|nm| (begins_nm..=ends_nm).contains(nm))
            .collect();
        all.push(begins_nm);
        if ends_nm.is_finite() {
            all.push(ends_nm);
        }
        all.sort_by(f64::total_cmp);
        all.dedup();
        if all.len() > MOST_WAVELENGTHS {
            return Err(GridError::TooMany {
                found: all.len(),
                most: MOST_WAVELENGTHS,
            });
        }
        Ok(Self {
            wavelengths_nm: all,
            made: Made::Union,
        })
    }

    /// Takes wavelengths in nm that rise strictly.
    ///
    /// # Errors
    /// [`GridError`] unless there are two or more and they rise.
    pub fn of(wavelengths_nm: Vec<f64>) -> Result<Self, GridError> {
        let rising = wavelengths_nm.windows(2).all(|pair| pair[0] < pair[1]);
        if wavelengths_nm.len() < 2 || !rising {
            return Err(GridError::NotRising {
                found: wavelengths_nm.len(),
            });
        }
        Ok(Self {
            wavelengths_nm,
            made: Made::Union,
        })
    }

    /// Gives wavelengths from `low_nm` to at most `high_nm` in equal steps.
    ///
    /// # Errors
    /// [`GridError`] unless there are at least two and at most [`MOST_WAVELENGTHS`].
    pub fn regular(low_nm: f64, high_nm: f64, step_nm: f64) -> Result<Self, GridError> {
        let no_meaning = GridError::NoMeaning {
            low_nm,
            high_nm,
            step_nm,
        };
        let sound = low_nm > 0.0 && high_nm.is_finite() && step_nm > 0.0 && low_nm < high_nm;
        if !sound {
            return Err(no_meaning);
        }
        let steps = libm::floor((high_nm - low_nm) / step_nm + 1e-9);
        if steps < 1.0 {
            return Err(no_meaning);
        }
        if steps >= MOST_WAVELENGTHS as f64 {
            return Err(GridError::TooMany {
                found: steps as usize,
                most: MOST_WAVELENGTHS,
            });
        }
        // Below 200 000, so the cast is exact.
        let count = steps as usize;
        let wavelengths_nm = (0..=count).map(|i| low_nm + step_nm * i as f64).collect();
        Ok(Self {
            wavelengths_nm,
            made: Made::Regular { step_nm },
        })
    }

    /// Gives the wavelengths, nm.
    #[must_use]
    pub fn wavelengths_nm(&self) -> &[f64] {
        &self.wavelengths_nm
    }

    /// Gives the weight of each wavelength in the trapezoid rule, nm.
    #[must_use]
    pub fn trapezoid_weights_nm(&self) -> Vec<f64> {
        let at = &self.wavelengths_nm;
        let mut weights = vec![0.0; at.len()];
        for i in 1..at.len() {
            let half = 0.5 * (at[i] - at[i - 1]);
            weights[i - 1] += half;
            weights[i] += half;
        }
        weights
    }

    /// Gives the integral of values at the grid's wavelengths by the trapezoid rule.
    ///
    /// # Panics
    /// When there are not as many values as wavelengths: a bug of the caller.
    #[must_use]
    pub fn integral(&self, values: &[f64]) -> f64 {
        let at = &self.wavelengths_nm;
        assert_eq!(values.len(), at.len(), "one value to each wavelength");
        (1..at.len())
            .map(|i| 0.5 * (values[i - 1] + values[i]) * (at[i] - at[i - 1]))
            .sum()
    }
}

impl fmt::Display for Grid {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let first = self.wavelengths_nm[0];
        let last = self.wavelengths_nm[self.wavelengths_nm.len() - 1];
        let count = self.wavelengths_nm.len();
        match self.made {
            Made::Union => write!(
                out,
                "trapezoid rule on the {count} wavelengths of the curves, {first} to {last} nm"
            ),
            Made::Regular { step_nm } => write!(
                out,
                "trapezoid rule every {step_nm} nm from {first} to {last} nm, {count} wavelengths"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::CurveKind;

    fn curve(values: &[(f64, f64)]) -> Curve {
        Curve::from_values(CurveKind::RelativePower, "made for the test", values).unwrap()
    }

    #[test]
    fn the_union_has_every_wavelength_once_within_the_common_range() {
        let a = curve(&[(400.0, 1.0), (410.0, 1.0), (425.0, 1.0)]);
        let b = curve(&[(405.0, 1.0), (410.0, 1.0), (430.0, 1.0)]);
        let c = curve(&[(300.0, 1.0), (412.0, 1.0)]);
        let grid = Grid::union(&[&a, &b], &[&c]).unwrap();
        assert_eq!(grid.wavelengths_nm(), [405.0, 410.0, 412.0, 425.0]);
        // Hand calculation: a constant 2 over 20 nm is 40.
        assert!((grid.integral(&[2.0; 4]) - 40.0).abs() < 1e-12);
        let weights: f64 = grid.trapezoid_weights_nm().iter().sum();
        assert!((weights - 20.0).abs() < 1e-12);
        let far = curve(&[(900.0, 1.0), (950.0, 1.0)]);
        assert!(matches!(
            Grid::union(&[&a, &far], &[]),
            Err(GridError::NoOverlap { .. })
        ));
    }

    #[test]
    fn a_regular_grid_ends_on_its_last_whole_step() {
        let grid = Grid::regular(380.0, 900.0, 1.0).unwrap();
        assert_eq!(grid.wavelengths_nm().len(), 521);
        assert_eq!(
            Grid::regular(400.0, 405.0, 2.0).unwrap().wavelengths_nm(),
            [400.0, 402.0, 404.0]
        );
        assert!(Grid::regular(400.0, 400.0, 1.0).is_err());
        assert!(Grid::regular(400.0, 500.0, 0.0).is_err());
        assert!(Grid::regular(400.0, 500.0, 1e-7).is_err());
        assert!(Grid::regular(400.0, f64::INFINITY, 1.0).is_err());
    }
}
