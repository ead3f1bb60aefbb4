//! A plan while it is made: the form, and what the plan promises as sheets and
//! filters change.
//!
//! The form works by itself; `question.js` asks for the answer alone whenever a field
//! changes.

use crate::drawing::drawing;
use crate::form::{field, fields};
use crate::layout::{Frame, Step, page, token_field};
use crate::pages::history::number as revision;
use crate::pages::plan::planned_table;
use crate::pages::spectra::LEVELS;
use crate::pages::spectra_fields::{OwnCurves, film_class_field, own_curve_fields};
use crate::plan_form::{Fields, SKIES, Source, film_of, of_new, of_test, source};
use crate::refusal::{Refusal, sentence};
use crate::shared::{Shared, away};
use app::shown::Sheet;
use app::{
    Carried, KeepError, Planned, PlannedRow, SpectraChoices, promise_figure, spectra_choices,
};
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde_json::Value;
use std::sync::Arc;

/// Most sheets that the slider reaches; a plan has no more.
const MOST_SHEETS: usize = 24;

/// Values of a form: what was typed, or what is usual.
pub(crate) struct Values<'a> {
    pub(crate) typed: &'a Fields,
}

impl Values<'_> {
    pub(crate) fn of(&self, name: &str, usual: &str) -> String {
        match self.typed.iter().find(|(n, _)| n == name) {
            Some((_, value)) => value.clone(),
            None => usual.to_owned(),
        }
    }

    /// Whether a box is ticked; `usual` while nothing was typed at all.
    fn ticked(&self, name: &str, usual: bool) -> bool {
        if self.typed.is_empty() {
            usual
        } else {
            field(self.typed, name) == "on"
        }
    }
}

pub(crate) fn text_field(name: &str, words: &str, value: &str, mode: &str) -> Markup {
    html! {
        label {
            span { (words) }
            input name=(name) value=(value) required[mode == "required"]
                inputmode=[matches!(mode, "decimal" | "numeric").then_some(mode)] autocomplete="off";
        }
    }
}

/// What the expected factor rests on: class and cut-on, spectra, or a number that is known.
/// `one` is asked for the fields of a factor that is known.
pub(crate) fn source_fields(
    values: &Values<'_>,
    choices: &SpectraChoices,
    known: Markup,
) -> Markup {
    let from = source(values.typed);
    let (film, filter) = (values.of("film_curve", ""), values.of("filter_curve", ""));
    let curves = OwnCurves {
        film: &film,
        film_log: values.ticked("film_log", false),
        filter: &filter,
    };
    html! {
        (film_class_field(choices, &values.of("film_class", "extended-red")))
        fieldset.slider {
            legend { "The factor to expect" }
            label { input type="radio" name="source" value="practice" checked[from == Source::CommonPractice]; "by class of film and cut-on, common practice" }
            label { input type="radio" name="source" value="spectra" checked[from == Source::Spectra]; "from spectra" }
            label { input type="radio" name="source" value="known" checked[from == Source::Known]; "known from before" }
        }
        div data-when="source" data-is="spectra" {
            label.slider { span { "Height of the sun" output data-of="sun_deg" data-unit="°" { (values.of("sun_deg", "45")) "°" } }
                input type="range" name="sun_deg" min="2" max="75" step="1" value=(values.of("sun_deg", "45"));
            }
            label.slider { span { "The filter's curve" }
                select name="gelatin" {
                    option value="" { "by its cut-on" }
                    @for number in &choices.gelatin_filters {
                        option value=(number) selected[values.of("gelatin", "") == *number] { "gelatin " (number) ", published table" }
                    }
                }
            }
            (own_curve_fields(curves, html! {}))
        }
        div data-when="source" data-is="known" { (known) }
    }
}

