//! Fits the joint model: starts, pivots, spread between patches.
//!
//! The posterior of a film curve has more than one hill (a toe can be taken
//! for a shoulder), so the fit starts from several places of the curve along
//! the exposure axis and keeps the best.

use crate::assumptions::{ASSUMED_FRAMES, Assumptions, OUTLIER_SD, Source};
use crate::model::{Curve, CurveForm, FactorKey, JointModel, Key};
use crate::solve::{Covariance, Fit, Seen, approach, fit};
use core::f64::consts::LOG10_2;
use std::collections::{BTreeMap, BTreeSet};

/// Number of readings from which one start is enough.
const MANY_READINGS: usize = 2000;

/// A fitted model.
#[derive(Debug)]
pub(crate) struct Estimate {
    pub(crate) model: JointModel,
    pub(crate) fit: Fit,
    pub(crate) covariance: Covariance,
    /// Spread of the factor between matched patches, log10, where three or
    /// more patches told it.
    pub(crate) spread: BTreeMap<FactorKey, f64>,
    /// Frames whose exposure is further off than the rest allow.
    pub(crate) outliers: Vec<usize>,
    /// Frames whose contrast is further off than the rest allow.
    pub(crate) developed_apart: Vec<usize>,
}

/// Fits a model from several places along the exposure axis.
fn settle_from_starts(
    model: &mut JointModel,
    stated: &[f64],
    assumptions: &Assumptions,
    spread: &mut BTreeMap<FactorKey, f64>,
) -> Result<Fit, EstimateError> {
    // Huber's rule has hills of its own far from the answer, where every reading
    // is an outlier: the starts are first followed without it.
    let robust = model.outlier_beyond;
    let mut best: Option<Fit> = None;
    for shift in [0.0, -0.6, 0.6, -1.2, 1.2, -2.0, 2.0] {
        let start = start(model, shift);
        model.set_smears(&start, false);
        model.outlier_beyond = f64::INFINITY;
        let plain = approach(model, &start, 40);
        model.outlier_beyond = robust;
        let tried = approach(model, &plain.parameters, 25);
        if tried.cost.is_finite() && best.as_ref().is_none_or(|b| tried.cost < b.cost) {
            best = Some(tried);
        }
        // Many frames leave no second hill.
        if model.terms.len() > MANY_READINGS / 2 {
            break;
        }
    }
    let mut best = best.ok_or(EstimateError::NoFit)?;
    set_pivots(model, &best.parameters, assumptions);
    best = approach(model, &best.parameters, 60);
    settle(model, &mut best, stated, assumptions, spread, 30)?;
    Ok(best)
}

/// Goes to and fro between the fit and the size of its errors until both rest.
fn settle(
    model: &mut JointModel,
    best: &mut Fit,
    stated: &[f64],
    assumptions: &Assumptions,
    spread: &mut BTreeMap<FactorKey, f64>,
    rounds: usize,
) -> Result<(), EstimateError> {
    for _ in 0..rounds {
        let Some(covariance) = Covariance::at(&*model, &best.parameters) else {
            return Err(EstimateError::NoFit);
        };
        let learned = learn_spread(model, &best.parameters, &covariance, spread);
        let learned = learned.max(learn_errors(model, stated, &best.parameters, &covariance));
        let smeared = model.set_smears(&best.parameters, true);
        set_pivots(model, &best.parameters, assumptions);
        // A few steps are enough between two looks at the errors.
        *best = approach(&*model, &best.parameters, 4);
        // A fiftieth of a spread; less than a thousandth of a stop.
        if learned < 0.02 && smeared < 2e-4 {
            break;
        }
    }
    Ok(())
}

/// Picks frames of every film, process, filter and light, and of each a few dozen.
fn some_of_each_kind(model: &JointModel) -> BTreeSet<usize> {
    const OF_EACH: usize = 40;
    let mut kept = BTreeSet::new();
    let mut count: BTreeMap<(usize, Vec<usize>), BTreeSet<usize>> = BTreeMap::new();
    for term in &model.terms {
        // What a frame shares with others beside its marks and subjects.
        let kind: Vec<usize> = term.exposed.as_ref().map_or(vec![], |x| {
            x.linear
                .iter()
                .map(|(i, _)| *i)
                .filter(|&i| matches!(model.keys[i], Key::Factor(_) | Key::Light(_)))
                .collect()
        });
        let frames = count.entry((term.curve, kind)).or_default();
        if frames.len() < OF_EACH || frames.contains(&term.frame) {
            frames.insert(term.frame);
            kept.insert(term.frame);
        }
    }
    kept
}

