//! Readings of a scan that no step tablet calibrates.
//!
//! What such a scan can say is the logarithm of a signal, or of its ratio to
//! that of clear film in the same scan. Both are values on a scale of their
//! own, never densities of the film; a clipped patch is a limit.
//!
//! Begin with [`relative_density`]; [`log_signal`] is for pictures whose signal
//! rises with exposure, such as a camera's frames.
//!
//! Symbols: v signal, 0 to 1.

use crate::patch::PatchStatistics;
use quantity::{Bound, Flag, Measured, NetDensity};

/// What the signal of a scan rises with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SignalRises {
    /// The light that the film lets through: a scan as a negative.
    #[default]
    WithLight,
    /// The density: a scan that was inverted.
    WithDensity,
}

/// Why no relative density can be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RelativeDensityError {
    /// A logarithm needs a signal: mend the outline of clear film.
    #[error("clear film reads no signal, so there is no logarithm of it")]
    NoSignal,
    /// Measure both patches with the same tone.
    #[error("one patch was measured with a known tone and the other without")]
    MixedTones,
}

/// A reading without a tablet.
#[derive(Clone, Debug, PartialEq)]
pub struct RelativeReading<T> {
    /// The value with uncertainty and flags.
    pub value: Measured<T>,
    /// On which side of the value the truth lies, when only that is known.
    pub limit: Option<Bound>,
}

/// Gives −log10 of a patch's signal over that of clear film: all that a scan
/// without a tablet can say.
///
/// `clear` are the patches of clear film in the same scan; their mean is taken.
/// Without any, the end of the scale stands for it, as it does in effect where
/// clear film is clipped. The clear film's uncertainty is joined, also in its
/// own reading, which is thereby stated too large and never too small.
///
/// An inverted scan is read by 1 − v. That is its light only where the codes
/// were linear when they were inverted; otherwise it is an index that keeps the
/// order of densities, as with an unknown tone.
///
/// Carries [`Flag::Uncalibrated`] and [`Flag::RelativeDensity`], with an unknown
/// tone [`Flag::UnknownTone`] and in an inverted scan [`Flag::SignalReversed`].
/// Flare makes it smaller than the density difference, by 0.14 at D 2.4 for
/// 0.15 % of flare. A patch that is clipped or has no signal is a limit; at the
/// dark end by a code more than its mean, since no code tells those apart.
///
/// # Errors
/// [`RelativeDensityError`] when clear film reads no signal, or the patches were
/// measured with different tones.
pub fn relative_density(
    patch: &PatchStatistics,
    clear: &[&PatchStatistics],
    rises: SignalRises,
) -> Result<RelativeReading<NetDensity>, RelativeDensityError> {
    if clear.iter().any(|c| c.tone_known != patch.tone_known) {
        return Err(RelativeDensityError::MixedTones);
    }
    let (clear_log, clear_uncertainty) = clear_log(clear, rises)?;
    let log = log_of(patch, rises);
    let Ok(density) = NetDensity::new(clear_log - log.value) else {
        unreachable!("logarithms of signals above 0 are finite");
    };
    let mut value = Measured::new(density, log.standard_uncertainty.hypot(clear_uncertainty))
        .flagged_all(&patch.flags)
        .flagged(Flag::Uncalibrated)
        .flagged(Flag::RelativeDensity);
    if !patch.tone_known {
        value = value.flagged(Flag::UnknownTone);
    }
    if rises == SignalRises::WithDensity {
        value = value.flagged(Flag::SignalReversed);
    }
    let limit = match log.end {
        None => None,
        Some(End::Dark) => Some(Bound::AtLeast),
        Some(End::Light) => Some(Bound::AtMost),
    };
    Ok(RelativeReading { value, limit })
}

/// Gives log10 of a patch's signal; a clipped patch is a limit, at the dark end
/// by a code more than its mean.
#[must_use]
pub fn log_signal(patch: &PatchStatistics) -> RelativeReading<f64> {
    let log = log_of(patch, SignalRises::WithLight);
    RelativeReading {
        value: Measured::new(log.value, log.standard_uncertainty).flagged_all(&patch.flags),
        limit: match log.end {
            None => None,
            Some(End::Dark) => Some(Bound::AtMost),
            Some(End::Light) => Some(Bound::AtLeast),
        },
    }
}

/// The end of the scale that a patch is clipped at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Dark,
    Light,
}

/// log10 of a light, with where it is only a limit.
struct Log {
    value: f64,
    standard_uncertainty: f64,
    end: Option<End>,
}

fn light(signal: f64, rises: SignalRises) -> f64 {
    match rises {
        SignalRises::WithLight => signal,
        SignalRises::WithDensity => 1.0 - signal,
    }
}

/// The smallest signal that is told from none: one code.
fn one_code(patch: &PatchStatistics) -> f64 {
    patch.signal_per_code.max(1e-9)
}

/// Less than a hundredth of a code is no signal: rounding of 1 − v.
fn is_signal(light: f64, one_code: f64) -> bool {
    light > 0.01 * one_code
}

fn log_of(patch: &PatchStatistics, rises: SignalRises) -> Log {
    let (light, code) = (light(patch.signal, rises), one_code(patch));
    let end = if !is_signal(light, code) {
        Some(End::Dark)
    } else if !patch.clipped() {
        None
    } else {
        let dark = if patch.at_zero_share == patch.at_max_share {
            light < 0.5
        } else {
            (patch.at_zero_share > patch.at_max_share) == (rises == SignalRises::WithLight)
        };
        Some(if dark { End::Dark } else { End::Light })
    };
    let seen = match end {
        // Pixels at the end may be anything up to a code above the mean.
        Some(End::Dark) => light.max(0.0) + code,
        _ => light,
    };
    Log {
        value: libm::log10(seen),
        standard_uncertainty: patch.signal_uncertainty / light.max(code)
            * core::f64::consts::LOG10_E,
        end,
    }
}

/// log10 of the mean light of clear film, with its standard uncertainty; the
/// end of the scale without any.
fn clear_log(
    clear: &[&PatchStatistics],
    rises: SignalRises,
) -> Result<(f64, f64), RelativeDensityError> {
    if clear.is_empty() {
        return Ok((0.0, 0.0));
    }
    let count = clear.len() as f64;
    let mean = |of: &dyn Fn(&PatchStatistics) -> f64| {
        clear.iter().map(|patch| of(patch)).sum::<f64>() / count
    };
    let signal = mean(&|patch| light(patch.signal, rises));
    if !is_signal(signal, mean(&one_code)) {
        return Err(RelativeDensityError::NoSignal);
    }
    let variance = mean(&|patch| patch.signal_uncertainty * patch.signal_uncertainty) / count;
    Ok((
        libm::log10(signal),
        variance.sqrt() / signal * core::f64::consts::LOG10_E,
    ))
}
