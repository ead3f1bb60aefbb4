//! Where the sun stands, by place and time.
//!
//! Source: I. Reda and A. Andreas, Solar position algorithm for solar radiation
//! applications, NREL/TP-560-34302 (2008); uncertainty 0.0003° without
//! refraction. Refraction near the horizon varies by some tenths of a degree
//! with the weather and is a mean here.

use quantity::Celsius;
use solar_positioning::time::JulianDate;
use solar_positioning::{Location, RefractionCorrection, SolarPositions};

/// Julian date of 1970-01-01 00:00 UTC.
const JULIAN_DATE_OF_1970: f64 = 2_440_587.5;
const SECONDS_OF_A_DAY: f64 = 86_400.0;
/// Mean length of a year in the Gregorian calendar, s.
const SECONDS_OF_A_YEAR: f64 = 31_556_952.0;

/// A place on the earth and the air over it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Height above the sea, m.
    pub height_m: f64,
    /// Pressure at the place, not reduced to the sea, hPa.
    pub pressure_hpa: f64,
    /// Temperature of the air.
    pub temperature: Celsius,
}

/// Direction of the sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunPosition {
    /// Height above the horizon with refraction, degrees.
    pub apparent_elevation_deg: f64,
    /// Direction from north, eastward, 0 to 360 degrees.
    pub azimuth_deg: f64,
}

/// Why there is no position.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SunPositionError {
    /// A value outside its range.
    #[error("{what} is {value}; it must be {low} to {high}")]
    Outside {
        /// Which value, with its unit.
        what: &'static str,
        /// The value.
        value: f64,
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
    },
    /// The algorithm refused the values.
    #[error("the position of the sun can't be computed for this place and time")]
    NotComputed,
}

/// Gives the position of the sun at a time in seconds since 1970-01-01 UTC.
///
/// The difference between uniform time and the turning of the earth is
/// estimated from the date.
///
/// # Errors
/// [`SunPositionError`] when a value lies outside its range; times must lie in
/// the years 1800 to 2200.
pub fn sun_position(place: &Place, unix_s: f64) -> Result<SunPosition, SunPositionError> {
    let year = 1970.0 + unix_s / SECONDS_OF_A_YEAR;
    for (what, value, low, high) in [
        ("the latitude in degrees", place.latitude_deg, -90.0, 90.0),
        (
            "the longitude in degrees",
            place.longitude_deg,
            -180.0,
            180.0,
        ),
        ("the height in m", place.height_m, -500.0, 9000.0),
        ("the pressure in hPa", place.pressure_hpa, 300.0, 1100.0),
        (
            "the temperature in °C",
            place.temperature.to_c(),
            -90.0,
            60.0,
        ),
        ("the year", year, 1800.0, 2200.0),
    ] {
        if !(low..=high).contains(&value) {
            return Err(SunPositionError::Outside {
                what,
                value,
                low,
                high,
            });
        }
    }
    let refused = |_| SunPositionError::NotComputed;
    let delta_t_s = solar_positioning::delta_t::estimate(year).map_err(refused)?;
    let date = JulianDate::new(JULIAN_DATE_OF_1970 + unix_s / SECONDS_OF_A_DAY, delta_t_s)
        .map_err(refused)?;
    let refraction =
        RefractionCorrection::new(place.pressure_hpa, place.temperature.to_c()).map_err(refused)?;
    let location = Location {
        latitude: place.latitude_deg,
        longitude: place.longitude_deg,
    };
    let found = SolarPositions::new()
        .at_from_julian(date, location, place.height_m, Some(refraction))
        .map_err(refused)?;
    Ok(SunPosition {
        apparent_elevation_deg: found.elevation_angle(),
        azimuth_deg: found.azimuth(),
    })
}
