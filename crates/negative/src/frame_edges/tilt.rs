//! The tilt that the sides of a picture agree on.

use super::found::{FrameNotFound, SideName};
use super::side::SideLine;
use super::view::View;
use crate::preview::Preview;

/// How far a side may be off a right angle, beside its uncertainty. \[degrees\]
const OFF_SQUARE: f64 = 0.2;

/// Tilt of the sides, its uncertainty, and the largest difference from it.
pub(super) struct Tilt {
    pub(super) degrees: f64,
    pub(super) sd: f64,
    off: f64,
}

impl Tilt {
    /// 1 where all sides are square to each other, 0 where one is off by twice what passes.
    pub(super) fn squareness(&self) -> f64 {
        (1.0 - self.off / (2.0 * OFF_SQUARE)).clamp(0.0, 1.0)
    }
}

/// Gives the tilt that the sides agree on, each weighted by its own uncertainty.
///
/// # Errors
/// [`FrameNotFound::NotSquare`] where one of them is off a right angle.
pub(super) fn tilt_of(
    picture: &Preview,
    lines: &[Option<SideLine>; 4],
) -> Result<Tilt, FrameNotFound> {
    let tilts: Vec<(f64, f64)> = SideName::ALL
        .into_iter()
        .zip(lines)
        .filter_map(|(name, line)| {
            let line = line.as_ref()?;
            let tilt = View::new(picture, name).tilt_of(line.slope);
            Some((tilt, line.slope_sd.to_degrees().max(0.003)))
        })
        .collect();
    let weights: f64 = tilts.iter().map(|(_, sd)| 1.0 / (sd * sd)).sum();
    let degrees = tilts.iter().map(|(t, sd)| t / (sd * sd)).sum::<f64>() / weights;
    let off = tilts
        .iter()
        .map(|(t, _)| (t - degrees).abs())
        .fold(0.0, f64::max);
    let count = tilts.len() as f64;
    let squares: f64 = tilts
        .iter()
        .map(|(t, _)| (t - degrees) * (t - degrees))
        .sum();
    let scatter = libm::sqrt(squares / (count - 1.0).max(1.0) / count);
    let worst = tilts.iter().map(|(_, sd)| *sd).fold(0.0, f64::max);
    if off > OFF_SQUARE + 3.0 * worst {
        return Err(FrameNotFound::NotSquare { off_deg: off });
    }
    Ok(Tilt {
        degrees,
        sd: libm::hypot(1.0 / libm::sqrt(weights), scatter),
        off,
    })
}