/// The factor of one filter that is known, and how well.
pub(crate) fn known_fields(
    values: &Values<'_>,
    of: &str,
    name: &str,
    found: Option<(f64, f64)>,
) -> Markup {
    let ending = if of.is_empty() {
        String::new()
    } else {
        format!(".{of}")
    };
    let (stops, sd) = found.unwrap_or((8.0, 0.7));
    let usual = |value: f64| app::shown::fixed(value, 1);
    html! {
        div.fields {
            (text_field(&format!("known_stops{ending}"), &format!("Factor of {name}, stops"), &values.of(&format!("known_stops{ending}"), &usual(stops)), "decimal"))
            (text_field(&format!("known_sd{ending}"), "give or take, stops (one standard deviation)", &values.of(&format!("known_sd{ending}"), &usual(sd.max(0.1))), "decimal"))
        }
    }
}

pub(crate) fn light_fields(values: &Values<'_>) -> Markup {
    html! {
        label.slider { span { "Light" }
            select name="sky" {
                @for sky in SKIES { option value=(sky) selected[values.of("sky", "clear-sun") == sky] { (sky.replace('-', " ")) } }
            }
        }
        (text_field("ev100", "Reading as EV at ISO 100, if there is one", &values.of("ev100", ""), "decimal"))
    }
}

/// Sheets, times and what is at hand.
pub(crate) fn means_fields(
    values: &Values<'_>,
    sheets: usize,
    aperture: &str,
    tablet: bool,
    holders: Markup,
) -> Markup {
    let sheets = values.of("sheets", &sheets.clamp(2, MOST_SHEETS).to_string());
    html! {
        label.slider { span { "Sheets to be spent" output data-of="sheets" data-unit="" { (sheets) } }
            input type="range" name="sheets" min="2" max=(MOST_SHEETS) step="1" value=(sheets);
        }
        (holders)
        div.slider {
            label { input type="checkbox" name="measured_shutter" checked[values.ticked("measured_shutter", false)]; "The shutter was measured" }
            label { input type="checkbox" name="tablet" checked[values.ticked("tablet", tablet)]; "A step tablet is at hand" }
            label { input type="checkbox" name="red_filter" checked[values.ticked("red_filter", true)]; "A plain red filter is at hand" }
        }
        details {
            summary { "Lens and shutter" }
            div.fields {
                (text_field("aperture", "Aperture you like to use, f/", &values.of("aperture", aperture), "decimal"))
                (text_field("widest", "Widest aperture, f/", &values.of("widest", "5.6"), "decimal"))
                (text_field("smallest", "Smallest aperture, f/", &values.of("smallest", "45"), "decimal"))
                (text_field("longest", "Longest time that can be borne, s", &values.of("longest", "60"), "decimal"))
                (text_field("shortest", "Shortest time of the shutter, s", &values.of("shortest", "1/500"), "decimal"))
            }
        }
    }
}

/// The plan of a test that is recorded, to be made.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    asking(&shared, test, &vec![], None).await
}

