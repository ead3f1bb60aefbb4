//! Statistics of patches, all in one pass over a scan's rows.
//!
//! A densitometer's aperture adds up light, so a patch is averaged as light
//! (as transmittance), not as density: grain then weighs as it does in the
//! instrument. Dust and scratches are left out by their distance from the
//! median. The uncertainty of the mean comes from the means of blocks, because
//! neighbouring pixels of a scan are not independent; a slope across the patch
//! is taken out first and reported as unevenness.
//!
//! With an unknown tone only codes can be averaged. For gamma 2.2 and grain of
//! 0.05 in density that reads 0.002 too dense at most, tablet and film alike.
//!
//! Memory: one histogram of code values and 64 block sums for each patch.
//!
//! Begin with [`measure_patches`]; [`PatchPass`] is the same for a caller that
//! does more than one thing in one pass.

use crate::decode::{ChannelChoice, Codes, DecodeError, ScanReader, ScanRow};
use crate::outline::{LabelImage, Outline, OutlineError};
use crate::tone::Tone;
use core::ops::Range;
use quantity::{Flag, Flags};
use std::io::{Read, Seek};

/// Most outlines of one pass: 512 histograms of 16-bit codes are 128 MB.
const MAX_OUTLINES: usize = 512;
/// Blocks along each side of a patch's box.
const BLOCKS: usize = 8;
/// Pixels below which a mean is not dependable.
const FEW_PIXELS: u64 = 64;
/// Distance from the median, in robust standard deviations, beyond which a
/// pixel is dust or a scratch. A normal spread loses 1 pixel in 16 000.
const REJECT_BEYOND: f64 = 4.0;
/// Largest share that may be left out; more is no dust but the picture.
const REJECT_AT_MOST: f64 = 0.1;
/// Share of clipped pixels from which a mean is only a limit, and flagged. At 2 % the end
/// lies two standard deviations from the mean, which it shifts by 0.0085 of one.
const CLIPPED_LIMIT_SHARE: f64 = 0.02;
/// How many times as many pixels as its neighbours a code holds at which the
/// noise was cut off.
const CUT_OFF_TIMES: f64 = 20.0;
/// Fewest codes of a patch in which a cut-off can be told from a few tones.
const CUT_OFF_CODES: usize = 16;
/// Density across a patch from which it is uneven.
const UNEVEN_DENSITY: f64 = 0.03;

/// What is known of one patch.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchStatistics {
    /// Pixels inside the outline, of the channel's phase.
    pub pixels: u64,
    /// Pixels without a number (NaN in a float file); they are left out.
    pub missing: u64,
    /// Mean signal without dust, 0 to 1: linear light when the tone is known,
    /// else the code's share of the scale.
    pub signal: f64,
    /// Standard uncertainty of the mean signal: noise and quantisation.
    pub signal_uncertainty: f64,
    /// Whether the signal is linear light.
    pub tone_known: bool,
    /// Mean code without dust.
    pub mean_code: f64,
    /// Standard uncertainty of the mean code.
    pub code_uncertainty: f64,
    /// Median code.
    pub median_code: f64,
    /// Robust standard deviation of single codes (1.4826 × median distance).
    pub code_spread: f64,
    /// Largest code of the scale.
    pub code_max: u16,
    /// Signal of one code value at the mean, without sign.
    pub signal_per_code: f64,
    /// Share of pixels at code 0, or at a floor above it that levels were cut
    /// off at; dust left out.
    pub at_zero_share: f64,
    /// Share of pixels at the largest code, or at a ceiling below it that
    /// levels were cut off at; dust left out.
    pub at_max_share: f64,
    /// Share of pixels left out as dust or scratches.
    pub rejected_share: f64,
    /// Codes that occur, with their counts, rising.
    pub histogram: Vec<(u16, u64)>,
    /// log10 of signal from the left edge to the right, fitted.
    pub slope_across: f64,
    /// log10 of signal from the upper edge to the lower, fitted.
    pub slope_down: f64,
    /// Flags of the patch.
    pub flags: Flags,
}

