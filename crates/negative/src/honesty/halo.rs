//! Halos beside steep edges, as sharpening leaves them.
//!
//! Sharpening makes every edge overshoot. Edges of two kinds are asked, and both
//! must say so, since each has a halo of its own now and then: film that was cut
//! can shine along its edge against the holder, and development can raise the
//! contrast of edges in the picture (adjacency). Against the black holder only the
//! bright side is judged, within film both sides.

use super::finding::HonestyFinding;
use super::texture::{EDGE_AREA, EDGE_REACH, Edge, Texture};
use crate::patch::median;
use quantity::Flag;

/// Fewest edges of a kind that tell.
const FEWEST_EDGES: usize = 20;
/// Dark side of an edge against the holder, part of the edge's height, at most.
const BLACK: f64 = 0.1;
/// Dark side of an edge within film, part of its height, at least: a halo of the
/// dark side must have room above black.
const WITHIN_FILM: f64 = 0.15;
/// Overshoot from which a halo is told, part of the edge's height.
const OVERSHOOT: f64 = 0.025;
/// Times the least overshoot of the three that the largest may be: sharpening treats
/// all edges alike, but for what the end of the scale cuts off.
const ALIKE: f64 = 4.5;

/// Tells whether there are steep edges of both kinds, enough to look for halos.
#[must_use]
pub fn tells_halos(texture: &Texture) -> bool {
    let (holder, film) = kinds(texture);
    holder.len().min(film.len()) >= FEWEST_EDGES
}

/// Edges against the holder, and edges within film.
fn kinds(texture: &Texture) -> (Vec<&Edge>, Vec<&Edge>) {
    let of = |least: f64, most: f64| {
        texture
            .edges
            .iter()
            .filter(|e| (least..=most).contains(&(e.dark / e.height)))
            .collect()
    };
    (of(f64::NEG_INFINITY, BLACK), of(WITHIN_FILM, f64::INFINITY))
}

/// Part of the height by which edges overshoot at their worst, with its standard
/// error and how many pixels from the middle; on the bright side, or the dark one.
fn overshoot(edges: &[&Edge], bright: bool) -> (f64, f64, usize) {
    let mut most = (0.0, 0.0, 0);
    for k in 1..EDGE_AREA {
        let beyond: Vec<f64> = edges
            .iter()
            .map(|e| {
                if bright {
                    f64::from(e.profile[EDGE_REACH + k]) - 1.0
                } else {
                    -f64::from(e.profile[EDGE_REACH - k])
                }
            })
            .collect();
        let middle = median(beyond.clone());
        let spread = 1.4826 * median(beyond.iter().map(|b| (b - middle).abs()).collect());
        // A median of n errs by 1.25 of the mean's error.
        let error = 1.25 * spread / (edges.len() as f64).sqrt();
        if middle > most.0 {
            most = (middle, error, k);
        }
    }
    most
}

/// Tells of an overshoot at steep edges.
pub(super) fn sharpened(texture: &Texture) -> Option<HonestyFinding> {
    if !tells_halos(texture) {
        return None;
    }
    let (holder, film) = kinds(texture);
    let at_holder = overshoot(&holder, true);
    let sides = [at_holder, overshoot(&film, true), overshoot(&film, false)];
    let told = |(part, error, _): (f64, f64, usize)| part > OVERSHOOT && part > 4.0 * error;
    let least = sides.iter().map(|s| s.0).fold(f64::INFINITY, f64::min);
    let most = sides.iter().map(|s| s.0).fold(0.0, f64::max);
    if !sides.into_iter().all(told) || most > ALIKE * least {
        return None;
    }
    let [(holder_part, _, place), (bright, ..), (dark, ..)] = sides;
    Some(HonestyFinding::new(
        Flag::Sharpened,
        format!(
            "{} steep edges against the holder overshoot by {:.1} % of their height, {place} pixel{} from their middle, and {} \
             within the film by {:.1} % on their bright and {:.1} % on their dark side: a halo of sharpening",
            holder.len(),
            holder_part * 100.0,
            if place == 1 { "" } else { "s" },
            film.len(),
            bright * 100.0,
            dark * 100.0
        ),
    ))
}
