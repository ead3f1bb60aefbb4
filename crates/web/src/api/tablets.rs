//! Step tablets looked for in scans, by the API.

use crate::api::refused::JsonChangeRefused;
use crate::api::tests::{Number, Placed};
use crate::book::{Found, Missing};
use crate::form::encoded;
use crate::jobs::JobState;
use crate::layout::Step;
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{Shared, away};
use crate::tablet_looks;
use app::KeepError;
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection};
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::ToSchema;

/// The word for all tablets of a record.
const ALL_RECORDED: &str = "all-recorded";

/// Which tablet is looked for.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct WantedTablet {
    /// Id of a recorded tablet, or a usual one: nominal-21, nominal-31, nominal-11; or
    /// all-recorded.
    #[schema(min_length = 1, max_length = 64)]
    tablet: String,
}

/// A step of a tablet that was found.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct StepFound {
    /// Number in the tablet's table, counted from 1.
    step: u32,
    /// Corners of what is measured: x and y of each. \[px of the scan\]
    outline_px: Vec<Vec<f64>>,
    /// Its edges drown in the dark: it is placed by the pitch of the others, and
    /// calibrates nothing.
    placed_by_pitch: bool,
}

/// A tablet that was found and is not kept yet.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct TabletFound {
    /// Id of the scan.
    scan: String,
    /// The tablet.
    tablet: String,
    /// The finding in words.
    words: String,
    /// Where step 2 lies, seen from step 1: right, left, down, up.
    direction: String,
    /// How far it is turned from that direction, clockwise. \[degrees\]
    tilt_deg: f64,
    /// From step to step. \[px\]
    pitch_px: f64,
    /// Standard uncertainty of the edges between steps. \[px\]
    edge_sd_px: f64,
    /// How far all that was judged stays from what is refused: 1 far, 0 at the limit.
    quality: f64,
    /// The steps, in the tablet's order.
    steps: Vec<StepFound>,
    /// Address of the part of the scan about it, as PNG.
    picture: String,
}

/// A scan in which a tablet was looked for and not found.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct TabletMissing {
    /// Id of the scan.
    scan: String,
    /// The tablet.
    tablet: String,
    /// Why it was not found.
    problem: String,
    /// What to do.
    remedy: String,
}

/// How the search for step tablets stands.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct TabletsLookedFor {
    /// The work that looked, or looks, for them last.
    job: Option<JobState>,
    /// What was found and is not kept yet.
    found: Vec<TabletFound>,
    /// Where none was found.
    missing: Vec<TabletMissing>,
    /// Scans that nothing calibrates.
    uncalibrated: Vec<String>,
}

fn found(test: u32, of: &Found) -> TabletFound {
    let hundredths = |v: f64| (v * 100.0).round() / 100.0;
    TabletFound {
        words: of.found.words(),
        direction: of.found.direction.to_owned(),
        tilt_deg: of.found.tilt_deg,
        pitch_px: of.found.pitch_px,
        edge_sd_px: of.found.edge_sd_px,
        quality: of.found.quality,
        steps: of
            .found
            .steps
            .iter()
            .map(|step| StepFound {
                step: step.number,
                outline_px: step
                    .inner_px
                    .iter()
                    .map(|(x, y)| vec![hundredths(*x), hundredths(*y)])
                    .collect(),
                placed_by_pitch: step.by_pitch,
            })
            .collect(),
        picture: format!("/api/tests/{test}/scans/{}/tablet.png", encoded(&of.scan)),
        scan: of.scan.clone(),
        tablet: of.tablet.clone(),
    }
}

fn missing(of: Missing) -> TabletMissing {
    TabletMissing {
        scan: of.scan,
        tablet: of.tablet,
        problem: of.why.problem,
        remedy: of.why.remedy,
    }
}

