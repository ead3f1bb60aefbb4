//! Two scans of the same thing, block by block.

use crate::patch::median;
use crate::preview::Preview;

/// How two scans of the same thing compare.
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatComparison {
    /// Columns that the second lies to the right of the first, in pixels of
    /// the scan; whole boxes of the preview.
    pub shift_x: i64,
    /// Rows that the second lies below the first.
    pub shift_y: i64,
    /// Median over blocks of second minus first, as −log10 of signal.
    pub density_difference: f64,
    /// Robust standard deviation of the blocks about it.
    pub block_sd: f64,
    /// Blocks compared.
    pub blocks: usize,
    /// Whether the two are equal within a density of 0.01, blocks within 0.02.
    pub equal: bool,
    /// The comparison in one sentence with its numbers.
    pub evidence: String,
}

/// Why two scans cannot be compared.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RepeatError {
    /// Compare previews of the same size and reduction.
    #[error("previews of the same size are needed, found {first} and {second}")]
    Sizes {
        /// Size of the first.
        first: String,
        /// Size of the second.
        second: String,
    },
    /// One is linear light and the other is not.
    #[error("one scan has a known tone and the other has not")]
    MixedTones,
    /// Nothing to compare.
    #[error("the scans have {blocks} blocks with a signal in both, at least {needed} are needed")]
    TooFewBlocks {
        /// Blocks found.
        blocks: usize,
        /// Blocks needed.
        needed: usize,
    },
}

/// Density that repeat scans may differ by on the whole.
const REPEAT_DIFFERENCE: f64 = 0.01;
/// Standard deviation of blocks that repeat scans may have.
const REPEAT_SD: f64 = 0.02;
/// Most pixels of a preview that a scan is looked for to have moved.
const REPEAT_SHIFT: i64 = 6;
/// Fewest blocks a comparison rests on.
const REPEAT_BLOCKS: usize = 9;

/// Compares two scans of the same thing, block by block.
///
/// # Errors
/// [`RepeatError`] when the previews cannot be laid on each other.
pub fn repeat_scans_agree(
    first: &Preview,
    second: &Preview,
) -> Result<RepeatComparison, RepeatError> {
    let size = |p: &Preview| format!("{} × {} pixels of {} × {2}", p.width, p.height, p.box_side);
    if (first.width, first.height, first.box_side) != (second.width, second.height, second.box_side)
    {
        return Err(RepeatError::Sizes {
            first: size(first),
            second: size(second),
        });
    }
    if first.tone_known != second.tone_known {
        return Err(RepeatError::MixedTones);
    }
    let (dx, dy) = shift_between(first, second);
    let differences = block_differences(first, second, dx, dy);
    if differences.len() < REPEAT_BLOCKS {
        return Err(RepeatError::TooFewBlocks {
            blocks: differences.len(),
            needed: REPEAT_BLOCKS,
        });
    }
    let density_difference = median(differences.clone());
    let block_sd = 1.4826
        * median(
            differences
                .iter()
                .map(|d| (d - density_difference).abs())
                .collect(),
        );
    let moved = dx.abs().max(dy.abs()) == REPEAT_SHIFT;
    let equal = density_difference.abs() <= REPEAT_DIFFERENCE && block_sd <= REPEAT_SD && !moved;
    let side = i64::from(first.box_side);
    let (shift_x, shift_y) = (dx * side, dy * side);
    let evidence = format!(
        "over {} blocks the second scan differs by {density_difference:.4} (ratio of signals {:.4}), blocks by {block_sd:.4}, \
         and lies {shift_x} pixels to the right and {shift_y} below; up to {REPEAT_DIFFERENCE} and {REPEAT_SD} would pass for equal",
        differences.len(),
        libm::pow(10.0, -density_difference)
    );
    Ok(RepeatComparison {
        shift_x,
        shift_y,
        density_difference,
        block_sd,
        blocks: differences.len(),
        equal,
        evidence,
    })
}

/// Logarithm of a signal that does not run away in the dark.
fn log_signal(signal: f32) -> f64 {
    libm::log10(f64::from(signal).max(1e-4))
}

/// Gives the whole-pixel shift that leaves the smallest mean absolute
/// difference of the logarithms, less their median.
fn shift_between(first: &Preview, second: &Preview) -> (i64, i64) {
    let (width, height) = (i64::from(first.width), i64::from(first.height));
    let reach = REPEAT_SHIFT.min((width.min(height) - 1) / 4);
    // Some 10 000 points are enough to tell 169 shifts apart.
    let stride = ((((width * height) as f64) / 10_000.0).sqrt() as i64).max(1);
    let logs = |p: &Preview| p.signal.iter().map(|s| log_signal(*s)).collect::<Vec<_>>();
    let (a, b) = (logs(first), logs(second));
    let mut best = (f64::INFINITY, 0, 0);
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let mut differences = Vec::new();
            let mut y = reach;
            while y < height - reach {
                let mut x = reach;
                while x < width - reach {
                    differences.push(
                        b[((y + dy) * width + x + dx) as usize] - a[(y * width + x) as usize],
                    );
                    x += stride;
                }
                y += stride;
            }
            let count = differences.len().max(1) as f64;
            let mean = differences.iter().sum::<f64>() / count;
            let left = differences.iter().map(|d| (d - mean).abs()).sum::<f64>() / count;
            // Of equal ones the smaller shift, so that an even field has none.
            let score = left * (1.0 + 1e-9) + 1e-9 * (dx.abs() + dy.abs()) as f64;
            if score < best.0 {
                best = (score, dx, dy);
            }
        }
    }
    (best.1, best.2)
}

/// Gives the difference of each block as −log10 of the ratio of its sums.
fn block_differences(first: &Preview, second: &Preview, dx: i64, dy: i64) -> Vec<f64> {
    let (width, height) = (i64::from(first.width), i64::from(first.height));
    let side = (width.min(height) / 16).max(1);
    let mut differences = Vec::new();
    let mut top = dy.abs();
    while top + side <= height - dy.abs() {
        let mut left = dx.abs();
        while left + side <= width - dx.abs() {
            let (mut a, mut b) = (0.0, 0.0);
            for y in top..top + side {
                for x in left..left + side {
                    a += f64::from(first.signal[(y * width + x) as usize]);
                    b += f64::from(second.signal[((y + dy) * width + x + dx) as usize]);
                }
            }
            let pixels = (side * side) as f64;
            // Black border says nothing, and neither does a clipped block.
            let usable = |sum: f64| (0.002..0.998).contains(&(sum / pixels));
            if usable(a) && usable(b) {
                differences.push(-libm::log10(b / a));
            }
            left += side;
        }
        top += side;
    }
    differences
}
