//! Cells of rebate and of bare light along the sides of a frame.

use crate::frame_edges::{Edge, FrameEdges, SideName};
use crate::patch::median;
use crate::preview::Preview;

/// Length of a cell along a side, pixels of the reduced picture: a choice, 30 cells on
/// its longest side.
const CELL: f64 = 40.0;
/// Fewest and most cells of a side: four sides of the fewest are enough for the part
/// that follows r²; more than the most tell a smooth field no better.
const CELLS: (usize, usize) = (4, 20);
/// Part of the rebate's width that is left out at both of its edges, where they are soft:
/// a choice.
const MARGIN: f64 = 0.2;
/// Narrowest band that is read, pixels of the reduced picture: a choice.
const NARROWEST: f64 = 2.0;
/// Least distance from film to the end of the scan in which light is looked for,
/// pixels of the reduced picture: a choice; the middle half of it is read.
const LEAST_BESIDE: f64 = 8.0;
/// Fewest pixels of a cell: a choice, for a median and its spread.
const FEWEST: usize = 12;
/// Light beside film is lighter than its rebate by this at least: a choice well below
/// base and fog of a film (0.1 and more for most, from memory). \[log10 of signal\]
const LIGHTER: f64 = 0.015;
/// Largest spread of the pixels of a cell of bare light: what film base may differ by;
/// a holder's edge or writing scatters more. \[log10 of signal\]
const EVEN: f64 = 0.02;
/// Fewest cells of bare light that are used: a choice, since its level is one unknown more.
const FEWEST_OF_LIGHT: usize = 6;
/// Least uncertainty of a cell, for rounding and resampling: a choice. \[log10 of signal\]
const LEAST_SD: f64 = 3e-4;

/// What a place shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Rebate,
    Light,
}

/// One cell.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) kind: Kind,
    /// From the middle of the picture, −1 to 1 along its longer side.
    pub(super) at: (f64, f64),
    /// −log10 of the median signal.
    pub(super) log: f64,
    pub(super) log_sd: f64,
}

/// A place of the reduced picture, from its middle.
pub(super) fn from_middle(picture: &Preview, (x, y): (f64, f64)) -> (f64, f64) {
    let (width, height) = (f64::from(picture.width), f64::from(picture.height));
    let half = width.max(height) / 2.0;
    ((x - width / 2.0) / half, (y - height / 2.0) / half)
}

/// Reads the rebate of every side that was seen, and bare light beyond it.
pub(super) fn places(picture: &Preview, frame: &FrameEdges) -> Vec<Place> {
    let (mut rebate, mut light) = (vec![], vec![]);
    for edge in &frame.edges {
        let strip = Strip::of(picture, edge);
        let width = edge.rebate_width_px / f64::from(picture.box_side);
        let margin = (MARGIN * width).max(1.5);
        for cell in strip.cells() {
            let Some(clear) = strip.read(cell, (margin, width - margin), Kind::Rebate) else {
                continue;
            };
            rebate.push(clear.place);
            if edge.rebate_cut {
                continue;
            }
            let beside = strip.beside(cell) - width;
            if beside < LEAST_BESIDE {
                continue;
            }
            let band = (width + 0.25 * beside, width + 0.75 * beside);
            light.extend(
                strip
                    .read(cell, band, Kind::Light)
                    .filter(|l| l.spread < EVEN && l.place.log < clear.place.log - LIGHTER)
                    .map(|l| l.place),
            );
        }
    }
    if light.len() >= FEWEST_OF_LIGHT {
        rebate.extend(light);
    }
    rebate
}

/// A side of the picture in the reduced picture, with its way outwards.
struct Strip<'a> {
    picture: &'a Preview,
    from: (f64, f64),
    along: (f64, f64),
    outwards: (f64, f64),
    length: f64,
}

struct Reading {
    place: Place,
    spread: f64,
}

impl<'a> Strip<'a> {
    fn of(picture: &'a Preview, edge: &Edge) -> Self {
        let side = f64::from(picture.box_side);
        let [from, to] = edge.ends.map(|(x, y)| {
            (
                (x - f64::from(picture.left)) / side,
                (y - f64::from(picture.top)) / side,
            )
        });
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = libm::hypot(dx, dy).max(1.0);
        let along = (dx / length, dy / length);
        let outer = match edge.side {
            SideName::Left => (-1.0, 0.0),
            SideName::Top => (0.0, -1.0),
            SideName::Right => (1.0, 0.0),
            SideName::Bottom => (0.0, 1.0),
        };
        let across = (-along.1, along.0);
        let sign = if across.0 * outer.0 + across.1 * outer.1 < 0.0 {
            -1.0
        } else {
            1.0
        };
        Self {
            picture,
            from,
            along,
            outwards: (sign * across.0, sign * across.1),
            length,
        }
    }

    /// From where to where each cell reaches along the side.
    fn cells(&self) -> impl Iterator<Item = (f64, f64)> + use<> {
        let count = ((self.length / CELL) as usize).clamp(CELLS.0, CELLS.1);
        let each = self.length / count as f64;
        (0..count).map(move |k| (k as f64 * each, (k + 1) as f64 * each))
    }

    fn point(&self, along: f64, out: f64) -> (f64, f64) {
        (
            self.from.0 + along * self.along.0 + out * self.outwards.0,
            self.from.1 + along * self.along.1 + out * self.outwards.1,
        )
    }

    /// Pixels from the side outwards to the end of the scan, in the middle of a cell.
    fn beside(&self, cell: (f64, f64)) -> f64 {
        let (x, y) = self.point((cell.0 + cell.1) / 2.0, 0.0);
        let size = (
            f64::from(self.picture.width),
            f64::from(self.picture.height),
        );
        let reach = |at: f64, way: f64, size: f64| match way {
            way if way > 0.1 => (size - at) / way,
            way if way < -0.1 => at / -way,
            _ => f64::INFINITY,
        };
        reach(x, self.outwards.0, size.0).min(reach(y, self.outwards.1, size.1))
    }

    /// Reads a cell between two distances outwards.
    fn read(&self, cell: (f64, f64), out: (f64, f64), kind: Kind) -> Option<Reading> {
        if out.1 - out.0 < NARROWEST {
            return None;
        }
        let (width, height) = (self.picture.width as usize, self.picture.height as usize);
        let steps = |from: f64, to: f64| {
            let count = ((to - from) as usize).max(1);
            (0..count).map(move |k| from + (to - from) * (k as f64 + 0.5) / count as f64)
        };
        let mut logs = vec![];
        for along in steps(cell.0, cell.1) {
            for out in steps(out.0, out.1) {
                let (x, y) = self.point(along, out);
                if x >= 0.0 && y >= 0.0 && (x as usize) < width && (y as usize) < height {
                    let signal = self.picture.signal[y as usize * width + x as usize];
                    logs.push(-libm::log10(f64::from(signal).max(1e-6)));
                }
            }
        }
        if logs.len() < FEWEST {
            return None;
        }
        let count = logs.len() as f64;
        let middle = median(logs.clone());
        let spread = 1.4826 * median(logs.iter().map(|l| (l - middle).abs()).collect());
        let at = self.point((cell.0 + cell.1) / 2.0, (out.0 + out.1) / 2.0);
        // 1.25: standard error of a median over that of a mean; grain and resampling
        // leave about a quarter of the pixels independent.
        let log_sd = (1.25 * spread / libm::sqrt(count / 4.0)).max(LEAST_SD);
        Some(Reading {
            place: Place {
                kind,
                at: from_middle(self.picture, at),
                log: middle,
                log_sd,
            },
            spread,
        })
    }
}
