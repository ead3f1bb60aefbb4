//! The report: seen as it will be, handed on as a file, printed.

use crate::download::file_body;
use crate::layout::{Frame, Step, page};
use crate::pages::unevaluated;
use crate::refusal::Refusal;
use crate::shared::{Shared, away};
use app::{AppError, KeepError};
use axum::extract::{Path, Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;

/// The report is one file that loads nothing and runs nothing; its style and
/// pictures are within it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; \
    base-uri 'none'; form-action 'none'; frame-ancestors 'self'";

/// The report within a page.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let book = shared.book();
    let (open, found) =
        away(move || Ok::<_, KeepError>((book.open(test)?, book.evaluated(test)?))).await?;
    let id = test.to_string();
    let here = Step::Report.of(&id);
    let frame = Frame {
        token: shared.token(),
        modules: &["report.js"],
        ..Frame::of_test(&open, &id, Step::Report)
    };
    let Some(found) = found else {
        let told =
            "This page shows the report as it will be handed on: answer, evidence, every reading.";
        return Ok(page(
            &frame,
            unevaluated::nothing_yet(&open, shared.token(), &here, told),
        ));
    };
    let file = format!("/tests/{id}/report.html");
    Ok(page(
        &frame,
        html! {
            (unevaluated::older(&open, found.revision, shared.token(), &here))
            div.actions {
                button.main type="button" data-print { "Print, or save as PDF" }
                a.button href=(format!("{file}?as=file")) { "Save as one HTML file" }
                a.button href=(format!("/tests/{id}/findings.json")) { "Findings as JSON" }
                a.button href=(format!("/tests/{id}/bundle")) { "The whole test as a bundle" }
            }
            iframe.report #report src=(file) title="The report" {}
        },
    ))
}

/// How the report is wanted.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Wanted {
    /// `file` to be saved.
    r#as: Option<String>,
}

fn missing() -> Refusal {
    Refusal::not_found("this test is not evaluated yet")
}

/// The report itself.
pub(crate) async fn file(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refusal> {
    let book = shared.book();
    let html = away(move || {
        book.evaluated(test)?
            .map(|found| book.report(&found))
            .transpose()
    })
    .await?
    .ok_or_else(missing)?;
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
    if wanted.r#as.as_deref() == Some("file") {
        attach(&mut answer, &format!("film-test-{test}-report.html"));
    }
    Ok(answer)
}

/// The findings as the command prints them.
pub(crate) async fn findings_json(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Response, Refusal> {
    let book = shared.book();
    let json = away(move || {
        book.evaluated(test)
            .map(|found| found.map(|f| f.json.to_string()))
    })
    .await?
    .ok_or_else(missing)?;
    let mut answer = (
        [(
            header::CONTENT_TYPE,
            HeaderValue::from_static("application/json"),
        )],
        json,
    )
        .into_response();
    attach(&mut answer, &format!("film-test-{test}-findings.json"));
    Ok(answer)
}

/// The whole test as a bundle.
pub(crate) async fn bundle(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Response, Refusal> {
    let book = shared.book();
    let (file, name) = away(move || {
        let file = tempfile::NamedTempFile::with_prefix_in("filmproof-", book.uploads()?).map_err(
            |e| {
                AppError::new(
                    format!("the bundle could not be made: {e}"),
                    "check the free space of the disk",
                )
            },
        )?;
        let name = book.bundle(test, file.path())?;
        // Opened once more, since the bundle took the place of the empty file.
        let opened = std::fs::File::open(file.path()).map_err(|e| {
            AppError::new(format!("the bundle could not be read: {e}"), "try again")
        })?;
        Ok::<_, KeepError>((opened, name))
    })
    .await?;
    let mut answer = (
        [(
            header::CONTENT_TYPE,
            HeaderValue::from_static("application/zip"),
        )],
        file_body(file),
    )
        .into_response();
    let ascii: String = name
        .chars()
        .filter(|c| c.is_ascii_alphanumeric() || *c == '-')
        .collect();
    attach(&mut answer, &format!("{ascii}.zip"));
    Ok(answer)
}

/// Marks an answer as a file to be saved; the name is of this program's making.
pub(crate) fn attach(answer: &mut Response, name: &str) {
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        answer
            .headers_mut()
            .insert(header::CONTENT_DISPOSITION, value);
    }
}
