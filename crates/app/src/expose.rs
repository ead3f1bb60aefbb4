//! One exposure from a light reading, with every step shown.

use crate::AppError;
use crate::error::with_causes;
use exposure::{
    ApertureSetting, AvailableMarks, Bellows, ChainError, ExposureAnswer, ExposureRequest,
    IncidentConstant, LawTextError, LightReading, MarkReading, OutsideLaw, ReciprocityError,
    ReciprocityLaw, ReciprocityRow, ReflectedConstant, SeriesPlace, StepSize, aperture_marks,
    exposure_answer, format_aperture, format_time, reciprocity_law_from_text,
    shutter_and_timer_marks,
};
use quantity::{
    Ev100, ExposureIndex, FNumber, FilterFactor, Flag, Illuminance, Luminance, Magnification,
    Millimetres, PupilRatio, Stops,
};
use serde_json::{Value, json};
use std::path::Path;

/// The reading an exposure starts from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ExposeReading {
    /// Exposure value at ISO 100.
    Ev100(f64),
    /// Lux, with the incident meter's constant C.
    Lux {
        /// The reading.
        lux: f64,
        /// The constant C.
        c: f64,
    },
    /// Candela per square metre, with the meter's constant K.
    Luminance {
        /// The reading.
        cd_per_m2: f64,
        /// The constant K.
        k: f64,
    },
}

/// What `expose` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposeRequest {
    /// The reading.
    pub reading: ExposeReading,
    /// EI to expose for, before filters.
    pub ei: f64,
    /// Exact f-number.
    pub aperture: f64,
    /// Filter factors.
    pub factors: Vec<f64>,
    /// Image size over object size.
    pub magnification: Option<f64>,
    /// Lens to film, and focal length. \[mm\]
    pub draw_and_focal_length_mm: Option<(f64, f64)>,
    /// Exit pupil over entrance pupil.
    pub pupil_ratio: f64,
    /// Reciprocity law as text; `table:FILE.csv` reads a table.
    pub reciprocity: Option<String>,
}

/// What `expose` answers.
#[derive(Clone, Debug)]
pub struct ExposeResult {
    /// The steps as lines to be shown.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
}

/// Works out one exposure.
///
/// # Errors
/// [`AppError`] for impossible values, a law that can't be read, and a time that
/// lies outside the law.
pub fn expose(request: &ExposeRequest) -> Result<ExposeResult, AppError> {
    let wrong = |e: quantity::QuantityError| {
        AppError::new(
            e.to_string(),
            "give a possible value; `filmproof expose --help` shows units",
        )
    };
    let reading = match request.reading {
        ExposeReading::Ev100(ev) => LightReading::Ev100(Ev100::from_ev(ev).map_err(wrong)?),
        ExposeReading::Lux { lux, c } => LightReading::Illuminance {
            illuminance: Illuminance::from_lux(lux).map_err(wrong)?,
            constant: IncidentConstant::from_c(c).map_err(wrong)?,
        },
        ExposeReading::Luminance { cd_per_m2, k } => LightReading::Luminance {
            luminance: Luminance::from_cd_per_m2(cd_per_m2).map_err(wrong)?,
            constant: ReflectedConstant::from_k(k).map_err(wrong)?,
        },
    };
    let pupil = PupilRatio::from_ratio(request.pupil_ratio).map_err(wrong)?;
    let bellows = match (request.magnification, request.draw_and_focal_length_mm) {
        (Some(m), _) => Some(Bellows::from_magnification(
            Magnification::from_ratio(m).map_err(wrong)?,
            pupil,
        )),
        (None, Some((draw, focal))) => Some(
            Bellows::from_draw(
                Millimetres::from_mm(draw).map_err(wrong)?,
                Millimetres::from_mm(focal).map_err(wrong)?,
                pupil,
            )
            .map_err(|e| {
                AppError::new(with_causes(&e), "measure the draw from lens to film, in mm")
            })?,
        ),
        (None, None) => None,
    };
    let filters = request
        .factors
        .iter()
        .map(|f| FilterFactor::from_ratio(*f))
        .collect::<Result<Vec<_>, _>>()
        .map_err(wrong)?;
    let reciprocity = request
        .reciprocity
        .as_deref()
        .map(reciprocity_law)
        .transpose()?;
    let answer = exposure_answer(&ExposureRequest {
        reading,
        ei: ExposureIndex::from_arithmetic(request.ei).map_err(wrong)?,
        aperture: ApertureSetting::Exact(FNumber::from_ratio(request.aperture).map_err(wrong)?),
        filters,
        bellows,
        reciprocity,
        outside_law: OutsideLaw::Refuse,
        available: Some(AvailableMarks {
            times: shutter_and_timer_marks(),
            time_reading: MarkReading::Exact,
            apertures: aperture_marks(StepSize::Third),
            aperture_reading: MarkReading::Exact,
        }),
    })
    .map_err(|e| chain_error(&e))?;
    Ok(ExposeResult {
        lines: lines(&answer),
        json: json(&answer),
    })
}

/// The law is named only where it is the law that refuses.
fn chain_error(error: &ChainError) -> AppError {
    match error {
        ChainError::Quantity(e) => AppError::new(
            format!(
                "reading, EI, aperture, factors and bellows together give no possible time: {e}"
            ),
            "check these numbers; `filmproof expose --help` shows units",
        ),
        ChainError::TooLong { .. } => AppError::new(
            error.to_string(),
            "check reading, EI, aperture, factors and law",
        ),
        ChainError::Reciprocity(ReciprocityError::Quantity(e)) => AppError::new(
            format!("the reciprocity law gives no possible time here: {e}"),
            "check the numbers of the law, and reading, EI, aperture and factors before it",
        ),
        ChainError::Reciprocity(e) => AppError::new(
            with_causes(e),
            "give a law that covers this time, or leave it out and see the uncorrected time",
        ),
    }
}