async fn asking(
    shared: &Arc<Shared>,
    test: u32,
    typed: &Fields,
    told: Option<&Refusal>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let (open, found) =
        away(move || Ok::<_, KeepError>((book.open(test)?, book.evaluated(test)?))).await?;
    let id = test.to_string();
    let frame = Frame {
        token: shared.token(),
        modules: &["question.js"],
        ..Frame::of_test(&open, &id, Step::Plan)
    };
    let carried = &open.carried;
    if carried.films.is_empty() || carried.filters.is_empty() {
        return Ok(page(
            &frame,
            html! {
                div.empty {
                    p { "A plan is made for a film behind a filter." }
                    p { "This test has no " @if carried.films.is_empty() { "film" } @else { "filter" } " yet." }
                    div.actions { a.button.main href=(Step::Exposures.of(&id)) { "Write them down" } }
                }
            },
        ));
    }
    let measured = |filter: &str| app::factor_found(&found.as_ref()?.json, filter);
    let choices = spectra_choices()?;
    let values = Values { typed };
    Ok(page(
        &frame,
        html! {
            @if let Some(refusal) = told {
                p.told role="alert" { (sentence(&refusal.told.problem)) " " (sentence(&refusal.told.remedy)) }
            }
            @if carried.exposed > 0 || !open.planned.is_empty() {
                p {
                    @if !open.planned.is_empty() { "The plan that stands now is replaced; the history keeps it. " }
                    @if carried.exposed > 0 { "What is recorded as exposed stays, and frames of the new plan get names of their own." }
                }
            }
            div.two {
                form #question method="post" action=(format!("/tests/{id}/plan")) data-answer=(format!("/tests/{id}/plan/answer")) data-keeps {
                    (token_field(shared.token()))
                    input type="hidden" name="expected_revision" value=(open.revision);
                    (carried_fields(&values, carried))
                    (source_fields(&values, &choices, html! {
                        @for filter in &carried.filters {
                            (known_fields(&values, &filter.id, &filter.name, measured(&filter.id)))
                        }
                    }))
                    (means_fields(
                        &values,
                        carried.sheets.unwrap_or(8),
                        &carried.aperture.map_or_else(|| "16".to_owned(), |a| app::shown::fixed(a, 1).trim_end_matches(".0").to_owned()),
                        carried.tablet,
                        text_field("holder_names", "Holders of two sides, by their names", &values.of("holder_names", &holders(carried)), ""),
                    ))
                    p.actions { button.main { "Keep this plan" } a.button href=(Step::Plan.of(&id)) { "Leave it" } }
                }
                (answer_to_come())
            }
        },
    ))
}

/// Names of the holders that the test has, or of four.
fn holders(carried: &Carried) -> String {
    let names = if carried.holders.is_empty() {
        (1..=4).map(|n: u32| n.to_string()).collect()
    } else {
        carried.holders.clone()
    };
    names.join(", ")
}

fn carried_fields(values: &Values<'_>, carried: &Carried) -> Markup {
    let film = film_of(values.typed, carried);
    let speed = film
        .and_then(|f| f.box_speed)
        .map(|speed| speed.to_string())
        .unwrap_or_default();
    let chosen = |id: &str| {
        let any = values.typed.iter().any(|(name, _)| name == "filter_id");
        if any {
            values
                .typed
                .iter()
                .any(|(name, value)| name == "filter_id" && value == id)
        } else {
            usual_filter(carried).is_some_and(|usual| usual == id)
        }
    };
    let light = values.of("light_id", carried.lights.first().map_or("", |l| &l.id));
    html! {
        label.slider { span { "Film" }
            select name="film_id" {
                @for film in &carried.films {
                    option value=(film.id) selected[values.of("film_id", "") == film.id] { (film.name) }
                }
            }
        }
        (text_field("box_speed", "Speed on its box", &values.of("box_speed", &speed), "decimal"))
        fieldset.slider {
            legend { "Filters" }
            @for filter in &carried.filters {
                label { input type="checkbox" name="filter_id" value=(filter.id) checked[chosen(&filter.id)];
                    (filter.name) " " span.muted { @match &filter.edge {
                        Some(edge) => { (edge_words(edge)) }
                        None => { "no cut-on written down" }
                    } }
                }
            }
        }
        label.slider { span { "Light" }
            select name="light_id" {
                @for of in &carried.lights {
                    option value=(of.id) selected[light == of.id] {
                        (of.id) ": " (of.sky.as_deref().map_or("sky not stated".to_owned(), |s| s.replace('-', " ")))
                        @if let Some(ev) = of.ev100 { ", EV " (ev) }
                    }
                }
                option value="" selected[light.is_empty()] { "another light" }
            }
        }
        div { (light_fields(values)) p.about { "What is recorded of a light goes before these." } }
        @if !carried.processes.is_empty() {
            label.slider { span { "Development" }
                select name="process_id" {
                    @for (id, words) in &carried.processes {
                        option value=(id) selected[values.of("process_id", &carried.processes[0].0) == *id] { (words) }
                    }
                    option value="" { "another, to be written down" }
                }
            }
        }
    }
}

