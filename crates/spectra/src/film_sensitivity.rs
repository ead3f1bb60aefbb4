//! Film sensitivity: conventions turned into each other, another density
//! criterion, and the speed that follows from absolute sensitivity.
//!
//! Makers print sensitivity in different ways: to equal energy, to equal
//! photons, or as a wedge spectrogram, whose height follows film and lamp
//! together. All integrals here want sensitivity to equal energy.
//!
//! - log S = h − log10( E(λ)/E(560) ) for a wedge spectrogram of height h (log
//!   units) under a lamp E; dispersion and instrument are taken as corrected.
//! - log S = log S′ + log10( λ/560 ) for sensitivity S′ to equal photons.
//! - log S₂ = log S₁ − ( log H(D₂) − log H(D₁) ) for another density, read off
//!   the film's own characteristic curve: as if its shape were the same in all colours.
//! - H_m = 0.683 ∫ E V dλ / ∫ E S dλ, lux s, S in cm²/erg at 0.10 above base+fog:
//!   683 lm/W × 10⁻³ (J/m²)/(erg/cm²). Then the speed is 0.8/H_m.
//!
//! Source: definitions in makers' data sheets; ISO 6 for the speed.

use crate::curve::{Assumed, Curve, CurveError};
use crate::grid::{Grid, GridError};
use crate::interpolation::Interpolation;
use crate::kind::CurveKind;
use crate::product::Product;
use quantity::{ExposureIndex, LogExposure, Nanometres, QuantityError, Stops};

/// Wavelength at which scales are tied together. \[nm\]
pub const TIED_AT_NM: f64 = 560.0;

/// Lux seconds for one erg/cm² at V = 1: 683 lm/W × 10⁻³.
const LUX_SECONDS_PER_ERG: f64 = 0.683;

/// Speed times the exposure of the speed point, lux s. Source: ISO 6.
const SPEED_CONSTANT: f64 = 0.8;