/// Starts the errors of frames that took no part so far where their readings,
/// read back through the curve, put them.
fn start_own(model: &JointModel, p: &mut [f64]) {
    let mut off: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (t, o) in model.terms.iter().zip(&model.observations) {
        let (Some(exposed), Seen::Value(y)) = (&t.exposed, o.seen) else {
            continue;
        };
        let own = exposed
            .linear
            .iter()
            .find(|(i, _)| matches!(model.keys[*i], Key::Frame(_)));
        if let Some(&(i, _)) = own
            && p[i] == model.priors[i].mean
            && let Some(x) = model.curves[t.curve].x_at(p, y)
        {
            off.entry(i).or_default().push(x - exposed.x(p));
        }
    }
    for (i, mut values) in off {
        if let Some(middle) = median(&mut values) {
            // A slip is not taken for a start.
            p[i] = middle.clamp(-3.0 * model.priors[i].sd, 3.0 * model.priors[i].sd);
        }
    }
}

/// Why the model could not be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EstimateError {
    /// Nothing was measured.
    #[error("no reading of any frame can be used, so nothing can be estimated")]
    NoReadings,
    /// The normal equations are singular or overflow.
    #[error("the readings contradict each other so much that no curve can be fitted")]
    NoFit,
}

/// Fits the model from several starts.
pub(crate) fn estimate(
    mut model: JointModel,
    assumptions: &Assumptions,
) -> Result<Estimate, EstimateError> {
    if model.terms.is_empty() {
        return Err(EstimateError::NoReadings);
    }
    set_references(&mut model);
    let stated: Vec<f64> = model.priors.iter().map(|prior| prior.sd).collect();
    let mut spread = BTreeMap::new();
    let mut best = if model.terms.len() > MANY_READINGS {
        // A part of the frames tells where the answer lies and how large the errors
        // are; all of them then need only a few steps.
        let kept = some_of_each_kind(&model);
        let mut part = model.part(|frame| kept.contains(&frame));
        let near = settle_from_starts(&mut part, &stated, assumptions, &mut spread)?;
        for (prior, learned) in model.priors.iter_mut().zip(&part.priors) {
            prior.sd = learned.sd;
        }
        for (curve, near) in model.curves.iter_mut().zip(&part.curves) {
            curve.pivot = near.pivot;
        }
        let mut start = near.parameters;
        start_own(&model, &mut start);
        model.set_smears(&start, false);
        let mut best = approach(&model, &start, 6);
        settle(&mut model, &mut best, &stated, assumptions, &mut spread, 6)?;
        best
    } else {
        settle_from_starts(&mut model, &stated, assumptions, &mut spread)?
    };
    let (mut outliers, mut developed_apart) = (vec![], vec![]);
    // At most a third of the frames can be called off by the rest.
    let most = (model.recorded.iter().flatten().count() / 3).clamp(1, 20);
    for _ in 0..most {
        match let_go_of_the_worst(&mut model, &best.parameters, assumptions) {
            None => break,
            Some(Apart::Exposed(frame)) => outliers.push(frame),
            Some(Apart::Developed(frame)) => developed_apart.push(frame),
        }
        best = approach(&model, &best.parameters, 60);
        model.set_smears(&best.parameters, true);
    }
    best = fit(&model, &best.parameters, None, 60);
    if best.parameters.iter().any(|p| !p.is_finite()) {
        return Err(EstimateError::NoFit);
    }
    let covariance = Covariance::at(&model, &best.parameters).ok_or(EstimateError::NoFit)?;
    Ok(Estimate {
        model,
        fit: best,
        covariance,
        spread,
        outliers,
        developed_apart,
    })
}

