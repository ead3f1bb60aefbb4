//! What was changed in a test, by whom and when; each state can be put back.

use crate::form::{field, fields};
use crate::layout::{Frame, Step, page, token_field};
use crate::refusal::{Refusal, sentence};
use crate::shared::{Shared, away};
use app::KeepError;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Redirect;
use maud::{Markup, html};
use std::sync::Arc;

/// The changes of a test, the last first.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let (open, history) =
        away(move || Ok::<_, KeepError>((book.open(test)?, book.history(test)?))).await?;
    let id = test.to_string();
    let frame = Frame {
        token: shared.token(),
        called: Some("What was changed"),
        ..Frame::of_test(&open, &id, Step::Exposures)
    };
    Ok(page(
        &frame,
        html! {
            h2.plain { "What was changed" }
            @for revision in history.iter().rev() {
                section.revision {
                    h3 { "Revision " (revision.number) @if revision.number == open.revision { ", as it is now" } }
                    p.about { (time(&revision.at)) " · " (revision.by) }
                    p { (sentence(&revision.what)) }
                    @if !revision.differences.is_empty() && revision.number > 1 {
                        details {
                            summary {
                                (revision.differences.len())
                                @if revision.differences.len() == 1 { " difference" } @else { " differences" }
                            }
                            ul { @for line in &revision.differences { li { (line) } } }
                        }
                    }
                    @if revision.number != open.revision {
                        form method="post" action=(format!("/tests/{id}/put-back")) {
                            (token_field(shared.token()))
                            input type="hidden" name="expected_revision" value=(open.revision);
                            input type="hidden" name="revision" value=(revision.number);
                            button.word { "Put this state back" }
                        }
                    }
                }
            }
        },
    ))
}

/// The day and the minute of a change, as UTC.
fn time(at: &str) -> String {
    match (at.get(..10), at.get(11..16)) {
        (Some(day), Some(minute)) => format!("{day}, {minute} UTC"),
        _ => at.to_owned(),
    }
}

/// A whole number of a form.
pub(crate) fn number(typed: &[(String, String)], name: &str) -> Result<u32, Refusal> {
    field(typed, name).parse().map_err(|_| {
        Refusal::new(
            axum::http::StatusCode::UNPROCESSABLE_ENTITY,
            format!("{name} is no number"),
            "load the page again",
        )
    })
}

/// Undoes the last change.
pub(crate) async fn undo(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let expected = number(&fields(&body), "expected_revision")?;
    let book = shared.book();
    away(move || book.undo(test, expected)).await?;
    Ok(Redirect::to(&Step::Exposures.of(&test.to_string())))
}

/// Puts an earlier state back, as a new change.
pub(crate) async fn put_back(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let expected = number(&typed, "expected_revision")?;
    let revision = number(&typed, "revision")?;
    let book = shared.book();
    away(move || book.put_back(test, expected, revision)).await?;
    Ok(Redirect::to(&format!("/tests/{test}/history")))
}
