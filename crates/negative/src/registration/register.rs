//! Lays one picture on another, from coarse to fine.

use super::RegistrationError;
use super::blocks::{Block, add_chance, blocks_of};
use super::field::{Field, field_of};
use super::fit::{Fit, Freedom, Measure, fit};
use super::halving::GreyPicture;
use super::placement::Placement;
use super::search::FirstPlace;
use super::significance::{Agreement, SURE, agreeing, agreement_of, blank, check};
use super::warp::laid_on;

/// Long side of the pictures that are searched through, at most.
const SEARCHED_SIDE: usize = 192;
/// How far a peak of the search must stand out to be followed first.
const PLAIN_PEAK: f64 = 5.5;
/// Rounds on each size but the last.
const ROUNDS: usize = 2;
/// Most rounds on the last size.
const LAST_ROUNDS: usize = 12;
/// A step below this is the last: what it leaves is smaller by as much again.
/// \[pixels\]
const SETTLED: f64 = 0.004;
/// Gain of the fit for which a tilt of the camera is believed: χ² of the four
/// more numbers, for each unit of scatter.
const TILT_GAIN: f64 = 25.0;
/// Part of the unevenness from block to block that a mean of neighbours keeps:
/// neighbours may err alike.
const SHARED_SCATTER: f64 = 0.25;

/// How far strong edges of one subject may lie apart behind two filters, all of
/// them together and unseen by what blocks leave over: the softness of lens and
/// film moves an edge towards its dark side, which changes with the filter. One
/// standard deviation where the frames share nothing; found on made frames, whose
/// edges are 0.05 to 0.1 apart in grain, not derived. \[pixels compared\]
const EDGES_APART: f64 = 0.1;

/// How much better frames must agree with a tilt that was found on small pictures
/// than without it: those see few blocks.
const EARLY_TILT_GAIN: f64 = 1.05;

/// What may lie between two frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Shift, rotation and scale: flat scans.
    Flat,
    /// These, and a tilt of the camera where the frames show one.
    Tilted,
}

/// Where one picture lies on another, and how well that is known.
#[derive(Clone, Debug)]
pub struct Registration {
    placement: Placement,
    fit: Fit,
    /// Scale from first to second picture as they were compared.
    scale: f64,
    /// Pixels now given over pixels compared, in each picture.
    unit: (f64, f64),
    /// Correlation of the edge directions of both pictures, less that of
    /// chance: 1 for equal pictures. \[-\]
    pub agreement: f64,
    /// The same in standard deviations of chance. \[-\]
    pub above_chance: f64,
    /// Blocks that agree with the placement.
    pub blocks_agreeing: usize,
    /// All blocks.
    pub blocks: usize,
    /// Unevenness from block to block, beyond noise. \[pixels of the first picture\]
    pub scatter_px: f64,
    /// Whether a tilt of the camera was found and taken out.
    pub tilted: bool,
}

impl Registration {
    /// Gives where points of the first picture lie in the second.
    #[must_use]
    pub fn placement(&self) -> Placement {
        self.placement
    }

    /// Gives the standard uncertainty of where a point of the first picture
    /// lies in the second, along the worse direction. \[pixels of the second\]
    #[must_use]
    pub fn uncertainty_px(&self, point: (f64, f64)) -> f64 {
        let compared = (point.0 / self.unit.0, point.1 / self.unit.0);
        let fitted = self.fit.uncertainty(compared);
        let shared = SHARED_SCATTER * self.fit.scatter;
        let edges = EDGES_APART * (1.0 - self.agreement).clamp(0.0, 1.0);
        self.unit.1 * self.scale * libm::hypot(fitted, libm::hypot(shared, edges))
    }

    /// Gives the same registration for pictures whose coordinates are `first`
    /// and `second` times as large: for scans, of which reduced pictures were
    /// compared.
    #[must_use]
    pub fn scaled(&self, first: f64, second: f64) -> Self {
        Self {
            placement: self.placement.scaled(first, second),
            unit: (self.unit.0 * first, self.unit.1 * second),
            scatter_px: self.scatter_px * first,
            ..self.clone()
        }
    }
}

struct Level {
    first: GreyPicture,
    second: GreyPicture,
    field: Field,
    /// Whether these are the pictures as given, not halved.
    finest: bool,
}

/// What is left after moving on one size.
struct Settled {
    placement: Placement,
    blocks: Vec<Block>,
    fit: Fit,
    second_field: Field,
}

fn measure_of(picture: &GreyPicture) -> Measure {
    Measure {
        middle: picture.centre(),
        half: 0.5 * picture.long_side() as f64,
    }
}

fn corners_of(picture: &GreyPicture) -> [(f64, f64); 4] {
    let (w, h) = (picture.width as f64, picture.height as f64);
    [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]
}

