//! Speed and contrast of one characteristic curve in a CSV file.

use crate::AppError;
use crate::error::with_causes;
use findings::Assumptions;
use quantity::{Bound, Density, Flag, Flags, Measured, Stops};
use sensitometry::{
    CharacteristicCurve, ContrastCondition, CurveFitSettings, CurveReading, ExposureScale,
    fit_characteristic_curve, speed_and_contrast_continued,
};
use serde_json::{Map, Value, json};
use std::path::PathBuf;

/// Standard uncertainty of a reading that comes without one. \[density\]
const READING_SD_DEFAULT: f64 = 0.01;

/// How far the fitted toe and line are followed past the readings for a
/// criterion that needs it; the answer is then flagged as extrapolated. \[stops\]
const CONTINUED_STOPS: f64 = 3.0;

/// Readings off the curve that are told one by one.
const ODD_LISTED: usize = 20;

/// Why base+fog and what counts from it are limits.
const NOT_SEEN: &str = "the readings show no toe, so base+fog is only known to be at most the lowest reading; give it as read from unexposed film (--base-plus-fog)";

/// What `curve` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveRequest {
    /// A CSV file with `log_h,density` and, when known, `density_sd` and `step`.
    pub file: PathBuf,
    /// Gross density of unexposed film from the same process, when read.
    pub base_plus_fog: Option<f64>,
    /// Whether log H is relative and not of lux seconds.
    pub relative: bool,
    /// Whether the figure is wanted.
    pub figure: bool,
}

