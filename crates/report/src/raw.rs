//! Everything a stranger needs to work the findings out again.

use crate::ReportInput;
use crate::answer::verdict_word;
use crate::words::{
    capital, counted, flag_names, flag_words, light_name, meter_words, name, reading_words,
    response_words, sentence, wide,
};
use figures::{PatchLetters, role_words, shown};
use findings::{Findings, PatchFinding, ReadingUse};
use maud::{Markup, html};
use quantity::{Bound, Flag, Measured, Seconds, Stops};
use record::{Bellows, EdgeLevel, Exposure, Frame, Id, Seen, Test, TestParts};
use std::collections::{BTreeMap, BTreeSet};

pub(crate) fn raw(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    let parts = input.test.parts();
    html! {
        section #raw {
            h2 { "Raw" }
            h3 { "Readings" }
            (readings(input.test, input.findings, letters))
            (fitted_frames(input.findings))
            (curve_samples(input.findings))
            h3 { "Exposure records" }
            (exposures(&parts.frames))
            (lights(parts))
            (materials(parts))
            (processes(parts))
            (lenses(parts))
            (tablets(parts))
            (outside_reports(parts))
            (files(input))
            (recompute(input))
            (flags(input))
        }
    }
}

fn limit_words(limit: Option<Bound>) -> &'static str {
    match limit {
        None => "",
        Some(Bound::AtLeast) => "at least",
        Some(Bound::AtMost) => "at most",
    }
}

/// Most readings that the page lists; a file is better for more.
const MOST_READINGS: usize = 2000;

fn readings(test: &Test, found: &Findings, letters: &PatchLetters) -> Markup {
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
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Frame" }
                th scope="col" { "Letter" }
                th scope="col" { "Patch" }
                th scope="col" { "Role" }
                th scope="col" { "Kind" }
                th scope="col" { "Limit" }
                th.n scope="col" { "Reading" }
                th.n scope="col" { "sd" }
                th.n scope="col" { "Net" }
                th.n scope="col" { "log H" }
                th.n scope="col" { "Fitted" }
                th.n scope="col" { "Allowed sd" }
                th.n scope="col" { "Weight" }
                th scope="col" { "Origin" }
                th scope="col" { "Flags" }
            } }
            tbody {
                @for r in found.readings.iter().take(MOST_READINGS) { tr {
                    th scope="row" { (name(&r.frame)) }
                    td { (letters.letter(&r.patch)) }
                    td.word { (name(&r.patch)) }
                    td.word { (role(r)) }
                    td.word { (response_words(r.response)) }
                    td.word { (limit_words(r.limit)) }
                    td.n { (shown::fixed(r.value.value(), 3)) }
                    td.n { (shown::fixed(r.value.standard_uncertainty(), 3)) }
                    td.n { (net(r)) }
                    td.n { (log_h(r)) }
                    td.n { (r.fitted.map_or_else(none, |v| shown::fixed(v, 3))) }
                    td.n { (shown::fixed(r.allowed, 3)) }
                    td.n { (shown::fixed(r.weight, 2)) }
                    td.some { (r.origin) }
                    td { (flag_names(r.value.flags())) }
                } }
            }
        }
    };
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

fn none() -> String {
    "–".to_owned()
}

/// The frames as the fit sees them, with uncertainties that the answer leaves out.
fn fitted_frames(found: &Findings) -> Markup {
    let stops = |of: &Option<Measured<Stops>>| {
        of.as_ref().map_or_else(none, |m| {
            let sd = shown::fixed(m.standard_uncertainty(), 1);
            format!("{} ± {sd}", shown::signed_stops(m.value()))
        })
    };
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Frame" }
                th scope="col" { "Verdict" }
                th.n scope="col" { "Stops missing" }
                th.n scope="col" { "Stops off the record" }
                th.n scope="col" { "EI, filter included" }
                th scope="col" { "Flags" }
            } }
            tbody {
                @for f in &found.frames { tr {
                    th scope="row" { (name(&f.frame)) }
                    td.word { (verdict_word(f.verdict)) }
                    td.n {
                        @match (&f.stops_missing, f.stops_missing_bound) {
                            (Some(limit), bound @ Some(_)) => (shown::signed_stops_or_limit(limit.value(), bound)),
                            (missing, _) => (stops(missing)),
                        }
                    }
                    td.n { (stops(&f.exposure_error)) }
                    td.n { (f.effective_ei.map_or_else(none, shown::ei)) }
                    td.some { (flag_names(&f.flags)) }
                } }
            }
        }
    };
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

