//! The exposure chain: reading → EI → filters → bellows → reciprocity, and back.
//!
//! [`exposure_answer`] computes the time to set, step by step, each with what it
//! was based on. Reciprocity comes last, because the failure belongs to the
//! light that reaches the film. Marks are looked for after that, and what they
//! leave over is shown; nothing computed is ever rounded to a mark.
//!
//! [`film_exposure`] goes the other way for a frame that was made: from its
//! actual time to the exposure its mid-tone got.
//!
//! Forward: t = N²·100/(2^EV100·S); × F of each filter; × B of the bellows; then
//! Tc of the reciprocity law.
//! Back: H = q·L·t_eff/(N²·B), L = 2^EV100·K/100, t_eff the metered time that the
//! actual time was worth.

use crate::bellows::{Bellows, BellowsBasis};
use crate::filter::stops_in_published_thirds;
use crate::meter::{
    IncidentConstant, LensFactor, ReflectedConstant, ev100_from_illuminance, ev100_from_luminance,
    focal_plane_exposure, luminance_from_ev100, metered_mid_tone_exposure, metered_time,
};
use crate::reciprocity::{OutsideLaw, ReciprocityError, ReciprocityLaw};
use crate::series::{
    ApertureMark, MarkReading, SeriesPlace, ShutterMark, format_aperture, format_time,
    nearest_aperture, nearest_shutter, significant,
};
use crate::sunny_rule::SkyEstimate;
use quantity::{
    Ev100, ExposureIndex, FNumber, FilterFactor, Flag, Flags, Illuminance, LogExposure, Luminance,
    QuantityError, Seconds, Stops,
};

/// Above this time, in seconds, an answer without a reciprocity law is flagged.
///
/// Source: film makers' sheets that start their corrections above 1 s (common practice).
pub const RECIPROCITY_ASKED_ABOVE_S: f64 = 1.0;

/// Above this time, in seconds, a computed exposure is refused: almost six days.
///
/// No published reciprocity table comes near it, and a slip of the pen does.
pub const LONGEST_EXPOSURE_S: f64 = 5e5;

/// Why a chain could not be computed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ChainError {
    /// The law refuses this time: give another law, or ask for extrapolation.
    #[error(transparent)]
    Reciprocity(#[from] ReciprocityError),
    /// Check reading, EI, aperture and factors: no exposure in a camera takes so long.
    #[error(
        "a time of {} s ({:.0} days) is no exposure; times up to {LONGEST_EXPOSURE_S} s are worked out",
        significant(*time_s, 3),
        time_s / 86_400.0
    )]
    TooLong {
        /// The time found.
        time_s: f64,
    },
    /// A number has no meaning.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// A reading of one target, as a spot meter takes it, with the constant it needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TargetReading {
    /// The exposure value at ISO 100, as the meter shows it.
    Ev100(Ev100),
    /// Light coming from the target, with the meter constant K.
    Luminance {
        /// The reading.
        luminance: Luminance,
        /// The meter's K.
        constant: ReflectedConstant,
    },
}

impl From<TargetReading> for LightReading {
    fn from(reading: TargetReading) -> Self {
        match reading {
            TargetReading::Ev100(ev) => Self::Ev100(ev),
            TargetReading::Luminance {
                luminance,
                constant,
            } => Self::Luminance {
                luminance,
                constant,
            },
        }
    }
}

/// A reading of the light, with the constant it needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LightReading {
    /// The exposure value at ISO 100, as the meter shows it.
    Ev100(Ev100),
    /// Light falling on the subject, with the meter constant C.
    Illuminance {
        /// The reading.
        illuminance: Illuminance,
        /// The meter's C.
        constant: IncidentConstant,
    },
    /// Light coming from the subject, with the meter constant K.
    Luminance {
        /// The reading.
        luminance: Luminance,
        /// The meter's K.
        constant: ReflectedConstant,
    },
    /// A target that is not to come out as the mid-tone.
    Placed {
        /// The reading of the target.
        target: TargetReading,
        /// Where it is to lie, in stops from the mid-tone; +2 is zone VII.
        above_mid_tone: Stops,
    },
    /// No reading: the sunny rule's estimate for a sky.
    Estimated(SkyEstimate),
}

