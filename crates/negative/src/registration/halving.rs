//! A grey picture, and the same at half its size.

use super::RegistrationError;
use pulp::Simd;

/// Fewest pixels a side must have.
const SMALLEST_SIDE: usize = 32;

/// A picture of single numbers that rise or fall with density.
///
/// Densities or logarithms of signals serve best: grain is then about as strong
/// in the dark parts as in the light ones.
///
/// Invariant: as many values as pixels; each side has at least 32 pixels; no
/// value is infinite. A value that is not a number is no picture there.
#[derive(Clone, Debug, PartialEq)]
pub struct GreyPicture {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) values: Vec<f32>,
}

/// What gives a picture row by row.
pub(super) trait Rows: Sync {
    /// Width and height.
    fn size(&self) -> (usize, usize);

    /// Fills the beginning of a line, which has room for `MOST_LANES` values more, with
    /// a row.
    fn row<S: Simd>(&self, simd: S, y: usize, line: &mut [f32]);
}

impl Rows for GreyPicture {
    fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    #[inline(always)]
    fn row<S: Simd>(&self, _: S, y: usize, line: &mut [f32]) {
        line[..self.width].copy_from_slice(&self.values[y * self.width..][..self.width]);
    }
}

impl GreyPicture {
    /// Takes the values row by row; infinite ones count as missing.
    ///
    /// # Errors
    /// [`RegistrationError::Size`] and [`RegistrationError::TooSmall`].
    pub fn new(
        width: usize,
        height: usize,
        mut values: Vec<f32>,
    ) -> Result<Self, RegistrationError> {
        if width.checked_mul(height) != Some(values.len()) {
            return Err(RegistrationError::Size {
                width,
                height,
                found: values.len(),
            });
        }
        if width.min(height) < SMALLEST_SIDE {
            return Err(RegistrationError::TooSmall {
                width,
                height,
                needed: SMALLEST_SIDE,
            });
        }
        for value in &mut values {
            if !value.is_finite() {
                *value = f32::NAN;
            }
        }
        Ok(Self {
            width,
            height,
            values,
        })
    }

    /// Pixels in a row.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.height
    }

    /// Gives the picture at half the size: means of two by two pixels. An odd
    /// last row or column is left out, so coordinates are halved exactly.
    pub(super) fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut values = Vec::with_capacity(width * height);
        for rows in self.values.chunks_exact(2 * self.width).take(height) {
            let (upper, lower) = rows.split_at(self.width);
            values.extend(
                upper
                    .chunks_exact(2)
                    .zip(lower.chunks_exact(2))
                    .map(|(a, b)| 0.25 * ((a[0] + a[1]) + (b[0] + b[1]))),
            );
        }
        Self {
            width,
            height,
            values,
        }
    }

    pub(super) fn long_side(&self) -> usize {
        self.width.max(self.height)
    }

    pub(super) fn short_side(&self) -> usize {
        self.width.min(self.height)
    }

    pub(super) fn centre(&self) -> (f64, f64) {
        (self.width as f64 / 2.0, self.height as f64 / 2.0)
    }
}
