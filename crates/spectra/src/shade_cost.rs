//! What shade costs a film behind a filter beyond what a meter shows.
//!
//! The meter is read in the sun and in the shade, and its change followed. The film
//! behind the filter sees other wavelengths, of which shade has less: the rest is the
//! cost, log2(∫E₁ S T / ∫E₂ S T) − log2(∫E₁ M / ∫E₂ M) in stops, E₁ sun, E₂ shade,
//! M the response of the meter. Greater than zero: the negative gets thinner.
//!
//! Sums are taken every 1 nm from 300 to 1100 nm. Only the shapes of the two lights
//! count, not their scales.

use crate::curve::{Assumed, Curve};
use crate::prediction::{Ends, Predicting};
use crate::seen::RANGE_NM;
use crate::uncertainty::Contribution;

/// From here on a light's power is spread by its own standard deviation. \[nm\]
const INFRARED_FROM_NM: f64 = 700.0;

/// Standard deviation of the infrared of a shade without one of its own. \[stops\]
///
/// Assumed by us: a sunlit wall nearby or haze brings infrared back.
pub const SHADE_INFRARED_STOPS: f64 = 0.3;

/// Standard deviations of what the cost rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShadeSpread {
    /// Where the film's red end lies, nm.
    pub film_edge_nm: f64,
    /// Where the filter's edge lies, nm.
    pub filter_edge_nm: f64,
    /// The sunlight's power beyond 700 nm against the rest, stops.
    pub sun_infrared_stops: f64,
    /// The shade's power beyond 700 nm against the rest, stops.
    pub shade_infrared_stops: f64,
    /// The meter's response beyond 700 nm, stops; 0 for the eye's.
    pub meter_infrared_stops: f64,
}

/// What shade costs beyond the meter.
#[derive(Clone, Debug, PartialEq)]
pub struct ShadeCost {
    /// The cost; greater than zero when the meter shows too little.
    pub stops: f64,
    /// What each input adds to its uncertainty.
    pub parts: Vec<Contribution>,
}

/// Gives what shade costs; `of` holds the light in the sun.
///
/// `None` when one of the four integrals is not greater than zero.
#[must_use]
pub fn shade_cost(
    of: &Predicting<'_>,
    shade: &Curve,
    meter: impl Fn(f64) -> f64,
    spread: &ShadeSpread,
) -> Option<ShadeCost> {
    let values = |curve: &Curve| -> Vec<f64> {
        let assumed = match of.ends {
            Ends::LeftOut => Assumed::NOTHING,
            Ends::Held => Assumed::HELD,
        };
        wavelengths()
            .map(|nm| {
                curve
                    .linear_value_assuming(nm, of.interpolation, assumed)
                    .map_or(0.0, |(value, _)| value)
            })
            .collect()
    };
    let film = |film: &Curve, filter: &Curve| product(&values(film), &values(filter));
    let all = Costing {
        sun: values(of.light),
        shade: values(shade),
        film: film(of.film, of.filter),
        meter: wavelengths().map(meter).collect(),
    };
    let stops = all.stops()?;
    // Half of the difference that one standard deviation either way makes.
    let part = |source: &str, moved: &dyn Fn(f64) -> Option<f64>| {
        let sd_stops = 0.5 * (moved(1.0)? - moved(-1.0)?).abs();
        (sd_stops > 0.0).then(|| Contribution {
            source: source.to_owned(),
            sd_stops,
        })
    };
    let edge = |film_nm: f64, filter_nm: f64| {
        let curve = film(
            &of.film.shifted(film_nm).ok()?,
            &of.filter.shifted(filter_nm).ok()?,
        );
        all.with(|c| c.film = curve).stops()
    };
    let lifted = |of: &[f64], stops: f64| -> Vec<f64> {
        wavelengths()
            .zip(of)
            .map(|(nm, v)| {
                if nm > INFRARED_FROM_NM {
                    v * libm::exp2(stops)
                } else {
                    *v
                }
            })
            .collect()
    };
    let parts = [
        part("infrared of the shade", &|by| {
            let shade = lifted(&all.shade, by * spread.shade_infrared_stops);
            all.with(|c| c.shade = shade).stops()
        }),
        part("infrared of the sunlight", &|by| {
            let sun = lifted(&all.sun, by * spread.sun_infrared_stops);
            all.with(|c| c.sun = sun).stops()
        }),
        part("film's red end", &|by| edge(by * spread.film_edge_nm, 0.0)),
        part("filter's edge", &|by| edge(0.0, by * spread.filter_edge_nm)),
        part("meter's infrared", &|by| {
            let meter = lifted(&all.meter, by * spread.meter_infrared_stops);
            all.with(|c| c.meter = meter).stops()
        }),
    ];
    Some(ShadeCost {
        stops,
        parts: parts.into_iter().flatten().collect(),
    })
}

