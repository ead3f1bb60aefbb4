//! Symmetric 2 × 2 matrices: curvatures and covariances in the plane.

/// A symmetric 2 × 2 matrix.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Symmetric {
    pub(super) xx: f64,
    pub(super) xy: f64,
    pub(super) yy: f64,
}

impl Symmetric {
    pub(super) fn plus(self, other: Self) -> Self {
        Self {
            xx: self.xx + other.xx,
            xy: self.xy + other.xy,
            yy: self.yy + other.yy,
        }
    }

    pub(super) fn times(self, factor: f64) -> Self {
        Self {
            xx: self.xx * factor,
            xy: self.xy * factor,
            yy: self.yy * factor,
        }
    }

    pub(super) fn inverse(self) -> Self {
        let determinant = (self.xx * self.yy - self.xy * self.xy).max(f64::MIN_POSITIVE);
        Self {
            xx: self.yy,
            xy: -self.xy,
            yy: self.xx,
        }
        .times(1.0 / determinant)
    }

    /// The square of the matrix.
    pub(super) fn squared(self) -> Self {
        Self {
            xx: self.xx * self.xx + self.xy * self.xy,
            xy: self.xy * (self.xx + self.yy),
            yy: self.yy * self.yy + self.xy * self.xy,
        }
    }

    pub(super) fn of(self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.xx * x + self.xy * y, self.xy * x + self.yy * y)
    }

    /// The same without the part that curves the wrong way.
    pub(super) fn without_negative(self) -> Self {
        let mean = 0.5 * (self.xx + self.yy);
        let half = libm::hypot(0.5 * (self.xx - self.yy), self.xy);
        if mean - half >= 0.0 {
            return self;
        }
        if mean + half <= 0.0 {
            return Self::default();
        }
        // Only the larger eigenvalue stays: (M − λ₂)·λ₁/(λ₁ − λ₂).
        let (large, small) = (mean + half, mean - half);
        Self {
            xx: self.xx - small,
            xy: self.xy,
            yy: self.yy - small,
        }
        .times(large / (large - small))
    }
}
