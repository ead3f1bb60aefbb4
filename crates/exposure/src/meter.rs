//! Meter equations: light readings, metered times, and the exposure at the film.
//!
//! Holds the equations only. K, C and q are handed in by the caller, because
//! makers do not agree on them; the constants named here are choices to pick
//! from, not defaults.
//!
//! N²/t = L·S/K = E·S/C. EV at ISO 100 means N²/t = 2^EV100 at S = 100.
//! Symbols: N f-number; t time, s; L luminance, cd/m²; E illuminance, lux;
//! S speed; K, C meter constants; q lens factor; H exposure at the film, lux s.
//! Source: ISO 2720:1974 (form of the equations, from memory); K 12.5 and 14,
//! C 250, 330 and 340 are makers' common practice.

use quantity::{
    Ev100, ExposureIndex, FNumber, Illuminance, LogExposure, Luminance, QuantityError, Seconds,
};

/// Passes a number on that lies where a meter constant can lie.
fn within(what: &'static str, value: f64, low: f64, high: f64) -> Result<f64, QuantityError> {
    if !value.is_finite() {
        return Err(QuantityError::NotFinite { what, value });
    }
    if value < low || value > high {
        return Err(QuantityError::OutOfRange {
            what,
            value,
            low,
            high,
        });
    }
    Ok(value)
}

/// The constant K of a reflected-light meter, in cd/m² · s · ISO.
///
/// Invariant: 5 to 30, so that a C is not taken for a K.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct ReflectedConstant(f64);

impl ReflectedConstant {
    /// K = 12.5, used by many makers of cameras and meters (common practice).
    pub const K_12_5: Self = Self(12.5);
    /// K = 14, used by some makers (common practice).
    pub const K_14: Self = Self(14.0);

    /// Takes a K.
    ///
    /// # Errors
    /// [`QuantityError`] outside 5 to 30.
    pub fn from_k(k: f64) -> Result<Self, QuantityError> {
        within("meter constant K", k, 5.0, 30.0).map(Self)
    }

    /// Gives K.
    #[must_use]
    pub fn to_k(self) -> f64 {
        self.0
    }
}

/// The constant C of an incident-light meter, in lux · s · ISO.
///
/// Invariant: 100 to 1000, so that a K is not taken for a C.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct IncidentConstant(f64);

impl IncidentConstant {
    /// C = 250, common for a flat receptor (common practice).
    pub const FLAT_250: Self = Self(250.0);
    /// C = 330, used for a dome (common practice).
    pub const DOME_330: Self = Self(330.0);
    /// C = 340, used for a dome (common practice).
    pub const DOME_340: Self = Self(340.0);

    /// Takes a C.
    ///
    /// # Errors
    /// [`QuantityError`] outside 100 to 1000.
    pub fn from_c(c: f64) -> Result<Self, QuantityError> {
        within("meter constant C", c, 100.0, 1000.0).map(Self)
    }

    /// Gives C.
    #[must_use]
    pub fn to_c(self) -> f64 {
        self.0
    }
}

/// The lens factor q that joins subject luminance and exposure: H = q·L·t/N².
///
/// It holds the lens transmittance, vignetting and the angle of view.
/// Invariant: greater than 0, at most 1 (π/4 is the ideal lens on axis).
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct LensFactor(f64);

impl LensFactor {
    /// q = 0.65, the usual value of the standards (ISO 2720, from memory).
    pub const Q_0_65: Self = Self(0.65);

    /// Takes a q.
    ///
    /// # Errors
    /// [`QuantityError`] outside 0.01 to 1.
    pub fn from_q(q: f64) -> Result<Self, QuantityError> {
        within("lens factor q", q, 0.01, 1.0).map(Self)
    }

    /// Gives q.
    #[must_use]
    pub fn to_q(self) -> f64 {
        self.0
    }
}

/// Gives the luminance that a reflected reading stands for: L = 2^EV100·K/100.
///
/// # Errors
/// [`QuantityError`] never for the range of [`Ev100`]; kept so that no number goes unchecked.
pub fn luminance_from_ev100(
    reading: Ev100,
    k: ReflectedConstant,
) -> Result<Luminance, QuantityError> {
    Luminance::from_cd_per_m2(libm::exp2(reading.to_ev()) * k.0 / 100.0)
}

