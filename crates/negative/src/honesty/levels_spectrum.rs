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
//! bits. One that averages such pixels, or corrects them, leaves a soft rhythm of 4,
//! 8 or 16 codes, without the sharp gaps or doubles of rounding twice: no stretch
//! either. Peaks of an even tone are cut down to what is usual around them.

use super::histogram::CodeHistogram;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// Codes of one part of the scale.
const PARTS: [usize; 3] = [256, 1024, 4096];
/// Fewest pixels in a part.
const FEWEST_PIXELS: u64 = 2000;
/// Codes on either side of one that say what is usual there, and how many times that
/// a code may count.
const AROUND: usize = 16;
const PEAK_TIMES: u64 = 4;
/// Rhythms of a sensor of fewer bits, with the third harmonic of 8, codes, and how far one may be off, in parts.
const SENSOR_PERIODS: [f64; 4] = [8.0 / 3.0, 4.0, 8.0, 16.0];
const SENSOR_OFF: f64 = 0.008;
/// Power of twice the frequency, part of the power, from which gaps are sharp.
const SHARP: f64 = 0.4;
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

/// Looks for the strongest rhythm; it must show in a fifth of the parts.
pub(super) fn code_rhythm(histogram: &CodeHistogram) -> Option<CodeRhythm> {
    let pad = padding(&histogram.counts);
    let joined: Vec<u64> = histogram
        .counts
        .chunks(pad)
        .map(|codes| codes.iter().sum())
        .collect();
    let joined = without_peaks(&joined);
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
                let power_at = |bin: usize| line[bin].norm_sqr() / pixels as f64;
                if power < POWER || height < HEIGHT || of_sensor(bin, length, &power_at) {
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
            best.filter(|_| found >= 2.min(parts) && found * 5 >= parts)
                .map(|rhythm| CodeRhythm {
                    parts_found: found,
                    parts,
                    ..rhythm
                })
        })
        .max_by(|a, b| a.power.total_cmp(&b.power))
}

/// Tells of the soft rhythm that a sensor of fewer bits leaves.
fn of_sensor(bin: usize, length: usize, power_at: &dyn Fn(usize) -> f64) -> bool {
    // The second harmonic, folded back where it passes the middle.
    let twice = if 2 * bin <= length / 2 {
        2 * bin
    } else {
        length - 2 * bin
    };
    let near = twice.saturating_sub(2)..=(twice + 2).min(length / 2);
    let sharp = near.map(power_at).fold(0.0, f64::max) > SHARP * power_at(bin);
    let period_fits = SENSOR_PERIODS.iter().any(|period| {
        let exact = length as f64 / period;
        (bin as f64 - exact).abs() <= (SENSOR_OFF * exact).max(1.5)
    });
    period_fits && !sharp
}

/// Cuts counts down to four times the median of the occupied codes around.
fn without_peaks(counts: &[u64]) -> Vec<u64> {
    let mut around = Vec::with_capacity(2 * AROUND + 1);
    counts
        .iter()
        .enumerate()
        .map(|(i, count)| {
            if *count == 0 {
                return 0;
            }
            let window = i.saturating_sub(AROUND)..(i + AROUND + 1).min(counts.len());
            around.clear();
            around.extend(counts[window].iter().copied().filter(|c| *c > 0));
            let middle = around.len() / 2;
            let (_, usual, _) = around.select_nth_unstable(middle);
            (*count).min(PEAK_TIMES * *usual)
        })
        .collect()
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