impl LightReading {
    /// Gives the reading as EV at ISO 100.
    ///
    /// # Errors
    /// [`QuantityError`] when the light lies outside the range of [`Ev100`].
    pub fn to_ev100(self) -> Result<Ev100, QuantityError> {
        match self {
            Self::Ev100(ev) => Ok(ev),
            Self::Illuminance {
                illuminance,
                constant,
            } => ev100_from_illuminance(illuminance, constant),
            Self::Luminance {
                luminance,
                constant,
            } => ev100_from_luminance(luminance, constant),
            Self::Placed {
                target,
                above_mid_tone,
            } => Ev100::from_ev(Self::from(target).to_ev100()?.to_ev() - above_mid_tone.to_stops()),
            Self::Estimated(estimate) => Ok(estimate.ev100),
        }
    }

    /// Says what rests on an assumption in the reading, if anything does.
    fn assumption(self) -> Option<String> {
        match self {
            Self::Estimated(estimate) => Some(format!(
                "no meter: {}, give or take {:.1} stops ({})",
                estimate.sky.words(),
                estimate.standard_uncertainty.to_stops(),
                estimate.source
            )),
            _ => None,
        }
    }

    /// Says what was read, with the constant used.
    fn detail(self, ev: Ev100) -> String {
        match self {
            Self::Ev100(ev) => format!("EV {:.2} at ISO 100", ev.to_ev()),
            Self::Illuminance {
                illuminance,
                constant,
            } => format!(
                "{} lux with C = {}: EV {:.2} at ISO 100",
                illuminance.to_lux(),
                constant.to_c(),
                ev.to_ev()
            ),
            Self::Luminance {
                luminance,
                constant,
            } => format!(
                "{} cd/m2 with K = {}: EV {:.2} at ISO 100",
                luminance.to_cd_per_m2(),
                constant.to_k(),
                ev.to_ev()
            ),
            Self::Placed {
                target,
                above_mid_tone,
            } => {
                let shown = match target {
                    TargetReading::Ev100(read) => format!("EV {:.2} at ISO 100", read.to_ev()),
                    TargetReading::Luminance {
                        luminance,
                        constant,
                    } => format!(
                        "{} cd/m2 with K = {}",
                        luminance.to_cd_per_m2(),
                        constant.to_k()
                    ),
                };
                format!(
                    "target read as {shown}, placed {} from the mid-tone: EV {:.2} at ISO 100",
                    stops_in_words(above_mid_tone),
                    ev.to_ev()
                )
            }
            Self::Estimated(estimate) => format!(
                "estimated for {}: EV {:.2} at ISO 100",
                estimate.sky.words(),
                ev.to_ev()
            ),
        }
    }
}

/// A signed number of stops with its unit: `+2 stops`, `-1 stop`.
fn stops_in_words(stops: Stops) -> String {
    let number = stops.to_stops();
    let unit = if number.abs() == 1.0 { "stop" } else { "stops" };
    format!("{number:+} {unit}")
}

/// The aperture to compute with, and where it comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ApertureSetting {
    /// The exact f-number.
    Exact(FNumber),
    /// A mark on the lens, read as the caller says.
    Mark {
        /// The mark.
        mark: ApertureMark,
        /// How its number is taken.
        reading: MarkReading,
    },
}

impl ApertureSetting {
    /// Gives the f-number that is computed with.
    #[must_use]
    pub fn aperture(self) -> FNumber {
        match self {
            Self::Exact(aperture) => aperture,
            Self::Mark { mark, reading } => mark.aperture(reading),
        }
    }

    /// Says what was assumed about the mark, if there is one.
    fn assumption(self) -> Option<String> {
        match self {
            Self::Exact(_) => None,
            Self::Mark { mark, reading } => Some(format!(
                "{} computed as {}: {}",
                mark.label(),
                format_aperture(mark.aperture(reading)),
                reading.sentence()
            )),
        }
    }
}

/// The marks that can be set.
#[derive(Clone, Debug, PartialEq)]
pub struct AvailableMarks {
    /// Shutter marks; empty when the time is free, as with a timer.
    pub times: Vec<ShutterMark>,
    /// How the shutter marks are read.
    pub time_reading: MarkReading,
    /// Aperture marks; empty when no aperture is to be proposed.
    pub apertures: Vec<ApertureMark>,
    /// How the aperture marks are read.
    pub aperture_reading: MarkReading,
}

