//! Edge and steepness given the factors: a posterior on a grid.
//!
//! Every film of the grid gets the weight that the class gives it times how well
//! it explains the factors. Two unknowns are common to all factors of a test:
//! how level the film is below its edge, which sets the exposure without a
//! filter, and the tilt of the light. They are summed over by Gauss-Hermite
//! points; what is each filter's own is in the variance of its factor.
//!
//! Source: Gauss-Hermite abscissae and weights of 7 and 3 points, Abramowitz &
//! Stegun, table 25.10, brought to the standard normal.

use super::exposure_ratio::{Films, Ratio};
use super::film_class::{self, LEVEL_MIDDLE, LEVEL_SD, edges, steepnesses};
use super::tail_light::TailLight;
use crate::normal::log_cumulative;
use quantity::{Bound, Interval, Nanometres};

/// One factor and the filter it was found behind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TailData {
    /// Where the filter has half of its peak. \[nm\]
    pub half_peak_nm: f64,
    /// How well that is known. \[nm\]
    pub half_peak_sd_nm: f64,
    /// log10 of the factor, or of its bound.
    pub log_factor: f64,
    /// Its standard uncertainty. \[log10\]
    pub log_factor_sd: f64,
    /// Which side it is known from, when it is only a bound.
    pub bound: Option<Bound>,
}

/// What a bound's likelihood has fallen to at the bound itself, as a place on
/// the normal: an end of a 90 % profile interval lies where the likelihood is
/// exp(−1.645²/2) = 0.26 of its most, and Φ(−0.64) = 0.26.
const AT_BOUND: f64 = -0.64;

/// The standard normal at 7 points.
const SEVEN: [(f64, f64); 7] = [
    (-3.750_439_717_725_742, 0.000_548_268_855_972_218),
    (-2.366_759_410_734_541, 0.030_757_123_967_586_5),
    (-1.154_405_394_739_968, 0.240_123_178_605_013),
    (0.0, 0.457_142_857_142_857),
    (1.154_405_394_739_968, 0.240_123_178_605_013),
    (2.366_759_410_734_541, 0.030_757_123_967_586_5),
    (3.750_439_717_725_742, 0.000_548_268_855_972_218),
];

/// The standard normal at 3 points.
const THREE: [(f64, f64); 3] = [
    (-1.732_050_807_568_877, 1.0 / 6.0),
    (0.0, 2.0 / 3.0),
    (1.732_050_807_568_877, 1.0 / 6.0),
];

/// One possibility: a film of the grid with values of the common unknowns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Possibility {
    /// Index of the film on the grid.
    pub film: usize,
    /// Exposure without a filter above that of a level film. \[log10\]
    pub level: f64,
    /// Tilt of the light from its middle. \[log10 per 100 nm\]
    pub tilt: f64,
    /// Share of the posterior.
    pub weight: f64,
}

/// The red end of a film as far as factors tell it.
pub struct TailEstimate {
    /// Wavelength at which the sensitivity is half of what it is below.
    pub edge: Interval<Nanometres>,
    /// How steeply it falls beyond. \[log10 sensitivity per nm\]
    pub steepness: Interval<f64>,
    /// Correlation of the edge with the logarithm of the steepness.
    pub correlation: f64,
    /// Whether edge and steepness can be told apart: with one filter they can't.
    pub told_apart: bool,
    /// The band of log10 sensitivity: wavelength, then low, middle and high.
    pub band: Vec<(f64, [f64; 3])>,
    pub(super) possibilities: Vec<Possibility>,
    pub(super) films: Films,
    /// Films that a possibility is left of.
    pub(super) likely: Vec<bool>,
    pub(super) coverage: f64,
}

/// Possibilities with less than this share of all, together, are let go.
const LET_GO: f64 = 1e-4;

