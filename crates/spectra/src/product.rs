//! Products of curves, and what is read off them: total, mean wavelength, band.
//!
//! The product runs in straight lines from one wavelength of the grid to the
//! next. Where a curve knows nothing and nothing is assumed of it, the step of
//! the grid adds nothing; [`Product::left_out_nm`] tells which steps these are.

use crate::curve::{Assumed, Beyond, Curve};
use crate::grid::Grid;
use crate::interpolation::Interpolation;

/// The product of some curves on a grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Product {
    at_nm: Vec<f64>,
    values: Vec<f64>,
    /// Whether the step that ends at this wavelength counts; the first is unused.
    counts: Vec<bool>,
}

impl Product {
    /// Multiplies curves on the linear scale.
    #[must_use]
    pub fn of(curves: &[(&Curve, Assumed)], grid: &Grid, by: Interpolation) -> Self {
        let at_nm = grid.wavelengths_nm().to_vec();
        let mut product = Self {
            values: vec![1.0; at_nm.len()],
            counts: vec![true; at_nm.len()],
            at_nm,
        };
        for (curve, assumed) in curves {
            product.multiply(curve, *assumed, by);
        }
        product
    }

    /// Gives this product times one more curve, to the last bit what [`Product::of`]
    /// gives of all curves in this order.
    #[must_use]
    pub fn times(&self, curve: &Curve, assumed: Assumed, by: Interpolation) -> Self {
        let mut product = self.clone();
        product.multiply(curve, assumed, by);
        product
    }

    fn multiply(&mut self, curve: &Curve, assumed: Assumed, by: Interpolation) {
        for (value, &nm) in self.values.iter_mut().zip(&self.at_nm) {
            *value *= curve
                .linear_value_assuming(nm, by, assumed)
                .map_or(0.0, |(v, _)| v);
        }
        for i in 1..self.at_nm.len() {
            self.counts[i] &= covers(curve, assumed, self.at_nm[i - 1], self.at_nm[i]);
        }
    }

    /// Gives the wavelengths, nm.
    #[must_use]
    pub fn wavelengths_nm(&self) -> &[f64] {
        &self.at_nm
    }

    /// Gives the values at the wavelengths; 0 where nothing is known.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    fn steps(&self) -> impl Iterator<Item = Step> + '_ {
        (1..self.at_nm.len())
            .filter(|&i| self.counts[i])
            .map(|i| Step {
                low: self.at_nm[i - 1],
                width: self.at_nm[i] - self.at_nm[i - 1],
                left: self.values[i - 1],
                right: self.values[i],
            })
    }

    /// Gives the integral over the wavelengths by the trapezoid rule.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.steps().map(Step::area).sum()
    }

    /// Gives the integral over the steps that count in another product on the same grid too.
    #[must_use]
    pub fn total_where_counts(&self, other: &Self) -> f64 {
        let mut common = self.clone();
        for (mine, theirs) in common.counts.iter_mut().zip(&other.counts) {
            *mine &= theirs;
        }
        common.total()
    }

    /// Gives the mean wavelength, ∫ λ y dλ / ∫ y dλ, in nm; `None` when the product is zero.
    #[must_use]
    pub fn mean_wavelength_nm(&self) -> Option<f64> {
        let total = self.total();
        let moment: f64 = self
            .steps()
            .map(|s| 0.5 * s.width * (s.left * s.low + s.right * (s.low + s.width)))
            .sum();
        (total > 0.0).then(|| moment / total)
    }

    /// Gives the wavelength below which a share of the integral lies, in nm.
    ///
    /// Within a step the integrand is a straight line, so its integral is a parabola,
    /// which is solved. `None` when the product is zero.
    #[must_use]
    pub fn wavelength_at_share_nm(&self, share: f64) -> Option<f64> {
        let total = self.total();
        if total <= 0.0 || !(0.0..=1.0).contains(&share) {
            return None;
        }
        let wanted = share * total;
        let mut before = 0.0;
        let mut last = None;
        for step in self.steps() {
            let area = step.area();
            if area > 0.0 && before + area >= wanted {
                return Some(step.low + step.width_to(wanted - before));
            }
            before += area;
            last = Some(step.low + step.width);
        }
        // Rounding may leave the last share a last bit short.
        last
    }

    /// Gives the stretches in which a curve knows nothing, from and to, nm.
    #[must_use]
    pub fn left_out_nm(&self) -> Vec<(f64, f64)> {
        let mut stretches: Vec<(f64, f64)> = vec![];
        for i in 1..self.at_nm.len() {
            if self.counts[i] {
                continue;
            }
            match stretches.last_mut() {
                Some(last) if last.1 == self.at_nm[i - 1] => last.1 = self.at_nm[i],
                _ => stretches.push((self.at_nm[i - 1], self.at_nm[i])),
            }
        }
        stretches
    }
}

fn covers(curve: &Curve, assumed: Assumed, low: f64, high: f64) -> bool {
    if curve.knows_all_of(low, high) {
        return true;
    }
    let (first, last) = curve.range_nm();
    let below = low >= first || assumed.below != Beyond::Unknown;
    let above = high <= last || assumed.above != Beyond::Unknown;
    let inside = low.max(first) >= high.min(last)
        || curve.knows_all_of(low.max(first), high.min(last))
        || assumed.in_holes != Beyond::Unknown;
    below && above && inside
}

