//! Density at every pixel of a scan, at one stated size.
//!
//! Pixels are brought together by the mean of their transmittances, as a
//! densitometer's aperture does; a mean of densities would read dense specks too
//! high. What can't be read is marked and never invented: beyond the tablet,
//! clipped, not scanned, or left out by whoever asks.
//!
//! Read [`DensityMapPass`] first, which takes the rows of a scan.

use crate::calibration::Calibration;
use crate::decode::ScanRow;
use crate::tone::Tone;

/// Share of the pixels of a box that may be clipped: dust and pinholes.
const CLIPPED_SHARE: f64 = 0.05;
/// Share of the pixels of a box that may lie beyond an end of the tablet, where
/// they are held at its last step: grain about that step.
const BEYOND_SHARE: f64 = 0.25;

/// What a pixel of a map is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PixelState {
    /// Its density is known.
    Read,
    /// Thinner than the lightest step of the tablet.
    Thinner,
    /// Denser than the darkest step of the tablet.
    Denser,
    /// At an end of the scale of codes.
    Clipped,
    /// Not scanned, or left out.
    LeftOut,
}

/// Density at every pixel.
///
/// Invariant: as many densities and states as pixels; a density is a number just
/// where the state is [`PixelState::Read`].
#[derive(Clone, Debug, PartialEq)]
pub struct DensityMap {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Pixels of the scan along each side of one pixel here.
    pub box_side: u32,
    /// Gross densities, row by row; not a number where there is none.
    pub density: Vec<f32>,
    /// What each pixel is.
    pub state: Vec<PixelState>,
}

impl DensityMap {
    /// Leaves out what lies within a rectangle of the scan: left, top, right,
    /// bottom. \[pixels of the scan\]
    pub fn leave_out(&mut self, (left, top, right, bottom): (f64, f64, f64, f64)) {
        let side = f64::from(self.box_side);
        let width = self.width as usize;
        for place in 0..self.density.len() {
            let (x, y) = ((place % width) as f64 * side, (place / width) as f64 * side);
            if x + side > left && x < right && y + side > top && y < bottom {
                self.density[place] = f32::NAN;
                self.state[place] = PixelState::LeftOut;
            }
        }
    }

    /// Counts the pixels of a state.
    #[must_use]
    pub fn count(&self, state: PixelState) -> usize {
        self.state.iter().filter(|s| **s == state).count()
    }

    /// Gives the density at a point between the middles of four pixels, by the
    /// mean of their transmittances; none where one of them has none. \[pixels of
    /// the map\]
    #[must_use]
    pub fn density_at(&self, (x, y): (f64, f64)) -> Option<f64> {
        let (x, y) = (x - 0.5, y - 0.5);
        let (left, top) = (libm::floor(x), libm::floor(y));
        if left < 0.0
            || top < 0.0
            || left + 1.0 >= f64::from(self.width)
            || top + 1.0 >= f64::from(self.height)
        {
            return None;
        }
        let (across, down) = (x - left, y - top);
        let first = top as usize * self.width as usize + left as usize;
        let width = self.width as usize;
        let corners = [
            (first, (1.0 - across) * (1.0 - down)),
            (first + 1, across * (1.0 - down)),
            (first + width, (1.0 - across) * down),
            (first + width + 1, across * down),
        ];
        let mut light = 0.0;
        for (place, weight) in corners {
            if self.state[place] != PixelState::Read {
                return None;
            }
            light += weight * libm::exp10(-f64::from(self.density[place]));
        }
        Some(-libm::log10(light))
    }
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    light: f64,
    pixels: u32,
    thinner: u32,
    denser: u32,
    clipped: u32,
}

#[derive(Clone, Copy, Debug)]
struct OfCode {
    light: f64,
    thinner: bool,
    denser: bool,
    clipped: bool,
}

/// Brings the pixels of a scan together while its rows go by.
#[derive(Debug)]
pub struct DensityMapPass {
    box_side: u32,
    width: u32,
    height: u32,
    of_code: Vec<OfCode>,
    sums: Vec<Sum>,
}