/// Estimates the red end of a film from factors found in one light.
///
/// `coverage` is the share of cases in which intervals are meant to hold the
/// truth, 0 to 1. Answers rest on the class of films where the factors say
/// little; without any factor they are the class.
///
/// # Panics
/// Unless 0 < coverage < 1.
#[must_use]
pub fn tail_estimate(data: &[TailData], light: TailLight, coverage: f64) -> TailEstimate {
    let films = Films::in_light(light);
    let (edges, steepnesses) = (edges(), steepnesses());
    let every = vec![true; edges.len() * steepnesses.len()];
    let ratios: Vec<Vec<Ratio>> = data
        .iter()
        .map(|d| films.behind(d.half_peak_nm, d.half_peak_sd_nm, &every))
        .collect();
    let mut all = vec![];
    for film in 0..edges.len() * steepnesses.len() {
        let edge = edges[film / steepnesses.len()];
        let steepness = steepnesses[film % steepnesses.len()];
        let prior = libm::log(film_class::density(edge, steepness));
        for (z_level, w_level) in SEVEN {
            for (z_tilt, w_tilt) in THREE {
                let (level, tilt) = (LEVEL_MIDDLE + LEVEL_SD * z_level, light.tilt_sd() * z_tilt);
                let fit: f64 = data
                    .iter()
                    .zip(&ratios)
                    .map(|(d, ratios)| log_likelihood(d, &ratios[film], level, tilt))
                    .sum();
                let weight = prior + libm::log(w_level * w_tilt) + fit;
                all.push(Possibility {
                    film,
                    level,
                    tilt,
                    weight,
                });
            }
        }
    }
    let possibilities = shares(all);
    let mut likely = vec![false; every.len()];
    for p in &possibilities {
        likely[p.film] = true;
    }
    let edge_of = |p: &Possibility| edges[p.film / steepnesses.len()];
    let steepness_of = |p: &Possibility| libm::log(steepnesses[p.film % steepnesses.len()]);
    let tail = 0.5 - 0.5 * coverage;
    let ends = [tail, 0.5, 1.0 - tail];
    let edge_step = edges[1] - edges[0];
    let steepness_step = libm::log(steepnesses[1] / steepnesses[0]);
    let [low, value, high] = quantiles(&possibilities, edge_of, edge_step, ends);
    let [k_low, k_value, k_high] = quantiles(&possibilities, steepness_of, steepness_step, ends);
    TailEstimate {
        edge: Interval {
            value: nm(value),
            low: nm(low),
            high: nm(high),
            coverage,
        },
        steepness: Interval {
            value: libm::exp(k_value),
            low: libm::exp(k_low),
            high: libm::exp(k_high),
            coverage,
        },
        correlation: correlation(&possibilities, edge_of, steepness_of),
        told_apart: data.len() > 1,
        band: band(&possibilities, &edges, &steepnesses, ends),
        possibilities,
        films,
        likely,
        coverage,
    }
}

fn nm(value: f64) -> Nanometres {
    match Nanometres::from_nm(value) {
        Ok(nm) => nm,
        Err(_) => unreachable!("edges of the grid are positive"),
    }
}

/// log10 F of a possibility.
pub(super) fn log_factor(ratio: &Ratio, level: f64, tilt: f64) -> f64 {
    ratio.log_factor + level + ratio.by_tilt * tilt
}

fn log_likelihood(d: &TailData, ratio: &Ratio, level: f64, tilt: f64) -> f64 {
    let variance = ratio.own_variance + d.log_factor_sd * d.log_factor_sd;
    let sd = libm::sqrt(variance);
    let off = (log_factor(ratio, level, tilt) - d.log_factor) / sd;
    // Only the reading of a bound stops short of it; what is the filter's own doesn't.
    let at_bound = AT_BOUND * d.log_factor_sd / sd;
    match d.bound {
        None => -0.5 * off * off - libm::log(sd),
        Some(Bound::AtLeast) => log_cumulative(off + at_bound),
        Some(Bound::AtMost) => log_cumulative(at_bound - off),
    }
}

