//! Factors, EI and the Wood effect, with intervals, from a fitted model.
//!
//! Intervals of the factor follow the profile of the posterior, so they are as
//! lopsided as the data; those of EI and the Wood effect use the covariance at
//! the optimum. A side on which the profile never falls far enough is open,
//! and the answer is then a bound.

use crate::assumptions::{Assumptions, Source};
use crate::estimate::Estimate;
use crate::factor_ends::{Ends, REACH, ends};
use crate::finding::{FactorFinding, Share, SpeedFinding, WoodFinding};
use crate::model::{FactorKey, JointModel, Key};
use crate::normal::quantile;
use crate::solve::{End, Seen, profile_end};
use core::f64::consts::LOG10_2;
use quantity::{Bound, ExposureIndex, FilterFactor, Flag, Flags, Interval, NetDensity, Stops};
use record::{Id, PatchRole, Reading, Response, Test};
use std::collections::BTreeMap;

fn stops_of(log10: f64) -> Stops {
    match Stops::from_delta_log_h(log10) {
        Ok(stops) => stops,
        Err(_) => unreachable!("a fitted difference of log H is finite"),
    }
}

fn factor_of(log10: f64) -> FilterFactor {
    // 1e±300 would need 1000 stops; the profile stops at 20 beyond the data.
    match FilterFactor::from_ratio(libm::pow(10.0, log10.clamp(-300.0, 300.0))) {
        Ok(factor) => factor,
        Err(_) => unreachable!("a power of ten within range is positive"),
    }
}

fn ei_of(log10: f64) -> ExposureIndex {
    match ExposureIndex::from_arithmetic(libm::pow(10.0, log10.clamp(-300.0, 300.0))) {
        Ok(ei) => ei,
        Err(_) => unreachable!("a power of ten within range is positive"),
    }
}

/// How far log10 of the speed point's exposure moves with the parameters, and
/// where it is: (x, gradient), behind the filters given.
fn speed_place(e: &Estimate, curve: usize, filters: &[Id]) -> Option<(f64, Vec<(usize, f64)>)> {
    let p = &e.fit.parameters;
    let c = &e.model.curves[curve];
    let base = c.base(p)?;
    let x = c.x_at(p, base + 0.10)?;
    let gradient = c.place_gradient(p, x);
    match e
        .model
        .index
        .get(&Key::Stretch(curve, filters.to_vec()))
        .copied()
    {
        None => Some((x, gradient)),
        Some(i) => {
            // The filtered curve is stretched about the pivot by e^γ.
            let shrink = libm::exp(-p[i]);
            let mut moved: Vec<_> = gradient.iter().map(|(k, d)| (*k, d * shrink)).collect();
            moved.push((i, -(x - c.pivot) * shrink));
            Some((c.pivot + (x - c.pivot) * shrink, moved))
        }
    }
}

/// The curve on which the frames behind a factor's filters lie in its light,
/// density scale preferred.
fn curve_of(model: &JointModel, test: &Test, factor: usize, key: &FactorKey) -> Option<usize> {
    let frames = &test.parts().frames;
    model
        .terms
        .iter()
        .filter(|t| {
            let frame = &frames[t.frame];
            frame.filters == key.filters
                && t.exposed
                    .as_ref()
                    .is_some_and(|x| x.linear.iter().any(|(i, _)| *i == factor))
        })
        .map(|t| t.curve)
        .min_by_key(|&c| model.curves[c].response != Response::Density)
}

