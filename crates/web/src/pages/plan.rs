//! What is to be exposed, in what order, and the field card made from it.

use crate::layout::{Frame, Step, page};
use crate::pages::report::attach;
use crate::refusal::{Refusal, sentence};
use crate::shared::{OpenTest, Shared, away};
use app::PlannedRow;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use std::sync::Arc;

/// Sheets to print have their style within and run nothing.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; \
    base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The plan of a test.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let open = away(move || book.open(test)).await?;
    let id = test.to_string();
    let frame = Frame {
        token: shared.token(),
        modules: &["files.js"],
        ..Frame::of_test(&open, &id, Step::Plan)
    };
    Ok(page(&frame, body(&open, &id)))
}

fn body(open: &OpenTest, id: &str) -> Markup {
    if open.planned.is_empty() {
        return html! {
            div.empty {
                p { "This test has no plan." }
                p { "A plan says which frames to expose, in what order, and what each is for; the field card is made from it." }
                div.actions {
                    a.button.main href=(format!("/tests/{id}/plan/new")) { "Plan this test" }
                    a.button href=(Step::Exposures.of(id)) { "Write down what was exposed" }
                }
            }
        };
    }
    let left = open.planned.iter().filter(|f| !f.exposed).count();
    html! {
        p.big {
            (open.planned.len()) " frames "
            small {
                @if left == 0 { "all recorded as exposed" }
                @else if left == open.planned.len() { "none exposed yet" }
                @else { (left) " still to be exposed" }
            }
        }
        div.actions {
            a.button.main href=(format!("/tests/{id}/card/phone")) { "Field card for the phone" }
            a.button href=(format!("/tests/{id}/card/sheet")) { "Field card on paper" }
            a.button href=(format!("/tests/{id}/card/cards")) { "On cards of 3 by 5 in" }
            label.button tabindex="0" data-take {
                "Take in the log of the field"
                input type="file" accept=".json,.csv" hidden data-log=(id) data-revision=(open.revision);
            }
            a.button href=(format!("/tests/{id}/plan/new")) { "Plan anew" }
        }
        (planned_table(&open.planned))
        (cautions())
    }
}

/// Planned frames, in their order.
pub(crate) fn planned_table(planned: &[PlannedRow]) -> Markup {
    html! {
        div.wide.fold tabindex="0" role="region" aria-label="Planned frames" {
            table.planned {
                caption { "In the order in which they are to be made. Off: stops that the marks give over what the EI asks for." }
                thead { tr {
                    th scope="col" { "Frame" }
                    th scope="col" { "Holder" }
                    th scope="col" { "For" }
                    th scope="col" { "Filter" }
                    th.n scope="col" { "EI" }
                    th scope="col" { "To set" }
                    th.n scope="col" { "Off" }
                    th scope="col" { "Why" }
                } }
                tbody { @for frame in planned { tr {
                    th scope="row" { (frame.id) @if frame.exposed { " " span.muted { "exposed" } } }
                    td { (frame.holder) }
                    td.word { (frame.role) }
                    td { (frame.filters) }
                    td.n { (frame.ei) }
                    td.word { (frame.setting) }
                    td.n { (frame.off) }
                    td.long { (sentence(&frame.why)) }
                } } }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        h2.plain { "Cautions" }
        @for caution in app::CAUTIONS { p.note { (caution) } }
    }
}

/// One of the field cards.
pub(crate) async fn card(
    State(shared): State<Arc<Shared>>,
    Path((test, kind)): Path<(u32, String)>,
) -> Result<Response, Refusal> {
    let name = match kind.as_str() {
        "phone" => "field-card.html",
        "sheet" => "field-sheet.html",
        "cards" => "field-cards-3x5.html",
        _ => return Err(Refusal::not_found("there is no such field card")),
    };
    let book = shared.book();
    let html = away(move || book.card(test, name)).await?;
    let mut answer = (
        [
            (
                header::CONTENT_TYPE,
                HeaderValue::from_static("text/html; charset=utf-8"),
            ),
            (
                header::CONTENT_SECURITY_POLICY,
                HeaderValue::from_static(POLICY),
            ),
        ],
        html,
    )
        .into_response();
    // The phone's card has a script of its own: it is a file to be taken along.
    if kind == "phone" {
        attach(&mut answer, name);
    }
    Ok(answer)
}
