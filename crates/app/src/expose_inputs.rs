//! What `expose` is given, from numbers and words to checked quantities.

use crate::AppError;
use crate::error::with_causes;
use core::f64::consts::LN_2;
use exposure::{
    ActualBasis, ApertureCorrection, Bellows, BellowsError, Cell, IncidentConstant, LawTextError,
    LightReading, MarkReading, ReadThrough, ReciprocityLaw, ReciprocityRow, ReflectedConstant,
    ShutterMark, ShutterTime, SunnySky, TargetReading, magnification_from_sizes,
    reciprocity_law_from_text, shutter_and_timer_marks, sunny_estimate,
};
use quantity::{
    Ev100, FilterFactor, Illuminance, Luminance, Magnification, Measured, Millimetres, NetDensity,
    PupilRatio, QuantityError, Seconds, Stops,
};
use std::path::Path;

use crate::expose::{ExposeBellows, ExposeFilter, ExposeReading};

/// An impossible number, with what to do about it.
pub(crate) fn wrong(error: QuantityError) -> AppError {
    AppError::new(
        error.to_string(),
        "give a possible value; `filmproof expose --help` shows units",
    )
}

/// The reading, with where its target is placed.
pub(crate) fn reading(
    asked: ExposeReading,
    placed_stops: Option<f64>,
) -> Result<LightReading, AppError> {
    let target = match asked {
        ExposeReading::Ev100(ev) => TargetReading::Ev100(Ev100::from_ev(ev).map_err(wrong)?),
        ExposeReading::Luminance { cd_per_m2, k } => TargetReading::Luminance {
            luminance: Luminance::from_cd_per_m2(cd_per_m2).map_err(wrong)?,
            constant: ReflectedConstant::from_k(k).map_err(wrong)?,
        },
        ExposeReading::Lux { .. } | ExposeReading::Sky(_) if placed_stops.is_some() => {
            return Err(AppError::new(
                "only a reading of a target can be placed, and this one is not of a target",
                "leave --placed and --zone out, or give --ev100 or --luminance",
            ));
        }
        ExposeReading::Lux { lux, c } => {
            return Ok(LightReading::Illuminance {
                illuminance: Illuminance::from_lux(lux).map_err(wrong)?,
                constant: IncidentConstant::from_c(c).map_err(wrong)?,
            });
        }
        ExposeReading::Sky(sky) => {
            return sunny_estimate(sky)
                .map(LightReading::Estimated)
                .map_err(wrong);
        }
    };
    Ok(match placed_stops {
        None => target.into(),
        Some(stops) => LightReading::Placed {
            target,
            above_mid_tone: placement(stops)?,
        },
    })
}

/// A placement on a scale that a film can hold.
fn placement(stops: f64) -> Result<Stops, AppError> {
    if !(-10.0..=10.0).contains(&stops) {
        return Err(AppError::new(
            format!("a target cannot be placed {stops} stops from the mid-tone"),
            "give -10 to 10 stops, or a zone from 0 to 10",
        ));
    }
    Stops::new(stops).map_err(wrong)
}

/// Gives the sky of a word of the command line.
///
/// # Errors
/// [`AppError`] with the words there are.
pub fn sky_from_word(word: &str) -> Result<SunnySky, AppError> {
    Ok(match word {
        "clear" => SunnySky::Clear,
        "thin-cloud" => SunnySky::ThinCloud,
        "bright-cloud" => SunnySky::BrightCloud,
        "overcast" => SunnySky::Overcast,
        "open-shade" => SunnySky::OpenShade,
        other => {
            return Err(AppError::new(
                format!("'{other}' is no sky of the sunny rule"),
                "give clear, thin-cloud, bright-cloud, overcast or open-shade",
            ));
        }
    })
}

