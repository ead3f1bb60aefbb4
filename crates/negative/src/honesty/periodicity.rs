//! Rhythms in the fine structure: interpolation and blocks of 8.
//!
//! Interpolated pixels vary less the farther they lie from the pixels they were
//! made of; enlarging by a factor s makes that repeat every s pixels, in both
//! directions. Compression with loss works in blocks of 8 × 8, smooth inside and
//! not across their edges, which repeats every 8. Rows and columns must both
//! show it: a scanner's sensor can have a rhythm of its own along one of them.
//!
//! Source: common practice in the study of interpolation traces; thresholds by
//! `xtask doctored`.

use super::finding::HonestyFinding;
use super::texture::{FEWEST_FOR_RHYTHM, Texture};
use crate::patch::median;
use quantity::Flag;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// Pixels of the running median that takes out what is no fine structure.
const TREND: usize = 33;
/// Slowest rhythm looked for, in cycles per pixel.
const SLOWEST: f64 = 0.045;
/// Fastest rhythm: a camera's mosaic of colours leaves one of 2 pixels of its own.
const FASTEST: f64 = 0.49;
/// Fewest bands that are not black throughout. A quarter of the bands need not show
/// a rhythm: by chance the third lowest power of 8 is above 2 once in some 6000, in
/// both directions once in 3·10⁷.
const FEWEST_BANDS: usize = 4;
/// Such power of a change of size, in each direction.
const EACH: f64 = 2.0;
/// And its sum over both.
const BOTH: f64 = 9.0;
/// Such power of the rhythm of 8, summed over its harmonics and both directions.
const BLOCKS: f64 = 30.0;
/// And that of its first and its third harmonic alone.
const BLOCK_HARMONIC: f64 = 5.0;

/// Power by frequency, over the usual power around that frequency, that three
/// quarters of the bands reach.
struct Spectrum {
    power: Vec<f64>,
    length: usize,
}

impl Spectrum {
    fn of(bands: &[Vec<f64>]) -> Option<Self> {
        let length = bands.iter().map(Vec::len).min()?;
        if length < FEWEST_FOR_RHYTHM {
            return None;
        }
        let powers: Vec<Vec<f64>> = bands
            .iter()
            .filter_map(|band| Self::of_band(&band[..length]))
            .collect();
        if powers.len() < FEWEST_BANDS {
            return None;
        }
        let power = (0..=length / 2)
            .map(|bin| {
                let mut of_bands: Vec<f64> = powers.iter().map(|band| band[bin]).collect();
                of_bands.sort_by(f64::total_cmp);
                of_bands[of_bands.len() / 4]
            })
            .collect();
        Some(Self { power, length })
    }

    fn of_band(trace: &[f64]) -> Option<Vec<f64>> {
        let length = trace.len();
        let half = TREND / 2;
        let rest: Vec<f64> = (0..length)
            .map(|i| {
                let window = i.saturating_sub(half)..(i + half + 1).min(length);
                trace[i] - median(trace[window].to_vec())
            })
            .collect();
        let spread = 1.4826 * median(rest.iter().map(|r| r.abs()).collect());
        if spread <= 0.0 {
            return None;
        }
        let mut line: Vec<Complex<f64>> = rest
            .iter()
            .enumerate()
            .map(|(i, r)| {
                let turn = core::f64::consts::TAU * (i as f64 + 0.5) / length as f64;
                let window = 0.5 - 0.5 * libm::cos(turn);
                Complex::new(window * r.clamp(-4.0 * spread, 4.0 * spread), 0.0)
            })
            .collect();
        FftPlanner::new()
            .plan_fft_forward(length)
            .process(&mut line);
        let raw: Vec<f64> = line[..=length / 2].iter().map(Complex::norm_sqr).collect();
        let part = (length / 20).max(16);
        let powers = raw
            .chunks(part)
            .enumerate()
            .flat_map(|(index, powers)| {
                let middle = index * part + powers.len() / 2;
                let around = middle.saturating_sub(part)..(middle + part).min(raw.len());
                // The median of an exponential spread is ln 2 of its mean.
                let usual = median(raw[around].to_vec()) / core::f64::consts::LN_2;
                powers.iter().map(move |power| power / usual.max(1e-300))
            })
            .collect();
        Some(powers)
    }

    /// Largest power within a bin and a half of a frequency.
    fn at(&self, frequency: f64) -> f64 {
        let bin = frequency * self.length as f64;
        let first = (bin - 1.5).ceil().max(0.0) as usize;
        let last = ((bin + 1.5) as usize).min(self.power.len() - 1);
        self.power[first.min(last)..=last]
            .iter()
            .fold(0.0, |most, p| p.max(most))
    }
}

/// Tells of blocks of 8 × 8.
pub(super) fn block_traces(texture: &Texture) -> Option<HonestyFinding> {
    let (across, down) = (Spectrum::of(&texture.across)?, Spectrum::of(&texture.down)?);
    let harmonic = |k: f64| across.at(k / 8.0).min(down.at(k / 8.0));
    let both = |k: f64| across.at(k / 8.0) + down.at(k / 8.0);
    let power: f64 = [1.0, 2.0, 3.0].into_iter().map(both).sum();
    if power < BLOCKS
        || harmonic(1.0).max(harmonic(3.0)) < BLOCK_HARMONIC / 2.0
        || both(1.0).min(both(3.0)) < BLOCK_HARMONIC
    {
        return None;
    }
    Some(HonestyFinding::new(
        Flag::LossTraces,
        format!(
            "rows and columns both repeat every 8 pixels, {power:.0} times as strongly as chance would: blocks of a \
             compression with loss"
        ),
    ))
}

/// Tells of a change of size by interpolation.
///
/// `blocks` tells that the rhythm of 8 is known already.
pub(super) fn resampled(texture: &Texture, blocks: bool) -> Option<HonestyFinding> {
    let (across, down) = (Spectrum::of(&texture.across)?, Spectrum::of(&texture.down)?);
    let near = 2.0 / across.length.min(down.length) as f64;
    let mut best: Option<(f64, f64)> = None;
    for (bin, power) in across.power.iter().enumerate() {
        let frequency = bin as f64 / across.length as f64;
        let of_blocks = (1..=4).any(|k| (frequency - f64::from(k) / 8.0).abs() <= near);
        if !(SLOWEST..FASTEST).contains(&frequency) || *power < EACH || blocks && of_blocks {
            continue;
        }
        let other = down.at(frequency);
        let both = power + other;
        if other >= EACH && both >= BOTH && best.is_none_or(|b| both > b.1) {
            best = Some((frequency, both));
        }
    }
    let (frequency, both) = best?;
    Some(HonestyFinding::new(
        Flag::Resampled,
        format!(
            "the fine structure of rows and of columns repeats every {:.2} pixels, {both:.0} times as strongly as chance \
             would: pixels were interpolated when the size was changed",
            1.0 / frequency
        ),
    ))
}
