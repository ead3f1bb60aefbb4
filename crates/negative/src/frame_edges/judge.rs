//! What must be true of a frame whose sides were found.

use super::found::{FrameNotFound, SideName};
use super::levels::Level;
use super::side::SideLine;
use super::sides::Sides;
use super::view::View;
use crate::patch::median;

/// Samples along each direction of the picture.
const SAMPLES: usize = 160;
/// Part of a line that is clear all through. A level holds twice its spread on both
/// sides, so 0.95 of the pixels of clear film; dust, scratches and marks may hide as much
/// again (0.05), and 160 samples scatter by a standard deviation of 0.02.
const CLEAR: f64 = 0.88;
/// Widest rebate, part of the picture's own side.
const WIDEST: f64 = 0.25;
/// Widest rebate over that of the opposite side: a gate lies in the middle of its film.
/// Narrow margins differ most. A sheet of 4 × 5 inches has about 2.4 mm beside its
/// opening and some 0.6 mm of play in its holder: 3.0 over 1.8 mm. Sizes and play by
/// common practice, from memory.
const WIDER: f64 = 1.7;
/// Widest rebate over the widest of the others, where the opposite one can't tell: the
/// end of a sheet that lies under the holder's flap is up to twice as wide as its sides,
/// common practice, from memory.
const WIDER_THAN_ALL: f64 = 2.0;
/// What two rebates may differ by in any case, pixels of the reduced picture: each may be
/// off by the two pixels over which a soft outer end falls, and by half a pixel inside.
const DIFFER: f64 = 5.0;
/// How much lighter than all of a rebate another part must be to be no unevenness of the
/// same light: 0.04 in density. A scanner evens its light to a few percent, common
/// practice.
const LIGHTER_BY: f64 = 1.1;
/// Smallest part of a scan that tells that its light is not the rebate: a step of a
/// tablet that is as long as the film takes three times as much, holes and scratches a
/// tenth.
const LIGHT_PART: f64 = 0.001;
/// Part of a side that is even.
const EVEN: f64 = 0.85;
/// Largest part of a picture that may be lighter than its rebate: holes and scratches.
const LIGHTER: f64 = 0.01;

/// What lies beside one side.
#[derive(Clone, Debug)]
pub(super) struct Beside {
    /// Median width of the rebate, pixels of the reduced picture.
    pub(super) width: f64,
    /// Whether it reaches the end of the scan.
    pub(super) cut: bool,
    /// Whether something lighter lies beyond it.
    pub(super) lighter: bool,
    /// Signals of it.
    pub(super) signals: Vec<f64>,
}

/// Part of a side, from one place along it to another, with rebate right outside.
pub(super) fn rebate_part(
    view: View<'_>,
    line: &SideLine,
    extent: (f64, f64),
    level: &Level,
) -> f64 {
    let (mut clear, mut all) = (0_usize, 0_usize);
    for along in places(view, extent) {
        let depth = line.depth_at(along as f64 + 0.5);
        let outside = [2.0, 3.0]
            .into_iter()
            .filter(|off| depth - off >= 0.0)
            .map(|off| view.at(((depth - off) as usize).min(view.depth() - 1), along));
        let mut outside = outside.peekable();
        if outside.peek().is_some() {
            all += 1;
            clear += usize::from(outside.any(|signal| level.holds(signal)));
        }
    }
    clear as f64 / all.max(1) as f64
}

/// The lines along a side, from one place to another, within the picture.
pub(super) fn places(view: View<'_>, extent: (f64, f64)) -> core::ops::Range<usize> {
    let until = (extent.1.max(0.0) as usize).min(view.length());
    (extent.0.max(0.0) as usize).min(until)..until
}

/// Whether a signal is that of rebate; lighter ones are on the way to bare light.
pub(super) fn is_rebate(level: &Level, signal: f64) -> bool {
    let edge_of_light = level.high / libm::cbrt(level.high / level.signal);
    signal >= level.low && signal <= edge_of_light
}

