//! What was found: the answer first, then why.

use crate::drawing::drawing;
use crate::form::{field, fields};
use crate::layout::{Frame, Step, page};
use crate::pages::{compare, job, unevaluated};
use crate::refusal::{Refusal, sentence};
use crate::shared::{Shared, away};
use app::KeepError;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Redirect;
use maud::{Markup, html};
use serde_json::Value;
use std::sync::Arc;

/// The findings of a test.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let (open, found, others) = away(move || {
        Ok::<_, KeepError>((book.open(test)?, book.evaluated(test)?, book.others(test)?))
    })
    .await?;
    let id = test.to_string();
    let here = Step::Findings.of(&id);
    let frame = Frame {
        token: shared.token(),
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
            (compare::choice(test, &others))
        },
    ))
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
    let work = shared.jobs().start(title, move |progress| {
        book.evaluate(test, progress)?;
        Ok(to)
    })?;
    Ok(Redirect::to(&job::address(work)))
}