/// The filter that a plan begins with: the first with a cut-on, or the first of all.
fn usual_filter(carried: &Carried) -> Option<&str> {
    let filters = &carried.filters;
    let with_edge = filters.iter().find(|f| f.edge.is_some());
    with_edge.or(filters.first()).map(|f| f.id.as_str())
}

/// A cut-on in words: 715 nm, half of the light.
fn edge_words(edge: &str) -> String {
    match edge.split_once(':') {
        Some((nm, level)) => {
            let words = LEVELS.iter().find(|(word, _)| *word == level);
            format!("{nm} nm, {}", words.map_or(level, |(_, words)| words))
        }
        None => format!("{edge} nm, level not known"),
    }
}

/// Keeps a plan with its test.
pub(crate) async fn keep(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Response, Refusal> {
    let typed = fields(&body);
    let seen = revision(&typed, "expected_revision")?;
    let book = shared.book();
    let open = away(move || book.open(test)).await?;
    let kept = match of_test(&typed, &open.carried) {
        Ok(asked) => {
            let book = shared.book();
            away(move || asked.asked(|question| book.plan_test(test, seen, question, &asked.of)))
                .await
        }
        Err(refusal) => Err(refusal),
    };
    match kept {
        Ok(()) => Ok(Redirect::to(&Step::Plan.of(&test.to_string())).into_response()),
        Err(refusal) => {
            let status = refusal.status;
            let told = asking(&shared, test, &typed, Some(&refusal)).await?;
            Ok((status, told).into_response())
        }
    }
}

/// Where the promise comes to stand: it takes a moment to work out, and the form need
/// not wait for it.
pub(crate) fn answer_to_come() -> Markup {
    html! {
        div #answer aria-live="polite" aria-busy="true" data-ask {
            p.about { "Working out what this plan promises …" }
        }
    }
}