/// Measures the rebate beside a side.
pub(super) fn beside(view: View<'_>, line: &SideLine, extent: (f64, f64), level: &Level) -> Beside {
    let (mut widths, mut signals) = (vec![], vec![]);
    let (mut cut, mut lighter) = (0_usize, 0_usize);
    let step = line.step.max(1.0) as usize;
    for along in places(view, extent).step_by(step) {
        let edge = line.depth_at(along as f64 + 0.5);
        let first = ((edge - 2.0).max(0.0) as usize).min(view.depth() - 1);
        let mut depth = first;
        let holds = |depth: usize| is_rebate(level, view.middle(depth, along));
        while depth > 0 && (holds(depth - 1) || (depth > 1 && holds(depth - 2))) {
            depth -= 1;
        }
        widths.push(edge - depth as f64);
        if depth == 0 {
            cut += 1;
        } else {
            let beyond = view.at(depth.saturating_sub(3), along);
            lighter += usize::from(beyond > 1.03 * level.high);
        }
        // Outer pixels are softened by what lies beyond.
        let inner = (depth + 2).min(first)..first;
        signals.extend(inner.map(|depth| view.at(depth, along)));
    }
    let count = widths.len().max(1);
    Beside {
        width: if widths.is_empty() {
            0.0
        } else {
            median(widths)
        },
        cut: 2 * cut > count,
        lighter: 4 * lighter > count,
        signals,
    }
}