fn curve_samples(found: &Findings) -> Markup {
    html! {
        @if !found.curves.is_empty() { h3 { "Curves as drawn" } }
        @for curve in &found.curves {
            @let every = curve.samples.len().div_ceil(CURVE_ROWS).max(1);
            @let name = format!("Curve of {} in {}", curve.film, curve.process);
            div.slim { (wide(&name, html! {
                table {
                    caption {
                        (name) ", " (curve.samples.len()) " samples"
                        @if every > 1 { ", one row for every " (every) " of them" }
                    }
                    thead { tr {
                        th.n scope="col" {
                            @if curve.absolute_exposure { "log H (lux seconds)" } @else { "relative log H" }
                        }
                        th.n scope="col" { (capital(response_words(curve.response))) }
                        th.n scope="col" { "sd" }
                    } }
                    tbody {
                        @for sample in curve.samples.iter().step_by(every) { tr {
                            td.n { (shown::fixed(sample.log_h, 3)) }
                            td.n { (shown::fixed(sample.value, 3)) }
                            td.n { (shown::fixed(sample.standard_uncertainty, 3)) }
                        } }
                    }
                }
            })) }
        }
    }
}

fn time_words(time: Seconds) -> String {
    exposure::format_time(time)
}

fn exposure_cells(frame: &Frame) -> [String; 7] {
    // Light, lens, EI set, aperture, marked time, actual time, reading and bellows.
    match &frame.exposure {
        Exposure::Camera(c) => {
            let actual = c.time.actual.map_or_else(none, |t| {
                c.time.actual_uncertainty_stops.map_or_else(
                    || time_words(t),
                    |sd| format!("{} ± {} stops", time_words(t), shown::fixed(sd, 2)),
                )
            });
            let mut more = Vec::new();
            if let Some(reading) = c.reading {
                more.push(reading_words(reading));
            }
            match c.bellows {
                Some(Bellows::Magnification(m)) => {
                    more.push(format!("magnification {}", shown::fixed(m.to_ratio(), 3)));
                }
                Some(Bellows::Draw(draw)) => {
                    more.push(format!("bellows draw {} mm", shown::fixed(draw.to_mm(), 0)));
                }
                None => {}
            }
            [
                c.light.to_string(),
                c.lens.as_ref().map_or_else(none, ToString::to_string),
                c.ei.map_or_else(none, shown::ei),
                exposure::format_aperture(c.aperture),
                time_words(c.time.marked),
                actual,
                more.join(", "),
            ]
        }
        Exposure::Relative(log_h) => [
            none(),
            none(),
            none(),
            none(),
            none(),
            none(),
            format!(
                "relative log H {}",
                shown::value_with_uncertainty(
                    log_h.value().to_log10(),
                    log_h.standard_uncertainty()
                )
            ),
        ],
        Exposure::Tablet {
            tablet,
            without_tablet,
        } => [
            none(),
            none(),
            none(),
            none(),
            none(),
            none(),
            match without_tablet {
                None => format!("through tablet {tablet}"),
                Some(log_h) => format!(
                    "through tablet {tablet}; log H without it {}",
                    shown::value_with_uncertainty(
                        log_h.value().to_log10(),
                        log_h.standard_uncertainty()
                    )
                ),
            },
        ],
        Exposure::None => [
            none(),
            none(),
            none(),
            none(),
            none(),
            none(),
            "not exposed".to_owned(),
        ],
    }
}

