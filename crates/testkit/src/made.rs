//! Quantities from numbers that this room made itself.
//!
//! A number that is refused here is a fault of this room, not of a reader's
//! data, so each of these panics with the refusal.

use quantity::{
    Density, Ev100, ExposureIndex, FNumber, FilterFactor, LogExposure, QuantityError, Seconds,
    Stops,
};
use record::Id;

fn sound<Q>(made: Result<Q, QuantityError>) -> Q {
    made.unwrap_or_else(|error| unreachable!("testkit made an impossible quantity: {error}"))
}

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap_or_else(|error| unreachable!("testkit made a bad name: {error}"))
}

pub(crate) fn density(value: f64) -> Density {
    sound(Density::gross(value))
}

pub(crate) fn stops(value: f64) -> Stops {
    sound(Stops::new(value))
}

pub(crate) fn seconds(value: f64) -> Seconds {
    sound(Seconds::from_s(value))
}

pub(crate) fn aperture(value: f64) -> FNumber {
    sound(FNumber::from_ratio(value))
}

pub(crate) fn ev100(value: f64) -> Ev100 {
    sound(Ev100::from_ev(value))
}

pub(crate) fn index(value: f64) -> ExposureIndex {
    sound(ExposureIndex::from_arithmetic(value))
}

pub(crate) fn log_exposure(value: f64) -> LogExposure {
    sound(LogExposure::from_log10(value))
}

pub(crate) fn factor_from_stops(value: f64) -> FilterFactor {
    sound(FilterFactor::from_stops(stops(value)))
}

/// Rounds to a number of decimals, as a person writes a number down.
pub(crate) fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = libm::pow(10.0, f64::from(decimals));
    libm::round(value * scale) / scale
}