/// The films' own speeds, without a filter.
pub(crate) fn speeds(e: &Estimate, assumptions: &Assumptions) -> Vec<SpeedFinding> {
    let z = quantile(0.5 + 0.5 * assumptions.coverage);
    let mut found = vec![];
    for (i, curve) in e.model.curves.iter().enumerate() {
        if curve.response != Response::Density || !curve.absolute {
            continue;
        }
        let Some((x, gradient)) = speed_place(e, i, &[]) else {
            continue;
        };
        let log_ei = libm::log10(0.8) - x;
        let sd = libm::sqrt(e.covariance.variance(&gradient));
        let mut flags = Flags::none();
        if !crate::curves::reaches(e, i, x) {
            flags.insert(Flag::OutsideCurve);
        }
        if prior_share(e, &gradient) > 0.5 {
            flags.insert(Flag::RestsOnPrior);
        }
        found.push(SpeedFinding {
            film: curve.film.clone(),
            process: curve.process.clone(),
            ei: Interval {
                value: ei_of(log_ei),
                low: ei_of(log_ei - z * sd),
                high: ei_of(log_ei + z * sd),
                coverage: assumptions.coverage,
            },
            basis: EI_BASIS.to_owned(),
            flags,
        });
    }
    found
}

const EI_BASIS: &str = "0.10 over base+fog for a subject 1.0 in log exposure (3 1/3 stops) below the metered mid-tone, by this test's meter and way of metering";

/// Share of the variance of an answer that comes from assumptions about the film.
fn prior_share(e: &Estimate, gradient: &[(usize, f64)]) -> f64 {
    shares(e, gradient)
        .iter()
        .filter(|(source, _)| source.is_assumption())
        .map(|(_, share)| share)
        .sum()
}

/// What each source contributes to the variance of a linear answer: with C the
/// covariance and g the answer's gradient, prior i gives w_i (C g)_i²/σ_i², and
/// the readings the rest; w_i is the weight that the fit left it.
fn shares(e: &Estimate, gradient: &[(usize, f64)]) -> Vec<(Source, f64)> {
    let c = e.covariance.times(gradient);
    let variance: f64 = gradient.iter().map(|&(i, g)| g * c[i]).sum();
    if variance <= 0.0 {
        return vec![];
    }
    let mut by_source: BTreeMap<Source, f64> = BTreeMap::new();
    for (i, prior) in e.model.priors.iter().enumerate() {
        let off = (e.fit.parameters[i] - prior.mean) / prior.sd;
        let weight = prior.tail.weight(off, e.model.outlier_beyond);
        *by_source.entry(prior.source).or_default() +=
            weight * (c[i] / prior.sd).powi(2) / variance;
    }
    let told: f64 = by_source.values().sum();
    *by_source.entry(Source::Reading).or_default() += (1.0 - told).max(0.0);
    let mut rows: Vec<_> = by_source.into_iter().collect();
    rows.sort_by(|a, b| b.1.total_cmp(&a.1));
    rows
}

/// Readings of the filtered frames of a factor: values and limits, matched
/// patches only.
struct Evidence {
    frames_used: Vec<usize>,
    frames_as_limits: Vec<usize>,
}

fn evidence(e: &Estimate, factor: usize, matched_on: &[Id], test: &Test) -> Evidence {
    let mut used = vec![];
    let mut limits = vec![];
    for (t, o) in e.model.terms.iter().zip(&e.model.observations) {
        let Some(exposed) = &t.exposed else { continue };
        if !exposed.linear.iter().any(|(k, _)| *k == factor) {
            continue;
        }
        let on_matched = exposed.linear.iter().any(|(k, _)| {
            matches!(&e.model.keys[*k], Key::Subject(name, _) if matched_on.contains(name))
        });
        let list = match o.seen {
            Seen::Value(_) if on_matched => &mut used,
            _ => &mut limits,
        };
        if !list.contains(&t.frame) {
            list.push(t.frame);
        }
    }
    limits.retain(|f| !used.contains(f));
    debug_assert!(used.iter().all(|f| *f < test.parts().frames.len()));
    Evidence {
        frames_used: used,
        frames_as_limits: limits,
    }
}