/// The factor of a filter, however it was written.
pub(crate) fn filter(asked: ExposeFilter) -> Result<FilterFactor, AppError> {
    match asked {
        ExposeFilter::Factor(factor) => FilterFactor::from_ratio(factor).map_err(wrong),
        ExposeFilter::Stops(stops) => Stops::new(stops)
            .and_then(FilterFactor::from_stops)
            .map_err(wrong),
        ExposeFilter::Density(density) => {
            let density = NetDensity::new(density).map_err(wrong)?;
            exposure::filter::factor_from_density(density).map_err(wrong)
        }
    }
}

/// The bellows extension, however it was measured.
pub(crate) fn bellows(
    asked: Option<ExposeBellows>,
    pupil_ratio: f64,
) -> Result<Option<Bellows>, AppError> {
    let pupil = PupilRatio::from_ratio(pupil_ratio).map_err(wrong)?;
    let mm = |value| Millimetres::from_mm(value).map_err(wrong);
    let no_bellows = |e: BellowsError| {
        AppError::new(with_causes(&e), "measure the draw from lens to film, in mm")
    };
    Ok(match asked {
        None => None,
        Some(ExposeBellows::Magnification(m)) => Some(Bellows::from_magnification(
            Magnification::from_ratio(m).map_err(wrong)?,
            pupil,
        )),
        Some(ExposeBellows::Sizes {
            image_mm,
            object_mm,
        }) => Some(Bellows::from_magnification(
            magnification_from_sizes(mm(image_mm)?, mm(object_mm)?).map_err(wrong)?,
            pupil,
        )),
        Some(ExposeBellows::Draw {
            draw_mm,
            focal_length_mm,
        }) => Some(
            Bellows::from_draw(mm(draw_mm)?, mm(focal_length_mm)?, pupil).map_err(no_bellows)?,
        ),
        // The mark of infinity itself.
        Some(ExposeBellows::Extension {
            extension_mm: 0.0, ..
        }) => None,
        Some(ExposeBellows::Extension {
            extension_mm,
            focal_length_mm,
        }) => Some(
            Bellows::from_extension(mm(extension_mm)?, mm(focal_length_mm)?, pupil)
                .map_err(no_bellows)?,
        ),
    })
}

