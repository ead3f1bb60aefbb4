//! One exposure from a light reading, with every step shown.

use crate::AppError;
use crate::error::with_causes;
use crate::expose_answer::{Worked, json, lines};
use crate::expose_inputs::{
    aperture_column, bellows, filter, measured_time, own_marks, reading, reciprocity_law,
    with_measured, wrong,
};
use exposure::{
    ActualBasis, ApertureSetting, AvailableMarks, Cell, ChainError, ChainUncertainty,
    ExposureAnswer, ExposureRequest, HandTiming, LightReading, MarkReading, OutsideLaw,
    ReadThrough, ReadingUse, ReciprocityError, ShutterTime, SmallApertureGain, StepSize, SunnySky,
    UncertainPart, aperture_marks, chain_uncertainty, ei_behind_filter, exposure_answer,
    reading_sentence, reading_use, shutter_and_timer_marks, stacked_factor,
};
use quantity::{ExposureIndex, FNumber, Flag, Seconds, Stops};
use serde_json::Value;

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
    /// No meter: the sunny rule for this sky.
    Sky(SunnySky),
}

/// A filter as it is stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ExposeFilter {
    /// Times more exposure.
    Factor(f64),
    /// Stops more exposure.
    Stops(f64),
    /// Density of a neutral filter.
    Density(f64),
}

/// How the bellows extension was found. \[mm\]
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ExposeBellows {
    /// Image size over object size.
    Magnification(f64),
    /// Lens to film.
    Draw {
        /// Lens to film.
        draw_mm: f64,
        /// Focal length.
        focal_length_mm: f64,
    },
    /// The size of a thing and of its image on the ground glass.
    Sizes {
        /// On the ground glass.
        image_mm: f64,
        /// The thing itself.
        object_mm: f64,
    },
    /// Racked out beyond the place at infinity.
    Extension {
        /// Beyond infinity.
        extension_mm: f64,
        /// Focal length.
        focal_length_mm: f64,
    },
}

/// Standard uncertainties in stops, where they are stated; the draw's in mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ExposeUncertainty {
    /// Of the reading; an estimate of the light brings its own.
    pub reading: Option<f64>,
    /// Of the EI.
    pub ei: Option<f64>,
    /// Of all filters together.
    pub filter: Option<f64>,
    /// Of the draw or the extension. \[mm\]
    pub draw_mm: Option<f64>,
    /// Of the aperture.
    pub aperture: Option<f64>,
    /// Of the reciprocity law, in stops of time.
    pub reciprocity: Option<f64>,
    /// Of a shutter speed that was not measured.
    pub shutter: Option<f64>,
}

