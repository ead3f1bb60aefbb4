//! The search over the even levels of a picture.

use super::found::{FrameEdges, FrameNotFound, SideName};
use super::frame::frame_of;
use super::judge::rebate_part;
use super::levels::{Level, even_levels};
use super::side::{Lines, SideLine, side_line};
use super::sides::{closed, seen_part};
use super::tilt::tilt_of;
use super::view::View;
use crate::preview::Preview;

/// Fewest pixels on each side of the reduced picture.
const NEEDED: u32 = 100;
/// Part of a side that must have rebate right outside.
const REBATE_PART: f64 = 0.85;
/// Part of a side on which the picture must differ from the rebate.
const SEEN_PART: f64 = 0.3;

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
    let around = SideName::ALL.map(|name| Lines::of(View::new(picture, name)));
    for level in &levels {
        match frame_by(picture, &around, level) {
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
fn frame_by(
    picture: &Preview,
    around: &[Lines<'_>; 4],
    level: &Level,
) -> Result<FrameEdges, FrameNotFound> {
    let mut lines = around.each_ref().map(|lines| side_line(lines, level));
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
    frame_of(&sides, level, &tilt)
}
