//! The search over the even levels of a picture.

use super::found::{Edge, FrameEdges, FrameNotFound, Rebate, SideName};
use super::judge::{beside, check, narrow, rebate_part};
use super::levels::{Level, even_levels};
use super::side::{SideLine, side_line};
use super::view::View;
use crate::preview::Preview;

/// Fewest pixels on each side of the reduced picture.
const NEEDED: u32 = 100;
/// Part of a side that must have rebate right outside.
const REBATE_PART: f64 = 0.85;
/// Part of a side on which the picture must differ from the rebate.
const SEEN_PART: f64 = 0.3;
/// How far a side may be off a right angle, beside its uncertainty. \[degrees\]
const OFF_SQUARE: f64 = 0.2;
/// A level this near full light may be the light itself: base without fog takes some
/// 0.03 in density and more. \[part of full light\]
const OPEN_LIGHT: f64 = 0.93;

/// Finds the frame of a scan in its reduced picture.
///
/// The tilt may be up to 4 degrees, and each side must lie in its own half of the
/// scan. Lengths in the answer are pixels of the scan.
///
/// # Errors
/// [`FrameNotFound`] with what is in the way and what to do.
pub fn find_frame(picture: &Preview) -> Result<FrameEdges, FrameNotFound> {
    if picture.width.min(picture.height) < NEEDED {
        return Err(FrameNotFound::TooSmall {
            width: picture.width,
            height: picture.height,
            needed: NEEDED,
        });
    }
    let mut frame: Option<FrameEdges> = None;
    let mut fault = FrameNotFound::NoRebate;
    let levels = even_levels(picture);
    for level in &levels {
        match frame_by(picture, level) {
            Ok(other) => {
                if frame.as_ref().is_some_and(|f| !alike(f, &other, picture)) {
                    return Err(FrameNotFound::LightOrRebate);
                }
                frame.get_or_insert(other);
            }
            Err(other) => {
                if rank(&other) > rank(&fault) {
                    fault = other;
                }
            }
        }
    }
    if let FrameNotFound::TwoFrames { .. } = fault {
        return Err(fault);
    }
    match frame {
        Some(frame) => Ok(frame),
        None if levels.iter().any(|level| even_middle(picture, level)) => Err(FrameNotFound::Even),
        None => Err(fault),
    }
}

fn rank(fault: &FrameNotFound) -> u8 {
    match fault {
        FrameNotFound::TwoFrames { .. } => 6,
        FrameNotFound::LightOrRebate => 5,
        FrameNotFound::WideRebate { .. } => 4,
        FrameNotFound::NotSquare { .. } => 3,
        FrameNotFound::OneSide { .. } => 2,
        FrameNotFound::LighterInside { .. } => 1,
        _ => 0,
    }
}

/// Whether two answers name the same sides at the same places.
fn alike(a: &FrameEdges, b: &FrameEdges, picture: &Preview) -> bool {
    let near = 1.5 * f64::from(picture.box_side);
    a.edges.iter().all(|edge| {
        b.edges
            .iter()
            .filter(|other| other.side == edge.side)
            .all(|other| match edge.side {
                SideName::Left | SideName::Right => (edge.ends[0].0 - other.ends[0].0).abs() < near,
                _ => (edge.ends[0].1 - other.ends[0].1).abs() < near,
            })
    })
}

/// Whether the middle half of the picture is even at a level.
fn even_middle(picture: &Preview, level: &Level) -> bool {
    let (width, height) = (picture.width as usize, picture.height as usize);
    let (mut held, mut all) = (0_usize, 0_usize);
    for y in height / 4..3 * height / 4 {
        for signal in &picture.signal[y * width + width / 4..y * width + 3 * width / 4] {
            held += usize::from(level.holds(f64::from(*signal)));
            all += 1;
        }
    }
    held as f64 > 0.95 * all as f64
}

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

/// Tilt of the sides, its uncertainty, and the largest difference from it.
struct Tilt {
    degrees: f64,
    sd: f64,
    off: f64,
}

fn tilt_of(picture: &Preview, lines: &[Option<SideLine>; 4]) -> Result<Tilt, FrameNotFound> {
    let tilts: Vec<(f64, f64)> = SideName::ALL
        .into_iter()
        .zip(lines)
        .filter_map(|(name, line)| {
            let line = line.as_ref()?;
            let tilt = View::new(picture, name).tilt_of(line.slope);
            Some((tilt, line.slope_sd.to_degrees().max(0.003)))
        })
        .collect();
    let weights: f64 = tilts.iter().map(|(_, sd)| 1.0 / (sd * sd)).sum();
    let degrees = tilts.iter().map(|(t, sd)| t / (sd * sd)).sum::<f64>() / weights;
    let off = tilts
        .iter()
        .map(|(t, _)| (t - degrees).abs())
        .fold(0.0, f64::max);
    let count = tilts.len() as f64;
    let squares: f64 = tilts
        .iter()
        .map(|(t, _)| (t - degrees) * (t - degrees))
        .sum();
    let scatter = libm::sqrt(squares / (count - 1.0).max(1.0) / count);
    let worst = tilts.iter().map(|(_, sd)| *sd).fold(0.0, f64::max);
    if off > OFF_SQUARE + 3.0 * worst {
        return Err(FrameNotFound::NotSquare { off_deg: off });
    }
    Ok(Tilt {
        degrees,
        sd: libm::hypot(1.0 / libm::sqrt(weights), scatter),
        off,
    })
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
fn closed<'a>(picture: &'a Preview, lines: &[Option<SideLine>; 4], tilt: f64) -> Option<Sides<'a>> {
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
fn seen_part(line: &SideLine, extent: (f64, f64)) -> f64 {
    let seen = line
        .seen
        .iter()
        .filter(|along| **along >= extent.0 && **along <= extent.1);
    (seen.count() as f64 * line.step / (extent.1 - extent.0)).min(1.0)
}

