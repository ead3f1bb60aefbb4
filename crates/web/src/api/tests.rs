//! Tests by the API: listed, opened, changed, evaluated.

use crate::book::Rows;
use crate::jobs::JobState;
use crate::layout::Step;
use crate::record_tables::{as_typed, shown_rows};
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{OpenTest, Shared, away};
use crate::upload::{MOST_SCAN_BYTES, MOST_TEXT_BYTES, plain_name, received};
use app::RecordRow;
use axum::Json;
use axum::body::Body;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// The number of a test, from the address.
type Number = Result<Path<u32>, PathRejection>;

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

/// The tests of the notebook, last changed first; with words, the best hit first.
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
        Some(words) if !words.is_empty() => book.search(words),
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
    test: u32,
    /// The page on which the work goes on.
    next: String,
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
}

fn records_of(open: &OpenTest) -> Result<Records, Refusal> {
    Ok(Records {
        revision: open.revision,
        tables: shown_rows(open)?,
        problems: open.problems.clone(),
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
}

/// Saves rows of records, if nobody changed the test since it was read.
#[utoipa::path(
    put,
    path = "/api/tests/{test}/records",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = ChangedRecords,
    responses(
        (status = 200, body = Records),
        (status = 400, description = "The JSON or the number can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test or revision", body = Told),
        (status = 409, description = "Somebody changed the test since; the message says what", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "The rows don't fit the record", body = Told),
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
    let open = away(move || {
        book.save_rows(test, changed.expected_revision, &rows)?;
        book.open(test)
    })
    .await?;
    Ok(Json(records_of(&open)?))
}

/// A patch that was outlined.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct OutlinedPatch {
    /// The revision that was read.
    #[schema(minimum = 1)]
    expected_revision: u32,
    /// Id of the frame.
    #[schema(pattern = "^[A-Za-z0-9_.-]{1,64}$")]
    frame: String,
    /// Name of the patch, the same on all frames.
    #[schema(pattern = "^[A-Za-z0-9_.-]{1,64}$")]
    patch: String,
    /// What it shows.
    role: RoleOfPatch,
    /// Id of the scan.
    #[schema(pattern = "^[A-Za-z0-9_.-]{1,64}$")]
    scan: String,
    /// Left edge. \[px\]
    #[schema(maximum = 1000000)]
    x_px: u32,
    /// Top edge. \[px\]
    #[schema(maximum = 1000000)]
    y_px: u32,
    /// Width. \[px\]
    #[schema(minimum = 1, maximum = 1000000)]
    width_px: u32,
    /// Height. \[px\]
    #[schema(minimum = 1, maximum = 1000000)]
    height_px: u32,
    /// Whether it is to be carried to the other frames.
    #[serde(default)]
    carry: bool,
}

/// What a patch shows.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum RoleOfPatch {
    /// A grey card.
    GreyCard,
    /// Clear film: base+fog.
    BaseFog,
    /// The darkest part that should print with detail.
    Shadow,
    /// The lightest part that should print with detail.
    Highlight,
    /// Leaves in the sun.
    SunlitFoliage,
    /// Leaves in the shade.
    ShadedFoliage,
    /// A grey card in the shade.
    ShadedGreyCard,
    /// Sky.
    Sky,
    /// A wall or other even surface.
    Wall,
    /// Something else.
    Other,
}

impl RoleOfPatch {
    /// The record's word.
    fn word(self) -> &'static str {
        match self {
            Self::GreyCard => "grey_card",
            Self::BaseFog => "base_fog",
            Self::Shadow => "shadow",
            Self::Highlight => "highlight",
            Self::SunlitFoliage => "sunlit_foliage",
            Self::ShadedFoliage => "shaded_foliage",
            Self::ShadedGreyCard => "shaded_grey_card",
            Self::Sky => "sky",
            Self::Wall => "wall",
            Self::Other => "other",
        }
    }
}

/// An outline in pixels, or why it is none.
fn rectangle(sides: [u32; 4]) -> Result<[u32; 4], Refusal> {
    let [_, _, width, height] = sides;
    if width == 0 || height == 0 || sides.iter().any(|side| *side > 1_000_000) {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the outline has no pixel, or lies beyond the first million",
            "outline at least one pixel of the scan",
        ));
    }
    Ok(sides)
}

/// Keeps an outline on a frame, carried to the others where that is wanted.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/patches",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = OutlinedPatch,
    responses(
        (status = 201, body = Placed),
        (status = 400, description = "The JSON or the number can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test or revision", body = Told),
        (status = 409, description = "Somebody changed the test since", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "The outline doesn't fit the record", body = Told),
    )
)]
pub(crate) async fn outline(
    State(shared): State<Arc<Shared>>,
    test: Number,
    outlined: Result<Json<OutlinedPatch>, JsonRejection>,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let Path(test) = test?;
    let Json(of) = outlined?;
    let sides = rectangle([of.x_px, of.y_px, of.width_px, of.height_px])?;
    let book = shared.book();
    away(move || {
        let patch = app::PatchRow {
            frame: of.frame,
            patch: of.patch,
            role: of.role.word().to_owned(),
            scan: of.scan,
            rectangle_px: sides.map(|v| v.to_string()),
            region: String::new(),
            polygon_px: String::new(),
            carried_from: String::new(),
        };
        book.outline(test, of.expected_revision, &patch, of.carry)
    })
    .await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok((StatusCode::CREATED, Json(Placed { test, next })))
}