/// The factor and EI of every film, filter and light.
pub(crate) fn factors(
    e: &Estimate,
    test: &Test,
    readings: &[Reading],
    assumptions: &Assumptions,
) -> Vec<FactorFinding> {
    let mut found = vec![];
    for (i, key) in e.model.keys.iter().enumerate() {
        if let Key::Factor(factor) = key {
            found.push(one_factor(e, test, readings, assumptions, i, factor));
        }
    }
    found
}

fn one_factor(
    e: &Estimate,
    test: &Test,
    readings: &[Reading],
    assumptions: &Assumptions,
    i: usize,
    key: &FactorKey,
) -> FactorFinding {
    let model = &e.model;
    let p = &e.fit.parameters;
    let matched_on = model.matched_on.get(key).cloned().unwrap_or_default();
    let evidence = evidence(e, i, &matched_on, test);
    let Ends {
        low,
        high,
        bound,
        method,
    } = ends(e, assumptions, i, !evidence.frames_used.is_empty());
    // With a bound the value shown is the bound itself.
    let value = match bound {
        Some(Bound::AtLeast) => low,
        Some(Bound::AtMost) => high,
        None => p[i],
    };
    let (low, high) = match bound {
        Some(Bound::AtLeast) => (low, low),
        Some(Bound::AtMost) => (high, high),
        None => (low, high),
    };
    let log_factor = Interval {
        value,
        low,
        high,
        coverage: assumptions.coverage,
    };

    let mut flags = Flags::none();
    let against = model
        .anchors
        .get(&(key.film.clone(), key.light.clone()))
        .cloned();
    if against.is_none() {
        flags.insert(Flag::NoAnchor);
    }
    let gradient = [(i, 1.0)];
    let rows = shares(e, &gradient);
    if bound.is_none() && prior_share(e, &gradient) > 0.5 {
        flags.insert(Flag::RestsOnPrior);
    }
    for &f in &evidence.frames_used {
        if let Some(recorded) = &model.recorded[f] {
            for flag in [
                Flag::NoReciprocityLaw,
                Flag::ThroughFilter,
                Flag::Extrapolated,
            ] {
                if recorded.flags.contains(flag) {
                    flags.insert(flag);
                }
            }
            if e.outliers.contains(&f) {
                flags.insert(Flag::Outlier);
            }
        }
    }
    // A tenth of the variance is worth a measured shutter.
    if rows
        .iter()
        .any(|(source, share)| *source == Source::MarkedTime && *share > 0.1)
    {
        flags.insert(Flag::MarkedTime);
    }
    if flags.contains(Flag::NoReciprocityLaw) {
        flags.insert(Flag::FactorWithReciprocity);
    }
    let all_frames = evidence
        .frames_used
        .iter()
        .chain(&evidence.frames_as_limits);
    if all_frames
        .filter_map(|&f| model.recorded[f].as_ref())
        .any(|r| r.reciprocity_loss_log10 > RECIPROCITY_SAID)
    {
        flags.insert(Flag::ReciprocityLast);
    }
    let made_from = made_from(e, test, i, key);
    flags.extend(&of_the_scans(&made_from, readings));
    if bound == Some(Bound::AtLeast) {
        flags.insert(Flag::Blank);
    }
    if bound == Some(Bound::AtMost) {
        flags.insert(Flag::Blocked);
    }

    let curve = curve_of(model, test, i, key);
    // Behind the filter the speed point lies on the same curve, elsewhere along it.
    if let Some(c) = curve
        && model.curves[c].absolute
        && model.curves[c].response == Response::Density
        && let Some((x, _)) = speed_place(e, c, &[])
        && !crate::curves::reaches(e, c, x)
    {
        flags.insert(Flag::OutsideCurve);
    }
    let (ei, ei_basis) = filtered_ei(e, test, assumptions, key, i, log_factor, bound, curve);
    let matched_at = curve.and_then(|c| {
        let curve = &model.curves[c];
        let base = curve.base(p)?;
        (curve.response == Response::Density)
            .then(|| NetDensity::new(curve.value(p, curve.pivot).0 - base).ok())?
    });
    FactorFinding {
        film: key.film.clone(),
        filters: key.filters.clone(),
        light: key.light.clone(),
        against: against.unwrap_or_default(),
        factor: log_factor.map(factor_of),
        stops: log_factor.map(stops_of),
        ei,
        ei_basis,
        bound,
        matched_at,
        matched_on,
        patch_spread: e.spread.get(key).map(|sd| stops_of(*sd)),
        frames_used: evidence.frames_used.len(),
        frames_as_limits: evidence.frames_as_limits.len(),
        shares: if bound.is_some() {
            vec![]
        } else {
            rows.into_iter()
                .filter(|(_, share)| *share > 0.005)
                .map(|(source, share)| Share {
                    source: source.words().to_owned(),
                    share,
                })
                .collect()
        },
        made_from,
        next_steps: match (bound, curve) {
            (None, Some(c)) => crate::next_sheet::next_steps(e, test, assumptions, i, key, c),
            _ => vec![],
        },
        interval_method: method.to_owned(),
        flags,
    }
}

