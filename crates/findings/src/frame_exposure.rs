//! What a frame's record says of its exposure, before any fit.
//!
//! H = q·L·t/N², with L = 2^EV100·K/100, t the time the film felt (reciprocity
//! taken off), N the marked aperture, and the bellows factor divided out.
//! Without a light reading the same product without q·L is kept, and the scale
//! is relative.

use crate::assumptions::Assumptions;
use quantity::{ExposureIndex, Flag, Flags, PupilRatio};
use record::{Bellows, CameraExposure, Frame, Id, Light, LightReading, MeterMode, Test};

/// Why a frame's exposure could not be worked out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("the exposure of frame {frame} cannot be worked out: {reason}")]
pub struct FrameExposureError {
    /// The frame.
    pub frame: Id,
    /// Why.
    pub reason: String,
}

/// A camera frame's exposure as recorded.
#[derive(Clone, Debug)]
pub(crate) struct RecordedExposure {
    /// log10 of the exposure of a mid-tone, filter not taken off; lux seconds
    /// when `absolute`.
    pub(crate) log_h: f64,
    /// Whether the light was read.
    pub(crate) absolute: bool,
    /// The EI this setting stands for in its light.
    pub(crate) effective_ei: Option<ExposureIndex>,
    /// log10 of actual seconds beyond one second, for reciprocity.
    pub(crate) decades_beyond_1_s: f64,
    /// What the recorded law took from the exposure, log10.
    pub(crate) reciprocity_loss_log10: f64,
    /// Whether the film's reciprocity law was applied or needed none.
    pub(crate) reciprocity_stated: bool,
    /// How the shutter time is known.
    pub(crate) time: TimeKnowledge,
    pub(crate) flags: Flags,
}

/// How well a shutter time is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum TimeKnowledge {
    /// Only the mark; frames with the same mark and lens share its deviation.
    Marked { marked_s: f64 },
    /// The speed was measured, with this spread of a single release.
    Measured { marked_s: f64, spread_stops: f64 },
    /// Known for this very frame, with this uncertainty.
    ThisFrame { sd_stops: f64 },
}

