//! The even levels of a picture: light, rebate, holder, even sky.

use crate::patch::median;
use crate::preview::Preview;

/// Width of a bin. \[log10 of signal\]
const BIN: f64 = 0.01;
/// Range of the levels looked at. \[log10 of signal\]
const RANGE: f64 = 3.0;
/// Smallest part of the picture that makes a level.
const SMALLEST_PART: f64 = 0.004;
/// Most levels that are tried.
const MOST: usize = 12;
/// Least half width of a level: unevenness of light and base. \[log10 of signal\]
const LEAST_BAND: f64 = 0.025;

/// An even level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    pub(super) signal: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Level {
    pub(super) fn holds(&self, signal: f64) -> bool {
        signal >= self.low && signal <= self.high
    }
}

fn log_of(signal: f64) -> f64 {
    libm::log10(signal.max(1e-6))
}

/// Gives the even levels, lightest first.
pub(super) fn even_levels(picture: &Preview) -> Vec<Level> {
    let width = picture.width as usize;
    let height = picture.height as usize;
    let mut counts = vec![0_usize; (RANGE / BIN) as usize];
    for y in 0..height.saturating_sub(4) {
        for x in 0..width.saturating_sub(4) {
            let at = |dx: usize, dy: usize| {
                f64::from(picture.signal[(y + dy) * width + x + dx]).max(1e-6)
            };
            let near = [at(0, 0), at(4, 0), at(0, 4), at(4, 4), at(2, 2)];
            let low = near.iter().copied().fold(f64::INFINITY, f64::min);
            let high = near.iter().copied().fold(0.0, f64::max);
            if high < 1.2 * low {
                let middle = near.iter().sum::<f64>() / 5.0;
                let bin = -log_of(middle) / BIN;
                if let Some(count) = counts.get_mut(bin.max(0.0) as usize) {
                    *count += 1;
                }
            }
        }
    }
    let sum = |bin: usize, reach: usize| -> usize {
        let until = (bin + reach + 1).min(counts.len());
        counts[bin.saturating_sub(reach)..until].iter().sum()
    };
    let least = (SMALLEST_PART * (width * height) as f64) as usize;
    let smooth: Vec<usize> = (0..counts.len()).map(|bin| sum(bin, 1)).collect();
    let mut levels = vec![];
    for bin in 0..smooth.len() {
        let until = (bin + 4).min(smooth.len());
        let from = bin.saturating_sub(3);
        let peak = smooth[from..bin].iter().all(|s| *s < smooth[bin])
            && smooth[bin..until].iter().all(|s| *s <= smooth[bin]);
        if peak && smooth[bin] >= least && levels.len() < MOST {
            levels.push(level_near(picture, -(bin as f64 + 0.5) * BIN));
        }
    }
    levels
}

/// A level about a logarithm, as wide as its noise.
fn level_near(picture: &Preview, log: f64) -> Level {
    let width = picture.width as usize;
    let (low, high) = (libm::exp10(log - 3.0 * BIN), libm::exp10(log + 3.0 * BIN));
    let near = |signal: f32| f64::from(signal) > low && f64::from(signal) < high;
    let mut inside = vec![];
    let mut differences = vec![];
    for (place, signal) in picture.signal.iter().enumerate() {
        if near(*signal) {
            inside.push(f64::from(*signal));
            if place % width > 3 {
                let before = f64::from(picture.signal[place - 3]).max(1e-6);
                differences.push((log_of(f64::from(*signal)) - log_of(before)).abs());
            }
        }
    }
    let signal = if inside.is_empty() {
        libm::exp10(log)
    } else {
        median(inside)
    };
    // Spread of a difference of two, of which half of what lies near is kept.
    let noise = if differences.is_empty() {
        0.0
    } else {
        1.4826 * median(differences) / core::f64::consts::SQRT_2
    };
    // Medians of five lines are about half as noisy as pixels.
    let band = (LEAST_BAND + 2.0 * noise).min(0.12);
    Level {
        signal,
        low: signal * libm::exp10(-band),
        high: signal * libm::exp10(band),
    }
}
