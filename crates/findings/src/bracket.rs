//! A film's curve from its own bracket, where no tablet sheet was developed with it.
//!
//! The joint estimate fits the form of a film's curve to all frames at once. Here the same
//! readings give a curve without a form: each patch got the same light in every frame of a
//! bracket, so its values differ by the recorded ratios of exposure alone
//! (`sensitometry::bracket_curve`). Errors of marks, of single frames and of the
//! reciprocity law are carried to its uncertainty. Frames behind one filter are taken for
//! themselves, since a film may be softer or harder there.
//!
//! Begin with [`bracket_findings`].

use crate::assumptions::{Assumptions, Source};
use crate::estimate::Estimate;
use crate::finding::{BracketFinding, BracketSample, BracketTold, PlacedReading};
use crate::model::{Exposed, Term};
use crate::solve::Seen;
use quantity::Stops;
use record::{Id, Reading, Response, Test};
use sensitometry::{BracketCurve, BracketReading, ExposureError, bracket_curve_with_errors};
use std::collections::{BTreeMap, BTreeSet};

/// Fewest different exposures that make frames a bracket.
const FEWEST_EXPOSURES: usize = 3;
/// Exposures nearer than this count as one. \[log10\]
const SAME_EXPOSURE: f64 = 0.02;

/// What no bracket can tell, as sentences.
#[must_use]
pub fn bracket_cannot_tell(calibrated: bool, equal_step: Option<Stops>) -> Vec<String> {
    let mut unknown = vec![
        "The level: only differences of log H mean something, so no speed and no EI follows.".to_owned(),
        "An error that all ratios of exposure share, of a shutter or of reciprocity: it scales the contrast.".to_owned(),
    ];
    unknown.push(if calibrated {
        "Whether the densities are right: an error of the scanner's calibration is in the curve.".to_owned()
    } else {
        "What film and scanner each did: the values are of the two together until a step tablet tells them apart.".to_owned()
    });
    if let Some(step) = equal_step {
        unknown.push(format!(
            "A ripple that repeats every {:.2} stops: all frames lie whole steps of that apart. One frame at a third of a step more would show it.",
            step.to_stops()
        ));
    }
    unknown
}

/// One reading of a bracket with its recorded exposure.
struct Seat<'a> {
    term: &'a Term,
    reading: &'a Reading,
    log_exposure: f64,
}

/// Gives the curve of each bracket of a film that has no tablet sheet in its process.
pub(crate) fn bracket_findings(
    e: &Estimate,
    test: &Test,
    readings: &[Reading],
    assumptions: &Assumptions,
) -> Vec<BracketFinding> {
    let frames = &test.parts().frames;
    let mut found = vec![];
    for (i, curve) in e.model.curves.iter().enumerate() {
        let terms = || e.model.terms.iter().filter(|t| t.curve == i);
        let through_tablet =
            terms().any(|t| matches!(frames[t.frame].exposure, record::Exposure::Tablet { .. }));
        if through_tablet || curve.response == Response::LogSignal {
            continue;
        }
        let filters: BTreeSet<&[Id]> = terms().map(|t| &frames[t.frame].filters[..]).collect();
        for filters in filters {
            let of_bracket = |f: usize| frames[f].filters == filters;
            let seats = seats(e, i, of_bracket, (readings, assumptions.detection_density));
            if !is_bracket(e, &seats) {
                continue;
            }
            let names: BTreeSet<usize> = seats.iter().map(|s| s.term.frame).collect();
            found.push(BracketFinding {
                film: curve.film.clone(),
                process: curve.process.clone(),
                filters: filters.to_vec(),
                response: curve.response,
                frames: names.iter().map(|f| frames[*f].id.clone()).collect(),
                answer: told(e, &seats),
            });
        }
    }
    found
}

/// The readings of a curve that tell exposures: no limits, no base+fog, nothing that
/// cannot be told from it, and no frame whose record the rest contradicts.
fn seats<'a>(
    e: &'a Estimate,
    curve: usize,
    of_bracket: impl Fn(usize) -> bool,
    (readings, detection): (&'a [Reading], f64),
) -> Vec<Seat<'a>> {
    e.model
        .terms
        .iter()
        .zip(&e.model.observations)
        .filter(|(t, o)| {
            t.curve == curve
                && of_bracket(t.frame)
                && !e.outliers.contains(&t.frame)
                && matches!(o.seen, Seen::Value(_))
        })
        .filter_map(|(term, _)| {
            let exposed = term.exposed.as_ref()?;
            let reading = readings.get(term.reading)?;
            // Relative densities count from clear film, so the same limit holds for them.
            let told =
                reading.response != Response::RelativeDensity || reading.value.value() >= detection;
            told.then(|| Seat {
                term,
                reading,
                log_exposure: recorded(e, exposed),
            })
        })
        .collect()
}

/// Whether a parameter is an error of exposure, as against the light of a subject.
fn is_error(e: &Estimate, parameter: usize) -> bool {
    matches!(
        e.model.priors[parameter].source,
        Source::MarkedTime
            | Source::MeasuredTime
            | Source::Aperture
            | Source::Frame
            | Source::Reciprocity
            | Source::UnstatedReciprocity
    )
}

