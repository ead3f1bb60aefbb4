//! Filter factors: stacking, the EI behind a filter, density, and published rounding.
//!
//! The type and its conversions to stops and density are
//! [`quantity::FilterFactor`]; here is what a photographer does with it.
//! Nothing here knows a film or a light: a factor without both is not data.
//!
//! Symbols: F filter factor; stops lg2 F; density log10 F; EI behind it EI/F.

use quantity::{ExposureIndex, FilterFactor, NetDensity, QuantityError, Stops};

/// Gives the factor of several filters in a row: the product; 1 for none.
///
/// # Errors
/// [`QuantityError`] when the product overflows or vanishes.
pub fn stacked_factor(filters: &[FilterFactor]) -> Result<FilterFactor, QuantityError> {
    filters
        .iter()
        .try_fold(FilterFactor::NONE, |all, one| all.stacked_with(*one))
}

/// Gives the exposure index to set when the meter reads without the filter: EI/F.
///
/// # Errors
/// [`QuantityError`] when the number overflows or vanishes.
pub fn ei_behind_filter(
    ei: ExposureIndex,
    factor: FilterFactor,
) -> Result<ExposureIndex, QuantityError> {
    ExposureIndex::from_arithmetic(ei.to_arithmetic() / factor.to_ratio())
}

/// Gives the factor of a neutral filter of this density: 10^D.
///
/// # Errors
/// [`QuantityError`] never for the range of [`NetDensity`]; kept so that no number goes unchecked.
pub fn factor_from_density(density: NetDensity) -> Result<FilterFactor, QuantityError> {
    FilterFactor::from_ratio(libm::pow(10.0, density.to_density()))
}

/// Counts the thirds of a stop nearest to a factor.
fn nearest_thirds(factor: FilterFactor) -> f64 {
    libm::round(3.0 * Stops::from_factor(factor).to_stops())
}

/// Gives the stops of a factor rounded to the nearest third, and what the rounding left over.
///
/// The second value is exact minus rounded: positive means that the rounded
/// number gives too little exposure. Makers publish the rounded number;
/// computing must go on with the factor.
///
/// # Errors
/// [`QuantityError`] never for a factor that exists; kept so that no number goes unchecked.
pub fn stops_to_nearest_third(factor: FilterFactor) -> Result<(Stops, Stops), QuantityError> {
    let rounded = Stops::new(nearest_thirds(factor) / 3.0)?;
    Ok((rounded, Stops::from_factor(factor) - rounded))
}

/// Writes a factor as makers print it: stops to the nearest third, such as `2 2/3`.
#[must_use]
pub fn stops_in_published_thirds(factor: FilterFactor) -> String {
    let thirds = nearest_thirds(factor);
    let sign = if thirds < 0.0 { "-" } else { "" };
    let size = thirds.abs();
    let whole = libm::floor(size / 3.0);
    let rest = size - 3.0 * whole;
    if rest == 0.0 {
        format!("{sign}{whole:.0}")
    } else if whole == 0.0 {
        format!("{sign}{rest:.0}/3")
    } else {
        format!("{sign}{whole:.0} {rest:.0}/3")
    }
}
