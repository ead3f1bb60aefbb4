//! Where each point of one picture lies in another: a projective map.
//!
//! A shift, a rotation and a scale are the special case of two flat scans; the
//! two numbers of the last row are the tilt of a camera over the light table.

/// A map from points of the first picture to points of the second. \[pixels\]
///
/// Invariant: the last number of the matrix is 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placement([[f64; 3]; 3]);

impl Placement {
    /// Every point stays.
    pub const SAME: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);

    /// Gives the map that moves every point alike.
    #[must_use]
    pub fn shift(dx: f64, dy: f64) -> Self {
        Self([[1.0, 0.0, dx], [0.0, 1.0, dy], [0.0, 0.0, 1.0]])
    }

    /// Gives the map that turns and scales about `from` and brings `from` to `to`.
    ///
    /// A positive rotation goes from the x axis towards the y axis: clockwise
    /// on a screen. \[radians\]
    #[must_use]
    pub fn similarity(rotation: f64, scale: f64, from: (f64, f64), to: (f64, f64)) -> Self {
        let (c, s) = (scale * libm::cos(rotation), scale * libm::sin(rotation));
        Self([
            [c, -s, to.0 - c * from.0 + s * from.1],
            [s, c, to.1 - s * from.0 - c * from.1],
            [0.0, 0.0, 1.0],
        ])
    }

    /// Takes a matrix, row by row; none when it is no map with a last number
    /// that can be made 1.
    #[must_use]
    pub fn from_matrix(rows: [[f64; 3]; 3]) -> Option<Self> {
        let last = rows[2][2];
        let all = rows.map(|row| row.map(|v| v / last));
        all.iter()
            .flatten()
            .all(|v| v.is_finite())
            .then_some(Self(all))
    }

    /// Gives the matrix, row by row.
    #[must_use]
    pub fn matrix(&self) -> [[f64; 3]; 3] {
        self.0
    }

    /// Gives where a point lies in the second picture.
    #[must_use]
    pub fn carry(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let m = &self.0;
        let w = m[2][0] * x + m[2][1] * y + 1.0;
        (
            (m[0][0] * x + m[0][1] * y + m[0][2]) / w,
            (m[1][0] * x + m[1][1] * y + m[1][2]) / w,
        )
    }

    /// Gives the map that does `first` and then this one.
    #[must_use]
    pub fn after(&self, first: &Self) -> Self {
        let (a, b) = (&self.0, &first.0);
        let mut product = [[0.0; 3]; 3];
        for (row, line) in product.iter_mut().enumerate() {
            for (column, cell) in line.iter_mut().enumerate() {
                *cell = (0..3).map(|k| a[row][k] * b[k][column]).sum();
            }
        }
        let last = product[2][2];
        Self(product.map(|row| row.map(|v| v / last)))
    }

    /// Gives the map between pictures scaled by `first` and `second`: the same
    /// places when each coordinate is multiplied so.
    #[must_use]
    pub fn scaled(&self, first: f64, second: f64) -> Self {
        let m = &self.0;
        Self([
            [
                m[0][0] * second / first,
                m[0][1] * second / first,
                m[0][2] * second,
            ],
            [
                m[1][0] * second / first,
                m[1][1] * second / first,
                m[1][2] * second,
            ],
            [m[2][0] / first, m[2][1] / first, 1.0],
        ])
    }

    /// Gives the rotation at a point. \[radians\]
    #[must_use]
    pub fn rotation_at(&self, point: (f64, f64)) -> f64 {
        let (right, _) = self.steps_at(point);
        libm::atan2(right.1, right.0)
    }

    /// Gives the scale at a point: the root of how areas grow.
    #[must_use]
    pub fn scale_at(&self, point: (f64, f64)) -> f64 {
        let (right, down) = self.steps_at(point);
        libm::sqrt((right.0 * down.1 - right.1 * down.0).abs())
    }

    /// How a step of one pixel to the right and one down is carried.
    fn steps_at(&self, (x, y): (f64, f64)) -> ((f64, f64), (f64, f64)) {
        let difference = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0, a.1 - b.1);
        (
            difference(self.carry((x + 0.5, y)), self.carry((x - 0.5, y))),
            difference(self.carry((x, y + 0.5)), self.carry((x, y - 0.5))),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_brings_the_right_side_down() {
        // Hand calculation: about (10, 20), a point 3 to the right goes to 3 below, doubled: 6.
        let quarter = core::f64::consts::FRAC_PI_2;
        let map = Placement::similarity(quarter, 2.0, (10.0, 20.0), (1.0, 2.0));
        let (x, y) = map.carry((13.0, 20.0));
        // 1e-12: rounding of numbers of order ten.
        assert!(
            (x - 1.0).abs() < 1e-12 && (y - 8.0).abs() < 1e-12,
            "{x} {y}"
        );
        assert!((map.rotation_at((0.0, 0.0)) - quarter).abs() < 1e-12);
        assert!((map.scale_at((5.0, 5.0)) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn one_map_after_another_is_their_product() {
        let tilt = Placement::from_matrix([[1.0, 0.1, 3.0], [-0.1, 1.0, 2.0], [1e-4, 2e-4, 1.0]]);
        let tilt = tilt.unwrap();
        let shift = Placement::shift(5.0, -7.0);
        let one_by_one = tilt.carry(shift.carry((100.0, 50.0)));
        let together = tilt.after(&shift).carry((100.0, 50.0));
        assert!((one_by_one.0 - together.0).abs() < 1e-9);
        assert!((one_by_one.1 - together.1).abs() < 1e-9);
        // Half the size in the first, a quarter in the second picture.
        let small = tilt.scaled(0.5, 0.25).carry((50.0, 25.0));
        let full = tilt.carry((100.0, 50.0));
        assert!((small.0 - full.0 / 4.0).abs() < 1e-9 && (small.1 - full.1 / 4.0).abs() < 1e-9);
    }
}
