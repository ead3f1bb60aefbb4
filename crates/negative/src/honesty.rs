//! Named checks that a scan is what it seems.
//!
//! Each finding is a flag with one sentence of evidence that holds the numbers.
//! A check that has too little to go on says nothing: small pictures, narrow
//! histograms and charts of a few tones raise no alarm.
//!
//! Begin with [`file_findings`]; [`rebates_agree`] and [`repeat_scans_agree`]
//! compare scans with each other.

use crate::calibration::{Calibration, StepUse, TabletMisfit};
use crate::decode::{Codes, SampleKind, ScanInfo, ScanRow};
use crate::outline::{Outline, OutlineError, Rectangle};
use crate::patch::{PatchStatistics, median};
use crate::preview::Preview;
use crate::tone::Tone;
use core::ops::Range;
use quantity::Flag;

/// Share of pixels at an end of the scale from which a picture is clipped.
const CLIPPED_SHARE: f64 = 0.001;
/// Share of pixels at an end code from which levels were cut off there.
const FLAT_END_SHARE: f64 = 0.005;
/// How many times as many pixels as the codes next to it such an end holds.
const FLAT_END_TIMES: f64 = 20.0;
/// Occupied codes next to an end that must lie close to it, so that a chart of
/// a few even tones is not taken for a picture that was cut off.
const FLAT_END_CODES: usize = 8;
/// How close: part of the code scale.
const FLAT_END_REACH: f64 = 0.05;
/// Codes below which a picture may be a drawn chart of even tones.
const CHART_CODES: usize = 64;
/// Pixels for each code below which a missing code is chance.
const PIXELS_PER_CODE: u64 = 50;

/// What a check found.
#[derive(Clone, Debug, PartialEq)]
pub struct HonestyFinding {
    /// What a reader must know.
    pub flag: Flag,
    /// One sentence with the numbers.
    pub evidence: String,
    /// Codes from one value that can occur to the next, where a check found
    /// them further apart than the file's bits say.
    pub code_step: Option<f64>,
}

impl HonestyFinding {
    /// Joins a flag and its evidence.
    #[must_use]
    pub fn new(flag: Flag, evidence: String) -> Self {
        Self {
            flag,
            evidence,
            code_step: None,
        }
    }
}

/// Where levels were cut off within the code scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FlatEnds {
    /// Code above 0 below which nothing was kept.
    pub floor: Option<u16>,
    /// Code below the largest above which nothing was kept.
    pub ceiling: Option<u16>,
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
        findings.push(HonestyFinding::new(
            flag,
            format!(
                "neither the record nor the {} file says how code values follow light{reason}",
                info.format
            ),
        ));
    }
    if info.flags.contains(Flag::Lossy) {
        findings.push(HonestyFinding::new(
            Flag::Lossy,
            format!(
                "the {} file was compressed with loss, in 8 bits",
                info.format
            ),
        ));
    }
    if info.flags.contains(Flag::SeveralImages) {
        findings.push(HonestyFinding::new(
            Flag::SeveralImages,
            format!(
                "the file holds {} images; number {} was read",
                info.page_count,
                info.page + 1
            ),
        ));
    }
    findings
}

/// Gives what the tablet of a calibration shows; its steps are numbered from 1
/// as they were given.
#[must_use]
pub fn tablet_findings(calibration: &Calibration) -> Vec<HonestyFinding> {
    let numbers: Vec<usize> = (1..=calibration.steps().len()).collect();
    tablet_findings_numbered(calibration, &numbers)
}

