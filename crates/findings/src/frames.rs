//! What each frame came out as, and by how much it missed.

use crate::curves::is_subject;
use crate::estimate::Estimate;
use crate::finding::{FrameFinding, PatchFinding, Verdict, VerdictCriteria};
use crate::judged;
use crate::model::Key;
use crate::solve::{Model, Seen};
use core::f64::consts::LOG10_2;
use quantity::{Bound, Density, Flag, Flags, Measured, NetDensity, Stops};
use record::{Exposure, Frame, FrameRole, Id, PatchRole, Reading, Response, Test};
use std::collections::BTreeMap;

fn stops(log10: f64) -> Option<Stops> {
    Stops::from_delta_log_h(log10).ok()
}

pub(crate) fn frame_findings(
    e: Option<&Estimate>,
    test: &Test,
    readings: &[Reading],
    criteria: &VerdictCriteria,
) -> Vec<FrameFinding> {
    let places = Places::of(e, test, readings);
    test.parts()
        .frames
        .iter()
        .enumerate()
        .map(|(f, frame)| frame_finding(e, test, readings, criteria, &places, f, frame))
        .collect()
}

/// What belongs to which frame and reading, looked up once.
struct Places {
    /// Readings of each frame.
    readings: Vec<Vec<usize>>,
    /// Terms of each frame.
    terms: Vec<Vec<usize>>,
    /// Term of each reading.
    term_of: Vec<Option<usize>>,
}

impl Places {
    fn of(e: Option<&Estimate>, test: &Test, readings: &[Reading]) -> Self {
        let frames = &test.parts().frames;
        let number: BTreeMap<&Id, usize> =
            frames.iter().enumerate().map(|(i, f)| (&f.id, i)).collect();
        let mut places = Self {
            readings: vec![vec![]; frames.len()],
            terms: vec![vec![]; frames.len()],
            term_of: vec![None; readings.len()],
        };
        for (r, reading) in readings.iter().enumerate() {
            if let Some(&f) = number.get(&reading.frame) {
                places.readings[f].push(r);
            }
        }
        if let Some(e) = e {
            for (k, term) in e.model.terms.iter().enumerate() {
                places.terms[term.frame].push(k);
                places.term_of[term.reading] = Some(k);
            }
        }
        places
    }
}

fn exposure_words(exposure: &Exposure) -> String {
    match exposure {
        Exposure::Camera(c) => {
            let marked = exposure::format_time(c.time.marked);
            match c.time.actual {
                // The mark says it all when the time was what it says.
                Some(actual) if (actual.to_s() / c.time.marked.to_s() - 1.0).abs() > 0.005 => {
                    format!(
                        "f/{}, {marked} (actual {})",
                        c.aperture.to_ratio(),
                        actual_words(actual.to_s())
                    )
                }
                Some(_) => format!("f/{}, {marked}", c.aperture.to_ratio()),
                None => format!("f/{}, {marked}", c.aperture.to_ratio()),
            }
        }
        Exposure::Relative(h) => format!("relative log H {:.3}", h.value().to_log10()),
        Exposure::Tablet { tablet, .. } => format!("through step tablet {tablet}"),
        Exposure::None => "none".to_owned(),
    }
}