/// Why a sensitivity could not be turned into another.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SensitivityError {
    /// Give a curve of the kind that is needed.
    #[error("a curve of {wanted} is needed, found {}", .found.words())]
    Kind {
        /// What is needed.
        wanted: &'static str,
        /// What was given.
        found: CurveKind,
    },
    /// Give a lamp that covers the film and 560 nm.
    #[error("the lamp's curve has no power at {nm} nm, where the film has a value")]
    NoPower {
        /// Where, nm.
        nm: f64,
    },
    /// Give curves that overlap.
    #[error(transparent)]
    Grid(#[from] GridError),
    /// The values make no curve.
    #[error(transparent)]
    Curve(#[from] CurveError),
    /// The film sees nothing of the light, or the light has no visible part.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// Gives sensitivity to equal energy as a logarithm, whichever scale it is on.
///
/// A sensitivity of zero has no logarithm; such points become holes.
///
/// # Errors
/// [`SensitivityError::Kind`] unless the curve is a sensitivity.
pub fn as_logarithm(film: &Curve) -> Result<Curve, SensitivityError> {
    match film.kind() {
        CurveKind::LogSensitivity => Ok(film.clone()),
        CurveKind::Sensitivity => {
            let points = film
                .points()
                .iter()
                .map(|p| crate::curve::CurvePoint {
                    value: p.value.filter(|v| *v > 0.0).map(libm::log10),
                    standard_uncertainty: None,
                    ..*p
                })
                .collect();
            Ok(Curve::new(
                CurveKind::LogSensitivity,
                film.source(),
                points,
            )?)
        }
        found => Err(SensitivityError::Kind {
            wanted: "sensitivity",
            found,
        }),
    }
}

/// Gives the sensitivity to equal energy behind a wedge spectrogram made with a lamp.
///
/// # Errors
/// [`SensitivityError`] when the lamp has no power where the film has a value.
pub fn equal_energy_from_wedge(heights: &Curve, lamp: &Curve) -> Result<Curve, SensitivityError> {
    moved_by_lamp(heights, lamp, -1.0, "from a wedge spectrogram under")
}

/// Gives the heights of the wedge spectrogram that a lamp would make of a film.
///
/// # Errors
/// [`SensitivityError`] when the lamp has no power where the film has a value.
pub fn wedge_from_equal_energy(film: &Curve, lamp: &Curve) -> Result<Curve, SensitivityError> {
    moved_by_lamp(film, lamp, 1.0, "as a wedge spectrogram under")
}

fn moved_by_lamp(
    film: &Curve,
    lamp: &Curve,
    sign: f64,
    words: &str,
) -> Result<Curve, SensitivityError> {
    if !matches!(
        lamp.kind(),
        CurveKind::RelativePower | CurveKind::SpectralIrradiance
    ) {
        return Err(SensitivityError::Kind {
            wanted: "spectral power",
            found: lamp.kind(),
        });
    }
    let film = as_logarithm(film)?;
    let log_power = |nm: f64| -> Result<f64, SensitivityError> {
        let at = Nanometres::from_nm(nm)?;
        lamp.value_at(at, Interpolation::Linear)
            .ok()
            .filter(|power| *power > 0.0)
            .map(libm::log10)
            .ok_or(SensitivityError::NoPower { nm })
    };
    let tied = log_power(TIED_AT_NM)?;
    for (nm, _) in film.known() {
        log_power(*nm)?;
    }
    let source = format!("{}, {words} {}", film.source(), lamp.source());
    // Every wavelength was tried above, so nothing is left unmoved.
    Ok(
        film.changed(CurveKind::LogSensitivity, source, |nm, value| {
            value + log_power(nm).map_or(0.0, |log| sign * (log - tied))
        })?,
    )
}

/// Gives the sensitivity to equal energy of a film whose sensitivity to equal photons is known.
///
/// # Errors
/// [`SensitivityError::Kind`] unless the curve is a sensitivity.
pub fn equal_energy_from_equal_photons(film: &Curve) -> Result<Curve, SensitivityError> {
    let film = as_logarithm(film)?;
    let source = format!("{}, from equal photons", film.source());
    Ok(
        film.changed(CurveKind::LogSensitivity, source, |nm, value| {
            value + libm::log10(nm / TIED_AT_NM)
        })?,
    )
}

/// Gives the sensitivity for another density criterion.
///
/// `higher` is how much more exposure the wanted density needs than the printed
/// one, read off the film's own curve; negative for a lower density.
///
/// # Errors
/// [`SensitivityError::Kind`] unless the curve is a sensitivity.
pub fn at_other_density(film: &Curve, higher: Stops) -> Result<Curve, SensitivityError> {
    let film = as_logarithm(film)?;
    let source = format!(
        "{}, for a density {:+.2} log H higher on the film's curve",
        film.source(),
        higher.to_delta_log_h()
    );
    Ok(film.changed(CurveKind::LogSensitivity, source, |_, value| {
        value - higher.to_delta_log_h()
    })?)
}

/// A speed from absolute sensitivity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AbsoluteSpeed {
    /// Exposure of the speed point in the light.
    pub speed_point: LogExposure,
    /// 0.8 over that exposure.
    pub speed: ExposureIndex,
}

/// Gives the speed of a film whose sensitivity is absolute: cm²/erg at 0.10
/// above base+fog. It holds for the light it is asked for.
///
/// Integrals run over the wavelengths the light and the luminous efficiency share; the
/// film is nothing beyond its table.
///
/// # Errors
/// [`SensitivityError`] for other kinds of curves, and when nothing is seen.
pub fn speed_from_absolute(
    film: &Curve,
    light: &Curve,
    luminous_efficiency: &Curve,
) -> Result<AbsoluteSpeed, SensitivityError> {
    for (curve, wanted, kind) in [
        (film, "sensitivity", CurveKind::Sensitivity),
        (
            luminous_efficiency,
            "luminous efficiency",
            CurveKind::LuminousEfficiency,
        ),
    ] {
        if curve.kind().linear() != kind {
            return Err(SensitivityError::Kind {
                wanted,
                found: curve.kind(),
            });
        }
    }
    let seen = |curve: &Curve, assumed| -> Result<f64, SensitivityError> {
        let grid = Grid::union(&[light], &[curve])?;
        let both = [(light, Assumed::NOTHING), (curve, assumed)];
        Ok(Product::of(&both, &grid, Interpolation::Linear).total())
    };
    let visible = seen(luminous_efficiency, Assumed::NOTHING)?;
    let responded = seen(film, Assumed::NOTHING)?;
    let h = LUX_SECONDS_PER_ERG * visible / responded;
    Ok(AbsoluteSpeed {
        speed_point: LogExposure::from_lux_seconds(h)?,
        speed: ExposureIndex::from_arithmetic(SPEED_CONSTANT / h)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CIE 15: S = 100 (560/λ)⁵ (exp(1.435e7/(2848·560)) − 1)/(exp(1.435e7/(2848 λ)) − 1).
    fn illuminant_a() -> Curve {
        let values: Vec<(f64, f64)> = (30..=110)
            .map(|i| f64::from(i) * 10.0)
            .map(|nm| {
                let exponent = |nm: f64| libm::exp(1.435e7 / (2848.0 * nm)) - 1.0;
                let s = 100.0 * libm::pow(560.0 / nm, 5.0) * exponent(560.0) / exponent(nm);
                (nm, s)
            })
            .collect();
        Curve::from_values(CurveKind::RelativePower, "CIE illuminant A", &values).unwrap()
    }

    /// CIE 1924 V(λ), every 10 nm from 380 to 780 nm.
    const V: [f64; 41] = [
        3.9e-5, 0.00012, 0.000396, 0.00121, 0.004, 0.0116, 0.023, 0.038, 0.06, 0.09098, 0.13902,
        0.20802, 0.323, 0.503, 0.71, 0.862, 0.954, 0.9949501, 0.995, 0.952, 0.87, 0.757, 0.631,
        0.503, 0.381, 0.265, 0.175, 0.107, 0.061, 0.032, 0.017, 0.00821, 0.004102, 0.002091,
        0.001047, 0.00052, 0.0002492, 0.00012, 6e-5, 3e-5, 1.499e-5,
    ];

    fn luminous_efficiency() -> Curve {
        let values: Vec<(f64, f64)> = V
            .iter()
            .enumerate()
            .map(|(i, v)| (380.0 + 10.0 * i as f64, *v))
            .collect();
        Curve::from_values(CurveKind::LuminousEfficiency, "CIE 1924", &values).unwrap()
    }

    #[test]
    fn a_wedge_spectrogram_is_turned_by_its_lamp() {
        // Source: log10 of CIE illuminant A relative to 560 nm, computed by a
        // separate program: −0.832445 at 400, −0.222855 at 500, +0.297238 at 700,
        // +0.447483 at 900 nm.
        let rows = [
            (400.0, -0.832_445),
            (500.0, -0.222_855),
            (700.0, 0.297_238),
            (900.0, 0.447_483),
        ];
        let kind = CurveKind::LogSensitivity;
        let flat: Vec<(f64, f64)> = rows.iter().map(|r| (r.0, 1.0)).collect();
        let flat = Curve::from_values(kind, "flat", &flat).unwrap();
        let lamp = illuminant_a();
        let wedge = wedge_from_equal_energy(&flat, &lamp).unwrap();
        for ((nm, height), (wanted_nm, log)) in wedge.known().iter().zip(rows) {
            assert_eq!(*nm, wanted_nm);
            // 1e-6: six printed decimals.
            assert!((height - 1.0 - log).abs() < 1e-6, "{nm}: {height}");
        }
        let back = equal_energy_from_wedge(&wedge, &lamp).unwrap();
        assert!(back.known().iter().all(|(_, v)| (v - 1.0).abs() < 1e-12));
        // Beyond the lamp nothing can be turned.
        let far = Curve::from_values(kind, "far", &[(1000.0, 0.0), (1200.0, 0.0)]).unwrap();
        assert!(matches!(
            equal_energy_from_wedge(&far, &lamp),
            Err(SensitivityError::NoPower { nm }) if nm == 1200.0
        ));
    }

    #[test]
    fn equal_photons_are_turned_by_the_wavelength() {
        // Hand calculation: log10(400/560) = −0.146128, log10(700/560) = 0.096910.
        let kind = CurveKind::LogSensitivity;
        let flat = Curve::from_values(kind, "flat", &[(400.0, 0.0), (700.0, 0.0)]).unwrap();
        let energy = equal_energy_from_equal_photons(&flat).unwrap();
        assert!((energy.known()[0].1 + 0.146_128).abs() < 1e-6);
        assert!((energy.known()[1].1 - 0.096_910).abs() < 1e-6);
    }

    #[test]
    fn a_higher_density_is_a_lower_sensitivity() {
        // Hand calculation: density 1.0 needs 1.2 log H more than 0.1 above fog
        // on this curve; sensitivity falls by 1.2.
        let kind = CurveKind::LogSensitivity;
        let film = Curve::from_values(kind, "at 0.1", &[(400.0, 2.0), (600.0, 1.0)]).unwrap();
        let higher = at_other_density(&film, Stops::from_delta_log_h(1.2).unwrap()).unwrap();
        assert!((higher.known()[0].1 - 0.8).abs() < 1e-12);
    }

    #[test]
    fn absolute_sensitivity_gives_the_speed() {
        // Source: computed by a separate program on a 10 nm grid, illuminant A
        // with CIE 1924 V(λ): log S 1.0 from 400 to 680 nm gives H_m 0.02789873
        // lux s, S 28.6751; to 750 nm 0.01792495, 44.6305; log S = 2 −
        // 0.005 (λ − 400) to 700 nm 0.01647104, 48.5701. Beyond is nothing.
        let (light, v) = (illuminant_a(), luminous_efficiency());
        let film = |last: f64, log: &dyn Fn(f64) -> f64| {
            let values: Vec<(f64, f64)> = (39..=76)
                .map(|i| f64::from(i) * 10.0)
                .map(|nm| {
                    let inside = (400.0..=last).contains(&nm);
                    (
                        nm,
                        if inside {
                            libm::pow(10.0, log(nm))
                        } else {
                            0.0
                        },
                    )
                })
                .collect();
            Curve::from_values(CurveKind::Sensitivity, "invented", &values).unwrap()
        };
        for (film, h, speed) in [
            (film(680.0, &|_| 1.0), 0.027_898_73, 28.675_1),
            (film(750.0, &|_| 1.0), 0.017_924_95, 44.630_5),
            (
                film(700.0, &|nm| 2.0 - 0.005 * (nm - 400.0)),
                0.016_471_04,
                48.570_1,
            ),
        ] {
            let ours = speed_from_absolute(&film, &light, &v).unwrap();
            let h_ours = ours.speed_point.to_lux_seconds();
            // 1e-4: the table's V runs to 830 nm in 5 nm rows, ours to 780 in 10.
            assert!((h_ours / h - 1.0).abs() < 1e-4, "{h_ours} against {h}");
            assert!((ours.speed.to_arithmetic() / speed - 1.0).abs() < 1e-4);
        }
    }

    #[test]
    fn other_kinds_are_refused() {
        let filter =
            Curve::from_values(CurveKind::Transmittance, "t", &[(400.0, 0.1), (500.0, 0.2)]);
        let filter = filter.unwrap();
        assert!(as_logarithm(&filter).is_err());
        assert!(equal_energy_from_wedge(&filter, &illuminant_a()).is_err());
        assert!(speed_from_absolute(&filter, &illuminant_a(), &luminous_efficiency()).is_err());
    }
}
