//! Values between the points of a curve, without overshoot.
//!
//! Straight lines, or the monotone piecewise cubic of Fritsch and Carlson: where
//! the points rise the curve rises, where two are equal it is level, and no
//! value lies outside those of its two neighbours.
//!
//! Source: Fritsch and Carlson, "Monotone Piecewise Cubic Interpolation", SIAM
//! J. Numer. Anal. 17 (1980) 238; slopes at the points by the weighted harmonic
//! mean of Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300 (both
//! from memory).

/// How values between points are found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Interpolation {
    /// Straight lines.
    #[default]
    Linear,
    /// Monotone piecewise cubic.
    Monotone,
}

impl Interpolation {
    /// Gives the way in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Linear => "straight lines",
            Self::Monotone => "monotone cubic",
        }
    }
}

/// Gives the value at `x` between points with rising abscissae.
///
/// `x` must lie within them; at a point the point's own value comes back unchanged.
pub(crate) fn interpolated(points: &[(f64, f64)], x: f64, by: Interpolation) -> f64 {
    let after = points.partition_point(|p| p.0 <= x);
    if after > 0 && points[after - 1].0 == x {
        return points[after - 1].1;
    }
    assert!(
        after > 0 && after < points.len(),
        "asked within the points only"
    );
    let (left, right) = (points[after - 1], points[after]);
    let width = right.0 - left.0;
    let t = (x - left.0) / width;
    match by {
        Interpolation::Linear => left.1 + t * (right.1 - left.1),
        Interpolation::Monotone => {
            let slope_left = slope(points, after - 1);
            let slope_right = slope(points, after);
            // Hermite form: h00 y0 + h10 h m0 + h01 y1 + h11 h m1.
            let (t2, t3) = (t * t, t * t * t);
            let value = (2.0 * t3 - 3.0 * t2 + 1.0) * left.1
                + (t3 - 2.0 * t2 + t) * width * slope_left
                + (3.0 * t2 - 2.0 * t3) * right.1
                + (t3 - t2) * width * slope_right;
            // Rounding may leave the neighbours by a last bit.
            value.clamp(left.1.min(right.1), left.1.max(right.1))
        }
    }
}

/// Gives the slope of the monotone curve at a point.
fn slope(points: &[(f64, f64)], at: usize) -> f64 {
    let secant = |i: usize| (points[i + 1].1 - points[i].1) / (points[i + 1].0 - points[i].0);
    let width = |i: usize| points[i + 1].0 - points[i].0;
    let last = points.len() - 1;
    if last == 1 {
        return secant(0);
    }
    if at == 0 {
        return end_slope(width(0), width(1), secant(0), secant(1));
    }
    if at == last {
        return end_slope(
            width(last - 1),
            width(last - 2),
            secant(last - 1),
            secant(last - 2),
        );
    }
    let (before, after) = (secant(at - 1), secant(at));
    if before * after <= 0.0 {
        return 0.0;
    }
    let w1 = 2.0 * width(at) + width(at - 1);
    let w2 = width(at) + 2.0 * width(at - 1);
    (w1 + w2) / (w1 / before + w2 / after)
}

/// One-sided slope of three points, cut back where it would overshoot.
fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_line_is_a_line_either_way() {
        let points = [(400.0, 0.1), (410.0, 0.2), (430.0, 0.4), (435.0, 0.45)];
        for by in [Interpolation::Linear, Interpolation::Monotone] {
            for x in [400.0, 403.0, 420.0, 434.9, 435.0] {
                let wanted = 0.1 + (x - 400.0) * 0.01;
                assert!((interpolated(&points, x, by) - wanted).abs() < 1e-12, "{x}");
            }
        }
    }

    #[test]
    fn the_cubic_follows_a_smooth_edge_closer_than_lines_do() {
        // Truth: a logistic edge of w = 6 nm at 720 nm, sampled every 10 nm.
        let truth = |x: f64| 1.0 / (1.0 + libm::exp(-(x - 720.0) / 6.0));
        let points: Vec<_> = (0..=12)
            .map(|i| 660.0 + 10.0 * f64::from(i))
            .map(|x| (x, truth(x)))
            .collect();
        let worst = |by| {
            (0..=120)
                .map(|i| 660.0 + f64::from(i))
                .map(|x| (interpolated(&points, x, by) - truth(x)).abs())
                .fold(0.0, f64::max)
        };
        let (lines, cubic) = (worst(Interpolation::Linear), worst(Interpolation::Monotone));
        // Hand estimate of the lines' error: h²/8 · max|T″| = 12.5 · 0.0962/36 = 0.033.
        assert!((0.02..0.034).contains(&lines), "{lines}");
        assert!(cubic < lines / 2.0, "{cubic} against {lines}");
    }

    proptest! {
        /// No value lies outside its neighbours, whatever the points are.
        #[test]
        fn nothing_overshoots(
            steps in proptest::collection::vec((0.1_f64..30.0, 0.0_f64..1.0), 3..20),
            share in 0.0_f64..1.0,
        ) {
            let mut x = 400.0;
            let points: Vec<(f64, f64)> = steps.iter().map(|&(step, y)| { x += step; (x, y) }).collect();
            for pair in points.windows(2) {
                let at = pair[0].0 + share * (pair[1].0 - pair[0].0);
                let low = pair[0].1.min(pair[1].1) - 1e-12;
                let high = pair[0].1.max(pair[1].1) + 1e-12;
                for by in [Interpolation::Linear, Interpolation::Monotone] {
                    let value = interpolated(&points, at, by);
                    prop_assert!((low..=high).contains(&value), "{value} at {at}");
                }
            }
        }
    }
}
