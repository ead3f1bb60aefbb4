//! Sunlight and skylight under a clear sky.
//!
//! Source: R. E. Bird and C. Riordan, Simple spectral model for direct and
//! diffuse irradiance on horizontal and tilted planes at the earth's surface for
//! cloudless atmospheres, SERI/TR-215-2436 (1984), with the constants of the
//! authors' program (1.3366 and 118.3), which differ from the printed report by
//! at most 0.22 % between 400 and 950 nm. Air mass after F. Kasten and A. T.
//! Young, Appl. Opt. 28 (1989) 4735.
//!
//! It holds for a cloudless sky. Light within 5° of the sun counts as direct.

use libm::{cos, exp, log, pow, sqrt};

/// One row of the model's table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SkyCoefficients {
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Irradiance outside the air at the mean distance, W/m² per nm.
    pub outside_w_m2_nm: f64,
    /// Absorption of water vapour, 1/cm.
    pub water: f64,
    /// Absorption of ozone, 1/(atm cm).
    pub ozone: f64,
    /// Absorption of the gases that are mixed evenly.
    pub mixed: f64,
}

/// The air and the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Pressure at the place, hPa.
    pub pressure_hpa: f64,
    /// Optical depth of the aerosol at 500 nm; 0.05 very clear, 0.1 clear, 0.5 hazy.
    pub aerosol_depth_500: f64,
    /// Exponent of the aerosol's fall with wavelength.
    pub aerosol_exponent: f64,
    /// Water that would rain out of the column, cm.
    pub water_cm: f64,
    /// Ozone of the column, atm cm.
    pub ozone_atm_cm: f64,
    /// Reflectance of the ground around.
    pub ground_reflectance: f64,
}

impl Air {
    /// The report's clear day: aerosol 0.1 with exponent 1.14, water 1.42 cm,
    /// ozone 0.34 atm cm, ground 0.2, 1013 hPa.
    pub const CLEAR: Self = Self {
        pressure_hpa: 1013.0,
        aerosol_depth_500: 0.1,
        aerosol_exponent: 1.14,
        water_cm: 1.42,
        ozone_atm_cm: 0.34,
        ground_reflectance: 0.2,
    };
}

/// Light at one wavelength, W/m² per nm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SkyLight {
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Outside the air, on a plane that faces the sun.
    pub outside_normal: f64,
    /// From the sun, on a plane that faces it.
    pub direct_normal: f64,
    /// From the sun, on the level ground.
    pub direct_horizontal: f64,
    /// From the sky, on the level ground.
    pub diffuse_horizontal: f64,
    /// On a vertical plane that faces the direction of the sun: sun, half the
    /// sky taken as even, and what the ground gives back.
    pub sunward_vertical: f64,
}

impl SkyLight {
    /// From sun and sky, on the level ground, W/m² per nm.
    #[must_use]
    pub fn global_horizontal(&self) -> f64 {
        self.direct_horizontal + self.diffuse_horizontal
    }
}

/// Why there is no spectrum.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ClearSkyError {
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
}

/// Lowest sun that the model is asked about, degrees.
pub const LOWEST_SUN_DEG: f64 = 1.0;

/// Gives the air mass relative to a sun overhead; zenith angle in degrees.
#[must_use]
pub fn relative_air_mass(apparent_zenith_deg: f64) -> f64 {
    1.0 / (cos(apparent_zenith_deg.to_radians())
        + 0.50572 * pow(96.07995 - apparent_zenith_deg, -1.6364))
}

/// Gives (mean distance / distance)² of earth and sun by the day of the year.
#[must_use]
pub fn distance_factor(day_of_year: u16) -> f64 {
    let b = core::f64::consts::TAU * (f64::from(day_of_year) - 1.0) / 365.0;
    1.00011
        + 0.034221 * cos(b)
        + 0.00128 * libm::sin(b)
        + 0.000719 * cos(2.0 * b)
        + 0.000077 * libm::sin(2.0 * b)
}

/// Shares of light that the parts of the air let through.
struct Passing {
    rayleigh: f64,
    aerosol: f64,
    water: f64,
    ozone: f64,
    mixed: f64,
    aerosol_scattered: f64,
    aerosol_absorbed: f64,
}

