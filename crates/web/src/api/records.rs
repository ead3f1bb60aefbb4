//! Records of a test as rows of cells, by the API.

use crate::api::refused::JsonChangeRefused;
use crate::api::tests::Number;
use crate::book::Rows;
use crate::mending::FaultyCell;
use crate::record_tables::{as_typed, shown_rows};
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{OpenTest, Shared, away};
use app::RecordRow;
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::ToSchema;

/// A row of a table of records.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub(crate) struct Row {
    /// Place of the record in the revision that was read, counted from 0; null for a new one.
    pub(crate) was: Option<u32>,
    /// What the cells hold, by their keys; one that is left out is not recorded.
    pub(crate) cells: BTreeMap<String, String>,
}

/// All tables of records of a test.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Records {
    /// The revision.
    revision: u32,
    /// Rows by kind of record: frame, film, filter, light, lens, process, tablet.
    tables: BTreeMap<String, Vec<Row>>,
    /// What has to be mended before the test can be evaluated.
    problems: Vec<String>,
    /// The cells that what has to be mended lies in.
    faults: Vec<FaultyCell>,
}

fn records_of(open: &OpenTest) -> Result<Records, Refusal> {
    Ok(Records {
        revision: open.revision,
        tables: shown_rows(open)?,
        problems: open.problems.clone(),
        faults: open.faults.clone(),
    })
}

/// The records of a test as rows.
#[utoipa::path(
    get,
    path = "/api/tests/{test}/records",
    params(("test" = u32, Path, description = "Number of the test")),
    responses(
        (status = 200, body = Records),
        (status = 400, description = "The number is none", body = Told),
        (status = 404, description = "There is no such test", body = Told),
        (status = 422, description = "The record can't be shown as rows", body = Told),
    )
)]
pub(crate) async fn records(
    State(shared): State<Arc<Shared>>,
    test: Number,
) -> Result<Json<Records>, ApiRefusal> {
    let Path(test) = test?;
    let book = shared.book();
    let open = away(move || book.open(test)).await?;
    Ok(Json(records_of(&open)?))
}

/// Rows to be saved.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct ChangedRecords {
    /// The revision that was read; when the test has another by now, nothing is saved.
    #[schema(minimum = 1)]
    expected_revision: u32,
    /// All rows of each kind that is given, in their order; a record without a row is taken out.
    tables: BTreeMap<String, Vec<Row>>,
    /// Whether what lies on frames that are taken out, patches and written densities, goes
    /// with them; without it nothing is saved where there is any.
    #[serde(default)]
    with_what_lies_on_frames: bool,
}

/// Saves rows of records, if nobody changed the test since it was read.
#[utoipa::path(
    put,
    path = "/api/tests/{test}/records",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = ChangedRecords,
    responses(
        (status = 200, body = Records),
        (status = 422, description = "The rows don't fit the record", body = Told),
        (status = 428, description = "Patches or densities lie on frames that are taken out", body = Told),
        JsonChangeRefused,
    )
)]
pub(crate) async fn save_records(
    State(shared): State<Arc<Shared>>,
    test: Number,
    changed: Result<Json<ChangedRecords>, JsonRejection>,
) -> Result<Json<Records>, ApiRefusal> {
    let Path(test) = test?;
    let Json(changed) = changed?;
    let rows: Rows = changed
        .tables
        .into_iter()
        .map(|(kind, rows)| {
            let rows = rows.into_iter().map(|row| RecordRow {
                was: row.was.map(|w| w as usize),
                cells: row
                    .cells
                    .into_iter()
                    .map(|(key, typed)| {
                        let typed = as_typed(&key, &typed);
                        (key, typed)
                    })
                    .collect(),
            });
            (kind, rows.collect())
        })
        .collect();
    let book = shared.book();
    let saved = away(move || {
        if !changed.with_what_lies_on_frames {
            let told = book.on_frames_taken_out(test, changed.expected_revision, &rows)?;
            if !told.is_empty() {
                return Ok(Err(told));
            }
        }
        book.save_rows(test, changed.expected_revision, &rows)?;
        book.open(test).map(Ok)
    })
    .await?;
    match saved {
        Ok(open) => Ok(Json(records_of(&open)?)),
        Err(told) => Err(Refusal::new(
            StatusCode::PRECONDITION_REQUIRED,
            told.join("; "),
            "put the frame back, or take out with it what lies on it; its scan stays, and asks which frame it shows",
        )
        .into()),
    }
}
