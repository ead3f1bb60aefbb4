//! Edges of long-pass filters, brought to one level.
//!
//! An edge is that of `spectra::LongPass`, logistic with a peak and a width. Both
//! numbers are assumed and stand in the answer: the same glass is called by 708,
//! 720 and 723 nm.

use quantity::Nanometres;
use record::{Edge, EdgeLevel, Filter};
use spectra::LongPass;

/// Width of the assumed edge. \[nm\]
pub const EDGE_WIDTH_NM: f64 = spectra::long_pass::WIDTH_NM;

/// Peak transmittance of the assumed edge: that of the source which has one glass
/// at three levels. A peak of 0.90 would move half of the peak by 1.7 nm.
pub const EDGE_PEAK: f64 = 0.80;

/// Two centres closer than this are the same edge: filters of one marking
/// differ by as much (common practice). \[nm\]
pub(crate) const SAME_EDGE_NM: f64 = 2.0;

/// Where half of the peak lies for an edge at one level. \[nm\]
fn half_peak_nm(edge: Nanometres, level: spectra::EdgeLevel) -> f64 {
    LongPass::from_edge(edge, level, EDGE_PEAK, EDGE_WIDTH_NM)
        // An edge so short that half of the peak lies below 0 nm is no filter's.
        .map_or(edge.to_nm(), |filter| filter.half_peak_nm())
}

/// Where the half-peak wavelength of an edge lies: the least and the most.
///
/// An edge without a level may be any of those in use, from 10 % to 50 %
/// transmittance, so its half-peak wavelength is known within 15 nm only.
///
/// # Examples
/// ```
/// # use findings::edge_half_peak_nm;
/// # use quantity::Nanometres;
/// # use record::{Edge, EdgeLevel};
/// let edge = Edge {
///     wavelength: Nanometres::from_nm(723.0)?,
///     level: EdgeLevel::HalfTransmittance,
/// };
/// let (low, high) = edge_half_peak_nm(&edge);
/// assert_eq!(low, high);
/// assert!((low - 720.0).abs() < 0.1);
/// # Ok::<(), quantity::QuantityError>(())
/// ```
#[must_use]
pub fn edge_half_peak_nm(edge: &Edge) -> (f64, f64) {
    use spectra::EdgeLevel::{ShareOfPeak, StopsBelowPeak, Transmittance};
    let from = |level| half_peak_nm(edge.wavelength, level);
    let both = |nm: f64| (nm, nm);
    match edge.level {
        EdgeLevel::HalfTransmittance => both(from(Transmittance(0.50))),
        EdgeLevel::HalfOfPeak => both(from(ShareOfPeak(0.50))),
        EdgeLevel::TenPercent => both(from(Transmittance(0.10))),
        EdgeLevel::MinusThreeStops => both(from(StopsBelowPeak(3.0))),
        EdgeLevel::NotStated => (from(Transmittance(0.50)), from(Transmittance(0.10))),
    }
}

/// Gives the words for a level.
pub(crate) fn level_words(level: EdgeLevel) -> &'static str {
    match level {
        EdgeLevel::HalfTransmittance => "50 % T",
        EdgeLevel::HalfOfPeak => "half of peak",
        EdgeLevel::TenPercent => "10 % T",
        EdgeLevel::MinusThreeStops => "3 stops below peak",
        EdgeLevel::NotStated => "level not stated",
    }
}

/// The first number in a text that can be a wavelength: `a 720` gives 720.
pub(crate) fn wavelength_in(text: &str) -> Option<f64> {
    text.split(|c: char| !c.is_ascii_digit())
        .filter_map(|digits| digits.parse::<f64>().ok())
        // Deep red to near infrared, where filters are named by wavelength.
        .find(|nm| (560.0..=1100.0).contains(nm))
}

/// The edge of a filter: as recorded, else the number in its name, at no
/// stated level.
pub(crate) fn edge_of(filter: &Filter) -> Option<Edge> {
    filter.edge.or_else(|| {
        let nm = wavelength_in(&filter.name)
            .or_else(|| filter.marking.as_deref().and_then(wavelength_in))?;
        Some(Edge {
            wavelength: Nanometres::from_nm(nm).ok()?,
            level: EdgeLevel::NotStated,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_glass_goes_by_three_numbers() {
        // Source: "The importance of using a common relative reference level"
        // (an edge named at different levels), on the assumed edge: 40 % T at
        // 720, 50 % T at 723, 10 % T at 708, peak 80 %.
        let centre = |nm: f64, level| {
            let wavelength = Nanometres::from_nm(nm).unwrap();
            edge_half_peak_nm(&Edge { wavelength, level }).0
        };
        for (nm, level) in [
            (720.0, EdgeLevel::HalfOfPeak),
            (723.0, EdgeLevel::HalfTransmittance),
            (708.0, EdgeLevel::TenPercent),
            (708.0, EdgeLevel::MinusThreeStops),
        ] {
            // 0.5 nm: the source prints whole nanometres.
            let ours = centre(nm, level);
            assert!((ours - 720.0).abs() < 0.5, "{nm} {level:?}: {ours}");
        }
        let bare = Edge {
            wavelength: Nanometres::from_nm(720.0).unwrap(),
            level: EdgeLevel::NotStated,
        };
        let (low, high) = edge_half_peak_nm(&bare);
        // Hand calculation: 6·ln(5/3) = 3.06, 6·ln 7 = 11.68.
        assert!((low - 716.94).abs() < 0.01 && (high - 731.68).abs() < 0.01);
    }

    #[test]
    fn numbers_are_found_in_names() {
        assert_eq!(wavelength_in("a 720"), Some(720.0));
        assert_eq!(wavelength_in("R-715 (invented)"), Some(715.0));
        assert_eq!(wavelength_in("No. 25 red"), None);
    }
}
