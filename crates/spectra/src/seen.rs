//! What a meter, an eye or a film sees of a light.
//!
//! A light is a list of wavelengths in nm and spectral irradiance; a response is
//! a function of the wavelength. Integrals are taken every 1 nm by the
//! trapezoid rule, the light in straight lines between its points, from 300 to
//! 1100 nm. Where the light has no values nothing is added.

use libm::{exp2, log2};

/// Lumens per watt at the peak of V(λ). Source: CIE 18, as used with V(λ) of 1924.
pub const LUMENS_PER_WATT: f64 = 683.0;

/// Shortest and longest wavelength of an integral, nm.
pub const RANGE_NM: (f64, f64) = (300.0, 1100.0);

/// Gives the value between points in straight lines; 0 outside.
#[must_use]
pub fn between(points: &[(f64, f64)], nm: f64) -> f64 {
    let after = points.partition_point(|(at, _)| *at < nm);
    match (
        after.checked_sub(1).and_then(|i| points.get(i)),
        points.get(after),
    ) {
        (_, Some(&(at, value))) if at == nm => value,
        (Some(&(a, x)), Some(&(b, y))) => x + (y - x) * (nm - a) / (b - a),
        _ => 0.0,
    }
}

/// Gives the light times the response, in the unit of the light times nm.
#[must_use]
pub fn seen(light: &[(f64, f64)], response: impl Fn(f64) -> f64) -> f64 {
    let steps = (RANGE_NM.1 - RANGE_NM.0) as usize;
    (0..=steps)
        .map(|step| {
            let nm = RANGE_NM.0 + step as f64;
            let weight = if step == 0 || step == steps { 0.5 } else { 1.0 };
            weight * between(light, nm) * response(nm)
        })
        .sum()
}

/// Gives the illuminance in lux of a light in W/m² per nm, by a table of V(λ).
#[must_use]
pub fn illuminance_lux(light: &[(f64, f64)], luminosity: &[(f64, f64)]) -> f64 {
    LUMENS_PER_WATT * seen(light, |nm| between(luminosity, nm))
}

/// Gives the irradiance between two wavelengths in nm, W/m².
///
/// Ends lie on whole nm; each counts half, as the trapezoid rule has it.
#[must_use]
pub fn irradiance(light: &[(f64, f64)], from_nm: f64, to_nm: f64) -> f64 {
    seen(light, |nm| {
        if nm == from_nm || nm == to_nm {
            0.5
        } else if nm > from_nm && nm < to_nm {
            1.0
        } else {
            0.0
        }
    })
}

/// Gives by how many stops a film gets more in light `b` than in light `a`
/// after the meter's change has been followed.
///
/// `film` is sensitivity times transmittance of the filter. Negative: the meter
/// says nothing changed and the negative gets thinner. `None` when one of the
/// four integrals is not greater than zero.
#[must_use]
pub fn film_against_meter_stops(
    a: &[(f64, f64)],
    b: &[(f64, f64)],
    film: impl Fn(f64) -> f64,
    meter: impl Fn(f64) -> f64,
) -> Option<f64> {
    let ratio = |response: &dyn Fn(f64) -> f64| {
        let (before, after) = (seen(a, response), seen(b, response));
        (before > 0.0 && after > 0.0).then(|| log2(after / before))
    };
    Some(ratio(&film)? - ratio(&meter)?)
}

/// The cell of a meter, where it is not the eye's V(λ).
///
/// Smooth models of our own, by the general ranges of the trade; bare cells
/// without a correcting filter in front. One instrument may differ by
/// [`MeterCell::spread_stops`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeterCell {
    /// About 4 stops down at 750 nm (common practice).
    Selenium,
    /// Cadmium sulphide; reaches further into the infrared.
    CadmiumSulphide,
    /// Silicon; sees all of the near infrared unless it is corrected.
    Silicon,
}

impl MeterCell {
    /// Gives the response relative to its peak.
    #[must_use]
    pub fn response(self, nm: f64) -> f64 {
        let stops: &[(f64, f64)] = match self {
            Self::Selenium => &[
                (300.0, -3.3),
                (400.0, -1.6),
                (500.0, -0.3),
                (560.0, 0.0),
                (620.0, -0.5),
                (680.0, -1.8),
                (750.0, -4.0),
                (850.0, -8.0),
            ],
            Self::CadmiumSulphide => &[
                (300.0, -6.0),
                (400.0, -4.0),
                (500.0, -1.0),
                (560.0, -0.2),
                (600.0, 0.0),
                (680.0, -0.6),
                (750.0, -2.5),
                (900.0, -7.0),
            ],
            Self::Silicon => &[
                (300.0, -5.0),
                (400.0, -1.8),
                (560.0, -0.8),
                (700.0, -0.3),
                (850.0, 0.0),
                (950.0, -0.1),
                (1050.0, -1.5),
                (1100.0, -3.0),
            ],
        };
        let (first, last) = (stops[0], stops[stops.len() - 1]);
        if nm < first.0 || nm > last.0 {
            0.0
        } else {
            exp2(between(stops, nm))
        }
    }

    /// Gives one standard deviation between instruments beyond 700 nm, stops;
    /// an assumption.
    #[must_use]
    pub fn spread_stops(self) -> f64 {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_selenium_cell_is_four_stops_down_at_750_and_others_reach_further() {
        // Common practice: selenium about 4 stops down at 750 nm, CdS further.
        let at = |cell: MeterCell| log2(cell.response(750.0));
        assert!((at(MeterCell::Selenium) + 4.0).abs() < 1e-9);
        assert!(at(MeterCell::CadmiumSulphide) > at(MeterCell::Selenium) + 1.0);
        assert!(at(MeterCell::Silicon) > at(MeterCell::CadmiumSulphide) + 1.0);
        assert_eq!(MeterCell::Selenium.response(1000.0), 0.0);
    }

    #[test]
    fn an_even_light_gives_the_published_sum_of_v() {
        // Hand calculation: 1 W/m² per nm from 400 to 700 nm is 300 W/m².
        let even = [(300.0, 1.0), (1100.0, 1.0)];
        assert!((irradiance(&even, 400.0, 700.0) - 300.0).abs() < 1e-9);
        assert_eq!(between(&even, 299.0), 0.0);
        assert_eq!(between(&even, 300.0), 1.0);
        assert_eq!(between(&even, 1101.0), 0.0);
        // A film that sees what the meter sees needs no correction.
        let other = [(300.0, 0.1), (1100.0, 3.0)];
        let cell = |nm| MeterCell::Silicon.response(nm);
        let none = film_against_meter_stops(&even, &other, cell, cell).unwrap();
        assert!(none.abs() < 1e-12);
        assert_eq!(film_against_meter_stops(&even, &[], cell, cell), None);
    }
}
