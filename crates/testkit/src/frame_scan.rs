//! Reduced pictures of scans with a frame of film in them, drawn at random.
//!
//! For trying what looks for the edges of the picture. Rebate lies around the
//! picture, then holder or bare light; a dense sky may touch the upper edge and
//! thin foreground, as clear as the rebate, part of the lower one; dust and grain
//! lie over all.

use crate::noise::Draws;
use crate::texture::Texture;

/// What a made scan shows instead of a whole frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameFlaw {
    /// A frame with rebate on two to four sides.
    None,
    /// The picture fills the scan.
    NoRebate,
    /// The holder lies on the picture on all sides.
    Masked,
    /// Film without a picture.
    Blank,
    /// Two frames beside each other.
    TwoFrames,
    /// The foreground is clear from side to side and ends in a level line.
    ClearForeground,
}

/// A made scan of a frame, reduced two to one.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameScan {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Linear light, row by row.
    pub signal: Vec<f32>,
    /// Corners of the picture: left top, right top, right bottom, left bottom.
    pub corners: [(f64, f64); 4],
    /// Whether the rebate shows at the left, top, right and bottom.
    pub rebate: [bool; 4],
    /// Width of the rebate, pixels.
    pub rebate_width: f64,
    /// Tilt, positive when the upper side falls to the right. \[degrees\]
    pub tilt_deg: f64,
    /// Signal of the rebate, without noise.
    pub rebate_signal: f64,
    /// Whether bare light lies around the film.
    pub in_light: bool,
    /// Light from the left edge to the right, and from the upper to the lower, more
    /// by these parts.
    pub lamp: (f64, f64),
    /// What was drawn, in words.
    pub scene: String,
}

/// Density of a holder.
const OPAQUE: f64 = 4.0;
/// Signal of bare light.
const LIGHT: f64 = 0.9;

