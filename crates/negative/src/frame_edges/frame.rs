//! The frame that sides and their level make, measured in pixels of the scan.

use super::clear_stretch::clear_stretch;
use super::found::{Edge, FrameEdges, FrameNotFound, Rebate};
use super::judge::{beside, check, lighter_outside, narrow};
use super::levels::Level;
use super::sides::{Sides, seen_part};
use super::tilt::Tilt;
use super::view::View;

/// A level this near full light may be the light itself: base without fog takes some
/// 0.03 in density and more. \[part of full light\]
const OPEN_LIGHT: f64 = 0.93;

/// Gives the frame inside its sides, with `level` for its rebate.
///
/// # Errors
/// [`FrameNotFound`] with what is no picture within its rebate.
pub(super) fn frame_of(
    sides: &Sides<'_>,
    level: &Level,
    tilt: &Tilt,
) -> Result<FrameEdges, FrameNotFound> {
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
    let mut stretches = vec![];
    for (name, line, extent) in sides.seen() {
        let view = View::new(picture, name);
        let around = beside(view, line, extent, level);
        light_seen |= around.lighter;
        signals.extend_from_slice(&around.signals);
        stretches.extend(clear_stretch(view, line, extent, level, around.width));
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
    light_seen |= lighter_outside(sides, level);
    if !light_seen && level.signal > OPEN_LIGHT {
        return Err(FrameNotFound::LightOrRebate);
    }
    narrow(sides, &beside_all)?;
    check(sides, level, light_seen)?;
    Ok(FrameEdges {
        edges,
        corners: sides.whole().then(|| sides.corners.map(to_scan)),
        tilt_deg: tilt.degrees,
        tilt_sd_deg: tilt.sd,
        rebate: rebate_of(signals, level),
        clear_stretch: stretches
            .into_iter()
            .max_by(|a, b| a.area.total_cmp(&b.area))
            .map(|stretch| stretch.corners.map(to_scan)),
        light_seen,
        quality: least_seen * tilt.squareness(),
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
