//! The sides of a picture, closed to a figure of four.

use super::found::SideName;
use super::side::SideLine;
use crate::preview::Preview;

/// Four lines around a picture; those that were not seen stand where what was seen
/// of their neighbours ends.
#[derive(Clone, Debug)]
pub(super) struct Sides<'a> {
    pub(super) picture: &'a Preview,
    lines: [SideLine; 4],
    is_seen: [bool; 4],
    extents: [(f64, f64); 4],
    /// Left top, right top, right bottom, left bottom, pixels of the reduced picture.
    pub(super) corners: [(f64, f64); 4],
}

impl Sides<'_> {
    /// Whether all four were seen.
    pub(super) fn whole(&self) -> bool {
        self.is_seen.iter().all(|seen| *seen)
    }

    /// The sides that were seen, each from where to where along it.
    pub(super) fn seen(&self) -> impl Iterator<Item = (SideName, &SideLine, (f64, f64))> {
        SideName::ALL
            .into_iter()
            .zip(&self.lines)
            .zip(&self.extents)
            .zip(self.is_seen)
            .filter(|(_, seen)| *seen)
            .map(|(((name, line), extent), _)| (name, line, *extent))
    }
}

/// The places along a side between which it was seen.
fn range(line: &SideLine) -> (f64, f64) {
    let first = line.seen.iter().copied().fold(f64::INFINITY, f64::min);
    (first, line.seen.iter().copied().fold(0.0, f64::max))
}

/// Numbers of the sides at which a side begins and ends.
fn neighbours(side: usize) -> (usize, usize) {
    if side.is_multiple_of(2) {
        (1, 3)
    } else {
        (0, 2)
    }
}

/// Closes the figure: lines for the sides that were not seen, corners, extents.
pub(super) fn closed<'a>(
    picture: &'a Preview,
    lines: &[Option<SideLine>; 4],
    tilt: f64,
) -> Option<Sides<'a>> {
    let size = [f64::from(picture.width), f64::from(picture.height)];
    let line_of = |side: usize| -> Option<SideLine> {
        if let Some(line) = &lines[side] {
            return Some(line.clone());
        }
        let (before, after) = neighbours(side);
        let beside = if lines[before].is_some() {
            before
        } else {
            after
        };
        let other = lines[beside].as_ref()?;
        let (first, last) = range(other);
        // Sides 2 and 3 count depth from the far end.
        let end = if side < 2 { first } else { last };
        let across = size[side % 2];
        let down = size[beside % 2];
        let depth = if side < 2 { end } else { across - end };
        let along = other.depth_at(end);
        let slope = libm::tan(tilt.to_radians());
        Some(SideLine {
            slope: if side == 1 || side == 2 {
                slope
            } else {
                -slope
            },
            middle: depth,
            centre: if beside < 2 { along } else { down - along },
            slope_sd: 0.0,
            middle_sd: 0.0,
            seen: vec![],
            step: 1.0,
        })
    };
    let all = [line_of(0)?, line_of(1)?, line_of(2)?, line_of(3)?];
    let corner = |upright: usize, level: usize| {
        // A few rounds settle where two lines that are nearly square cross.
        let (mut x, mut y) = (size[0] / 2.0, size[1] / 2.0);
        for _ in 0..12 {
            let depth = all[upright].depth_at(y);
            x = if upright == 0 { depth } else { size[0] - depth };
            let depth = all[level].depth_at(x);
            y = if level == 1 { depth } else { size[1] - depth };
        }
        (x, y)
    };
    let corners = [corner(0, 1), corner(2, 1), corner(2, 3), corner(0, 3)];
    let extents = [
        (corners[0].1, corners[3].1),
        (corners[0].0, corners[1].0),
        (corners[1].1, corners[2].1),
        (corners[3].0, corners[2].0),
    ];
    if extents.iter().any(|(from, until)| until - from < 30.0) {
        return None;
    }
    Some(Sides {
        picture,
        is_seen: [0, 1, 2, 3].map(|side| lines[side].is_some()),
        lines: all,
        extents,
        corners,
    })
}

/// Part of a side on which it was seen.
pub(super) fn seen_part(line: &SideLine, extent: (f64, f64)) -> f64 {
    let seen = line
        .seen
        .iter()
        .filter(|along| **along >= extent.0 && **along <= extent.1);
    (seen.count() as f64 * line.step / (extent.1 - extent.0)).min(1.0)
}