/// Gives the reading at ISO 100 of a luminance: EV100 = lg2(100·L/K).
///
/// # Errors
/// [`QuantityError`] when the light lies outside the range of [`Ev100`].
pub fn ev100_from_luminance(
    luminance: Luminance,
    k: ReflectedConstant,
) -> Result<Ev100, QuantityError> {
    Ev100::from_ev(libm::log2(100.0 * luminance.to_cd_per_m2() / k.0))
}

/// Gives the illuminance that an incident reading stands for: E = 2^EV100·C/100.
///
/// # Errors
/// [`QuantityError`] never for the range of [`Ev100`]; kept so that no number goes unchecked.
pub fn illuminance_from_ev100(
    reading: Ev100,
    c: IncidentConstant,
) -> Result<Illuminance, QuantityError> {
    Illuminance::from_lux(libm::exp2(reading.to_ev()) * c.0 / 100.0)
}

/// Gives the reading at ISO 100 of an illuminance: EV100 = lg2(100·E/C).
///
/// # Errors
/// [`QuantityError`] when the light lies outside the range of [`Ev100`].
pub fn ev100_from_illuminance(
    illuminance: Illuminance,
    c: IncidentConstant,
) -> Result<Ev100, QuantityError> {
    Ev100::from_ev(libm::log2(100.0 * illuminance.to_lux() / c.0))
}

/// Gives the light in which a setting is the metered one: EV100 = lg2(100·N²/(t·S)).
///
/// # Errors
/// [`QuantityError`] when the light lies outside the range of [`Ev100`].
pub fn ev100_from_setting(
    aperture: FNumber,
    time: Seconds,
    ei: ExposureIndex,
) -> Result<Ev100, QuantityError> {
    let n = aperture.to_ratio();
    Ev100::from_ev(libm::log2(
        100.0 * n * n / (time.to_s() * ei.to_arithmetic()),
    ))
}

/// Gives the metered time: t = N²·100/(2^EV100·S). \[s\]
///
/// `aperture` is the exact f-number, not the number engraved on the lens.
///
/// # Errors
/// [`QuantityError`] when the time overflows or vanishes.
pub fn metered_time(
    reading: Ev100,
    ei: ExposureIndex,
    aperture: FNumber,
) -> Result<Seconds, QuantityError> {
    let n = aperture.to_ratio();
    Seconds::from_s(n * n * 100.0 / (libm::exp2(reading.to_ev()) * ei.to_arithmetic()))
}

/// Gives the metered aperture for a time: N = √(t·2^EV100·S/100).
///
/// # Errors
/// [`QuantityError`] when the f-number overflows or vanishes.
pub fn metered_aperture(
    reading: Ev100,
    ei: ExposureIndex,
    time: Seconds,
) -> Result<FNumber, QuantityError> {
    FNumber::from_ratio(libm::sqrt(
        time.to_s() * libm::exp2(reading.to_ev()) * ei.to_arithmetic() / 100.0,
    ))
}

/// Gives the exposure at the film of a subject: H = q·L·t/N². \[lux s\]
///
/// # Errors
/// [`QuantityError`] when the exposure overflows or vanishes.
pub fn focal_plane_exposure(
    luminance: Luminance,
    aperture: FNumber,
    time: Seconds,
    lens: LensFactor,
) -> Result<LogExposure, QuantityError> {
    let n = aperture.to_ratio();
    LogExposure::from_lux_seconds(lens.0 * luminance.to_cd_per_m2() * time.to_s() / (n * n))
}

/// Gives the exposure at the film that a metered mid-tone gets: H = q·K/S. \[lux s\]
///
/// With q 0.65 and K 12.5 it is 8.125/S, the "8/S" of practice.
///
/// # Errors
/// [`QuantityError`] when the exposure overflows or vanishes.
pub fn metered_mid_tone_exposure(
    ei: ExposureIndex,
    k: ReflectedConstant,
    lens: LensFactor,
) -> Result<LogExposure, QuantityError> {
    LogExposure::from_lux_seconds(lens.0 * k.0 / ei.to_arithmetic())
}