/// What `curve` answers.
#[derive(Clone, Debug)]
pub struct CurveAnswer {
    /// The curve.
    pub curve: CharacteristicCurve,
    /// Every criterion as a row; what is only a limit is in `limits` too.
    pub rows: Vec<findings::CriterionRow>,
    /// Criteria that are a limit and no value: key, kind and the limit.
    pub limits: Vec<(&'static str, Bound, f64)>,
    /// Flags of the curve as a whole.
    pub flags: Flags,
    /// Share of cases in which low and high of `json` hold the truth, 0 to 1.
    pub coverage: f64,
    /// The answer with stable keys.
    pub json: Value,
    /// The figure, when it was wanted.
    pub svg: Option<String>,
    /// Sentences that name what was assumed or not used.
    pub warnings: Vec<String>,
    /// Readings that no film curve can have: row number (from 1) and sentence; of
    /// many the first, and how many more there are.
    pub odd_readings: Vec<String>,
}

/// Fits the curve of a file of readings, log H on whatever scale.
///
/// # Errors
/// [`AppError`] when the file can't be read or no film curve fits.
pub(crate) fn fitted(file: &std::path::Path) -> Result<CharacteristicCurve, AppError> {
    let rows = notebook::read_curve_csv(file)?;
    let readings = readings_of(&rows.rows);
    let settings = CurveFitSettings {
        base_plus_fog: None,
        exposure_scale: ExposureScale::Relative,
        reading_sd_default: READING_SD_DEFAULT,
    };
    fit_characteristic_curve(&readings, &settings).map_err(|e| {
        AppError::new(
            format!("{}: {}", file.display(), with_causes(&e)),
            "check that each row is one reading of one development",
        )
    })
}

fn readings_of(rows: &[notebook::CurveRow]) -> Vec<CurveReading> {
    rows.iter()
        .map(|row| CurveReading {
            log_h: row.log_h,
            density: Measured::new(row.density, row.density_sd.unwrap_or(0.0)),
            step: row.step,
        })
        .collect()
}

/// Fits the curve of a file and gives every criterion.
///
/// # Errors
/// [`AppError`] when the file can't be read or no film curve fits.
pub fn curve_of_file(request: &CurveRequest) -> Result<CurveAnswer, AppError> {
    let rows = notebook::read_curve_csv(&request.file)?;
    let shown = request.file.display();
    let readings = readings_of(&rows.rows);
    let base_plus_fog = request
        .base_plus_fog
        .map(Density::gross)
        .transpose()
        .map_err(|e| AppError::new(e.to_string(), "give the gross density of unexposed film"))?
        .map(|d| Measured::new(d, READING_SD_DEFAULT));
    let settings = CurveFitSettings {
        base_plus_fog,
        exposure_scale: if request.relative {
            ExposureScale::Relative
        } else {
            ExposureScale::LuxSeconds
        },
        reading_sd_default: READING_SD_DEFAULT,
    };
    let curve = fit_characteristic_curve(&readings, &settings).map_err(|e| {
        AppError::new(
            format!("{shown}: {}", with_causes(&e)),
            "check that each row is one reading of one development: log10 exposure rising with density",
        )
    })?;
    let continued = Stops::new(CONTINUED_STOPS).map_err(|e| AppError::new(e.to_string(), ""))?;
    let speed = speed_and_contrast_continued(&curve, continued);
    let (criteria, flags) = findings::criterion_rows(&speed);
    let limits = limits(&curve, &criteria);
    let odd = || {
        let all = curve.readings().iter().enumerate();
        all.filter(|(_, r)| r.flags.contains(Flag::NoFilmCurve))
    };
    let mut odd_readings: Vec<String> = odd()
        .take(ODD_LISTED)
        .map(|(i, r)| {
            format!(
                "reading {} (log H {:.3}, density {:.3}) lies {:+.3} off the curve: {}",
                i + 1,
                r.reading.log_h.to_log10(),
                r.reading.density.value().to_density(),
                r.residual,
                Flag::NoFilmCurve.meaning()
            )
        })
        .collect();
    if odd().count() > ODD_LISTED {
        odd_readings.push(format!(
            "and {} readings more like these; --json marks each",
            odd().count() - ODD_LISTED
        ));
    }
    let mut object = Map::new();
    let coverage = Assumptions::COMMON_PRACTICE.coverage;
    let z = standard_deviations(coverage);
    let mut missing = Map::new();
    for row in &criteria {
        let limit = limits.iter().find(|(key, _, _)| *key == row.key);
        let value = match (&row.answer, limit) {
            (Ok(_), Some((_, bound, limit))) => {
                missing.insert(row.key.to_owned(), json!(NOT_SEEN));
                json!({
                    "value": null,
                    "low": (*bound == Bound::AtLeast).then_some(limit),
                    "high": (*bound == Bound::AtMost).then_some(limit),
                    "flags": names(&row.flags),
                })
            }
            (Ok((value, sd)), None) => json!({
                "value": value,
                "low": value - z * sd,
                "high": value + z * sd,
                "flags": names(&row.flags),
            }),
            (Err(why), _) => {
                missing.insert(row.key.to_owned(), json!(why));
                Value::Null
            }
        };
        object.insert(row.key.to_owned(), value);
    }
    let condition = match &speed.contrast_condition {
        Ok(ContrastCondition::Holds) => json!(true),
        Ok(ContrastCondition::Fails) => json!(false),
        Ok(ContrastCondition::CannotBeTold) => Value::Null,
        Err(why) => {
            missing.insert("iso_condition_met".to_owned(), json!(why.to_string()));
            Value::Null
        }
    };
    object.insert("iso_condition_met".to_owned(), condition);
    if let Ok(film_speed) = &speed.film_speed {
        object.insert(
            "speed_step".to_owned(),
            json!({
                "arithmetic": film_speed.step.arithmetic,
                "degrees": film_speed.step.degrees,
            }),
        );
    }
    object.insert(
        "exposure_scale".to_owned(),
        json!(if request.relative {
            "relative"
        } else {
            "lux_seconds"
        }),
    );
    object.insert("method".to_owned(), json!(curve.method().name()));
    object.insert("residual_sd_density".to_owned(), json!(curve.residual_sd()));
    object.insert("coverage".to_owned(), json!(coverage));
    object.insert(
        "readings".to_owned(),
        Value::Array(
            curve
                .readings()
                .iter()
                .map(|r| {
                    json!({
                        "log_h": r.reading.log_h.to_log10(),
                        "density": r.reading.density.value().to_density(),
                        "density_sd": r.reading_sd,
                        "fitted_density": r.fitted.to_density(),
                        "weight": r.weight,
                        "flags": names(&r.flags),
                    })
                })
                .collect(),
        ),
    );
    object.insert("missing".to_owned(), Value::Object(missing));
    object.insert("flags".to_owned(), json!(names(&flags)));
    let mut warnings = rows.warnings;
    if request.base_plus_fog.is_some() {
        warnings.push(format!(
            "base+fog as given was taken to be uncertain by {READING_SD_DEFAULT} density (common practice of densitometry)"
        ));
    }
    if let Some(sd) = curve.assumed_reading_sd() {
        warnings.push(format!(
            "readings without density_sd were given {sd} density (common practice of densitometry)"
        ));
    }
    if !request.relative {
        warnings.push(
            "log_h was taken as log10 of lux seconds; say --relative when it is not".to_owned(),
        );
    }
    let svg = if request.figure {
        crate::pictures::curve_figure(&curve, &speed, request)
    } else {
        None
    };
    Ok(CurveAnswer {
        coverage,
        rows: criteria,
        limits,
        flags,
        json: Value::Object(object),
        svg,
        warnings,
        odd_readings,
        curve,
    })
}

/// Base+fog and density range where the readings show no toe: limits, each from
/// the lowest reading.
fn limits(
    curve: &CharacteristicCurve,
    rows: &[findings::CriterionRow],
) -> Vec<(&'static str, Bound, f64)> {
    let base = curve.base_plus_fog();
    if !base.flags().contains(Flag::BaseFromLowestReading) {
        return vec![];
    }
    rows.iter()
        .filter_map(|row| {
            let bound = match row.key {
                "base_plus_fog_density" => Bound::AtMost,
                "density_range" => Bound::AtLeast,
                _ => return None,
            };
            Some((row.key, bound, row.answer.as_ref().ok()?.0))
        })
        .collect()
}

pub(crate) fn names(flags: &Flags) -> Vec<&'static str> {
    flags.iter().map(Flag::name).collect()
}

/// Half-width of a normal interval of this coverage, in standard deviations.
fn standard_deviations(coverage: f64) -> f64 {
    findings::interval_half_width(coverage)
}