/// Logarithms of weights to shares, the least likely let go.
fn shares(mut all: Vec<Possibility>) -> Vec<Possibility> {
    let most = all
        .iter()
        .map(|p| p.weight)
        .fold(f64::NEG_INFINITY, f64::max);
    for p in &mut all {
        p.weight = libm::exp(p.weight - most);
    }
    let sum: f64 = all.iter().map(|p| p.weight).sum();
    all.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.film.cmp(&b.film)));
    let mut kept = 0.0;
    let mut count = 0;
    for p in &all {
        kept += p.weight;
        count += 1;
        if kept >= (1.0 - LET_GO) * sum {
            break;
        }
    }
    all.truncate(count);
    for p in &mut all {
        p.weight /= kept;
    }
    all
}

/// Quantiles of a number of the grid; each grid value stands for its cell.
fn quantiles(
    all: &[Possibility],
    number: impl Fn(&Possibility) -> f64,
    step: f64,
    ends: [f64; 3],
) -> [f64; 3] {
    let mut cells: Vec<(f64, f64)> = vec![];
    for p in all {
        let at = number(p);
        match cells.iter_mut().find(|(value, _)| *value == at) {
            Some((_, weight)) => *weight += p.weight,
            None => cells.push((at, p.weight)),
        }
    }
    cells.sort_by(|a, b| a.0.total_cmp(&b.0));
    ends.map(|end| {
        let mut below = 0.0;
        for (value, weight) in &cells {
            if below + weight >= end {
                return value - 0.5 * step + step * (end - below) / weight;
            }
            below += weight;
        }
        cells.last().map_or(0.0, |(value, _)| value + 0.5 * step)
    })
}

fn correlation(
    all: &[Possibility],
    a: impl Fn(&Possibility) -> f64,
    b: impl Fn(&Possibility) -> f64,
) -> f64 {
    let covariance = covariance(all, &a, &b);
    let spread = libm::sqrt(covariance_of(all, &a) * covariance_of(all, &b));
    if spread > 0.0 {
        covariance / spread
    } else {
        0.0
    }
}

fn covariance_of(all: &[Possibility], of: &impl Fn(&Possibility) -> f64) -> f64 {
    covariance(all, of, of)
}

/// Covariance of two numbers of the possibilities.
pub(super) fn covariance(
    all: &[Possibility],
    a: &impl Fn(&Possibility) -> f64,
    b: &impl Fn(&Possibility) -> f64,
) -> f64 {
    let mean =
        |of: &dyn Fn(&Possibility) -> f64| -> f64 { all.iter().map(|p| p.weight * of(p)).sum() };
    let (mean_a, mean_b) = (mean(a), mean(b));
    all.iter()
        .map(|p| p.weight * (a(p) - mean_a) * (b(p) - mean_b))
        .sum()
}

/// log10 sensitivity by wavelength: low, middle and high, each by itself.
fn band(
    all: &[Possibility],
    edges: &[f64],
    steepnesses: &[f64],
    ends: [f64; 3],
) -> Vec<(f64, [f64; 3])> {
    let mut films: Vec<f64> = vec![0.0; edges.len() * steepnesses.len()];
    for p in all {
        films[p.film] += p.weight;
    }
    (0..=32)
        .map(|step| 580.0 + 10.0 * f64::from(step))
        .map(|nm| {
            let mut values: Vec<(f64, f64)> = films
                .iter()
                .enumerate()
                .filter(|(_, weight)| **weight > 0.0)
                .map(|(film, weight)| {
                    let edge = edges[film / steepnesses.len()];
                    let steepness = steepnesses[film % steepnesses.len()];
                    (
                        libm::log10(film_class::sensitivity(nm, edge, steepness)),
                        *weight,
                    )
                })
                .collect();
            values.sort_by(|a, b| a.0.total_cmp(&b.0));
            (nm, ends.map(|end| weighted_quantile(&values, end)))
        })
        .collect()
}

