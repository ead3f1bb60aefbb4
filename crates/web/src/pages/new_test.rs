//! A new test: planned before the film is exposed, or written down afterwards.

use crate::form::{field, fields};
use crate::layout::{Frame, Step, page, token_field};
use crate::pages::planning::{
    Values, answer_to_come, known_fields, light_fields, means_fields, source_fields, text_field,
};
use crate::pages::spectra::LEVELS;
use crate::plan_form::{Fields, of_new};
use crate::refusal::{Refusal, sentence};
use crate::shared::{Shared, away};
use app::spectra_choices;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use std::sync::Arc;

/// Both ways to begin.
pub(crate) async fn show(State(shared): State<Arc<Shared>>) -> Result<Markup, Refusal> {
    asking(&shared, &vec![], None).await
}

async fn asking(
    shared: &Arc<Shared>,
    typed: &Fields,
    refused: Option<&Refusal>,
) -> Result<Markup, Refusal> {
    let choices = spectra_choices()?;
    let values = Values { typed };
    let level = values.of("level", "50%");
    let frame = Frame {
        token: shared.token(),
        modules: &["question.js"],
        ..Frame::plain("New test")
    };
    Ok(page(
        &frame,
        html! {
            @if let Some(refusal) = refused {
                p.told role="alert" { (sentence(&refusal.told.problem)) " " (sentence(&refusal.told.remedy)) }
            }
            div.two {
                form #question method="post" action="/tests/new" data-answer="/tests/new/answer" data-keeps {
                    (token_field(shared.token()))
                    (text_field("title", "What the test is called", &values.of("title", ""), "required"))
                    (text_field("film", "Film", &values.of("film", ""), ""))
                    (text_field("box_speed", "Speed on its box", &values.of("box_speed", "400"), "decimal"))
                    (text_field("filter", "Filter", &values.of("filter", ""), ""))
                    (text_field("edge_nm", "Its cut-on, nm", &values.of("edge_nm", "715"), "decimal"))
                    label.slider { span { "where it passes" }
                        select name="level" {
                            option value="" selected[level.is_empty()] { "not known" }
                            @for (word, words) in LEVELS.iter().filter(|(word, _)| *word != "1%") {
                                option value=(word) selected[level == *word] { (words) }
                            }
                        }
                    }
                    h2.plain { "Plan it first" }
                    p { "Says which sheets to expose, in what order, and how narrow the answer will be. The field card is made from it." }
                    (light_fields(&values))
                    (source_fields(&values, &choices, known_fields(&values, "", "the filter", None)))
                    (means_fields(&values, 8, "16", false,
                        text_field("holders", "Holders of two sides", &values.of("holders", "4"), "numeric")))
                    p.actions { button.main name="way" value="plan" { "Plan the test" } }
                    h2.plain { "Or write down what was exposed" }
                    p { "Without a plan: an empty record with this film and filter, to be filled in frame by frame." }
                    p.actions { button name="way" value="record" { "Begin an empty record" } }
                }
                (answer_to_come())
            }
        },
    ))
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
            let told = asking(&shared, &typed, Some(&refusal)).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, told).into_response())
        }
    }
}

async fn planned(shared: &Arc<Shared>, typed: &Fields) -> Result<String, Refusal> {
    let asked = of_new(typed)?;
    let (title, film, filter) = names(typed);
    let book = shared.book();
    let test =
        away(move || asked.asked(|question| book.plan(question, &title, &film, &filter))).await?;
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
