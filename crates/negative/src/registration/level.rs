//! One size of the two pictures, and a placement moved on it until it settles.

use super::blocks::{Block, blocks_of};
use super::field::Field;
use super::fit::{Fit, Freedom, Measure, fit};
use super::halving::GreyPicture;
use super::placement::Placement;
use super::stride::Stride;
use super::warp::Laying;
use std::borrow::Cow;

/// Long side of the pictures that are searched through, at most.
const SEARCHED_SIDE: usize = 192;
/// Short side that is not halved.
const LEAST_SIDE: usize = 64;
/// A step is the last when it leaves less than this of the way, on the full pictures and
/// on smaller ones. \[pixels\]
const SETTLED: f64 = 0.002;
const SETTLED_SMALLER: f64 = 0.01;
/// Gain of the fit for which a tilt of the camera is believed: χ² of the four
/// more numbers, for each unit of scatter.
const TILT_GAIN: f64 = 25.0;

/// Both pictures at one size.
pub(super) struct Level<'a> {
    pub(super) first: Cow<'a, GreyPicture>,
    pub(super) second: Cow<'a, GreyPicture>,
    /// The field of the first.
    pub(super) field: Field,
    /// Whether these are the pictures as given, not halved.
    finest: bool,
}

/// What is left after moving on one size.
pub(super) struct Settled {
    pub(super) placement: Placement,
    pub(super) blocks: Vec<Block>,
    pub(super) fit: Fit,
    /// The field of the second picture as it was laid on the first.
    pub(super) second_field: Field,
    pub(super) stride: Stride,
}

/// Gives both pictures as they are, and halved until they are small.
pub(super) fn levels_of<'a>(first: &'a GreyPicture, second: &'a GreyPicture) -> Vec<Level<'a>> {
    let mut levels = vec![Level::new(
        Cow::Borrowed(first),
        Cow::Borrowed(second),
        true,
    )];
    while let Some(last) = levels.last()
        && last.first.long_side() > SEARCHED_SIDE
        && last.first.short_side() >= LEAST_SIDE
        && last.second.short_side() >= LEAST_SIDE
    {
        let halved = |picture: &GreyPicture| Cow::Owned(picture.halved());
        let level = Level::new(halved(&last.first), halved(&last.second), false);
        levels.push(level);
    }
    levels
}

fn measure_of(picture: &GreyPicture) -> Measure {
    Measure {
        middle: picture.centre(),
        half: 0.5 * picture.long_side() as f64,
    }
}

pub(super) fn corners_of(picture: &GreyPicture) -> [(f64, f64); 4] {
    let (w, h) = (picture.width as f64, picture.height as f64);
    [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]
}

impl<'a> Level<'a> {
    fn new(first: Cow<'a, GreyPicture>, second: Cow<'a, GreyPicture>, finest: bool) -> Self {
        let field = Field::of(&*first);
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
    pub(super) fn tilted(&self, settled: &Settled, rounds: usize) -> Option<Settled> {
        let tilt = fit(
            &settled.blocks,
            Freedom::Projective,
            measure_of(&self.first),
        )?;
        if gain(settled, &tilt) <= TILT_GAIN {
            return None;
        }
        self.settle(
            settled.placement,
            Freedom::Projective,
            settled.stride,
            rounds,
        )
    }

    /// Moves a placement until it settles, at most so many rounds.
    pub(super) fn settle(
        &self,
        mut placement: Placement,
        freedom: Freedom,
        mut stride: Stride,
        rounds: usize,
    ) -> Option<Settled> {
        let measure = measure_of(&self.first);
        let settled = if self.finest {
            SETTLED
        } else {
            SETTLED_SMALLER
        };
        let mut last: Option<Settled> = None;
        for _ in 0..rounds {
            let laying = Laying {
                second: &self.second,
                placement,
                width: self.first.width,
                height: self.first.height,
            };
            let (second_field, before) = match last.take() {
                Some(last) => (last.second_field.renewed(&laying), Some(last.fit.numbers)),
                None => (Field::of(&laying), None),
            };
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
            if let Some(before) = before {
                stride = stride.seen(&before, &fit.numbers);
            }
            placement = placement.after(&fit.placement(stride.share())?);
            last = Some(Settled {
                placement,
                blocks,
                fit,
                second_field,
                stride,
            });
            if stride.left_of(step) < settled {
                break;
            }
        }
        last
    }
}

/// How much better a tilt explains the blocks, in χ² with the scatter that is
/// left with it.
fn gain(settled: &Settled, tilt: &Fit) -> f64 {
    settled.fit.chi_square_with(&settled.blocks, tilt.scatter) - tilt.chi_square
}