/// Gives what the tablet of a calibration shows, when not all of its steps
/// were given: `numbers` holds the number of each that was.
///
/// # Panics
/// When there is not one number for each step of the calibration.
#[must_use]
pub fn tablet_findings_numbered(
    calibration: &Calibration,
    numbers: &[usize],
) -> Vec<HonestyFinding> {
    let steps = calibration.steps();
    assert_eq!(
        steps.len(),
        numbers.len(),
        "each step of the calibration has its number"
    );
    let named = |of: StepUse| -> Vec<usize> {
        let found = steps.iter().zip(numbers).filter(|(s, _)| s.step_use == of);
        found.map(|(_, number)| *number).collect()
    };
    let mut findings = Vec::new();
    let out_of_order = named(StepUse::OutOfOrder);
    if !out_of_order.is_empty() {
        let does = if out_of_order.len() == 1 {
            "does not read between its neighbours and was left out"
        } else {
            "do not read between their neighbours and were left out"
        };
        let swapped = match out_of_order[..] {
            [a, b] if b == a + 1 => "; the outlines of the two may be swapped",
            _ => "",
        };
        findings.push(HonestyFinding::new(
            Flag::TabletOutOfOrder,
            format!(
                "{} of the tablet {does}{swapped}",
                steps_words(&out_of_order)
            ),
        ));
    }
    let clipped = named(StepUse::Clipped);
    if !clipped.is_empty() {
        let (is, them) = if clipped.len() == 1 {
            ("is", "it")
        } else {
            ("are", "them")
        };
        findings.push(HonestyFinding::new(
            Flag::Clipped,
            format!(
                "{} of the tablet {is} clipped; densities beyond {them} are limits",
                steps_words(&clipped)
            ),
        ));
    }
    let uneven: Vec<usize> = steps
        .iter()
        .zip(numbers)
        .filter(|(s, _)| s.unevenness.is_some())
        .map(|(_, number)| *number)
        .collect();
    if !uneven.is_empty() {
        let most = steps
            .iter()
            .filter_map(|s| s.unevenness)
            .fold(0.0, f64::max);
        let is = if uneven.len() == 1 { "is" } else { "are" };
        findings.push(HonestyFinding::new(
            Flag::UnevenPatch,
            format!(
                "{} of the tablet {is} uneven, by up to {most:.2} in density within the outline, \
                 which may lie across two steps",
                steps_words(&uneven)
            ),
        ));
    }
    if let Some(misfit) = calibration.misfit() {
        findings.push(HonestyFinding::new(
            Flag::TabletMisfit,
            misfit_words(misfit, numbers),
        ));
    }
    if calibration.reversed() {
        findings.push(HonestyFinding::new(
            Flag::SignalReversed,
            "code values rise with the densities of the tablet".to_owned(),
        ));
    }
    findings
}

fn misfit_words(misfit: &TabletMisfit, numbers: &[usize]) -> String {
    let numbered = |steps: &[usize]| -> Vec<usize> {
        let mut steps: Vec<usize> = steps.iter().map(|s| numbers[*s]).collect();
        steps.sort_unstable();
        steps
    };
    let mut clauses = Vec::new();
    if misfit.beyond_stated {
        clauses.push(format!(
            "the steps miss the curve through the others by {:.3} in density, where table and readings state {:.3}",
            misfit.rms, misfit.stated
        ));
        if !misfit.steps.is_empty() {
            clauses.push(format!(
                "most of all {}",
                steps_words(&numbered(&misfit.steps))
            ));
        }
    }
    if misfit.straddling {
        clauses.push(
            "so many steps are uneven that the outlines seem to lie across the steps".to_owned(),
        );
    }
    if !misfit.ends.is_empty() {
        clauses.push(format!(
            "{} {} not go on as the next two steps: an outline may lie beside the tablet, or the table be another's",
            steps_words(&numbered(&misfit.ends)),
            if misfit.ends.len() == 1 { "does" } else { "do" }
        ));
    }
    if let Some((by, rms)) = misfit.moved {
        let count = by.unsigned_abs();
        clauses.push(format!(
            "moved by {count} step{} the table fits to {rms:.3}: the outline given for step {} seems to show step {}",
            if count == 1 { "" } else { "s" },
            if by > 0 { 1 } else { 1 + count },
            if by > 0 { 1 + count } else { 1 }
        ));
    }
    clauses.push(format!(
        "{:.3} is added to the uncertainty of every density",
        misfit.added
    ));
    clauses.join("; ")
}

/// Names steps by their numbers, rising: "step 3", "steps 1, 2 and 7 to 9".
fn steps_words(numbers: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *number => *last = *number,
            _ => runs.push((*number, *number)),
        }
    }
    let mut words: Vec<String> = Vec::new();
    for (first, last) in runs {
        match last - first {
            0 => words.push(first.to_string()),
            1 => words.extend([first.to_string(), last.to_string()]),
            _ => words.push(format!("{first} to {last}")),
        }
    }
    let noun = if numbers.len() == 1 { "step" } else { "steps" };
    match words.split_last() {
        Some((last, [])) => format!("{noun} {last}"),
        Some((last, before)) => format!("{noun} {} and {last}", before.join(", ")),
        None => noun.to_owned(),
    }
}

