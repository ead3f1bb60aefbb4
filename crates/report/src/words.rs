//! Names and small pieces that several parts of the report share.

use figures::shown;
use maud::{Markup, html};
use quantity::{Flag, Flags};
use record::{Id, Light, LightReading, Response, Test};

/// Gives what a film is called.
pub(crate) fn film_name(test: &Test, id: &Id) -> String {
    test.film(id)
        .map_or_else(|| id.to_string(), |f| f.name.clone())
}

/// Gives what filters are called, in order, joined by `+`.
pub(crate) fn filter_names(test: &Test, ids: &[Id]) -> String {
    if ids.is_empty() {
        return "no filter".to_owned();
    }
    let names: Vec<_> = ids
        .iter()
        .map(|id| {
            test.filter(id)
                .map_or_else(|| id.to_string(), |f| f.name.clone())
        })
        .collect();
    names.join(" + ")
}

/// Letters of a word from which on it is broken where a line ends.
const LONG_WORD: usize = 24;

/// Shows a name apart from what stands about it: letters that run from right to left, or
/// marks that turn them, stay within it, and a long word is broken where a line ends.
pub fn name(text: impl core::fmt::Display) -> Markup {
    let text = text.to_string();
    let long = text
        .split_whitespace()
        .any(|word| word.chars().count() > LONG_WORD);
    html! { bdi class=[long.then_some("long-name")] { (text) } }
}

/// Names a scan, without saying `scan` twice.
pub(crate) fn scan_name(id: &Id) -> String {
    if id.as_str().to_lowercase().starts_with("scan") {
        id.to_string()
    } else {
        format!("scan {id}")
    }
}

/// Writes a count with its noun: `1 frame`, `5 frames`.
pub(crate) fn counted(count: usize, noun: &str) -> String {
    if count == 1 {
        format!("1 {noun}")
    } else {
        format!("{count} {noun}s")
    }
}

/// Gives a light by its name and sky: `noon, clear sun`.
pub(crate) fn light_name(test: &Test, id: &Id) -> String {
    test.light(id)
        .map_or_else(|| id.to_string(), |l| format!("{id}, {}", l.sky.words()))
}

/// Writes a meter reading with its unit.
pub(crate) fn reading_words(reading: LightReading) -> String {
    match reading {
        LightReading::Ev100(ev) => format!("EV {} at ISO 100", shown::fixed(ev.to_ev(), 1)),
        LightReading::Illuminance(e) => format!("{} lux", three_digits(e.to_lux())),
        LightReading::Luminance(l) => format!("{} cd/m²", three_digits(l.to_cd_per_m2())),
    }
}

/// Writes a positive number with about three digits.
pub(crate) fn three_digits(value: f64) -> String {
    if value >= 100.0 {
        shown::fixed(value, 0)
    } else if value >= 10.0 {
        shown::fixed(value, 1)
    } else {
        shown::fixed(value, 2)
    }
}

/// Writes how a light was metered.
pub(crate) fn meter_words(light: &Light) -> String {
    let Some(meter) = &light.meter else {
        return "meter not written down".to_owned();
    };
    let mut parts = vec![meter.name.clone().unwrap_or_else(|| "meter".to_owned())];
    parts.push(
        match meter.mode {
            record::MeterMode::Incident => "incident",
            record::MeterMode::Spot => "spot",
            record::MeterMode::Averaging => "averaging",
        }
        .to_owned(),
    );
    match meter.cell {
        record::MeterCell::Silicon => parts.push("silicon cell".to_owned()),
        record::MeterCell::CadmiumSulphide => parts.push("cadmium sulphide cell".to_owned()),
        record::MeterCell::Selenium => parts.push("selenium cell".to_owned()),
        record::MeterCell::NotStated => {}
    }
    if let Some(target) = &meter.target {
        parts.push(format!("on {target}"));
    }
    if meter.placement != quantity::Stops::ZERO {
        parts.push(format!(
            "placed {} stops",
            shown::signed_stops(meter.placement)
        ));
    }
    if meter.through_filter {
        parts.push("through the filter".to_owned());
    }
    parts.join(", ")
}

/// Gives the words for a kind of number.
pub(crate) fn response_words(response: Response) -> &'static str {
    match response {
        Response::Density => "gross density",
        Response::RelativeDensity => "relative density",
        Response::LogSignal => "log signal",
    }
}

/// Gives a flag's name as words.
pub(crate) fn flag_words(flag: Flag) -> String {
    flag.name().replace('_', " ").replace("iso", "ISO")
}

/// Gives the names of flags, for a cell of a table.
pub(crate) fn flag_names(flags: &Flags) -> String {
    let names: Vec<_> = flags.iter().map(flag_words).collect();
    names.join(", ")
}

/// Writes flags with their sentences, each with a mark in the margin.
pub(crate) fn flag_notes(flags: &Flags) -> Markup {
    html! {
        @for flag in flags.iter() {
            p.note { b { (capital(&flag_words(flag))) ": " } (flag.meaning()) "." }
        }
    }
}

/// Gives a text with a capital letter first.
pub(crate) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map(|c| c.to_uppercase().chain(chars).collect())
        .unwrap_or_default()
}

/// Gives a sentence: a capital first and a full stop last.
pub(crate) fn sentence(text: &str) -> String {
    let text = capital(text.trim());
    if text.is_empty() || text.ends_with(['.', '!', '?']) {
        text
    } else {
        format!("{text}.")
    }
}

/// Wraps a table so that a narrow screen scrolls the table and not the page.
pub(crate) fn wide(name: &str, table: Markup) -> Markup {
    html! { div.wide role="region" aria-label=(name) tabindex="0" { (table) } }
}

/// Wraps a table whose rows a phone folds into lines of label and value; the
/// labels stand in the style sheet under the class.
pub(crate) fn folding(class: &str, table: Markup) -> Markup {
    html! { div.fold.(class) { (table) } }
}

/// Shows a figure in the width of the page and in that of a phone.
pub(crate) fn figure(draw: impl Fn(figures::Sheet) -> Option<String>) -> Markup {
    drawn(draw(figures::Sheet::PAGE), draw(figures::Sheet::PHONE))
}

/// Shows one figure as drawn for the page and for a phone.
pub(crate) fn drawn(page: Option<String>, phone: Option<String>) -> Markup {
    use maud::PreEscaped;
    let Some(page) = page else {
        return html! {};
    };
    html! {
        figure {
            @if let Some(phone) = phone {
                div.on-page { (PreEscaped(page)) }
                div.on-phone { (PreEscaped(phone)) }
            } @else {
                (PreEscaped(page))
            }
        }
    }
}