/// A frame that is further off than the rest allow.
enum Apart {
    /// In its exposure.
    Exposed(usize),
    /// In its contrast.
    Developed(usize),
}

/// Finds the frame whose exposure is further off than shutter, aperture and
/// light together allow, or whose contrast is further off than one process
/// gives, and lets it be as far off as it shows, so that it no longer pulls at
/// the others.
///
/// One at a time, the worst first: it may have pushed others out.
fn let_go_of_the_worst(
    model: &mut JointModel,
    p: &[f64],
    assumptions: &Assumptions,
) -> Option<Apart> {
    let covariance = Covariance::at(model, p)?;
    let mut worst: Option<(f64, Apart, usize, f64)> = None;
    let mut looked_at = None;
    for term in &model.terms {
        let Some(exposed) = &term.exposed else {
            continue;
        };
        let mut own = None;
        let (mut error, mut variance) = (0.0, 0.0);
        let mut parts = vec![];
        for &(i, c) in &exposed.linear {
            match &model.keys[i] {
                Key::Frame(_) => own = Some(i),
                Key::Shutter(..) | Key::Aperture(..) => {}
                _ => continue,
            }
            error += c * p[i];
            variance += (c * model.priors[i].sd).powi(2);
            parts.push((i, c));
        }
        if let Some(own) = own
            && looked_at != Some(own)
        {
            looked_at = Some(own);
            // The fit shows only part of an error, the rest went into the factor:
            // what it shows has the variance assumed less the variance left over.
            // Worth working out only where the error is large at all.
            let plainly = error.abs() / libm::sqrt(variance);
            let far = if plainly > 0.5 * OUTLIER_SD {
                let shown = variance - covariance.variance(&parts);
                error.abs() / libm::sqrt(shown.max(0.25 * variance))
            } else {
                plainly
            };
            if far > OUTLIER_SD && worst.as_ref().is_none_or(|(w, ..)| far > *w) {
                let least = assumptions.frame_stops * LOG10_2;
                worst = Some((far, Apart::Exposed(term.frame), own, error.abs().max(least)));
            }
        }
        for &i in &exposed.stretch {
            if !matches!(&model.keys[i], Key::Development(_)) {
                continue;
            }
            // A contrast must be off by more than a tester would call the same.
            let far = p[i].abs() / model.priors[i].sd.max(assumptions.development_share);
            if far > OUTLIER_SD && worst.as_ref().is_none_or(|(w, ..)| far > *w) {
                worst = Some((far, Apart::Developed(term.frame), i, p[i].abs()));
            }
        }
    }
    let (_, apart, own, sd) = worst?;
    model.priors[own].sd = sd;
    Some(apart)
}

/// Centres straight curves on their readings, which keeps place and gradient apart.
fn set_references(model: &mut JointModel) {
    for c in 0..model.curves.len() {
        if model.curves[c].form == CurveForm::Straight {
            let values: Vec<f64> = values_on(model, c).collect();
            if !values.is_empty() {
                model.curves[c].reference = values.iter().sum::<f64>() / values.len() as f64;
            }
        }
    }
}

fn values_on(model: &JointModel, curve: usize) -> impl Iterator<Item = f64> + '_ {
    model
        .terms
        .iter()
        .zip(&model.observations)
        .filter(move |(t, _)| t.curve == curve && t.exposed.is_some())
        .filter_map(|(_, o)| match o.seen {
            Seen::Value(y) => Some(y),
            _ => None,
        })
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    (!values.is_empty()).then(|| values[values.len() / 2])
}

