//! Lays one picture on another, from coarse to fine.

use super::RegistrationError;
use super::follow::{LOST, best_of};
use super::found::Registration;
use super::halving::GreyPicture;
use super::level::levels_of;
use super::placement::Placement;
use super::search::FirstPlace;
use super::significance::{SURE, blank};

/// How far a peak of the search must stand out to be followed first.
const PLAIN_PEAK: f64 = 5.5;

/// What may lie between two frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Shift, rotation and scale: flat scans.
    Flat,
    /// These, and a tilt of the camera where the frames show one.
    Tilted,
}

/// Gives where each point of the first picture lies in the second.
///
/// Densities, or logarithms of signals, are compared by the directions of their
/// edges without sign, so what is light in one frame may be dark in the other.
/// Shifts of up to 0.3 of the sides are found, rotations of up to 9° and scales
/// of up to 12 % from that of the sizes.
///
/// # Errors
/// [`RegistrationError`] when a picture is too small or too blank, when the two
/// have too little in common, and when what was found can't be told from chance.
pub fn register(
    first: &GreyPicture,
    second: &GreyPicture,
    motion: Motion,
) -> Result<Registration, RegistrationError> {
    let levels = levels_of(first, second);
    let halvings = levels.len() as u32 - 1;
    let small = &levels[levels.len() - 1];
    let search = FirstPlace::new(&small.field, &small.first, &small.second);
    let upright = search.upright();
    let mut refusal = None;
    // A place that stands far above chance is taken at once; one that stands a
    // little above it only when no other beginning leads to a better one.
    let mut best: Option<Registration> = None;
    let mut sure = |begin: Placement| {
        match best_of(&levels, begin, motion) {
            Ok(found) => {
                if best
                    .as_ref()
                    .is_none_or(|b| found.above_chance > b.above_chance)
                {
                    best = Some(found);
                }
            }
            Err(error) => refusal = refusal.take().or(Some(error)),
        }
        best.as_ref().is_some_and(|b| b.above_chance >= SURE)
    };
    let found = upright.height > PLAIN_PEAK && sure(upright.placement);
    if !found {
        for candidate in search.turned() {
            if sure(candidate.placement) {
                break;
            }
        }
    }
    if let Some(best) = best {
        return Ok(best);
    }
    // Grain is told at half the size: at full size a scanner's softness hides it.
    let fine = &levels[levels.len().min(2) - 1];
    let halvings = halvings.saturating_sub(1);
    Err(blank(&fine.first, &small.first, halvings, "first")
        .or_else(|| blank(&fine.second, &small.second, halvings, "second"))
        .or(refusal)
        .unwrap_or(LOST))
}

/// Gives the same for frames that lie hardly turned, without looking for more.
///
/// One beginning is followed instead of up to four, so it takes a quarter of the time
/// where a frame does not stand far above chance. A subject that repeats itself may
/// then be laid one repeat off: look at how many blocks agree.
///
/// # Errors
/// [`RegistrationError`] when this beginning leads nowhere; [`register`] may yet find
/// a place, and says why not.
pub fn register_upright(
    first: &GreyPicture,
    second: &GreyPicture,
    motion: Motion,
) -> Result<Registration, RegistrationError> {
    let levels = levels_of(first, second);
    let small = &levels[levels.len() - 1];
    let upright = FirstPlace::new(&small.field, &small.first, &small.second).upright();
    if upright.height <= PLAIN_PEAK {
        return Err(LOST);
    }
    best_of(&levels, upright.placement, motion)
}
