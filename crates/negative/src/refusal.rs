//! Calibrations that can't be right, and are not used.
//!
//! A calibration that is a little off widens its readings
//! ([`crate::calibration::TabletMisfit`]); one whose outlines lie on the wrong
//! steps is an error that all patches and often all scans share, and no
//! uncertainty makes up for it. Such a scan has relative readings only.
//!
//! Begin with [`refused_by_tablet`]; [`refused_by_clear_film`] asks the film.

use crate::calibration::Calibration;
use crate::honesty::HonestyFinding;
use crate::patch::PatchStatistics;
use quantity::Flag;

/// Lowest gross density of film: two surfaces of index 1.5 reflect 8 % of the
/// light, a density of 0.036, before base or fog. \[density\]
const CLEAREST_FILM: f64 = 0.03;

/// Share of uneven steps from which a tablet's outlines are not believed.
const STRADDLING_SHARE: f64 = 0.5;

/// Why a calibration is not used.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationRefusal {
    /// Move the outlines of the steps.
    #[error(
        "the outlines of its tablet seem to lie {} off, so that each step is taken for another",
        steps_words(*steps)
    )]
    Moved {
        /// Steps from the outline given to the step it shows.
        steps: isize,
    },
    /// Move the outlines off the edges between steps.
    #[error("the outlines of its tablet seem to lie across two steps each")]
    AcrossSteps,
    /// Mend the outline of the lightest step, or leave it out.
    #[error(
        "the outline of its tablet's lightest step seems to lie beside that step, and then all others may be a step off"
    )]
    BesideLightestStep,
    /// Mend the outlines, or give the table of the tablet that was scanned.
    #[error(
        "its clear film would be clearer than any film; the tablet's outlines may lie a step off, or the table be another tablet's"
    )]
    ClearerThanFilm {
        /// What clear film reads. \[density\]
        density: f64,
        /// Its standard uncertainty. \[density\]
        standard_uncertainty: f64,
    },
}

fn steps_words(steps: isize) -> String {
    let count = steps.unsigned_abs();
    format!("{count} step{}", if count == 1 { "" } else { "s" })
}

impl CalibrationRefusal {
    /// Gives the finding it makes of the scan; none where the misfit of the
    /// tablet is one already.
    #[must_use]
    pub fn finding(&self) -> Option<HonestyFinding> {
        let Self::ClearerThanFilm {
            density,
            standard_uncertainty,
        } = self
        else {
            return None;
        };
        Some(HonestyFinding::new(
            Flag::TabletMisfit,
            format!(
                "clear film reads a density of {density:.3} ± {standard_uncertainty:.3} by the tablet, but no film is below \
                 {CLEAREST_FILM}: the calibration seems to be off"
            ),
        ))
    }
}

/// Tells whether a tablet's own readings show that its outlines lie on the
/// wrong steps: the table fits when it is moved, half of the steps lie across
/// two, or the lightest step does not go on as the next.
#[must_use]
pub fn refused_by_tablet(calibration: &Calibration) -> Option<CalibrationRefusal> {
    let misfit = calibration.misfit()?;
    if let Some((steps, _)) = misfit.moved {
        Some(CalibrationRefusal::Moved { steps })
    } else if misfit.straddling && misfit.uneven_share >= STRADDLING_SHARE {
        Some(CalibrationRefusal::AcrossSteps)
    } else if misfit.light_end_off {
        Some(CalibrationRefusal::BesideLightestStep)
    } else {
        None
    }
}

/// Tells whether clear film reads clearer than film can be.
#[must_use]
pub fn refused_by_clear_film(
    calibration: &Calibration,
    clear: &[&PatchStatistics],
) -> Option<CalibrationRefusal> {
    let (density, standard_uncertainty) = clear_density(calibration, clear)?;
    (density < CLEAREST_FILM).then_some(CalibrationRefusal::ClearerThanFilm {
        density,
        standard_uncertainty,
    })
}

/// Gives the density of clear film for checks, with its standard uncertainty:
/// the mean of the patches that can be read; none if none can.
#[must_use]
pub fn clear_density(calibration: &Calibration, clear: &[&PatchStatistics]) -> Option<(f64, f64)> {
    let found: Vec<(f64, f64)> = clear
        .iter()
        .filter_map(|patch| calibration.density_to_check(patch))
        .collect();
    let count = found.len() as f64;
    (!found.is_empty()).then(|| {
        (
            found.iter().map(|f| f.0).sum::<f64>() / count,
            // Largely the tablet's, and so common to the patches.
            found.iter().map(|f| f.1).sum::<f64>() / count,
        )
    })
}