/// Makes a scan of 1000 × 720 pixels from a draw.
#[must_use]
pub fn frame_scan(draw: u64, flaw: FrameFlaw) -> FrameScan {
    let mut draws = Draws::new(draw, 61);
    let (width, height) = (1000_usize, 720_usize);
    let tilt_deg = draws.between(-3.0, 3.0);
    let (sin, cos) = (
        libm::sin(tilt_deg.to_radians()),
        libm::cos(tilt_deg.to_radians()),
    );
    let half = (draws.between(330.0, 400.0), draws.between(215.0, 260.0));
    let centre = (
        500.0 + draws.between(-12.0, 12.0),
        360.0 + draws.between(-12.0, 12.0),
    );
    let rebate_width = draws.between(8.0, 45.0);
    // A holder may lie on the picture at the left, at the right, or at both.
    let mut rebate = [true; 4];
    match draws.uniform() {
        u if u < 0.4 => {}
        u if u < 0.6 => rebate[0] = false,
        u if u < 0.8 => rebate[2] = false,
        _ => (rebate[0], rebate[2]) = (false, false),
    }
    let whole = !matches!(flaw, FrameFlaw::None | FrameFlaw::ClearForeground);
    if whole {
        rebate = [flaw != FrameFlaw::Masked; 4];
    }
    let in_light = draws.uniform() < 0.5;
    let base = draws.between(0.05, 0.35);
    let (grain, noise) = (draws.between(0.002, 0.03), draws.between(0.0005, 0.004));
    let texture = Texture::new(draw, 5);
    let scale = draws.between(40.0, 200.0);
    let contrast = draws.between(0.3, 1.0);
    let sky = (draws.uniform() < 0.6).then(|| draws.between(0.8, 1.8));
    let foreground =
        (draws.uniform() < 0.6).then(|| (draws.between(-0.9, 0.1), draws.between(0.2, 0.5)));
    let (gap, level) = (draws.between(-0.2, 0.2), draws.between(0.3, 0.7));
    let picture = |u: f64, v: f64| -> f64 {
        let (part_u, part_v) = (u / half.0, v / half.1);
        if flaw == FrameFlaw::Blank {
            return base;
        }
        if flaw == FrameFlaw::TwoFrames && (part_u - gap).abs() * half.0 < 0.6 * rebate_width {
            return base;
        }
        if flaw == FrameFlaw::ClearForeground && part_v > level {
            return base;
        }
        let scene = texture.octaves(u / scale, v / scale, 4);
        if let Some((from, length)) = foreground {
            // As clear as the rebate, with a ragged upper outline.
            let inside = 2.0 * (part_u - from) / (2.0 * length);
            if (0.0..1.0).contains(&inside) && part_v > 0.6 + 0.2 * scene {
                return base;
            }
        }
        if let Some(sky) = sky
            && part_v < -0.3 + 0.2 * scene
        {
            return base + sky + 0.05 * part_u;
        }
        base + contrast * (0.9 + 0.45 * scene).clamp(0.06, 2.0)
    };
    let density = |x: f64, y: f64| -> Option<f64> {
        let (dx, dy) = (x - centre.0, y - centre.1);
        let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
        if flaw == FrameFlaw::NoRebate {
            return Some(picture(u, v));
        }
        if u.abs() < half.0 && v.abs() < half.1 {
            // The holder lies 20 pixels over the picture's edge.
            let masked = (!rebate[0] && u < 20.0 - half.0)
                || (!rebate[2] && u > half.0 - 20.0)
                || (flaw == FrameFlaw::Masked && v.abs() > half.1 - 20.0);
            return Some(if masked { OPAQUE } else { picture(u, v) });
        }
        let over = (!rebate[0] && u < 20.0 - half.0) || (!rebate[2] && u > half.0 - 20.0);
        if over || flaw == FrameFlaw::Masked {
            return Some(OPAQUE);
        }
        let film = u.abs() < half.0 + rebate_width && v.abs() < half.1 + rebate_width;
        if film {
            Some(base)
        } else {
            (!in_light).then_some(OPAQUE)
        }
    };
    let lamp = (draws.between(-0.02, 0.02), draws.between(-0.02, 0.02));
    let mut light = vec![0.0_f64; width * height];
    for y in 0..height {
        for x in 0..width {
            let mut sum = 0.0;
            for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let film = density(x as f64 + dx, y as f64 + dy);
                sum += film.map_or(1.0, |d| libm::exp10(-d));
            }
            let uneven = 1.0
                + lamp.0 * (x as f64 / width as f64 - 0.5)
                + lamp.1 * (y as f64 / height as f64 - 0.5);
            light[y * width + x] = LIGHT * uneven * sum / 4.0;
        }
    }
    for _ in 0..draws.between(5.0, 60.0) as usize {
        let (x, y) = (
            draws.between(4.0, width as f64 - 4.0) as usize,
            draws.between(4.0, height as f64 - 4.0) as usize,
        );
        let size = draws.between(1.0, 3.9) as usize;
        for row in y - size / 2..=y + size / 2 {
            for column in x - size..=x + size {
                if let Some(pixel) = light.get_mut(row * width + column) {
                    *pixel *= 0.4;
                }
            }
        }
    }
    let signal = light
        .iter()
        .map(|light| {
            let grainy = light * libm::exp10(-grain * draws.pixel());
            (grainy + noise * draws.pixel()).clamp(0.0, 1.0) as f32
        })
        .collect();
    let corner = |u: f64, v: f64| {
        (
            centre.0 + u * half.0 * cos - v * half.1 * sin,
            centre.1 + u * half.0 * sin + v * half.1 * cos,
        )
    };
    FrameScan {
        width,
        height,
        signal,
        corners: [
            corner(-1.0, -1.0),
            corner(1.0, -1.0),
            corner(1.0, 1.0),
            corner(-1.0, 1.0),
        ],
        rebate,
        rebate_width,
        tilt_deg,
        rebate_signal: LIGHT * libm::exp10(-base),
        in_light,
        lamp,
        scene: format!(
            "tilt {tilt_deg:.2}, half {:.0} × {:.0}, rebate {rebate_width:.0} {rebate:?}, light {in_light}, base {base:.2}, grain {grain:.3}, sky {sky:?}, foreground {foreground:?}, contrast {contrast:.2}",
            half.0, half.1
        ),
    }
}
