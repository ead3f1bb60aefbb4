//! The largest even stretch of rebate beside a side: what clear film can be outlined on.
//!
//! Marks printed at the edge, holes, dust and what lies on the film end a stretch, so
//! that nothing but clear film is inside.

use super::judge::{is_rebate, places};
use super::levels::Level;
use super::side::SideLine;
use super::view::View;

/// Left free at the picture and at the outer side, where edges are soft: pixels of the
/// reduced picture.
const FREE: f64 = 2.0;
/// Thinnest stretch, pixels of the reduced picture.
const THINNEST: f64 = 2.0;
/// Shortest stretch, pixels of the reduced picture.
const SHORTEST: usize = 10;

/// A stretch of rebate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ClearStretch {
    /// Corners one after the other, in pixels of the reduced picture.
    pub(super) corners: [(f64, f64); 4],
    /// Pixels of the reduced picture inside.
    pub(super) area: f64,
}

/// Finds the longest stretch beside a side whose rebate is this wide; `None` where
/// none is large enough to be read.
pub(super) fn clear_stretch(
    view: View<'_>,
    line: &SideLine,
    extent: (f64, f64),
    level: &Level,
    width: f64,
) -> Option<ClearStretch> {
    let thick = width - 2.0 * FREE;
    if thick < THINNEST {
        return None;
    }
    let clear = |along: usize| {
        let inner = line.depth_at(along as f64 + 0.5) - FREE;
        let outer = inner - thick;
        outer >= 0.0
            && (outer as usize..inner as usize)
                .all(|depth| is_rebate(level, view.middle(depth.min(view.depth() - 1), along)))
    };
    let (mut longest, mut run) = (0..0, 0..0);
    for along in places(view, extent) {
        if clear(along) {
            run = if run.end == along { run.start } else { along }..along + 1;
            if run.len() > longest.len() {
                longest = run.clone();
            }
        }
    }
    if longest.len() < SHORTEST {
        return None;
    }
    let corner = |along: usize, off: f64| {
        let along = along as f64;
        view.to_picture(line.depth_at(along) - off, along)
    };
    let (from, until) = (longest.start, longest.end);
    Some(ClearStretch {
        corners: [
            corner(from, FREE),
            corner(until, FREE),
            corner(until, FREE + thick),
            corner(from, FREE + thick),
        ],
        area: thick * longest.len() as f64,
    })
}
