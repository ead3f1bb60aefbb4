//! Linear axes: from numbers to pixels, with ticks.

/// A linear scale from a range of numbers to a range of pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Axis {
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) from_px: f64,
    pub(crate) to_px: f64,
}

impl Axis {
    /// Gives the pixel of a number; numbers outside land outside.
    pub(crate) fn at(self, value: f64) -> f64 {
        self.from_px + (value - self.low) / (self.high - self.low) * (self.to_px - self.from_px)
    }

    /// Gives the pixel of a number, held within the ends.
    pub(crate) fn held(self, value: f64) -> f64 {
        self.at(value.clamp(self.low, self.high))
    }

    /// Tells whether a number lies on the axis.
    pub(crate) fn holds(self, value: f64) -> bool {
        value >= self.low - 1e-9 && value <= self.high + 1e-9
    }

    /// Gives the multiples of a step on the axis, as whole numbers of steps.
    pub(crate) fn steps(self, step: f64) -> impl Iterator<Item = i64> {
        // An axis is at most some hundred steps long, so the casts are exact.
        let first = libm::ceil(self.low / step - 1e-6) as i64;
        let last = libm::floor(self.high / step + 1e-6) as i64;
        first..=last
    }
}

/// Rounds down to a multiple of a step.
pub(crate) fn floor_to(value: f64, step: f64) -> f64 {
    libm::floor(value / step + 1e-9) * step
}

/// Rounds up to a multiple of a step.
pub(crate) fn ceil_to(value: f64, step: f64) -> f64 {
    libm::ceil(value / step - 1e-9) * step
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_lie_on_multiples_of_the_step_and_include_the_ends() {
        // Hand count: −0.6, −0.3, 0, 0.3, 0.6 are −2 to 2 steps of 0.3.
        let axis = Axis {
            low: -0.6,
            high: 0.6,
            from_px: 0.0,
            to_px: 120.0,
        };
        assert_eq!(axis.steps(0.3).collect::<Vec<_>>(), [-2, -1, 0, 1, 2]);
        assert!((axis.at(0.3) - 90.0).abs() < 1e-9);
    }

    #[test]
    fn rounding_to_a_step_keeps_what_is_on_it() {
        assert!((floor_to(-2.1, 0.3) + 2.1).abs() < 1e-9);
        assert!((ceil_to(2.11, 0.3) - 2.4).abs() < 1e-9);
    }
}
