//! A new test: planned before the film is exposed, or written down afterwards.

use crate::form::{field, fields};
use crate::layout::{Frame, Step, page, token_field};
use crate::pages::spectra::LEVELS;
use crate::refusal::{Refusal, sentence};
use crate::shared::{Shared, away};
use app::{AppError, FilmChoice, FilterChoice, PlanQuestion, StatedSpread, spectra_choices};
use axum::body::Bytes;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use std::sync::Arc;

type Fields = Vec<(String, String)>;

/// Skies that a plan knows.
const SKIES: [&str; 7] = [
    "clear-sun",
    "thin-cloud",
    "broken-cloud",
    "overcast",
    "open-shade",
    "under-leaves",
    "lamp",
];

/// Both ways to begin.
pub(crate) async fn show(State(shared): State<Arc<Shared>>) -> Result<Markup, Refusal> {
    asking(shared.token(), &vec![], None)
}

fn asking(token: &str, typed: &Fields, told: Option<&Refusal>) -> Result<Markup, Refusal> {
    let choices = spectra_choices()?;
    let value = |name: &str, usual: &'static str| -> String {
        match typed.iter().find(|(n, _)| n == name) {
            Some((_, value)) => value.clone(),
            None => usual.to_owned(),
        }
    };
    let frame = Frame {
        token,
        ..Frame::plain("New test")
    };
    Ok(page(
        &frame,
        html! {
            @if let Some(refusal) = told {
                p.told role="alert" { (sentence(&refusal.told.problem)) " " (sentence(&refusal.told.remedy)) }
            }
            form method="post" action="/tests/new" {
                (token_field(token))
                div.fields {
                    (text_field("title", "What the test is called", &value("title", ""), "required"))
                    (text_field("film", "Film", &value("film", ""), ""))
                    (text_field("box_speed", "Speed on its box", &value("box_speed", "400"), "decimal"))
                    (text_field("filter", "Filter", &value("filter", ""), ""))
                    (text_field("edge_nm", "Its cut-on, nm", &value("edge_nm", "715"), "decimal"))
                    label { span { "where it passes" }
                        select name="level" {
                            option value="" selected[value("level", "50%").is_empty()] { "not known" }
                            @for (word, words) in LEVELS.iter().filter(|(word, _)| *word != "1%") {
                                option value=(word) selected[value("level", "50%") == *word] { (words) }
                            }
                        }
                    }
                }
                h2.plain { "Plan it first" }
                p { "Says which sheets to expose, in what order, and how narrow the answer will be. The field card is made from it." }
                div.fields {
                    label { span { "Class of film" }
                        select name="film_class" {
                            @for class in &choices.film_classes {
                                option value=(class) selected[value("film_class", "extended-red") == *class] { (class.replace('-', " ")) }
                            }
                        }
                    }
                    label { span { "Light" }
                        select name="sky" {
                            @for sky in SKIES { option value=(sky) selected[value("sky", "clear-sun") == sky] { (sky.replace('-', " ")) } }
                        }
                    }
                    (text_field("ev100", "Reading as EV at ISO 100, if there is one", &value("ev100", ""), "decimal"))
                    (text_field("sheets", "Sheets to be spent", &value("sheets", "8"), "numeric"))
                    (text_field("holders", "Holders of two sides", &value("holders", "4"), "numeric"))
                    (text_field("aperture", "Aperture you like to use, f/", &value("aperture", "16"), "decimal"))
                    (text_field("longest", "Longest time that can be borne, s", &value("longest", "60"), "decimal"))
                    div {
                        label { input type="checkbox" name="measured_shutter" checked[value("measured_shutter", "") == "on"]; "The shutter was measured" }
                        label { input type="checkbox" name="tablet" checked[value("tablet", "") == "on"]; "A step tablet is at hand" }
                        label { input type="checkbox" name="red_filter" checked[typed.is_empty() || value("red_filter", "") == "on"]; "A plain red filter is at hand" }
                    }
                }
                p.actions { button.main name="way" value="plan" { "Plan the test" } }
                h2.plain { "Or write down what was exposed" }
                p { "Without a plan: an empty record with this film and filter, to be filled in frame by frame." }
                p.actions { button name="way" value="record" { "Begin an empty record" } }
            }
        },
    ))
}

fn text_field(name: &str, words: &str, value: &str, mode: &str) -> Markup {
    html! {
        label {
            span { (words) }
            input name=(name) value=(value) required[mode == "required"]
                inputmode=[matches!(mode, "decimal" | "numeric").then_some(mode)] autocomplete="off";
        }
    }
}