impl DensityMapPass {
    /// Prepares a pass over a scan of this size; the map's long side has at most
    /// `long_side` pixels.
    #[must_use]
    pub fn new(
        width: u32,
        height: u32,
        tone: &Tone,
        calibration: &Calibration,
        long_side: u32,
    ) -> Self {
        let box_side = width.max(height).div_ceil(long_side.max(1)).max(1);
        let (low, high) = calibration.range();
        let (low, high) = (low.to_density(), high.to_density());
        let table = tone.table();
        let last = table.len() - 1;
        let of_code = table
            .iter()
            .enumerate()
            .map(|(code, signal)| {
                let density = calibration.shown_density(*signal);
                OfCode {
                    light: libm::exp10(-density),
                    // Held at the ends, so the end itself counts as beyond.
                    thinner: density <= low + 1e-9,
                    denser: density >= high - 1e-9,
                    clipped: code == 0 || code == last,
                }
            })
            .collect();
        let (small_width, small_height) = (width.div_ceil(box_side), height.div_ceil(box_side));
        Self {
            box_side,
            width: small_width,
            height: small_height,
            of_code,
            sums: vec![Sum::default(); small_width as usize * small_height as usize],
        }
    }

    /// Takes one row.
    pub fn take(&mut self, row: &ScanRow<'_>) {
        let first = (row.y / self.box_side) as usize * self.width as usize;
        let Some(boxes) = self.sums.get_mut(first..first + self.width as usize) else {
            return;
        };
        for index in 0..row.codes.len() {
            let x = row.x_first + index as u32 * row.x_step;
            let of = row
                .codes
                .at(index)
                .and_then(|code| self.of_code.get(usize::from(code)));
            if let (Some(of), Some(sum)) = (of, boxes.get_mut((x / self.box_side) as usize)) {
                sum.light += of.light;
                sum.pixels += 1;
                sum.thinner += u32::from(of.thinner);
                sum.denser += u32::from(of.denser);
                sum.clipped += u32::from(of.clipped);
            }
        }
    }

    /// Gives the map.
    #[must_use]
    pub fn finish(self) -> DensityMap {
        let state: Vec<PixelState> = self
            .sums
            .iter()
            .map(|sum| {
                let share = |count: u32| f64::from(count) / f64::from(sum.pixels.max(1));
                if sum.pixels == 0 {
                    PixelState::LeftOut
                } else if share(sum.clipped) > CLIPPED_SHARE {
                    PixelState::Clipped
                } else if share(sum.thinner) > BEYOND_SHARE {
                    PixelState::Thinner
                } else if share(sum.denser) > BEYOND_SHARE {
                    PixelState::Denser
                } else {
                    PixelState::Read
                }
            })
            .collect();
        let density = self
            .sums
            .iter()
            .zip(&state)
            .map(|(sum, state)| {
                if *state == PixelState::Read {
                    -libm::log10(sum.light / f64::from(sum.pixels)) as f32
                } else {
                    f32::NAN
                }
            })
            .collect();
        DensityMap {
            width: self.width,
            height: self.height,
            box_side: self.box_side,
            density,
            state,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(density: Vec<f32>) -> DensityMap {
        let state = vec![PixelState::Read; density.len()];
        DensityMap {
            width: 2,
            height: (density.len() / 2) as u32,
            box_side: 4,
            density,
            state,
        }
    }

    #[test]
    fn between_pixels_light_is_averaged_not_density() {
        // Hand calculation: half way between D 0 and D 1 the transmittance is 0.55,
        // whose density is 0.2596; a mean of densities would be 0.5.
        let found = map(vec![0.0, 1.0, 0.0, 1.0])
            .density_at((1.0, 1.0))
            .unwrap();
        // 1e-6: single precision.
        assert!((found - 0.259_637).abs() < 1e-6, "{found}");
        assert_eq!(map(vec![0.0; 4]).density_at((0.2, 1.0)), None);
    }

    #[test]
    fn what_is_left_out_has_no_density() {
        let mut map = map(vec![0.5; 6]);
        map.leave_out((4.0, 0.0, 8.0, 5.0));
        assert_eq!(map.count(PixelState::LeftOut), 2);
        assert!(map.density[1].is_nan() && map.density[3].is_nan() && map.density[5] == 0.5);
        assert_eq!(map.density_at((1.0, 1.0)), None);
    }
}