fn exposures(frames: &[Frame]) -> Markup {
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Frame" }
                th scope="col" { "Role" }
                th scope="col" { "Film" }
                th scope="col" { "Filter" }
                th scope="col" { "Process" }
                th scope="col" { "Holder" }
                th scope="col" { "Light" }
                th scope="col" { "Lens" }
                th.n scope="col" { "EI set" }
                th.n scope="col" { "Aperture" }
                th.n scope="col" { "Marked time" }
                th.n scope="col" { "Actual time" }
                th scope="col" { "Reading, bellows, tablet" }
                th scope="col" { "Remarks" }
            } }
            tbody {
                @for frame in frames {
                    @let [light, lens, ei, aperture, marked, actual, more] = exposure_cells(frame);
                    tr {
                        th scope="row" { (name(&frame.id)) }
                        td.word { (frame.role.words()) }
                        td.word { (name(&frame.film)) }
                        td.word { (name(figures::filters_words(&frame.filters))) }
                        td.word { (name(&frame.process)) }
                        td.word { (name(frame.holder.as_deref().unwrap_or("–"))) }
                        td.word { (name(&light)) }
                        td.word { (name(&lens)) }
                        td.n { (ei) }
                        td.n { (aperture) }
                        td.n { (marked) }
                        td.n { (actual) }
                        td.some { (more) }
                        td.long { (frame.remarks.as_deref().unwrap_or("")) }
                    }
                }
            }
        }
    };
    wide("Exposure records", table)
}

fn lights(parts: &TestParts) -> Markup {
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Light" }
                th scope="col" { "Sky" }
                th scope="col" { "Place" }
                th scope="col" { "Time" }
                th scope="col" { "Reading" }
                th scope="col" { "Meter" }
                th.n scope="col" { "Drift, stops" }
                th scope="col" { "Remarks" }
            } }
            tbody {
                @for l in &parts.lights { tr {
                    th scope="row" { (name(&l.id)) }
                    td.word { (l.sky.words()) }
                    td { (l.place.as_deref().unwrap_or("–")) }
                    td.word { (l.time.as_deref().unwrap_or("–")) }
                    td.word { (l.reading.map_or("none".to_owned(), reading_words)) }
                    td.some { (meter_words(l)) }
                    td.n { (l.drift.map_or("–".to_owned(), |d| shown::fixed(d.to_stops(), 2))) }
                    td.long { (l.remarks.as_deref().unwrap_or("")) }
                } }
            }
        }
    };
    html! {
        @if !parts.lights.is_empty() { h3 { "Light" } (wide("Light", table)) }
    }
}

