//! One motion through what all blocks say.
//!
//! A block with slope b and curvature A asks for a shift d by A·d = b. The
//! covariance of b is what noise makes, plus what a true unevenness of σ pixels
//! from block to block makes, σ²·A². σ is found from the scatter of the
//! blocks; blocks far outside lose their weight. A is itself noisy, and weighed by
//! it a block would count for more where noise makes it large, so that every step
//! fell short. So a block is weighed by a curvature Â that is expected of it: the
//! numbers θ solve Σ Jᵀ·Â·S⁻¹·(b − A·J·θ) = 0, in which A stands once.

use super::blocks::Block;
use super::symmetric::Symmetric;
use nalgebra::{DMatrix, DVector};
use std::collections::BTreeMap;

/// Beyond this many standard deviations a block has no weight (Tukey's biweight
/// keeps 95 % of the efficiency at 4.685).
const OUTSIDE: f64 = 4.685;
/// Rounds of weights.
const ROUNDS: usize = 5;
/// Median of χ² with two degrees of freedom: 2·ln 2.
const MEDIAN_CHI_SQUARE: f64 = 1.386;
/// Largest unevenness that is looked for. \[pixels\]
const LARGEST_SCATTER: f64 = 8.0;
/// Halvings of that range: to 0.002 pixels.
const HALVINGS: usize = 12;

/// Regions of the picture, across and down, within which blocks may err alike.
const REGIONS: (usize, usize) = (5, 4);

/// How many numbers a motion has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Freedom {
    /// A shift, a rotation and a scale.
    Similarity,
    /// Four corners that go their own ways.
    Projective,
}

impl Freedom {
    pub(super) fn count(self) -> usize {
        match self {
            Self::Similarity => 4,
            Self::Projective => 8,
        }
    }

    /// How the shift at a point follows from the numbers: rows x and y. The
    /// point is measured from the middle, in half sides.
    fn rows(self, (x, y): (f64, f64)) -> [[f64; 8]; 2] {
        match self {
            Self::Similarity => [
                [1.0, 0.0, x, -y, 0.0, 0.0, 0.0, 0.0],
                [0.0, 1.0, y, x, 0.0, 0.0, 0.0, 0.0],
            ],
            Self::Projective => [
                [1.0, 0.0, x, -y, x, y, x * x, x * y],
                [0.0, 1.0, y, x, -y, x, x * y, y * y],
            ],
        }
    }
}

/// The middle of a picture and half its long side, by which points are measured.
#[derive(Clone, Copy, Debug)]
pub(super) struct Measure {
    pub(super) middle: (f64, f64),
    pub(super) half: f64,
}

impl Measure {
    fn of(self, point: (f64, f64)) -> (f64, f64) {
        (
            (point.0 - self.middle.0) / self.half,
            (point.1 - self.middle.1) / self.half,
        )
    }
}

/// A motion fitted through blocks.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) freedom: Freedom,
    pub(super) measure: Measure,
    /// The numbers. \[pixels at half the long side\]
    pub(super) numbers: DVector<f64>,
    /// By the noise that the blocks say of themselves.
    pub(super) covariance: DMatrix<f64>,
    /// By what they leave over, region by region.
    pub(super) left_over: DMatrix<f64>,
    /// Unevenness from block to block. \[pixels\]
    pub(super) scatter: f64,
    /// Sum of weighted squares, robust.
    pub(super) chi_square: f64,
    /// Weight of each block that was given, 0 to 1.
    pub(super) weights: Vec<f64>,
}

fn covariance_of(block: &Block, scatter: f64) -> Symmetric {
    block
        .noise
        .plus(block.curvature.squared().times(scatter * scatter))
}

/// Gives Σ (b − A·J·θ)² in units of its covariance.
fn distance(block: &Block, shift: (f64, f64), scatter: f64) -> f64 {
    let expected = block.curvature.of(shift);
    let off = (block.slope.0 - expected.0, block.slope.1 - expected.1);
    let weighed = covariance_of(block, scatter).inverse().of(off);
    (off.0 * weighed.0 + off.1 * weighed.1).max(0.0)
}

fn shift_at(rows: &[[f64; 8]; 2], numbers: &DVector<f64>) -> (f64, f64) {
    let along = |row: &[f64; 8]| row.iter().zip(numbers.iter()).map(|(a, b)| a * b).sum();
    (along(&rows[0]), along(&rows[1]))
}

/// What a block leaves over, and the two parts of its covariance.
struct Rest {
    off: (f64, f64),
    noise: Symmetric,
    /// By an unevenness of one pixel.
    uneven: Symmetric,
}