/// A reciprocity law as text, or from the file of a table.
pub(crate) fn reciprocity_law(text: &str) -> Result<ReciprocityLaw, AppError> {
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

/// A time written as seconds or as a part of a second: `1/30`, `0.5`.
fn time(text: &str) -> Option<Seconds> {
    let seconds = match text.trim().split_once('/') {
        Some((over, under)) => {
            over.trim().parse::<f64>().ok()? / under.trim().parse::<f64>().ok()?
        }
        None => text.trim().parse().ok()?,
    };
    Seconds::from_s(seconds).ok()
}

/// A measured shutter time: `1/30=0.041`, or with its spread in stops `1/30=0.041,0.1`.
pub(crate) fn measured_time(text: &str) -> Result<ShutterTime, AppError> {
    let refused = || {
        AppError::new(
            format!("'{text}' is no measured shutter time"),
            "write MARK=SECONDS or MARK=SECONDS,SPREAD with the spread in stops, such as 1/30=0.041,0.1",
        )
    };
    let (mark, rest) = text.split_once('=').ok_or_else(refused)?;
    let (measured, spread) = match rest.split_once(',') {
        Some((measured, spread)) => (
            measured,
            spread
                .trim()
                .parse::<f64>()
                .ok()
                .filter(|s| (0.0..=5.0).contains(s))
                .ok_or_else(refused)?,
        ),
        None => (rest, 0.0),
    };
    let measured = time(measured).ok_or_else(refused)?;
    Ok(ShutterTime {
        marked: time(mark).ok_or_else(refused)?,
        measured: Some(Measured::new(measured, spread * measured.to_s() * LN_2)),
    })
}

/// The marks on a shutter as they are listed, `1,1/2,1/5,1/10`, with the times that are
/// counted.
pub(crate) fn own_marks(text: &str) -> Result<Vec<ShutterMark>, AppError> {
    let mut marks: Vec<ShutterMark> = shutter_and_timer_marks()
        .into_iter()
        .filter(|mark| mark.time(MarkReading::Literal).to_s() >= crate::expose::COUNTED_FROM_S)
        .collect();
    for part in text.split(',') {
        let found = time(part).ok_or_else(|| {
            AppError::new(
                format!("'{part}' is no mark of a shutter"),
                "list the marks on the dial, such as 1,1/2,1/5,1/10,1/25,1/50,1/100",
            )
        })?;
        if !marks.iter().any(|mark| mark.is_marked(found)) {
            marks.push(ShutterMark::literal(found));
        }
    }
    Ok(marks)
}

/// The marks of a shutter with its measured times in their places.
pub(crate) fn with_measured(
    marks: Vec<ShutterMark>,
    measured: &[ShutterTime],
) -> Result<Vec<ShutterMark>, AppError> {
    for time in measured {
        if !marks.iter().any(|mark| mark.is_marked(time.marked)) {
            return Err(AppError::new(
                format!(
                    "{} is no mark of a shutter",
                    exposure::format_time(time.marked)
                ),
                "name the mark on the dial, such as 1/30=0.041",
            ));
        }
    }
    Ok(marks
        .into_iter()
        .map(|mark| {
            let found = measured
                .iter()
                .find(|time| mark.is_marked(time.marked))
                .and_then(|time| time.measured.as_ref());
            match found {
                Some(time) => mark.with_actual(time.value(), ActualBasis::Measured),
                None => mark,
            }
        })
        .collect())
}

/// A column of a sheet that opens the lens: `10/0.5,100/1`, metered seconds over stops.
pub(crate) fn aperture_column(text: &str) -> Result<ApertureCorrection, AppError> {
    let refused = |why: String| {
        AppError::new(
            format!("'{text}' is no table of stops to open the lens: {why}"),
            "write TM/STOPS,TM/STOPS by rising time, such as 10/0.5,100/1",
        )
    };
    let mut rows = vec![];
    for part in text.split(',') {
        let row = part.split_once('/').and_then(|(time, stops)| {
            let time = Seconds::from_s(time.trim().parse().ok()?).ok()?;
            let stops = Stops::new(stops.trim().parse().ok()?).ok()?;
            (stops >= Stops::ZERO).then_some((time, stops))
        });
        rows.push(row.ok_or_else(|| refused(format!("'{part}' is no row")))?);
    }
    ApertureCorrection::from_rows(rows, format!("as given: {text}"))
        .map_err(|e| refused(with_causes(&e)))
}

/// Gives what stood before the meter, from a word of the command line.
///
/// # Errors
/// [`AppError`] with the words there are.
pub fn through_from_word(word: &str) -> Result<ReadThrough, AppError> {
    Ok(match word {
        "nothing" => ReadThrough::Nothing,
        "see-through" => ReadThrough::SeeThrough,
        "opaque" => ReadThrough::Opaque,
        other => {
            return Err(AppError::new(
                format!("'{other}' is nothing a meter reads through"),
                "give nothing, see-through or opaque",
            ));
        }
    })
}

/// Gives a meter's cell, from a word of the command line.
///
/// # Errors
/// [`AppError`] with the words there are.
pub fn cell_from_word(word: &str) -> Result<Cell, AppError> {
    Ok(match word {
        "selenium" => Cell::Selenium,
        "cds" => Cell::CadmiumSulphide,
        "silicon" => Cell::SiliconCorrected,
        "bare-silicon" => Cell::SiliconBare,
        "unknown" => Cell::NotStated,
        other => {
            return Err(AppError::new(
                format!("'{other}' is no cell of a meter"),
                "give selenium, cds, silicon, bare-silicon or unknown",
            ));
        }
    })
}