fn materials(parts: &TestParts) -> Markup {
    let films = html! {
        table {
            thead { tr {
                th scope="col" { "Film" }
                th scope="col" { "Name" }
                th scope="col" { "Format" }
                th.n scope="col" { "Box speed" }
                th scope="col" { "Batch" }
                th scope="col" { "Expiry" }
                th scope="col" { "Reciprocity law" }
            } }
            tbody {
                @for f in &parts.films { tr {
                    th scope="row" { (name(&f.id)) }
                    td { (f.name) }
                    td.word { (f.format.as_deref().unwrap_or("–")) }
                    td.n { (f.box_speed.map_or("–".to_owned(), shown::ei)) }
                    td.word { (f.batch.as_deref().unwrap_or("–")) }
                    td.word { (f.expiry.as_deref().unwrap_or("–")) }
                    td {
                        @match &f.reciprocity {
                            Some(law) => { (law.law) ", " (law.source) },
                            None => "none given",
                        }
                    }
                } }
            }
        }
    };
    let level = |level| match level {
        EdgeLevel::HalfTransmittance => "at 50 % transmittance",
        EdgeLevel::HalfOfPeak => "at half of its peak",
        EdgeLevel::TenPercent => "at 10 % transmittance",
        EdgeLevel::MinusThreeStops => "three stops below its peak",
        EdgeLevel::NotStated => "level not stated",
    };
    let filters = html! {
        table {
            thead { tr {
                th scope="col" { "Filter" }
                th scope="col" { "Name" }
                th scope="col" { "Marking" }
                th scope="col" { "Cut-on" }
                th scope="col" { "Stated factor" }
            } }
            tbody {
                @for f in &parts.filters { tr {
                    th scope="row" { (name(&f.id)) }
                    td { (f.name) }
                    td.word { (f.marking.as_deref().unwrap_or("–")) }
                    td.word {
                        @match f.edge {
                            Some(edge) => { (shown::fixed(edge.wavelength.to_nm(), 0)) " nm, " (level(edge.level)) },
                            None => "not given",
                        }
                    }
                    td {
                        @match &f.stated_factor {
                            Some(stated) => { (shown::factor(stated.factor)) ", " (stated.basis) },
                            None => "none",
                        }
                    }
                } }
            }
        }
    };
    html! {
        @if !parts.films.is_empty() { h3 { "Films" } (wide("Films", films)) }
        @if !parts.filters.is_empty() { h3 { "Filters" } (wide("Filters", filters)) }
    }
}

fn processes(parts: &TestParts) -> Markup {
    let minutes = |time: Seconds| {
        let seconds = time.to_s();
        let whole = (seconds / 60.0).floor();
        format!("{whole:.0} min {:02.0} s", seconds - 60.0 * whole)
    };
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Process" }
                th scope="col" { "Developer" }
                th scope="col" { "Dilution" }
                th.n scope="col" { "Time" }
                th.n scope="col" { "Temperature" }
                th scope="col" { "Agitation" }
                th scope="col" { "Remarks" }
            } }
            tbody {
                @for p in &parts.processes { tr {
                    th scope="row" { (name(&p.id)) }
                    td { (p.developer) }
                    td.word { (p.dilution.as_deref().unwrap_or("–")) }
                    td.n { (p.time.map_or("–".to_owned(), minutes)) }
                    td.n { (p.temperature.map_or("–".to_owned(), |t| format!("{} °C", shown::fixed(t.to_c(), 1)))) }
                    td { (p.agitation.as_deref().unwrap_or("–")) }
                    td.long { (p.remarks.as_deref().unwrap_or("")) }
                } }
            }
        }
    };
    html! {
        @if !parts.processes.is_empty() { h3 { "Processes" } (wide("Processes", table)) }
    }
}

fn lenses(parts: &TestParts) -> Markup {
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Lens" }
                th scope="col" { "Name" }
                th.n scope="col" { "Focal length" }
                th.n scope="col" { "Pupil ratio" }
                th scope="col" { "Measured times: marked, actual, spread" }
            } }
            tbody {
                @for l in &parts.lenses { tr {
                    th scope="row" { (name(&l.id)) }
                    td { (l.name) }
                    td.n { (l.focal_length.map_or("–".to_owned(), |f| format!("{} mm", shown::fixed(f.to_mm(), 0)))) }
                    td.n { (l.pupil_ratio.map_or("–".to_owned(), |p| shown::fixed(p.to_ratio(), 2))) }
                    td {
                        @if l.shutter.measured.is_empty() { "none measured" }
                        @for (place, m) in l.shutter.measured.iter().enumerate() {
                            @if place > 0 { "; " }
                            (time_words(m.marked)) ", " (time_words(m.actual)) ", "
                            (shown::fixed(m.spread.to_stops(), 2)) " stops"
                        }
                    }
                } }
            }
        }
    };
    html! {
        @if !parts.lenses.is_empty() { h3 { "Lenses and shutters" } (wide("Lenses and shutters", table)) }
    }
}

