//! Monotone curves through points: interpolation, order, smoothing.
//!
//! Source: F. N. Fritsch, R. E. Carlson, "Monotone piecewise cubic
//! interpolation", SIAM J. Numer. Anal. 17 (1980) 238; slopes by the weighted
//! harmonic mean of Fritsch and Butland (1984). Pooling: Ayer et al. (1955).
//! Smoothing: E. T. Whittaker (1923), its weight by generalised
//! cross-validation (Craven and Wahba, 1979). From memory.

/// A monotone cubic curve through points with rising x.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct MonotoneCurve {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl MonotoneCurve {
    /// Joins points; x strictly rising, at least 2 of them, y monotone.
    pub(crate) fn through(x: Vec<f64>, y: Vec<f64>) -> Self {
        assert!(
            x.len() == y.len() && x.len() >= 2,
            "a curve needs two points or more"
        );
        assert!(
            x.windows(2).all(|w| w[0] < w[1]),
            "the points of a curve have rising x"
        );
        let n = x.len();
        let step: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
        let rise: Vec<f64> = y
            .windows(2)
            .zip(&step)
            .map(|(w, h)| (w[1] - w[0]) / h)
            .collect();
        let mut slope = vec![0.0; n];
        for i in 1..n - 1 {
            let (left, right) = (rise[i - 1], rise[i]);
            if left * right > 0.0 {
                let (a, b) = (2.0 * step[i] + step[i - 1], step[i] + 2.0 * step[i - 1]);
                slope[i] = (a + b) / (a / left + b / right);
            }
        }
        slope[0] = end_slope(&step, &rise, 0, 1);
        slope[n - 1] = end_slope(&step, &rise, n - 2, n.saturating_sub(3));
        Self { x, y, slope }
    }

    /// Gives y and dy/dx at x, which is held within the points.
    pub(crate) fn at(&self, x: f64) -> (f64, f64) {
        let last = self.x.len() - 1;
        let x = x.clamp(self.x[0], self.x[last]);
        let i = self.x.partition_point(|known| *known <= x).clamp(1, last) - 1;
        let h = self.x[i + 1] - self.x[i];
        let t = (x - self.x[i]) / h;
        let (y0, y1, m0, m1) = (
            self.y[i],
            self.y[i + 1],
            self.slope[i] * h,
            self.slope[i + 1] * h,
        );
        let (t2, t3) = (t * t, t * t * t);
        // Cubic Hermite basis.
        let y = (2.0 * t3 - 3.0 * t2 + 1.0) * y0
            + (t3 - 2.0 * t2 + t) * m0
            + (3.0 * t2 - 2.0 * t3) * y1
            + (t3 - t2) * m1;
        let d = (6.0 * t2 - 6.0 * t) * (y0 - y1)
            + (3.0 * t2 - 4.0 * t + 1.0) * m0
            + (3.0 * t2 - 2.0 * t) * m1;
        // Rounding must not carry the curve past its points.
        (y.clamp(y0.min(y1), y0.max(y1)), d / h)
    }

    pub(crate) fn x(&self) -> &[f64] {
        &self.x
    }

    pub(crate) fn y(&self) -> &[f64] {
        &self.y
    }
}

/// One-sided slope at an end, held so that the end piece stays monotone.
fn end_slope(step: &[f64], rise: &[f64], end: usize, next: usize) -> f64 {
    if step.len() == 1 {
        return rise[0];
    }
    let slope = ((2.0 * step[end] + step[next]) * rise[end] - step[end] * rise[next])
        / (step[end] + step[next]);
    if slope * rise[end] <= 0.0 {
        0.0
    } else if rise[end] * rise[next] <= 0.0 && slope.abs() > 3.0 * rise[end].abs() {
        3.0 * rise[end]
    } else {
        slope
    }
}

/// Makes values fall (or stay) along the list, moving them as little as their
/// weights ask: pool adjacent violators.
pub(crate) fn pool_to_falling(values: &[f64], weights: &[f64]) -> Vec<f64> {
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for (value, weight) in values.iter().zip(weights) {
        pools.push((*value, *weight, 1));
        while let [.., a, b] = pools.as_slice() {
            if a.0 >= b.0 {
                break;
            }
            let joined = ((a.0 * a.1 + b.0 * b.1) / (a.1 + b.1), a.1 + b.1, a.2 + b.2);
            pools.truncate(pools.len() - 2);
            pools.push(joined);
        }
    }
    pools
        .iter()
        .flat_map(|p| core::iter::repeat_n(p.0, p.2))
        .collect()
}

