//! Why a number could not become a quantity.

/// Why a number is not a value of the quantity asked for.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// NaN or an infinity.
    #[error("{what} must be a finite number, found {value}")]
    NotFinite {
        /// Name of the quantity with its unit.
        what: &'static str,
        /// The number seen.
        value: f64,
    },
    /// Zero or negative where only positive numbers have a meaning.
    #[error("{what} must be greater than 0, found {value}")]
    NotPositive {
        /// Name of the quantity with its unit.
        what: &'static str,
        /// The number seen.
        value: f64,
    },
    /// Outside the range in which the quantity has a meaning.
    #[error("{what} must lie between {low} and {high}, found {value}")]
    OutOfRange {
        /// Name of the quantity with its unit.
        what: &'static str,
        /// The number seen.
        value: f64,
        /// Smallest number allowed.
        low: f64,
        /// Largest number allowed.
        high: f64,
    },
}

/// Passes a finite number on.
pub(crate) fn finite(what: &'static str, value: f64) -> Result<f64, QuantityError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(QuantityError::NotFinite { what, value })
    }
}

/// Passes a finite number greater than zero on.
pub(crate) fn positive(what: &'static str, value: f64) -> Result<f64, QuantityError> {
    let value = finite(what, value)?;
    if value > 0.0 {
        Ok(value)
    } else {
        Err(QuantityError::NotPositive { what, value })
    }
}

/// Passes a finite number within a closed range on.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
) -> Result<f64, QuantityError> {
    let value = finite(what, value)?;
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(QuantityError::OutOfRange {
            what,
            value,
            low,
            high,
        })
    }
}