fn tablets(parts: &TestParts) -> Markup {
    html! {
        @if !parts.tablets.is_empty() { h3 { "Step tablets" } }
        @for tablet in &parts.tablets {
            p {
                b { (tablet.id) }
                @if let Some(serial) = &tablet.serial { ", serial " (serial) }
                @if tablet.certified { ", certified" } @else { ", nominal densities" }
                ": "
                @for (place, step) in tablet.steps.iter().enumerate() {
                    @if place > 0 { ", " }
                    (place + 1) ": " (shown::density(step.value().to_density()))
                }
                "."
            }
        }
    }
}

fn outside_reports(parts: &TestParts) -> Markup {
    let seen = |seen| match seen {
        Seen::Blank => "nothing",
        Seen::Trace => "a trace",
        Seen::Image => "an image",
        Seen::Printable => "a printable negative",
    };
    html! {
        @if !parts.outside_reports.is_empty() {
            h3 { "Other people’s reports" }
            ul {
                @for r in &parts.outside_reports {
                    li {
                        (r.id) ": " (r.film) " behind " (r.filter)
                        @if let Some(ei) = r.ei { ", EI " (shown::ei(ei)) }
                        @if let Some(light) = &r.light { ", " (light) }
                        "; seen: " (seen(r.seen))
                        @if let Some(source) = &r.source { " (" (source) ")" }
                    }
                }
            }
        }
    }
}

fn files(input: &ReportInput<'_>) -> Markup {
    let table = html! {
        table {
            thead { tr {
                th scope="col" { "Scan" }
                th scope="col" { "File" }
                th scope="col" { "SHA-256" }
            } }
            tbody {
                @for scan in &input.scans { tr {
                    th scope="row" { (name(&scan.scan)) }
                    td { (scan.file) }
                    td.hash { (scan.sha256) }
                } }
            }
        }
    };
    html! {
        @if !input.scans.is_empty() { h3 { "Files of the scans" } (wide("Files of the scans", table)) }
    }
}

fn recompute(input: &ReportInput<'_>) -> Markup {
    let found = input.findings;
    html! {
        h3 { "To work it out again" }
        p {
            "Made with version " (input.version) ", method " (found.method) ". The same test folder gives the same findings"
            @if !input.scans.is_empty() { "; compare the files by their SHA-256 first" }
            "."
        }
        @if !input.recompute.is_empty() {
            pre { code { (input.recompute.join("\n")) } }
        }
    }
}

/// Every flag that the report shows anywhere, with its sentence.
fn flags(input: &ReportInput<'_>) -> Markup {
    let found = input.findings;
    let mut seen: BTreeSet<Flag> = BTreeSet::new();
    seen.extend(found.flags.iter());
    for c in &found.curves {
        seen.extend(c.flags.iter());
        seen.extend(c.criteria.iter().flat_map(|r| r.flags.iter()));
    }
    for f in &found.frames {
        seen.extend(f.flags.iter());
        seen.extend(f.patches.iter().flat_map(|p| p.reading.flags().iter()));
    }
    seen.extend(found.factors.iter().flat_map(|f| f.flags.iter()));
    seen.extend(found.speeds.iter().flat_map(|s| s.flags.iter()));
    seen.extend(found.wood_effect.iter().flat_map(|w| w.flags.iter()));
    seen.extend(found.readings.iter().flat_map(|r| r.value.flags().iter()));
    seen.extend(
        input
            .scans
            .iter()
            .flat_map(|s| s.flags.iter().map(|f| f.flag)),
    );
    html! {
        @if !seen.is_empty() {
            h3 { "Flags in this report" }
            dl {
                @for flag in &seen {
                    dt { (flag_words(*flag)) }
                    dd { (sentence(flag.meaning())) }
                }
            }
        }
    }
}

/// Names the lights in words for the head of the report.
pub(crate) fn light_list(test: &Test) -> String {
    let names: Vec<_> = test
        .parts()
        .lights
        .iter()
        .map(|l| light_name(test, &l.id))
        .collect();
    names.join("; ")
}
