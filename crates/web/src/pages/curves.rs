//! The characteristic curves: read off by pointer, criteria side by side.

use crate::drawing::drawing;
use crate::layout::{Frame, Step, page};
use crate::pages::unevaluated;
use crate::refusal::Refusal;
use crate::shared::{Shared, away};
use app::KeepError;
use app::shown::DrawnTwice;
use axum::extract::{Path, State};
use maud::{Markup, html};
use serde_json::Value;
use std::sync::Arc;

/// The curves of a test.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let (open, found) =
        away(move || Ok::<_, KeepError>((book.open(test)?, book.evaluated(test)?))).await?;
    let id = test.to_string();
    let here = Step::Curves.of(&id);
    let frame = Frame {
        token: shared.token(),
        modules: &["curves.js"],
        ..Frame::of_test(&open, &id, Step::Curves)
    };
    let Some(found) = found else {
        let told = "This page shows the characteristic curve of each film and development, with speed and contrast by every criterion.";
        return Ok(page(
            &frame,
            unevaluated::nothing_yet(&open, shared.token(), &here, told),
        ));
    };
    let curves = found.json.get("curves").and_then(Value::as_array);
    let parts = &found.fragments;
    Ok(page(
        &frame,
        html! {
            (unevaluated::older(&open, found.revision, shared.token(), &here))
            @for (place, curve) in parts.curves.iter().enumerate() {
                @let numbers = curves.and_then(|c| c.get(place));
                @if let Some(curve) = curve { (one(curve, numbers)) }
            }
            @if parts.curves.iter().all(Option::is_none) {
                p.empty { "No curve could be fitted: the readings are too few, or all of them are limits." }
            }
            @if !parts.brackets.is_empty() { (drawing(&parts.brackets)) }
            @if !parts.families.is_empty() {
                h2 { "Side by side" }
                @for family in &parts.families { (figure(family)) }
            }
            (drawing(&parts.criteria))
        },
    ))
}

/// A figure on a wide sheet and on a narrow one.
pub(crate) fn figure(drawn: &DrawnTwice) -> Markup {
    html! {
        div class="figure on-page" { (drawing(&drawn.wide)) }
        div class="figure on-phone" { (drawing(&drawn.narrow)) }
    }
}

fn one(drawn: &DrawnTwice, numbers: Option<&Value>) -> Markup {
    let value = |key: &str| {
        numbers
            .and_then(|n| n.get(key)?.get("value")?.as_f64())
            .map(|v| v.to_string())
            .unwrap_or_default()
    };
    let samples = numbers
        .and_then(|n| n.get("samples"))
        .map(Value::to_string)
        .unwrap_or_else(|| "[]".to_owned());
    let absolute = numbers
        .and_then(|n| n.get("exposure_scale"))
        .is_some_and(|s| s == "lux_seconds");
    html! {
        div.readable tabindex="0" role="group" aria-label="Characteristic curve; arrow keys read values off it"
            data-curve=(samples) data-base=(value("base_plus_fog_density")) data-speed=(value("speed_point_log_h"))
            data-axis=(if absolute { "log H" } else { "relative log H" }) {
            (figure(drawn))
            p.readout data-readout role="status" { "Point at the curve, or go along it with the arrow keys, to read it." }
        }
    }
}
