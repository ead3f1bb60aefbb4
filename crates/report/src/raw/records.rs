//! Records of lights, materials, processes, lenses, tablets and outside reports.

use super::none;
use crate::table::Table;
use crate::words::{meter_words, name, reading_words, wide};
use exposure::format_time;
use figures::shown;
use maud::{Markup, html};
use quantity::Seconds;
use record::{
    EdgeLevel, Film, Filter, Lens, Light, OutsideReport, Process, Seen, Tablet, TestParts,
};

/// Each kind of record that there is, under its own heading.
pub(super) fn records(parts: &TestParts) -> Markup {
    html! {
        (headed("Light", &parts.lights, lights))
        (headed("Films", &parts.films, films))
        (headed("Filters", &parts.filters, filters))
        (headed("Processes", &parts.processes, processes))
        (headed("Lenses and shutters", &parts.lenses, lenses))
        (tablets(&parts.tablets))
        (outside_reports(&parts.outside_reports))
    }
}

fn headed<R>(heading: &str, records: &[R], table: impl Fn(&[R]) -> Markup) -> Markup {
    html! {
        @if !records.is_empty() { h3 { (heading) } (wide(heading, table(records))) }
    }
}

/// Text as it was written down, where it was.
fn written(text: Option<&String>) -> &str {
    text.map_or("–", String::as_str)
}

/// Remarks, where there are any.
fn remarks(text: Option<&String>) -> &str {
    text.map_or("", String::as_str)
}

fn lights(lights: &[Light]) -> Markup {
    Table::<&Light>::new()
        .name("Light", |l| name(&l.id))
        .words("Sky", |l| l.sky.words())
        .text("Place", |l| written(l.place.as_ref()))
        .words("Time", |l| written(l.time.as_ref()))
        .words("Reading", |l| {
            l.reading.map_or("none".to_owned(), reading_words)
        })
        .phrase("Meter", meter_words)
        .number("Drift, stops", |l| {
            l.drift.map_or_else(none, |d| shown::fixed(d.to_stops(), 2))
        })
        .sentences("Remarks", |l| remarks(l.remarks.as_ref()))
        .of(lights)
}

fn films(films: &[Film]) -> Markup {
    Table::<&Film>::new()
        .name("Film", |f| name(&f.id))
        .text("Name", |f| &f.name)
        .words("Format", |f| written(f.format.as_ref()))
        .number("Box speed", |f| f.box_speed.map_or_else(none, shown::ei))
        .words("Batch", |f| written(f.batch.as_ref()))
        .words("Expiry", |f| written(f.expiry.as_ref()))
        .text("Reciprocity law", |f| match &f.reciprocity {
            Some(law) => format!("{}, {}", law.law, law.source),
            None => "none given".to_owned(),
        })
        .of(films)
}

fn filters(filters: &[Filter]) -> Markup {
    Table::<&Filter>::new()
        .name("Filter", |f| name(&f.id))
        .text("Name", |f| &f.name)
        .words("Marking", |f| written(f.marking.as_ref()))
        .words("Cut-on", |f| match f.edge {
            Some(edge) => format!(
                "{} nm, {}",
                shown::fixed(edge.wavelength.to_nm(), 0),
                level_words(edge.level)
            ),
            None => "not given".to_owned(),
        })
        .text("Stated factor", |f| match &f.stated_factor {
            Some(stated) => format!("{}, {}", shown::factor(stated.factor), stated.basis),
            None => "none".to_owned(),
        })
        .of(filters)
}

fn level_words(level: EdgeLevel) -> &'static str {
    match level {
        EdgeLevel::HalfTransmittance => "at 50 % transmittance",
        EdgeLevel::HalfOfPeak => "at half of its peak",
        EdgeLevel::TenPercent => "at 10 % transmittance",
        EdgeLevel::MinusThreeStops => "three stops below its peak",
        EdgeLevel::NotStated => "level not stated",
    }
}

fn processes(processes: &[Process]) -> Markup {
    Table::<&Process>::new()
        .name("Process", |p| name(&p.id))
        .text("Developer", |p| &p.developer)
        .words("Dilution", |p| written(p.dilution.as_ref()))
        .number("Time", |p| p.time.map_or_else(none, minutes))
        .number("Temperature", |p| {
            p.temperature
                .map_or_else(none, |t| format!("{} °C", shown::fixed(t.to_c(), 1)))
        })
        .text("Agitation", |p| written(p.agitation.as_ref()))
        .sentences("Remarks", |p| remarks(p.remarks.as_ref()))
        .of(processes)
}

fn minutes(time: Seconds) -> String {
    let seconds = time.to_s();
    let whole = (seconds / 60.0).floor();
    format!("{whole:.0} min {:02.0} s", seconds - 60.0 * whole)
}

fn lenses(lenses: &[Lens]) -> Markup {
    Table::<&Lens>::new()
        .name("Lens", |l| name(&l.id))
        .text("Name", |l| &l.name)
        .number("Focal length", |l| {
            l.focal_length
                .map_or_else(none, |f| format!("{} mm", shown::fixed(f.to_mm(), 0)))
        })
        .number("Pupil ratio", |l| {
            l.pupil_ratio
                .map_or_else(none, |p| shown::fixed(p.to_ratio(), 2))
        })
        .text("Measured times: marked, actual, spread", measured_times)
        .of(lenses)
}

fn measured_times(lens: &Lens) -> String {
    let times: Vec<String> = lens
        .shutter
        .measured
        .iter()
        .map(|m| {
            format!(
                "{}, {}, {} stops",
                format_time(m.marked),
                format_time(m.actual),
                shown::fixed(m.spread.to_stops(), 2)
            )
        })
        .collect();
    if times.is_empty() {
        return "none measured".to_owned();
    }
    times.join("; ")
}

fn tablets(tablets: &[Tablet]) -> Markup {
    html! {
        @if !tablets.is_empty() { h3 { "Step tablets" } }
        @for tablet in tablets {
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

fn outside_reports(reports: &[OutsideReport]) -> Markup {
    let seen = |seen| match seen {
        Seen::Blank => "nothing",
        Seen::Trace => "a trace",
        Seen::Image => "an image",
        Seen::Printable => "a printable negative",
    };
    html! {
        @if !reports.is_empty() {
            h3 { "Other people’s reports" }
            ul {
                @for r in reports {
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
