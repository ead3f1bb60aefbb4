//! What is told when something can't be done.
//!
//! A page for a person, JSON for a program: the problem and what to do.

use crate::layout::{Frame, page};
use app::{AppError, KeepError};
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

/// A refusal with its status.
#[derive(Clone, Debug)]
pub(crate) struct Refusal {
    pub(crate) status: StatusCode,
    pub(crate) told: Told,
    /// Where it can be put right, and the words for it.
    next: Option<(String, &'static str)>,
    json: bool,
}

/// What is told: the problem and the remedy.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(crate) struct Told {
    /// What was seen.
    pub(crate) problem: String,
    /// What to do; may be empty.
    pub(crate) remedy: String,
}

impl Refusal {
    pub(crate) fn new(
        status: StatusCode,
        problem: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            status,
            told: Told {
                problem: problem.into(),
                remedy: remedy.into(),
            },
            next: None,
            json: false,
        }
    }

    /// Nothing is there.
    pub(crate) fn not_found(what: impl Into<String>) -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            what,
            "go to the list of tests and choose from there",
        )
    }

    /// With the page where it can be put right.
    pub(crate) fn going_to(mut self, address: String, words: &'static str) -> Self {
        self.next = Some((address, words));
        self
    }

    /// As JSON or as a page.
    pub(crate) fn told_as(mut self, json: bool) -> Self {
        self.json = json;
        self
    }
}

macro_rules! unreadable {
    ($($rejection:ty),*) => {$(
        /// What was sent can't be read.
        impl From<$rejection> for Refusal {
            fn from(rejection: $rejection) -> Self {
                Self::new(rejection.status(), rejection.body_text(), "")
            }
        }
    )*};
}
unreadable!(PathRejection, QueryRejection, JsonRejection);

/// The input is at fault.
impl From<AppError> for Refusal {
    fn from(error: AppError) -> Self {
        Self::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            error.problem,
            error.remedy,
        )
    }
}

impl From<KeepError> for Refusal {
    fn from(error: KeepError) -> Self {
        let told = error.to_app_error();
        let status = match error {
            KeepError::Conflict(_) => StatusCode::CONFLICT,
            KeepError::NotThere(_) => StatusCode::NOT_FOUND,
            KeepError::Failed(_) => StatusCode::UNPROCESSABLE_ENTITY,
        };
        Self::new(status, told.problem, told.remedy)
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        if self.json {
            return (self.status, Json(self.told)).into_response();
        }
        let title = match self.status {
            StatusCode::NOT_FOUND => "Nothing is here",
            StatusCode::CONFLICT => "Changed elsewhere",
            _ => "This could not be done",
        };
        let body = maud::html! {
            p.note { (sentence(&self.told.problem)) }
            @if !self.told.remedy.is_empty() { p { (sentence(&self.told.remedy)) } }
            @if let Some((address, words)) = &self.next { div.actions { a.button.main href=(address) { (words) } } }
            p { a href="/" { "All tests" } }
        };
        (self.status, page(&Frame::plain(title), body)).into_response()
    }
}

/// A refusal of the API: the same, told as JSON.
#[derive(Debug)]
pub(crate) struct ApiRefusal(pub(crate) Refusal);

impl<T: Into<Refusal>> From<T> for ApiRefusal {
    fn from(refusal: T) -> Self {
        Self(refusal.into())
    }
}

impl IntoResponse for ApiRefusal {
    fn into_response(self) -> Response {
        self.0.told_as(true).into_response()
    }
}

/// A message as a sentence: a capital, a full stop, and no line that begins with a % sign.
pub(crate) fn sentence(text: &str) -> String {
    let text = text.trim().replace(" %", "\u{a0}%");
    let mut letters = text.chars();
    let mut out: String = match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => return String::new(),
    };
    if !out.ends_with(['.', '?', '!', ':']) {
        out.push('.');
    }
    out
}
