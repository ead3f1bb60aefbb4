//! A prediction as JSON with stable keys.

use crate::predict::{COVERAGE, FilterAnswer, PredictRequest};
use crate::predict_curves::Film;
use crate::sun_chart::chart_json;
use findings::interval_half_width;
use quantity::{ExposureIndex, Nanometres, Stops};
use serde_json::{Map, Value, json};
use spectra::{AbsoluteSpeed, Curve, VerdictLimits};

fn nm(at: Option<Nanometres>) -> Value {
    json!(at.map(Nanometres::to_nm))
}

fn stops(of: Option<Stops>) -> Value {
    json!(of.map(Stops::to_stops))
}

/// The whole answer.
pub(crate) fn json_of(
    request: &PredictRequest,
    film: &Film,
    light: &Curve,
    speed: Option<AbsoluteSpeed>,
    answers: &[FilterAnswer],
    notes: &[String],
) -> Value {
    let mut object = Map::new();
    match answers {
        [one] => object.extend(filter_json(one)),
        several => {
            let all: Vec<Value> = several
                .iter()
                .map(|a| Value::Object(filter_json(a)))
                .collect();
            object.insert("filters".to_owned(), json!(all));
            object.insert(
                "ranked_by".to_owned(),
                json!("verdict, then Wood effect on the first subject in half stops, then factor"),
            );
        }
    }
    object.insert("film".to_owned(), json!({"name": film.name, "source": film.curve.source(), "reach_nm": [film.curve.range_nm().0, film.curve.range_nm().1]}));
    object.insert(
        "light".to_owned(),
        json!({"name": request.light.name(), "source": light.source()}),
    );
    object.insert(
        "absolute_speed".to_owned(),
        json!(speed.map(|s| json!({
            "arithmetic_speed": s.speed.to_arithmetic(),
            "speed_point_lux_s": s.speed_point.to_lux_seconds(),
            "speed_point_log_h": s.speed_point.to_log10(),
            "net_density": crate::absolute_film::SPEED_POINT_DENSITY,
        }))),
    );
    let limits = VerdictLimits::COMMON_PRACTICE;
    object.insert(
        "verdict_limits".to_owned(),
        json!({
            "none_below_share": limits.none_below,
            "trace_below_share": limits.trace_below,
            "source": "common practice",
        }),
    );
    object.insert(
        "factor_definition".to_owned(),
        json!("spectral ratio: exposure of the bare film over that behind the filter, same light on the film"),
    );
    object.insert("notes".to_owned(), json!(notes));
    object.insert("program".to_owned(), json!(crate::VERSION));
    Value::Object(object)
}

fn filter_json(a: &FilterAnswer) -> Map<String, Value> {
    let p = &a.prediction;
    let z = interval_half_width(COVERAGE);
    let number = |value: Option<f64>, to: &dyn Fn(f64) -> f64| match (value, a.stated) {
        (Some(stops), true) => {
            let half = z * a.spread.sd_stops;
            let ends = [to(stops - half), to(stops + half)];
            json!({
                "value": to(stops),
                "low": ends[0].min(ends[1]),
                "high": ends[0].max(ends[1]),
            })
        }
        (value, _) => json!(value.map(to)),
    };
    let factor_stops = p.stops().map(Stops::to_stops);
    let first = a.subjects.first().map(|(_, s)| *s);
    let value = json!({
        "filter": {"name": a.name, "source": a.source},
        "factor": match (p.factor, a.stated) {
            (Some(factor), false) => json!(factor.to_ratio()),
            _ => number(factor_stops, &|s| s.exp2()),
        },
        "factor_stops": number(factor_stops, &|s| s),
        "effective_band_nm": p.filtered.band.map(|b| json!({
            "low": b.low.to_nm(), "high": b.high.to_nm(),
        })),
        "mean_wavelength_nm": nm(p.filtered.mean_wavelength),
        "subject_minus_grey_stops": stops(first.and_then(|s| s.filtered)),
        "verdict": p.verdict.word(),
        "ei": a.ei.map(ExposureIndex::to_arithmetic),
        "share_of_bare_response": p.share(),
        "integral": p.filtered.total,
        "bare": {
            "integral": p.bare.total,
            "effective_band_nm": p.bare.band.map(|b| json!({
                "low": b.low.to_nm(), "high": b.high.to_nm(),
            })),
            "mean_wavelength_nm": nm(p.bare.mean_wavelength),
            "subject_minus_grey_stops": stops(first.and_then(|s| s.bare)),
        },
        "wood_effect_stops": stops(first.and_then(|s| s.wood_effect())),
        "subjects": a.subjects.iter().map(|(name, s)| json!({
            "name": name,
            "subject_minus_grey_stops": stops(s.filtered),
            "bare_subject_minus_grey_stops": stops(s.bare),
            "wood_effect_stops": stops(s.wood_effect()),
            "covered_share": s.covered,
        })).collect::<Vec<_>>(),
        "stops_per_filter_nm": p.stops_per_nm,
        "stops_per_film_nm": p.stops_per_film_nm,
        "shade": a.shade.as_ref().map(|s| s.json(p)),
        "by_sun_height": a.sun_chart.as_deref().map(chart_json),
        "uncertainty": {
            "sd_stops": p.factor.map(|_| a.spread.sd_stops),
            "low_stops": a.interval_stops().map(|i| i.0),
            "high_stops": a.interval_stops().map(|i| i.1),
            "coverage": COVERAGE,
            "basis": if a.stated { "stated, or of the class of film or the model of the light; the rest assumed" } else { "assumed" },
            "shares": a.spread.shares.iter().map(|(source, share)| json!({
                "source": source, "share": share,
            })).collect::<Vec<_>>(),
        },
        "unknown": p.unknown.iter().map(|u| json!({
            "curve": u.whose.word(),
            "stretches_nm": u.stretches_nm,
            "factor_change_stops": stops(u.factor_change),
            "share_of_bare_response": u.other_share,
        })).collect::<Vec<_>>(),
        "integrals": p.grid.to_string(),
    });
    match value {
        Value::Object(object) => object,
        _ => Map::new(),
    }
}
