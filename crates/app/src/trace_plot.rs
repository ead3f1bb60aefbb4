//! A curve from points marked on a picture of a printed plot.

use crate::AppError;
use serde_json::{Value, json};
use spectra::trace::{AxisMark, AxisScale, Place, PlotAxes, traced_curve};
use spectra::{Curve, CurveKind};
use std::path::PathBuf;

/// What `trace-plot` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceRequest {
    /// A CSV file with the columns `what,x_px,y_px,value`: marks x1, x2, y1, y2
    /// with their values, and points of the curve.
    pub file: PathBuf,
    /// Whether the horizontal axis is logarithmic.
    pub x_log: bool,
    /// Whether the vertical axis is logarithmic.
    pub y_log: bool,
    /// One standard deviation of a place, pixels.
    pub sd_px: f64,
}

/// What `trace-plot` answers.
#[derive(Clone, Debug)]
pub struct TraceAnswer {
    /// The curve as a spectral file.
    pub csv: String,
    /// The answer with stable keys.
    pub json: Value,
}

/// Reads a curve off a plot.
///
/// # Errors
/// [`AppError`] when the file can't be read or its marks fix no plot.
pub fn trace_plot(request: &TraceRequest) -> Result<TraceAnswer, AppError> {
    let shown = request.file.display();
    let wrong = |problem: String| {
        AppError::new(
            format!("{shown}: {problem}"),
            "give the columns what,x_px,y_px,value: x1, x2, y1, y2 with their values, and rows named point without one",
        )
    };
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(&request.file)
        .map_err(|e| wrong(e.to_string()))?;
    let heads = reader.headers().map_err(|e| wrong(e.to_string()))?.clone();
    let column = |name: &str| {
        heads
            .iter()
            .position(|head| head == name)
            .ok_or_else(|| wrong(format!("there is no column {name}")))
    };
    let (what, x, y, value) = (
        column("what")?,
        column("x_px")?,
        column("y_px")?,
        column("value")?,
    );
    let mut marks: [Option<AxisMark>; 4] = [None; 4];
    let mut places = vec![];
    for (row, record) in reader.records().enumerate() {
        let record = record.map_err(|e| wrong(e.to_string()))?;
        let line = row + 2;
        let number = |column: usize| {
            let text = record.get(column).unwrap_or("");
            text.parse::<f64>()
                .map_err(|_| wrong(format!("line {line}: '{text}' is no number")))
        };
        let place = Place {
            x_px: number(x)?,
            y_px: number(y)?,
        };
        let word = record.get(what).unwrap_or("");
        match ["x1", "x2", "y1", "y2"].iter().position(|m| *m == word) {
            Some(at) if marks[at].is_some() => {
                return Err(wrong(format!("line {line}: a second mark {word}")));
            }
            Some(at) => {
                marks[at] = Some(AxisMark {
                    place,
                    value: number(value)?,
                });
            }
            None if word == "point" => places.push(place),
            None => {
                return Err(wrong(format!(
                    "line {line}: '{word}' is none of x1, x2, y1, y2, point"
                )));
            }
        }
    }
    let [Some(x1), Some(x2), Some(y1), Some(y2)] = marks else {
        return Err(wrong("a mark of x1, x2, y1, y2 is missing".to_owned()));
    };
    let scale = |by_ratios: bool| {
        if by_ratios {
            AxisScale::Logarithmic
        } else {
            AxisScale::Linear
        }
    };
    let (x_scale, y_scale) = (scale(request.x_log), scale(request.y_log));
    let curve = PlotAxes::new([x1, x2], [y1, y2], x_scale, y_scale)
        // What the values are, the reader of the plot knows; logarithms may have any sign.
        .and_then(|axes| {
            let kind = CurveKind::LogSensitivity;
            traced_curve(&axes, &places, request.sd_px, kind, &shown.to_string())
        })
        .map_err(|e| wrong(e.to_string()))?;
    let mut csv = format!("# {}\nwavelength_nm,value,uncertainty\n", curve.source());
    for (nm, value, sd) in rows(&curve) {
        csv.push_str(&format!("{nm:.2},{value:.6},{sd:.6}\n"));
    }
    let json = json!({
        "source": curve.source(),
        "points": rows(&curve).map(|(nm, value, sd)| json!({
            "wavelength_nm": nm, "value": value, "standard_uncertainty": sd,
        })).collect::<Vec<_>>(),
    });
    Ok(TraceAnswer { csv, json })
}

fn rows(curve: &Curve) -> impl Iterator<Item = (f64, f64, f64)> + '_ {
    curve.points().iter().filter_map(|p| {
        let sd = p.standard_uncertainty.unwrap_or(0.0);
        Some((p.wavelength.to_nm(), p.value?, sd))
    })
}
