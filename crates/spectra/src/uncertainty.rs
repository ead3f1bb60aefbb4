//! How well a predicted factor is known, and what that comes from.
//!
//! Each input moves the factor by so many stops for one standard deviation of
//! its own; independent ones add in quadrature.

use crate::prediction::Prediction;

/// Standard uncertainty between the spectral ratio and a factor found by
/// matching densities. \[stops\]
///
/// The gradient of a film changes with the colour of its light; on made tests the two differ
/// by about 0.13 stop (common practice, no published number).
pub const GRADIENT_STOPS: f64 = 0.13;

/// Standard deviations of the inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputSpread {
    /// Where the film's red end lies, nm.
    pub film_edge_nm: f64,
    /// Where the filter's edge lies, nm.
    pub filter_edge_nm: f64,
    /// The light's power beyond 700 nm against the rest, stops.
    pub light_infrared_stops: f64,
    /// Spectral ratio against density-matched factor, stops.
    pub gradient_stops: f64,
}

impl InputSpread {
    /// What is taken for curves without a stated uncertainty.
    ///
    /// Assumed by us: 5 nm for a film's curve read off a printed plot, 3 nm between
    /// samples of one filter, 0.15 stop for the infrared of daylight between a
    /// sun at 70° and at 15° (a clear-sky model gives 700–900 over 400–700 nm
    /// as 0.44 to 0.55).
    pub const ASSUMED: Self = Self {
        film_edge_nm: 5.0,
        filter_edge_nm: 3.0,
        light_infrared_stops: 0.15,
        gradient_stops: GRADIENT_STOPS,
    };
}

/// One input's part of the uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// The input in words.
    pub source: String,
    /// One standard deviation of the factor from it alone, stops.
    pub sd_stops: f64,
}

/// A combined uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Combined {
    /// One standard deviation of the factor, stops.
    pub sd_stops: f64,
    /// Each source and its share of the variance, largest first.
    pub shares: Vec<(String, f64)>,
}

/// Gives what each input adds to the uncertainty of a predicted factor.
///
/// Empty when there is no factor.
#[must_use]
pub fn contributions(of: &Prediction, spread: &InputSpread) -> Vec<Contribution> {
    let part = |source: &str, slope: Option<f64>, sd: f64| {
        slope.map(|slope| Contribution {
            source: source.to_owned(),
            sd_stops: (slope * sd).abs(),
        })
    };
    [
        part("film's red end", of.stops_per_film_nm, spread.film_edge_nm),
        part("filter's edge", of.stops_per_nm, spread.filter_edge_nm),
        part(
            "infrared of the light",
            of.stops_per_infrared_stop,
            spread.light_infrared_stops,
        ),
        part(
            "gradient behind the filter",
            of.factor.map(|_| 1.0),
            spread.gradient_stops,
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Adds independent contributions in quadrature.
#[must_use]
pub fn combined(of: &[Contribution]) -> Combined {
    let variance: f64 = of.iter().map(|c| c.sd_stops * c.sd_stops).sum();
    let mut shares: Vec<(String, f64)> = of
        .iter()
        .map(|c| {
            let share = if variance > 0.0 {
                c.sd_stops * c.sd_stops / variance
            } else {
                0.0
            };
            (c.source.clone(), share)
        })
        .collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    Combined {
        sd_stops: libm::sqrt(variance),
        shares,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_parts_add_in_quadrature() {
        // Hand calculation: √(0.3² + 0.4²) = 0.5; shares 0.36 and 0.64.
        let part = |source: &str, sd_stops| Contribution {
            source: source.to_owned(),
            sd_stops,
        };
        let sum = combined(&[part("a", 0.3), part("b", 0.4)]);
        assert!((sum.sd_stops - 0.5).abs() < 1e-12);
        assert_eq!(sum.shares[0].0, "b");
        assert!((sum.shares[0].1 - 0.64).abs() < 1e-12);
        assert_eq!(combined(&[]).sd_stops, 0.0);
    }
}
