//! Named checks that a scan is what it seems.
//!
//! Each finding is a flag with one sentence of evidence that holds the numbers.
//! A check that has too little to go on says nothing: small pictures, narrow
//! histograms and charts of a few tones raise no alarm.
//!
//! Begin with [`file_findings`]; [`rebates_agree`] and [`repeat_scans_agree`]
//! compare scans with each other.

use crate::calibration::{Calibration, StepUse};
use crate::decode::{Codes, SampleKind, ScanInfo, ScanRow};
use crate::outline::{Outline, OutlineError, Rectangle};
use crate::patch::{PatchStatistics, median};
use crate::preview::Preview;
use crate::tone::Tone;
use core::ops::Range;
use quantity::Flag;

/// Share of pixels at an end of the scale from which a picture is clipped.
const CLIPPED_SHARE: f64 = 0.001;
/// Pixels for each code below which a missing code is chance.
const PIXELS_PER_CODE: u64 = 50;

/// What a check found.
#[derive(Clone, Debug, PartialEq)]
pub struct HonestyFinding {
    /// What a reader must know.
    pub flag: Flag,
    /// One sentence with the numbers.
    pub evidence: String,
}

/// How often each code occurs in a picture or a part of it.
#[derive(Clone, Debug, PartialEq)]
pub struct CodeHistogram {
    /// Pixels of each code from 0 to the largest.
    pub counts: Vec<u64>,
    /// Pixels counted.
    pub pixels: u64,
    /// Pixels without a number (NaN in a float file).
    pub missing: u64,
}

/// Counts codes while rows go by.
#[derive(Debug)]
pub struct HistogramPass {
    columns: Range<u32>,
    rows: Range<u32>,
    histogram: CodeHistogram,
}

impl HistogramPass {
    /// Prepares a count over a picture, or over a rectangle of it.
    ///
    /// # Errors
    /// [`OutlineError`] for a rectangle that does not fit the picture.
    pub fn new(info: &ScanInfo, crop: Option<Rectangle>) -> Result<Self, OutlineError> {
        let crop = crop.unwrap_or(Rectangle::of_picture(info.width, info.height));
        Outline::Rectangle(crop).check(0, info.width, info.height)?;
        let (columns, rows) = crop.pixels(info.width, info.height);
        let counts = vec![0; usize::from(info.code_max()) + 1];
        Ok(Self {
            columns,
            rows,
            histogram: CodeHistogram {
                counts,
                pixels: 0,
                missing: 0,
            },
        })
    }

    /// Takes one row.
    pub fn take(&mut self, row: &ScanRow<'_>) {
        if !self.rows.contains(&row.y) {
            return;
        }
        let first = self
            .columns
            .start
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step) as usize;
        let end = self
            .columns
            .end
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step) as usize;
        let end = end.min(row.codes.len());
        let first = first.min(end);
        match row.codes {
            Codes::Unsigned(codes) => {
                for code in &codes[first..end] {
                    self.histogram.counts[usize::from(*code)] += 1;
                }
                self.histogram.pixels += (end - first) as u64;
            }
            Codes::Float(_) => {
                for index in first..end {
                    match row.codes.at(index) {
                        Some(code) => {
                            self.histogram.counts[usize::from(code)] += 1;
                            self.histogram.pixels += 1;
                        }
                        None => self.histogram.missing += 1,
                    }
                }
            }
        }
    }

    /// Gives the histogram.
    #[must_use]
    pub fn finish(self) -> CodeHistogram {
        self.histogram
    }
}

impl CodeHistogram {
    fn share(&self, code: usize) -> f64 {
        if self.pixels == 0 {
            0.0
        } else {
            self.counts[code] as f64 / self.pixels as f64
        }
    }

    fn occupied(&self) -> Vec<usize> {
        self.counts
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0)
            .map(|(code, _)| code)
            .collect()
    }

    /// Codes between which all but 1 % of the pixels lie.
    fn middle(&self) -> Range<usize> {
        let tail = self.pixels / 200;
        let reach = |codes: &mut dyn Iterator<Item = (usize, &u64)>| {
            let mut seen = 0;
            for (code, count) in codes {
                seen += count;
                if seen > tail {
                    return code;
                }
            }
            0
        };
        let low = reach(&mut self.counts.iter().enumerate());
        let high = reach(&mut self.counts.iter().enumerate().rev());
        low..high + 1
    }
}