/// At least two sides.
fn enough(lines: &[Option<SideLine>; 4]) -> Result<(), FrameNotFound> {
    let mut seen = SideName::ALL
        .into_iter()
        .zip(lines)
        .filter(|(_, l)| l.is_some());
    match (seen.next(), seen.next()) {
        (None, _) => Err(FrameNotFound::NoRebate),
        (Some((name, _)), None) => Err(FrameNotFound::OneSide { side: name.word() }),
        _ => Ok(()),
    }
}

/// Takes a level for the rebate.
fn frame_by(picture: &Preview, level: &Level) -> Result<FrameEdges, FrameNotFound> {
    let mut lines = SideName::ALL.map(|name| side_line(View::new(picture, name), level));
    let (tilt, sides) = loop {
        enough(&lines)?;
        let tilt = tilt_of(picture, &lines)?;
        let sides = closed(picture, &lines, tilt.degrees).ok_or(FrameNotFound::NoRebate)?;
        let bad: Vec<SideName> = sides
            .seen()
            .filter(|(name, line, extent)| {
                rebate_part(View::new(picture, *name), line, *extent, level) < REBATE_PART
                    || seen_part(line, *extent) < SEEN_PART
            })
            .map(|(name, _, _)| name)
            .collect();
        if bad.is_empty() {
            break (tilt, sides);
        }
        for (name, line) in SideName::ALL.into_iter().zip(&mut lines) {
            if bad.contains(&name) {
                *line = None;
            }
        }
    };
    answer(&sides, level, &tilt)
}

fn answer(sides: &Sides<'_>, level: &Level, tilt: &Tilt) -> Result<FrameEdges, FrameNotFound> {
    let picture = sides.picture;
    let scale = f64::from(picture.box_side);
    let to_scan = |(x, y): (f64, f64)| {
        (
            f64::from(picture.left) + scale * x,
            f64::from(picture.top) + scale * y,
        )
    };
    let (mut edges, mut signals, mut beside_all) = (vec![], vec![], vec![]);
    let (mut light_seen, mut least_seen) = (false, 1.0_f64);
    for (name, line, extent) in sides.seen() {
        let view = View::new(picture, name);
        let around = beside(view, line, extent, level);
        light_seen |= around.lighter;
        signals.extend_from_slice(&around.signals);
        let seen = seen_part(line, extent);
        least_seen = least_seen.min(seen);
        let end = |along: f64| to_scan(view.to_picture(line.depth_at(along), along));
        edges.push(Edge {
            side: name,
            ends: [end(extent.0), end(extent.1)],
            place_sd_px: scale * line.middle_sd,
            tilt_deg: view.tilt_of(line.slope),
            rebate_width_px: scale * around.width,
            rebate_cut: around.cut,
            seen_part: seen,
        });
        beside_all.push((name, around));
    }
    if !light_seen && level.signal > OPEN_LIGHT {
        return Err(FrameNotFound::LightOrRebate);
    }
    narrow(sides, &beside_all)?;
    check(sides, level, light_seen)?;
    let whole = sides.is_seen.iter().all(|seen| *seen);
    Ok(FrameEdges {
        edges,
        corners: whole.then(|| sides.corners.map(to_scan)),
        tilt_deg: tilt.degrees,
        tilt_sd_deg: tilt.sd,
        rebate: rebate_of(signals, level),
        light_seen,
        quality: least_seen * (1.0 - tilt.off / (2.0 * OFF_SQUARE)).clamp(0.0, 1.0),
    })
}

fn rebate_of(mut signals: Vec<f64>, level: &Level) -> Rebate {
    if signals.len() < 4 {
        return Rebate {
            signal: level.signal,
            signal_sd: level.high - level.signal,
            pixels: signals.len(),
        };
    }
    signals.sort_unstable_by(f64::total_cmp);
    let at = |part: usize| signals[signals.len() * part / 4];
    Rebate {
        signal: at(2),
        // 1.349: between the quartiles of a normal deviate of spread 1.
        signal_sd: (at(3) - at(1)) / 1.349,
        pixels: signals.len(),
    }
}