/// Works out a camera frame's exposure.
pub(crate) fn recorded_exposure(
    test: &Test,
    frame: &Frame,
    camera: &CameraExposure,
    assumptions: &Assumptions,
) -> Result<RecordedExposure, FrameExposureError> {
    let failed = |reason: String| FrameExposureError {
        frame: frame.id.clone(),
        reason,
    };
    let lens = camera.lens.as_ref().and_then(|id| test.lens(id));
    let mut flags = Flags::none();

    let marked = camera.time.marked;
    let measured = lens.and_then(|lens| {
        lens.shutter
            .measured
            .iter()
            // Marks are compared, not computed: 1/30 typed twice is the same to a part in 1e6.
            .find(|m| (m.marked.to_s() / marked.to_s() - 1.0).abs() < 1e-6)
    });
    let (actual, time) = match (camera.time.actual, measured) {
        (Some(actual), _) => (
            actual,
            TimeKnowledge::ThisFrame {
                sd_stops: camera
                    .time
                    .actual_uncertainty_stops
                    .unwrap_or(assumptions.measured_time_stops),
            },
        ),
        (None, Some(m)) => (
            m.actual,
            TimeKnowledge::Measured {
                marked_s: marked.to_s(),
                spread_stops: m.spread.to_stops(),
            },
        ),
        (None, None) => {
            flags.insert(Flag::MarkedTime);
            (
                marked,
                TimeKnowledge::Marked {
                    marked_s: marked.to_s(),
                },
            )
        }
    };

    let decades_beyond_1_s = libm::log10(actual.to_s()).max(0.0);
    let written = test.film(&frame.film).and_then(|f| f.reciprocity.as_ref());
    let outside_law = if written.is_some_and(|law| law.extrapolate) {
        exposure::OutsideLaw::Extrapolate
    } else {
        exposure::OutsideLaw::Refuse
    };
    let law = match written {
        None => None,
        Some(law) => Some(exposure::reciprocity_law_from_text(&law.law).map_err(|e| {
            failed(format!(
                "reciprocity law {:?}: {}",
                law.law,
                with_causes(&e)
            ))
        })?),
    };
    let pupil = match lens.and_then(|l| l.pupil_ratio) {
        Some(p) => p,
        // A symmetric lens, as the record's own documentation says.
        None => PupilRatio::from_ratio(1.0).map_err(|e| failed(e.to_string()))?,
    };
    let bellows = match camera.bellows {
        None => None,
        Some(Bellows::Magnification(m)) => Some(exposure::Bellows::from_magnification(m, pupil)),
        Some(Bellows::Draw(draw)) => {
            let focal = lens
                .and_then(|l| l.focal_length)
                .ok_or_else(|| failed("the lens's focal length is missing".into()))?;
            Some(
                exposure::Bellows::from_draw(draw, focal, pupil)
                    .map_err(|e| failed(with_causes(&e)))?,
            )
        }
    };
    let light = test.light(&camera.light);
    let through_filter = light
        .and_then(|l| l.meter.as_ref())
        .is_some_and(|m| m.through_filter);
    let reading = camera
        .reading
        .or_else(|| light.and_then(|l| l.reading))
        .filter(|_| {
            // A meter's cell behind a deep filter sees what no film sees.
            if through_filter {
                flags.insert(Flag::ThroughFilter);
            }
            !through_filter
        });
    let placed = light.map_or(0.0, |l| placed_stops(l, reading));
    let ev100 = match reading {
        None => None,
        Some(r) => Some(
            quantity::Ev100::from_ev(ev100_of(r, assumptions) - placed)
                .map_err(|e| failed(e.to_string()))?,
        ),
    };
    let constant = exposure::ReflectedConstant::from_k(assumptions.meter_k)
        .map_err(|e| failed(e.to_string()))?;
    let lens_factor = exposure::LensFactor::from_q(assumptions.lens_factor_q)
        .map_err(|e| failed(e.to_string()))?;
    let film = exposure::film_exposure(&exposure::FrameExposure {
        ev100,
        aperture: camera.aperture,
        time: actual,
        bellows,
        reciprocity: law.as_ref(),
        outside_law,
        constant,
        lens: lens_factor,
    })
    .map_err(|e| failed(with_causes(&e)))?;
    flags.extend(&film.flags);
    let effective_ei = film
        .exposure_index(constant, lens_factor)
        .map_err(|e| failed(e.to_string()))?;
    Ok(RecordedExposure {
        log_h: film.mid_tone.unwrap_or(film.camera).to_log10(),
        absolute: film.mid_tone.is_some(),
        effective_ei,
        decades_beyond_1_s,
        reciprocity_loss_log10: film.reciprocity_loss.to_delta_log_h(),
        reciprocity_stated: law.is_some(),
        time,
        flags,
    })
}

/// How many stops from the mid-tone the target of a reading was placed: the mid-tone's
/// EV is the reading's less this. Zero for light that falls on the subject, which has
/// no target. \[stops\]
pub(crate) fn placed_stops(light: &Light, reading: Option<LightReading>) -> f64 {
    match (&light.meter, reading) {
        (Some(meter), Some(LightReading::Ev100(_) | LightReading::Luminance(_)))
            if meter.mode != MeterMode::Incident =>
        {
            meter.placement.to_stops()
        }
        _ => 0.0,
    }
}

/// An error with what caused it, in one line.
fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}

/// A reading as EV at ISO 100, by the constants named in the assumptions.
fn ev100_of(reading: LightReading, assumptions: &Assumptions) -> f64 {
    match reading {
        LightReading::Ev100(ev) => ev.to_ev(),
        LightReading::Illuminance(e) => libm::log2(100.0 * e.to_lux() / assumptions.meter_c),
        LightReading::Luminance(l) => libm::log2(100.0 * l.to_cd_per_m2() / assumptions.meter_k),
    }
}