/// Gives everything that one scan alone shows.
///
/// The histogram should be of the frame itself: a scan's black border and open
/// gate lie at the ends of the scale without harm.
#[must_use]
pub fn file_findings(
    info: &ScanInfo,
    tone: &Tone,
    histogram: &CodeHistogram,
) -> Vec<HonestyFinding> {
    let mut findings = Vec::new();
    findings.extend(clipped(histogram));
    let eight_bit = eight_bit_origin(info, histogram);
    if eight_bit.is_none() {
        findings.extend(comb(info, histogram));
    }
    findings.extend(eight_bit);
    if let Some(flag) = tone.flag() {
        let reason = tone
            .remarks
            .first()
            .map_or(String::new(), |r| format!("; {r}"));
        findings.push(HonestyFinding {
            flag,
            evidence: format!(
                "neither the record nor the {} file says how code values follow light{reason}",
                info.format
            ),
        });
    }
    if info.flags.contains(Flag::Lossy) {
        findings.push(HonestyFinding {
            flag: Flag::Lossy,
            evidence: format!(
                "the {} file was compressed with loss, in 8 bits",
                info.format
            ),
        });
    }
    if info.flags.contains(Flag::SeveralImages) {
        findings.push(HonestyFinding {
            flag: Flag::SeveralImages,
            evidence: format!(
                "the file holds {} images; number {} was read",
                info.page_count,
                info.page + 1
            ),
        });
    }
    findings
}

/// Gives what the tablet of a calibration shows.
#[must_use]
pub fn tablet_findings(calibration: &Calibration) -> Vec<HonestyFinding> {
    let named = |of: StepUse| -> Vec<String> {
        let steps = calibration.steps().iter().enumerate();
        steps
            .filter(|(_, s)| s.step_use == of)
            .map(|(i, _)| (i + 1).to_string())
            .collect()
    };
    let mut findings = Vec::new();
    let out_of_order = named(StepUse::OutOfOrder);
    if !out_of_order.is_empty() {
        findings.push(HonestyFinding {
            flag: Flag::TabletOutOfOrder,
            evidence: format!(
                "of {} steps, number {} do not read between their neighbours and were left out",
                calibration.steps().len(),
                out_of_order.join(", ")
            ),
        });
    }
    let clipped = named(StepUse::Clipped);
    if !clipped.is_empty() {
        findings.push(HonestyFinding {
            flag: Flag::Clipped,
            evidence: format!(
                "steps {} of the tablet are clipped; densities beyond them are limits",
                clipped.join(", ")
            ),
        });
    }
    if calibration.reversed() {
        findings.push(HonestyFinding {
            flag: Flag::SignalReversed,
            evidence: "code values rise with the densities of the tablet".to_owned(),
        });
    }
    findings
}

/// Tells of pixels at the ends of the code scale: more than 0.1 %.
#[must_use]
pub fn clipped(histogram: &CodeHistogram) -> Option<HonestyFinding> {
    let top = histogram.counts.len() - 1;
    let (low, high) = (histogram.share(0), histogram.share(top));
    (low.max(high) > CLIPPED_SHARE).then(|| HonestyFinding {
        flag: Flag::Clipped,
        evidence: format!(
            "{:.2} % of the pixels are at code 0 and {:.2} % at code {top}",
            low * 100.0,
            high * 100.0
        ),
    })
}

/// Tells of regular gaps in the histogram, as a stretch of levels leaves them.
///
/// A scanner that pads 12 or 14 bits to 16 leaves gaps of a power of two; that
/// is no stretch. Needs 50 pixels to a code and a range of 32 codes.
#[must_use]
pub fn comb(info: &ScanInfo, histogram: &CodeHistogram) -> Option<HonestyFinding> {
    if info.sample_kind == SampleKind::Float {
        return None;
    }
    let range = histogram.middle();
    if info.bits <= 12 {
        comb_by_code(histogram, range)
    } else {
        comb_by_step(histogram, range)
    }
}