/// A step tablet that was outlined in a scan.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct OutlinedTablet {
    /// The revision that was read.
    #[schema(minimum = 1)]
    expected_revision: u32,
    /// Id of the scan.
    #[schema(pattern = "^[A-Za-z0-9_.-]{1,64}$")]
    scan: String,
    /// Id of a recorded tablet, or a usual one: nominal-21, nominal-31, nominal-11.
    tablet: String,
    /// Where its clear end lies.
    clear_end: ClearEnd,
    /// Left edge. \[px\]
    #[schema(maximum = 1000000)]
    x_px: u32,
    /// Top edge. \[px\]
    #[schema(maximum = 1000000)]
    y_px: u32,
    /// Width. \[px\]
    #[schema(minimum = 1, maximum = 1000000)]
    width_px: u32,
    /// Height. \[px\]
    #[schema(minimum = 1, maximum = 1000000)]
    height_px: u32,
    /// Whether it calibrates all scans that have no tablet: they must have been made with
    /// the same locked settings.
    #[serde(default)]
    calibrates_others: bool,
}

/// Where the clear end of a tablet lies.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum ClearEnd {
    /// At the left.
    Left,
    /// At the right.
    Right,
    /// At the top.
    Top,
    /// At the bottom.
    Bottom,
}

impl ClearEnd {
    /// Where step 2 lies, seen from step 1, which is the clear one.
    fn direction(self) -> &'static str {
        match self {
            Self::Left => "right",
            Self::Right => "left",
            Self::Top => "down",
            Self::Bottom => "up",
        }
    }
}

/// Keeps where a step tablet lies in a scan.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/strips",
    params(("test" = u32, Path, description = "Number of the test")),
    request_body = OutlinedTablet,
    responses(
        (status = 201, body = Placed),
        (status = 400, description = "The JSON or the number can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test or revision", body = Told),
        (status = 409, description = "Somebody changed the test since", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "The outline doesn't fit the record", body = Told),
    )
)]
pub(crate) async fn outline_tablet(
    State(shared): State<Arc<Shared>>,
    test: Number,
    outlined: Result<Json<OutlinedTablet>, JsonRejection>,
) -> Result<(StatusCode, Json<Placed>), ApiRefusal> {
    let Path(test) = test?;
    let Json(of) = outlined?;
    let sides = rectangle([of.x_px, of.y_px, of.width_px, of.height_px])?;
    let book = shared.book();
    away(move || {
        let nominal = of
            .tablet
            .strip_prefix("nominal-")
            .filter(|steps| ["21", "31", "11"].contains(steps))
            .map(str::to_owned);
        let place = app::StripPlace {
            scan: of.scan,
            steps: nominal
                .as_deref()
                .and_then(|steps| steps.parse().ok())
                .unwrap_or(21),
            nominal,
            tablet: of.tablet,
            rectangle_px: sides,
            direction: of.clear_end.direction().to_owned(),
            calibrates_others: of.calibrates_others,
        };
        book.outline_tablet(test, of.expected_revision, place)
    })
    .await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok((StatusCode::CREATED, Json(Placed { test, next })))
}

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

/// Takes a scan in: TIFF, PNG or JPEG.
#[utoipa::path(
    post,
    path = "/api/tests/{test}/scans",
    params(("test" = u32, Path, description = "Number of the test"), Sent),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses(
        (status = 201, body = Taken),
        (status = 400, description = "Number or query can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test or revision", body = Told),
        (status = 409, description = "Somebody changed the test since", body = Told),
        (status = 413, description = "The file is too large", body = Told),
        (status = 422, description = "The file is no scan that can be read", body = Told),
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
    let file = received(body, MOST_SCAN_BYTES).await?;
    let book = shared.book();
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
        (status = 400, description = "Number or query can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 404, description = "There is no such test or revision", body = Told),
        (status = 409, description = "Somebody changed the test since", body = Told),
        (status = 413, description = "The file is too large", body = Told),
        (status = 422, description = "The log doesn't fit the plan or the record", body = Told),
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
    let file = received(body, MOST_TEXT_BYTES).await?;
    let book = shared.book();
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
    let file = received(body, MOST_SCAN_BYTES).await?;
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
        let test = book.take_bundle_in(file.path(), progress)?;
        Ok(Step::Exposures.of(&test.to_string()))
    })?;
    let next = crate::pages::job::address(work);
    Ok((StatusCode::ACCEPTED, Json(Placed { test: 0, next })))
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
    let work = shared
        .jobs()
        .start(format!("Evaluating test {test}"), move |progress| {
            book.evaluate(test, progress)?;
            Ok(Step::Findings.of(&test.to_string()))
        })?;
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