/// Writes a measured time with three significant figures.
fn actual_words(seconds: f64) -> String {
    let decimals = (2.0 - seconds.log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{seconds:.decimals$} s")
}

fn frame_finding(
    e: Option<&Estimate>,
    test: &Test,
    readings: &[Reading],
    criteria: &VerdictCriteria,
    places: &Places,
    f: usize,
    frame: &Frame,
) -> FrameFinding {
    let mut flags = Flags::none();
    let base = base_of(e, test, f);
    let mut patches = vec![];
    for &r in &places.readings[f] {
        let reading = &readings[r];
        let Some(patch) = test.patch(&frame.id, &reading.patch) else {
            continue;
        };
        let log_h = e.and_then(|e| {
            let term = &e.model.terms[places.term_of[r]?];
            let exposed = term.exposed.as_ref()?;
            let x = exposed.on_curve(&e.fit.parameters, e.model.curves[term.curve].pivot);
            (x > -25.0).then(|| crate::curves::log_exposure(x))
        });
        let net = (reading.response == Response::Density)
            .then(|| {
                let base = base?;
                let gross = Density::gross(reading.value.value()).ok()?;
                Some(gross.net_over(Density::gross(base).ok()?))
            })
            .flatten();
        patches.push(PatchFinding {
            patch: patch.name.clone(),
            role: patch.role,
            reading: reading.value.clone(),
            limit: reading.limit,
            net,
            log_h,
        });
        flags.extend(reading.value.flags());
    }
    let (light, effective_ei) = match &frame.exposure {
        Exposure::Camera(camera) => (
            Some(camera.light.clone()),
            e.and_then(|e| e.model.recorded[f].as_ref()?.effective_ei),
        ),
        _ => (None, None),
    };
    if let Some(recorded) = e.and_then(|e| e.model.recorded[f].as_ref()) {
        flags.extend(&recorded.flags);
    }
    let (verdict, mut reason) = verdict(frame, &patches, base, criteria);
    if verdict == Verdict::Blank {
        flags.insert(Flag::Blank);
    }
    let exposure_error = e.and_then(|e| exposure_error(e, &places.terms[f], frame));
    if e.is_some_and(|e| e.outliers.contains(&f) || e.developed_apart.contains(&f)) {
        flags.insert(Flag::Outlier);
    }
    let terms = &places.terms[f];
    let stops_missing = e.and_then(|e| judged::stops_missing(e, test, terms, frame, criteria));
    if e.and_then(|e| judged::contradicted(e, test, terms, frame, criteria, &patches)) == Some(true)
    {
        flags.insert(Flag::RecordContradicted);
        reason.push_str("; its record lets expect otherwise, so scan, holder, time or aperture may be another frame's");
    }
    FrameFinding {
        frame: frame.id.clone(),
        film: frame.film.clone(),
        process: frame.process.clone(),
        filters: frame.filters.clone(),
        light,
        role: frame.role,
        holder: frame.holder.clone(),
        exposure: exposure_words(&frame.exposure),
        verdict,
        reason,
        stops_missing,
        stops_missing_bound: None,
        exposure_error,
        effective_ei,
        patches,
        flags,
    }
}

/// Base+fog of a frame on the density scale: read on the frame, else fitted.
fn base_of(e: Option<&Estimate>, test: &Test, f: usize) -> Option<f64> {
    let e = e?;
    let frame = &test.parts().frames[f];
    let curve = e.model.curves.iter().find(|c| {
        c.film == frame.film && c.process == frame.process && c.response == Response::Density
    })?;
    let shift = e
        .model
        .index
        .get(&Key::Base(frame.id.clone()))
        .map_or(0.0, |&i| e.fit.parameters[i]);
    curve.base(&e.fit.parameters).map(|b| b + shift)
}

fn verdict(
    frame: &Frame,
    patches: &[PatchFinding],
    base: Option<f64>,
    c: &VerdictCriteria,
) -> (Verdict, String) {
    if matches!(frame.role, FrameRole::Unexposed | FrameRole::TabletSheet) {
        return (
            Verdict::Control,
            format!("{} frame, not judged as a picture", frame.role.words()),
        );
    }
    let subjects: Vec<&PatchFinding> = patches.iter().filter(|p| is_subject(p.role)).collect();
    if subjects.is_empty() {
        return (
            Verdict::CannotTell,
            "no patch of this frame was read".to_owned(),
        );
    }
    let all_limited = |bound| subjects.iter().all(|p| p.limit == Some(bound));
    if base.is_none() || subjects.iter().all(|p| p.net.is_none()) {
        if all_limited(Bound::AtMost) {
            return (
                Verdict::Blank,
                "no patch rises above the dark end of the scale".to_owned(),
            );
        }
        return (
            Verdict::CannotTell,
            "the scale is relative, so printing densities can't be told".to_owned(),
        );
    }
    let net_of = |p: &PatchFinding| p.net.map(NetDensity::to_density);
    // A reading that is only known to be "at most" may be anything below.
    let below = |p: &PatchFinding, level: f64| {
        net_of(p).is_some_and(|n| n < level && p.limit != Some(Bound::AtLeast))
    };
    let above = |p: &PatchFinding, level: f64| {
        net_of(p).is_some_and(|n| n > level && p.limit != Some(Bound::AtMost))
    };
    if subjects.iter().all(|p| below(p, c.blank_below)) {
        return (
            Verdict::Blank,
            format!("no patch reaches {:.2} over base+fog", c.blank_below),
        );
    }
    let of = |role: PatchRole| subjects.iter().find(|p| p.role == role).copied();
    let named = |what: &str, p: &PatchFinding| {
        if p.patch
            .as_str()
            .to_lowercase()
            .contains(what.split(' ').next_back().unwrap_or(what))
        {
            p.patch.to_string()
        } else {
            format!("{what} {}", p.patch)
        }
    };
    let amount = |p: &PatchFinding| {
        let number = net_of(p).unwrap_or_default();
        // "-0.00" is zero.
        let number = if number.abs() < 0.005 { 0.0 } else { number };
        // A number that would read like the level it missed gets a third digit.
        let tie = [
            c.shadow_at_least,
            c.shadow_at_most,
            c.card_at_least,
            c.card_at_most,
            c.highlight_at_most,
        ]
        .iter()
        .any(|level| (number - level).abs() < 0.005);
        match p.limit {
            None if tie => format!("{number:.3}"),
            None => format!("{number:.2}"),
            Some(Bound::AtLeast) => format!("at least {number:.2}"),
            Some(Bound::AtMost) => format!("at most {number:.2}"),
        }
    };
    let said = |what: &str, p: &PatchFinding, word: &str, level: f64| {
        format!(
            "{} is {} over base+fog, {word} {level:.2}",
            named(what, p),
            amount(p)
        )
    };
    let (shadow, highlight, card) = (
        of(PatchRole::Shadow),
        of(PatchRole::Highlight),
        of(PatchRole::GreyCard),
    );
    if let Some(p) = shadow {
        if below(p, c.shadow_at_least) {
            return (Verdict::Thin, said("shadow", p, "below", c.shadow_at_least));
        }
        if above(p, c.shadow_at_most) {
            return (Verdict::Dense, said("shadow", p, "above", c.shadow_at_most));
        }
    } else if let Some(p) = card
        && below(p, c.card_at_least)
    {
        return (
            Verdict::Thin,
            said("grey card", p, "below", c.card_at_least),
        );
    }
    if let Some(p) = highlight {
        if above(p, c.highlight_at_most) {
            return (
                Verdict::Dense,
                said("highlight", p, "above", c.highlight_at_most),
            );
        }
    } else if let Some(p) = card
        && above(p, c.card_at_most)
    {
        return (
            Verdict::Dense,
            said("grey card", p, "above", c.card_at_most),
        );
    }
    match shadow.or(card) {
        Some(p) if p.limit.is_some() => (
            Verdict::CannotTell,
            format!(
                "{} is {} over base+fog, which is only a limit",
                p.patch,
                amount(p)
            ),
        ),
        Some(p) => (
            Verdict::Printable,
            format!(
                "{} is {} over base+fog, within the criteria",
                p.patch,
                amount(p)
            ),
        ),
        None => (
            Verdict::CannotTell,
            "neither a shadow nor a grey card was read on this frame".to_owned(),
        ),
    }
}

/// How much more light a frame got than its record says.
fn exposure_error(e: &Estimate, terms: &[usize], frame: &Frame) -> Option<Measured<Stops>> {
    let term = terms
        .iter()
        .map(|&k| &e.model.terms[k])
        .find(|t| t.exposed.is_some())?;
    let own: Vec<(usize, f64)> = term
        .exposed
        .as_ref()?
        .linear
        .iter()
        .filter(|(i, _)| {
            matches!(
                &e.model.keys[*i],
                Key::Frame(_) | Key::Shutter(..) | Key::Aperture(..)
            )
        })
        .copied()
        .collect();
    if own.is_empty() || frame.role == FrameRole::TabletSheet {
        return None;
    }
    let value: f64 = own.iter().map(|&(i, c)| c * e.fit.parameters[i]).sum();
    let sd = libm::sqrt(e.covariance.variance(&own)) / LOG10_2;
    stops(value).map(|s| Measured::new(s, sd))
}

/// The readings as they entered the fit.
pub(crate) fn reading_uses(
    e: Option<&Estimate>,
    readings: &[Reading],
) -> Vec<crate::finding::ReadingUse> {
    let mut term_of = vec![None; readings.len()];
    if let Some(e) = e {
        for (k, term) in e.model.terms.iter().enumerate() {
            term_of[term.reading] = Some(k);
        }
    }
    readings
        .iter()
        .enumerate()
        .map(|(r, reading)| {
            let term = e.and_then(|e| Some((e, term_of[r]?)));
            let (fitted, allowed, weight, limit) = match term {
                None => (
                    None,
                    reading.value.standard_uncertainty(),
                    0.0,
                    reading.limit,
                ),
                Some((e, k)) => {
                    let o = e.model.observations[k];
                    let fitted =
                        e.model
                            .value(&e.model.ready(&e.fit.parameters), k, &e.fit.parameters);
                    let (weight, limit) = match o.seen {
                        Seen::Value(y) => {
                            let r = ((y - fitted) / o.sd).abs();
                            ((e.model.outlier_beyond / r).min(1.0), None)
                        }
                        Seen::AtMost(_) => (1.0, Some(Bound::AtMost)),
                        Seen::AtLeast(_) => (1.0, Some(Bound::AtLeast)),
                    };
                    (Some(fitted), o.sd, weight, limit)
                }
            };
            let origin = match &reading.origin {
                record::ReadingOrigin::Densitometer(Some(what)) => format!("densitometer, {what}"),
                record::ReadingOrigin::Densitometer(None) => {
                    "densitometer, geometry not stated".to_owned()
                }
                record::ReadingOrigin::ContactPrint => "contact printing time".to_owned(),
                record::ReadingOrigin::Scan(id) => format!("scan {id}"),
            };
            let value = if weight < 1.0 && fitted.is_some() {
                reading.value.clone().flagged(Flag::Outlier)
            } else {
                reading.value.clone()
            };
            crate::finding::ReadingUse {
                frame: reading.frame.clone(),
                patch: reading.patch.clone(),
                response: reading.response,
                value,
                limit,
                fitted,
                allowed,
                weight,
                origin,
            }
        })
        .collect()
}
