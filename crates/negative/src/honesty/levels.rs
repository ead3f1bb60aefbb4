//! Levels that were changed after capture: combs in the histogram, and 16 bits
//! made from 8.

use super::finding::HonestyFinding;
use super::histogram::CodeHistogram;
use super::levels_spectrum::code_rhythm;
use crate::decode::{SampleKind, ScanInfo};
use crate::patch::median;
use core::ops::Range;
use quantity::Flag;

/// Codes below which a picture may be a drawn chart of even tones.
const CHART_CODES: usize = 64;
/// Pixels for each code below which a missing code is chance.
const PIXELS_PER_CODE: u64 = 50;
/// Pixels of the neighbours of a code below which it says nothing.
const FEWEST_BESIDE: f64 = 60.0;
/// Part of the range that missing codes at their usual distance must fill, one in.
const FILLED_ONE_IN: f64 = 5.0;
/// How many times as often as both neighbours a code is odd.
const ODD_TIMES: f64 = 1.6;
/// The same in the whole picture, where even tones lie below.
const ODD_TIMES_OF_ALL: f64 = 1.35;
/// Fewest codes that can be told, fewest odd ones, and one in so many of them.
const FEWEST_TOLD: usize = 24;
const FEWEST_ODD: usize = 6;
const ODD_ONE_IN: usize = 12;

/// Tells of regular gaps in the histogram, as a stretch of levels leaves them.
///
/// A scanner that pads 12 or 14 bits to 16 leaves gaps of a power of two; that
/// is no stretch. Needs 50 pixels to a code and a range of 32 codes.
#[must_use]
pub fn comb(info: &ScanInfo, histogram: &CodeHistogram) -> Option<HonestyFinding> {
    if info.sample_kind == SampleKind::Float {
        return None;
    }
    if info.bits <= 12 {
        return comb_by_code(histogram).or_else(|| comb_by_odd_codes(histogram));
    }
    let range = histogram.middle();
    comb_by_step(histogram, range).or_else(|| comb_by_rhythm(histogram))
}

/// A rhythm in the counts of neighbouring codes, of which none need be missing.
fn comb_by_rhythm(histogram: &CodeHistogram) -> Option<HonestyFinding> {
    let rhythm = code_rhythm(histogram)?;
    Some(HonestyFinding {
        flag: Flag::Comb,
        evidence: format!(
            "between codes {} and {} the counts repeat every {:.2} codes, {:.0} times as strongly as chance would; \
             {} of {} parts of the scale show it",
            rhythm.part.0,
            rhythm.part.1,
            rhythm.period,
            rhythm.power,
            rhythm.parts_found,
            rhythm.parts
        ),
        code_step: Some(rhythm.period),
    })
}

/// Codes that occur far more or far less often than both neighbours, again and
/// again over the range: levels were squeezed, or bent by a curve.
///
/// Both the whole picture and the pixels where it varies must show it: an even tone
/// is a peak in the one, and an edge may be one in the other.
fn comb_by_odd_codes(histogram: &CodeHistogram) -> Option<HonestyFinding> {
    let times = |counts: &[u64], i: usize| -> Option<f64> {
        let [a, b, c] = [i - 1, i, i + 1].map(|at| counts[at] as f64);
        // Fewer would differ by chance; and beside the end of a peak all do.
        (a.min(c) >= FEWEST_BESIDE && a.max(c) <= 3.0 * a.min(c)).then(|| b / (a * c).sqrt())
    };
    let odd = |times: f64, by: f64| {
        if times > by {
            1
        } else if times * by < 1.0 {
            -1
        } else {
            0
        }
    };
    let told: Vec<(usize, bool)> = (1..histogram.varied.len().saturating_sub(1))
        .filter_map(|i| {
            let varied = odd(times(&histogram.varied, i)?, ODD_TIMES);
            let whole = times(&histogram.counts, i).map_or(0, |t| odd(t, ODD_TIMES_OF_ALL));
            Some((i, varied != 0 && varied == whole))
        })
        .collect();
    let found: Vec<usize> = told.iter().filter(|t| t.1).map(|t| t.0).collect();
    if told.len() < FEWEST_TOLD || found.len() < FEWEST_ODD || found.len() * ODD_ONE_IN < told.len()
    {
        return None;
    }
    let (first, last) = (found[0], found[found.len() - 1]);
    // An even tone that is left makes a peak in one place.
    if (last - first) * 4 < told[told.len() - 1].0 - told[0].0 {
        return None;
    }
    Some(HonestyFinding {
        flag: Flag::Comb,
        evidence: format!(
            "{} of {} codes between {first} and {last} occur {ODD_TIMES} times as often, or as seldom, as both their neighbours",
            found.len(),
            told.len(),
        ),
        code_step: Some(2.0),
    })
}

/// Codes that are missing again and again, in the whole picture and where it varies.
fn comb_by_code(histogram: &CodeHistogram) -> Option<HonestyFinding> {
    let range = histogram.middle();
    let counts = histogram.counts.get(range.clone())?;
    let varied = histogram.varied.get(range.clone())?;
    let length = counts.len();
    let pixels: u64 = counts.iter().sum();
    if length < 32 || pixels < PIXELS_PER_CODE * length as u64 {
        return None;
    }
    // 20 pixels expected and fewer than 2 found: a chance of some 1e-7.
    let missing = |of: &[u64], i: usize| {
        let window = i.saturating_sub(8)..(i + 9).min(length);
        let others = window.len() as f64 - 1.0;
        let around = (of[window].iter().sum::<u64>() - of[i]) as f64 / others;
        around >= 20.0 && (of[i] as f64) < 0.1 * around
    };
    let gaps: Vec<usize> = (0..length)
        .filter(|i| missing(counts, *i) && missing(varied, *i))
        .collect();
    let occupied = length - counts.iter().filter(|c| **c == 0).count();
    if gaps.len() < 5 || gaps.len() * 33 < length || (occupied as f64) < 0.15 * length as f64 {
        return None;
    }
    let steps: Vec<f64> = gaps.windows(2).map(|w| (w[1] - w[0]) as f64).collect();
    let usual = median(steps.clone());
    let regular = steps.iter().filter(|s| (**s - usual).abs() <= 1.0).count();
    // The dense steps of a tablet lie apart too, at the dark end alone.
    let reach = gaps[gaps.len() * 4 / 5] - gaps[0];
    if (regular as f64) < 0.6 * steps.len() as f64 || reach * 4 < length {
        return None;
    }
    if gaps.len() as f64 * usual * FILLED_ONE_IN < length as f64 {
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
    let padded = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0].contains(&usual)
        && share(&|s| s % usual == 0.0) > 0.97;
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
