//! How much more light one frame got than another, point by point, through the
//! film's curve; and how densities of two frames go together.
//!
//! Both frames lie on each other by a [`Placement`]. Where the curve is too flat
//! to tell an exposure from a density, on the toe and on the shoulder, a pixel is
//! marked and nothing is carried on.

use crate::density_map::{DensityMap, PixelState};
use crate::registration::Placement;
use quantity::Stops;

/// Share of the steepest gradient below which a density tells no exposure.
const FLAT_SHARE: f64 = 0.2;

/// Which part of a curve a density lies on that tells no exposure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flat {
    /// Too thin.
    Toe,
    /// Too dense.
    Shoulder,
}

/// The part of a curve that is steep enough to tell exposures from densities.
///
/// Invariant: at least two points; density and log exposure rise from each to the
/// next.
#[derive(Clone, Debug, PartialEq)]
pub struct SteepCurve(Vec<(f64, f64)>);

impl SteepCurve {
    /// Takes points (log10 exposure, gross density) of a curve that rises; none
    /// where it has no steep part.
    ///
    /// The steep part goes from the steepest stretch to both sides as far as the
    /// gradient is at least a fifth of that.
    #[must_use]
    pub fn of_points(points: &[(f64, f64)]) -> Option<Self> {
        let gradients: Vec<f64> = points
            .windows(2)
            .map(|w| (w[1].1 - w[0].1) / (w[1].0 - w[0].0))
            .collect();
        let steepest = (0..gradients.len())
            .filter(|i| gradients[*i].is_finite())
            .max_by(|a, b| gradients[*a].total_cmp(&gradients[*b]))?;
        let least = FLAT_SHARE * gradients[steepest];
        if least <= 0.0 {
            return None;
        }
        let steep = |i: &usize| gradients[*i] >= least;
        let first = (0..=steepest).rev().take_while(steep).last()?;
        let last = (steepest..gradients.len()).take_while(steep).last()?;
        Some(Self(
            points[first..=last + 1]
                .iter()
                .map(|p| (p.1, p.0))
                .collect(),
        ))
    }

    /// Gives the lowest and the highest density that tell an exposure.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        (self.0[0].0, self.0[self.0.len() - 1].0)
    }

    /// Gives the log10 exposure of a gross density.
    ///
    /// # Errors
    /// [`Flat`] when it lies on the toe or on the shoulder.
    pub fn log_h(&self, density: f64) -> Result<f64, Flat> {
        let (low, high) = self.range();
        if density < low {
            return Err(Flat::Toe);
        }
        if density > high {
            return Err(Flat::Shoulder);
        }
        let above = self
            .0
            .partition_point(|p| p.0 < density)
            .clamp(1, self.0.len() - 1);
        let ((d0, h0), (d1, h1)) = (self.0[above - 1], self.0[above]);
        Ok(h0 + (h1 - h0) * (density - d0) / (d1 - d0))
    }
}

/// What a pixel of a difference is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DifferenceState {
    /// The difference is known.
    Told,
    /// One of the two is too thin for the curve or the tablet.
    TooThin,
    /// One of the two is too dense for the curve or the tablet.
    TooDense,
    /// Clipped, left out, or not on the other frame.
    Missing,
}

/// Exposure of the second frame over that of the first, on the first one's pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureDifference {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Stops, row by row; not a number where there is none.
    pub stops: Vec<f32>,
    /// What each pixel is.
    pub state: Vec<DifferenceState>,
}

impl ExposureDifference {
    /// Gives the same less a number of stops, so that this becomes the zero.
    #[must_use]
    pub fn from_zero_at(mut self, zero: Stops) -> Self {
        for stops in &mut self.stops {
            *stops -= zero.to_stops() as f32;
        }
        self
    }

    /// Counts the pixels of a state.
    #[must_use]
    pub fn count(&self, state: DifferenceState) -> usize {
        self.state.iter().filter(|s| **s == state).count()
    }