/// Gives a start with each curve moved by `shift` along the exposure axis.
fn start(model: &mut JointModel, shift: f64) -> Vec<f64> {
    let mut p: Vec<f64> = model.priors.iter().map(|prior| prior.mean).collect();
    for c in 0..model.curves.len() {
        let curve = model.curves[c].clone();
        let first = curve.first;
        let factor_free = |t: &crate::model::Term| {
            t.curve == c
                && t.exposed.as_ref().is_some_and(|e| {
                    !e.linear
                        .iter()
                        .any(|(i, _)| matches!(model.keys[*i], Key::Factor(_)))
                })
        };
        // Offsets of frames without an unknown factor, with the values read there.
        let known: Vec<(f64, f64)> = model
            .terms
            .iter()
            .zip(&model.observations)
            .filter(|(t, _)| factor_free(t))
            .filter_map(|(t, o)| match (o.seen, &t.exposed) {
                (Seen::Value(y), Some(e)) => Some((e.x(&p), y)),
                _ => None,
            })
            .collect();
        let mut all: Vec<f64> = values_on(model, c).collect();
        all.sort_by(f64::total_cmp);
        match curve.form {
            CurveForm::Film => {
                let bases: Vec<f64> = model
                    .terms
                    .iter()
                    .zip(&model.observations)
                    .filter(|(t, _)| t.curve == c && t.exposed.is_none())
                    .filter_map(|(_, o)| match o.seen {
                        Seen::Value(y) => Some(y),
                        _ => None,
                    })
                    .collect();
                let lowest = all.first().copied().unwrap_or(0.2);
                let base = if bases.is_empty() {
                    lowest - 0.03
                } else {
                    bases.iter().sum::<f64>() / bases.len() as f64
                };
                p[first] = base;
                let range = all.last().copied().unwrap_or(1.0) - base;
                if curve.response != record::Response::Density && known.len() > 2 {
                    let (lo, hi) = known.iter().fold((f64::MAX, f64::MIN), |(lo, hi), (x, _)| {
                        (lo.min(*x), hi.max(*x))
                    });
                    p[first + 1] = libm::log((range / (hi - lo).max(0.3)).max(0.05));
                }
                if curve.absolute {
                    p[first + 2] += shift * 0.5;
                } else if let Some(x) = median_place(&curve, &p, &known, base) {
                    p[first + 2] = x + shift * 0.5;
                }
            }
            CurveForm::Straight => {
                let mut places: Vec<f64> = known
                    .iter()
                    .map(|(x, y)| x - (y - curve.reference))
                    .collect();
                p[first] = median(&mut places).unwrap_or(0.0);
            }
        }
    }
    start_factors(model, &mut p);
    p
}

/// Where the toe must lie for a curve of the class to pass through the median
/// of the known readings.
fn median_place(curve: &Curve, p: &[f64], known: &[(f64, f64)], base: f64) -> Option<f64> {
    let mut p = p.to_vec();
    p[curve.first] = base;
    p[curve.first + 2] = 0.0;
    let mut places: Vec<f64> = known
        .iter()
        .filter_map(|(x, y)| curve.x_at(&p, y.max(base + 0.02)).map(|at| x - at))
        .collect();
    median(&mut places)
}

/// Starts each factor where the curve, read backwards, puts it.
fn start_factors(model: &JointModel, p: &mut [f64]) {
    for (i, key) in model.keys.iter().enumerate() {
        if !matches!(key, Key::Factor(_)) {
            continue;
        }
        let mut values = vec![];
        let mut limits: Vec<f64> = vec![];
        p[i] = 0.0;
        for (t, o) in model.terms.iter().zip(&model.observations) {
            let Some(exposed) = &t.exposed else { continue };
            if !exposed.linear.iter().any(|(k, _)| *k == i) {
                continue;
            }
            let curve = &model.curves[t.curve];
            let bare = exposed.x(p);
            match o.seen {
                Seen::Value(y) => {
                    let y = curve.base(p).map_or(y, |b| y.max(b + 0.02));
                    if let Some(x) = curve.x_at(p, y) {
                        values.push(bare - x);
                    }
                }
                Seen::AtMost(y) => {
                    if let Some(x) = curve.x_at(p, y) {
                        limits.push(bare - x + 0.3);
                    }
                }
                Seen::AtLeast(y) => {
                    if let Some(x) = curve.x_at(p, y) {
                        limits.push(bare - x - 0.3);
                    }
                }
            }
        }
        p[i] = median(&mut values)
            .or_else(|| limits.iter().copied().reduce(f64::max))
            .unwrap_or(1.0);
    }
}

