//! Films whose sensitivity is absolute, in cm²/erg: the density it is for, and the speed.

use crate::AppError;
use crate::curve_file::fitted;
use crate::error::with_causes;
use crate::sun::{damaged, luminosity};
use quantity::{Density, Stops};
use sensitometry::CharacteristicCurve;
use spectra::{AbsoluteSpeed, Curve, CurveKind, at_other_density, speed_from_absolute};
use std::path::PathBuf;

/// Net density of the speed point.
pub(crate) const SPEED_POINT_DENSITY: f64 = 0.10;

/// What an absolute sensitivity is for.
#[derive(Clone, Debug, PartialEq)]
pub struct AbsoluteSensitivity {
    /// Density over base+fog that the sensitivity is for.
    pub net_density: f64,
    /// Readings of the film's own characteristic curve, to move from that density to 0.10.
    pub readings: Option<PathBuf>,
}

/// Moves a sensitivity along the film's curve to the density of the speed point.
///
/// # Errors
/// [`AppError`] without the readings that are needed, or when they don't reach both densities.
pub(crate) fn at_speed_point(
    printed: &Curve,
    of: &AbsoluteSensitivity,
    notes: &mut Vec<String>,
) -> Result<Curve, AppError> {
    let criterion = of.net_density;
    if !(criterion.is_finite() && criterion > 0.0) {
        return Err(AppError::new(
            format!("a sensitivity is for a density over base+fog, not for {criterion}"),
            "give a density greater than 0, as --film-absolute=1.0",
        ));
    }
    let Some(file) = &of.readings else {
        if (criterion - SPEED_POINT_DENSITY).abs() < 1e-9 {
            return Ok(printed.clone());
        }
        return Err(AppError::new(
            format!(
                "the film's sensitivity is for {criterion} over base+fog, and speed is counted at {SPEED_POINT_DENSITY:.2}"
            ),
            "give the film's own curve with --film-readings FILE.csv (log_h,density)",
        ));
    };
    let curve = fitted(file)?;
    let log_h = |net: f64| {
        log_h_at_net(&curve, net).map_err(|e| {
            AppError::new(
                format!("{}: {e}", file.display()),
                "give readings that reach both densities",
            )
        })
    };
    let apart = log_h(SPEED_POINT_DENSITY)?.to_log10() - log_h(criterion)?.to_log10();
    let higher = Stops::from_delta_log_h(apart).map_err(damaged)?;
    notes.push(format!(
        "film: moved from {criterion:.2} to {SPEED_POINT_DENSITY:.2} over base+fog along the curve of {}, {:+.2} log H, taken as the same at all wavelengths",
        file.display(),
        higher.to_delta_log_h()
    ));
    at_other_density(printed, higher).map_err(|e| AppError::new(format!("film: {e}"), ""))
}

/// log H of a density over base+fog.
fn log_h_at_net(curve: &CharacteristicCurve, net: f64) -> Result<quantity::LogExposure, String> {
    let base = curve.base_plus_fog().value().to_density();
    let gross = Density::gross(base + net).map_err(|e| e.to_string())?;
    let at = curve.log_h_at(gross).map_err(|e| with_causes(&e))?;
    Ok(at.value())
}

/// The speed of an absolute film in a light.
///
/// # Errors
/// [`AppError`] when light and film have nothing in common.
pub(crate) fn speed_in(film: &Curve, light: &Curve) -> Result<AbsoluteSpeed, AppError> {
    let eye = Curve::from_values(
        CurveKind::LuminousEfficiency,
        "V(λ), CIE 1924",
        &luminosity()?,
    )
    .map_err(damaged)?;
    speed_from_absolute(film, light, &eye).map_err(|e| {
        AppError::new(
            format!("speed of the film: {e}"),
            "give a light that film and eye see",
        )
    })
}