/// The exposure as recorded; what a law that isn't stated is believed to take is taken.
fn recorded(e: &Estimate, exposed: &Exposed) -> f64 {
    let believed = exposed
        .linear
        .iter()
        .filter(|(i, _)| is_error(e, *i))
        .map(|(i, times)| times * e.model.priors[*i].mean);
    exposed.offset + believed.sum::<f64>()
}

/// What gives a reading its light beside the recorded exposure: readings with the same
/// are one patch.
fn light_of(e: &Estimate, exposed: &Exposed) -> Vec<usize> {
    let mut light: Vec<usize> = exposed
        .linear
        .iter()
        .map(|(i, _)| *i)
        .filter(|i| !is_error(e, *i))
        .collect();
    light.sort_unstable();
    light
}

fn patch_numbers(e: &Estimate, seats: &[Seat<'_>]) -> Vec<usize> {
    let mut numbers: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
    seats
        .iter()
        .map(|seat| {
            let light = seat
                .term
                .exposed
                .as_ref()
                .map_or_else(Vec::new, |x| light_of(e, x));
            let next = numbers.len();
            *numbers.entry(light).or_insert(next)
        })
        .collect()
}

/// Whether one patch was exposed often enough to speak of a bracket.
fn is_bracket(e: &Estimate, seats: &[Seat<'_>]) -> bool {
    let mut of_patch: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (number, seat) in patch_numbers(e, seats).into_iter().zip(seats) {
        of_patch.entry(number).or_default().push(seat.log_exposure);
    }
    of_patch.into_values().any(|mut exposures| {
        exposures.sort_by(f64::total_cmp);
        exposures.dedup_by(|a, b| (*a - *b).abs() < SAME_EXPOSURE);
        exposures.len() >= FEWEST_EXPOSURES
    })
}

/// The errors that the readings share.
fn errors(e: &Estimate, seats: &[Seat<'_>]) -> Vec<ExposureError> {
    let mut moves: BTreeMap<usize, Vec<(usize, f64)>> = BTreeMap::new();
    for (row, seat) in seats.iter().enumerate() {
        let linear = seat.term.exposed.iter().flat_map(|x| &x.linear);
        for (parameter, times) in linear.filter(|(i, _)| is_error(e, *i)) {
            moves.entry(*parameter).or_default().push((row, *times));
        }
    }
    moves
        .into_iter()
        .map(|(parameter, moves)| ExposureError {
            sd: e.model.priors[parameter].sd,
            moves,
        })
        .collect()
}

fn told(e: &Estimate, seats: &[Seat<'_>]) -> Result<BracketTold, String> {
    let patches = patch_numbers(e, seats);
    let rows: Vec<BracketReading> = seats
        .iter()
        .zip(&patches)
        .map(|(seat, patch)| BracketReading {
            patch: *patch,
            log_exposure: seat.log_exposure,
            value: seat.reading.value.value(),
        })
        .collect();
    let curve = bracket_curve_with_errors(&rows, &errors(e, seats)).map_err(|e| e.to_string())?;
    let equal_step = curve
        .equal_step
        .and_then(|s| Stops::from_delta_log_h(s).ok());
    let calibrated = seats
        .iter()
        .all(|s| s.reading.response == Response::Density);
    Ok(BracketTold {
        samples: curve
            .points
            .iter()
            .map(|p| BracketSample {
                value: p.value,
                log_h: p.log_h,
                log_h_sd: p.log_h_sd,
            })
            .collect(),
        readings: placed(&curve, &rows, seats),
        anchor: curve.anchor,
        reading_sd: curve.value_sd,
        used: curve.used,
        left_out: curve.left_out,
        cannot_tell: bracket_cannot_tell(calibrated, equal_step),
    })
}

/// Each reading where its recorded exposure puts it, once the light of its patch is known:
/// that which brings the patch's readings nearest to the curve.
fn placed(curve: &BracketCurve, rows: &[BracketReading], seats: &[Seat<'_>]) -> Vec<PlacedReading> {
    let mut light: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for row in rows {
        if let Some((log_h, slope)) = at(curve, row.value) {
            let sum = light.entry(row.patch).or_default();
            // A value on a flat part tells little of its exposure.
            let weight = 1.0 / (slope * slope);
            sum.0 += weight * (log_h - row.log_exposure);
            sum.1 += weight;
        }
    }
    rows.iter()
        .zip(seats)
        .filter_map(|(row, seat)| {
            let (sum, weight) = light.get(&row.patch)?;
            Some(PlacedReading {
                frame: seat.reading.frame.clone(),
                patch: seat.reading.patch.clone(),
                log_h: row.log_exposure + sum / weight,
                value: seat.reading.value.clone(),
            })
        })
        .collect()
}

/// log H of a value on the curve, and how fast it changes with the value there.
fn at(curve: &BracketCurve, value: f64) -> Option<(f64, f64)> {
    curve
        .points
        .windows(2)
        .find(|w| value >= w[0].value.min(w[1].value) && value <= w[0].value.max(w[1].value))
        .map(|w| {
            let slope = (w[1].log_h - w[0].log_h) / (w[1].value - w[0].value);
            (w[0].log_h + slope * (value - w[0].value), slope)
        })
}