fn passing(row: &SkyCoefficients, air: &Air, cos_zenith: f64, mass: f64) -> Passing {
    let um = row.wavelength_nm / 1000.0;
    let mass_p = mass * air.pressure_hpa / 1013.0;
    let um2 = um * um;
    let depth = air.aerosol_depth_500 * pow(um / 0.5, -air.aerosol_exponent);
    let log_ratio = log(um / 0.4);
    let scattering = 0.945 * exp(-0.095 * log_ratio * log_ratio);
    let water = row.water * air.water_cm * mass;
    let mixed = row.mixed * mass_p;
    let h = 22.0 / 6370.0;
    let ozone_mass = (1.0 + h) / sqrt(cos_zenith * cos_zenith + 2.0 * h);
    Passing {
        rayleigh: exp(-mass_p / (um2 * um2 * (115.6406 - 1.3366 / um2))),
        aerosol: exp(-depth * mass),
        water: exp(-0.2385 * water / pow(1.0 + 20.07 * water, 0.45)),
        ozone: exp(-row.ozone * air.ozone_atm_cm * ozone_mass),
        mixed: exp(-1.41 * mixed / pow(1.0 + 118.3 * mixed, 0.45)),
        aerosol_scattered: exp(-scattering * depth * mass),
        aerosol_absorbed: exp(-(1.0 - scattering) * depth * mass),
    }
}

/// Gives the light of a clear sky at each wavelength of the table.
///
/// `sun_deg` is the apparent elevation.
///
/// # Errors
/// [`ClearSkyError`] when the sun stands below [`LOWEST_SUN_DEG`], where the
/// model has not been tested, or a value lies outside its range.
pub fn clear_sky(
    table: &[SkyCoefficients],
    sun_deg: f64,
    day_of_year: u16,
    air: &Air,
) -> Result<Vec<SkyLight>, ClearSkyError> {
    for (what, value, low, high) in [
        (
            "the sun's elevation in degrees",
            sun_deg,
            LOWEST_SUN_DEG,
            90.0,
        ),
        ("the day of the year", f64::from(day_of_year), 1.0, 366.0),
        ("the pressure in hPa", air.pressure_hpa, 300.0, 1100.0),
        (
            "the aerosol's depth at 500 nm",
            air.aerosol_depth_500,
            0.0,
            2.0,
        ),
        ("the aerosol's exponent", air.aerosol_exponent, -0.5, 3.0),
        ("the water in cm", air.water_cm, 0.0, 10.0),
        ("the ozone in atm cm", air.ozone_atm_cm, 0.0, 0.7),
        ("the ground's reflectance", air.ground_reflectance, 0.0, 1.0),
    ] {
        if !(low..=high).contains(&value) {
            return Err(ClearSkyError::Outside {
                what,
                value,
                low,
                high,
            });
        }
    }
    let zenith_deg = 90.0 - sun_deg;
    let cos_z = cos(zenith_deg.to_radians());
    let mass = relative_air_mass(zenith_deg);
    // Share of scattered light that goes forward; asymmetry of the aerosol 0.65.
    let a = log(1.0 - 0.65);
    let afs = a * (1.459 + a * (0.1595 + a * 0.4129));
    let bfs = a * (0.0783 + a * (-0.3824 - a * 0.5874));
    let forward = 1.0 - 0.5 * exp((afs + bfs * cos_z) * cos_z);
    let forward_up = 1.0 - 0.5 * exp((afs + bfs / 1.8) / 1.8);
    let distance = distance_factor(day_of_year);
    Ok(table
        .iter()
        .map(|row| {
            let outside = row.outside_w_m2_nm * distance;
            let t = passing(row, air, cos_z, mass);
            let up = passing(row, air, cos_z, 1.8);
            let direct = outside * t.rayleigh * t.aerosol * t.water * t.ozone * t.mixed;
            let sky_gives_back = up.mixed
                * up.water
                * up.aerosol_absorbed
                * (0.5 * (1.0 - up.rayleigh)
                    + (1.0 - forward_up) * up.rayleigh * (1.0 - up.aerosol_scattered));
            let common = outside * cos_z * t.ozone * t.mixed * t.water * t.aerosol_absorbed;
            let by_air = common * (1.0 - pow(t.rayleigh, 0.95)) * 0.5;
            let by_aerosol = common * pow(t.rayleigh, 1.5) * (1.0 - t.aerosol_scattered) * forward;
            let ground = air.ground_reflectance;
            let by_ground = (direct * cos_z + by_air + by_aerosol) * sky_gives_back * ground
                / (1.0 - sky_gives_back * ground);
            let blue = if row.wavelength_nm <= 450.0 {
                pow((row.wavelength_nm + 550.0) / 1000.0, 1.8)
            } else {
                1.0
            };
            let diffuse = (by_air + by_aerosol + by_ground) * blue;
            let level = direct * cos_z;
            SkyLight {
                wavelength_nm: row.wavelength_nm,
                outside_normal: outside,
                direct_normal: direct,
                direct_horizontal: level,
                diffuse_horizontal: diffuse,
                sunward_vertical: direct * libm::sin(zenith_deg.to_radians())
                    + 0.5 * diffuse
                    + 0.5 * ground * (level + diffuse),
            }
        })
        .collect())
}