/// How the search for step tablets stands: what was found and waits to be confirmed, and
/// where none was found.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/tablet-search",
    params(("test" = u32, Path, description = "Number of the test")),
    responses(
        (status = 200, body = TabletsLookedFor),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test", body = Told),
    )
)]
pub(crate) async fn search(
    State(shared): State<Arc<Shared>>,
    test: Number,
) -> Result<Json<TabletsLookedFor>, ApiRefusal> {
    let Path(test) = test?;
    let book = shared.book();
    let search = away(move || book.tablet_search(test)).await?;
    Ok(Json(TabletsLookedFor {
        job: tablet_looks::state(&shared, test),
        found: search.found.iter().map(|f| found(test, f)).collect(),
        missing: search.missing.into_iter().map(missing).collect(),
        uncalibrated: search.uncalibrated,
    }))
}

/// Begins to look for step tablets in the scans that nothing calibrates. What is found is
/// not kept before it is confirmed.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/tablet-search",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = WantedTablet,
    responses(
        (status = 202, body = JobState),
        (status = 400, description = "The JSON or the number can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "There is no such tablet, or too much work is running", body = Told),
    )
)]
pub(crate) async fn look(
    State(shared): State<Arc<Shared>>,
    test: Number,
    wanted: Result<Json<WantedTablet>, JsonRejection>,
) -> Result<(StatusCode, Json<JobState>), ApiRefusal> {
    let Path(test) = test?;
    let Json(wanted) = wanted?;
    let of = Arc::clone(&shared);
    let job = away(move || match wanted.tablet.as_str() {
        ALL_RECORDED => tablet_looks::look_for(&of, test, None),
        _ => tablet_looks::look_for(&of, test, Some(wanted.tablet)),
    })
    .await?;
    let state = shared
        .jobs()
        .state(job)
        .ok_or_else(|| Refusal::not_found("the work has gone already"))?;
    Ok((StatusCode::ACCEPTED, Json(state)))
}

/// Tablets that were found, looked at, and are to be kept.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct ConfirmedTablets {
    /// The revision that was read.
    #[schema(minimum = 1)]
    expected_revision: u32,
    /// Ids of the scans they were found in.
    #[schema(min_items = 1)]
    scans: Vec<String>,
    /// Whether the first calibrates all scans in which none was found: they must have been made
    /// with the same locked settings.
    #[serde(default)]
    calibrates_others: bool,
}

/// Keeps tablets as they were found: their steps become outlines of the record.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/tablets-found",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = ConfirmedTablets,
    responses(
        (status = 201, body = Placed),
        (status = 422, description = "No tablet was found in this scan", body = Told),
        JsonChangeRefused,
    )
)]
pub(crate) async fn keep(
    State(shared): State<Arc<Shared>>,
    test: Number,
    confirmed: Result<Json<ConfirmedTablets>, JsonRejection>,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let Path(test) = test?;
    let Json(of) = confirmed?;
    let book = shared.book();
    away(move || {
        book.keep_found_tablets(test, of.expected_revision, &of.scans, of.calibrates_others)
    })
    .await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok((StatusCode::CREATED, Json(Placed { test, next })))
}

/// The part of a scan about the tablet that was found in it, as PNG.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/scans/{scan}/tablet.png",
    params(("test" = u32, Path, description = "Number of the test"), ("scan" = String, Path, description = "Id of the scan")),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png"),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test, or no tablet waits there to be kept", body = Told),
    )
)]
pub(crate) async fn picture(
    State(shared): State<Arc<Shared>>,
    path: Result<Path<(u32, String)>, PathRejection>,
) -> Result<Response, ApiRefusal> {
    let Path((test, scan)) = path?;
    let book = shared.book();
    let png = away(move || {
        let search = book.tablet_search(test)?;
        let found = search.found.into_iter().find(|f| f.scan == scan);
        Ok::<_, KeepError>(found.map(|f| f.found.cut_out.png.clone()))
    })
    .await?;
    let png =
        png.ok_or_else(|| Refusal::not_found("no tablet that was found there waits to be kept"))?;
    let kind = [(header::CONTENT_TYPE, HeaderValue::from_static("image/png"))];
    Ok((kind, png).into_response())
}
