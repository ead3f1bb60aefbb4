//! Rhythms in the histogram of more than 8 bits.
//!
//! Scaling whole numbers and rounding them leaves codes that never occur, or
//! occur twice as often, at even distances, here taken for a few hundred codes
//! at a time: a curve stretches each part of the scale by its own factor. With
//! pixels counted by chance the power of every frequency is 1 on average and
//! above x once in e^x, whatever the picture shows.
//!
//! A scanner of 10, 12 or 14 bits that pads them to 16 leaves every 64th, 16th
//! or 4th code: that is no stretch, and the codes are counted as those of fewer
//! bits.

use super::histogram::CodeHistogram;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// Codes of one part of the scale.
const PARTS: [usize; 3] = [256, 1024, 4096];
/// Fewest pixels in a part.
const FEWEST_PIXELS: u64 = 2000;
/// Half the width of the running mean that stands for the picture.
const TREND: usize = 12;
/// Slowest rhythm looked for, in cycles per code.
const SLOWEST: f64 = 0.06;
/// Power that no chance gives in some 10⁶ tries.
const POWER: f64 = 40.0;
/// Relative height of a rhythm that matters.
const HEIGHT: f64 = 0.06;

/// A rhythm found in the histogram.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct CodeRhythm {
    /// First and last code of the part where it is strongest.
    pub(super) part: (usize, usize),
    /// Codes from one beat to the next.
    pub(super) period: f64,
    /// Power over that of chance.
    pub(super) power: f64,
    /// Part of the codes there, padded ones joined.
    pub(super) parts_found: usize,
    /// Parts looked at.
    pub(super) parts: usize,
}

/// Looks for the strongest rhythm; it must show in a tenth of the parts.
pub(super) fn code_rhythm(histogram: &CodeHistogram) -> Option<CodeRhythm> {
    let pad = padding(&histogram.counts);
    let joined: Vec<u64> = histogram
        .counts
        .chunks(pad)
        .map(|codes| codes.iter().sum())
        .collect();
    let mut planner = FftPlanner::new();
    PARTS
        .into_iter()
        .filter_map(|length| {
            let fft = planner.plan_fft_forward(length);
            let mut best: Option<CodeRhythm> = None;
            let (mut parts, mut found) = (0, 0);
            for (index, counts) in joined.chunks_exact(length).enumerate() {
                let pixels: u64 = counts.iter().sum();
                if pixels < FEWEST_PIXELS {
                    continue;
                }
                parts += 1;
                let mut line = residual(counts);
                fft.process(&mut line);
                let slowest = (SLOWEST * length as f64).ceil() as usize;
                let strongest = (slowest..=length / 2)
                    .map(|bin| (bin, line[bin].norm_sqr() / pixels as f64))
                    .max_by(|a, b| a.1.total_cmp(&b.1));
                let Some((bin, power)) = strongest else {
                    continue;
                };
                let height = 2.0 * (power / pixels as f64).sqrt();
                if power < POWER || height < HEIGHT {
                    continue;
                }
                found += 1;
                if best.is_none_or(|b| power > b.power) {
                    let first = index * length * pad;
                    best = Some(CodeRhythm {
                        part: (first, first + length * pad - 1),
                        period: (length * pad) as f64 / bin as f64,
                        power,
                        parts_found: 0,
                        parts: 0,
                    });
                }
            }
            best.filter(|_| found >= 2.min(parts) && found * 10 >= parts)
                .map(|rhythm| CodeRhythm {
                    parts_found: found,
                    parts,
                    ..rhythm
                })
        })
        .max_by(|a, b| a.power.total_cmp(&b.power))
}

/// Counts less their running mean, which stands for the picture.
///
/// A mean of a mean, so that no rhythm within its width passes through; the
/// lowest and highest occupied codes of a part stay out of it.
fn residual(counts: &[u64]) -> Vec<Complex<f64>> {
    let smooth = |values: &[f64]| -> Vec<f64> {
        let sums: Vec<f64> = core::iter::once(0.0)
            .chain(values.iter().scan(0.0, |sum, v| {
                *sum += v;
                Some(*sum)
            }))
            .collect();
        (0..values.len())
            .map(|i| {
                let from = i.saturating_sub(TREND);
                let to = (i + TREND + 1).min(values.len());
                (sums[to] - sums[from]) / (to - from) as f64
            })
            .collect()
    };
    let values: Vec<f64> = counts.iter().map(|c| *c as f64).collect();
    let trend = smooth(&smooth(&values));
    values
        .iter()
        .zip(trend)
        .map(|(value, trend)| Complex::new(value - trend, 0.0))
        .collect()
}

/// Gives how many codes stand for one of the scanner's: 1 when it was not padded.
fn padding(counts: &[u64]) -> usize {
    [64, 32, 16, 8, 4, 2]
        .into_iter()
        .find(|pad| {
            let (mut groups, mut single) = (0, 0);
            for codes in counts.chunks(*pad) {
                if codes.iter().sum::<u64>() >= 6 {
                    groups += 1;
                    single += usize::from(codes.iter().filter(|c| **c > 0).count() == 1);
                }
            }
            groups >= 64 && single * 100 >= groups * 97
        })
        .unwrap_or(1)
}
