//! Findings as JSON with stable keys.
//!
//! Keys carry their unit. A value with an interval is an object `value`, `low`,
//! `high`; where only a bound is known, the end that isn't is null.

use crate::curve_file::names;
use findings::{BracketFinding, FactorFinding, Findings, TailFinding};
use quantity::{Bound, Interval, Measured};
use record::{Id, Response};
use serde_json::{Value, json};

pub(crate) fn response_word(response: Response) -> &'static str {
    match response {
        Response::Density => "density",
        Response::RelativeDensity => "relative_density",
        Response::LogSignal => "log_signal",
    }
}

fn bound_word(bound: Option<Bound>) -> Value {
    match bound {
        None => Value::Null,
        Some(Bound::AtLeast) => json!("at_least"),
        Some(Bound::AtMost) => json!("at_most"),
    }
}

fn interval<Q: Copy>(of: &Interval<Q>, bound: Option<Bound>, number: impl Fn(Q) -> f64) -> Value {
    match bound {
        None => json!({
            "value": number(of.value),
            "low": number(of.low),
            "high": number(of.high),
        }),
        Some(Bound::AtLeast) => json!({
            "value": number(of.low), "low": number(of.low), "high": null,
        }),
        Some(Bound::AtMost) => json!({
            "value": number(of.high), "low": null, "high": number(of.high),
        }),
    }
}

fn measured<Q: Copy>(of: &Measured<Q>, z: f64, number: impl Fn(Q) -> f64) -> Value {
    let value = number(of.value());
    let half = z * of.standard_uncertainty();
    json!({ "value": value, "low": value - half, "high": value + half })
}

fn ids(of: &[Id]) -> Vec<&str> {
    of.iter().map(Id::as_str).collect()
}

fn filter_name(filters: &[Id]) -> String {
    ids(filters).join("+")
}

/// Gives the findings as JSON.
#[must_use]
pub fn findings_json(f: &Findings) -> Value {
    let z = findings::interval_half_width(f.coverage);
    json!({
        "title": f.title,
        "invented_data": f.invented,
        "method": f.method,
        "program": crate::VERSION,
        "coverage": f.coverage,
        "frames": f.frames.iter().map(|frame| json!({
            "name": frame.frame.as_str(),
            "film": frame.film.as_str(),
            "process": frame.process.as_str(),
            "filter": filter_name(&frame.filters),
            "light": frame.light.as_ref().map(Id::as_str),
            "role": frame.role.words(),
            "exposure": frame.exposure,
            "verdict": frame.verdict.word(),
            "reason": frame.reason,
            "stops_missing": frame.stops_missing.as_ref().map(|m| measured(m, z, quantity::Stops::to_stops)),
            "stops_missing_bound": bound_word(frame.stops_missing_bound),
            "exposure_error_stops": frame.exposure_error.as_ref().map(|m| measured(m, z, quantity::Stops::to_stops)),
            "ei_of_setting": frame.effective_ei.map(quantity::ExposureIndex::to_arithmetic),
            "patches": frame.patches.iter().map(|p| json!({
                "name": p.patch.as_str(),
                "value": p.reading.value(),
                "value_sd": p.reading.standard_uncertainty(),
                "bound": bound_word(p.limit),
                "net_density": p.net.map(quantity::NetDensity::to_density),
                "log_h": p.log_h.map(quantity::LogExposure::to_log10),
                "flags": names(p.reading.flags()),
            })).collect::<Vec<_>>(),
            "flags": names(&frame.flags),
        })).collect::<Vec<_>>(),
        "factors": f.factors.iter().map(factor).collect::<Vec<_>>(),
        "speeds": f.speeds.iter().map(|s| json!({
            "film": s.film.as_str(),
            "process": s.process.as_str(),
            "ei": interval(&s.ei, None, quantity::ExposureIndex::to_arithmetic),
            "basis": s.basis,
            "flags": names(&s.flags),
        })).collect::<Vec<_>>(),
        "wood_effect": f.wood_effect.iter().map(|w| json!({
            "film": w.film.as_str(),
            "filter": filter_name(&w.filters),
            "light": w.light.as_str(),
            "where": if w.shade { "shade" } else { "sun" },
            "foliage": w.foliage.as_str(),
            "grey_card": w.card.as_str(),
            "stops": interval(&w.gain, w.bound, quantity::Stops::to_stops),
            "bound": bound_word(w.bound),
            "flags": names(&w.flags),
        })).collect::<Vec<_>>(),
        "curves": f.curves.iter().map(|c| {
            let criteria: serde_json::Map<String, Value> = c.criteria.iter().map(|row| {
                let value = match &row.answer {
                    Ok((value, sd)) => json!({
                        "value": value, "low": value - z * sd, "high": value + z * sd,
                        "flags": names(&row.flags),
                    }),
                    Err(why) => json!({ "missing": why }),
                };
                (row.key.to_owned(), value)
            }).collect();
            json!({
                "film": c.film.as_str(),
                "process": c.process.as_str(),
                "response": response_word(c.response),
                "exposure_scale": if c.absolute_exposure { "lux_seconds" } else { "relative" },
                "base_plus_fog_density": c.base_plus_fog.as_ref().map(|m| measured(m, z, quantity::Density::to_density)),
                "straight_line_gradient": measured(&c.gradient, z, |g| g),
                "speed_point_log_h": c.speed_point.as_ref().map(|m| measured(m, z, quantity::LogExposure::to_log10)),
                "criteria": criteria,
                "residual_rms": c.residual_rms,
                "readings": c.reading_count,
                "samples": c.samples.iter().map(|s| json!([s.log_h, s.value, s.standard_uncertainty])).collect::<Vec<_>>(),
                "flags": names(&c.flags),
            })
        }).collect::<Vec<_>>(),
        "bracket_curves": f.bracket_curves.iter().map(bracket_curve).collect::<Vec<_>>(),
        "causes": f.causes.iter().map(|c| json!({
            "question": c.question,
            "cause": c.cause,
            "stops": interval(&c.stops, None, quantity::Stops::to_stops),
            "assumed": c.assumed,
        })).collect::<Vec<_>>(),
        "cannot_tell": f.cannot_tell.iter().map(|c| json!({
            "question": c.question, "reason": c.reason, "remedy": c.remedy,
        })).collect::<Vec<_>>(),
        "assumptions": f.assumptions.iter().map(|a| json!({
            "name": a.name, "value": a.value, "unit": a.unit, "source": a.source,
        })).collect::<Vec<_>>(),
        "criteria": {
            "blank_below_net_density": f.criteria.blank_below,
            "shadow_at_least_net_density": f.criteria.shadow_at_least,
            "shadow_at_most_net_density": f.criteria.shadow_at_most,
            "highlight_at_most_net_density": f.criteria.highlight_at_most,
            "grey_card_at_least_net_density": f.criteria.card_at_least,
            "grey_card_at_most_net_density": f.criteria.card_at_most,
        },
        "notes": f.notes,
        "flags": names(&f.flags),
    })
}

