//! Numbers as they are shown: rounding and signs, nothing else.
//!
//! Stops have one decimal, densities two, an EI is a third-stop number, a
//! factor has × and two significant figures. Minus is the real minus sign,
//! which is as wide as a digit in the family that pages are set in.

use quantity::{Bound, ExposureIndex, FilterFactor, Interval, Stops};

/// Writes a number with fixed decimals and a real minus; never `−0.0`.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let plain = format!("{value:.decimals$}");
    match plain.strip_prefix('-') {
        Some(digits) if digits.bytes().all(|b| b == b'0' || b == b'.') => digits.to_owned(),
        Some(digits) => format!("−{digits}"),
        None => plain,
    }
}

/// Writes a number with fixed decimals and its sign: `+1.0`, `−0.3`, `0.0`.
#[must_use]
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let zero = text.bytes().all(|b| b == b'0' || b == b'.');
    if value > 0.0 && !zero {
        format!("+{text}")
    } else {
        text
    }
}

/// Writes a density: two decimals.
#[must_use]
pub fn density(value: f64) -> String {
    fixed(value, 2)
}

/// Writes stops: one decimal.
#[must_use]
pub fn stops(value: Stops) -> String {
    fixed(value.to_stops(), 1)
}

/// Writes stops with their sign: one decimal.
#[must_use]
pub fn signed_stops(value: Stops) -> String {
    signed(value.to_stops(), 1)
}

/// Writes a factor with × and two significant figures: `×320`, `×1.3`, `×12 000`.
#[must_use]
pub fn factor(value: FilterFactor) -> String {
    format!("×{}", two_figures(value.to_ratio()))
}

/// Writes an EI as a third-stop number, also far below 1: `0.032`.
#[must_use]
pub fn ei(value: ExposureIndex) -> String {
    let number = value.to_arithmetic();
    // The series repeats every decade, so the marks from 0.1 to 80 000 serve
    // 0.0001 to 80 as well.
    if (1e-4..0.1).contains(&number)
        && let Ok(thousandfold) = ExposureIndex::from_arithmetic(number * 1000.0)
    {
        return format!(
            "{}",
            exposure::nearest_ei(thousandfold).mark.nominal() / 1000.0
        );
    }
    exposure::format_ei(value)
}

/// How far, in third stops, an end may lie beyond a third-stop number and still
/// be called by it: the numbers themselves (64 is 63.1, 125 is 125.9) are rounded
/// by up to 0.062 of a step.
const THIRD_TOLERANCE: f64 = 0.07;

/// Gives the EI `round`ed to the series of thirds, 10^(k/10) for whole k.
fn to_third(value: ExposureIndex, round: impl Fn(f64) -> f64) -> ExposureIndex {
    let thirds = round(10.0 * libm::log10(value.to_arithmetic()));
    ExposureIndex::from_arithmetic(libm::pow(10.0, thirds / 10.0)).unwrap_or(value)
}

/// Writes the low end of an interval of EI: the third-stop number at or below it.
///
/// Ends are rounded outward, so that the interval shown covers no less than
/// the one that was found.
#[must_use]
pub fn ei_low(value: ExposureIndex) -> String {
    ei(to_third(value, |k| libm::floor(k + THIRD_TOLERANCE)))
}

/// Writes the high end of an interval of EI: the third-stop number at or above it.
#[must_use]
pub fn ei_high(value: ExposureIndex) -> String {
    ei(to_third(value, |k| libm::ceil(k - THIRD_TOLERANCE)))
}

/// Writes an interval of EI, ends rounded outward: `1.6 (1 to 2.5)`; with a
/// bound, the end that holds: `≤ 0.05`.
#[must_use]
pub fn ei_interval(of: Interval<ExposureIndex>, bound: Option<Bound>) -> String {
    match bound {
        None => format!(
            "{} ({} to {})",
            ei(of.value),
            ei_low(of.low),
            ei_high(of.high)
        ),
        Some(_) => short_ei_interval(of, bound),
    }
}

