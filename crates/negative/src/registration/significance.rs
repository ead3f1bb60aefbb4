//! Whether what was found is more than chance.

use super::RegistrationError;
use super::blocks::Block;
use super::fit::{Fit, Freedom, Measure, fit};
use super::halving::GreyPicture;
use core::ops::Range;

/// Agreement over that of wrong places, in standard deviations, that is asked
/// for. Chance alone would reach about 4.5 in some ten thousand places.
const ABOVE_CHANCE: f64 = 8.0;
/// Agreement from which a place is taken without looking for a better one. A wrong
/// rotation lets long edges agree here and there: on made frames such places
/// reached 34 (12 pixels off in a pair of 2000). Found on 30 made pairs, not derived.
pub(super) const SURE: f64 = 45.0;
/// Blocks that must agree.
const AGREEING_BLOCKS: usize = 8;
/// Share of the weight of a block from which it agrees.
const AGREES: f64 = 0.25;
/// Largest standard uncertainty at a corner, as a share of the long side: 2.5
/// pixels of 2000.
const ALLOWED_SHARE: f64 = 1.25e-3;
/// How far halves may be apart, in standard uncertainties of their difference.
const HALVES_APART: f64 = 5.0;
/// Edges must stand above grain so many times, else a picture is blank: grain that
/// hangs together over a few pixels shrinks half as fast as is reckoned.
const BLANK_BELOW: f64 = 3.0;
/// Fields across and down in which a blank picture is looked at; the outermost
/// are left out.
const FIELDS: usize = 8;
/// Share of the fields that must be empty in a blank picture.
const EMPTY_FIELDS: f64 = 0.75;

/// Agreement of the fields beside that of chance.
#[derive(Clone, Copy, Debug)]
pub(super) struct Agreement {
    /// Correlation of the fields, less that of chance.
    pub(super) share: f64,
    /// The same in standard deviations of chance.
    pub(super) above_chance: f64,
}

/// Compares the fields where they were laid with them a block and a half away.
pub(super) fn agreement_of(blocks: &[Block]) -> Agreement {
    let (mut both, mut first, mut second) = (0.0, 0.0, 0.0);
    let (mut chance, mut squares) = (0.0, 0.0);
    for block in blocks {
        both += block.both;
        first += block.first;
        second += block.second;
        let mean = block.elsewhere.iter().sum::<f64>() / 4.0;
        chance += mean;
        squares += block.elsewhere.iter().map(|e| e * e).sum::<f64>() / 4.0;
    }
    let energy = libm::sqrt(first * second);
    if energy <= 0.0 {
        return Agreement {
            share: 0.0,
            above_chance: 0.0,
        };
    }
    Agreement {
        share: (both - chance) / energy,
        above_chance: (both - chance) / libm::sqrt(squares).max(1e-9),
    }
}

/// Counts the blocks that agree with a fit.
pub(super) fn agreeing(fit: &Fit) -> usize {
    fit.weights.iter().filter(|w| **w > AGREES).count()
}

