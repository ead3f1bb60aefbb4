//! A spectral curve read off marks on a printed plot, by the API.

use crate::refusal::{ApiRefusal, Refusal, Told};
use crate::shared::away;
use app::{AppError, TraceRequest, trace_plot};
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Most points of a curve.
const MOST_POINTS: usize = 2000;

/// A mark on an axis.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
pub(crate) struct Mark {
    /// Where it lies, from the left. \[px\]
    #[schema(minimum = -100000, maximum = 100000)]
    x_px: f64,
    /// Where it lies, from the top. \[px\]
    #[schema(minimum = -100000, maximum = 100000)]
    y_px: f64,
    /// What the axis says there.
    value: f64,
}

/// A point of the curve.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
pub(crate) struct Point {
    /// Where it lies, from the left. \[px\]
    #[schema(minimum = -100000, maximum = 100000)]
    x_px: f64,
    /// Where it lies, from the top. \[px\]
    #[schema(minimum = -100000, maximum = 100000)]
    y_px: f64,
}

/// What was marked on a picture of a printed plot.
#[derive(Debug, Deserialize, ToSchema)]
pub(crate) struct MarkedPlot {
    /// A mark on the axis of wavelengths, its value in nm.
    x1: Mark,
    /// Another.
    x2: Mark,
    /// A mark on the other axis.
    y1: Mark,
    /// Another.
    y2: Mark,
    /// Points of the curve.
    #[schema(max_items = 2000)]
    points: Vec<Point>,
    /// Whether the axis of wavelengths is logarithmic.
    #[serde(default)]
    x_log: bool,
    /// Whether the other axis is logarithmic.
    #[serde(default)]
    y_log: bool,
}

/// A curve that was read off.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct TracedCurve {
    /// The curve as a spectral file.
    csv: String,
}

/// One standard deviation of a place that was pointed at. \[px\]
const SD_PX: f64 = 1.0;

/// Reads a spectral curve off marks on a printed plot.
#[utoipa::path(
    post,
    path = "/api/trace",
    request_body = MarkedPlot,
    responses(
        (status = 200, body = TracedCurve),
        (status = 400, description = "The JSON can't be read", body = Told),
        (status = 403, description = "The token of this run is missing", body = Told),
        (status = 415, description = "The body is no JSON", body = Told),
        (status = 422, description = "The marks fix no plot, or the points are no curve", body = Told),
    )
)]
pub(crate) async fn trace(
    plot: Result<Json<MarkedPlot>, JsonRejection>,
) -> Result<Json<TracedCurve>, ApiRefusal> {
    let Json(plot) = plot?;
    if plot.points.len() > MOST_POINTS {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            format!(
                "{} points are too many, the most are {MOST_POINTS}",
                plot.points.len()
            ),
            "mark fewer; between them the curve is drawn through",
        )
        .into());
    }
    let marks = [plot.x1, plot.x2, plot.y1, plot.y2];
    let places = marks
        .iter()
        .map(|m| (m.x_px, m.y_px))
        .chain(plot.points.iter().map(|p| (p.x_px, p.y_px)));
    if places
        .into_iter()
        .any(|(x, y)| !(x.abs() <= 1e5 && y.abs() <= 1e5))
    {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "a place lies further out than 100 000 pixels",
            "mark places of the picture",
        )
        .into());
    }
    let mut text = String::from("what,x_px,y_px,value\n");
    for (name, mark) in ["x1", "x2", "y1", "y2"].iter().zip(marks) {
        text.push_str(&format!(
            "{name},{},{},{}\n",
            mark.x_px, mark.y_px, mark.value
        ));
    }
    for point in &plot.points {
        text.push_str(&format!("point,{},{},\n", point.x_px, point.y_px));
    }
    let (x_log, y_log) = (plot.x_log, plot.y_log);
    let csv = away(move || {
        let place = tempfile::tempdir().map_err(|e| {
            AppError::new(
                format!("a folder for work in between can't be used: {e}"),
                "check the free space of the disk",
            )
        })?;
        let file = place.path().join("marks on the plot");
        app::write_file(&file, text.as_bytes())?;
        let hidden = format!("{}{}", place.path().display(), std::path::MAIN_SEPARATOR);
        let request = TraceRequest {
            file,
            x_log,
            y_log,
            sd_px: SD_PX,
        };
        match trace_plot(&request) {
            Ok(traced) => Ok(traced.csv.replace(&hidden, "")),
            Err(e) => Err(AppError::new(
                e.problem.replace(&hidden, ""),
                "mark two places on each axis with their values, then the curve from left to right",
            )),
        }
    })
    .await?;
    Ok(Json(TracedCurve { csv }))
}
