//! What another filter would give, and which one to try next.

use super::film_class::{edges, steepnesses};
use super::posterior::{Possibility, TailEstimate, covariance, log_factor};
use quantity::{FilterFactor, Interval};
use std::collections::BTreeMap;

/// A filter that was not used, and the factor to be expected behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// Where it would have half of its peak. \[nm\]
    pub half_peak_nm: f64,
    /// The factor a test would find, with its interval.
    pub factor: Interval<FilterFactor>,
}

/// The filter that would tell most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextFilter {
    /// Where it would have half of its peak. \[nm\]
    pub half_peak_nm: f64,
    /// The factor to be expected.
    pub factor: Interval<FilterFactor>,
    /// Half-width of the edge's interval now and then. \[nm\]
    pub edge_half_width_nm: (f64, f64),
    /// By what the steepness may be multiplied or divided, now and then.
    pub steepness_times_or_over: (f64, f64),
}

/// Filters that could be had, about as far apart as they are sold. \[nm\]
const FILTERS_NM: [f64; 11] = [
    610.0, 630.0, 650.0, 665.0, 680.0, 695.0, 715.0, 740.0, 760.0, 780.0, 830.0,
];

/// How well the edge of a filter yet to be bought is known. \[nm\]
const EDGE_SD_NM: f64 = 3.0;

/// How well a test finds a factor: a third of a stop. \[log10\]
const FOUND_SD: f64 = 0.06;

/// Beyond this a picture is hardly made, and the factor would be a bound: 10 stops. \[log10\]
const MOST_LOG_FACTOR: f64 = 3.01;

/// Filters nearer than this to one in use tell little that is new. \[nm\]
const SAME_FILTER_NM: f64 = 8.0;

impl TailEstimate {
    /// The factor behind a filter with half of its peak here, by 90 % or what the
    /// estimate was asked for.
    ///
    /// The interval holds what is not known of the film, of the light, and of the
    /// filter itself, but no error of a new reading.
    #[must_use]
    pub fn outlook(&self, half_peak_nm: f64, half_peak_sd_nm: f64) -> Outlook {
        let ratios = self
            .films
            .behind(half_peak_nm, half_peak_sd_nm, &self.likely);
        let parts = gathered(self.possibilities.iter().map(|p| {
            let ratio = &ratios[p.film];
            (
                log_factor(ratio, p.level, p.tilt),
                ratio.own_variance,
                p.weight,
            )
        }));
        let tail = 0.5 - 0.5 * self.coverage;
        let [low, value, high] = [tail, 0.5, 1.0 - tail].map(|end| mixture_quantile(&parts, end));
        let factor = Interval {
            value: ratio_of(value),
            low: ratio_of(low),
            high: ratio_of(high),
            coverage: self.coverage,
        };
        Outlook {
            half_peak_nm,
            factor,
        }
    }

    /// What each of the filters that could be had would give. Left out are those
    /// used, and those behind which no picture is expected: past 10 stops a
    /// filter's leaks count as much as its edge.
    #[must_use]
    pub fn outlooks(&self, used_nm: &[f64]) -> Vec<Outlook> {
        self.candidates(used_nm)
            .map(|nm| self.outlook(nm, EDGE_SD_NM))
            .filter(|outlook| makes_a_picture(&outlook.factor))
            .collect()
    }

    fn candidates(&self, used_nm: &[f64]) -> impl Iterator<Item = f64> {
        FILTERS_NM.into_iter().filter(move |nm| {
            used_nm
                .iter()
                .all(|used| (used - nm).abs() >= SAME_FILTER_NM)
        })
    }

