//! Readings, and frames and curves as the fit has them.

use super::none;
use crate::answer::verdict_word;
use crate::table::Table;
use crate::words::{capital, counted, flag_names, name, response_words, wide};
use figures::{PatchLetters, role_words, shown};
use findings::{CurveFinding, CurveSample, Findings, FrameFinding, PatchFinding, ReadingUse};
use maud::{Markup, html};
use quantity::{Bound, Measured, Stops};
use record::{Id, Test};
use std::collections::BTreeMap;

/// Most readings that the page lists; a file is better for more.
const MOST_READINGS: usize = 2000;

pub(super) fn readings(test: &Test, found: &Findings, letters: &PatchLetters) -> Markup {
    let patches: BTreeMap<(&Id, &Id), &PatchFinding> = found
        .frames
        .iter()
        .flat_map(|f| f.patches.iter().map(|p| ((&f.frame, &p.patch), p)))
        .collect();
    let patch = |r: &ReadingUse| patches.get(&(&r.frame, &r.patch)).copied();
    let role = |r: &ReadingUse| {
        patch(r)
            .map(|p| p.role)
            .or_else(|| test.patch(&r.frame, &r.patch).map(|p| p.role))
            .map_or_else(none, role_words)
    };
    let net = |r: &ReadingUse| {
        patch(r)
            .and_then(|p| p.net)
            .map_or_else(none, |d| shown::fixed(d.to_density(), 3))
    };
    let log_h = |r: &ReadingUse| {
        patch(r)
            .and_then(|p| p.log_h)
            .map_or_else(none, |h| shown::fixed(h.to_log10(), 2))
    };
    let table = Table::<&ReadingUse>::new()
        .name("Frame", |r| name(&r.frame))
        .text("Letter", |r| letters.letter(&r.patch))
        .words("Patch", |r| name(&r.patch))
        .words("Role", role)
        .words("Kind", |r| response_words(r.response))
        .words("Limit", |r| limit_words(r.limit))
        .number("Reading", |r| shown::fixed(r.value.value(), 3))
        .number("sd", |r| shown::fixed(r.value.standard_uncertainty(), 3))
        .number("Net", net)
        .number("log H", log_h)
        .number("Fitted", |r| {
            r.fitted.map_or_else(none, |v| shown::fixed(v, 3))
        })
        .number("Allowed sd", |r| shown::fixed(r.allowed, 3))
        .number("Weight", |r| shown::fixed(r.weight, 2))
        .phrase("Origin", |r| &r.origin)
        .text("Flags", |r| flag_names(r.value.flags()))
        .of(found.readings.iter().take(MOST_READINGS));
    html! {
        p {
            (counted(found.readings.len(), "reading")) ", gross: base and fog are still in them. "
            "Sd is one standard deviation of the reading, allowed sd what the fit allowed it, "
            "log H where the fit places it, weight 1 is full weight."
            @if found.readings.len() > MOST_READINGS {
                " Here stand the first " (MOST_READINGS) "; all are in readings.csv."
            }
        }
        (wide("Readings", table))
    }
}

fn limit_words(limit: Option<Bound>) -> &'static str {
    match limit {
        None => "",
        Some(Bound::AtLeast) => "at least",
        Some(Bound::AtMost) => "at most",
    }
}

/// The frames as the fit sees them, with uncertainties that the answer leaves out.
pub(super) fn fitted_frames(found: &Findings) -> Markup {
    let stops = |of: &Option<Measured<Stops>>| {
        of.as_ref().map_or_else(none, |m| {
            let sd = shown::fixed(m.standard_uncertainty(), 1);
            format!("{} ± {sd}", shown::signed_stops(m.value()))
        })
    };
    let missing = |f: &FrameFinding| match (&f.stops_missing, f.stops_missing_bound) {
        (Some(limit), bound @ Some(_)) => shown::signed_stops_or_limit(limit.value(), bound),
        (missing, _) => stops(missing),
    };
    let table = Table::<&FrameFinding>::new()
        .name("Frame", |f| name(&f.frame))
        .words("Verdict", |f| verdict_word(f.verdict))
        .number("Stops missing", missing)
        .number("Stops off the record", |f| stops(&f.exposure_error))
        .number("EI, filter included", |f| {
            f.effective_ei.map_or_else(none, shown::ei)
        })
        .phrase("Flags", |f| flag_names(&f.flags))
        .of(&found.frames);
    html! {
        @if !found.frames.is_empty() {
            h3 { "Frames as the fit sees them" }
            p { "Value ± 1 standard deviation. Stops off the record: positive when the frame got more light than its record says." }
            (wide("Frames as the fit sees them", table))
        }
    }
}

/// Most rows of a curve that are printed; the figure needs more than a reader.
const CURVE_ROWS: usize = 40;

pub(super) fn curve_samples(found: &Findings) -> Markup {
    html! {
        @if !found.curves.is_empty() { h3 { "Curves as drawn" } }
        @for curve in &found.curves { div.slim { (samples_of(curve)) } }
    }
}

fn samples_of(curve: &CurveFinding) -> Markup {
    let every = curve.samples.len().div_ceil(CURVE_ROWS).max(1);
    let name = format!("Curve of {} in {}", curve.film, curve.process);
    let log_h = if curve.absolute_exposure {
        "log H (lux seconds)"
    } else {
        "relative log H"
    };
    let table = Table::<&CurveSample>::new()
        .caption(html! {
            (name) ", " (curve.samples.len()) " samples"
            @if every > 1 { ", one row for every " (every) " of them" }
        })
        .number(log_h, |s| shown::fixed(s.log_h, 3))
        .number(capital(response_words(curve.response)), |s| {
            shown::fixed(s.value, 3)
        })
        .number("sd", |s| shown::fixed(s.standard_uncertainty, 3))
        .of(curve.samples.iter().step_by(every));
    wide(&name, table)
}
