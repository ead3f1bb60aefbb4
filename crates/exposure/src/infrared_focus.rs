//! Focus behind an infrared filter: how far it may have moved, and what to do.
//!
//! The shift belongs to the lens: two rules of thumb for one lens lie 17 times apart.
//! So it is never a constant here. A shift measured on the lens wins; without one a
//! thin lens of two common glasses gives the size, with an interval that says how
//! little is known, and the advice is a focus series.
//!
//! Symbols: n refractive index; f focal length, mm; m magnification; λ wavelength, µm
//! in Sellmeier's formula n² = 1 + Σ B λ²/(λ² − C). A longer focal length asks for more
//! draw; at magnification m the image moves by (1 + m)²·Δf.
//! Source: Sellmeier constants of a crown (BK7) and a flint (F2) as published by their
//! maker; the interval for a lens that is not known is a judgement.

use crate::focus_depth::AIRY;
use quantity::{FNumber, Magnification, Millimetres, Nanometres, QuantityError};

/// The wavelength at which the eye focuses on the ground glass, nm: the green line e.
pub const EYE_NM: f64 = 546.1;

/// How a lens is corrected for colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LensCorrection {
    /// One glass: a meniscus or a magnifier.
    Simple,
    /// Two colours meet: most lenses.
    Achromat,
    /// Three colours meet, or made for the infrared.
    Apochromat,
    /// Not known.
    NotStated,
}

/// A shift of focus with the interval in which it is held to lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FocusShift {
    /// Best value; positive is away from the lens: more draw. \[mm\]
    pub shift_mm: f64,
    /// Lower end. \[mm\]
    pub low_mm: f64,
    /// Upper end. \[mm\]
    pub high_mm: f64,
}

/// Sellmeier constants (B1, B2, B3, C1, C2, C3) of the crown BK7. C in µm².
const CROWN: [f64; 6] = [
    1.039_612_12,
    0.231_792_344,
    1.010_469_45,
    0.006_000_698_67,
    0.020_017_914_4,
    103.560_653,
];
/// The same of the flint F2.
const FLINT: [f64; 6] = [
    1.345_333_59,
    0.209_073_176,
    0.937_357_162,
    0.009_977_438_71,
    0.047_045_076_7,
    111.886_764,
];

/// Fraunhofer lines F, d and C, nm, at which the achromat is made.
const LINES_NM: [f64; 3] = [486.1, 587.6, 656.3];

fn index(glass: &[f64; 6], nm: f64) -> f64 {
    let square = nm * nm * 1e-6;
    let term = |b: f64, c: f64| b * square / (square - c);
    libm::sqrt(1.0 + term(glass[0], glass[3]) + term(glass[1], glass[4]) + term(glass[2], glass[5]))
}

/// Power of the lens at a wavelength, over that at the line d.
fn power(glasses: &[(&[f64; 6], f64)], nm: f64) -> f64 {
    glasses
        .iter()
        .map(|(glass, share)| share * (index(glass, nm) - 1.0) / (index(glass, LINES_NM[1]) - 1.0))
        .sum()
}

/// Abbe number (n_d − 1)/(n_F − n_C).
fn abbe(glass: &[f64; 6]) -> f64 {
    let [f, d, c] = LINES_NM.map(|nm| index(glass, nm));
    (d - 1.0) / (f - c)
}

/// Gives the change of the focal length against the green line e, as a share of it:
/// of a thin crown lens, or of a thin crown-and-flint achromat. \[-\]
///
/// # Errors
/// [`QuantityError::OutOfRange`] outside 400 to 1000 nm, where nothing was checked.
pub fn thin_lens_focal_change(
    achromat: bool,
    wavelength: Nanometres,
) -> Result<f64, QuantityError> {
    let nm = wavelength.to_nm();
    if !(400.0..=1000.0).contains(&nm) {
        return Err(QuantityError::OutOfRange {
            what: "working wavelength in nm",
            value: nm,
            low: 400.0,
            high: 1000.0,
        });
    }
    let lens = if achromat {
        let (crown, flint) = (abbe(&CROWN), abbe(&FLINT));
        vec![
            (&CROWN, crown / (crown - flint)),
            (&FLINT, -flint / (crown - flint)),
        ]
    } else {
        vec![(&CROWN, 1.0)]
    };
    Ok(power(&lens, EYE_NM) / power(&lens, nm) - 1.0)
}