/// Refuses what may be chance.
pub(super) fn check(
    blocks: &[Block],
    fitted: &Fit,
    agreement: Agreement,
    corners: &[(f64, f64)],
    long_side: f64,
) -> Result<(), RegistrationError> {
    if agreement.above_chance < ABOVE_CHANCE {
        return Err(RegistrationError::TooLittleInCommon {
            above_chance: agreement.above_chance,
            needed: ABOVE_CHANCE,
        });
    }
    let found = agreeing(fitted);
    if found < AGREEING_BLOCKS {
        return Err(RegistrationError::TooFewBlocks {
            agreeing: found,
            needed: AGREEING_BLOCKS,
        });
    }
    let allowed_px = ALLOWED_SHARE * long_side;
    let worst = |fit: &Fit| {
        corners
            .iter()
            .map(|c| fit.uncertainty(*c))
            .fold(0.0, f64::max)
    };
    let uncertainty_px = worst(fitted);
    if uncertainty_px.is_nan() || uncertainty_px > allowed_px {
        return Err(RegistrationError::TooUncertain {
            uncertainty_px,
            allowed_px,
        });
    }
    // Every other block, as on a chessboard.
    let half = |parity: usize| -> Vec<Block> {
        blocks
            .iter()
            .filter(|b| (b.column + b.row) % 2 == parity)
            .copied()
            .collect()
    };
    let freedom = match fitted.freedom {
        Freedom::Projective => Freedom::Similarity,
        other => other,
    };
    let measure: Measure = fitted.measure;
    let halves = (
        fit(&half(0), freedom, measure),
        fit(&half(1), freedom, measure),
    );
    let (Some(even), Some(odd)) = halves else {
        return Err(RegistrationError::TooFewBlocks {
            agreeing: found,
            needed: 2 * AGREEING_BLOCKS,
        });
    };
    for corner in corners {
        let (a, b) = (even.shift(*corner), odd.shift(*corner));
        let apart_px = libm::hypot(a.0 - b.0, a.1 - b.1);
        let chance = libm::hypot(even.uncertainty(*corner), odd.uncertainty(*corner));
        let allowed_px = HALVES_APART * chance + 0.1 * allowed_px;
        if apart_px > allowed_px {
            return Err(RegistrationError::HalvesDisagree {
                apart_px,
                allowed_px,
            });
        }
    }
    Ok(())
}

/// a − b − c + d of two by two pixels, halved, in size: flat and sloping parts give
/// 0, independent noise of σ gives σ.
fn differences(picture: &GreyPicture, columns: Range<usize>, rows: Range<usize>) -> Vec<f32> {
    let line = |y: usize| &picture.values[y * picture.width..][columns.clone()];
    let mut all: Vec<f32> = rows
        .clone()
        .zip(rows.skip(1))
        .flat_map(|(upper, lower)| {
            line(upper)
                .windows(2)
                .zip(line(lower).windows(2))
                .map(|(a, b)| 0.5 * (a[0] - a[1] - b[0] + b[1]).abs())
        })
        .filter(|d| d.is_finite())
        .collect();
    all.sort_by(f32::total_cmp);
    all
}

/// The value below which a share of sorted ones lies.
fn quantile(sorted: &[f32], share: f64) -> f64 {
    let place = (share * sorted.len() as f64) as usize;
    sorted
        .get(place.min(sorted.len().saturating_sub(1)))
        .map_or(0.0, |d| f64::from(*d))
}

/// Tells a blank picture: edges and tones over what grain leaves of itself after
/// halving. `halvings` is how often `small` was halved from `full`.
///
/// It is asked of fields within the picture, so that the edge of a film, which an
/// empty sheet has as well, does not pass for a subject.
pub(super) fn blank(
    full: &GreyPicture,
    small: &GreyPicture,
    halvings: u32,
    which: &'static str,
) -> Option<RegistrationError> {
    // 1.4826 makes a standard deviation of a median; nine tenths lie below 1.645.
    let fine = 1.4826 * quantile(&differences(full, 0..full.width, 0..full.height), 0.5);
    let grain = fine / f64::from(1_u32 << halvings);
    let cut = |k: usize, length: usize| k * length / FIELDS;
    let mut contrasts: Vec<f32> = (1..FIELDS - 1)
        .flat_map(|row| (1..FIELDS - 1).map(move |column| (column, row)))
        .map(|(column, row)| {
            let columns = cut(column, small.width)..cut(column + 1, small.width);
            let rows = cut(row, small.height)..cut(row + 1, small.height);
            quantile(&differences(small, columns, rows), 0.9) as f32 / 1.645
        })
        .collect();
    contrasts.sort_by(f32::total_cmp);
    let contrast = quantile(&contrasts, EMPTY_FIELDS);
    (contrast <= BLANK_BELOW * grain || contrast < 1e-6).then_some(RegistrationError::TooBlank {
        which,
        contrast,
        grain,
    })
}
