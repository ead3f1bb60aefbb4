//! A curve from a bracket of one subject, without a step tablet.

use crate::AppError;
use quantity::Stops;
use sensitometry::{BracketReading, bracket_curve};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Rows of the printed table.
const ROWS: usize = 16;

/// What `bracket-curve` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct BracketRequest {
    /// A CSV file with `frame`, `patch`, `exposure_stops` or `exposure_s`, and
    /// `density` or `value`.
    pub file: PathBuf,
}

/// What `bracket-curve` answers.
#[derive(Clone, Debug)]
pub struct BracketAnswer {
    /// The answer for a person.
    pub lines: Vec<String>,
    /// `log_h`, then `density` or `value`, then `log_h_sd`.
    pub csv: String,
    /// The answer with stable keys.
    pub json: Value,
}

/// Recovers value against relative log exposure.
///
/// # Errors
/// [`AppError`] when the file can't be read or its readings fix no curve.
pub fn curve_of_bracket(request: &BracketRequest) -> Result<BracketAnswer, AppError> {
    let shown = request.file.display();
    let wrong = |problem: String| {
        AppError::new(
            format!("{shown}: {problem}"),
            "give the columns frame, patch, exposure_stops or exposure_s, and density or value: one row for each patch in each frame, empty where it was not read",
        )
    };
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(&request.file)
        .map_err(|e| wrong(e.to_string()))?;
    let heads = reader.headers().map_err(|e| wrong(e.to_string()))?.clone();
    let place = |name: &str| heads.iter().position(|head| head == name);
    let needed =
        |name: &str| place(name).ok_or_else(|| wrong(format!("there is no column {name}")));
    let either = |one: &'static str, other: &'static str| match (place(one), place(other)) {
        (Some(at), None) => Ok((at, one)),
        (None, Some(at)) => Ok((at, other)),
        _ => Err(wrong(format!("give either the column {one} or {other}"))),
    };
    let (frame, patch) = (needed("frame")?, needed("patch")?);
    let (exposure, exposure_name) = either("exposure_stops", "exposure_s")?;
    let (value, value_name) = either("density", "value")?;
    let mut frames: BTreeMap<String, f64> = BTreeMap::new();
    let mut patches: BTreeMap<String, usize> = BTreeMap::new();
    let mut seen = std::collections::BTreeSet::new();
    let mut readings = vec![];
    for (row, record) in reader.records().enumerate() {
        let record = record.map_err(|e| wrong(e.to_string()))?;
        let line = row + 2;
        let text = |column: usize| record.get(column).unwrap_or("");
        let number = |column: usize| match text(column).parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(number),
            _ => Err(wrong(format!(
                "line {line}: '{}' is no number",
                text(column)
            ))),
        };
        if text(value).is_empty() {
            continue;
        }
        let given = number(exposure)?;
        let log_exposure = if exposure_name == "exposure_stops" {
            Stops::new(given)
                .map_err(|e| wrong(format!("line {line}: {e}")))?
                .to_delta_log_h()
        } else if given > 0.0 {
            libm::log10(given)
        } else {
            return Err(wrong(format!(
                "line {line}: the time {given} s is not above 0"
            )));
        };
        let before = *frames.entry(text(frame).to_owned()).or_insert(given);
        if before != given {
            return Err(wrong(format!(
                "line {line}: frame '{}' has the exposure {given} here and {before} before",
                text(frame)
            )));
        }
        if !seen.insert((text(frame).to_owned(), text(patch).to_owned())) {
            return Err(wrong(format!(
                "line {line}: patch '{}' of frame '{}' stands here a second time",
                text(patch),
                text(frame)
            )));
        }
        let next = patches.len();
        readings.push(BracketReading {
            patch: *patches.entry(text(patch).to_owned()).or_insert(next),
            log_exposure,
            value: number(value)?,
        });
    }
    if value_name == "density" && falls_with_exposure(&readings) {
        return Err(wrong(
            "density falls where the exposure rises: the exposures run the wrong way, or these are no negatives"
                .to_owned(),
        ));
    }
    let curve = bracket_curve(&readings).map_err(|e| wrong(e.to_string()))?;
    let step = curve
        .equal_step
        .and_then(|s| Stops::from_delta_log_h(s).ok());
    let unknown = findings::bracket_cannot_tell(value_name == "density", step);
    let mut csv = format!("log_h,{value_name},log_h_sd\n");
    for p in &curve.points {
        csv.push_str(&format!(
            "{:.5},{:.4},{:.5}\n",
            p.log_h, p.value, p.log_h_sd
        ));
    }
    let mut lines = vec![
        format!(
            "{shown}: {} frames, {} patches, {} readings used, {} left out (clipped, or alone in their patch)",
            frames.len(),
            patches.len(),
            curve.used,
            curve.left_out
        ),
        format!(
            "Scatter of a reading about the curve: {:.3} in {value_name}",
            curve.value_sd
        ),
        String::new(),
        format!("{value_name:>10}  relative log H  ± one standard deviation"),
    ];
    let last = curve.points.len() - 1;
    for k in 0..ROWS {
        let p = curve.points[k * last / (ROWS - 1)];
        lines.push(format!(
            "{:>10.3}  {:>14.3}  {:.3}",
            p.value, p.log_h, p.log_h_sd
        ));
    }
    lines.push(String::new());
    lines.push("What can't be told:".to_owned());
    lines.extend(unknown.iter().map(|u| format!("- {u}")));
    let json = json!({
        "of": value_name,
        "anchor": curve.anchor,
        "reading_sd": curve.value_sd,
        "readings_used": curve.used,
        "readings_left_out": curve.left_out,
        "points": curve.points.iter().map(|p| json!({
            "value": p.value, "log_h": p.log_h, "log_h_sd": p.log_h_sd,
        })).collect::<Vec<_>>(),
        "cannot_tell": unknown,
    });
    Ok(BracketAnswer { lines, csv, json })
}

/// Tells whether values fall, patch by patch, as exposures rise.
fn falls_with_exposure(readings: &[BracketReading]) -> bool {
    let mut of_patch: BTreeMap<usize, Vec<(f64, f64)>> = BTreeMap::new();
    for r in readings {
        let own = of_patch.entry(r.patch).or_default();
        own.push((r.log_exposure, r.value));
    }
    let together: f64 = of_patch
        .values()
        .map(|own| {
            let count = own.len() as f64;
            let mean = own.iter().map(|r| r.0).sum::<f64>() / count;
            own.iter().map(|r| (r.0 - mean) * r.1).sum::<f64>()
        })
        .sum();
    together < 0.0
}
