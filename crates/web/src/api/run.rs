//! This run of the program.

use crate::shared::Shared;
use axum::Json;
use axum::extract::State;
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// What a program needs to know of this run.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Run {
    /// Name and version.
    program: String,
    /// What every change must carry in the header x-filmproof-token.
    token: String,
}

/// Name, version and token of this run.
#[utoipa::path(get, path = "/api/run", responses((status = 200, body = Run)))]
pub(crate) async fn run(State(shared): State<Arc<Shared>>) -> Json<Run> {
    Json(Run {
        program: app::VERSION.to_owned(),
        token: shared.token().to_owned(),
    })
}
