//! Halos beside steep edges, as sharpening leaves them.
//!
//! Sharpening makes every edge overshoot. Edges of three kinds are asked, and two must
//! say so, since each can have a halo of its own: film that was cut can shine along its
//! edge against the holder, and development can raise the contrast of edges in the
//! picture (adjacency). Neither reaches the edges between the steps of a tablet. Edges
//! of the holder and sharp ones of a tablet that show no halo speak against sharpening.
//! Against the black holder only the bright side is judged, elsewhere both sides.

use super::finding::HonestyFinding;
use super::texture::{EDGE_AREA, EDGE_REACH, Edge, Texture};
use crate::outline::Outline;
use crate::patch::median;
use quantity::Flag;

/// Fewest edges of a kind that tell.
const FEWEST_EDGES: usize = 20;
/// Dark side of an edge against the holder, part of the edge's height, at most.
const BLACK: f64 = 0.1;
/// Dark side of an edge within film, part of its height, at least: a halo of the
/// dark side must have room above black.
const WITHIN_FILM: f64 = 0.15;
/// Spread of the areas beside an edge that count as even, part of its height; and the
/// share of edges, the most even, that are asked in any case.
const EVEN: f64 = 0.05;
const MOST_EVEN: f64 = 0.3;
/// A tablet's edges are sharp when at this distance from the middle, in pixels, no
/// more than this part of the height is left to go.
const SHARP_WITHIN: usize = 3;
const SHARP_LEFT: f64 = 0.1;
/// Overshoot from which a halo is told, part of the edge's height.
const OVERSHOOT: f64 = 0.02;
/// Times the least overshoot that the largest may be, where no tablet bears witness:
/// sharpening treats all edges alike, but for what the end of the scale cuts off.
const ALIKE: f64 = 4.5;

/// Edges by what they lie between.
struct Kinds<'a> {
    holder: Vec<&'a Edge>,
    film: Vec<&'a Edge>,
    tablet: Vec<&'a Edge>,
}

/// By how much edges overshoot at their worst.
#[derive(Clone, Copy)]
struct Overshoot {
    /// Part of the edge's height, with its standard error.
    part: f64,
    error: f64,
    /// Pixels from the middle.
    place: usize,
}

/// Tells whether there are steep edges of two kinds, enough to look for halos.
///
/// `tablet` are the outlines of a tablet's steps in the scan, if any.
#[must_use]
pub fn tells_halos(texture: &Texture, tablet: &[Outline]) -> bool {
    let kinds = Kinds::of(texture, tablet);
    let enough = [&kinds.holder, &kinds.film, &kinds.tablet]
        .into_iter()
        .filter(|edges| edges.len() >= FEWEST_EDGES);
    enough.count() >= 2
}

impl<'a> Kinds<'a> {
    fn of(texture: &'a Texture, tablet: &[Outline]) -> Self {
        let within = within(tablet);
        let mut kinds = Self {
            holder: Vec::new(),
            film: Vec::new(),
            tablet: Vec::new(),
        };
        for edge in &texture.edges {
            let dark = edge.dark / edge.height;
            if within(edge) {
                if dark >= WITHIN_FILM {
                    kinds.tablet.push(edge);
                }
            } else if edge.high && dark <= BLACK {
                kinds.holder.push(edge);
            } else if edge.high && dark >= WITHIN_FILM {
                kinds.film.push(edge);
            }
        }
        if !sharp(&kinds.tablet) {
            kinds.tablet.clear();
        }
        kinds.holder = most_even(kinds.holder);
        kinds.film = most_even(kinds.film);
        kinds
    }
}

/// Whether an edge lies between the first and the last of the outlines.
fn within(outlines: &[Outline]) -> impl Fn(&Edge) -> bool {
    let bounds = outlines
        .iter()
        .filter_map(Outline::bounds)
        .reduce(|a, b| (a.0.min(b.0), a.1.min(b.1), a.2.max(b.2), a.3.max(b.3)));
    move |edge| {
        let (x, y) = (f64::from(edge.place.0), f64::from(edge.place.1));
        bounds.is_some_and(|(left, top, right, bottom)| {
            (left..right).contains(&x) && (top..bottom).contains(&y)
        })
    }
}

