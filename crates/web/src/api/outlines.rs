//! Patches and step tablets outlined in scans, and the frames that scans show, by the API.

use crate::api::refused::JsonChangeRefused;
use crate::api::tests::{Number, Placed};
use crate::layout::Step;
use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::{Shared, away};
use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use std::sync::Arc;
use utoipa::ToSchema;

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
        (status = 422, description = "The outline doesn't fit the record", body = Told),
        JsonChangeRefused,
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
        (status = 422, description = "The outline doesn't fit the record", body = Told),
        JsonChangeRefused,
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
        let usual = app::UsualTablet::of_word(&of.tablet);
        let place = app::StripPlace {
            scan: of.scan,
            outline: app::StripOutline::Cells {
                steps: usual.map_or(21, app::UsualTablet::steps),
                rectangle_px: sides,
                direction: of.clear_end.direction().to_owned(),
            },
            nominal: usual.map(|usual| usual.steps().to_string()),
            tablet: of.tablet,
            calibrates_others: of.calibrates_others,
            but_not: vec![],
        };
        book.outline_tablet(test, of.expected_revision, place)
    })
    .await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok((StatusCode::CREATED, Json(Placed { test, next })))
}

/// The frame that a scan shows.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct GivenScan {
    /// The revision that was read.
    #[schema(minimum = 1)]
    expected_revision: u32,
    /// Id of the frame.
    #[schema(pattern = "^[A-Za-z0-9_.-]{1,64}$")]
    frame: String,
}

/// Gives a scan to a frame. Patches outlined in it go with it; a scan that shows the
/// frame already takes the other's in exchange.
#[utoipa::path(
    put,
    path = "/api/tests/{test}/scans/{scan}/frame",
    params(("test" = u32, Path, description = "Number of the test"), ("scan" = String, Path, description = "Id of the scan")),
    request_body = GivenScan,
    responses(
        (status = 200, body = Placed),
        (status = 422, description = "There is no such scan or frame, or the scan can't be given to it", body = Told),
        JsonChangeRefused,
    )
)]
pub(crate) async fn give_scan(
    State(shared): State<Arc<Shared>>,
    path: Result<Path<(u32, String)>, PathRejection>,
    given: Result<Json<GivenScan>, JsonRejection>,
) -> Result<Json<Placed>, ApiRefusal> {
    let Path((test, scan)) = path?;
    let Json(given) = given?;
    let book = shared.book();
    away(move || book.give_scan(test, given.expected_revision, &scan, &given.frame)).await?;
    let next = Step::Negatives.of(&test.to_string());
    Ok(Json(Placed { test, next }))
}
