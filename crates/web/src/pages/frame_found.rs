//! The frame of a scan as it was found, under its picture on the light table. Nothing is
//! kept before it was looked at.

use crate::form::{field, fields};
use crate::frame_found::FrameFound;
use crate::layout::{Step, token_field};
use crate::pages::history::number;
use crate::refusal::{Refusal, sentence};
use crate::shared::{OpenTest, Shared, away};
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Redirect;
use maud::{Markup, html};
use serde_json::Value;
use std::sync::Arc;

/// The frame that was found in the scan of a view.
fn of_view(view: &Value) -> Option<FrameFound> {
    serde_json::from_value(view.get("frame_found")?.clone()).ok()
}

/// Whether an outline of a view is clear film that is recorded.
fn clear_film_outlined(view: &Value) -> bool {
    let outlines = view.get("outlines").and_then(Value::as_array);
    let kind = |outline: &Value| outline.get("kind").and_then(Value::as_str) == Some("base_fog");
    outlines.into_iter().flatten().any(kind)
}

/// Whether a frame was found in one of these views.
pub(crate) fn any(views: &[Value]) -> bool {
    let found = |view: &Value| of_view(view).is_some_and(|frame| frame.found);
    views.iter().any(found)
}

/// What the lines over the pictures are, and the choice to see them.
pub(crate) fn legend() -> Markup {
    html! {
        p.legend {
            label { input type="checkbox" data-frames checked autocomplete="off"; "Frames as found:" }
            span.sample { span.edge {} "edge of the picture" }
            span.sample { span.rebate {} "rebate" }
        }
    }
}

/// What was found of the frame, or why nothing was.
pub(crate) fn caption(view: &Value, open: &OpenTest, token: &str) -> Markup {
    let text = |key: &str| view.get(key).and_then(Value::as_str).unwrap_or_default();
    let Some(frame) = of_view(view).filter(|_| !text("frame").is_empty()) else {
        return html! {};
    };
    html! {
        @if let Some(words) = frame.words() {
            div.found {
                p { b { "As found:" } " " (words) "." }
                @if frame.clear_stretch().is_some() && !clear_film_outlined(view) {
                    form.settle method="post" action=(format!("/tests/{}/rebate/keep", open.number)) {
                        (token_field(token))
                        input type="hidden" name="expected_revision" value=(open.revision);
                        input type="hidden" name="scan" value=(text("scan"));
                        button { "Keep as the rebate" }
                    }
                }
            }
        } @else if let Some(reason) = &frame.reason {
            details {
                summary { "Frame not found: why" }
                p { (sentence(reason)) }
            }
        }
    }
}

/// Keeps the rebate that was found in a scan.
pub(crate) async fn keep(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let expected = number(&typed, "expected_revision")?;
    let scan = field(&typed, "scan").to_owned();
    let book = shared.book();
    away(move || book.keep_rebate(test, expected, &scan)).await?;
    Ok(Redirect::to(&Step::Negatives.of(&test.to_string())))
}
