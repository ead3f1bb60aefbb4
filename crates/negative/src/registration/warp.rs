//! The second picture as it would lie on the first.

use super::halving::GreyPicture;
use super::placement::Placement;
use rayon::prelude::*;

/// Weights of the four pixels around a place `t` between the middle two: the
/// cubic convolution that is exact for parabolas.
///
/// Source: Keys, IEEE Trans. ASSP 29 (1981) 1153, a = −1/2.
fn cubic(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        0.5 * (-t3 + 2.0 * t2 - t),
        0.5 * (3.0 * t3 - 5.0 * t2 + 2.0),
        0.5 * (-3.0 * t3 + 4.0 * t2 + t),
        0.5 * (t3 - t2),
    ]
}

/// Added to places before their fraction is cut off.
const OFFSET: f64 = 1_048_576.0;

/// Gives the second picture at the places where the pixels of the first lie in
/// it; not a number outside.
pub(super) fn laid_on(
    second: &GreyPicture,
    placement: &Placement,
    width: usize,
    height: usize,
) -> GreyPicture {
    let mut values = vec![f32::NAN; width * height];
    let (columns, rows) = (second.width as i64, second.height as i64);
    let flat = placement.matrix()[2] == [0.0, 0.0, 1.0];
    values
        .par_chunks_mut(width)
        .with_min_len(16)
        .enumerate()
        .for_each(|(y, line)| {
            let start = placement.carry((0.5, y as f64 + 0.5));
            let next = placement.carry((1.5, y as f64 + 0.5));
            let step = (next.0 - start.0, next.1 - start.1);
            for (x, value) in line.iter_mut().enumerate() {
                // Without a tilt the places along a row are evenly spaced.
                let (u, v) = if flat {
                    (start.0 + x as f64 * step.0, start.1 + x as f64 * step.1)
                } else {
                    placement.carry((x as f64 + 0.5, y as f64 + 0.5))
                };
                // Half a pixel from corner to middle; 2^20 pixels make every
                // place positive, so that cutting off is rounding down.
                let (u, v) = (u - 0.5 + OFFSET, v - 0.5 + OFFSET);
                let (whole_u, whole_v) = (u as i64, v as i64);
                let (left, top) = (whole_u as f64, whole_v as f64);
                let (column, row) = (whole_u - OFFSET as i64 - 1, whole_v - OFFSET as i64 - 1);
                if column < 0 || row < 0 || column + 4 > columns || row + 4 > rows {
                    continue;
                }
                let (across, down) = (cubic((u - left) as f32), cubic((v - top) as f32));
                let mut sum = 0.0;
                for (k, weight) in down.iter().enumerate() {
                    let from = (row as usize + k) * second.width + column as usize;
                    let p = &second.values[from..from + 4];
                    sum += weight
                        * (across[0] * p[0]
                            + across[1] * p[1]
                            + across[2] * p[2]
                            + across[3] * p[3]);
                }
                *value = sum;
            }
        });
    GreyPicture {
        width,
        height,
        values,
    }
}
