//! Edge directions without sign.
//!
//! With the slopes gx and gy of the softened picture as one complex number
//! g = gx + i·gy, the field is z = g²/(|g|² + ε²): its angle is twice that of
//! the edge, so an edge and its negative have the same z; its length is near 1
//! at an edge and small in grain, where directions mean nothing.

use super::halving::GreyPicture;
use rayon::prelude::*;

/// ε over the median slope of the picture: above what grain and faint texture
/// make, below what edges make.
const EPSILON_TIMES_MEDIAN: f32 = 2.0;

/// Every how many pixels the median is taken of.
const MEDIAN_STRIDE: usize = 7;

/// The field of a picture, zero where there is none.
pub(super) struct Field {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) real: Vec<f32>,
    pub(super) imaginary: Vec<f32>,
}

/// Softens with the weights 1 4 6 4 1, across and down: a standard deviation of
/// one pixel. Two pixels at each side are not a number.
fn softened(picture: &GreyPicture) -> Vec<f32> {
    let width = picture.width;
    let mut across = vec![f32::NAN; picture.values.len()];
    across
        .par_chunks_mut(width)
        .zip(picture.values.par_chunks(width))
        .with_min_len(32)
        .for_each(|(to, from)| {
            for (t, w) in to[2..].iter_mut().zip(from.windows(5)) {
                *t = (w[0] + w[4] + 4.0 * (w[1] + w[3]) + 6.0 * w[2]) / 16.0;
            }
        });
    let mut both = vec![f32::NAN; picture.values.len()];
    both.par_chunks_mut(width)
        .with_min_len(32)
        .enumerate()
        .for_each(|(y, to)| {
            if y < 2 || y + 2 >= picture.height {
                return;
            }
            let row = |k: usize| &across[(y + k - 2) * width..][..width];
            let (a, b, c, d, e) = (row(0), row(1), row(2), row(3), row(4));
            for x in 0..width {
                to[x] = (a[x] + e[x] + 4.0 * (b[x] + d[x]) + 6.0 * c[x]) / 16.0;
            }
        });
    both
}

/// Gives the field of a picture.
pub(super) fn field_of(picture: &GreyPicture) -> Field {
    let (width, height) = (picture.width, picture.height);
    let soft = softened(picture);
    let mut real = vec![f32::NAN; soft.len()];
    let mut imaginary = vec![f32::NAN; soft.len()];
    real.par_chunks_mut(width)
        .zip(imaginary.par_chunks_mut(width))
        .with_min_len(32)
        .enumerate()
        .for_each(|(y, (gx, gy))| {
            if y == 0 || y + 1 == height {
                return;
            }
            let (above, here, below) = (
                &soft[(y - 1) * width..][..width],
                &soft[y * width..][..width],
                &soft[(y + 1) * width..][..width],
            );
            for x in 1..width - 1 {
                gx[x] = 0.5 * (here[x + 1] - here[x - 1]);
                gy[x] = 0.5 * (below[x] - above[x]);
            }
        });
    let mut squares: Vec<f32> = real
        .iter()
        .zip(&imaginary)
        .step_by(MEDIAN_STRIDE)
        .map(|(x, y)| x * x + y * y)
        .filter(|s| !s.is_nan())
        .collect();
    let median = if squares.is_empty() {
        0.0
    } else {
        let middle = squares.len() / 2;
        *squares.select_nth_unstable_by(middle, f32::total_cmp).1
    };
    // A picture of large even parts has a median slope of nothing.
    let epsilon = (EPSILON_TIMES_MEDIAN * EPSILON_TIMES_MEDIAN * median).max(1e-10);
    real.par_chunks_mut(width)
        .zip(imaginary.par_chunks_mut(width))
        .with_min_len(32)
        .for_each(|(re, im)| {
            for (re, im) in re.iter_mut().zip(im) {
                let (x, y) = (*re, *im);
                let scale = 1.0 / (x * x + y * y + epsilon);
                let known = !scale.is_nan();
                *re = if known { (x * x - y * y) * scale } else { 0.0 };
                *im = if known { 2.0 * x * y * scale } else { 0.0 };
            }
        });
    Field {
        width,
        height,
        real,
        imaginary,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_and_its_negative_have_one_field() {
        let values: Vec<f32> = (0..64 * 48)
            .map(|i| {
                let (x, y) = ((i % 64) as f32, (i / 64) as f32);
                (x * 0.3).sin() + (y * 0.2 + x * 0.1).cos()
            })
            .collect();
        let field = |sign: f32| {
            let values = values.iter().map(|v| sign * v).collect();
            field_of(&GreyPicture::new(64, 48, values).unwrap())
        };
        let (positive, negative) = (field(1.0), field(-1.0));
        assert!(positive.real.iter().any(|z| z.abs() > 0.1));
        assert_eq!(positive.real, negative.real);
        assert_eq!(positive.imaginary, negative.imaginary);
    }
}
