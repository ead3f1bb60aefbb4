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
    /// Tilt of the camera over the second, to the right and down: a point a whole
    /// width from the middle is drawn in by one part in 1 + tilt.
    pub tilt: (f64, f64),
    /// Standard deviation of grain from pixel to pixel. \[density\]
    pub grain: f64,
    /// What the second frame shows.
    pub second: SecondFrame,
}

impl FramePairPlan {
    /// Rows of both pictures.
    #[must_use]
    pub fn height(&self) -> usize {
        self.width * HEIGHT / WIDTH
    }

    fn middle(&self) -> (f64, f64) {
        (self.width as f64 / 2.0, self.height() as f64 / 2.0)
    }

    /// Gives where a point of the first picture truly lies in the second. \[pixels\]
    #[must_use]
    pub fn carry(&self, point: (f64, f64)) -> (f64, f64) {
        let middle = self.middle();
        let (x, y) = (point.0 - middle.0, point.1 - middle.1);
        let (cosine, sine) = (libm::cos(self.rotation), libm::sin(self.rotation));
        let near = 1.0 + (self.tilt.0 * x + self.tilt.1 * y) / self.width as f64;
        let part = self.scale / near;
        (
            middle.0 + self.shift.0 + part * (cosine * x - sine * y),
            middle.1 + self.shift.1 + part * (sine * x + cosine * y),
        )
    }

    /// Gives the point of the first picture that lies at one of the second.
    fn back(&self, point: (f64, f64)) -> (f64, f64) {
        let middle = self.middle();
        let u = (point.0 - middle.0 - self.shift.0) / self.scale;
        let v = (point.1 - middle.1 - self.shift.1) / self.scale;
        let (cosine, sine) = (libm::cos(self.rotation), libm::sin(self.rotation));
        let (x, y) = (cosine * u + sine * v, cosine * v - sine * u);
        // x = p/(1 + t·p), so p = x/(1 − t·x).
        let near = 1.0 - (self.tilt.0 * x + self.tilt.1 * y) / self.width as f64;
        (middle.0 + x / near, middle.1 + y / near)
    }
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
    let (width, height) = (plan.width, plan.height());
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
    let (width, height) = (plan.width, plan.height());
    let mut first = frame(plan, plan.draw, Band::Visible, 0.0, |x, y| (x, y));
    let back = |x, y| plan.back((x, y));
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
            tilt: (0.0, 0.0),
            grain: 0.0,
            second: SecondFrame::BehindDeepRed,
        };
        let pair = frame_pair(&plan);
        // Middles of the patches "leaves-sun" and "sky", at half the size.
        let (leaves, sky) = (181 * 320 + 86, 31 * 320 + 159);
        assert!(pair.first[leaves] < pair.first[sky]);
        assert!(pair.second[leaves] > pair.second[sky]);
    }

    #[test]
    fn a_tilted_frame_draws_in_what_is_far() {
        let plan = FramePairPlan {
            draw: 1,
            width: 800,
            rotation: 0.0,
            scale: 1.0,
            shift: (10.0, 0.0),
            tilt: (0.25, 0.0),
            grain: 0.0,
            second: SecondFrame::BehindDeepRed,
        };
        // Hand calculation: 200 px right of the middle is a quarter of the width, drawn
        // in by 1 + 0.25/4 = 1.0625 to 188.235; with the shift 198.235 from it.
        let (x, y) = plan.carry((600.0, 420.0));
        assert!((x - (400.0 + 10.0 + 200.0 / 1.0625)).abs() < 1e-9, "{x}");
        assert!((y - (320.0 + 100.0 / 1.0625)).abs() < 1e-9, "{y}");
        let turned = FramePairPlan {
            rotation: 0.2,
            tilt: (0.05, -0.08),
            ..plan
        };
        let there = turned.back(turned.carry((123.0, 456.0)));
        // 1e-9: rounding of numbers of order a thousand.
        assert!(
            (there.0 - 123.0).abs() < 1e-9 && (there.1 - 456.0).abs() < 1e-9,
            "{there:?}"
        );
    }
}
