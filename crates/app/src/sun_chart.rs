//! Factors over the height of the sun, in the sun and in open shade.

use crate::AppError;
use crate::named_spectra::named;
use crate::predict::COVERAGE;
use figures::{SunHeightFactor, shown};
use findings::interval_half_width;
use quantity::{Interval, Stops};
use serde_json::{Value, json};
use spectra::read::Purpose;
use spectra::{
    Contribution, Curve, InputSpread, Predicting, SHADE_INFRARED_STOPS, VerdictLimits, combined,
    contributions, prediction,
};

/// Heights of the sun that are charted, degrees.
const HEIGHTS_DEG: [f64; 11] = [
    2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 60.0, 75.0, 90.0,
];

/// Gives the factors of one filter over the sun's height; `of` says all but the light,
/// `parts` what else adds to the uncertainty.
///
/// # Errors
/// [`AppError`] when film and filter can't be joined.
pub(crate) fn chart(
    of: &Predicting<'_>,
    spread: &InputSpread,
    parts: &[Contribution],
) -> Result<Vec<SunHeightFactor>, AppError> {
    // Each light has its own spread beyond 700 nm, whatever light was asked for.
    let sun = InputSpread {
        light_infrared_stops: InputSpread::ASSUMED.light_infrared_stops,
        ..*spread
    };
    let shade = InputSpread {
        light_infrared_stops: SHADE_INFRARED_STOPS,
        ..*spread
    };
    let at = |sun_deg: f64| {
        Ok(SunHeightFactor {
            sun_deg,
            sun: factor(of, &format!("sun:{sun_deg}"), &sun, parts)?,
            shade: factor(of, &format!("open-shade:{sun_deg}"), &shade, parts)?,
        })
    };
    // A page waits for this while a slider moves: each half on a core of its own.
    let (low, high) = HEIGHTS_DEG.split_at(HEIGHTS_DEG.len() / 2);
    let half = |heights: &[f64]| heights.iter().map(|deg| at(*deg)).collect::<Vec<_>>();
    let (mut rows, rest) = std::thread::scope(|scope| {
        let other = scope.spawn(|| half(high));
        (half(low), other.join())
    });
    match rest {
        Ok(rest) => rows.extend(rest),
        Err(panic) => std::panic::resume_unwind(panic),
    }
    rows.into_iter().collect()
}

fn factor(
    of: &Predicting<'_>,
    light: &str,
    spread: &InputSpread,
    parts: &[Contribution],
) -> Result<Option<Interval<Stops>>, AppError> {
    let wrong = |e: String| AppError::new(format!("factor over the sun's height: {e}"), "");
    let light: Curve = named(light, Purpose::Light)?
        .ok_or_else(|| wrong(format!("no light '{light}'")))?
        .curve;
    let found = prediction(
        &Predicting {
            light: &light,
            ..*of
        },
        VerdictLimits::COMMON_PRACTICE,
    )
    .map_err(|e| wrong(e.to_string()))?;
    let Some(value) = found.stops() else {
        return Ok(None);
    };
    let mut all = contributions(&found, spread);
    all.extend_from_slice(parts);
    let half = interval_half_width(COVERAGE) * combined(&all).sd_stops;
    let end = |stops: f64| Stops::new(stops).map_err(|e| wrong(e.to_string()));
    Ok(Some(Interval {
        value,
        low: end(value.to_stops() - half)?,
        high: end(value.to_stops() + half)?,
        coverage: COVERAGE,
    }))
}

/// Lines of the chart.
pub(crate) fn chart_lines(filter: &str, rows: &[SunHeightFactor]) -> Vec<String> {
    let cell =
        |s: Option<Interval<Stops>>| s.map_or_else(|| "none".to_owned(), |s| shown::stops(s.value));
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
            |(sun, shade)| shown::signed_stops(shade.value - sun.value),
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
pub(crate) fn chart_json(rows: &[SunHeightFactor]) -> Value {
    let stops = |s: Option<Interval<Stops>>| s.map(|s| s.value.to_stops());
    let ends = |s: Option<Interval<Stops>>| s.map(|s| [s.low.to_stops(), s.high.to_stops()]);
    json!(
        rows.iter()
            .map(|r| json!({
                "sun_elevation_deg": r.sun_deg,
                "factor_stops": stops(r.sun),
                "factor_stops_interval": ends(r.sun),
                "open_shade_factor_stops": stops(r.shade),
                "open_shade_factor_stops_interval": ends(r.shade),
            }))
            .collect::<Vec<_>>()
    )
}