/// What a plan of a recorded test promises.
pub(crate) async fn answer(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Markup, Refusal> {
    let typed = fields(&body);
    let book = shared.book();
    let open = away(move || book.open(test)).await?;
    Ok(answer_of_test(&shared, test, &typed, &open.carried).await)
}

async fn answer_of_test(
    shared: &Arc<Shared>,
    test: u32,
    typed: &Fields,
    carried: &Carried,
) -> Markup {
    let foreseen = match of_test(typed, carried) {
        Ok(asked) => {
            let book = shared.book();
            away(move || asked.asked(|question| book.foreseen_for(test, question, &asked.of))).await
        }
        Err(refusal) => Err(refusal),
    };
    told(foreseen)
}

/// What a plan of a new test promises.
pub(crate) async fn answer_of_new(
    State(shared): State<Arc<Shared>>,
    body: Bytes,
) -> Result<Markup, Refusal> {
    Ok(foreseen_of_new(&shared, &fields(&body)).await)
}

async fn foreseen_of_new(shared: &Arc<Shared>, typed: &Fields) -> Markup {
    let foreseen = match of_new(typed) {
        Ok(asked) => {
            let book = shared.book();
            away(move || asked.asked(|question| book.foreseen(question))).await
        }
        Err(refusal) => Err(refusal),
    };
    told(foreseen)
}

/// The answer to a question that may be none yet: what is missing is told in its place.
fn told(foreseen: Result<(Planned, Vec<PlannedRow>), Refusal>) -> Markup {
    match foreseen {
        Ok((planned, rows)) => promised(&planned, &rows),
        Err(refusal) => html! {
            p.told { (sentence(&refusal.told.problem)) " " (sentence(&refusal.told.remedy)) }
        },
    }
}

/// What a plan promises: the interval first, then the frames, then why.
fn promised(planned: &Planned, rows: &[PlannedRow]) -> Markup {
    let json = &planned.json;
    let stops = |key: &str| json.get(key).and_then(Value::as_f64);
    let width = stops("expected_half_width_stops").or(stops("mean_half_width_stops"));
    let Some(width) = width else {
        return no_image(json);
    };
    let filters = json.get("filters").and_then(Value::as_array);
    let several = filters.is_some();
    html! {
        div.headline {
            h2.plain { @if several { "The factors, on the mean" } @else { "The factor" } }
            p.big { "± " (app::shown::fixed(width, 2)) " stops "
                small { "expected interval, " (percent(json.get("coverage"))) }
            }
        }
        @if several {
            @for of in filters.into_iter().flatten() { (one_filter(of)) }
        } @else { (one_filter(json)) }
        @for (place, sheet) in [Sheet::PAGE, Sheet::PHONE].into_iter().enumerate() {
            @if let Some(svg) = promise_figure(planned, sheet) {
                div class=(if place == 0 { "figure on-page" } else { "figure on-phone" }) { (drawing(&svg)) }
            }
        }
        (planned_table(rows))
        @let why = between(&planned.lines, "Why so");
        @if !why.is_empty() {
            h2.plain { "Why so" }
            @for line in why { p { (sentence(line)) } }
        }
        @for note in json.get("notes").and_then(Value::as_array).into_iter().flatten() {
            p.note { (sentence(note.as_str().unwrap_or_default())) }
        }
    }
}

fn percent(value: Option<&Value>) -> String {
    let share = value.and_then(Value::as_f64).unwrap_or_default();
    format!("{}\u{a0}%", app::shown::fixed(100.0 * share, 0))
}

/// What is expected of one filter.
fn one_filter(json: &Value) -> Markup {
    let number = |path: &[&str]| {
        path.iter()
            .try_fold(json, |at, key| at.get(key))
            .and_then(Value::as_f64)
    };
    let shown = |value: f64, digits: usize| app::shown::fixed(value, digits);
    let text = |key: &str| json.get(key).and_then(Value::as_str);
    html! {
        @if let Some(reason) = text("reason") {
            p { b { (text("edge").unwrap_or_default()) ": no image is expected. " } (sentence(reason)) }
        } @else {
            p {
                @if let Some(edge) = text("edge") { b { (edge) ": " } }
                @if text("image") == Some("trace") { "A trace at most is expected. " }
                @if let (Some(mean), Some(sd)) = (number(&["expected_factor", "mean_stops"]), number(&["expected_factor", "sd_stops"])) {
                    "Expected are " (shown(mean, 1)) " stops, give or take " (shown(sd, 1))
                    @if let Some(source) = json.get("expected_factor").and_then(|e| e.get("source")).and_then(Value::as_str) { " (" (source) ")" }
                    ". "
                }
                @if let (Some(ei), Some(low), Some(high)) = (number(&["expected_ei", "value"]), number(&["expected_ei", "low"]), number(&["expected_ei", "high"])) {
                    "About EI " (shown(ei, 1)) " that will be EI " (shown(low, 1)) " to " (shown(high, 1)) ". "
                }
                @if let Some(chance) = number(&["chance_of_interval"]) {
                    "In " (percent(Some(&Value::from(chance)))) " of cases it is an interval and not only a bound."
                }
            }
        }
    }
}

fn no_image(json: &Value) -> Markup {
    let list = |json: &Value| -> Vec<String> {
        json.get("instead")
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
            .filter_map(|line| Some(line.as_str()?.to_owned()))
            .collect()
    };
    let filters = json.get("filters").and_then(Value::as_array);
    html! {
        div.headline {
            h2.plain { "No image is expected" }
            p.big { "Spend no bracket on this." }
        }
        @match filters {
            Some(filters) => { @for of in filters { (one_filter(of)) } }
            None => {
                p { (sentence(json.get("reason").and_then(Value::as_str).unwrap_or_default())) }
                p { "Instead:" }
                ul { @for line in list(json) { li { (sentence(&line)) } } }
            }
        }
    }
}

/// The lines after a heading, up to the next blank one.
fn between<'a>(lines: &'a [String], heading: &str) -> Vec<&'a str> {
    lines
        .iter()
        .skip_while(|line| *line != heading)
        .skip(1)
        .take_while(|line| !line.is_empty())
        .map(|line| line.trim())
        .collect()
}
