//! From the factors of a test to what they say about the films' red ends.
//!
//! A factor counts when it is of one filter whose edge is known, against frames
//! without a filter. Films are taken light by light.

use super::exposure_ratio;
use super::film_class;
use super::outlook::{NextFilter, Outlook};
use super::posterior::{TailData, tail_estimate};
use super::tail_light::TailLight;
use crate::compare::edge::{edge_half_peak_nm, edge_of};
use crate::finding::{FactorFinding, Findings};
use crate::normal::interval_half_width;
use quantity::{Bound, Interval, Nanometres};
use record::{EdgeLevel, Id, Sky, Test};

/// How well the edge of a single filter is known when its level is stated. \[nm\]
/// Common practice: samples of one marking differ by two to three nanometres.
const STATED_SD_NM: f64 = 3.0;

/// How far a bare number may be off besides its level. \[nm\]
/// Four measured long-pass camera filters of one public collection have half of
/// their peak 15 below to 8 nm above the number they are sold by.
const BARE_SD_NM: f64 = 8.0;

/// Softness of a bound. \[log10\]
const BOUND_SD: f64 = 0.1;

/// The red end of a film, learned in one light.
#[derive(Clone, Debug, PartialEq)]
pub struct TailFinding {
    /// The film.
    pub film: Id,
    /// The light.
    pub light: Id,
    /// Wavelength at which the sensitivity is half of what it is below.
    pub edge: Interval<Nanometres>,
    /// How steeply it falls beyond. \[log10 sensitivity per nm\]
    pub steepness: Interval<f64>,
    /// Correlation of the edge with the logarithm of the steepness.
    pub correlation: f64,
    /// Whether edge and steepness can be told apart: with one filter they can't.
    pub told_apart: bool,
    /// The factors it was learned from.
    pub readings: Vec<TailReading>,
    /// The band of log10 sensitivity: wavelength in nm, then low, middle and high.
    pub band: Vec<(f64, [f64; 3])>,
    /// What filters that were not used would give.
    pub outlooks: Vec<Outlook>,
    /// The filter that would tell most; `None` when no other would give a picture.
    pub next: Option<NextFilter>,
    /// What was assumed: name, and value with source.
    pub assumed: Vec<(String, String)>,
}

/// A factor that a red end was learned from.
#[derive(Clone, Debug, PartialEq)]
pub struct TailReading {
    /// The filter.
    pub filter: Id,
    /// Where it has half of its peak, and how well that is known. \[nm\]
    pub half_peak_nm: (f64, f64),
    /// Which side the factor is known from, when it is only a bound.
    pub bound: Option<Bound>,
}

/// What the factors of a test say about the red ends of its films.
///
/// One entry for each film and light with at least one factor behind a single
/// filter whose edge is known. Nothing here changes the findings.
#[must_use]
pub fn tails(findings: &Findings, test: &Test) -> Vec<TailFinding> {
    let mut groups: Vec<(Id, Id, Vec<Used>)> = vec![];
    for factor in &findings.factors {
        let Some(used) = reading(factor, test) else {
            continue;
        };
        match groups
            .iter_mut()
            .find(|(film, light, _)| *film == factor.film && *light == factor.light)
        {
            Some((_, _, list)) => list.push(used),
            None => groups.push((factor.film.clone(), factor.light.clone(), vec![used])),
        }
    }
    groups
        .into_iter()
        // Bounds alone are compatible with any film on one side: nothing is learned.
        .filter(|(_, _, list)| list.iter().any(|(_, data)| data.bound.is_none()))
        .map(|(film, light, list)| tail(film, light, list, findings.coverage, test))
        .collect()
}

/// A factor as it is told, and as it enters the estimate.
type Used = (TailReading, TailData);

fn tail(film: Id, light: Id, list: Vec<Used>, coverage: f64, test: &Test) -> TailFinding {
    let lights = &test.parts().lights;
    let sky = lights
        .iter()
        .find(|l| l.id == light)
        .map_or(Sky::NotStated, |l| l.sky);
    let model = TailLight::under(sky);
    let (readings, data): (Vec<_>, Vec<_>) = list.into_iter().unzip();
    let estimate = tail_estimate(&data, model, coverage);
    let used: Vec<f64> = data.iter().map(|d| d.half_peak_nm).collect();
    let mut assumed = film_class::in_words();
    assumed.push(("light".to_owned(), model.in_words()));
    assumed.extend(exposure_ratio::in_words());
    TailFinding {
        film,
        light,
        edge: estimate.edge,
        steepness: estimate.steepness,
        correlation: estimate.correlation,
        told_apart: estimate.told_apart && distinct(&used) > 1,
        readings,
        outlooks: estimate.outlooks(&used),
        next: estimate.next_filter(&used),
        band: estimate.band,
        assumed,
    }
}

/// Filters that are more than a few nanometres apart.
fn distinct(used_nm: &[f64]) -> usize {
    let mut sorted = used_nm.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup_by(|a, b| (*a - *b).abs() < STATED_SD_NM);
    sorted.len()
}

/// What a factor says, when it is of one filter with a known edge against no filter.
fn reading(factor: &FactorFinding, test: &Test) -> Option<Used> {
    let ([id], []) = (factor.filters.as_slice(), factor.against.as_slice()) else {
        return None;
    };
    let filter = test.parts().filters.iter().find(|f| f.id == *id)?;
    let edge = edge_of(filter)?;
    let (low, high) = edge_half_peak_nm(&edge);
    let bare = edge.level == EdgeLevel::NotStated;
    // A level that may lie anywhere between two places: uniform, (b − a)/√12.
    let level_sd = (high - low) / libm::sqrt(12.0);
    let own = if bare { BARE_SD_NM } else { STATED_SD_NM };
    let half_peak_sd_nm = libm::sqrt(level_sd * level_sd + own * own);
    let half_peak_nm = if bare {
        edge.wavelength.to_nm()
    } else {
        0.5 * (low + high)
    };
    let z = interval_half_width(factor.stops.coverage);
    let log = |stops: quantity::Stops| stops.to_delta_log_h();
    let (log_factor, log_factor_sd) = match factor.bound {
        None => (
            log(factor.stops.value),
            (log(factor.stops.high) - log(factor.stops.low)) / (2.0 * z),
        ),
        Some(Bound::AtLeast) => (log(factor.stops.low), BOUND_SD),
        Some(Bound::AtMost) => (log(factor.stops.high), BOUND_SD),
    };
    let data = TailData {
        half_peak_nm,
        half_peak_sd_nm,
        log_factor,
        log_factor_sd,
        bound: factor.bound,
    };
    let told = TailReading {
        filter: id.clone(),
        half_peak_nm: (half_peak_nm, half_peak_sd_nm),
        bound: factor.bound,
    };
    log_factor_sd.is_finite().then_some((told, data))
}
