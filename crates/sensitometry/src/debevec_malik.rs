//! Response from a bracket by Debevec and Malik's least squares, for comparison.
//!
//! Source: P. E. Debevec, J. Malik, "Recovering High Dynamic Range Radiance Maps from
//! Photographs", SIGGRAPH 1997, equations 3, 4 and 6 (equations from memory; the code is
//! ours). It is not held to rise; `bracket_curve` is.

use crate::bracket_curve::BracketReading;
use nalgebra::{DMatrix, DVector};

/// Levels of an 8-bit value.
const LEVELS: usize = 256;
/// Level at which the response is zero.
const ANCHOR: usize = 128;

/// Weight of a level: most trust in the middle, none at the ends.
fn weight(level: usize) -> f64 {
    level.min(LEVELS - 1 - level) as f64
}

/// Gives the relative log10 exposure of each level 0 to 255, zero at level 128.
///
/// Minimises Σ {w(Z)·(g(Z) − log E − log t)}² + Σ {λ·w(z)·g″(z)}². `smoothness` is λ, which
/// multiplies the rows of the bend, as it is used in practice; equation 3 has its square root.
/// Values are rounded to levels; None where one is outside 0 to 255 or where the readings
/// don't fix a response.
#[must_use]
pub fn debevec_malik_response(readings: &[BracketReading], smoothness: f64) -> Option<Vec<f64>> {
    let patches = readings.iter().map(|r| r.patch + 1).max()?;
    let mut of_patch = vec![vec![]; patches];
    for r in readings {
        let level = libm::round(r.value);
        if !(0.0..LEVELS as f64).contains(&level) {
            return None;
        }
        let level = level as usize;
        let w = weight(level) * weight(level);
        if w > 0.0 {
            of_patch[r.patch].push((level, r.log_exposure, w));
        }
    }
    let mut normal = DMatrix::zeros(LEVELS, LEVELS);
    let mut right = DVector::zeros(LEVELS);
    for rows in &of_patch {
        // The patch's own log E is eliminated: it is the weighted mean of g − log t.
        let sum: f64 = rows.iter().map(|r| r.2).sum();
        if rows.len() < 2 {
            continue;
        }
        let mean = rows.iter().map(|r| r.1 * r.2).sum::<f64>() / sum;
        for a in rows {
            right[a.0] += a.2 * (a.1 - mean);
            normal[(a.0, a.0)] += a.2;
            for b in rows {
                normal[(a.0, b.0)] -= a.2 * b.2 / sum;
            }
        }
    }
    for level in 1..LEVELS - 1 {
        let w = smoothness * smoothness * weight(level) * weight(level);
        let bend = [(level - 1, 1.0), (level, -2.0), (level + 1, 1.0)];
        for (i, x) in bend {
            for (j, y) in bend {
                normal[(i, j)] += w * x * y;
            }
        }
    }
    let normal = normal.remove_row(ANCHOR).remove_column(ANCHOR);
    let solved = normal.cholesky()?.solve(&right.remove_row(ANCHOR));
    let mut response: Vec<f64> = solved.iter().copied().collect();
    response.insert(ANCHOR, 0.0);
    Some(response)
}