/// Begins the test.
pub(crate) async fn begin(
    State(shared): State<Arc<Shared>>,
    body: Bytes,
) -> Result<Response, Refusal> {
    let typed = fields(&body);
    let begun = if field(&typed, "way") == "record" {
        recorded(&shared, &typed).await
    } else {
        planned(&shared, &typed).await
    };
    match begun {
        Ok(address) => Ok(Redirect::to(&address).into_response()),
        Err(refusal) => {
            let told = asking(shared.token(), &typed, Some(&refusal))?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, told).into_response())
        }
    }
}

async fn planned(shared: &Arc<Shared>, typed: &Fields) -> Result<String, Refusal> {
    let question = PlanQuestion {
        film: FilmChoice::Class(field(typed, "film_class").to_owned()),
        box_speed: number(typed, "box_speed", "the speed on the box")?,
        filters: vec![FilterChoice::Edge {
            text: edge(typed)?,
            peak: None,
            width_nm: None,
        }],
        light: None,
        spread: StatedSpread::default(),
        sky: field(typed, "sky").to_owned(),
        ev100: optional(typed, "ev100", "the reading")?,
        sheets: whole(typed, "sheets", "the number of sheets")?,
        holders: whole(typed, "holders", "the number of holders")?,
        aperture: number(typed, "aperture", "the aperture")?,
        lens_apertures: (5.6, 45.0),
        longest_s: number(typed, "longest", "the longest time")?,
        // Few leaf shutters are faster.
        shortest_s: 0.002,
        reciprocity: None,
        measured_shutter: field(typed, "measured_shutter") == "on",
        tablet: field(typed, "tablet") == "on",
        red_filter: field(typed, "red_filter") == "on",
        expected_factors_stops: vec![],
        out: None,
    };
    let (title, film, filter) = names(typed);
    let book = shared.book();
    let test = away(move || book.plan(question, &title, &film, &filter)).await?;
    Ok(Step::Plan.of(&test.to_string()))
}

async fn recorded(shared: &Arc<Shared>, typed: &Fields) -> Result<String, Refusal> {
    let (title, film, filter) = names(typed);
    let speed = field(typed, "box_speed").trim().to_owned();
    let nm = field(typed, "edge_nm").trim().to_owned();
    let level = match field(typed, "level") {
        "50%" => "half_transmittance",
        "half-peak" => "half_of_peak",
        "10%" => "ten_percent",
        "-3stops" => "minus_three_stops",
        _ => "not_stated",
    };
    let book = shared.book();
    let test = away(move || {
        book.begin(
            &title,
            &[
                ("film.id", "film"),
                ("film.name", if film.is_empty() { "film" } else { &film }),
                ("film.box_speed", &speed),
                ("filter.id", "filter"),
                (
                    "filter.name",
                    if filter.is_empty() { "filter" } else { &filter },
                ),
                ("filter.edge.wavelength_nm", &nm),
                ("filter.edge.level", if nm.is_empty() { "" } else { level }),
                ("light.id", "light"),
                ("light.sky", "not_stated"),
                ("process.id", "process"),
                ("process.developer", "to be written down"),
            ],
        )
    })
    .await?;
    Ok(Step::Exposures.of(&test.to_string()))
}

fn names(typed: &Fields) -> (String, String, String) {
    let of = |name: &str| field(typed, name).trim().to_owned();
    let title = Some(of("title")).filter(|t| !t.is_empty());
    (
        title.unwrap_or_else(|| "Test".to_owned()),
        of("film"),
        of("filter"),
    )
}

/// The cut-on as a number with its level; never other text, which `app` could take
/// for the name of a file.
fn edge(typed: &Fields) -> Result<String, Refusal> {
    let nm = number(typed, "edge_nm", "the cut-on")?;
    Ok(
        match LEVELS
            .iter()
            .find(|(word, _)| *word == field(typed, "level"))
        {
            Some((level, _)) => format!("{nm}:{level}"),
            None => nm.to_string(),
        },
    )
}

fn number(typed: &Fields, name: &str, what: &str) -> Result<f64, Refusal> {
    optional(typed, name, what)?.ok_or_else(|| {
        AppError::new(
            format!("{what} is missing"),
            "fill it in, everything else is kept",
        )
        .into()
    })
}

fn optional(typed: &Fields, name: &str, what: &str) -> Result<Option<f64>, Refusal> {
    let text = field(typed, name).trim().replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(Some(number)),
        _ => Err(AppError::new(
            format!("{what} is no number: {text}"),
            "correct it, everything else is kept",
        )
        .into()),
    }
}

fn whole(typed: &Fields, name: &str, what: &str) -> Result<usize, Refusal> {
    field(typed, name).trim().parse().map_err(|_| {
        AppError::new(
            format!("{what} is no whole number"),
            "correct it, everything else is kept",
        )
        .into()
    })
}
