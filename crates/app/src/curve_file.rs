//! Speed and contrast of one characteristic curve in a CSV file.

use crate::AppError;
use crate::error::with_causes;
use quantity::{Density, Flag, Flags, Measured, Stops};
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

/// What `curve` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveRequest {
    /// A CSV file with `log_h,density` and, when known, `density_sd` and `step`.
    pub file: PathBuf,
    /// Gross density of unexposed film from the same process, when read.
    pub base_plus_fog: Option<f64>,
    /// Whether log H is relative and not of lux seconds.
    pub relative: bool,
    /// Share of cases in which low and high hold the truth, 0 to 1.
    pub coverage: f64,
}

/// What `curve` answers.
#[derive(Clone, Debug)]
pub struct CurveAnswer {
    /// The curve.
    pub curve: CharacteristicCurve,
    /// Every criterion as a row.
    pub rows: Vec<findings::CriterionRow>,
    /// Flags of the curve as a whole.
    pub flags: Flags,
    /// The answer with stable keys.
    pub json: Value,
    /// The figure.
    pub svg: Option<String>,
    /// Sentences that name what was assumed or not used.
    pub warnings: Vec<String>,
    /// Readings that no film curve can have: row number (from 1) and sentence.
    pub odd_readings: Vec<String>,
}

/// Fits the curve of a file and gives every criterion.
///
/// # Errors
/// [`AppError`] when the file can't be read or no film curve fits.
pub fn curve_of_file(request: &CurveRequest) -> Result<CurveAnswer, AppError> {
    let rows = notebook::read_curve_csv(&request.file)?;
    let shown = request.file.display();
    let readings: Vec<CurveReading> = rows
        .rows
        .iter()
        .map(|row| CurveReading {
            log_h: row.log_h,
            density: Measured::new(row.density, row.density_sd.unwrap_or(0.0)),
            step: row.step,
        })
        .collect();
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
    let odd_readings = curve
        .readings()
        .iter()
        .enumerate()
        .filter(|(_, r)| r.flags.contains(Flag::NoFilmCurve))
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
    let mut object = Map::new();
    let z = standard_deviations(request.coverage);
    let mut missing = Map::new();
    for row in &criteria {
        let value = match &row.answer {
            Ok((value, sd)) => json!({
                "value": value,
                "low": value - z * sd,
                "high": value + z * sd,
                "flags": names(&row.flags),
            }),
            Err(why) => {
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
    object.insert("coverage".to_owned(), json!(request.coverage));
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
    let svg = crate::pictures::curve_figure(&curve, &speed, request);
    Ok(CurveAnswer {
        rows: criteria,
        flags,
        json: Value::Object(object),
        svg,
        warnings,
        odd_readings,
        curve,
    })
}

pub(crate) fn names(flags: &Flags) -> Vec<&'static str> {
    flags.iter().map(Flag::name).collect()
}

/// Half-width of a normal interval of this coverage, in standard deviations.
fn standard_deviations(coverage: f64) -> f64 {
    findings::interval_half_width(coverage)
}