impl Rest {
    /// Whether it lies beyond a distance, in units of its covariance: without a division.
    fn beyond(&self, square: f64, scatter: f64) -> bool {
        let covariance = self.noise.plus(self.uneven.times(scatter * scatter));
        let Symmetric { xx, xy, yy } = covariance;
        let (x, y) = self.off;
        x * (yy * x - xy * y) + y * (xx * y - xy * x)
            > square * (xx * yy - xy * xy).max(f64::MIN_POSITIVE)
    }
}

/// The scatter at which half of the blocks lie within their median distance.
fn scatter_of(blocks: &[Block], shifts: &[(f64, f64)]) -> f64 {
    let rests: Vec<Rest> = blocks
        .iter()
        .zip(shifts)
        .map(|(block, shift)| {
            let expected = block.curvature.of(*shift);
            Rest {
                off: (block.slope.0 - expected.0, block.slope.1 - expected.1),
                noise: block.noise,
                uneven: block.curvature.squared(),
            }
        })
        .collect();
    let half = rests.len() - rests.len() / 2;
    let too_far = |scatter: f64| {
        let beyond = rests
            .iter()
            .filter(|rest| rest.beyond(MEDIAN_CHI_SQUARE, scatter));
        beyond.count() >= half
    };
    if rests.is_empty() || !too_far(0.0) {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, LARGEST_SCATTER);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if too_far(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// What the blocks leave over, as a covariance of the right side: Σ GᵣGᵣᵀ, where
/// Gᵣ sums w·Jᵀ·Â·S⁻¹·(b − A·J·θ) over the blocks of a region, since blocks of
/// one hillside or one sky may err alike.
///
/// Source: Liang and Zeger, Biometrika 73 (1986) 13, their robust variance, with
/// the common factor for few groups.
fn left_over(
    blocks: &[Block],
    rows: &[[[f64; 8]; 2]],
    shifts: &[(f64, f64)],
    weights: &[f64],
    scatter: f64,
    count: usize,
) -> DMatrix<f64> {
    let last = |of: fn(&Block) -> usize| blocks.iter().map(of).max().unwrap_or(0) + 1;
    let (columns, lines) = (last(|b| b.column), last(|b| b.row));
    let mut regions: BTreeMap<(usize, usize), DVector<f64>> = BTreeMap::new();
    for (((block, rows), shift), weight) in blocks.iter().zip(rows).zip(shifts).zip(weights) {
        if *weight <= 0.0 {
            continue;
        }
        let expected = block.curvature.of(*shift);
        let off = (block.slope.0 - expected.0, block.slope.1 - expected.1);
        let pull = covariance_of(block, scatter).inverse().of(off);
        let pull = block.expected.of(pull);
        let region = (
            block.column * REGIONS.0 / columns,
            block.row * REGIONS.1 / lines,
        );
        let sum = regions
            .entry(region)
            .or_insert_with(|| DVector::zeros(count));
        for (i, sum) in sum.iter_mut().enumerate() {
            *sum += weight * (rows[0][i] * pull.0 + rows[1][i] * pull.1);
        }
    }
    let mut sum = DMatrix::zeros(count, count);
    for region in regions.values() {
        sum += region * region.transpose();
    }
    // Each region has two directions; the fit takes some of them up.
    let seen = 2 * regions.len();
    let free = seen.saturating_sub(count).max(1);
    sum * (seen as f64 / free as f64)
}

/// Fits a motion; none when the blocks do not fix it.
pub(super) fn fit(blocks: &[Block], freedom: Freedom, measure: Measure) -> Option<Fit> {
    let count = freedom.count();
    let rows: Vec<[[f64; 8]; 2]> = blocks
        .iter()
        .map(|block| freedom.rows(measure.of(block.middle)))
        .collect();
    let mut weights = vec![1.0; blocks.len()];
    // Begins wide, so that the first round is near to a plain mean.
    let mut scatter = 1.0;
    let mut result = None;
    for round in 0..ROUNDS {
        let (used, scatter_used) = (weights.clone(), scatter);
        let mut normal = DMatrix::<f64>::zeros(count, count);
        let mut right = DVector::<f64>::zeros(count);
        let mut noise = DMatrix::<f64>::zeros(count, count);
        for ((block, rows), weight) in blocks.iter().zip(&rows).zip(&weights) {
            if *weight <= 0.0 {
                continue;
            }
            let inverse = covariance_of(block, scatter).inverse().times(*weight);
            // A·J and Â·J, column by column.
            let column = |i: usize| (rows[0][i], rows[1][i]);
            let own: [(f64, f64); 8] = core::array::from_fn(|i| block.curvature.of(column(i)));
            let other: [(f64, f64); 8] = core::array::from_fn(|i| block.expected.of(column(i)));
            for i in 0..count {
                // S⁻¹·Â·J.
                let weighed = inverse.of(other[i]);
                right[i] += weighed.0 * block.slope.0 + weighed.1 * block.slope.1;
                for j in 0..count {
                    normal[(i, j)] += weighed.0 * own[j].0 + weighed.1 * own[j].1;
                    noise[(i, j)] += *weight * (weighed.0 * other[j].0 + weighed.1 * other[j].1);
                }
            }
        }
        let back = normal.try_inverse()?;
        let numbers = &back * right;
        let covariance = &back * noise * back.transpose();
        if !numbers.iter().all(|n| n.is_finite()) {
            return None;
        }
        let shifts: Vec<(f64, f64)> = rows.iter().map(|rows| shift_at(rows, &numbers)).collect();
        scatter = scatter_of(blocks, &shifts);
        let mut chi_square = 0.0;
        for ((block, shift), weight) in blocks.iter().zip(&shifts).zip(&mut weights) {
            let square = distance(block, *shift, scatter);
            chi_square += square.min(OUTSIDE * OUTSIDE);
            let share = libm::sqrt(square) / OUTSIDE;
            *weight = if share < 1.0 {
                (1.0 - share * share) * (1.0 - share * share)
            } else {
                0.0
            };
        }
        if round + 1 == ROUNDS {
            let left_over = left_over(blocks, &rows, &shifts, &used, scatter_used, count);
            let left_over = &back * left_over * back.transpose();
            result = Some(Fit {
                freedom,
                measure,
                numbers,
                covariance,
                left_over,
                scatter,
                chi_square,
                weights: weights.clone(),
            });
        }
    }
    result
}

impl Fit {
    /// Gives the shift at a point. \[pixels\]
    pub(super) fn shift(&self, point: (f64, f64)) -> (f64, f64) {
        shift_at(&self.freedom.rows(self.measure.of(point)), &self.numbers)
    }

    /// Gives the standard uncertainty of the shift at a point, along the worse
    /// direction: the larger of what the blocks' noise says and of what they
    /// leave over. \[pixels\]
    pub(super) fn uncertainty(&self, point: (f64, f64)) -> f64 {
        let rows = self.freedom.rows(self.measure.of(point));
        let variance = |covariance: &DMatrix<f64>| {
            let product = |a: &[f64; 8], b: &[f64; 8]| {
                let mut sum = 0.0;
                for (i, a) in a.iter().enumerate().take(self.freedom.count()) {
                    for (j, b) in b.iter().enumerate().take(self.freedom.count()) {
                        sum += a * covariance[(i, j)] * b;
                    }
                }
                sum
            };
            let (xx, xy, yy) = (
                product(&rows[0], &rows[0]),
                product(&rows[0], &rows[1]),
                product(&rows[1], &rows[1]),
            );
            0.5 * (xx + yy) + libm::hypot(0.5 * (xx - yy), xy)
        };
        let variance = variance(&self.covariance).max(variance(&self.left_over));
        libm::sqrt(variance.max(0.0))
    }

    /// Gives a share of the motion as a map of the first picture onto itself.
    pub(super) fn placement(&self, share: f64) -> Option<super::Placement> {
        let n = |i: usize| self.numbers.get(i).copied().unwrap_or(0.0) * share / self.measure.half;
        // In half sides: x' = x + n0 + (n2 + n4)·x + (n5 − n3)·y + x·(n6·x + n7·y).
        let inner = super::Placement::from_matrix([
            [1.0 + n(2) + n(4), n(5) - n(3), n(0)],
            [n(3) + n(5), 1.0 + n(2) - n(4), n(1)],
            [-n(6), -n(7), 1.0],
        ])?;
        let (half, (x, y)) = (self.measure.half, self.measure.middle);
        let out = super::Placement::from_matrix([[half, 0.0, x], [0.0, half, y], [0.0, 0.0, 1.0]])?;
        let back = super::Placement::from_matrix([
            [1.0 / half, 0.0, -x / half],
            [0.0, 1.0 / half, -y / half],
            [0.0, 0.0, 1.0],
        ])?;
        Some(out.after(&inner).after(&back))
    }
}

impl Fit {
    /// Gives the sum of weighted squares at another scatter.
    pub(super) fn chi_square_with(&self, blocks: &[Block], scatter: f64) -> f64 {
        blocks
            .iter()
            .map(|block| distance(block, self.shift(block.middle), scatter))
            .map(|square| square.min(OUTSIDE * OUTSIDE))
            .sum()
    }
}