impl PatchStatistics {
    /// Tells whether so many pixels are clipped that the mean is only a limit.
    #[must_use]
    pub fn clipped(&self) -> bool {
        self.at_zero_share > CLIPPED_LIMIT_SHARE || self.at_max_share > CLIPPED_LIMIT_SHARE
    }

    /// Gives the density across the patch, along its steeper side, where that
    /// is more than noise explains; none for an even patch.
    pub(crate) fn unevenness(&self) -> Option<f64> {
        let worst = self.slope_across.abs().max(self.slope_down.abs());
        let error = self.signal_uncertainty / self.signal * core::f64::consts::LOG10_E;
        // The slope of even noise errs by √12 of the error of the mean.
        let noise = 12.0_f64.sqrt() * error;
        (worst > UNEVEN_DENSITY && worst > 3.0 * noise).then_some(worst)
    }

    /// Counts pixels at a floor or a ceiling of the whole picture as clipped.
    pub(crate) fn clip_at(&mut self, floor: Option<u16>, ceiling: Option<u16>) {
        let kept = kept_codes(
            &self.histogram,
            self.pixels,
            self.median_code,
            self.code_spread,
        );
        let pixels: u64 = kept.iter().map(|h| h.1).sum();
        let share = |code: Option<u16>| {
            let found = kept.iter().find(|h| Some(h.0) == code);
            found.map_or(0.0, |h| h.1 as f64 / pixels as f64)
        };
        self.at_zero_share = self.at_zero_share.max(share(floor));
        self.at_max_share = self.at_max_share.max(share(ceiling));
        if self.clipped() {
            self.flags.insert(Flag::Clipped);
        }
    }

    /// Gives the statistics of an even patch known by its mean code alone, as
    /// when readings were noted by hand.
    ///
    /// `code_uncertainty` is one standard deviation; with 0 the quantisation
    /// of a single code is taken, 1/√12. `code` is held within the scale.
    #[must_use]
    pub fn from_code(code: f64, code_uncertainty: f64, tone: &Tone) -> Self {
        let code = code.clamp(0.0, f64::from(tone.code_max));
        let single = 1.0 / 12.0_f64.sqrt();
        let code_uncertainty = if code_uncertainty > 0.0 {
            code_uncertainty
        } else {
            single
        };
        let per_code = signal_per_code(tone, code);
        Self {
            pixels: 1,
            missing: 0,
            signal: tone.signal(code),
            signal_uncertainty: code_uncertainty * per_code,
            tone_known: tone.encoding.is_known(),
            mean_code: code,
            code_uncertainty,
            median_code: code,
            code_spread: 0.0,
            code_max: tone.code_max,
            signal_per_code: per_code,
            at_zero_share: if code <= 0.0 { 1.0 } else { 0.0 },
            at_max_share: if code >= f64::from(tone.code_max) {
                1.0
            } else {
                0.0
            },
            rejected_share: 0.0,
            histogram: Vec::new(),
            slope_across: 0.0,
            slope_down: 0.0,
            flags: tone.flag().into_iter().collect(),
        }
    }
}

