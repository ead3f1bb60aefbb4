//! Where a frame got more light than another, in stops.
//!
//! The colours go from dark blue (lost) by grey (as much) to light yellow (gained):
//! told apart by readers who see no red or no green, and, since they only get
//! lighter, in a grey print.

use crate::density_map::{MapFigure, begin, draw_marks};
use crate::shown;
use crate::svg::{Anchor, Ink, Sheet, Style};

/// Colours at −1, −½, 0, ½ and 1 of the scale: each lighter than the one before.
const COLOURS: [[u8; 3]; 5] = [
    [8, 24, 84],
    [48, 92, 164],
    [140, 140, 140],
    [220, 170, 60],
    [255, 240, 170],
];
/// Steps to a side, at most.
const STEPS: f64 = 8.0;

/// How stops become colours: in even steps to both sides of zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StopsScale {
    most: f64,
    step: f64,
}

impl StopsScale {
    /// Gives the scale that holds so many stops to both sides, at least one.
    #[must_use]
    pub fn holding(stops: f64) -> Self {
        let most = libm::ceil(stops.clamp(1.0, 20.0));
        let step = if most <= STEPS / 2.0 {
            0.5
        } else {
            libm::ceil(most / STEPS)
        };
        Self {
            most: step * libm::ceil(most / step),
            step,
        }
    }

    /// Gives the last step of the scale. \[stops\]
    #[must_use]
    pub fn most(&self) -> f64 {
        self.most
    }

    fn steps(&self) -> i32 {
        // At most 20 to a side, so the cast is exact.
        libm::round(self.most / self.step) as i32
    }

    fn colour_of_step(&self, step: i32) -> [u8; 3] {
        let part = (f64::from(step) / f64::from(self.steps()) + 1.0) * 2.0;
        let below = libm::floor(part).clamp(0.0, 3.0);
        let between = part - below;
        // 0 to 3 after the clamp.
        let (from, to) = (COLOURS[below as usize], COLOURS[below as usize + 1]);
        core::array::from_fn(|i| {
            let (a, b) = (f64::from(from[i]), f64::from(to[i]));
            // Between two numbers of 0 to 255, so the cast is exact.
            libm::round(a + (b - a) * between) as u8
        })
    }

    /// Gives the colour of a difference; beyond the scale that of its end.
    #[must_use]
    pub fn colour(&self, stops: f64) -> [u8; 3] {
        let last = f64::from(self.steps());
        let step = libm::round(stops / self.step).clamp(-last, last);
        self.colour_of_step(step as i32)
    }
}

/// Draws a map of differences with its scale.
#[must_use]
pub fn stops_map(figure: &MapFigure, scale: &StopsScale, sheet: Sheet) -> String {
    let (mut svg, y) = begin(figure, sheet);
    let steps = scale.steps();
    let field = (sheet.width_px / f64::from(2 * steps + 1)).min(40.0);
    for (place, step) in (-steps..=steps).enumerate() {
        let x = field * place as f64;
        svg.fixed_rectangle((x, y), (field, 18.0), scale.colour_of_step(step));
        let value = f64::from(step) * scale.step;
        let whole = (value - libm::round(value)).abs() < 1e-9;
        if whole || field >= 34.0 {
            let decimals = usize::from(!whole);
            let text = match step {
                s if s == -steps => format!("≤{}", shown::signed(value, decimals)),
                s if s == steps => format!("≥{}", shown::signed(value, decimals)),
                0 => "0".to_owned(),
                _ => shown::signed(value, decimals),
            };
            svg.text(
                x + 0.5 * field,
                y + 32.0,
                &text,
                Style::SMALL.anchor(Anchor::Middle),
            );
        }
    }
    let y = y + 50.0;
    svg.text(
        0.0,
        y,
        "stops; darker: less light than on the other frame; lighter: more",
        Style::SMALL.ink(Ink::Muted),
    );
    let y = draw_marks(&mut svg, figure, (y + 12.0, sheet.width_px));
    svg.finish(y)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of an sRGB colour (IEC 61966-2-1, coefficients of ITU-R BT.709).
    fn luminance(colour: [u8; 3]) -> f64 {
        let light = colour.map(|v| libm::pow(f64::from(v) / 255.0, 2.2));
        0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]
    }

    #[test]
    fn every_step_is_lighter_than_the_one_before() {
        for stops in [1.0, 2.5, 4.0, 6.0, 11.0] {
            let scale = StopsScale::holding(stops);
            assert!(scale.most() >= stops);
            let all: Vec<f64> = (-scale.steps()..=scale.steps())
                .map(|step| luminance(scale.colour_of_step(step)))
                .collect();
            assert!(all.windows(2).all(|w| w[1] > w[0]), "{stops}: {all:?}");
        }
    }

    #[test]
    fn zero_is_neutral_and_the_ends_hold_what_is_beyond() {
        let scale = StopsScale::holding(3.2);
        assert_eq!(scale.colour(0.0), [140; 3]);
        assert_eq!(scale.colour(0.2), [140; 3]);
        assert_eq!(scale.colour(9.0), COLOURS[4]);
        assert_eq!(scale.colour(-4.0), COLOURS[0]);
    }
}