fn bracket_curve(b: &BracketFinding) -> Value {
    let told = b.answer.as_ref().ok();
    json!({
        "film": b.film.as_str(),
        "process": b.process.as_str(),
        "filter": filter_name(&b.filters),
        "of": response_word(b.response),
        "frames": ids(&b.frames),
        "exposure_scale": "relative",
        "anchor": told.map(|t| t.anchor),
        "reading_sd": told.map(|t| t.reading_sd),
        "readings_used": told.map(|t| t.used),
        "readings_left_out": told.map(|t| t.left_out),
        "points": told.map(|t| t.samples.iter().map(|p| json!({
            "value": p.value, "log_h": p.log_h, "log_h_sd": p.log_h_sd,
        })).collect::<Vec<_>>()),
        "cannot_tell": told.map(|t| &t.cannot_tell),
        "refused": b.answer.as_ref().err(),
    })
}

/// Gives the red ends of the films as JSON, under the key `red_end`.
pub(crate) fn tails_json(tails: &[TailFinding]) -> Value {
    let factor = |of: &Interval<quantity::FilterFactor>| {
        interval(of, None, quantity::FilterFactor::to_ratio)
    };
    tails
        .iter()
        .map(|t| {
            json!({
                "film": t.film.as_str(),
                "light": t.light.as_str(),
                "edge_nm": interval(&t.edge, None, quantity::Nanometres::to_nm),
                "steepness_log10_per_nm": interval(&t.steepness, None, |k| k),
                "correlation": t.correlation,
                "told_apart": t.told_apart,
                "filters": t.readings.iter().map(|r| json!({
                    "filter": r.filter.as_str(),
                    "half_peak_nm": r.half_peak_nm.0,
                    "half_peak_sd_nm": r.half_peak_nm.1,
                    "bound": bound_word(r.bound),
                })).collect::<Vec<_>>(),
                "other_filters": t.outlooks.iter().map(|o| json!({
                    "half_peak_nm": o.half_peak_nm,
                    "factor": factor(&o.factor),
                })).collect::<Vec<_>>(),
                "next_filter": t.next.as_ref().map(|n| json!({
                    "half_peak_nm": n.half_peak_nm,
                    "factor": factor(&n.factor),
                    "edge_half_width_now_nm": n.edge_half_width_nm.0,
                    "edge_half_width_then_nm": n.edge_half_width_nm.1,
                    "steepness_times_or_over_now": n.steepness_times_or_over.0,
                    "steepness_times_or_over_then": n.steepness_times_or_over.1,
                })),
                "assumptions": t.assumed.iter().map(|(name, value)| json!({
                    "name": name, "value_and_source": value,
                })).collect::<Vec<_>>(),
            })
        })
        .collect()
}

fn factor(f: &FactorFinding) -> Value {
    let ei_bound = figures::shown::opposite(f.bound);
    json!({
        "film": f.film.as_str(),
        "filter": filter_name(&f.filters),
        "light": f.light.as_str(),
        "against": filter_name(&f.against),
        "factor": interval(&f.factor, f.bound, quantity::FilterFactor::to_ratio),
        "factor_stops": interval(&f.stops, f.bound, quantity::Stops::to_stops),
        "ei": f.ei.as_ref().map(|ei| interval(ei, ei_bound, quantity::ExposureIndex::to_arithmetic)),
        "ei_basis": f.ei_basis,
        "bound": bound_word(f.bound),
        "matched_at_net_density": f.matched_at.map(quantity::NetDensity::to_density),
        "matched_on": ids(&f.matched_on),
        "patch_spread_stops": f.patch_spread.map(quantity::Stops::to_stops),
        "frames_used": f.frames_used,
        "frames_as_limits": f.frames_as_limits,
        "variance_shares": f.shares.iter().map(|s| json!({
            "source": s.source, "share": s.share,
        })).collect::<Vec<_>>(),
        "made_from": f.made_from.iter().map(|(frame, patch)| format!("{frame}/{patch}")).collect::<Vec<_>>(),
        "next_steps": f.next_steps.iter().map(|s| json!({
            "what": s.what,
            "half_width_now_stops": s.half_width_now_stops,
            "half_width_then_stops": s.half_width_then_stops,
        })).collect::<Vec<_>>(),
        "interval_method": f.interval_method,
        "flags": names(&f.flags),
    })
}