/// Why patches could not be measured.
#[derive(Debug, thiserror::Error)]
pub enum PatchError {
    /// An outline does not fit the picture.
    #[error(transparent)]
    Outline(#[from] OutlineError),
    /// The picture could not be read.
    #[error(transparent)]
    Decode(#[from] DecodeError),
}

/// Measures all patches of a scan in one pass.
///
/// `labels` is needed by outlines that are regions of a label image.
///
/// # Errors
/// [`PatchError`] for an outline that leaves the picture, has no area or holds
/// no pixel, and for a scan that cannot be read.
pub fn measure_patches<R: Read + Seek>(
    reader: &mut ScanReader<R>,
    channel: ChannelChoice,
    tone: &Tone,
    outlines: &[Outline],
    labels: Option<LabelImage<'_>>,
) -> Result<Vec<PatchStatistics>, PatchError> {
    let (width, height) = (reader.info().width, reader.info().height);
    let mut pass = PatchPass::new(width, height, tone, outlines, labels)?;
    reader.for_each_row(channel, |row| pass.take(&row))?;
    Ok(pass.finish()?)
}

/// Adds up patches while rows go by.
#[derive(Debug)]
pub struct PatchPass<'a> {
    width: u32,
    tone: &'a Tone,
    signal_of: Vec<f64>,
    labels: Option<LabelImage<'a>>,
    patches: Vec<Sums<'a>>,
    spans: Vec<(u32, u32)>,
}

/// What is kept of one patch.
#[derive(Debug)]
struct Sums<'a> {
    outline: &'a Outline,
    columns: Range<u32>,
    rows: Range<u32>,
    histogram: Vec<u32>,
    missing: u64,
    /// Signal sum and pixel count of each block, row by row.
    blocks: Vec<(f64, u64)>,
}

impl<'a> PatchPass<'a> {
    /// Prepares a pass over a picture of this size.
    ///
    /// # Errors
    /// [`OutlineError`] for outlines that do not fit the picture.
    pub fn new(
        width: u32,
        height: u32,
        tone: &'a Tone,
        outlines: &'a [Outline],
        labels: Option<LabelImage<'a>>,
    ) -> Result<Self, OutlineError> {
        if outlines.len() > MAX_OUTLINES {
            return Err(OutlineError::TooMany {
                count: outlines.len(),
                limit: MAX_OUTLINES,
            });
        }
        if outlines.iter().any(|o| matches!(o, Outline::Region { .. })) {
            let found = match &labels {
                None => Some("none".to_owned()),
                Some(l) if (l.width, l.height) != (width, height) => {
                    Some(format!("{} × {} pixels", l.width, l.height))
                }
                Some(l) if l.labels.len() as u64 != u64::from(width) * u64::from(height) => {
                    Some(format!("{} values", l.labels.len()))
                }
                Some(_) => None,
            };
            if let Some(found) = found {
                return Err(OutlineError::LabelImage {
                    width,
                    height,
                    found,
                });
            }
        }
        let mut patches = Vec::with_capacity(outlines.len());
        for (index, outline) in outlines.iter().enumerate() {
            outline.check(index, width, height)?;
            let (columns, rows) = outline.pixel_box(width, height, labels.as_ref());
            if columns.is_empty() || rows.is_empty() {
                return Err(OutlineError::NoPixel { index });
            }
            patches.push(Sums {
                outline,
                columns,
                rows,
                histogram: vec![0; usize::from(tone.code_max) + 1],
                missing: 0,
                blocks: vec![(0.0, 0); BLOCKS * BLOCKS],
            });
        }
        Ok(Self {
            width,
            tone,
            signal_of: tone.table(),
            labels,
            patches,
            spans: Vec::new(),
        })
    }

    /// Takes one row.
    pub fn take(&mut self, row: &ScanRow<'_>) {
        for patch in self.patches.iter_mut().filter(|p| p.rows.contains(&row.y)) {
            patch
                .outline
                .spans(row.y, self.width, self.labels.as_ref(), &mut self.spans);
            for span in &self.spans {
                patch.take(row, *span, &self.signal_of);
            }
        }
    }

    /// Gives the statistics, in the order of the outlines.
    ///
    /// # Errors
    /// [`OutlineError::NoPixel`] for an outline that holds no pixel.
    pub fn finish(self) -> Result<Vec<PatchStatistics>, OutlineError> {
        self.patches
            .into_iter()
            .enumerate()
            .map(|(index, patch)| {
                patch
                    .statistics(self.tone, &self.signal_of)
                    .ok_or(OutlineError::NoPixel { index })
            })
            .collect()
    }
}

