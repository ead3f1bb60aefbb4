//! Long work by the API.

use crate::jobs::JobState;
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::Shared;
use axum::Json;
use axum::extract::{Path, State};
use std::sync::Arc;

fn missing() -> Refusal {
    Refusal::not_found("this work is not known; it may belong to an earlier run of the program")
}

/// How far a piece of long work is.
#[utoipa::path(
    get,
    path = "/api/jobs/{job}",
    params(("job" = u64, Path, description = "Number of the work")),
    responses(
        (status = 200, body = JobState),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such work", body = Told),
    )
)]
pub(crate) async fn state(
    State(shared): State<Arc<Shared>>,
    number: Result<Path<u64>, axum::extract::rejection::PathRejection>,
) -> Result<Json<JobState>, ApiRefusal> {
    let Path(job) = number?;
    Ok(Json(shared.jobs().state(job).ok_or_else(missing)?))
}

/// Asks a piece of long work to stop.
#[utoipa::path(
    post,
    path = "/api/jobs/{job}/stop",
    params(("job" = u64, Path, description = "Number of the work")),
    responses(
        (status = 200, body = JobState),
        (status = 400, description = "The number is none", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such work", body = Told),
    )
)]
pub(crate) async fn stop(
    State(shared): State<Arc<Shared>>,
    number: Result<Path<u64>, axum::extract::rejection::PathRejection>,
) -> Result<Json<JobState>, ApiRefusal> {
    let Path(job) = number?;
    shared.jobs().stop(job);
    Ok(Json(shared.jobs().state(job).ok_or_else(missing)?))
}