/// The value at which the summed weights reach a share.
pub(super) fn weighted_quantile(sorted: &[(f64, f64)], share: f64) -> f64 {
    let mut below = 0.0;
    for (value, weight) in sorted {
        below += weight;
        if below >= share {
            return *value;
        }
    }
    sorted.last().map_or(0.0, |(value, _)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use record::Sky;

    /// The factor that this film would have, from the same model: what is tested
    /// here is the grid, not the model.
    fn data(edge_nm: f64, steepness: f64, half_peaks: &[f64]) -> Vec<TailData> {
        let films = Films::in_light(TailLight::under(Sky::ClearSun));
        let (edges, steepnesses) = (edges(), steepnesses());
        let edge = edges.iter().position(|e| *e == edge_nm).unwrap();
        let k = steepnesses
            .iter()
            .position(|k| (*k / steepness - 1.0).abs() < 0.06)
            .unwrap();
        let every = vec![true; edges.len() * steepnesses.len()];
        half_peaks
            .iter()
            .map(|half_peak_nm| TailData {
                half_peak_nm: *half_peak_nm,
                half_peak_sd_nm: 2.0,
                log_factor: films.behind(*half_peak_nm, 2.0, &every)[edge * steepnesses.len() + k]
                    .log_factor,
                log_factor_sd: 0.03,
                bound: None,
            })
            .collect()
    }

    fn estimate(data: &[TailData]) -> TailEstimate {
        tail_estimate(data, TailLight::under(Sky::ClearSun), 0.90)
    }

    #[test]
    fn more_filters_narrow_edge_and_steepness() {
        let filters = [665.0, 695.0, 715.0];
        let widths: Vec<(f64, f64)> = (1..=3)
            .map(|count| {
                let e = estimate(&data(700.0, 0.045, &filters[..count]));
                assert!(
                    e.edge.low.to_nm() < 700.0 && e.edge.high.to_nm() > 700.0,
                    "{:?}",
                    e.edge
                );
                assert!(
                    e.steepness.low < 0.045 && e.steepness.high > 0.045,
                    "{:?}",
                    e.steepness
                );
                (
                    e.edge.high.to_nm() - e.edge.low.to_nm(),
                    e.steepness.high / e.steepness.low,
                )
            })
            .collect();
        assert!(
            widths[1].0 < widths[0].0 && widths[2].0 < widths[1].0,
            "{widths:?}"
        );
        assert!(widths[2].1 < widths[0].1, "{widths:?}");
    }

    #[test]
    fn one_filter_gives_a_ridge() {
        // A filter well beyond the edge: a steeper film with a later edge gives the same factor.
        let e = estimate(&data(700.0, 0.045, &[745.0]));
        assert!(!e.told_apart);
        assert!(e.correlation > 0.6, "{}", e.correlation);
    }

    #[test]
    fn a_bound_moves_the_answer_to_its_side_only() {
        let mut bounded = data(656.0, 0.045, &[665.0, 720.0]);
        let open = estimate(&bounded[..1]);
        bounded[1].bound = Some(Bound::AtLeast);
        bounded[1].log_factor_sd = 0.1;
        let with = estimate(&bounded);
        // Films that fall slowly would have given less than the bound.
        assert!(
            with.steepness.low > open.steepness.low,
            "{:?} {:?}",
            with.steepness,
            open.steepness
        );
        // A bound far below what every film gives says nothing.
        bounded[1].log_factor = -3.0;
        let without = estimate(&bounded);
        assert!((without.edge.high.to_nm() - open.edge.high.to_nm()).abs() < 1.0);
    }

    #[test]
    fn the_points_of_the_common_unknowns_are_a_standard_normal() {
        for points in [&SEVEN[..], &THREE[..]] {
            let moment =
                |power: i32| -> f64 { points.iter().map(|(z, w)| w * z.powi(power)).sum() };
            // Moments of the standard normal: 1, 1, 3.
            for (power, wanted) in [(0, 1.0), (2, 1.0), (4, 3.0)] {
                assert!(
                    (moment(power) - wanted).abs() < 1e-9,
                    "{power}: {}",
                    moment(power)
                );
            }
        }
    }
}
