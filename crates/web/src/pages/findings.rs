//! What was found: the answer first, then why.

use crate::drawing::drawing;
use crate::form::{field, fields};
use crate::layout::{Frame, Step, page};
use crate::pages::{compare, exposures, job, unevaluated};
use crate::record_tables;
use crate::refusal::{Refusal, sentence};
use crate::shared::{OpenTest, Shared, away};
use app::KeepError;
use axum::body::Bytes;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Redirect;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::Value;
use std::sync::Arc;

/// What the page is asked for beside the findings.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Asked {
    /// Words of a test to compare with.
    with: String,
}

/// The findings of a test.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Result<Markup, Refusal> {
    let Query(Asked { with }) = asked?;
    let book = shared.book();
    let sought = with.clone();
    let (open, found, others) = away(move || {
        let others = book.others(test, &sought)?;
        Ok::<_, KeepError>((book.open(test)?, book.evaluated(test)?, others))
    })
    .await?;
    let id = test.to_string();
    let here = Step::Findings.of(&id);
    let frame = Frame {
        token: shared.token(),
        modules: if found.is_some() { &["grid.js"] } else { &[] },
        ..Frame::of_test(&open, &id, Step::Findings)
    };
    let Some(found) = found else {
        let told = "This page answers: the exposure index to set, the filter factor with its interval, and a verdict for each frame.";
        return Ok(page(
            &frame,
            unevaluated::nothing_yet(&open, shared.token(), &here, told),
        ));
    };
    let parts = &found.fragments;
    let warnings = found.json.get("warnings").and_then(Value::as_array);
    Ok(page(
        &frame,
        html! {
            (unevaluated::older(&open, found.revision, shared.token(), &here))
            @if open.invented {
                p.invented role="note" {
                    "INVENTED DATA"
                    span { "No film was exposed for this; the readings were made up to show how it works." }
                }
            }
            (drawing(&parts.answer))
            section #why {
                h2 { "Why" }
                (drawing(&parts.reasons))
                (drawing(&parts.scans))
                @if let Some(warnings) = warnings.filter(|w| !w.is_empty()) {
                    h3 { "Assumed and left out" }
                    ul { @for warning in warnings { li { (sentence(warning.as_str().unwrap_or_default())) } } }
                }
            }
            (reports(&open, &id)?)
            (compare::choice(test, &others, &with))
        },
    ))
}

/// What other people say of the film behind the filter, typed in and held against
/// the fitted curve.
fn reports(open: &OpenTest, id: &str) -> Result<Markup, Refusal> {
    let tables = record_tables::of(open)?;
    let kept = tables
        .iter()
        .find(|(words, _)| words.table.name == record_tables::REPORTS);
    Ok(html! {
        @if let Some((words, rows)) = kept {
            section #reports {
                h2 { (words.title) }
                p { "What somebody else says of this film behind such a filter: the EI that was set, and what was seen on the negative. Each is held against the curve of this test: expected, possible or contradictory." }
                div data-records=(id) data-revision=(open.revision) data-faults=(serde_json::json!(open.faults)) {
                    div.told data-told role="status" { @for problem in &open.problems { p { (sentence(problem)) } } }
                    (exposures::table(words, rows))
                    (exposures::word_lists())
                    p.actions {
                        button type="button" data-save disabled { "Saved" }
                        a.button href=(format!("/tests/{id}/compare")) { "Hold them against this test" }
                    }
                }
            }
        }
    })
}

/// Evaluates a test and goes on to a page of it.
pub(crate) async fn evaluate(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let id = test.to_string();
    // Only a page of this test is gone on to, never an address from outside.
    let to = Step::ALL
        .into_iter()
        .map(|step| step.of(&id))
        .find(|address| address == field(&typed, "to"))
        .unwrap_or_else(|| Step::Findings.of(&id));
    let book = shared.book();
    let title = format!("Evaluating test {test}");
    let known = shared.book();
    let open = away(move || known.open(test)).await?;
    if open.frames > 0 && open.readings == 0 {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "nothing is outlined on a scan, and no density is written down: there is nothing to evaluate",
            "bring the scans and outline a patch, the grey card first",
        )
        .going_to(Step::Negatives.of(&id), "To the negatives of this test"));
    }
    let work = shared.jobs().start_of(Some(test), title, move |progress| {
        book.evaluate(test, progress)?;
        Ok(to)
    })?;
    Ok(Redirect::to(&job::address(work)))
}
