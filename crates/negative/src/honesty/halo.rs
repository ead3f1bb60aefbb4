//! Halos beside the steepest edges, as sharpening leaves them.
//!
//! The edge of the rebate against the holder is a plain step from black to
//! clear film: light scattered in a scanner rounds it and never overshoots.
//! Sharpening adds a bright line on the bright side and a dark one on the dark
//! side. Only the bright side is judged: the dark side ends at black.

use super::finding::HonestyFinding;
use super::texture::{EDGE_AREA, EDGE_REACH, Texture};
use crate::patch::median;
use quantity::Flag;

/// Fewest edges that tell.
const FEWEST_EDGES: usize = 24;
/// Edges at least so high, as part of the highest, are looked at.
const OF_HIGHEST: f64 = 0.6;
/// Overshoot from which a halo is told, part of the edge's height.
const OVERSHOOT: f64 = 0.035;

/// Tells of an overshoot at the steepest edges.
pub(super) fn sharpened(texture: &Texture) -> Option<HonestyFinding> {
    let mut heights: Vec<f64> = texture.edges.iter().map(|e| e.height).collect();
    heights.sort_by(f64::total_cmp);
    // Some few edges of dust or an open gate do not set the measure.
    let highest = *heights.get(heights.len().checked_sub(1)? * 9 / 10)?;
    let edges: Vec<_> = texture
        .edges
        .iter()
        .filter(|e| e.height >= OF_HIGHEST * highest)
        .collect();
    if edges.len() < FEWEST_EDGES {
        return None;
    }
    let mut most = (0.0, 0.0, 0);
    for k in 1..EDGE_AREA {
        let beyond: Vec<f64> = edges
            .iter()
            .map(|e| f64::from(e.profile[EDGE_REACH + k]) - 1.0)
            .collect();
        let middle = median(beyond.clone());
        let spread = 1.4826 * median(beyond.iter().map(|b| (b - middle).abs()).collect());
        // A median of n errs by 1.25 of the mean's error.
        let error = 1.25 * spread / (edges.len() as f64).sqrt();
        if middle > most.0 {
            most = (middle, error, k);
        }
    }
    let (overshoot, error, place) = most;
    (overshoot > OVERSHOOT && overshoot > 5.0 * error).then(|| {
        HonestyFinding::new(
            Flag::Sharpened,
            format!(
                "{} steep edges overshoot by {:.1} % of their height ({:.1} % standard error), {place} pixel{} from their                  middle: a halo of sharpening",
                edges.len(),
                overshoot * 100.0,
                error * 100.0,
                if place == 1 { "" } else { "s" }
            ),
        )
    })
}