/// What `expose` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposeRequest {
    /// The reading.
    pub reading: ExposeReading,
    /// Where the target read is to lie, in stops from the mid-tone.
    pub placed_stops: Option<f64>,
    /// What stood before the meter.
    pub through: ReadThrough,
    /// What the meter sees with.
    pub cell: Cell,
    /// EI to expose for, before filters.
    pub ei: f64,
    /// Exact f-number.
    pub aperture: f64,
    /// The filters.
    pub filters: Vec<ExposeFilter>,
    /// Bellows extension.
    pub bellows: Option<ExposeBellows>,
    /// Exit pupil over entrance pupil.
    pub pupil_ratio: f64,
    /// Reciprocity law as text; `table:FILE.csv` reads a table.
    pub reciprocity: Option<String>,
    /// Whether the law is carried on outside its range.
    pub extrapolate: bool,
    /// The aperture column of a film's sheet: `10/0.5,100/1`.
    pub open_lens: Option<String>,
    /// The marks on this shutter, `1,1/2,1/5`; third stops when empty. Meant literally;
    /// times of a second and more can be counted besides.
    pub shutter_marks: Option<String>,
    /// Measured shutter times: `1/30=0.041,0.1`.
    pub measured_times: Vec<String>,
    /// Whether a leaf shutter's gain at small apertures is taken from the table of
    /// common practice.
    pub small_aperture_gain: bool,
    /// Standard error of an exposure timed by hand. \[s\]
    pub reaction_s: f64,
    /// Standard error of a count, as a share of the time.
    pub count_share: f64,
    /// What is known of the uncertainties.
    pub uncertainty: ExposeUncertainty,
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
/// [`AppError`] for impossible values, a law that can't be read, a time that lies
/// outside the law, and a reading that can't be used for an exposure.
pub fn expose(request: &ExposeRequest) -> Result<ExposeResult, AppError> {
    usable_reading(request)?;
    let light = reading(request.reading, request.placed_stops)?;
    let aperture = FNumber::from_ratio(request.aperture).map_err(wrong)?;
    let filters = request
        .filters
        .iter()
        .map(|one| filter(*one))
        .collect::<Result<Vec<_>, _>>()?;
    let measured = request
        .measured_times
        .iter()
        .map(|text| measured_time(text))
        .collect::<Result<Vec<_>, _>>()?;
    let marks = match &request.shutter_marks {
        Some(text) => own_marks(text)?,
        None => shutter_and_timer_marks(),
    };
    let times = with_measured(marks, &measured)?;
    let hand = HandTiming::new(
        Seconds::from_s(request.reaction_s).map_err(wrong)?,
        request.count_share,
    )
    .map_err(wrong)?;
    let open_lens = request
        .open_lens
        .as_deref()
        .map(aperture_column)
        .transpose()?;
    let factor = stacked_factor(&filters).map_err(wrong)?;
    let ei = ExposureIndex::from_arithmetic(request.ei).map_err(wrong)?;
    let mut asked = ExposureRequest {
        reading: light,
        ei,
        aperture: ApertureSetting::Exact(aperture),
        filters,
        bellows: bellows(request.bellows, request.pupil_ratio)?,
        reciprocity: request
            .reciprocity
            .as_deref()
            .map(reciprocity_law)
            .transpose()?,
        outside_law: if request.extrapolate {
            OutsideLaw::Extrapolate
        } else {
            OutsideLaw::Refuse
        },
        available: Some(AvailableMarks {
            times,
            time_reading: MarkReading::Exact,
            apertures: aperture_marks(StepSize::Third),
            aperture_reading: MarkReading::Exact,
        }),
    };
    let mut answer = if request.small_aperture_gain {
        answer_with_gain(&mut asked)?
    } else {
        exposure_answer(&asked).map_err(|e| chain_error(&e))?
    };
    flag_shutter(&mut answer);
    let uncertainty = whole_uncertainty(request, &asked, &answer, &measured, hand)?;
    let opened = open_lens
        .map(|column| column.opened(answer.time_after_bellows, answer.aperture))
        .transpose()
        .map_err(|e| {
            AppError::new(
                format!("the sheet's aperture column: {}", with_causes(&e)),
                "give a row for this time, or leave --open-lens out",
            )
        })?;
    let worked = Worked {
        hand_uncertainty: hand
            .standard_uncertainty(answer.time_corrected)
            .map_err(wrong)?,
        shortest_by_hand: hand
            .shortest_time(Stops::new(BY_HAND_WITHIN).map_err(wrong)?)
            .map_err(wrong)?,
        ei_behind_filter: ei_behind_filter(ei, factor).map_err(wrong)?,
        reading_means: reading_sentence(request.cell, request.through),
        reading_asked: request.cell != Cell::NotStated || request.through != ReadThrough::Nothing,
        answer,
        factor,
        hand,
        opened,
        uncertainty,
    };
    Ok(ExposeResult {
        lines: lines(&worked),
        json: json(&worked),
    })
}

/// Works the chain out with a leaf shutter's gain at the aperture that is used: the mark
/// proposed for the shutter mark, which may lie on the other side of the table's
/// widest aperture than the one asked for.
fn answer_with_gain(asked: &mut ExposureRequest) -> Result<ExposureAnswer, AppError> {
    let gain = SmallApertureGain::common_practice().map_err(wrong)?;
    let Some(marks) = asked.available.clone() else {
        return exposure_answer(asked).map_err(|e| chain_error(&e));
    };
    let mut used = asked.aperture.aperture();
    let mut round = 0;
    loop {
        let times = (marks.times.iter())
            .map(|mark| gain.applied(*mark, used, MarkReading::Exact))
            .collect::<Result<Vec<_>, _>>()
            .map_err(wrong)?;
        asked.available = Some(AvailableMarks {
            times,
            ..marks.clone()
        });
        let answer = exposure_answer(asked).map_err(|e| chain_error(&e))?;
        let proposed = answer.aperture_at_shutter.as_ref().map(|a| a.aperture);
        let settled = match (proposed, &answer.shutter) {
            (Some(proposed), Some(shutter)) => {
                gain.gain(shutter.mark, proposed) == gain.gain(shutter.mark, used)
            }
            _ => true,
        };
        // At the table's very edge the two may take turns; then the first stands.
        round += 1;
        match proposed {
            Some(proposed) if !settled && round < GAIN_ROUNDS => used = proposed,
            _ => return Ok(answer),
        }
    }
}

/// Times that the aperture a gain belongs to is looked up anew.
const GAIN_ROUNDS: usize = 3;

/// A time is called fit for the hand when its standard uncertainty is within a sixth of
/// a stop, so that two in three exposures lie within a third of a stop from end to end.
const BY_HAND_WITHIN: f64 = 1.0 / 6.0;

