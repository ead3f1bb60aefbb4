//! A beginning, followed from the smallest pictures to the full ones.

use super::chance::add_chance;
use super::error::RegistrationError;
use super::fit::Freedom;
use super::found::Registration;
use super::level::{Level, corners_of};
use super::placement::Placement;
use super::register::Motion;
use super::significance::{Agreement, agreeing, agreement_of, check};
use super::stride::Stride;

/// Rounds on each size but the last.
const ROUNDS: usize = 2;
/// Most rounds on the last size.
const LAST_ROUNDS: usize = 12;
/// How much better frames must agree with a tilt that was found on small pictures
/// than without it: those see few blocks.
const EARLY_TILT_GAIN: f64 = 1.05;

/// From which pictures on a tilt is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Tilt {
    Never,
    /// On the full ones.
    Late,
    /// On all: seen late, a large one has thrown the blocks off by more than they
    /// can see.
    Early,
}

/// Follows a beginning without a tilt and, where small pictures show one, with it.
pub(super) fn best_of(
    levels: &[Level<'_>],
    begin: Placement,
    motion: Motion,
) -> Result<Registration, RegistrationError> {
    if motion == Motion::Flat {
        return follow(levels, begin, Tilt::Never).0;
    }
    let (early, found_early) = follow(levels, begin, Tilt::Early);
    if !found_early {
        return early;
    }
    let (late, _) = follow(levels, begin, Tilt::Late);
    match (early, late) {
        (Ok(early), Ok(late)) => {
            if early.above_chance > EARLY_TILT_GAIN * late.above_chance {
                Ok(early)
            } else {
                Ok(late)
            }
        }
        (early, Err(_)) => early,
        (Err(_), late) => late,
    }
}

/// Follows a beginning from the smallest pictures to the full ones, and says
/// whether a tilt was found on smaller ones.
fn follow(
    levels: &[Level<'_>],
    start: Placement,
    tilt: Tilt,
) -> (Result<Registration, RegistrationError>, bool) {
    let mut freedom = Freedom::Similarity;
    match coarse(levels, start, tilt, &mut freedom) {
        Ok(begin) => {
            let early = freedom == Freedom::Projective;
            (finest(&levels[0], begin, tilt, freedom), early)
        }
        Err(error) => (Err(error), freedom == Freedom::Projective),
    }
}

pub(super) const LOST: RegistrationError = RegistrationError::TooFewBlocks {
    agreeing: 0,
    needed: 1,
};

/// Brings a beginning through all sizes but the full one.
fn coarse(
    levels: &[Level<'_>],
    start: Placement,
    tilt: Tilt,
    freedom: &mut Freedom,
) -> Result<(Placement, Stride), RegistrationError> {
    let (mut placement, mut stride) = (start, Stride::NEW);
    for (number, level) in levels.iter().enumerate().skip(1).rev() {
        let mut settled = level
            .settle(placement, *freedom, stride, ROUNDS)
            .ok_or(LOST)?;
        if tilt == Tilt::Early
            && *freedom == Freedom::Similarity
            && let Some(better) = level.tilted(&settled, ROUNDS)
        {
            (settled, *freedom) = (better, Freedom::Projective);
        }
        if number + 1 == levels.len() {
            // What is chance on the small pictures need not be followed.
            let mut blocks = settled.blocks.clone();
            add_chance(&mut blocks, &level.field, &settled.second_field);
            let agreement = agreement_of(&blocks);
            if agreement.above_chance < 3.0 {
                return Err(RegistrationError::TooLittleInCommon {
                    above_chance: agreement.above_chance,
                    needed: 3.0,
                });
            }
        }
        placement = settled.placement.scaled(2.0, 2.0);
        stride = settled.stride.on_larger();
    }
    Ok((placement, stride))
}

/// Settles a placement on the full pictures and asks whether it may be chance.
fn finest(
    level: &Level<'_>,
    (placement, stride): (Placement, Stride),
    tilt: Tilt,
    freedom: Freedom,
) -> Result<Registration, RegistrationError> {
    let mut settled = level
        .settle(placement, freedom, stride, LAST_ROUNDS)
        .ok_or(LOST)?;
    if tilt != Tilt::Never
        && freedom == Freedom::Similarity
        && let Some(better) = level.tilted(&settled, LAST_ROUNDS)
    {
        settled = better;
    }
    add_chance(&mut settled.blocks, &level.field, &settled.second_field);
    let agreement: Agreement = agreement_of(&settled.blocks);
    check(
        &settled.blocks,
        &settled.fit,
        agreement,
        &corners_of(&level.first),
        level.first.long_side() as f64,
    )?;
    Ok(Registration {
        scale: settled.placement.scale_at(level.first.centre()),
        unit: (1.0, 1.0),
        placement: settled.placement,
        agreement: agreement.share,
        above_chance: agreement.above_chance,
        blocks_agreeing: agreeing(&settled.fit),
        blocks: settled.blocks.len(),
        scatter_px: settled.fit.scatter,
        tilted: settled.fit.freedom == Freedom::Projective,
        fit: settled.fit,
    })
}