/// Gives the shift of focus of a lens that was not measured, with its interval.
///
/// Simple: the crown's change, ±20 %. Achromat: the thin achromat's, from half to twice
/// as much. Apochromat: from none to the achromat's. Not stated: from none to three
/// times the achromat's. The intervals are judgement.
///
/// # Errors
/// As [`thin_lens_focal_change`].
pub fn focus_shift(
    lens: LensCorrection,
    focal_length: Millimetres,
    wavelength: Nanometres,
    magnification: Magnification,
) -> Result<FocusShift, QuantityError> {
    let simple = lens == LensCorrection::Simple;
    let stretch = 1.0 + magnification.to_ratio();
    let change =
        thin_lens_focal_change(!simple, wavelength)? * focal_length.to_mm() * stretch * stretch;
    let (best, low, high) = match lens {
        LensCorrection::Simple => (1.0, 0.8, 1.2),
        LensCorrection::Achromat => (1.0, 0.5, 2.0),
        LensCorrection::Apochromat => (0.3, 0.0, 1.0),
        LensCorrection::NotStated => (1.0, 0.0, 3.0),
    };
    Ok(FocusShift {
        shift_mm: best * change,
        low_mm: (low * change).min(high * change),
        high_mm: (low * change).max(high * change),
    })
}

/// What to do about a shift of focus.
#[derive(Clone, Debug, PartialEq)]
pub struct FocusAdvice {
    /// Depth of focus to one side at the aperture asked for, N·c. \[mm\]
    pub depth_mm: f64,
    /// Where to set the film against the visual focus, one frame each. \[mm\]
    ///
    /// One entry when one setting serves the whole interval.
    pub series_mm: Vec<f64>,
    /// The widest stop at which the visual focus serves the whole interval without a
    /// series: the largest shift over c.
    pub hides_from: Option<FNumber>,
    /// The smallest stop at which the Airy disc fits the circle of confusion.
    pub diffraction_to: FNumber,
}

/// Gives a focus series that covers the interval of a shift, and the stops that count.
///
/// `effective` is the f-number with bellows in it. The steps are as long as the whole
/// depth of focus, 2·N·c, or shorter, so that one frame lies within it.
///
/// # Errors
/// [`QuantityError`] when a number overflows, or the series would have more than
/// 1000 frames.
pub fn focus_advice(
    shift: &FocusShift,
    effective: FNumber,
    circle: Millimetres,
    wavelength: Nanometres,
) -> Result<FocusAdvice, QuantityError> {
    let depth = effective.to_ratio() * circle.to_mm();
    let span = shift.high_mm - shift.low_mm;
    // 1e-9: a span that is a whole number of steps by the numbers typed.
    let frames = libm::ceil(span / (2.0 * depth) - 1e-9).max(1.0);
    if !(1.0..=1000.0).contains(&frames) {
        return Err(QuantityError::OutOfRange {
            what: "number of frames of the focus series",
            value: frames,
            low: 1.0,
            high: 1000.0,
        });
    }
    // 1 to 1000 here, so the cast is exact.
    let count = frames as u16;
    let step = span / frames;
    let largest = shift.high_mm.abs().max(shift.low_mm.abs());
    Ok(FocusAdvice {
        depth_mm: depth,
        series_mm: (0..count)
            .map(|k| shift.low_mm + step * (f64::from(k) + 0.5))
            .collect(),
        hides_from: (largest > 0.0)
            .then(|| FNumber::from_ratio(largest / circle.to_mm()))
            .transpose()?,
        diffraction_to: FNumber::from_ratio(circle.to_mm() / (AIRY * wavelength.to_nm() * 1e-6))?,
    })
}