/// What an exposure is to be computed from.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureRequest {
    /// The light, read without the filters.
    pub reading: LightReading,
    /// Exposure index of the film without filter.
    pub ei: ExposureIndex,
    /// The aperture to be used.
    pub aperture: ApertureSetting,
    /// The filters in front of the lens; their factors multiply.
    pub filters: Vec<FilterFactor>,
    /// Bellows extension; `None` is a subject at infinity.
    pub bellows: Option<Bellows>,
    /// The film's reciprocity law, if one is known.
    pub reciprocity: Option<ReciprocityLaw>,
    /// What to do when the time lies outside the law.
    pub outside_law: OutsideLaw,
    /// Marks to round to, if asked for.
    pub available: Option<AvailableMarks>,
}

/// What a step of the chain does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepKind {
    /// Reading, EI and aperture to the metered time.
    Meter,
    /// One filter.
    Filter,
    /// Bellows extension.
    Bellows,
    /// Reciprocity law.
    Reciprocity,
    /// The nearest shutter mark.
    ShutterMark,
    /// The nearest aperture mark at that shutter mark.
    ApertureMark,
}

impl StepKind {
    /// Gives the name of the step.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Meter => "meter",
            Self::Filter => "filter",
            Self::Bellows => "bellows",
            Self::Reciprocity => "reciprocity",
            Self::ShutterMark => "shutter mark",
            Self::ApertureMark => "aperture mark",
        }
    }
}

/// One step of the chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What the step does.
    pub kind: StepKind,
    /// What it used, in words and numbers.
    pub detail: String,
    /// The time after the step, unrounded.
    pub time: Seconds,
    /// What the step added to the time, in stops of time.
    pub stops: Stops,
    /// What rounding to a mark leaves over, in stops of effective exposure;
    /// positive is too much. `None` when nothing was rounded.
    pub residual: Option<Stops>,
    /// What was assumed, if anything.
    pub assumption: Option<String>,
}

/// The shutter mark nearest to the corrected time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkedShutter {
    /// The mark.
    pub mark: ShutterMark,
    /// The time it stands for under the reading asked for.
    pub time: Seconds,
    /// lg2 of the marked time over the time wanted.
    pub residual_of_time: Stops,
    /// What the film makes of it, through the reciprocity law; the same as
    /// `residual_of_time` when no law is given or the law does not bite; `None`
    /// when the law refuses the marked time.
    pub residual: Option<Stops>,
    /// Whether the marks reach the time.
    pub place: SeriesPlace,
}

/// The aperture mark that fits the shutter mark best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkedAperture {
    /// The mark.
    pub mark: ApertureMark,
    /// The f-number it stands for under the reading asked for.
    pub aperture: FNumber,
    /// The exact f-number wanted at the marked time.
    pub wanted: FNumber,
    /// Stops of effective exposure that mark and shutter mark together give over
    /// the wanted exposure.
    pub residual: Stops,
    /// Whether the marks reach the aperture wanted.
    pub place: SeriesPlace,
}

/// The computed exposure with every step.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureAnswer {
    /// The reading as EV at ISO 100.
    pub ev100: Ev100,
    /// The f-number computed with.
    pub aperture: FNumber,
    /// Metered time at the EI, without filter.
    pub time_metered: Seconds,
    /// After the filters.
    pub time_after_filter: Seconds,
    /// After the bellows extension.
    pub time_after_bellows: Seconds,
    /// After reciprocity: the time to give.
    pub time_corrected: Seconds,
    /// lg2 of the time to give over the metered time.
    pub stops_over_meter: Stops,
    /// The steps in order.
    pub steps: Vec<Step>,
    /// The nearest shutter mark, when marks were given.
    pub shutter: Option<MarkedShutter>,
    /// The nearest aperture mark at that shutter mark, when marks were given and
    /// the reciprocity law reaches the marked time.
    pub aperture_at_shutter: Option<MarkedAperture>,
    /// What a reader must know.
    pub flags: Flags,
}

/// Two assumptions of one step.
fn joined(first: Option<String>, second: Option<String>) -> Option<String> {
    match (first, second) {
        (Some(first), Some(second)) => Some(format!("{first}; {second}")),
        (first, second) => first.or(second),
    }
}

/// lg2(to/from) of two times.
fn stops_between(from: Seconds, to: Seconds) -> Result<Stops, QuantityError> {
    Stops::new(libm::log2(to.to_s() / from.to_s()))
}