/// Writes the value of an interval of EI alone; with a bound, the end that
/// holds, rounded outward: `≤ 0.05`.
#[must_use]
pub fn short_ei_interval(of: Interval<ExposureIndex>, bound: Option<Bound>) -> String {
    match bound {
        None => ei(of.value),
        Some(Bound::AtLeast) => format!("≥\u{a0}{}", ei_low(of.low)),
        Some(Bound::AtMost) => format!("≤\u{a0}{}", ei_high(of.high)),
    }
}

/// Writes an interval: `8.3 (7.5 to 9.1)`; with a bound, the end that holds: `≥ 7.5`.
#[must_use]
pub fn interval<Q: Copy>(
    of: Interval<Q>,
    bound: Option<Bound>,
    write: impl Fn(Q) -> String,
) -> String {
    match bound {
        None => format!(
            "{} ({} to {})",
            write(of.value),
            write(of.low),
            write(of.high)
        ),
        Some(_) => short_interval(of, bound, write),
    }
}

/// Writes the value of an interval alone; with a bound, the end that holds: `≥ 7.5`.
#[must_use]
pub fn short_interval<Q: Copy>(
    of: Interval<Q>,
    bound: Option<Bound>,
    write: impl Fn(Q) -> String,
) -> String {
    match bound {
        None => write(of.value),
        Some(Bound::AtLeast) => format!("≥\u{a0}{}", write(of.low)),
        Some(Bound::AtMost) => format!("≤\u{a0}{}", write(of.high)),
    }
}

/// Stops with their sign, and ≥ or ≤ before them where they are a limit.
#[must_use]
pub fn signed_stops_or_limit(value: Stops, bound: Option<Bound>) -> String {
    let sign = match bound {
        None => "",
        Some(Bound::AtLeast) => "≥\u{a0}",
        Some(Bound::AtMost) => "≤\u{a0}",
    };
    format!("{sign}{}", signed_stops(value))
}

/// Gives the bound of an EI from the bound of the factor: more filter, less EI.
#[must_use]
pub fn opposite(bound: Option<Bound>) -> Option<Bound> {
    bound.map(|b| match b {
        Bound::AtLeast => Bound::AtMost,
        Bound::AtMost => Bound::AtLeast,
    })
}

/// Gives the decimals that an uncertainty supports: two figures of it when it
/// begins with 1 or 2, else one; 0 to 4 decimals, and 2 when it is zero.
#[must_use]
pub fn decimals_for(standard_uncertainty: f64) -> usize {
    if !(standard_uncertainty.is_finite() && standard_uncertainty > 0.0) {
        return 2;
    }
    let size = libm::floor(libm::log10(standard_uncertainty));
    let first_digit = standard_uncertainty / libm::pow(10.0, size);
    let figures = if first_digit < 2.95 { 2.0 } else { 1.0 };
    let decimals = (figures - 1.0 - size).clamp(0.0, 4.0);
    // Between 0 and 4, so the cast is exact.
    decimals as usize
}

/// Writes a value and its standard uncertainty with the digits it supports: `0.62 ± 0.03`.
#[must_use]
pub fn value_with_uncertainty(value: f64, standard_uncertainty: f64) -> String {
    let decimals = decimals_for(standard_uncertainty);
    format!(
        "{} ± {}",
        fixed(value, decimals),
        fixed(standard_uncertainty, decimals)
    )
}

/// Writes a density and its standard uncertainty: two or three decimals, four
/// when the uncertainty could not be seen in three.
#[must_use]
pub fn density_with_uncertainty(value: f64, standard_uncertainty: f64) -> String {
    let most = if standard_uncertainty < 0.0005 { 4 } else { 3 };
    let decimals = decimals_for(standard_uncertainty).clamp(2, most);
    format!(
        "{} ± {}",
        fixed(value, decimals),
        fixed(standard_uncertainty, decimals)
    )
}