    /// Gives the differences that are known, lowest first. \[stops\]
    #[must_use]
    pub fn sorted(&self) -> Vec<f32> {
        let mut all: Vec<f32> = self
            .stops
            .iter()
            .copied()
            .filter(|s| s.is_finite())
            .collect();
        all.sort_by(f32::total_cmp);
        all
    }
}

/// A frame's map with the curve of its development.
#[derive(Clone, Copy, Debug)]
pub struct DevelopedMap<'a> {
    /// Densities.
    pub map: &'a DensityMap,
    /// The curve.
    pub curve: &'a SteepCurve,
}

/// Gives the exposure of the second frame over that of the first.
///
/// `placement` goes from pixels of the first map to pixels of the second.
#[must_use]
pub fn exposure_difference(
    first: DevelopedMap<'_>,
    second: DevelopedMap<'_>,
    placement: &Placement,
) -> ExposureDifference {
    let map = first.map;
    let width = map.width as usize;
    let told = |place: usize| -> Result<f64, DifferenceState> {
        let of_flat = |flat| match flat {
            Flat::Toe => DifferenceState::TooThin,
            Flat::Shoulder => DifferenceState::TooDense,
        };
        let of_state = |state| match state {
            PixelState::Thinner => Err(DifferenceState::TooThin),
            PixelState::Denser => Err(DifferenceState::TooDense),
            PixelState::Clipped | PixelState::LeftOut => Err(DifferenceState::Missing),
            PixelState::Read => Ok(()),
        };
        of_state(map.state[place])?;
        let point = ((place % width) as f64 + 0.5, (place / width) as f64 + 0.5);
        let there = placement.carry(point);
        let Some(density) = second.map.density_at(there) else {
            // The reason is that of the pixel the point lies in.
            let (x, y) = (libm::floor(there.0), libm::floor(there.1));
            let (columns, rows) = (f64::from(second.map.width), f64::from(second.map.height));
            if (0.0..columns).contains(&x) && (0.0..rows).contains(&y) {
                let place = y as usize * second.map.width as usize + x as usize;
                of_state(second.map.state[place])?;
            }
            return Err(DifferenceState::Missing);
        };
        let here = f64::from(map.density[place]);
        let from = first.curve.log_h(here).map_err(of_flat)?;
        let to = second.curve.log_h(density).map_err(of_flat)?;
        Ok((to - from) / core::f64::consts::LOG10_2)
    };
    let all: Vec<_> = (0..map.density.len()).map(told).collect();
    ExposureDifference {
        width: map.width,
        height: map.height,
        stops: all
            .iter()
            .map(|t| t.as_ref().map_or(f32::NAN, |stops| *stops as f32))
            .collect(),
        state: all
            .iter()
            .map(|t| t.as_ref().err().copied().unwrap_or(DifferenceState::Told))
            .collect(),
    }
}

/// How often each density of the first frame goes with each of the second.
#[derive(Clone, Debug, PartialEq)]
pub struct JointHistogram {
    /// Width of a field, along both axes. \[density\]
    pub step: f64,
    /// Fields along each axis, from density 0.
    pub side: usize,
    /// Pixels of each field: density of the second × density of the first.
    pub counts: Vec<u32>,
    /// Pixels counted.
    pub pixels: u64,
}