fn comb_by_code(histogram: &CodeHistogram, range: Range<usize>) -> Option<HonestyFinding> {
    let counts = histogram.counts.get(range.clone())?;
    let length = counts.len();
    let pixels: u64 = counts.iter().sum();
    if length < 32 || pixels < PIXELS_PER_CODE * length as u64 {
        return None;
    }
    let around = |i: usize| {
        let window = i.saturating_sub(8)..(i + 9).min(length);
        let others = window.len() as f64 - 1.0;
        (counts[window].iter().sum::<u64>() - counts[i]) as f64 / others
    };
    // 20 pixels expected and fewer than 2 found: a chance of some 1e-7.
    let gaps: Vec<usize> = (0..length)
        .filter(|i| around(*i) >= 20.0 && (counts[*i] as f64) < 0.1 * around(*i))
        .collect();
    let occupied = length - counts.iter().filter(|c| **c == 0).count();
    if gaps.len() < 5 || gaps.len() * 33 < length || (occupied as f64) < 0.15 * length as f64 {
        return None;
    }
    let steps: Vec<f64> = gaps.windows(2).map(|w| (w[1] - w[0]) as f64).collect();
    let usual = median(steps.clone());
    let regular = steps.iter().filter(|s| (**s - usual).abs() <= 1.0).count();
    if (regular as f64) < 0.8 * steps.len() as f64 {
        return None;
    }
    Some(HonestyFinding {
        flag: Flag::Comb,
        evidence: format!(
            "{} of the {length} codes from {} to {} are missing, every {usual:.0} codes or so, where {:.0} pixels a code \
             were to be expected",
            gaps.len(),
            range.start,
            range.end - 1,
            pixels as f64 / occupied as f64
        ),
    })
}

fn comb_by_step(histogram: &CodeHistogram, range: Range<usize>) -> Option<HonestyFinding> {
    let occupied: Vec<usize> = histogram
        .occupied()
        .into_iter()
        .filter(|c| range.contains(c))
        .collect();
    let pixels: u64 = histogram.counts.get(range.clone())?.iter().sum();
    // Up to 256 codes are the matter of `eight_bit_origin`.
    if range.len() < 1024
        || occupied.len() <= 256
        || pixels < PIXELS_PER_CODE * occupied.len() as u64
    {
        return None;
    }
    let steps: Vec<f64> = occupied.windows(2).map(|w| (w[1] - w[0]) as f64).collect();
    let usual = median(steps.clone());
    let share = |of: &dyn Fn(f64) -> bool| {
        steps.iter().filter(|s| of(**s)).count() as f64 / steps.len() as f64
    };
    let padded =
        [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0].contains(&usual) && share(&|s| s == usual) > 0.9;
    let regular = share(&|s| (s - usual).abs() <= 1.0_f64.max(0.25 * usual)) > 0.8;
    if usual < 2.0 || padded || !regular {
        return None;
    }
    Some(HonestyFinding {
        flag: Flag::Comb,
        evidence: format!(
            "between codes {} and {} only {} of {} occur, {usual:.0} apart, where {:.0} pixels fall on each",
            range.start,
            range.end - 1,
            occupied.len(),
            range.len(),
            pixels as f64 / occupied.len() as f64
        ),
    })
}

/// Tells of a file of more than 8 bits that holds at most 256 different codes,
/// spread over a range in which far more were to be expected.
#[must_use]
pub fn eight_bit_origin(info: &ScanInfo, histogram: &CodeHistogram) -> Option<HonestyFinding> {
    if info.sample_kind == SampleKind::Float || info.bits <= 8 || histogram.pixels < 4096 {
        return None;
    }
    let occupied = histogram.occupied();
    let (first, last) = (*occupied.first()?, *occupied.last()?);
    // Fewer than 16 tones are a chart; a narrow range can hold few codes by nature.
    if !(16..=256).contains(&occupied.len()) || last - first < 16 * occupied.len() {
        return None;
    }
    Some(HonestyFinding {
        flag: Flag::EightBitOrigin,
        evidence: format!(
            "{} pixels of {} bits hold only {} different codes between {first} and {last}",
            histogram.pixels,
            info.bits,
            occupied.len()
        ),
    })
}

/// The reading of clear film (rebate, base) in one of several scans.
#[derive(Clone, Copy, Debug)]
pub struct RebateReading<'a> {
    /// How the scan is called.
    pub name: &'a str,
    /// Statistics of the rebate.
    pub statistics: &'a PatchStatistics,
}

