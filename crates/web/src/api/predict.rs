//! Prediction from spectra by the API.

use crate::refusal::{ApiRefusal, Told};
use crate::shared::away;
use crate::spectra_question::{SpectraQuestion, request};
use axum::Json;
use axum::extract::Query;
use axum::extract::rejection::QueryRejection;
use serde_json::Value;

/// What a filter costs on a film in a light, from spectra; keys as of `filmproof predict --json`.
#[utoipa::path(
    get,
    path = "/api/predict",
    params(SpectraQuestion),
    responses(
        (status = 200, body = Object, description = "The answer with its interval and what it rests on"),
        (status = 400, description = "The query can't be read", body = Told),
        (status = 422, description = "A name or number is not one that can be asked about", body = Told),
    )
)]
pub(crate) async fn predict(
    question: Result<Query<SpectraQuestion>, QueryRejection>,
) -> Result<Json<Value>, ApiRefusal> {
    let Query(question) = question?;
    let asked = request(&question, vec![])?;
    Ok(Json(
        away(move || app::predict(&asked).map(|a| a.json)).await?,
    ))
}