fn reciprocity_law(text: &str) -> Result<ReciprocityLaw, AppError> {
    let Some(file) = text.strip_prefix("table:") else {
        return reciprocity_law_from_text(text).map_err(|e| {
            AppError::new(
                with_causes(&e),
                match e {
                    LawTextError::UnknownForm { .. } => {
                        "or table:FILE.csv; `filmproof expose --help` explains each"
                    }
                    _ => "`filmproof expose --help` explains each law",
                },
            )
        });
    };
    let remedy = "a table has the columns t_metered_s,t_corrected_s and one row for each metered time, rising";
    let rows = notebook::read_reciprocity_csv(Path::new(file))?
        .rows
        .into_iter()
        .map(|row| ReciprocityRow {
            metered: row.metered,
            corrected: row.corrected,
        })
        .collect();
    ReciprocityLaw::table(rows, format!("table {file}"))
        .map_err(|e| AppError::new(format!("{file}: {}", with_causes(&e)), remedy))
}

fn lines(answer: &ExposureAnswer) -> Vec<String> {
    let mut lines = vec![];
    for step in &answer.steps {
        let mut line = format!(
            "{:<14} {:>10}  {:>7}  {}",
            step.kind.name(),
            format_time(step.time),
            signed(step.stops),
            step.detail
        );
        if let Some(residual) = step.residual {
            line.push_str(&format!("; rounding leaves {} stops", signed(residual)));
        }
        lines.push(line);
        if let Some(assumption) = &step.assumption {
            lines.push(format!("{:<14} assumed: {assumption}", ""));
        }
    }
    // The step that goes without a law says it already.
    let told = answer.flags.iter().filter(|f| *f != Flag::NoReciprocityLaw);
    lines.extend(told.map(|flag| format!("note: {}", flag.meaning())));
    lines.push(format!(
        "give {} at {} ({} stops over the meter)",
        format_time(answer.time_corrected),
        format_aperture(answer.aperture),
        signed(answer.stops_over_meter)
    ));
    if let Some(shutter) = &answer.shutter {
        let (setting, residual) = match &answer.aperture_at_shutter {
            Some(at) => (
                format!("{} at {}", shutter.mark.label(), at.mark.label()),
                Some(at.residual),
            ),
            None => (shutter.mark.label(), shutter.residual),
        };
        let left = residual.map_or_else(
            || "what rounding leaves is not known, for the law does not reach it".to_owned(),
            |r| match signed(r).split_at(1) {
                ("+", size) => format!("{size} stops too much"),
                ("-", size) => format!("{size} stops too little"),
                _ => "to 0.01 stop what is wanted".to_owned(),
            },
        );
        lines.push(format!("nearest marks: {setting} ({left})"));
    }
    lines
}

/// Stops with their sign and two decimals; what rounds to nothing has no sign.
fn signed(stops: Stops) -> String {
    let text = format!("{:+.2}", stops.to_stops());
    if matches!(text.as_str(), "+0.00" | "-0.00") {
        "0.00".to_owned()
    } else {
        text
    }
}

fn json(answer: &ExposureAnswer) -> Value {
    let shutter = answer.shutter.as_ref();
    let at_mark = answer.aperture_at_shutter.as_ref();
    json!({
        "ev100": answer.ev100.to_ev(),
        "aperture_f": answer.aperture.to_ratio(),
        "time_metered_s": answer.time_metered.to_s(),
        "time_after_filter_s": answer.time_after_filter.to_s(),
        "time_after_bellows_s": answer.time_after_bellows.to_s(),
        "time_corrected_s": answer.time_corrected.to_s(),
        "stops_over_meter": answer.stops_over_meter.to_stops(),
        // The nearest shutter mark, or counted time, and what it leaves over at the
        // aperture asked for: on the film, and as a time alone.
        "shutter_mark": shutter.map(|s| s.mark.label()),
        "shutter_mark_s": shutter.map(|s| s.time.to_s()),
        "shutter_mark_reached": shutter.map(|s| s.place == SeriesPlace::Within),
        "shutter_residual_stops": shutter.and_then(|s| s.residual).map(Stops::to_stops),
        "shutter_residual_time_stops": shutter.map(|s| s.residual_of_time.to_stops()),
        // The aperture that makes up for it, its nearest mark, and what both marks leave over.
        "aperture_wanted_at_mark_f": at_mark.map(|a| a.wanted.to_ratio()),
        "aperture_at_mark": at_mark.map(|a| a.mark.label()),
        "aperture_at_mark_f": at_mark.map(|a| a.aperture.to_ratio()),
        "aperture_residual_stops": at_mark.map(|a| a.residual.to_stops()),
        "steps": answer.steps.iter().map(|s| json!({
            "step": s.kind.name(),
            "detail": s.detail,
            "time_s": s.time.to_s(),
            "stops": s.stops.to_stops(),
            "residual_stops": s.residual.map(Stops::to_stops),
            "assumption": s.assumption,
        })).collect::<Vec<_>>(),
        "flags": answer.flags.iter().map(Flag::name).collect::<Vec<_>>(),
    })
}
