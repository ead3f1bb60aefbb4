//! Pixels at the ends of the code scale, and levels cut off within it.

use super::finding::HonestyFinding;
use super::histogram::CodeHistogram;
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

/// Where levels were cut off within the code scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FlatEnds {
    /// Code above 0 below which nothing was kept.
    pub floor: Option<u16>,
    /// Code below the largest above which nothing was kept.
    pub ceiling: Option<u16>,
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