impl Level {
    fn new(first: GreyPicture, second: GreyPicture, finest: bool) -> Self {
        let field = field_of(&first);
        Self {
            first,
            second,
            field,
            finest,
        }
    }

    /// Says by which curvature each block is weighed.
    fn weigh(&self, blocks: &mut [Block]) {
        if !self.finest {
            // Far from the peak a curvature may be the wrong way round.
            for block in blocks {
                block.curvature = block.curvature.without_negative();
                block.expected = block.curvature;
            }
            return;
        }
        // Of the fields' own curvature, as much as the fields agree there: this
        // is known far better than the curvature they have in common.
        for block in blocks {
            block.expected = block.own.times(block.agreement.max(0.0));
        }
    }

    /// Takes out the tilt of a camera, where the blocks show one.
    fn tilted(&self, settled: &Settled, rounds: usize) -> Option<Settled> {
        let tilt = fit(
            &settled.blocks,
            Freedom::Projective,
            measure_of(&self.first),
        )?;
        if gain(settled, &tilt) <= TILT_GAIN {
            return None;
        }
        self.settle(settled.placement, Freedom::Projective, rounds)
    }

    /// Moves a placement until it settles, at most so many rounds.
    fn settle(&self, mut placement: Placement, freedom: Freedom, rounds: usize) -> Option<Settled> {
        let measure = measure_of(&self.first);
        let mut last = None;
        for _ in 0..rounds {
            let laid = laid_on(
                &self.second,
                &placement,
                self.first.width,
                self.first.height,
            );
            let second_field = field_of(&laid);
            let mut blocks = blocks_of(&self.field, &second_field);
            self.weigh(&mut blocks);
            let fit = fit(&blocks, freedom, measure)?;
            let step = corners_of(&self.first)
                .iter()
                .map(|c| fit.shift(*c))
                .map(|(x, y)| libm::hypot(x, y))
                .fold(0.0, f64::max);
            // A wrong beginning asks for a leap; that is for the search.
            if step > 0.25 * measure.half {
                return None;
            }
            placement = placement.after(&fit.placement()?);
            last = Some(Settled {
                placement,
                blocks,
                fit,
                second_field,
            });
            if step < SETTLED {
                break;
            }
        }
        last
    }
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
    let search = FirstPlace::new(&small.first, &small.second);
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
    let upright = FirstPlace::new(&small.first, &small.second).upright();
    if upright.height <= PLAIN_PEAK {
        return Err(LOST);
    }
    best_of(&levels, upright.placement, motion)
}

/// Both pictures, and halved until a place can be searched on them.
fn levels_of(first: &GreyPicture, second: &GreyPicture) -> Vec<Level> {
    let mut levels = vec![Level::new(first.clone(), second.clone(), true)];
    while let Some(last) = levels.last()
        && last.first.long_side() > SEARCHED_SIDE
        && last.first.width.min(last.first.height) >= 64
        && last.second.width.min(last.second.height) >= 64
    {
        let level = Level::new(last.first.halved(), last.second.halved(), false);
        levels.push(level);
    }
    levels
}

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
fn best_of(
    levels: &[Level],
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
    levels: &[Level],
    start: Placement,
    tilt: Tilt,
) -> (Result<Registration, RegistrationError>, bool) {
    let mut freedom = Freedom::Similarity;
    match coarse(levels, start, tilt, &mut freedom) {
        Ok(placement) => {
            let early = freedom == Freedom::Projective;
            (finest(&levels[0], placement, tilt, freedom), early)
        }
        Err(error) => (Err(error), freedom == Freedom::Projective),
    }
}

const LOST: RegistrationError = RegistrationError::TooFewBlocks {
    agreeing: 0,
    needed: 1,
};

/// Brings a beginning through all sizes but the full one.
fn coarse(
    levels: &[Level],
    start: Placement,
    tilt: Tilt,
    freedom: &mut Freedom,
) -> Result<Placement, RegistrationError> {
    let mut placement = start;
    for (number, level) in levels.iter().enumerate().skip(1).rev() {
        let mut settled = level.settle(placement, *freedom, ROUNDS).ok_or(LOST)?;
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
    }
    Ok(placement)
}

/// Settles a placement on the full pictures and asks whether it may be chance.
fn finest(
    level: &Level,
    placement: Placement,
    tilt: Tilt,
    freedom: Freedom,
) -> Result<Registration, RegistrationError> {
    let mut settled = level.settle(placement, freedom, LAST_ROUNDS).ok_or(LOST)?;
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

/// How much better a tilt explains the blocks, in χ² with the scatter that is
/// left with it.
fn gain(settled: &Settled, tilt: &Fit) -> f64 {
    settled.fit.chi_square_with(&settled.blocks, tilt.scatter) - tilt.chi_square
}