impl Sums<'_> {
    fn take(&mut self, row: &ScanRow<'_>, span: (u32, u32), signal_of: &[f64]) {
        let block_row = (row.y - self.rows.start) as usize * BLOCKS / self.rows.len();
        let span_width = self.columns.len();
        // Codes whose columns lie in the span.
        let first = span
            .0
            .max(row.x_first)
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step);
        let end = span
            .1
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step)
            .min(row.codes.len() as u32);
        for index in first..end {
            let x = row.x_first + index * row.x_step;
            let code = match row.codes {
                Codes::Unsigned(codes) => Some(codes[index as usize]),
                Codes::Float(_) => row.codes.at(index as usize),
            };
            let Some(code) = code else {
                self.missing += 1;
                continue;
            };
            let Some(count) = self.histogram.get_mut(usize::from(code)) else {
                unreachable!("a code lies within the scale that its bits give");
            };
            *count += 1;
            let block_column = (x - self.columns.start) as usize * BLOCKS / span_width;
            let block = &mut self.blocks[block_row * BLOCKS + block_column];
            block.0 += signal_of[usize::from(code)];
            block.1 += 1;
        }
    }

    fn statistics(self, tone: &Tone, signal_of: &[f64]) -> Option<PatchStatistics> {
        let histogram: Vec<(u16, u64)> = (0..=u16::MAX)
            .zip(&self.histogram)
            .filter(|(_, count)| **count > 0)
            .map(|(code, count)| (code, u64::from(*count)))
            .collect();
        let pixels: u64 = histogram.iter().map(|h| h.1).sum();
        if pixels == 0 {
            return None;
        }
        let median_code = median_of(&histogram, pixels);
        let code_spread = 1.4826 * median_distance(&histogram, pixels, median_code);
        let kept = kept_codes(&histogram, pixels, median_code, code_spread);
        let kept_pixels: u64 = kept.iter().map(|h| h.1).sum();
        let mean = |of: &dyn Fn(u16) -> f64| {
            kept.iter()
                .map(|(code, count)| of(*code) * *count as f64)
                .sum::<f64>()
                / kept_pixels as f64
        };
        let signal = mean(&|code| signal_of[usize::from(code)]);
        let mean_code = mean(&f64::from);
        let variance = mean(&|code| (f64::from(code) - mean_code) * (f64::from(code) - mean_code));
        let per_code = signal_per_code(tone, mean_code);

        let even = fit_blocks(&self.blocks, signal);
        let noise = match even.standard_error {
            Some(error) => error,
            // Too few blocks to see: single pixels, as if four were one.
            None => per_code * (variance * 4.0 / kept_pixels as f64).sqrt(),
        };
        let quantisation = per_code * quantisation_of_mean(variance.sqrt(), kept_pixels);
        let signal_uncertainty = noise.hypot(quantisation);

        let share = |code: u16| {
            let found = kept.iter().find(|h| h.0 == code);
            found.map_or(0.0, |h| h.1 as f64 / kept_pixels as f64)
        };
        let (floor, ceiling) = cut_off(&kept);
        let at_zero_share = share(0).max(floor);
        let at_max_share = share(tone.code_max).max(ceiling);
        let mut flags: Flags = tone.flag().into_iter().collect();
        if at_zero_share.max(at_max_share) > CLIPPED_LIMIT_SHARE {
            flags.insert(Flag::Clipped);
        }
        if pixels < FEW_PIXELS {
            flags.insert(Flag::FewPixels);
        }
        if even.uneven {
            flags.insert(Flag::UnevenPatch);
        }
        Some(PatchStatistics {
            pixels,
            missing: self.missing,
            signal,
            signal_uncertainty,
            tone_known: tone.encoding.is_known(),
            mean_code,
            code_uncertainty: if per_code > 0.0 {
                signal_uncertainty / per_code
            } else {
                1.0 / 12.0_f64.sqrt()
            },
            median_code,
            code_spread,
            code_max: tone.code_max,
            signal_per_code: per_code,
            at_zero_share,
            at_max_share,
            rejected_share: 1.0 - kept_pixels as f64 / pixels as f64,
            slope_across: even.across,
            slope_down: even.down,
            histogram,
            flags,
        })
    }
}

