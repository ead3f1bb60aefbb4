//! Apertures, times and exposure indices as they are written for a person.

use crate::nearest_mark::{SeriesPlace, nearest_ei};
use quantity::{ExposureIndex, FNumber, Seconds};

/// Writes a positive number with so many significant digits, without trailing zeros.
///
/// Digits left of the point are never replaced by zeros.
pub(crate) fn significant(number: f64, digits: u8) -> String {
    // The place of the last digit kept, counted after the decimal point.
    let decimals = f64::from(digits) - 1.0 - libm::floor(libm::log10(number));
    if decimals > 12.0 {
        return format!("{number:e}");
    }
    // 0 to 12 here, so the cast is exact.
    let decimals = decimals.max(0.0) as usize;
    let text = format!("{number:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Writes an f-number with three significant digits: `f/16`, `f/45.3`.
#[must_use]
pub fn format_aperture(aperture: FNumber) -> String {
    format!("f/{}", significant(aperture.to_ratio(), 3))
}

/// Writes a time with three significant digits: `1/30 s`, `1/12.5 s`, `0.4 s`, `93.2 s`.
///
/// Below 0.3 s it is written as a part of a second.
#[must_use]
pub fn format_time(time: Seconds) -> String {
    let seconds = time.to_s();
    if seconds < 0.3 {
        format!("1/{} s", significant(1.0 / seconds, 3))
    } else {
        format!("{} s", significant(seconds, 3))
    }
}

/// Writes an exposure index as the nearest third-stop number: `12`.
///
/// Beyond 0.03 to 80 000 the number itself is written with three digits.
#[must_use]
pub fn format_ei(ei: ExposureIndex) -> String {
    let found = nearest_ei(ei);
    match found.place {
        SeriesPlace::Within => found.mark.label(),
        SeriesPlace::BeyondEnd => significant(ei.to_arithmetic(), 3),
    }
}