/// Writes a positive number with two significant figures and spaced thousands.
#[must_use]
pub fn two_figures(value: f64) -> String {
    if !(value.is_finite() && value > 0.0) {
        return "–".to_owned();
    }
    let size = libm::floor(libm::log10(value));
    let step = libm::pow(10.0, size - 1.0);
    let rounded = libm::round(value / step) * step;
    // 99.6 rounds to 100, so the size is taken again.
    let size = libm::floor(libm::log10(rounded) + 1e-9);
    if size < 1.0 {
        let decimals = (1.0 - size).clamp(1.0, 6.0) as usize;
        return format!("{rounded:.decimals$}");
    }
    let digits = format!("{rounded:.0}");
    if digits.len() < 5 {
        return digits;
    }
    let mut spaced = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            spaced.push('\u{a0}');
        }
        spaced.push(digit);
    }
    spaced
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_factor_has_two_significant_figures() {
        // Hand calculation: 2^8.3 = 315.2; 2^0.4 = 1.32; 99.6 rounds up a size.
        for (ratio, text) in [
            (315.2, "×320"),
            (1.32, "×1.3"),
            (99.6, "×100"),
            (9.96, "×10"),
            (0.5, "×0.50"),
            (12_345.0, "×12\u{a0}000"),
            (1234.0, "×1200"),
        ] {
            let factor_text = factor(FilterFactor::from_ratio(ratio).unwrap());
            assert_eq!(factor_text, text, "{ratio}");
        }
    }

    #[test]
    fn an_ei_is_a_third_stop_number_in_every_decade() {
        // Source: the third-stop series of common practice, decade by decade.
        for (number, text) in [
            (1.5, "1.6"),
            (1.05, "1"),
            (310.0, "320"),
            (0.0244, "0.025"),
            (0.0316, "0.032"),
            (0.0122, "0.012"),
        ] {
            let ours = ei(ExposureIndex::from_arithmetic(number).unwrap());
            assert_eq!(ours, text, "{number}");
        }
    }

    #[test]
    fn ends_of_an_ei_interval_are_rounded_outward() {
        // Source: the third-stop series of common practice; 310 lies between 250
        // and 320, 1.05 between 1 and 1.25, 0.0244 between 0.02 and 0.025.
        for (number, low, high) in [
            (310.0, "250", "320"),
            (1.05, "1", "1.2"),
            (2.1, "2", "2.5"),
            (0.0244, "0.02", "0.025"),
        ] {
            let number = ExposureIndex::from_arithmetic(number).unwrap();
            assert_eq!((&*ei_low(number), &*ei_high(number)), (low, high));
        }
        // A number of the series is its own low and high end.
        for number in [0.8, 64.0, 100.0, 125.0, 160.0, 320.0, 400.0] {
            let mark = ExposureIndex::from_arithmetic(number).unwrap();
            assert_eq!(ei_low(mark), ei(mark), "{number}");
            assert_eq!(ei_high(mark), ei(mark), "{number}");
        }
    }

    #[test]
    fn minus_is_the_real_sign_and_zero_has_none() {
        assert_eq!(fixed(-2.15, 2), "−2.15");
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(signed(0.96, 1), "+1.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(-0.3, 1), "−0.3");
    }

    #[test]
    fn digits_follow_the_uncertainty() {
        // GUM practice: one or two significant figures of the uncertainty.
        assert_eq!(value_with_uncertainty(0.6213, 0.031), "0.62 ± 0.03");
        assert_eq!(value_with_uncertainty(0.6213, 0.012), "0.621 ± 0.012");
        assert_eq!(value_with_uncertainty(-2.1534, 0.08), "−2.15 ± 0.08");
        assert_eq!(value_with_uncertainty(125.4, 14.0), "125 ± 14");
    }

    #[test]
    fn a_density_has_no_more_decimals_than_can_be_read() {
        // Convention of the trade: densities have two decimals, fitted ones three.
        assert_eq!(density_with_uncertainty(0.158_1, 0.002_8), "0.158 ± 0.003");
        assert_eq!(density_with_uncertainty(0.158_1, 0.08), "0.16 ± 0.08");
        assert_eq!(
            density_with_uncertainty(0.150_04, 0.000_3),
            "0.1500 ± 0.0003"
        );
    }

    #[test]
    fn a_bound_shows_only_the_end_that_holds() {
        let of = Interval {
            value: 8.0,
            low: 7.5,
            high: 99.0,
            coverage: 0.9,
        };
        let write = |v: f64| fixed(v, 1);
        assert_eq!(interval(of, None, write), "8.0 (7.5 to 99.0)");
        assert_eq!(interval(of, Some(Bound::AtLeast), write), "≥\u{a0}7.5");
        assert_eq!(interval(of, Some(Bound::AtMost), write), "≤\u{a0}99.0");
    }
}