/// Computes an exposure from a light reading.
///
/// # Errors
/// [`ChainError`] when the reciprocity law refuses the time, or a number overflows.
pub fn exposure_answer(request: &ExposureRequest) -> Result<ExposureAnswer, ChainError> {
    let mut steps = Vec::new();
    let mut flags = Flags::none();
    let aperture = request.aperture.aperture();

    let ev100 = request.reading.to_ev100()?;
    let time_metered = metered_time(ev100, request.ei, aperture)?;
    steps.push(Step {
        kind: StepKind::Meter,
        detail: format!(
            "{}, EI {}, {}",
            request.reading.detail(ev100),
            significant(request.ei.to_arithmetic(), 4),
            format_aperture(aperture)
        ),
        time: time_metered,
        stops: Stops::ZERO,
        residual: None,
        assumption: joined(request.reading.assumption(), request.aperture.assumption()),
    });
    if matches!(request.reading, LightReading::Estimated(_)) {
        flags.insert(Flag::EstimatedLight);
    }

    let mut time = time_metered;
    for filter in &request.filters {
        time = Seconds::from_s(time.to_s() * filter.to_ratio())?;
        steps.push(Step {
            kind: StepKind::Filter,
            detail: format!(
                "factor {} ({} stops to the nearest third)",
                significant(filter.to_ratio(), 4),
                stops_in_published_thirds(*filter)
            ),
            time,
            stops: Stops::from_factor(*filter),
            residual: None,
            assumption: Some("the light was read without the filter".to_owned()),
        });
    }
    let time_after_filter = time;

    let time_after_bellows = if let Some(bellows) = &request.bellows {
        let time = Seconds::from_s(time_after_filter.to_s() * bellows.to_ratio())?;
        steps.push(bellows_step(bellows, time)?);
        time
    } else {
        steps.push(Step {
            kind: StepKind::Bellows,
            detail: "no bellows extension".to_owned(),
            time: time_after_filter,
            stops: Stops::ZERO,
            residual: None,
            assumption: Some("the subject is far away".to_owned()),
        });
        time_after_filter
    };

    let time_corrected = if let Some(law) = &request.reciprocity {
        let corrected = law.corrected(time_after_bellows, request.outside_law)?;
        let assumption = if corrected.flags.contains(Flag::Extrapolated) {
            Some("the law is carried on outside the range in which it holds".to_owned())
        } else if law.range() == (None, None) && corrected.stops > Stops::ZERO {
            Some("the law states no range and is taken to hold at this time".to_owned())
        } else {
            None
        };
        flags.extend(&corrected.flags);
        steps.push(Step {
            kind: StepKind::Reciprocity,
            detail: law.description(),
            time: corrected.time,
            stops: corrected.stops,
            residual: None,
            assumption,
        });
        corrected.time
    } else {
        let assumption = if time_after_bellows.to_s() > RECIPROCITY_ASKED_ABOVE_S {
            flags.insert(Flag::NoReciprocityLaw);
            "the film loses no speed, which few films keep to above 1 s: without the film's law the time to give is probably longer by an unknown amount"
        } else {
            "the film loses no speed at this time"
        };
        steps.push(Step {
            kind: StepKind::Reciprocity,
            detail: "no reciprocity law given".to_owned(),
            time: time_after_bellows,
            stops: Stops::ZERO,
            residual: None,
            assumption: Some(assumption.to_owned()),
        });
        time_after_bellows
    };

    if time_corrected.to_s() > LONGEST_EXPOSURE_S {
        return Err(ChainError::TooLong {
            time_s: time_corrected.to_s(),
        });
    }
    let mut answer = ExposureAnswer {
        ev100,
        aperture,
        time_metered,
        time_after_filter,
        time_after_bellows,
        time_corrected,
        stops_over_meter: stops_between(time_metered, time_corrected)?,
        steps,
        shutter: None,
        aperture_at_shutter: None,
        flags,
    };
    if let Some(available) = &request.available {
        set_marks(request, available, &mut answer)?;
    }
    Ok(answer)
}