/// Tells of pixels at the ends of the code scale, more than 0.1 %, and of
/// levels that were cut off within it.
#[must_use]
pub fn clipped(histogram: &CodeHistogram) -> Option<HonestyFinding> {
    let top = histogram.counts.len() - 1;
    let (low, high) = (histogram.share(0), histogram.share(top));
    let mut words = Vec::new();
    if low.max(high) > CLIPPED_SHARE {
        words.push(format!(
            "{:.2} % of the pixels are at code 0 and {:.2} % at code {top}",
            low * 100.0,
            high * 100.0
        ));
    }
    let ends = flat_ends(histogram);
    let flat = |code: u16, side: &str| {
        format!(
            "levels were cut off at code {code}: {:.2} % of the pixels are there and none {side}",
            histogram.share(usize::from(code)) * 100.0
        )
    };
    words.extend(ends.floor.map(|code| flat(code, "below")));
    words.extend(ends.ceiling.map(|code| flat(code, "above")));
    (!words.is_empty()).then(|| HonestyFinding::new(Flag::Clipped, words.join("; ")))
}

/// Finds a floor or a ceiling within the code scale.
///
/// The lowest or highest code that occurs holds more than 0.5 % of the pixels
/// and more than 20 times as many as any of the next 8 codes that occur, and
/// those lie close by: noise that should have spread further was cut off. The
/// ends of the scale itself are the matter of [`clipped`].
#[must_use]
pub fn flat_ends(histogram: &CodeHistogram) -> FlatEnds {
    let occupied = histogram.occupied();
    let top = histogram.counts.len() - 1;
    let is_flat = |codes: &mut dyn Iterator<Item = usize>| -> Option<u16> {
        let end = codes.next()?;
        if end == 0 || end == top || histogram.share(end) <= FLAT_END_SHARE {
            return None;
        }
        let next: Vec<usize> = codes.take(FLAT_END_CODES).collect();
        let close = *next.last()?;
        let most = next.iter().map(|c| histogram.counts[*c]).max()?;
        let cut_off = next.len() == FLAT_END_CODES
            && close.abs_diff(end) as f64 <= FLAT_END_REACH * top as f64
            && histogram.counts[end] as f64 > FLAT_END_TIMES * most as f64;
        // At most 16 bits of code.
        if cut_off {
            u16::try_from(end).ok()
        } else {
            None
        }
    };
    FlatEnds {
        floor: is_flat(&mut occupied.iter().copied()),
        ceiling: is_flat(&mut occupied.iter().rev().copied()),
    }
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
    let spacing = if usual < 1.5 {
        "in runs".to_owned()
    } else {
        format!("one in every {usual:.0} or so")
    };
    Some(HonestyFinding {
        flag: Flag::Comb,
        evidence: format!(
            "{} of the {length} codes from {} to {} are missing, {spacing}, where {:.0} pixels a code \
             were to be expected",
            gaps.len(),
            range.start,
            range.end - 1,
            pixels as f64 / occupied as f64
        ),
        code_step: Some(length as f64 / occupied.max(1) as f64),
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
        code_step: Some(usual),
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
    // 8 bits are spread over 16 by 257, or by 256 when they are shifted.
    let spread = [257, 256]
        .into_iter()
        .find(|step| occupied.iter().all(|code| code % step == 0));
    // A drawn chart can hold more tones, a tablet of 21 steps and its patches;
    // only codes of 8 bits all lie on one grid.
    if occupied.len() < CHART_CODES && spread.is_none() {
        return None;
    }
    // Without a grid (a curve was applied after) the codes tell their distance.
    let step = spread.map_or_else(
        || median(occupied.windows(2).map(|w| (w[1] - w[0]) as f64).collect()),
        |step| step as f64,
    );
    Some(HonestyFinding {
        flag: Flag::EightBitOrigin,
        evidence: format!(
            "{} pixels of {} bits hold only {} different codes between {first} and {last}",
            histogram.pixels,
            info.bits,
            occupied.len()
        ),
        code_step: Some(step),
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
    /// The scans that do not agree with the others, by name.
    pub changed: Vec<RebateChange>,
}

/// A scan whose clear film reads differently.
#[derive(Clone, Debug, PartialEq)]
pub struct RebateChange {
    /// How the scan is called.
    pub name: String,
    /// log10 of its signal over that of the median scan; between two scans
    /// alone, over that of the other.
    pub difference: f64,
    /// [`Flag::LevelsChanged`] with its numbers.
    pub finding: HonestyFinding,
}

/// Compares the clear film of scans that should be alike.
///
/// `tolerance` is a density that film base may differ by without reason for
/// doubt (0.02 is usual); three standard uncertainties of the readings are
/// allowed as well. Readings of one name are averaged. The scans that differ
/// from the median of all are named; of two scans, both are, since which was
/// changed can't be told. Fewer than two scans agree with themselves.
#[must_use]
pub fn rebates_agree(rebates: &[RebateReading<'_>], tolerance: f64) -> RebateComparison {
    struct Clear<'a> {
        name: &'a str,
        log: f64,
        error: f64,
        code: f64,
        patches: f64,
    }
    let mut scans: Vec<Clear<'_>> = Vec::new();
    for rebate in rebates {
        let signal = rebate.statistics.signal.max(1e-9);
        let log = libm::log10(signal);
        let error = rebate.statistics.signal_uncertainty / signal * core::f64::consts::LOG10_E;
        let code = rebate.statistics.mean_code;
        match scans.iter_mut().find(|s| s.name == rebate.name) {
            Some(scan) => {
                let count = scan.patches;
                let joined = |old: f64, new: f64| (old * count + new) / (count + 1.0);
                scan.log = joined(scan.log, log);
                scan.error = scan.error.max(error);
                scan.code = joined(scan.code, code);
                scan.patches += 1.0;
            }
            None => scans.push(Clear {
                name: rebate.name,
                log,
                error,
                code,
                patches: 1.0,
            }),
        }
    }
    let usual = median(scans.iter().map(|s| s.log).collect());
    let usual_code = median(scans.iter().map(|s| s.code).collect());
    let usual_error = median(scans.iter().map(|s| s.error).collect());
    let known = rebates.iter().all(|r| r.statistics.tone_known);
    let scale = if known {
        "density"
    } else {
        "log10 of code (tone unknown)"
    };
    // Codes of one scale only can be compared by eye.
    let code_max = rebates.first().map_or(0, |r| r.statistics.code_max);
    let one_scale = rebates.iter().all(|r| r.statistics.code_max == code_max);
    let decimals = usize::from(code_max <= u16::from(u8::MAX));
    let shown = |scan: Option<&Clear<'_>>| {
        let (log, code) = scan.map_or((usual, usual_code), |s| (s.log, s.code));
        if one_scale {
            format!("code {code:.decimals$}")
        } else {
            format!("{:.1} % of the scale", libm::pow(10.0, log) * 100.0)
        }
    };
    let mut comparison = RebateComparison {
        largest_difference: 0.0,
        changed: Vec::new(),
    };
    for (i, scan) in scans.iter().enumerate() {
        let (difference, against) = if let [a, b] = &scans[..] {
            let other = if i == 0 { b } else { a };
            let against = format!(
                "{} in {}, and which of the two was changed can't be told",
                shown(Some(other)),
                other.name
            );
            (scan.log - other.log, against)
        } else {
            let against = format!("{} in the median of {} scans", shown(None), scans.len());
            (scan.log - usual, against)
        };
        let allowed = tolerance.max(3.0 * scan.error.hypot(usual_error));
        comparison.largest_difference = comparison.largest_difference.max(difference.abs());
        if difference.abs() > allowed {
            let evidence = format!(
                "clear film reads {} here and {against}: a difference of {:.3} in {scale}, where up to {allowed:.3} would pass",
                shown(Some(scan)),
                difference.abs()
            );
            comparison.changed.push(RebateChange {
                name: scan.name.to_owned(),
                difference,
                finding: HonestyFinding::new(Flag::LevelsChanged, evidence),
            });
        }
    }
    comparison
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
