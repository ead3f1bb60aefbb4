//! Tests by the API: listed, begun, evaluated.

use crate::jobs::JobState;
use crate::layout::Step;
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{Shared, away};
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// The number of a test, from the address.
pub(crate) type Number = Result<Path<u32>, PathRejection>;

/// A test as it stands in the list.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct ListedTest {
    /// Its number.
    test: i64,
    /// What it is called.
    title: String,
    /// How far it is: draft, begun, planned, exposed, measured.
    stage: String,
    /// Its revision.
    revision: u32,
    /// When it was last changed, as RFC 3339.
    changed_at: String,
    /// Whether its data are invented.
    invented_data: bool,
    /// Exposed frames.
    frames: u32,
    /// Its films, by name.
    films: Vec<String>,
    /// Its filters, by name.
    filters: Vec<String>,
}

/// What the list is asked for.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(default)]
pub(crate) struct Sought {
    /// Words that a test must have in its title, films, filters, batches or places.
    words: Option<String>,
}

/// The tests of the notebook, last changed first; with words, the hundred best hits.
#[utoipa::path(
    get,
    path = "/api/tests",
    params(Sought),
    responses(
        (status = 200, body = Vec<ListedTest>),
        (status = 400, description = "The query can't be read", body = Told),
    )
)]
pub(crate) async fn list(
    State(shared): State<Arc<Shared>>,
    sought: Result<Query<Sought>, QueryRejection>,
) -> Result<Json<Vec<ListedTest>>, ApiRefusal> {
    let Query(sought) = sought?;
    let book = shared.book();
    let tests = away(move || match sought.words.as_deref().map(str::trim) {
        Some(words) if !words.is_empty() => Ok(book.search(words)?.tests),
        _ => book.tests(false),
    })
    .await?;
    let listed = tests
        .into_iter()
        .map(|test| ListedTest {
            test: test.id.number(),
            title: test.title,
            stage: test.stage.word().to_owned(),
            revision: test.revision,
            changed_at: test.changed_at,
            invented_data: test.invented,
            frames: test.frames,
            films: test.films,
            filters: test.filters,
        })
        .collect();
    Ok(Json(listed))
}

/// A new test.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct NewTest {
    /// What it is to find out.
    #[schema(min_length = 1, max_length = 500)]
    title: String,
}

/// Where something is now.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Placed {
    /// The test's number.
    pub(crate) test: u32,
    /// The page on which the work goes on.
    pub(crate) next: String,
}

/// Begins a test with nothing but a title.
#[utoipa::path(
    post,
    path = "/api/tests",
    request_body = NewTest,
    responses(
        (status = 201, body = Placed),
        (status = 400, description = "The JSON can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "There is no title", body = Told),
    )
)]
pub(crate) async fn begin(
    State(shared): State<Arc<Shared>>,
    new: Result<Json<NewTest>, JsonRejection>,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let Json(new) = new?;
    if new.title.chars().count() > 500 {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the title has more than 500 letters",
            "say it shorter; the rest belongs in the purpose",
        )
        .into());
    }
    let book = shared.book();
    let test = away(move || book.begin(&new.title, &[])).await?;
    let next = Step::Exposures.of(&test.to_string());
    Ok((StatusCode::CREATED, Json(Placed { test, next })))
}

/// Begins to evaluate a test.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/evaluate",
    params(("test" = u32, Path, description = "Number of the test")),
    responses(
        (status = 202, body = JobState),
        (status = 400, description = "The number is none", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test", body = Told),
        (status = 422, description = "Too much work is running", body = Told),
    )
)]
pub(crate) async fn evaluate(
    State(shared): State<Arc<Shared>>,
    test: Number,
) -> Result<(StatusCode, Json<JobState>), ApiRefusal> {
    let Path(test) = test?;
    let book = shared.book();
    let known = shared.book();
    away(move || known.open(test)).await?;
    let work = shared.jobs().start_of(
        Some(test),
        format!("Evaluating test {test}"),
        move |progress| {
            book.evaluate(test, progress)?;
            Ok(Step::Findings.of(&test.to_string()))
        },
    )?;
    let state = shared
        .jobs()
        .state(work)
        .ok_or_else(|| Refusal::not_found("the work has gone already"))?;
    Ok((StatusCode::ACCEPTED, Json(state)))
}

/// What was found last, with the keys of `filmproof evaluate --json`.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/findings",
    params(("test" = u32, Path, description = "Number of the test")),
    responses(
        (status = 200, body = Object),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test, or it is not evaluated", body = Told),
    )
)]
pub(crate) async fn findings(
    State(shared): State<Arc<Shared>>,
    test: Number,
) -> Result<Json<Value>, ApiRefusal> {
    let Path(test) = test?;
    let book = shared.book();
    let found = away(move || book.evaluated(test)).await?;
    let found = found.ok_or_else(|| Refusal::not_found("this test is not evaluated yet"))?;
    Ok(Json(found.json))
}
