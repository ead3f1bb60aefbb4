//! Factors over the height of the sun, in the sun and in open shade.

use crate::AppError;
use crate::named_spectra::named;
use figures::shown;
use quantity::Stops;
use serde_json::{Value, json};
use spectra::read::Purpose;
use spectra::{Curve, Predicting, VerdictLimits, prediction};

/// Heights of the sun that are charted, degrees.
const HEIGHTS_DEG: [f64; 11] = [
    2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 60.0, 75.0, 90.0,
];

/// One height of the sun.
pub(crate) struct ChartRow {
    sun_deg: f64,
    sun: Option<Stops>,
    shade: Option<Stops>,
}

/// Gives the factors of one filter over the sun's height; `of` says all but the light.
///
/// # Errors
/// [`AppError`] when film and filter can't be joined.
pub(crate) fn chart(of: &Predicting<'_>) -> Result<Vec<ChartRow>, AppError> {
    HEIGHTS_DEG
        .into_iter()
        .map(|sun_deg| {
            Ok(ChartRow {
                sun_deg,
                sun: factor(of, &format!("sun:{sun_deg}"))?,
                shade: factor(of, &format!("open-shade:{sun_deg}"))?,
            })
        })
        .collect()
}

fn factor(of: &Predicting<'_>, light: &str) -> Result<Option<Stops>, AppError> {
    let light: Curve = named(light, Purpose::Light)?
        .ok_or_else(|| AppError::new(format!("no light '{light}'"), ""))?
        .curve;
    let found = prediction(
        &Predicting {
            light: &light,
            ..*of
        },
        VerdictLimits::COMMON_PRACTICE,
    )
    .map_err(|e| AppError::new(format!("factor over the sun's height: {e}"), ""))?;
    Ok(found.stops())
}

/// Lines of the chart.
pub(crate) fn chart_lines(filter: &str, rows: &[ChartRow]) -> Vec<String> {
    let cell = |s: Option<Stops>| s.map_or_else(|| "none".to_owned(), shown::stops);
    let head = [
        String::new(),
        format!("{filter} over the sun's height, clear sky, stops of filter factor:"),
        format!(
            "{:>6}  {:>6}  {:>10}  {:>10}",
            "sun", "in sun", "open shade", "difference"
        ),
    ];
    let body = rows.iter().map(|r| {
        let apart = r.sun.zip(r.shade).map_or_else(
            || "none".to_owned(),
            |(sun, shade)| shown::signed_stops(shade - sun),
        );
        let height = format!("{}°", r.sun_deg);
        format!(
            "{height:>6}  {:>6}  {:>10}  {apart:>10}",
            cell(r.sun),
            cell(r.shade)
        )
    });
    head.into_iter().chain(body).collect()
}

/// The chart with stable keys.
pub(crate) fn chart_json(rows: &[ChartRow]) -> Value {
    let stops = |s: Option<Stops>| s.map(Stops::to_stops);
    json!(
        rows.iter()
            .map(|r| json!({
                "sun_elevation_deg": r.sun_deg,
                "factor_stops": stops(r.sun),
                "open_shade_factor_stops": stops(r.shade),
            }))
            .collect::<Vec<_>>()
    )
}