/// A loss by reciprocity from which on an answer says that its EI leaves it out:
/// half the third of a stop by which a meter is set. \[log10\]
const RECIPROCITY_SAID: f64 = LOG10_2 / 6.0;

/// What makes the densities of a whole scan doubtful, and so what rests on them.
const OF_THE_SCAN: [Flag; 9] = [
    Flag::LevelsChanged,
    Flag::Comb,
    Flag::EightBitOrigin,
    Flag::Lossy,
    Flag::LossTraces,
    Flag::Sharpened,
    Flag::InvertedPositive,
    Flag::ToneContradicted,
    Flag::TabletMisfit,
];

/// The doubts about the scans that readings were made in.
fn of_the_scans(made_from: &[(Id, Id)], readings: &[Reading]) -> Flags {
    let used = readings.iter().filter(|r| {
        made_from
            .iter()
            .any(|(f, p)| *f == r.frame && *p == r.patch)
    });
    used.flat_map(|r| r.value.flags().iter())
        .filter(|flag| OF_THE_SCAN.contains(flag))
        .collect()
}

/// Readings of the filtered frames and of the anchors they are set against.
fn made_from(e: &Estimate, test: &Test, factor: usize, key: &FactorKey) -> Vec<(Id, Id)> {
    let frames = &test.parts().frames;
    let anchor = e.model.anchors.get(&(key.film.clone(), key.light.clone()));
    e.model
        .terms
        .iter()
        .filter_map(|t| {
            let frame = &frames[t.frame];
            let exposed = t.exposed.as_ref()?;
            let filtered = exposed.linear.iter().any(|(k, _)| *k == factor);
            let name = exposed
                .linear
                .iter()
                .find_map(|(k, _)| match &e.model.keys[*k] {
                    Key::Subject(name, light) if *light == key.light => Some(name),
                    _ => None,
                })?;
            let against = frame.film == key.film && anchor == Some(&frame.filters);
            (filtered || against).then(|| (frame.id.clone(), name.clone()))
        })
        .collect()
}