/// Smooths values over x by their uncertainties; the stiffness is the one that
/// generalised cross-validation finds best, never more than moves the points
/// by 0.7 of their uncertainty on the whole.
pub(crate) fn smoothed(x: &[f64], y: &[f64], uncertainty: &[f64]) -> Vec<f64> {
    let n = x.len();
    let smallest = uncertainty.iter().copied().fold(f64::INFINITY, f64::min);
    if n < 5 || smallest <= 0.0 {
        return y.to_vec();
    }
    let range = x[n - 1] - x[0];
    let scaled: Vec<f64> = x.iter().map(|v| (v - x[0]) / range).collect();
    let weights: Vec<f64> = uncertainty.iter().map(|u| 1.0 / (u * u)).collect();
    let penalty = second_differences(&scaled);
    let mut best: Option<(f64, Vec<f64>)> = None;
    for step in 0..33 {
        let stiffness = libm::pow(10.0, f64::from(step) * 0.5 - 10.0);
        let mut matrix = penalty.clone();
        for (i, row) in matrix.iter_mut().enumerate() {
            for value in row.iter_mut() {
                *value *= stiffness;
            }
            row[i] += weights[i];
        }
        let Some(inverse) = inverted(matrix) else {
            continue;
        };
        let fit: Vec<f64> = inverse
            .iter()
            .map(|row| (0..n).map(|j| row[j] * weights[j] * y[j]).sum())
            .collect();
        let trace: f64 = (0..n).map(|i| inverse[i][i] * weights[i]).sum();
        let chi: f64 = (0..n)
            .map(|i| (y[i] - fit[i]) * (y[i] - fit[i]) * weights[i])
            .sum();
        let left = 1.0 - trace / n as f64;
        if chi > 0.5 * n as f64 || left < 1e-6 {
            continue;
        }
        let score = chi / (left * left);
        if best.as_ref().is_none_or(|b| score < b.0) {
            best = Some((score, fit));
        }
    }
    best.map_or_else(|| y.to_vec(), |b| b.1)
}

/// D'D of the second divided differences, each weighed by its length of x.
fn second_differences(x: &[f64]) -> Vec<Vec<f64>> {
    let n = x.len();
    let mut matrix = vec![vec![0.0; n]; n];
    for i in 1..n - 1 {
        let (h, k) = (x[i] - x[i - 1], x[i + 1] - x[i]);
        let row = [2.0 / (h * (h + k)), -2.0 / (h * k), 2.0 / (k * (h + k))];
        let length = (h + k) / 2.0;
        for (a, va) in row.iter().enumerate() {
            for (b, vb) in row.iter().enumerate() {
                matrix[i - 1 + a][i - 1 + b] += va * vb * length;
            }
        }
    }
    matrix
}

/// Inverse of a symmetric positive matrix by elimination; `None` when it is
/// too near to singular.
fn inverted(mut a: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = a.len();
    let mut inverse: Vec<Vec<f64>> = (0..n)
        .map(|i| (0..n).map(|j| if i == j { 1.0 } else { 0.0 }).collect())
        .collect();
    for i in 0..n {
        let pivot = a[i][i];
        if pivot <= 0.0 || !pivot.is_finite() {
            return None;
        }
        for value in a[i].iter_mut().chain(inverse[i].iter_mut()) {
            *value /= pivot;
        }
        let (row, inverse_row) = (a[i].clone(), inverse[i].clone());
        for j in (0..n).filter(|j| *j != i) {
            let factor = a[j][i];
            if factor != 0.0 {
                for k in 0..n {
                    a[j][k] -= factor * row[k];
                    inverse[j][k] -= factor * inverse_row[k];
                }
            }
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_straight_line_is_kept() {
        let curve = MonotoneCurve::through(vec![0.0, 1.0, 3.0], vec![3.0, 2.0, 0.0]);
        for x in [0.0, 0.3, 1.0, 2.2, 3.0] {
            let (y, slope) = curve.at(x);
            // 1e-12: rounding only, the cubic through a line is the line.
            assert!(
                (y - (3.0 - x)).abs() < 1e-12 && (slope + 1.0).abs() < 1e-12,
                "{x}: {y} {slope}"
            );
        }
        // Outside nothing is extrapolated.
        assert_eq!(curve.at(9.0).0, 0.0);
    }

    #[test]
    fn violators_are_pooled_to_their_mean() {
        // Hand calculation: 2 and 3 pool to 2.5.
        assert_eq!(
            pool_to_falling(&[4.0, 2.0, 3.0, 1.0], &[1.0; 4]),
            [4.0, 2.5, 2.5, 1.0]
        );
    }

    #[test]
    fn smoothing_takes_noise_from_a_line_and_leaves_exact_points() {
        let x: Vec<f64> = (0..21).map(f64::from).collect();
        let noise = [0.01, -0.012, 0.004, 0.009, -0.01, 0.011, -0.003];
        let y: Vec<f64> = x
            .iter()
            .enumerate()
            .map(|(i, x)| 3.0 - 0.14 * x + noise[i % 7])
            .collect();
        let rms = |values: &[f64]| {
            (values
                .iter()
                .zip(&x)
                .map(|(y, x)| (y - 3.0 + 0.14 * x) * (y - 3.0 + 0.14 * x))
                .sum::<f64>()
                / 21.0)
                .sqrt()
        };
        let (before, after) = (rms(&y), rms(&smoothed(&x, &y, &[0.02; 21])));
        // A line has 2 of 21 degrees of freedom; half is a loose bound.
        assert!(after < before / 2.0, "{before} to {after}");
        assert_eq!(smoothed(&x, &y, &[0.0; 21]), y);
    }

    proptest! {
        /// Through falling points the curve falls everywhere, within its points.
        #[test]
        fn the_curve_is_monotone(steps in prop::collection::vec((1e-6_f64..1.0, 0.0_f64..1.0), 2..30)) {
            let (mut x, mut y) = (vec![0.0], vec![5.0]);
            for (dx, dy) in steps {
                x.push(x[x.len() - 1] + dx);
                y.push(y[y.len() - 1] - dy);
            }
            let end = x[x.len() - 1];
            let curve = MonotoneCurve::through(x, y);
            let mut before = f64::INFINITY;
            for i in 0..=500 {
                let (y, _) = curve.at(end * f64::from(i) / 500.0);
                prop_assert!(y <= before + 1e-12, "{y} after {before}");
                before = y;
            }
        }
    }
}