/// Whether a part of the scan outside the picture is lighter than the rebate, so that the
/// rebate is no open light: that is the lightest there is.
pub(super) fn lighter_outside(sides: &Sides<'_>, level: &Level) -> bool {
    let picture = sides.picture;
    let width = picture.width as usize;
    let inside = |x: f64, y: f64| {
        // Corners run clockwise, so the picture lies at the right hand of each side.
        (0..4).all(|k| {
            let ((ax, ay), (bx, by)) = (sides.corners[k], sides.corners[(k + 1) % 4]);
            (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0
        })
    };
    let above = LIGHTER_BY * level.high;
    let lighter = picture
        .signal
        .iter()
        .enumerate()
        .filter(|(_, signal)| f64::from(**signal) > above)
        .filter(|(place, _)| {
            let (x, y) = ((place % width) as f64 + 0.5, (place / width) as f64 + 0.5);
            !inside(x, y)
        });
    lighter.count() as f64 > LIGHT_PART * picture.signal.len() as f64
}

/// Samples of the picture inside its sides, row by row.
fn inside(sides: &Sides<'_>) -> Vec<f64> {
    let picture = sides.picture;
    let (width, height) = (picture.width as usize, picture.height as usize);
    let corners = sides.corners;
    let mut samples = Vec::with_capacity(SAMPLES * SAMPLES);
    for row in 0..SAMPLES {
        let v = 0.01 + 0.98 * (row as f64 + 0.5) / SAMPLES as f64;
        for column in 0..SAMPLES {
            let u = 0.01 + 0.98 * (column as f64 + 0.5) / SAMPLES as f64;
            let between = |pick: fn((f64, f64)) -> f64| {
                let [a, b, c, d] = corners.map(pick);
                (1.0 - v) * ((1.0 - u) * a + u * b) + v * ((1.0 - u) * d + u * c)
            };
            let x = (between(|c| c.0).max(0.0) as usize).min(width - 1);
            let y = (between(|c| c.1).max(0.0) as usize).min(height - 1);
            samples.push(f64::from(picture.signal[y * width + x]));
        }
    }
    samples
}

/// Holds sides against what must be true of a picture and its rebate.
pub(super) fn check(
    sides: &Sides<'_>,
    level: &Level,
    light_seen: bool,
) -> Result<(), FrameNotFound> {
    let samples = inside(sides);
    let above = level.high * libm::sqrt(level.high / level.signal);
    let lighter = samples.iter().filter(|s| **s > above).count() as f64 / samples.len() as f64;
    if lighter > LIGHTER {
        return Err(FrameNotFound::LighterInside {
            percent: 100.0 * lighter,
        });
    }
    clear_band(sides, &samples, level)?;
    if !light_seen {
        ring(sides, samples, level)?;
    }
    Ok(())
}

/// Nothing clear may go through the picture from side to side.
fn clear_band(sides: &Sides<'_>, samples: &[f64], level: &Level) -> Result<(), FrameNotFound> {
    let clear = |line: usize, upright: bool| {
        let held = (0..SAMPLES).filter(|k| {
            let place = if upright {
                k * SAMPLES + line
            } else {
                line * SAMPLES + k
            };
            level.holds(samples[place])
        });
        held.count() as f64 >= CLEAR * SAMPLES as f64
    };
    for (upright, from, near, far) in [
        (true, SideName::Left, sides.corners[0].0, sides.corners[1].0),
        (false, SideName::Top, sides.corners[0].1, sides.corners[3].1),
    ] {
        if let Some(line) = (0..SAMPLES).find(|line| clear(*line, upright)) {
            let part = (line as f64 + 0.5) / SAMPLES as f64;
            return Err(FrameNotFound::TwoFrames {
                at: (near + part * (far - near)) * f64::from(sides.picture.box_side),
                from: from.word(),
            });
        }
    }
    Ok(())
}

/// Open light around film shows as an even ring inside: its own rebate, which is the
/// lightest there.
fn ring(sides: &Sides<'_>, mut samples: Vec<f64>, level: &Level) -> Result<(), FrameNotFound> {
    samples.sort_unstable_by(f64::total_cmp);
    let lightest = samples[samples.len() * 49 / 50];
    let band = level.high / level.signal;
    for (name, line, extent) in sides.seen() {
        let view = View::new(sides.picture, name);
        let ring: Vec<f64> = places(view, (extent.0 + 4.0, extent.1 - 4.0))
            .map(|along| {
                let depth = line.depth_at(along as f64 + 0.5) + 3.0;
                view.at((depth.max(0.0) as usize).min(view.depth() - 1), along)
            })
            .collect();
        if ring.is_empty() {
            continue;
        }
        let middle = median(ring.clone());
        let even = ring
            .iter()
            .filter(|s| **s < middle * band && **s > middle / band);
        if even.count() as f64 > EVEN * ring.len() as f64 && middle * band > lightest {
            return Err(FrameNotFound::LightOrRebate);
        }
    }
    Ok(())
}

/// A rebate is narrow beside its picture, and about as wide as the others.
///
/// A foreground that is clear from side to side, ends in a level line and is narrower
/// than this allows cannot be told from rebate.
pub(super) fn narrow(
    sides: &Sides<'_>,
    around: &[(SideName, Beside)],
) -> Result<(), FrameNotFound> {
    let [a, b, _, d] = sides.corners;
    for (name, here) in around {
        let (across, opposite) = match name {
            SideName::Left => (libm::hypot(b.0 - a.0, b.1 - a.1), SideName::Right),
            SideName::Right => (libm::hypot(b.0 - a.0, b.1 - a.1), SideName::Left),
            SideName::Top => (libm::hypot(d.0 - a.0, d.1 - a.1), SideName::Bottom),
            SideName::Bottom => (libm::hypot(d.0 - a.0, d.1 - a.1), SideName::Top),
        };
        let other = around.iter().find(|(n, o)| *n == opposite && !o.cut);
        let allowed = match other {
            Some((_, other)) => WIDER * other.width,
            None => {
                let others = around.iter().filter(|(n, _)| n != name);
                WIDER_THAN_ALL * others.map(|(_, o)| o.width).fold(0.0, f64::max)
            }
        };
        if here.width > (allowed + DIFFER).min(WIDEST * across) {
            return Err(FrameNotFound::WideRebate {
                side: name.word(),
                width_px: here.width * f64::from(sides.picture.box_side),
            });
        }
    }
    Ok(())
}
