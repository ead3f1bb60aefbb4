//! A smooth surface over the lightest parts of a picture.

use super::places::from_middle;
use crate::preview::Preview;
use nalgebra::{Matrix4, Vector4};

/// Blocks along the longer side: a choice, fine beside a field that bends once.
const BLOCKS: usize = 28;
/// One in so many of a block's pixels is lighter than its value, so that specks don't
/// make it light: a choice.
const LIGHTER: usize = 10;
/// Blocks this far below the lightest are holder or picture: a choice, beyond the two
/// stops (0.6) that a lens may lose in its corners. \[log10 of signal\]
const FAR_BELOW: f64 = 0.7;
/// What lies this far below the surface draws it less and less: half of what film base
/// may differ by. \[log10 of signal\]
const BELOW: f64 = 0.01;
/// Rounds of weighing: a choice, since the surface rises slowly from the middle of all
/// blocks to the lightest.
const ROUNDS: usize = 40;

/// Gives the parts that follow x, y and r² of −log10 of the light; `None` when too
/// little of the picture is light.
pub(super) fn envelope(picture: &Preview) -> Option<[f64; 3]> {
    let (width, height) = (picture.width as usize, picture.height as usize);
    let side = width.max(height).div_ceil(BLOCKS).max(4);
    let mut blocks: Vec<((f64, f64), f64)> = vec![];
    for top in (0..height).step_by(side) {
        for left in (0..width).step_by(side) {
            let mut values: Vec<f32> = (top..(top + side).min(height))
                .flat_map(|y| {
                    let row = y * width;
                    picture.signal[row + left..row + (left + side).min(width)].iter()
                })
                .copied()
                .collect();
            values.sort_unstable_by(f32::total_cmp);
            let light = values[values.len() - 1 - values.len() / LIGHTER];
            let middle = (
                left as f64 + side as f64 / 2.0,
                top as f64 + side as f64 / 2.0,
            );
            blocks.push((
                from_middle(picture, middle),
                -libm::log10(f64::from(light).max(1e-6)),
            ));
        }
    }
    let lightest = blocks.iter().map(|b| b.1).fold(f64::INFINITY, f64::min);
    blocks.retain(|b| b.1 < lightest + FAR_BELOW);
    if blocks.len() < BLOCKS {
        return None;
    }
    let mut weights = vec![1.0; blocks.len()];
    let mut surface = None;
    for _ in 0..ROUNDS {
        let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
        for (((x, y), log), weight) in blocks.iter().zip(&weights) {
            let row = Vector4::new(1.0, *x, *y, x * x + y * y);
            normal += row * row.transpose() * *weight;
            right += row * (*log * *weight);
        }
        let solution = normal.try_inverse()? * right;
        for (((x, y), log), weight) in blocks.iter().zip(&mut weights) {
            let off = log - solution.dot(&Vector4::new(1.0, *x, *y, x * x + y * y));
            *weight = if off < BELOW {
                1.0
            } else {
                (BELOW / off) * (BELOW / off)
            };
        }
        surface = Some([solution[1], solution[2], solution[3]]);
    }
    surface
}
