//! A test folder sent file by file, by the API.
//!
//! First the list of its files, which is checked whole; then each file by its number; then
//! it is taken in. The paths in the list are names within the test and nothing else.

use crate::api::files::begun_with;
use crate::api::tests::Placed;
use crate::refusal::{ApiRefusal, Told};
use crate::shared::{Shared, away};
use crate::upload::received_within;
use axum::Json;
use axum::body::Body;
use axum::extract::rejection::{JsonRejection, PathRejection};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::ToSchema;

/// A test folder that is to be sent.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct NewFolder {
    /// What the folder is called, for the history.
    #[schema(max_length = 400)]
    name: String,
    /// All its files.
    #[schema(max_items = 100_000)]
    files: Vec<FolderFile>,
}

/// A file of a folder that is to be sent.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct FolderFile {
    /// Its path within the folder, with / between its parts.
    path: String,
    /// Number of bytes.
    size: u64,
}

/// A folder whose files may be sent now.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct AwaitedFolder {
    /// Its number.
    folder: u64,
    /// Places, in the list that was sent and counted from 0, of the files that are wanted.
    wanted: Vec<usize>,
    /// What is left out, and why, as sentences.
    left_out: Vec<String>,
}

/// How much of a folder has not come yet.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct StillAwaited {
    /// Files that have not come yet.
    missing: usize,
}

/// The number of a folder that is coming in.
type Folder = Result<Path<u64>, PathRejection>;

/// Begins to send a test folder: its list of files is checked before any is sent.
#[utoipa::path(
    post,
    path = "/api/folders",
    request_body = NewFolder,
    responses(
        (status = 201, body = AwaitedFolder),
        (status = 400, description = "The JSON can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 413, description = "The list is too long", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "A name or size is refused, there is no test.toml, or too many folders are coming in", body = Told),
    )
)]
pub(crate) async fn begin(
    State(shared): State<Arc<Shared>>,
    new: Result<Json<NewFolder>, JsonRejection>,
) -> Result<(StatusCode, Json<AwaitedFolder>), ApiRefusal> {
    let Json(NewFolder { name, files }) = new?;
    let files = files
        .into_iter()
        .map(|FolderFile { path, size }| app::ListedFile { path, size })
        .collect();
    let book = shared.book();
    let sent = away(move || book.await_folder(&name, files)).await?;
    let (wanted, left_out) = (sent.wanted().collect(), sent.left_out().to_vec());
    let folder = shared.folders().begin(sent)?;
    Ok((
        StatusCode::CREATED,
        Json(AwaitedFolder {
            folder,
            wanted,
            left_out,
        }),
    ))
}

/// Sends one file of a folder, by its place in the list.
#[utoipa::path(
    put,
    path = "/api/folders/{folder}/files/{file}",
    params(
        ("folder" = u64, Path, description = "Number of the folder"),
        ("file" = u64, Path, description = "Place of the file in the list, from 0"),
    ),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses(
        (status = 200, body = StillAwaited),
        (status = 400, description = "A number can't be read, or the file broke off", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "No such folder is coming in", body = Told),
        (status = 413, description = "The file has more bytes than were listed", body = Told),
        (status = 422, description = "The file is not wanted, or has fewer bytes than were listed", body = Told),
    )
)]
pub(crate) async fn send_file(
    State(shared): State<Arc<Shared>>,
    numbers: Result<Path<(u64, usize)>, PathRejection>,
    body: Body,
) -> Result<Json<StillAwaited>, ApiRefusal> {
    let Path((folder, file)) = numbers?;
    let (place, listed) = shared.folders().awaited(folder, file)?;
    let written = received_within(&place, body, listed.size).await?;
    let missing = shared.folders().take(folder, file, written.path())?;
    Ok(Json(StillAwaited { missing }))
}

/// Takes a folder in as a new test, once all its files came.
#[utoipa::path(
    post,
    path = "/api/folders/{folder}/take-in",
    params(("folder" = u64, Path, description = "Number of the folder")),
    responses(
        (status = 202, body = Placed, description = "It is being taken in; `next` shows how far it is"),
        (status = 400, description = "The number can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "No such folder is coming in", body = Told),
        (status = 422, description = "Files have not come yet, or too much work is running", body = Told),
    )
)]
pub(crate) async fn take_in(
    State(shared): State<Arc<Shared>>,
    folder: Folder,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let Path(folder) = folder?;
    let sent = shared.folders().whole(folder)?;
    let book = shared.book();
    let work = shared.jobs().start("Taking a folder in", move |progress| {
        Ok(begun_with(book.take_folder_in(sent, progress)?))
    })?;
    let next = crate::pages::job::address(work);
    Ok((StatusCode::ACCEPTED, Json(Placed { test: 0, next })))
}

/// Gives a folder up that was coming in; what came of it goes again.
#[utoipa::path(
    delete,
    path = "/api/folders/{folder}",
    params(("folder" = u64, Path, description = "Number of the folder")),
    responses(
        (status = 204, description = "Nothing of it is kept"),
        (status = 400, description = "The number can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "No such folder is coming in", body = Told),
    )
)]
pub(crate) async fn give_up(
    State(shared): State<Arc<Shared>>,
    folder: Folder,
) -> Result<StatusCode, ApiRefusal> {
    let Path(folder) = folder?;
    drop(shared.folders().take_out(folder)?);
    Ok(StatusCode::NO_CONTENT)
}
