//! From a frame that was made to the exposure its mid-tone got: the chain backwards.
//!
//! H = q·L·t_eff/(N²·B), L = 2^EV100·K/100, t_eff the metered time that the actual
//! time was worth.

use crate::bellows::Bellows;
use crate::chain::{ChainError, RECIPROCITY_ASKED_ABOVE_S};
use crate::meter::{
    LensFactor, ReflectedConstant, focal_plane_exposure, luminance_from_ev100,
    metered_mid_tone_exposure,
};
use crate::reciprocity::{OutsideLaw, ReciprocityLaw};
use quantity::{
    Ev100, ExposureIndex, FNumber, Flag, Flags, LogExposure, QuantityError, Seconds, Stops,
};

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
