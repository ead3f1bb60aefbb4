//! The page on which a phone types the code that it is let in by.

use crate::form::{field, fields};
use crate::layout::{Frame, page};
use crate::phone;
use crate::refusal::Refusal;
use crate::shared::Shared;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use std::sync::Arc;

fn closed() -> Refusal {
    Refusal::new(
        StatusCode::FORBIDDEN,
        "other devices are not let in",
        "start the program with --phone to allow one",
    )
}

/// Asks for the code.
pub(crate) async fn show(State(shared): State<Arc<Shared>>) -> Result<Markup, Refusal> {
    // A code that is too old is made anew now, so that it is shown when it is looked for.
    shared.phones().ok_or_else(closed)?.code()?;
    Ok(asking(None))
}

/// Takes the code.
pub(crate) async fn typed(
    State(shared): State<Arc<Shared>>,
    body: Bytes,
) -> Result<Response, Refusal> {
    let phones = shared.phones().ok_or_else(closed)?;
    let sent = fields(&body);
    match phones.try_code(field(&sent, "code"))? {
        Some(cookie) => {
            let cookie = format!("{}={cookie}; Path=/; HttpOnly; SameSite=Strict", phone::COOKIE);
            Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response())
        }
        None => Ok((
            StatusCode::FORBIDDEN,
            asking(Some("That is not the code. After five wrong tries a new one is made; the program shows it.")),
        )
            .into_response()),
    }
}

fn asking(told: Option<&str>) -> Markup {
    let body = html! {
        @if let Some(told) = told { p.told { (told) } }
        form method="post" action="/let-in" {
            label {
                span { "The code that the program shows" }
                input name="code" autocomplete="off" autocapitalize="none" spellcheck="false" required;
            }
            p.actions { button.main { "Come in" } }
        }
    };
    page(&Frame::plain("Let this phone in"), body)
}
