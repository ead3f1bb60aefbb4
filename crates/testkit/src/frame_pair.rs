//! Two frames of one landscape through different filters, laid differently in
//! their scans: the true placement is known.
//!
//! The first is exposed without a filter in the sun, the second behind a
//! deep-red one: leaves go from thin to dense and a clear sky the other way.

use crate::landscape::{Band, HEIGHT, WIDTH, Weather, softened};
use crate::noise::Draws;

/// What the second frame shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SecondFrame {
    /// The same landscape behind a deep-red filter.
    BehindDeepRed,
    /// Nothing but grain on base and fog.
    Blank,
    /// Another landscape.
    OtherSubject,
}

/// How a pair of frames is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FramePairPlan {
    /// Which random landscape and grain.
    pub draw: u64,
    /// Width of both pictures; the height is four fifths of it. \[pixels\]
    pub width: usize,
    /// Clockwise rotation of the second about the middle. \[radians\]
    pub rotation: f64,
    /// Scale of the second.
    pub scale: f64,
    /// Shift of the middle in the second. \[pixels\]
    pub shift: (f64, f64),
    /// Standard deviation of grain from pixel to pixel. \[density\]
    pub grain: f64,
    /// What the second frame shows.
    pub second: SecondFrame,
}

/// Two frames, row by row. \[density\]
#[derive(Clone, Debug, PartialEq)]
pub struct FramePair {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The frame without a filter.
    pub first: Vec<f32>,
    /// The other frame.
    pub second: Vec<f32>,
}

/// A made-up film: toe, line of gradient 0.65, shoulder, on a base of 0.2.
fn density(log_h: f64) -> f64 {
    let soft = |x: f64| 0.25 * libm::log(1.0 + libm::exp(x / 0.25));
    0.2 + 0.65 * (soft(log_h + 1.3) - soft(log_h - 1.5))
}

fn frame(
    plan: &FramePairPlan,
    draw: u64,
    band: Band,
    log_h: f64,
    from_pixel: impl Fn(f64, f64) -> (f64, f64),
) -> Vec<f32> {
    let (width, height) = (plan.width, plan.width * HEIGHT / WIDTH);
    let unit = WIDTH as f64 / width as f64;
    // Two by two samples in each pixel.
    let mut light = vec![0.0; width * height];
    for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
        let points: Vec<(f64, f64)> = (0..width * height)
            .map(|i| from_pixel((i % width) as f64 + dx, (i / width) as f64 + dy))
            .map(|(x, y)| (x * unit, y * unit))
            .collect();
        let levels =
            crate::landscape::Landscape::brightness_at(draw, &points, band, Weather::ClearSun);
        for (light, level) in light.iter_mut().zip(levels) {
            *light += 0.25 * libm::exp10(level);
        }
    }
    softened(&light, width, height)
        .into_iter()
        .map(|light| density(log_h + libm::log10(light)) as f32)
        .collect()
}

/// Makes a pair of frames.
#[must_use]
pub fn frame_pair(plan: &FramePairPlan) -> FramePair {
    let (width, height) = (plan.width, plan.width * HEIGHT / WIDTH);
    let middle = (width as f64 / 2.0, height as f64 / 2.0);
    let mut first = frame(plan, plan.draw, Band::Visible, 0.0, |x, y| (x, y));
    // A point q of the second shows c + R(−a)(q − c − shift)/scale of the first.
    let (cosine, sine) = (libm::cos(plan.rotation), libm::sin(plan.rotation));
    let back = |x: f64, y: f64| {
        let u = (x - middle.0 - plan.shift.0) / plan.scale;
        let v = (y - middle.1 - plan.shift.1) / plan.scale;
        (
            middle.0 + cosine * u + sine * v,
            middle.1 - sine * u + cosine * v,
        )
    };
    let mut second = match plan.second {
        SecondFrame::BehindDeepRed => frame(plan, plan.draw, Band::DeepRed, -0.2, back),
        SecondFrame::OtherSubject => {
            // Elsewhere in an endless landscape of another draw, mirrored.
            let other = |x: f64, y: f64| back(width as f64 - x, y + 0.3 * height as f64);
            frame(plan, plan.draw + 7919, Band::DeepRed, -0.2, other)
        }
        SecondFrame::Blank => vec![0.2; width * height],
    };
    for (stream, picture) in [(71, &mut first), (72, &mut second)] {
        let mut draws = Draws::new(plan.draw, stream);
        for value in picture.iter_mut() {
            *value += (plan.grain * draws.pixel()) as f32;
        }
    }
    FramePair {
        width,
        height,
        first,
        second,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leaves_and_sky_change_places_behind_the_filter() {
        let plan = FramePairPlan {
            draw: 1,
            width: 320,
            rotation: 0.0,
            scale: 1.0,
            shift: (0.0, 0.0),
            grain: 0.0,
            second: SecondFrame::BehindDeepRed,
        };
        let pair = frame_pair(&plan);
        // Middles of the patches "leaves-sun" and "sky", at half the size.
        let (leaves, sky) = (181 * 320 + 86, 31 * 320 + 159);
        assert!(pair.first[leaves] < pair.first[sky]);
        assert!(pair.second[leaves] > pair.second[sky]);
    }
}