/// Gives the size of a code value in signal at a code.
fn signal_per_code(tone: &Tone, code: f64) -> f64 {
    let top = f64::from(tone.code_max);
    let (low, high) = ((code - 0.5).max(0.0), (code + 0.5).min(top));
    (tone.signal(high) - tone.signal(low)).abs() / (high - low)
}

/// Gives the standard uncertainty, in codes, that rounding leaves in a mean.
///
/// Noise of half a code or more dithers it away; without noise a mean can be
/// off by half a code, evenly: 1/√12. Between them the error of a dithered mean
/// falls as exp(−2π²σ²) (characteristic function of normal noise at one code).
fn quantisation_of_mean(spread: f64, pixels: u64) -> f64 {
    let single = 1.0 / 12.0_f64.sqrt();
    // The spread seen holds the rounding itself.
    let noise_squared = (spread * spread - 1.0 / 12.0).max(0.0);
    let left = libm::exp(-2.0 * core::f64::consts::PI * core::f64::consts::PI * noise_squared);
    single * left.max(1.0 / (pixels as f64).sqrt())
}

fn median_of(histogram: &[(u16, u64)], pixels: u64) -> f64 {
    let at = |rank: u64| {
        let mut seen = 0;
        for (code, count) in histogram {
            seen += count;
            if seen > rank {
                return f64::from(*code);
            }
        }
        unreachable!("a rank below the number of pixels is reached")
    };
    (at((pixels - 1) / 2) + at(pixels / 2)) / 2.0
}

/// Gives the median distance of the codes from a code.
fn median_distance(histogram: &[(u16, u64)], pixels: u64, from: f64) -> f64 {
    let mut distances: Vec<(f64, u64)> = histogram
        .iter()
        .map(|(code, count)| ((f64::from(*code) - from).abs(), *count))
        .collect();
    distances.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut seen = 0;
    for (distance, count) in distances {
        seen += count;
        if seen * 2 >= pixels {
            return distance;
        }
    }
    0.0
}

/// Gives the codes without dust: those near the median, unless that leaves out
/// so much that it is no dust.
fn kept_codes(histogram: &[(u16, u64)], pixels: u64, median: f64, spread: f64) -> Vec<(u16, u64)> {
    // Where most pixels share one code, the spread is rounding: two codes.
    let within = (REJECT_BEYOND * spread).max(2.0);
    let kept: Vec<_> = histogram
        .iter()
        .copied()
        .filter(|h| (f64::from(h.0) - median).abs() <= within)
        .collect();
    let count: u64 = kept.iter().map(|h| h.1).sum();
    if (count as f64) < (1.0 - REJECT_AT_MOST) * pixels as f64 {
        histogram.to_vec()
    } else {
        kept
    }
}

/// Gives the shares of pixels at the lowest and the highest code where noise
/// was cut off there: one code holds what should have spread beyond it.
fn cut_off(codes: &[(u16, u64)]) -> (f64, f64) {
    if codes.len() < CUT_OFF_CODES {
        return (0.0, 0.0);
    }
    let pixels: u64 = codes.iter().map(|c| c.1).sum();
    let share = |end: u64, next: &mut dyn Iterator<Item = u64>| {
        let most = next.take(8).max().unwrap_or(0);
        if end as f64 > CUT_OFF_TIMES * most as f64 {
            end as f64 / pixels as f64
        } else {
            0.0
        }
    };
    let last = codes.len() - 1;
    (
        share(codes[0].1, &mut codes[1..].iter().map(|c| c.1)),
        share(codes[last].1, &mut codes[..last].iter().rev().map(|c| c.1)),
    )
}

/// What the block means say.
struct Evenness {
    /// Standard error of the mean signal; none with fewer than 9 full blocks.
    standard_error: Option<f64>,
    across: f64,
    down: f64,
    uneven: bool,
}