/// Whether edges are done a few pixels from their middle, so that a halo would show.
fn sharp(edges: &[&Edge]) -> bool {
    let middle = |at: usize| {
        let values = edges.iter().map(|e| f64::from(e.profile[at]));
        median(values.collect())
    };
    edges.len() >= FEWEST_EDGES
        && middle(EDGE_REACH - SHARP_WITHIN) < SHARP_LEFT
        && middle(EDGE_REACH + SHARP_WITHIN) > 1.0 - SHARP_LEFT
}

/// The edges between the most even areas.
fn most_even(mut edges: Vec<&Edge>) -> Vec<&Edge> {
    edges.sort_by(|a, b| a.spread.total_cmp(&b.spread));
    let even = edges.partition_point(|e| e.spread <= EVEN);
    let share = (MOST_EVEN * edges.len() as f64) as usize;
    edges.truncate(even.max(share).max(FEWEST_EDGES));
    edges
}

impl Overshoot {
    /// On the bright side of edges, or on the dark one.
    fn of(edges: &[&Edge], bright: bool) -> Self {
        let mut most = Self {
            part: 0.0,
            error: 0.0,
            place: 0,
        };
        for place in 1..EDGE_AREA {
            let beyond: Vec<f64> = edges
                .iter()
                .map(|e| {
                    if bright {
                        f64::from(e.profile[EDGE_REACH + place]) - 1.0
                    } else {
                        -f64::from(e.profile[EDGE_REACH - place])
                    }
                })
                .collect();
            let part = median(beyond.clone());
            let spread = 1.4826 * median(beyond.iter().map(|b| (b - part).abs()).collect());
            // A median of n errs by 1.25 of the mean's error.
            let error = 1.25 * spread / (edges.len() as f64).sqrt();
            if part > most.part {
                most = Self { part, error, place };
            }
        }
        most
    }

    fn is_told(&self) -> bool {
        self.part > OVERSHOOT && self.part > 4.0 * self.error
    }
}

/// A kind of edges that overshoots on every side that is judged.
struct Witness {
    sides: Vec<Overshoot>,
    words: String,
}

impl Witness {
    fn of(edges: &[&Edge], sides: &[bool], kind: &str) -> Option<Self> {
        if edges.len() < FEWEST_EDGES {
            return None;
        }
        let sides: Vec<Overshoot> = sides.iter().map(|b| Overshoot::of(edges, *b)).collect();
        let percent = |side: &Overshoot| {
            let pixels = if side.place == 1 { "pixel" } else { "pixels" };
            format!(
                "{:.1} % {} {pixels} from their middle",
                side.part * 100.0,
                side.place
            )
        };
        let by = match &sides[..] {
            [bright, dark] => format!(
                "{} on their bright side and {} on their dark side",
                percent(bright),
                percent(dark)
            ),
            sides => sides.iter().map(percent).collect(),
        };
        let words = format!("{} {kind} by {by}", edges.len());
        sides
            .iter()
            .all(Overshoot::is_told)
            .then_some(Self { sides, words })
    }
}

/// Tells of an overshoot at steep edges.
pub(super) fn sharpened(texture: &Texture, tablet: &[Outline]) -> Option<HonestyFinding> {
    let kinds = Kinds::of(texture, tablet);
    let holder = Witness::of(&kinds.holder, &[true], "edges against the holder");
    let film = Witness::of(&kinds.film, &[true, false], "within the film");
    let steps = Witness::of(&kinds.tablet, &[true, false], "between the tablet's steps");
    // Film alone may be silent: its own edges can be too soft to show a halo.
    let contradicted = (holder.is_none() && kinds.holder.len() >= FEWEST_EDGES)
        || (steps.is_none() && !kinds.tablet.is_empty());
    let tablet_tells = steps.is_some();
    let witnesses: Vec<Witness> = [holder, film, steps].into_iter().flatten().collect();
    let told = !contradicted && witnesses.len() >= 2 && (tablet_tells || alike(&witnesses));
    told.then(|| {
        let words: Vec<&str> = witnesses.iter().map(|w| w.words.as_str()).collect();
        HonestyFinding::new(
            Flag::Sharpened,
            format!(
                "steep edges overshoot, part of their height: {}: a halo of sharpening",
                words.join("; ")
            ),
        )
    })
}

/// Whether the overshoots of all sides are about as large.
fn alike(witnesses: &[Witness]) -> bool {
    let parts = || witnesses.iter().flat_map(|w| &w.sides).map(|s| s.part);
    parts().fold(0.0, f64::max) <= ALIKE * parts().fold(f64::INFINITY, f64::min)
}
