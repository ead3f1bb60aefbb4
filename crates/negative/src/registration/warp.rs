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
    values
        .par_chunks_mut(width)
        .with_min_len(16)
        .enumerate()
        .for_each(|(y, line)| {
            for (x, value) in line.iter_mut().enumerate() {
                let (u, v) = placement.carry((x as f64 + 0.5, y as f64 + 0.5));
                let (u, v) = (u - 0.5, v - 0.5);
                let (left, top) = (u.floor(), v.floor());
                let (column, row) = (left as i64 - 1, top as i64 - 1);
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