/// Fits a plane to the means of full blocks, as log10 of signal over the mean,
/// and takes the noise of the mean from what is left.
fn fit_blocks(blocks: &[(f64, u64)], signal: f64) -> Evenness {
    let none = Evenness {
        standard_error: None,
        across: 0.0,
        down: 0.0,
        uneven: false,
    };
    let fullest = blocks.iter().map(|b| b.1).max().unwrap_or(0);
    // Blocks that the outline cuts to less than half are left out.
    let full: Vec<(f64, f64, f64)> = blocks
        .iter()
        .enumerate()
        .filter(|(_, b)| b.1 > 0 && b.1 * 2 >= fullest)
        .map(|(place, b)| {
            let centre = |i: usize| (i as f64 + 0.5) / BLOCKS as f64 - 0.5;
            (
                centre(place % BLOCKS),
                centre(place / BLOCKS),
                b.0 / b.1 as f64 / signal - 1.0,
            )
        })
        .collect();
    if full.len() < 9 || signal <= 0.0 {
        return none;
    }
    let (across, down, left) = robust_plane(&full);
    let count = left.len() as f64;
    let spread = 1.4826 * median(left.iter().map(|l| l.abs()).collect());
    // A robust spread of blocks that rounding makes alike can be nil.
    let plain = (left.iter().map(|l| l * l).sum::<f64>() / (count - 3.0)).sqrt();
    let relative = if spread > 0.0 { spread } else { plain };
    // 1.2: spread of a robust estimate from some 60 blocks, on the safe side.
    let standard_error = 1.2 * relative / count.sqrt() * signal;
    let decade = core::f64::consts::LOG10_E;
    let (across, down) = (across * decade, down * decade);
    let noise_of_slope = relative * decade * 12.0_f64.sqrt() / count.sqrt();
    let worst = across.abs().max(down.abs());
    let patchy = relative * decade > UNEVEN_DENSITY && plain > 0.0;
    Evenness {
        standard_error: Some(standard_error),
        across,
        down,
        uneven: (worst > UNEVEN_DENSITY && worst > 3.0 * noise_of_slope) || patchy,
    }
}

/// Fits z = a + b·x + c·y; blocks far off (dust) are left out once.
fn robust_plane(points: &[(f64, f64, f64)]) -> (f64, f64, Vec<f64>) {
    let first = plane(points);
    let residual = |p: &(f64, f64, f64), f: (f64, f64, f64)| p.2 - f.0 - f.1 * p.0 - f.2 * p.1;
    let spread = 1.4826 * median(points.iter().map(|p| residual(p, first).abs()).collect());
    let near: Vec<_> = points
        .iter()
        .copied()
        .filter(|p| residual(p, first).abs() <= 4.0 * spread)
        .collect();
    let fit = if near.len() >= 9 { plane(&near) } else { first };
    (
        fit.1,
        fit.2,
        points.iter().map(|p| residual(p, fit)).collect(),
    )
}

/// Least-squares plane through points; flat where the points do not say.
fn plane(points: &[(f64, f64, f64)]) -> (f64, f64, f64) {
    let n = points.len() as f64;
    let mean = |pick: fn(&(f64, f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / n;
    let (mx, my, mz) = (mean(|p| p.0), mean(|p| p.1), mean(|p| p.2));
    let (mut xx, mut xy, mut yy, mut xz, mut yz) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (x, y, z) in points {
        let (x, y, z) = (x - mx, y - my, z - mz);
        xx += x * x;
        xy += x * y;
        yy += y * y;
        xz += x * z;
        yz += y * z;
    }
    let determinant = xx * yy - xy * xy;
    if determinant.abs() < 1e-12 * n * n {
        return (mz, 0.0, 0.0);
    }
    let b = (xz * yy - yz * xy) / determinant;
    let c = (yz * xx - xz * xy) / determinant;
    (mz - b * mx - c * my, b, c)
}

/// Gives the median; 0 of nothing.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let (middle, odd) = (values.len() / 2, values.len() % 2 == 1);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    match below.iter().copied().max_by(f64::total_cmp) {
        Some(lower) if !odd => (lower + *upper) / 2.0,
        _ => *upper,
    }
}