    /// The filter from which the largest reduction of both variances is expected;
    /// `None` when every other filter would give no picture.
    ///
    /// Reductions are those of jointly normal numbers: ρ² of the variance, with ρ
    /// the correlation of edge (or log steepness) with the factor as it would be
    /// found.
    #[must_use]
    pub fn next_filter(&self, used_nm: &[f64]) -> Option<NextFilter> {
        let (edges, steepnesses) = (edges(), steepnesses());
        let edge = |p: &Possibility| edges[p.film / steepnesses.len()];
        let steepness = |p: &Possibility| libm::log(steepnesses[p.film % steepnesses.len()]);
        let all = &self.possibilities;
        let (edge_variance, steepness_variance) = (
            covariance(all, &edge, &edge),
            covariance(all, &steepness, &steepness),
        );
        let mut best: Option<(f64, NextFilter)> = None;
        for half_peak_nm in self.candidates(used_nm) {
            let outlook = self.outlook(half_peak_nm, EDGE_SD_NM);
            if !makes_a_picture(&outlook.factor) {
                continue;
            }
            let ratios = self.films.behind(half_peak_nm, EDGE_SD_NM, &self.likely);
            let found = |p: &Possibility| log_factor(&ratios[p.film], p.level, p.tilt);
            let own: f64 = all
                .iter()
                .map(|p| p.weight * ratios[p.film].own_variance)
                .sum();
            let variance = covariance(all, &found, &found) + own + FOUND_SD * FOUND_SD;
            let share = |covariance: f64, of: f64| {
                if of > 0.0 {
                    covariance * covariance / (of * variance)
                } else {
                    0.0
                }
            };
            let of_edge = share(covariance(all, &edge, &found), edge_variance);
            let of_steepness = share(covariance(all, &steepness, &found), steepness_variance);
            let reduction = of_edge + of_steepness;
            if best.is_none_or(|(most, _)| reduction > most) {
                let half = 0.5 * (self.edge.high.to_nm() - self.edge.low.to_nm());
                let span = 0.5 * libm::log(self.steepness.high / self.steepness.low);
                let left = |share: f64| libm::sqrt((1.0 - share).max(0.0));
                best = Some((
                    reduction,
                    NextFilter {
                        half_peak_nm,
                        factor: outlook.factor,
                        edge_half_width_nm: (half, half * left(of_edge)),
                        steepness_times_or_over: (
                            libm::exp(span),
                            libm::exp(span * left(of_steepness)),
                        ),
                    },
                ));
            }
        }
        best.map(|(_, next)| next)
    }
}

fn makes_a_picture(factor: &Interval<FilterFactor>) -> bool {
    libm::log10(factor.value.to_ratio()) <= MOST_LOG_FACTOR
}

/// Width of the bins that possibilities are gathered in: far below any sd. \[log10\]
const BIN: f64 = 0.004;

/// Normals (mean, variance, weight) of nearly one mean taken together, as
/// (mean, sd, weight) with means rising.
fn gathered(all: impl Iterator<Item = (f64, f64, f64)>) -> Vec<(f64, f64, f64)> {
    let mut bins: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (mean, variance, weight) in all {
        // Factors are within a few hundred decades, so the cast is exact.
        let (total, spread) = bins.entry(libm::floor(mean / BIN) as i64).or_default();
        *total += weight;
        *spread += weight * variance;
    }
    bins.into_iter()
        .map(|(bin, (weight, spread))| {
            (
                (bin as f64 + 0.5) * BIN,
                libm::sqrt(spread / weight),
                weight,
            )
        })
        .collect()
}

/// The quantile of a mixture of normals (mean, sd, weight), means rising.
fn mixture_quantile(parts: &[(f64, f64, f64)], share: f64) -> f64 {
    let widest = parts.iter().map(|part| part.1).fold(0.0, f64::max);
    let (Some(first), Some(last)) = (parts.first(), parts.last()) else {
        return 0.0;
    };
    let (mut low, mut high) = (first.0 - 8.0 * widest, last.0 + 8.0 * widest);
    // 30 halvings of some 10 in log10 leave 1e-8.
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        let below: f64 = parts
            .iter()
            .map(|(mean, sd, weight)| {
                weight * 0.5 * libm::erfc((mean - middle) / (sd * core::f64::consts::SQRT_2))
            })
            .sum();
        if below < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

fn ratio_of(log10: f64) -> FilterFactor {
    match FilterFactor::from_ratio(libm::exp10(log10.clamp(-300.0, 300.0))) {
        Ok(factor) => factor,
        Err(_) => unreachable!("a power of ten within range is positive"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_a_mixture_agree_with_one_normal_and_with_two_far_apart() {
        // Source: normal table, 0.95 at 1.644854.
        let one = [(1.0, 2.0, 1.0)];
        assert!((mixture_quantile(&one, 0.95) - (1.0 + 2.0 * 1.644_854)).abs() < 1e-5);
        // Half of the weight at each: the quartile of all is the median of the first.
        let two = [(0.0, 0.1, 0.5), (5.0, 0.1, 0.5)];
        assert!(mixture_quantile(&two, 0.25).abs() < 1e-5);
    }
}