/// How well the clear film of several scans agrees.
#[derive(Clone, Debug, PartialEq)]
pub struct RebateComparison {
    /// Largest difference from the median scan, as log10 of signal.
    pub largest_difference: f64,
    /// Difference that would still pass for the same.
    pub tolerance: f64,
    /// [`Flag::LevelsChanged`] when the scans do not agree.
    pub finding: Option<HonestyFinding>,
}

/// Compares the clear film of scans that should be alike.
///
/// `tolerance` is a density that film base may differ by without reason for
/// doubt (0.02 is usual); three standard uncertainties of the readings are
/// allowed as well. Fewer than two readings agree with themselves.
#[must_use]
pub fn rebates_agree(rebates: &[RebateReading<'_>], tolerance: f64) -> RebateComparison {
    let log = |r: &RebateReading<'_>| libm::log10(r.statistics.signal.max(1e-9));
    let relative = |r: &RebateReading<'_>| {
        r.statistics.signal_uncertainty / r.statistics.signal.max(1e-9) * core::f64::consts::LOG10_E
    };
    let usual = median(rebates.iter().map(log).collect());
    let far = |r: &RebateReading<'_>| (log(r) - usual).abs();
    let Some(worst) = rebates.iter().max_by(|a, b| far(a).total_cmp(&far(b))) else {
        return RebateComparison {
            largest_difference: 0.0,
            tolerance,
            finding: None,
        };
    };
    let uncertainty = relative(worst).hypot(median(rebates.iter().map(relative).collect()));
    let allowed = tolerance.max(3.0 * uncertainty);
    let difference = far(worst);
    let scale = if worst.statistics.tone_known {
        "density"
    } else {
        "log10 of code (tone unknown)"
    };
    let codes = median(rebates.iter().map(|r| r.statistics.mean_code).collect());
    let finding = (difference > allowed).then(|| HonestyFinding {
        flag: Flag::LevelsChanged,
        evidence: format!(
            "clear film reads code {:.1} in {} and {codes:.1} in the median of {} scans, a difference of {difference:.3} in {scale}; \
             up to {allowed:.3} would pass",
            worst.statistics.mean_code,
            worst.name,
            rebates.len()
        ),
    });
    RebateComparison {
        largest_difference: difference,
        tolerance: allowed,
        finding,
    }
}

/// How two scans of the same thing compare.
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatComparison {
    /// Columns that the second lies to the right of the first, in pixels of
    /// the scan; whole boxes of the preview.
    pub shift_x: i64,
    /// Rows that the second lies below the first.
    pub shift_y: i64,
    /// Median over blocks of second minus first, as −log10 of signal.
    pub density_difference: f64,
    /// Robust standard deviation of the blocks about it.
    pub block_sd: f64,
    /// Blocks compared.
    pub blocks: usize,
    /// Whether the two are equal within a density of 0.01, blocks within 0.02.
    pub equal: bool,
    /// The comparison in one sentence with its numbers.
    pub evidence: String,
}

/// Why two scans cannot be compared.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RepeatError {
    /// Compare previews of the same size and reduction.
    #[error("previews of the same size are needed, found {first} and {second}")]
    Sizes {
        /// Size of the first.
        first: String,
        /// Size of the second.
        second: String,
    },
    /// One is linear light and the other is not.
    #[error("one scan has a known tone and the other has not")]
    MixedTones,
    /// Nothing to compare.
    #[error("the scans have {blocks} blocks with a signal in both, at least {needed} are needed")]
    TooFewBlocks {
        /// Blocks found.
        blocks: usize,
        /// Blocks needed.
        needed: usize,
    },
}

/// Density that repeat scans may differ by on the whole.
const REPEAT_DIFFERENCE: f64 = 0.01;
/// Standard deviation of blocks that repeat scans may have.
const REPEAT_SD: f64 = 0.02;
/// Most pixels of a preview that a scan is looked for to have moved.
const REPEAT_SHIFT: i64 = 6;
/// Fewest blocks a comparison rests on.
const REPEAT_BLOCKS: usize = 9;