/// Refuses what a meter behind a filter can't say.
fn usable_reading(request: &ExposeRequest) -> Result<(), AppError> {
    let what = reading_sentence(request.cell, request.through);
    if matches!(request.reading, ExposeReading::Sky(_)) && request.through != ReadThrough::Nothing {
        return Err(AppError::new(
            "an estimate from the sky was not read through a filter",
            "leave --through out",
        ));
    }
    match reading_use(request.through) {
        ReadingUse::WithFactor => Ok(()),
        ReadingUse::InsteadOfFactor if request.filters.is_empty() => Ok(()),
        ReadingUse::InsteadOfFactor => Err(AppError::new(
            format!("the filter would count twice: {what}"),
            "read the light without the filter and give its tested factor, or leave the factor out",
        )),
        ReadingUse::LightRecordOnly => Err(AppError::new(
            what,
            "read the light without the filter and give a tested factor; keep this reading in the notes",
        )),
    }
}

/// Flags what is not known of the shutter mark.
fn flag_shutter(answer: &mut ExposureAnswer) {
    let Some(shutter) = &answer.shutter else {
        return;
    };
    match shutter.mark.actual_basis() {
        Some(ActualBasis::Measured) => {}
        Some(ActualBasis::SmallAperture) => answer.flags.insert(Flag::SmallApertureGain),
        // Longer times are counted.
        None if shutter.time.to_s() < COUNTED_FROM_S => answer.flags.insert(Flag::MarkedTime),
        None => {}
    }
}

/// From here on a time is counted and not left to the shutter. \[s\]
pub(crate) const COUNTED_FROM_S: f64 = 1.0;

/// The uncertainty of the whole chain, where anything is stated.
fn whole_uncertainty(
    request: &ExposeRequest,
    asked: &ExposureRequest,
    answer: &ExposureAnswer,
    measured: &[ShutterTime],
    hand: HandTiming,
) -> Result<Option<ChainUncertainty>, AppError> {
    let stated = &request.uncertainty;
    let estimate = match asked.reading {
        LightReading::Estimated(sky) => Some(sky.standard_uncertainty.to_stops()),
        _ => None,
    };
    let bellows = match (stated.draw_mm, request.bellows, &asked.bellows) {
        (None, ..) => None,
        (
            Some(mm),
            Some(
                ExposeBellows::Draw {
                    focal_length_mm, ..
                }
                | ExposeBellows::Extension {
                    focal_length_mm, ..
                },
            ),
            Some(bellows),
        ) => Some(
            bellows
                .standard_uncertainty(mm / focal_length_mm)
                .map_err(wrong)?
                .to_stops(),
        ),
        (Some(_), ..) => {
            return Err(AppError::new(
                "an uncertainty of the draw needs a draw or an extension",
                "give --draw or --extension with --focal-length, or leave --draw-sd out",
            ));
        }
    };
    let given = [
        (UncertainPart::Reading, stated.reading.or(estimate)),
        (UncertainPart::Ei, stated.ei),
        (UncertainPart::Filter, stated.filter),
        (UncertainPart::Bellows, bellows),
        (UncertainPart::Aperture, stated.aperture),
        (UncertainPart::Reciprocity, stated.reciprocity),
    ];
    let mut parts = vec![];
    for (part, stops) in given {
        if let Some(stops) = stops {
            parts.push((part, Stops::new(stops).map_err(wrong)?));
        }
    }
    if let Some(time) = time_uncertainty(stated.shutter, answer, measured, hand)? {
        // A hand's error alone is told in a line of its own.
        if !parts.is_empty() || !measured.is_empty() || stated.shutter.is_some() {
            parts.push((UncertainPart::Time, time));
        }
    }
    chain_uncertainty(answer, asked.reciprocity.as_ref(), &parts).map_err(|e| chain_error(&e))
}

/// How well the time itself is given: by the hand, or by the shutter.
fn time_uncertainty(
    stated: Option<f64>,
    answer: &ExposureAnswer,
    measured: &[ShutterTime],
    hand: HandTiming,
) -> Result<Option<Stops>, AppError> {
    let Some(shutter) = &answer.shutter else {
        return Ok(None);
    };
    let known = measured
        .iter()
        .find(|time| shutter.mark.is_marked(time.marked));
    if known.is_none() && shutter.time.to_s() >= COUNTED_FROM_S {
        return hand
            .standard_uncertainty(shutter.time)
            .map(Some)
            .map_err(wrong);
    }
    let marked = stated.map(Stops::new).transpose().map_err(wrong)?;
    match known {
        Some(time) => time
            .effective(marked.unwrap_or(Stops::ZERO))
            .map(|time| Some(time.standard_uncertainty))
            .map_err(wrong),
        None => Ok(marked),
    }
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
            "give a law that covers this time, carry it on with --extrapolate where it only ends too early, or leave it out and see the uncorrected time",
        ),
    }
}