#[expect(clippy::too_many_arguments, reason = "one call, all of it needed")]
fn filtered_ei(
    e: &Estimate,
    test: &Test,
    assumptions: &Assumptions,
    key: &FactorKey,
    factor: usize,
    log_factor: Interval<f64>,
    bound: Option<Bound>,
    curve: Option<usize>,
) -> (Option<Interval<ExposureIndex>>, String) {
    let p = &e.fit.parameters;
    let z = quantile(0.5 + 0.5 * assumptions.coverage);
    let around = |log_ei: f64, low: f64, high: f64| Interval {
        value: ei_of(log_ei),
        low: ei_of(low),
        high: ei_of(high),
        coverage: assumptions.coverage,
    };
    if let Some(c) = curve
        && e.model.curves[c].absolute
        && e.model.curves[c].response == Response::Density
        && let Some((x, mut gradient)) = speed_place(e, c, &key.filters)
    {
        let speed_sd = libm::sqrt(e.covariance.variance(&gradient));
        let base = libm::log10(0.8) - x;
        let interval = match bound {
            None => {
                gradient.push((factor, 1.0));
                let sd = libm::sqrt(e.covariance.variance(&gradient));
                // The factor's own profile says how lopsided the answer is.
                let half = log_factor.high - log_factor.low;
                let up = if half > 0.0 {
                    2.0 * (log_factor.value - log_factor.low) / half
                } else {
                    1.0
                };
                let value = base - p[factor];
                around(value, value - z * sd * (2.0 - up), value + z * sd * up)
            }
            Some(Bound::AtLeast) => {
                let limit = base - log_factor.low + z * speed_sd;
                around(limit, limit, limit)
            }
            Some(Bound::AtMost) => {
                let limit = base - log_factor.high - z * speed_sd;
                around(limit, limit, limit)
            }
        };
        return (Some(interval), EI_BASIS.to_owned());
    }
    match test.film(&key.film).and_then(|f| f.box_speed) {
        Some(speed) => {
            let box_log = libm::log10(speed.to_arithmetic());
            let value = box_log - log_factor.value;
            // Box speed and factor are told by different things, so their errors
            // add in squares; a limit moves outward by that of the box speed.
            let speed_half = z * assumptions.box_speed_stops * LOG10_2;
            let interval = match bound {
                None => around(
                    value,
                    value - libm::hypot(log_factor.high - log_factor.value, speed_half),
                    value + libm::hypot(log_factor.value - log_factor.low, speed_half),
                ),
                Some(Bound::AtLeast) => {
                    let limit = box_log - log_factor.low + speed_half;
                    around(limit, limit, limit)
                }
                Some(Bound::AtMost) => {
                    let limit = box_log - log_factor.high - speed_half;
                    around(limit, limit, limit)
                }
            };
            (
                Some(interval),
                format!(
                    "box speed {} divided by the factor; the film's own speed was not measured and is taken as the box speed give or take {:.1} stop (one standard deviation)",
                    speed.to_arithmetic(),
                    assumptions.box_speed_stops
                ),
            )
        }
        None => (
            None,
            "no light reading and no box speed, so no EI can be given".to_owned(),
        ),
    }
}

/// The end of a gain that is known from one side: the profile of the patch that
/// is a limit, and the uncertainty of the other.
fn wood_limit(
    e: &Estimate,
    foliage: usize,
    card: usize,
    side: Bound,
    flare: f64,
    assumptions: &Assumptions,
) -> Option<f64> {
    let p = &e.fit.parameters;
    let z = quantile(assumptions.coverage);
    let sd_of = |i: usize| libm::sqrt(e.covariance.variance(&[(i, 1.0)]));
    let sign = match side {
        Bound::AtLeast => -1.0,
        Bound::AtMost => 1.0,
    };
    let gain = p[foliage] - p[card];
    let reach = |i: usize, direction: f64| -> Option<f64> {
        match profile_end(&e.model, &e.fit, i, sd_of(i), direction, 0.5 * z * z, REACH) {
            End::At(end) => Some((end - p[i]).abs()),
            End::Open => None,
        }
    };
    // On the side in question the gain ends where the foliage's departure ends or
    // the card's does, whichever is closed.
    let (a, b) = (reach(foliage, sign), reach(card, -sign));
    let (a, b) = match (a, b) {
        (None, None) => return None,
        (a, b) => (a.unwrap_or(0.0), b.unwrap_or(0.0)),
    };
    Some(gain + sign * libm::hypot(libm::hypot(a, b), z * flare))
}

