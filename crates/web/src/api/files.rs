//! Files sent to the notebook, by the API: scans, logs of the field, bundles.

use crate::api::refused::FileRefused;
use crate::api::tests::{Number, Placed};
use crate::book::TakenIn;
use crate::jobs::Ended;
use crate::layout::Step;
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{Shared, away};
use crate::upload::{MOST_SCAN_BYTES, MOST_TEXT_BYTES, plain_name, received_within};
use axum::Json;
use axum::body::Body;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// A file that is sent, by its name, to a test that was read.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(crate) struct Sent {
    /// The revision that was read.
    #[param(minimum = 1)]
    expected_revision: u32,
    /// The file's plain name, without a folder.
    name: String,
}

/// What became of a file.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Taken {
    /// The revision that the test has now.
    revision: u32,
    /// What was done, in words.
    told: String,
    /// The page on which the work goes on.
    next: String,
}

/// Takes a scan in: TIFF, PNG, JPEG or a camera's raw file.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/scans",
    params(("test" = u32, Path, description = "Number of the test"), Sent),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses(
        (status = 201, body = Taken),
        (status = 422, description = "The file is no scan that can be read", body = Told),
        FileRefused,
    )
)]
pub(crate) async fn send_scan(
    State(shared): State<Arc<Shared>>,
    test: Number,
    sent: Result<Query<Sent>, QueryRejection>,
    body: Body,
) -> Result<(StatusCode, Json<Taken>), ApiRefusal> {
    let Path(test) = test?;
    let Query(sent) = sent?;
    let name = plain_name(&sent.name)?.to_owned();
    let book = shared.book();
    let file = received_within(&book.uploads()?, body, MOST_SCAN_BYTES).await?;
    let told = format!("{name} was taken in");
    let revision =
        away(move || book.take_scan_in(test, sent.expected_revision, file.path(), &name)).await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok((
        StatusCode::CREATED,
        Json(Taken {
            revision,
            told,
            next,
        }),
    ))
}

/// Puts a field log, JSON or CSV, into the record.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/log",
    params(("test" = u32, Path, description = "Number of the test"), Sent),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses(
        (status = 200, body = Taken),
        (status = 422, description = "The log doesn't fit the plan or the record", body = Told),
        FileRefused,
    )
)]
pub(crate) async fn send_log(
    State(shared): State<Arc<Shared>>,
    test: Number,
    sent: Result<Query<Sent>, QueryRejection>,
    body: Body,
) -> Result<Json<Taken>, ApiRefusal> {
    let Path(test) = test?;
    let Query(sent) = sent?;
    plain_name(&sent.name)?;
    let book = shared.book();
    let file = received_within(&book.uploads()?, body, MOST_TEXT_BYTES).await?;
    let (revision, told) = away(move || {
        let told = book.take_log_in(test, sent.expected_revision, file.path())?;
        Ok::<_, app::KeepError>((book.open(test)?.revision, told))
    })
    .await?;
    let next = Step::Exposures.of(&test.to_string());
    Ok(Json(Taken {
        revision,
        told,
        next,
    }))
}

/// Takes a bundle in as a new test.
#[utoipa::path(
    post,
    path = "/api/bundles",
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses(
        (status = 202, body = Placed, description = "It is being taken in; `next` shows how far it is"),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 413, description = "The file is too large", body = Told),
        (status = 422, description = "Too much work is running", body = Told),
    )
)]
pub(crate) async fn send_bundle(
    State(shared): State<Arc<Shared>>,
    body: Body,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let file = received_within(&shared.book().uploads()?, body, MOST_SCAN_BYTES).await?;
    if file.as_file().metadata().is_ok_and(|m| m.len() == 0) {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the file is empty",
            "send a bundle",
        )
        .into());
    }
    let book = shared.book();
    let work = shared.jobs().start("Taking a bundle in", move |progress| {
        Ok(begun_with(book.take_bundle_in(file.path(), progress)?))
    })?;
    let next = crate::pages::job::address(work);
    Ok((StatusCode::ACCEPTED, Json(Placed { test: 0, next })))
}

/// A test that was taken in is begun with its exposures.
pub(crate) fn begun_with(taken: TakenIn) -> Ended {
    Ended {
        result: Step::Exposures.of(&taken.test.to_string()),
        notes: taken.notes,
    }
}