fn bellows_step(bellows: &Bellows, time: Seconds) -> Result<Step, QuantityError> {
    let from = match bellows.basis() {
        BellowsBasis::Magnification => {
            format!("magnification {:.4}", bellows.magnification().to_ratio())
        }
        BellowsBasis::Draw { draw, focal_length } => format!(
            "draw {} mm at focal length {} mm",
            draw.to_mm(),
            focal_length.to_mm()
        ),
        BellowsBasis::Extension {
            extension,
            focal_length,
        } => format!(
            "extended {} mm beyond infinity at focal length {} mm",
            extension.to_mm(),
            focal_length.to_mm()
        ),
    };
    Ok(Step {
        kind: StepKind::Bellows,
        detail: format!(
            "{from}, pupil ratio {}: factor {:.4}",
            bellows.pupil_ratio().to_ratio(),
            bellows.to_ratio()
        ),
        time,
        stops: bellows.to_stops()?,
        residual: None,
        assumption: None,
    })
}

/// Looks for the marks and adds their steps.
fn set_marks(
    request: &ExposureRequest,
    available: &AvailableMarks,
    answer: &mut ExposureAnswer,
) -> Result<(), ChainError> {
    let wanted = answer.time_corrected;
    let Some(nearest) = nearest_shutter(wanted, &available.times, available.time_reading) else {
        return Ok(());
    };
    let marked_time = nearest.mark.time(available.time_reading);
    // What the marked time is worth to the film, against what it should be worth.
    let (worth, refusal) = match &request.reciprocity {
        Some(law) => match law.effective(marked_time, request.outside_law) {
            Ok(worth) => {
                answer.flags.extend(&worth.flags);
                (Some(worth.time), None)
            }
            // The corrected time stands; only what the mark leaves over is unknown.
            Err(refusal) => (None, Some(refusal.to_string())),
        },
        None => (Some(marked_time), None),
    };
    let residual = worth
        .map(|worth| stops_between(answer.time_after_bellows, worth))
        .transpose()?;
    answer.shutter = Some(MarkedShutter {
        mark: nearest.mark,
        time: marked_time,
        residual_of_time: nearest.residual,
        residual,
        place: nearest.place,
    });
    answer.steps.push(Step {
        kind: StepKind::ShutterMark,
        detail: format!(
            "{} for {}{}",
            nearest.mark.label(),
            format_time(wanted),
            end_of_series(nearest.place)
        ),
        time: marked_time,
        stops: nearest.residual,
        residual,
        assumption: joined(nearest.mark.basis(available.time_reading), refusal),
    });

    let Some(worth) = worth else {
        return Ok(());
    };
    let aperture_wanted = aperture_for_time(answer.aperture, answer.time_after_bellows, worth)?;
    let Some(nearest) = nearest_aperture(
        aperture_wanted,
        &available.apertures,
        available.aperture_reading,
    ) else {
        return Ok(());
    };
    answer.aperture_at_shutter = Some(MarkedAperture {
        mark: nearest.mark,
        aperture: nearest.mark.aperture(available.aperture_reading),
        wanted: aperture_wanted,
        residual: nearest.residual,
        place: nearest.place,
    });
    answer.steps.push(Step {
        kind: StepKind::ApertureMark,
        detail: format!(
            "{} for {} at {}{}",
            nearest.mark.label(),
            format_aperture(aperture_wanted),
            format_time(marked_time),
            end_of_series(nearest.place)
        ),
        time: marked_time,
        stops: Stops::ZERO,
        residual: Some(nearest.residual),
        assumption: Some(available.aperture_reading.sentence().to_owned()),
    });
    Ok(())
}

fn end_of_series(place: SeriesPlace) -> &'static str {
    match place {
        SeriesPlace::Within => "",
        SeriesPlace::BeyondEnd => " (the end of the marks)",
    }
}

/// Gives the aperture that gives at one time what another aperture gives at another time.
///
/// N' = N·√(t'/t). Both times are effective ones: where a film loses speed, put
/// in what each time is worth.
///
/// # Errors
/// [`QuantityError`] when the f-number overflows or vanishes.
pub fn aperture_for_time(
    aperture: FNumber,
    at: Seconds,
    instead: Seconds,
) -> Result<FNumber, QuantityError> {
    FNumber::from_ratio(aperture.to_ratio() * libm::sqrt(instead.to_s() / at.to_s()))
}