fn wavelengths() -> impl Iterator<Item = f64> {
    (RANGE_NM.0 as u16..=RANGE_NM.1 as u16).map(f64::from)
}

fn product(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a * b).collect()
}

/// The four curves, every 1 nm.
#[derive(Clone)]
struct Costing {
    sun: Vec<f64>,
    shade: Vec<f64>,
    film: Vec<f64>,
    meter: Vec<f64>,
}

impl Costing {
    fn with(&self, change: impl FnOnce(&mut Self)) -> Self {
        let mut other = self.clone();
        change(&mut other);
        other
    }

    fn stops(&self) -> Option<f64> {
        let sum = |light: &[f64], response: &[f64]| -> f64 {
            light.iter().zip(response).map(|(e, r)| e * r).sum()
        };
        let falls = |response: &[f64]| {
            let (sun, shade) = (sum(&self.sun, response), sum(&self.shade, response));
            (sun > 0.0 && shade > 0.0).then(|| libm::log2(sun / shade))
        };
        let stops = falls(&self.film)? - falls(&self.meter)?;
        stops.is_finite().then_some(stops)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interpolation::Interpolation;
    use crate::kind::CurveKind;
    use crate::prediction::GridChoice;

    fn curve(kind: CurveKind, values: &[(f64, f64)]) -> Curve {
        Curve::from_values(kind, "test", values).unwrap()
    }

    const SPREAD: ShadeSpread = ShadeSpread {
        film_edge_nm: 0.0,
        filter_edge_nm: 0.0,
        sun_infrared_stops: 0.0,
        shade_infrared_stops: 0.5,
        meter_infrared_stops: 0.0,
    };

    fn cost(shade_infrared: f64, filter_from_nm: f64) -> ShadeCost {
        let film = curve(CurveKind::Sensitivity, &[(400.0, 1.0), (900.0, 1.0)]);
        let opens = filter_from_nm;
        let filter = [(400.0, 0.0), (opens, 0.0), (opens + 1.0, 1.0), (900.0, 1.0)];
        let filter = curve(CurveKind::Transmittance, &filter);
        let light = curve(CurveKind::RelativePower, &[(400.0, 1.0), (900.0, 1.0)]);
        // A fourth of the sun's light to 700 nm, less beyond.
        let shade = [
            (400.0, 0.25),
            (700.0, 0.25),
            (701.0, shade_infrared),
            (900.0, shade_infrared),
        ];
        let shade = curve(CurveKind::RelativePower, &shade);
        let of = Predicting {
            film: &film,
            filter: &filter,
            light: &light,
            interpolation: Interpolation::Linear,
            grid: GridChoice::Union,
            ends: Ends::LeftOut,
        };
        let meter = |nm: f64| f64::from(u8::from((500.0..=600.0).contains(&nm)));
        shade_cost(&of, &shade, meter, &SPREAD).unwrap()
    }

    #[test]
    fn a_meter_that_sees_none_of_the_infrared_shows_two_stops_and_not_four() {
        // Hand calculation: the meter falls by log2 4 = 2 stops; the film behind the
        // filter sees 1/16, 4 stops; shade costs 2 more. The infrared of the shade
        // by half a stop either way is half a stop of cost.
        let found = cost(1.0 / 16.0, 720.0);
        assert!((found.stops - 2.0).abs() < 1e-12, "{found:?}");
        assert_eq!(found.parts.len(), 1);
        assert_eq!(found.parts[0].source, "infrared of the shade");
        assert!((found.parts[0].sd_stops - 0.5).abs() < 1e-12, "{found:?}");
    }

    #[test]
    fn shade_of_the_suns_own_colour_costs_nothing_more() {
        let found = cost(0.25, 720.0);
        assert!(found.stops.abs() < 1e-12, "{found:?}");
        // Half of the light behind this filter is infrared, more or less: less than half a stop.
        let half = cost(0.25, 500.0);
        assert!(half.stops.abs() < 1e-12);
        assert!((0.1..0.4).contains(&half.parts[0].sd_stops), "{half:?}");
    }

    #[test]
    fn nothing_seen_is_no_cost() {
        let film = curve(CurveKind::Sensitivity, &[(400.0, 1.0), (500.0, 1.0)]);
        let filter = curve(CurveKind::Transmittance, &[(400.0, 0.0), (900.0, 0.0)]);
        let light = curve(CurveKind::RelativePower, &[(400.0, 1.0), (900.0, 1.0)]);
        let of = Predicting {
            film: &film,
            filter: &filter,
            light: &light,
            interpolation: Interpolation::Linear,
            grid: GridChoice::Union,
            ends: Ends::LeftOut,
        };
        assert_eq!(shade_cost(&of, &light, |_| 1.0, &SPREAD), None);
    }
}
