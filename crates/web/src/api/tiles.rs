//! Scans as tiles of 16-bit codes, and the density of each code.

use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{Shared, away};
use axum::Json;
use axum::extract::rejection::PathRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// One level of a tiled scan.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Level {
    /// Pixels in a row.
    width: u32,
    /// Rows.
    height: u32,
    /// Tiles side by side.
    columns: u32,
    /// Rows of tiles.
    rows: u32,
}

/// A scan as tiles.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Tiles {
    /// Checksum of the file.
    sha256: String,
    /// Pixels along each side of a tile; those at the right and lower edge are smaller.
    tile_side: u32,
    /// Levels, the scan itself first; each next has half the sides.
    levels: Vec<Level>,
    /// Largest code.
    code_max: u32,
    /// How code values follow light, in words.
    tone: String,
    /// Whether a step tablet gives the codes their densities.
    calibrated: bool,
    /// What was assumed.
    warnings: Vec<String>,
}

type ScanPath = Result<Path<(u32, String)>, PathRejection>;
/// Test, scan, level, column, row.
type TilePath = Result<Path<(u32, String, u32, u32, u32)>, PathRejection>;

/// The levels of a scan.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/scans/{scan}/tiles",
    params(("test" = u32, Path, description = "Number of the test"), ("scan" = String, Path, description = "Id of the scan")),
    responses(
        (status = 200, body = Tiles),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test", body = Told),
        (status = 422, description = "There is no such scan, or it can't be read", body = Told),
    )
)]
pub(crate) async fn levels(
    State(shared): State<Arc<Shared>>,
    path: ScanPath,
) -> Result<Json<Tiles>, ApiRefusal> {
    let Path((test, scan)) = path?;
    let book = shared.book();
    let tiled = away(move || book.tiled(test, &scan)).await?;
    Ok(Json(Tiles {
        sha256: tiled.sha256.clone(),
        tile_side: tiled.tile_side,
        levels: tiled
            .levels
            .iter()
            .map(|l| Level {
                width: l.width,
                height: l.height,
                columns: l.columns,
                rows: l.rows,
            })
            .collect(),
        code_max: u32::from(tiled.code_max),
        tone: tiled.tone.clone(),
        calibrated: tiled.density_of_code.is_some(),
        warnings: tiled.warnings.clone(),
    }))
}

/// For each code its signal, 0 to 1, then, where a tablet tells it, its gross
/// density: little-endian 32-bit floating-point numbers.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/scans/{scan}/codes",
    params(("test" = u32, Path, description = "Number of the test"), ("scan" = String, Path, description = "Id of the scan")),
    responses(
        (status = 200, body = Vec<u8>, content_type = "application/octet-stream"),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test", body = Told),
        (status = 422, description = "There is no such scan, or it can't be read", body = Told),
    )
)]
pub(crate) async fn codes(
    State(shared): State<Arc<Shared>>,
    path: ScanPath,
) -> Result<Response, ApiRefusal> {
    let Path((test, scan)) = path?;
    let book = shared.book();
    let tiled = away(move || book.tiled(test, &scan)).await?;
    let numbers = tiled
        .signal_of_code
        .iter()
        .chain(tiled.density_of_code.iter().flatten());
    Ok(bytes(numbers.flat_map(|v| v.to_le_bytes()).collect()))
}

/// One tile: its codes row by row, little-endian 16-bit.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/scans/{scan}/tiles/{level}/{column}/{row}",
    params(
        ("test" = u32, Path, description = "Number of the test"),
        ("scan" = String, Path, description = "Id of the scan"),
        ("level" = u32, Path, description = "Level; 0 is the scan itself"),
        ("column" = u32, Path, description = "Column of tiles, from the left"),
        ("row" = u32, Path, description = "Row of tiles, from the top"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "application/octet-stream"),
        (status = 400, description = "A number is none", body = Told),
        (status = 404, description = "There is no such test or tile", body = Told),
        (status = 422, description = "There is no such scan, or it can't be read", body = Told),
    )
)]
pub(crate) async fn tile(
    State(shared): State<Arc<Shared>>,
    path: TilePath,
) -> Result<Response, ApiRefusal> {
    let Path((test, scan, level, column, row)) = path?;
    let book = shared.book();
    let found = away(move || {
        let tiled = book.tiled(test, &scan)?;
        Ok::<_, app::KeepError>(tiled.tile(level, column, row)?)
    })
    .await?;
    Ok(bytes(found.ok_or_else(|| {
        Refusal::not_found("the scan has no such tile")
    })?))
}

fn bytes(bytes: Vec<u8>) -> Response {
    (
        [(
            header::CONTENT_TYPE,
            HeaderValue::from_static("application/octet-stream"),
        )],
        bytes,
    )
        .into_response()
}