/// A frame that was made, as its record tells it. Filters are left out on purpose.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameExposure<'a> {
    /// The light, read without the filter; `None` when no reading is recorded.
    pub ev100: Option<Ev100>,
    /// The exact f-number used.
    pub aperture: FNumber,
    /// The actual time of the frame.
    pub time: Seconds,
    /// Bellows extension; `None` is a subject at infinity.
    pub bellows: Option<Bellows>,
    /// The film's reciprocity law, if one is known.
    pub reciprocity: Option<&'a ReciprocityLaw>,
    /// What to do when the time lies outside the law.
    pub outside_law: OutsideLaw,
    /// The meter constant K that turns EV into luminance.
    pub constant: ReflectedConstant,
    /// The lens factor q.
    pub lens: LensFactor,
}

/// What the film of a frame got.
#[derive(Clone, Debug, PartialEq)]
pub struct FilmExposure {
    /// The metered time that the actual time was worth to the film.
    pub effective_time: Seconds,
    /// lg2(actual/effective): what reciprocity failure took.
    pub reciprocity_loss: Stops,
    /// What the bellows extension took.
    pub bellows_loss: Stops,
    /// log10 of t_eff/(N²·B), in seconds: the camera's part, known without any
    /// reading. Relative: differences between frames in one light are exact.
    pub camera: LogExposure,
    /// log10 H of the metered mid-tone, lux seconds, before any filter;
    /// `None` without a reading.
    pub mid_tone: Option<LogExposure>,
    /// [`Flag::NoReading`], [`Flag::NoReciprocityLaw`], [`Flag::Extrapolated`].
    pub flags: Flags,
}

impl FilmExposure {
    /// Gives the exposure index at which this frame would have been the metered
    /// one: S = q·K/H. `None` without a reading.
    ///
    /// # Errors
    /// [`QuantityError`] when the number overflows or vanishes.
    pub fn exposure_index(
        &self,
        constant: ReflectedConstant,
        lens: LensFactor,
    ) -> Result<Option<ExposureIndex>, QuantityError> {
        self.mid_tone
            .map(|h| {
                ExposureIndex::from_arithmetic(lens.to_q() * constant.to_k() / h.to_lux_seconds())
            })
            .transpose()
    }

    /// Gives how many stops the mid-tone lies over the metered exposure q·K/EI.
    /// `None` without a reading.
    ///
    /// # Errors
    /// [`QuantityError`] when a number overflows.
    pub fn stops_over_metered(
        &self,
        ei: ExposureIndex,
        constant: ReflectedConstant,
        lens: LensFactor,
    ) -> Result<Option<Stops>, QuantityError> {
        let metered = metered_mid_tone_exposure(ei, constant, lens)?;
        Ok(self.mid_tone.map(|h| h.stops_above(metered)))
    }
}

/// Computes the exposure the metered mid-tone of a frame got, before any filter.
///
/// H = q·L·t_eff/(N²·B) with L = 2^EV100·K/100; t_eff is the actual time taken
/// back through the reciprocity law, B the bellows factor. \[lux s\] At the metered
/// setting of an EI it is q·K/EI, whatever the light.
///
/// # Errors
/// [`ChainError`] when the reciprocity law refuses the time, or a number overflows.
pub fn film_exposure(frame: &FrameExposure<'_>) -> Result<FilmExposure, ChainError> {
    let mut flags = Flags::none();
    let (effective_time, reciprocity_loss) = match frame.reciprocity {
        Some(law) => {
            let worth = law.effective(frame.time, frame.outside_law)?;
            flags.extend(&worth.flags);
            (worth.time, worth.stops)
        }
        None => {
            if frame.time.to_s() > RECIPROCITY_ASKED_ABOVE_S {
                flags.insert(Flag::NoReciprocityLaw);
            }
            (frame.time, Stops::ZERO)
        }
    };
    let (aperture, bellows_loss) = match &frame.bellows {
        Some(bellows) => (
            bellows.effective_aperture(frame.aperture)?,
            bellows.to_stops()?,
        ),
        None => (frame.aperture, Stops::ZERO),
    };
    let n = aperture.to_ratio();
    let camera =
        LogExposure::from_log10(libm::log10(effective_time.to_s()) - 2.0 * libm::log10(n))?;
    let mid_tone = match frame.ev100 {
        Some(reading) => Some(focal_plane_exposure(
            luminance_from_ev100(reading, frame.constant)?,
            aperture,
            effective_time,
            frame.lens,
        )?),
        None => {
            flags.insert(Flag::NoReading);
            None
        }
    };
    Ok(FilmExposure {
        effective_time,
        reciprocity_loss,
        bellows_loss,
        camera,
        mid_tone,
        flags,
    })
}
