//! Frames as they were found in scans, by the API.

use crate::api::refused::JsonChangeRefused;
use crate::api::tests::{Number, Placed};
use crate::frame_found::FrameFound;
use crate::layout::Step;
use crate::refusal::{ApiRefusal, Told};
use crate::shared::{Shared, away};
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// The frame that was found in a scan: edges of the picture, tilt, and what the rebate
/// reads. Only looked at: no density is made from it before a person keeps the rebate.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/scans/{scan}/frame-found",
    params(("test" = u32, Path, description = "Number of the test"), ("scan" = String, Path, description = "Id of the scan")),
    responses(
        (status = 200, body = FrameFound),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test", body = Told),
        (status = 422, description = "There is no such scan, or it can't be read", body = Told),
    )
)]
pub(crate) async fn found(
    State(shared): State<Arc<Shared>>,
    path: Result<Path<(u32, String)>, PathRejection>,
) -> Result<Json<FrameFound>, ApiRefusal> {
    let Path((test, scan)) = path?;
    let book = shared.book();
    Ok(Json(away(move || book.frame_found(test, &scan)).await?))
}

/// A rebate that was found, looked at, and is to be kept.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct ConfirmedRebate {
    /// The revision that was read.
    #[schema(minimum = 1)]
    expected_revision: u32,
    /// Id of the scan it was found in; the scan shows one frame.
    #[schema(pattern = "^[A-Za-z0-9_.-]{1,64}$")]
    scan: String,
}

/// Keeps the largest even stretch of a rebate as clear film (base+fog) of the frame that
/// the scan shows: a patch called `rebate`, outlined as by hand.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/rebates-found",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = ConfirmedRebate,
    responses(
        (status = 201, body = Placed),
        (status = 422, description = "No rebate was found in this scan, or its frame has clear film outlined in it", body = Told),
        JsonChangeRefused,
    )
)]
pub(crate) async fn keep(
    State(shared): State<Arc<Shared>>,
    test: Number,
    confirmed: Result<Json<ConfirmedRebate>, JsonRejection>,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let Path(test) = test?;
    let Json(of) = confirmed?;
    let book = shared.book();
    away(move || book.keep_rebate(test, of.expected_revision, &of.scan)).await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok((StatusCode::CREATED, Json(Placed { test, next })))
}