/// The Wood effect: foliage against the card, behind the filter less without it.
pub(crate) fn wood_effect(
    e: &Estimate,
    test: &Test,
    assumptions: &Assumptions,
) -> Vec<WoodFinding> {
    let z = quantile(0.5 + 0.5 * assumptions.coverage);
    let role_of = |name: &Id| {
        test.parts()
            .patches
            .iter()
            .find(|p| p.name == *name)
            .map(|p| p.role)
    };
    let departures: Vec<(usize, &Id, &FactorKey, PatchRole)> = e
        .model
        .keys
        .iter()
        .enumerate()
        .filter_map(|(i, key)| match key {
            Key::Departure(name, factor) => Some((i, name, factor, role_of(name)?)),
            _ => None,
        })
        .collect();
    let mut found = vec![];
    for &(i, foliage, key, role) in &departures {
        let shade = match role {
            PatchRole::SunlitFoliage => false,
            PatchRole::ShadedFoliage => true,
            _ => continue,
        };
        let card = departures
            .iter()
            .filter(|(_, _, k, _)| *k == key)
            .filter(|(_, _, _, r)| match r {
                PatchRole::GreyCard => true,
                PatchRole::ShadedGreyCard => shade,
                _ => false,
            })
            .min_by_key(|(_, _, _, r)| (*r == PatchRole::GreyCard) == shade);
        let Some(&(j, card, _, card_role)) = card else {
            continue;
        };
        let p = &e.fit.parameters;
        let gain = p[i] - p[j];
        let sd = libm::sqrt(e.covariance.variance(&[(i, 1.0), (j, -1.0)]));
        let kinds = |name: &Id| {
            let (mut values, mut low, mut high) = (0, 0, 0);
            for (t, o) in e.model.terms.iter().zip(&e.model.observations) {
                let frame = &test.parts().frames[t.frame];
                let here = t.exposed.as_ref().is_some_and(|x| {
                    x.linear.iter().any(|(k, _)| {
                        matches!(&e.model.keys[*k], Key::Departure(n, f) if n == name && f == key)
                    })
                });
                if here && frame.filters == key.filters {
                    match o.seen {
                        Seen::Value(_) => values += 1,
                        Seen::AtMost(_) => low += 1,
                        Seen::AtLeast(_) => high += 1,
                    }
                }
            }
            (values, low, high)
        };
        let (of_foliage, of_card) = (kinds(foliage), kinds(card));
        let bound = match (of_foliage, of_card) {
            ((0, 0, _), (0, _, 0)) => Some(Bound::AtLeast),
            ((0, 0, _), (n, _, _)) if n > 0 => Some(Bound::AtLeast),
            ((0, _, 0), (n, _, _)) if n > 0 => Some(Bound::AtMost),
            ((n, _, _), (0, _, 0)) if n > 0 => Some(Bound::AtLeast),
            ((0, _, _), (0, _, _)) => continue,
            _ => None,
        };
        let mut flags = Flags::none();
        if shade {
            // Camera flare lifts the shaded patch; only a flare control tells.
            flags.insert(Flag::NoControl);
            if card_role == PatchRole::GreyCard {
                flags.insert(Flag::LightUnknown);
            }
        }
        // Camera flare lifts shaded patches by an unknown amount.
        let flare = if shade {
            assumptions.flare_stops * LOG10_2
        } else {
            0.0
        };
        let sd = libm::hypot(sd, flare);
        let ends = match bound {
            None => (gain - z * sd, gain + z * sd),
            Some(side) => {
                let Some(limit) = wood_limit(e, i, j, side, flare, assumptions) else {
                    continue;
                };
                (limit, limit)
            }
        };
        let gain = if bound.is_some() { ends.0 } else { gain };
        found.push(WoodFinding {
            film: key.film.clone(),
            filters: key.filters.clone(),
            light: key.light.clone(),
            shade,
            foliage: foliage.clone(),
            card: card.clone(),
            gain: Interval {
                value: stops_of(gain),
                low: stops_of(ends.0),
                high: stops_of(ends.1),
                coverage: assumptions.coverage,
            },
            bound,
            flags,
        });
    }
    found
}