/// Compares two scans of the same thing, block by block.
///
/// # Errors
/// [`RepeatError`] when the previews cannot be laid on each other.
pub fn repeat_scans_agree(
    first: &Preview,
    second: &Preview,
) -> Result<RepeatComparison, RepeatError> {
    let size = |p: &Preview| format!("{} × {} pixels of {} × {2}", p.width, p.height, p.box_side);
    if (first.width, first.height, first.box_side) != (second.width, second.height, second.box_side)
    {
        return Err(RepeatError::Sizes {
            first: size(first),
            second: size(second),
        });
    }
    if first.tone_known != second.tone_known {
        return Err(RepeatError::MixedTones);
    }
    let (dx, dy) = shift_between(first, second);
    let differences = block_differences(first, second, dx, dy);
    if differences.len() < REPEAT_BLOCKS {
        return Err(RepeatError::TooFewBlocks {
            blocks: differences.len(),
            needed: REPEAT_BLOCKS,
        });
    }
    let density_difference = median(differences.clone());
    let block_sd = 1.4826
        * median(
            differences
                .iter()
                .map(|d| (d - density_difference).abs())
                .collect(),
        );
    let moved = dx.abs().max(dy.abs()) == REPEAT_SHIFT;
    let equal = density_difference.abs() <= REPEAT_DIFFERENCE && block_sd <= REPEAT_SD && !moved;
    let side = i64::from(first.box_side);
    let (shift_x, shift_y) = (dx * side, dy * side);
    let evidence = format!(
        "over {} blocks the second scan differs by {density_difference:.4} (ratio of signals {:.4}), blocks by {block_sd:.4}, \
         and lies {shift_x} pixels to the right and {shift_y} below; up to {REPEAT_DIFFERENCE} and {REPEAT_SD} would pass for equal",
        differences.len(),
        libm::pow(10.0, -density_difference)
    );
    Ok(RepeatComparison {
        shift_x,
        shift_y,
        density_difference,
        block_sd,
        blocks: differences.len(),
        equal,
        evidence,
    })
}

/// Logarithm of a signal that does not run away in the dark.
fn log_signal(signal: f32) -> f64 {
    libm::log10(f64::from(signal).max(1e-4))
}

/// Gives the whole-pixel shift that leaves the smallest mean absolute
/// difference of the logarithms, less their median.
fn shift_between(first: &Preview, second: &Preview) -> (i64, i64) {
    let (width, height) = (i64::from(first.width), i64::from(first.height));
    let reach = REPEAT_SHIFT.min((width.min(height) - 1) / 4);
    // Some 10 000 points are enough to tell 169 shifts apart.
    let stride = ((((width * height) as f64) / 10_000.0).sqrt() as i64).max(1);
    let logs = |p: &Preview| p.signal.iter().map(|s| log_signal(*s)).collect::<Vec<_>>();
    let (a, b) = (logs(first), logs(second));
    let mut best = (f64::INFINITY, 0, 0);
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let mut differences = Vec::new();
            let mut y = reach;
            while y < height - reach {
                let mut x = reach;
                while x < width - reach {
                    differences.push(
                        b[((y + dy) * width + x + dx) as usize] - a[(y * width + x) as usize],
                    );
                    x += stride;
                }
                y += stride;
            }
            let count = differences.len().max(1) as f64;
            let mean = differences.iter().sum::<f64>() / count;
            let left = differences.iter().map(|d| (d - mean).abs()).sum::<f64>() / count;
            // Of equal ones the smaller shift, so that an even field has none.
            let score = left * (1.0 + 1e-9) + 1e-9 * (dx.abs() + dy.abs()) as f64;
            if score < best.0 {
                best = (score, dx, dy);
            }
        }
    }
    (best.1, best.2)
}

/// Gives the difference of each block as −log10 of the ratio of its sums.
fn block_differences(first: &Preview, second: &Preview, dx: i64, dy: i64) -> Vec<f64> {
    let (width, height) = (i64::from(first.width), i64::from(first.height));
    let side = (width.min(height) / 16).max(1);
    let mut differences = Vec::new();
    let mut top = dy.abs();
    while top + side <= height - dy.abs() {
        let mut left = dx.abs();
        while left + side <= width - dx.abs() {
            let (mut a, mut b) = (0.0, 0.0);
            for y in top..top + side {
                for x in left..left + side {
                    a += f64::from(first.signal[(y * width + x) as usize]);
                    b += f64::from(second.signal[((y + dy) * width + x + dx) as usize]);
                }
            }
            let pixels = (side * side) as f64;
            // Black border says nothing, and neither does a clipped block.
            let usable = |sum: f64| (0.002..0.998).contains(&(sum / pixels));
            if usable(a) && usable(b) {
                differences.push(-libm::log10(b / a));
            }
            left += side;
        }
        top += side;
    }
    differences
}
