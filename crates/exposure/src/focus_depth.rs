//! Depth of focus, the circle of confusion, and diffraction at the working wavelength.
//!
//! Symbols: N effective f-number; c circle of confusion, mm; λ wavelength.
//! Source: standard optics (Airy, Rayleigh) for a lens without other faults.

use quantity::{FNumber, Millimetres, Nanometres, QuantityError};

/// What diffraction does at a wavelength and f-number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diffraction {
    /// Diameter of the first dark ring: 2.43934·λ·N.
    pub airy_diameter: Millimetres,
    /// Rayleigh's limit, 1/(1.21967·λ·N). \[cycles/mm\]
    pub rayleigh_per_mm: f64,
    /// Where contrast ends, 1/(λ·N). \[cycles/mm\]
    pub cut_off_per_mm: f64,
}

/// Twice the first zero of J1 over π: the Airy disc's diameter in λ·N.
pub(crate) const AIRY: f64 = 2.439_34;

/// Gives the diffraction of an ideal lens.
///
/// # Errors
/// [`QuantityError`] when a number overflows or vanishes.
pub fn diffraction(
    wavelength: Nanometres,
    effective: FNumber,
) -> Result<Diffraction, QuantityError> {
    let product = wavelength.to_nm() * 1e-6 * effective.to_ratio();
    Ok(Diffraction {
        airy_diameter: Millimetres::from_mm(AIRY * product)?,
        rayleigh_per_mm: 2.0 / (AIRY * product),
        cut_off_per_mm: 1.0 / product,
    })
}

/// Gives the circle of confusion of a format: its diagonal over a divisor.
///
/// Divisors of 1000 to 1730 are in use; there is no standard one, so it is handed in.
///
/// # Errors
/// [`QuantityError`] when the divisor is not greater than 0.
pub fn circle_of_confusion(
    width: Millimetres,
    height: Millimetres,
    divisor: f64,
) -> Result<Millimetres, QuantityError> {
    Millimetres::from_mm(libm::hypot(width.to_mm(), height.to_mm()) / divisor)
}

/// Gives the depth of focus to one side of the film: N·c. \[mm\]
///
/// # Errors
/// [`QuantityError`] when the number overflows.
pub fn depth_of_focus(
    effective: FNumber,
    circle: Millimetres,
) -> Result<Millimetres, QuantityError> {
    Millimetres::from_mm(effective.to_ratio() * circle.to_mm())
}