/// Counts the densities of two frames that lie on each other, in fields of `step`.
///
/// `placement` goes from pixels of the first map to pixels of the second.
#[must_use]
pub fn joint_histogram(
    first: &DensityMap,
    second: &DensityMap,
    placement: &Placement,
    step: f64,
    side: usize,
) -> JointHistogram {
    let mut counts = vec![0_u32; side * side];
    let mut pixels = 0;
    let width = first.width as usize;
    for (place, density) in first.density.iter().enumerate() {
        if first.state[place] != PixelState::Read {
            continue;
        }
        let point = ((place % width) as f64 + 0.5, (place / width) as f64 + 0.5);
        let Some(other) = second.density_at(placement.carry(point)) else {
            continue;
        };
        let field = |d: f64| {
            let field = libm::floor(d / step);
            (0.0..side as f64)
                .contains(&field)
                .then_some(field as usize)
        };
        if let (Some(column), Some(row)) = (field(f64::from(*density)), field(other)) {
            counts[row * side + column] += 1;
            pixels += 1;
        }
    }
    JointHistogram {
        step,
        side,
        counts,
        pixels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A toe to log H −2, a line of gradient 0.6, a shoulder from log H 1.
    fn curve() -> Vec<(f64, f64)> {
        (-40..=30)
            .map(|i| f64::from(i) * 0.1)
            .map(|x| {
                let line = 0.6 * (x.clamp(-2.0, 1.0) + 2.0);
                let ends = 0.02 * (x.min(-2.0) + 2.0) + 0.02 * (x.max(1.0) - 1.0);
                (x, 0.3 + line + ends)
            })
            .collect()
    }

    fn map(density: impl Fn(f64) -> f64) -> DensityMap {
        let (width, height) = (40, 30);
        let density: Vec<f32> = (0..width * height)
            .map(|place| density(f64::from(place % width)) as f32)
            .collect();
        DensityMap {
            width,
            height,
            box_side: 1,
            state: vec![PixelState::Read; density.len()],
            density,
        }
    }

    #[test]
    fn two_stops_more_on_the_leaves_are_two_stops() {
        // Hand calculation: 2 stops are 0.602 of log H, 0.361 of density at gradient 0.6.
        // Columns from 20 on are leaves; from 35 on the second is beyond the shoulder.
        let curve = SteepCurve::of_points(&curve()).unwrap();
        let (low, high) = curve.range();
        assert!(
            (low - 0.3).abs() < 1e-9 && (high - 2.1).abs() < 1e-9,
            "{low} {high}"
        );
        let first = map(|_| 1.0);
        let second = map(|x| {
            if x >= 35.0 {
                2.2
            } else if x >= 20.0 {
                1.0 + 0.6 * 2.0 * core::f64::consts::LOG10_2
            } else {
                1.0
            }
        });
        let of = |map| DevelopedMap { map, curve: &curve };
        // The second lies 3 to the right: the pixel at 17 falls on leaves.
        let found = exposure_difference(of(&first), of(&second), &Placement::shift(3.0, 0.0));
        let row = 15 * 40;
        // 1e-5: densities in single precision.
        assert!(found.stops[row + 10].abs() < 1e-5);
        assert!((found.stops[row + 20] - 2.0).abs() < 1e-5);
        assert_eq!(found.state[row + 33], DifferenceState::TooDense);
        assert_eq!(found.state[row + 38], DifferenceState::Missing);
        assert!(found.stops[row + 33].is_nan() && found.stops[row + 38].is_nan());
        let told = found.count(DifferenceState::Told);
        assert_eq!(told, found.sorted().len());
        let moved = found.from_zero_at(Stops::new(2.0).unwrap());
        assert!((moved.stops[row + 10] + 2.0).abs() < 1e-5);
    }

    #[test]
    fn toe_and_shoulder_tell_no_exposure() {
        let curve = SteepCurve::of_points(&curve()).unwrap();
        assert_eq!(curve.log_h(0.29), Err(Flat::Toe));
        assert_eq!(curve.log_h(2.2), Err(Flat::Shoulder));
        // On the line: D 0.9 is 0.6 over 0.3, so log H −2 + 1.
        assert!((curve.log_h(0.9).unwrap() + 1.0).abs() < 1e-9);
        assert_eq!(SteepCurve::of_points(&[(0.0, 1.0), (1.0, 1.0)]), None);
    }

    #[test]
    fn densities_that_go_together_fall_into_one_field() {
        let joint = joint_histogram(
            &map(|_| 0.52),
            &map(|x| if x < 20.0 { 1.07 } else { 0.21 }),
            &Placement::SAME,
            0.1,
            40,
        );
        // The outermost half pixels have no four neighbours: 38 × 28 at most are counted.
        assert!(joint.pixels >= 38 * 28);
        assert_eq!(
            joint.counts.iter().map(|c| u64::from(*c)).sum::<u64>(),
            joint.pixels
        );
        // Between the halves lies one column whose light is the mean of both.
        assert!(joint.counts[10 * 40 + 5] > 500 && joint.counts[2 * 40 + 5] > 500);
    }
}