/// One step of the grid.
#[derive(Clone, Copy, Debug)]
struct Step {
    low: f64,
    width: f64,
    left: f64,
    right: f64,
}

impl Step {
    fn area(self) -> f64 {
        0.5 * (self.left + self.right) * self.width
    }

    /// How far into the step an area is reached.
    fn width_to(self, area: f64) -> f64 {
        // left·x + (right − left)·x²/(2·width) = area, in the form that keeps
        // its digits when left is 0 or both are equal.
        let slope = (self.right - self.left) / self.width;
        let root = libm::sqrt((self.left * self.left + 2.0 * slope * area).max(0.0));
        let below = self.left + root;
        if below > 0.0 {
            (2.0 * area / below).clamp(0.0, self.width)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::CurveKind;

    fn curve(values: &[(f64, f64)]) -> Curve {
        Curve::from_values(CurveKind::Sensitivity, "made for the test", values).unwrap()
    }

    #[test]
    fn total_mean_and_band_of_a_triangle() {
        // Hand calculation: y rises from 0 at 700 to 1 at 800. Area 50, mean at
        // 2/3 of the way, a share p lies below √p of the way.
        let rising = curve(&[(700.0, 0.0), (800.0, 1.0)]);
        let grid = Grid::union(&[&rising], &[]).unwrap();
        let product = Product::of(&[(&rising, Assumed::NOTHING)], &grid, Interpolation::Linear);
        assert!((product.total() - 50.0).abs() < 1e-12);
        let at = |p: f64| product.wavelength_at_share_nm(p).unwrap();
        assert!((at(0.1) - (700.0 + 100.0 * libm::sqrt(0.1))).abs() < 1e-9);
        assert!((at(0.9) - (700.0 + 100.0 * libm::sqrt(0.9))).abs() < 1e-9);
        assert!((at(1.0) - 800.0).abs() < 1e-9 && (at(0.0) - 700.0).abs() < 1e-9);
        // The trapezoid of λ·y over the single step is 40 000; over 50 that is 800:
        // a coarse grid shows, so the mean is taken on ten steps.
        let fine = Grid::regular(700.0, 800.0, 0.1).unwrap();
        let product = Product::of(&[(&rising, Assumed::NOTHING)], &fine, Interpolation::Linear);
        let mean = product.mean_wavelength_nm().unwrap();
        assert!((mean - 766.666_7).abs() < 1e-3, "{mean}");
    }

    #[test]
    fn a_product_times_a_curve_is_the_product_of_all_to_the_last_bit() {
        let (a, b) = (
            curve(&[(400.0, 0.3), (500.0, 0.7), (600.0, 0.1)]),
            curve(&[(400.0, 0.9), (450.0, 1.0 / 3.0), (620.0, 0.7)]),
        );
        let by = Interpolation::Linear;
        let grid = Grid::union(&[&a], &[&b]).unwrap();
        let all = Product::of(&[(&a, Assumed::HELD), (&b, Assumed::NOTHING)], &grid, by);
        let first = Product::of(&[(&a, Assumed::HELD)], &grid, by);
        assert_eq!(first.times(&b, Assumed::NOTHING, by), all);
    }

    #[test]
    fn a_hole_adds_nothing_and_is_told() {
        use crate::curve::CurvePoint;
        use quantity::Nanometres;
        let point = |nm: f64, value| CurvePoint {
            wavelength: Nanometres::from_nm(nm).unwrap(),
            value,
            standard_uncertainty: None,
        };
        let holed = Curve::new(
            CurveKind::Sensitivity,
            "made for the test",
            vec![
                point(400.0, Some(1.0)),
                point(410.0, Some(1.0)),
                point(420.0, None),
                point(430.0, Some(1.0)),
                point(440.0, Some(1.0)),
            ],
        )
        .unwrap();
        let whole = Grid::union(&[&holed], &[]).unwrap();
        let coarse = Grid::regular(400.0, 440.0, 20.0).unwrap();
        let product =
            |grid, assumed| Product::of(&[(&holed, assumed)], grid, Interpolation::Linear);
        let known = product(&whole, Assumed::NOTHING);
        assert!((known.total() - 20.0).abs() < 1e-12);
        assert_eq!(known.left_out_nm(), [(410.0, 430.0)]);
        assert!((product(&whole, Assumed::HELD).total() - 40.0).abs() < 1e-12);
        // A step of the grid that reaches into the hole can't count either.
        assert!((product(&coarse, Assumed::NOTHING).total()).abs() < 1e-12);
    }

    #[test]
    fn a_product_of_nothing_has_no_band() {
        let a = curve(&[(400.0, 1.0), (500.0, 0.0), (600.0, 0.0)]);
        let b = curve(&[(400.0, 0.0), (500.0, 0.0), (600.0, 1.0)]);
        let grid = Grid::union(&[&a, &b], &[]).unwrap();
        let both = [(&a, Assumed::NOTHING), (&b, Assumed::NOTHING)];
        let product = Product::of(&both, &grid, Interpolation::Linear);
        assert_eq!(product.total(), 0.0);
        assert_eq!(product.mean_wavelength_nm(), None);
        assert_eq!(product.wavelength_at_share_nm(0.5), None);
    }
}