/// Puts each curve's pivot where its net density is the matching density, or
/// in the middle of its readings when it doesn't get there.
pub(crate) fn set_pivots(model: &mut JointModel, p: &[f64], assumptions: &Assumptions) {
    for c in 0..model.curves.len() {
        let curve = &model.curves[c];
        let mut all: Vec<f64> = values_on(model, c).collect();
        let middle = median(&mut all);
        let wanted = match (curve.base(p), curve.response) {
            (Some(base), record::Response::Density) => {
                let top = all.last().copied().unwrap_or(base);
                let half = base + 0.5 * (top - base);
                Some((base + assumptions.matching_density).min(half.max(base + 0.10)))
            }
            _ => middle,
        };
        if let Some(x) = wanted.and_then(|value| curve.x_at(p, value)) {
            model.curves[c].pivot = x;
        }
    }
}

/// Learns how large the frames' own errors are, where a test has frames enough;
/// gives the largest relative change.
///
/// Error sizes must not be taken as exactly known: many frames would then fix
/// the curve's gradient by the ratio of their scatter in density to the assumed
/// scatter in exposure. Expectation-maximisation step for a variance, with the
/// assumed one counted as [`ASSUMED_FRAMES`] frames.
fn learn_errors(model: &mut JointModel, stated: &[f64], p: &[f64], covariance: &Covariance) -> f64 {
    let mut taking_part = vec![false; model.keys.len()];
    for term in &model.terms {
        if let Some(i) = term.base {
            taking_part[i] = true;
        }
        if let Some(exposed) = &term.exposed {
            for &(i, _) in &exposed.linear {
                taking_part[i] = true;
            }
            for &i in &exposed.stretch {
                taking_part[i] = true;
            }
        }
    }
    let mut changed: f64 = 0.0;
    for source in [Source::Frame, Source::Development, Source::Base] {
        let members: Vec<usize> = (0..model.keys.len())
            .filter(|&i| model.priors[i].source == source && taking_part[i])
            .collect();
        if members.is_empty() {
            continue;
        }
        // A wild frame counts as far as the outlier rule lets it pull.
        let most = model.outlier_beyond.powi(2);
        let sum: f64 = members
            .iter()
            .map(|&i| {
                let square = p[i] * p[i] + covariance.variance(&[(i, 1.0)]);
                (square / (stated[i] * stated[i])).min(most)
            })
            .sum();
        let count = members.len() as f64;
        let ratio = libm::sqrt((ASSUMED_FRAMES + sum) / (ASSUMED_FRAMES + count));
        for (prior, stated) in model.priors.iter_mut().zip(stated) {
            if prior.source != source {
                continue;
            }
            // The rule creeps towards errors that aren't there: a step and a half.
            let sd = prior.sd * libm::pow(stated * ratio / prior.sd, 1.5);
            changed = changed.max((sd / prior.sd - 1.0).abs());
            prior.sd = sd;
        }
    }
    changed
}

/// Learns how much the factor differs between matched patches, where there are
/// three or more; gives the largest relative change.
///
/// One step of the expectation-maximisation rule for a variance: the mean of
/// squared departures plus their own variances.
fn learn_spread(
    model: &mut JointModel,
    p: &[f64],
    covariance: &Covariance,
    spread: &mut BTreeMap<FactorKey, f64>,
) -> f64 {
    let mut groups: BTreeMap<FactorKey, Vec<usize>> = BTreeMap::new();
    for (i, key) in model.keys.iter().enumerate() {
        if let Key::Departure(_, factor) = key
            && model.priors[i].source == Source::NeutralPatch
        {
            groups.entry(factor.clone()).or_default().push(i);
        }
    }
    let mut changed: f64 = 0.0;
    for (factor, members) in groups {
        if members.len() < 3 {
            continue;
        }
        // The first look uses a wide prior, so that a small start can't hide a spread.
        let squares: f64 = members
            .iter()
            .map(|&i| p[i] * p[i] + covariance.variance(&[(i, 1.0)]))
            .sum();
        // A fiftieth of a stop: below that no densitometer tells patches apart.
        let sd = libm::sqrt(squares / members.len() as f64).max(0.02 * LOG10_2);
        for &i in &members {
            changed = changed.max((sd / model.priors[i].sd - 1.0).abs());
            model.priors[i].sd = sd;
        }
        spread.insert(factor, sd);
    }
    changed
}
