//! The grey scale that stands beside pictures of negatives.
//!
//! Screen luminance is proportional to transmittance and sRGB-encoded, at one
//! fixed scale: a negative looks as it does on a light table. Pictures are to
//! be made with [`DensityScale::grey`], so that scale and pictures can't part.
//!
//! Symbols: D gross density; Y luminance, 1 for white; V sRGB value.
//! Source of the encoding: IEC 61966-2-1 (sRGB), from memory.

use crate::shown;
use crate::svg::{Anchor, Colours, Dash, Sheet, Svg};
use quantity::Stops;

/// How density becomes brightness in a row of pictures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DensityScale {
    /// The gross density that is shown as white; thinner film is white too.
    pub white_density: f64,
    /// Base+fog, to be marked on the scale.
    pub base_plus_fog: Option<f64>,
    /// By how much all pictures of the row are lifted; zero for as they look.
    pub lifted_by: Stops,
    /// Whether densities are absolute; otherwise they are relative.
    pub absolute: bool,
}

impl DensityScale {
    /// Gives the highest gross density that is still white: one stop of lift is
    /// log10 2 more.
    #[must_use]
    pub fn white_up_to(&self) -> f64 {
        self.white_density + self.lifted_by.to_stops() * core::f64::consts::LOG10_2
    }

    /// Gives the 8-bit grey of a density; black for no number.
    #[must_use]
    pub fn grey(&self, density: f64) -> u8 {
        // Y = 10^(D_white − D) · 2^lift, at most 1.
        let luminance = libm::pow(10.0, self.white_density - density) * self.lifted_by.to_ratio();
        if luminance.is_nan() {
            return 0;
        }
        let luminance = luminance.min(1.0);
        // IEC 61966-2-1: V = 12.92 Y below 0.0031308, else 1.055 Y^(1/2.4) − 0.055.
        let encoded = if luminance <= 0.003_130_8 {
            12.92 * luminance
        } else {
            1.055 * libm::pow(luminance, 1.0 / 2.4) - 0.055
        };
        // 0 to 255 after the clamp, so the cast is exact.
        libm::round(encoded.clamp(0.0, 1.0) * 255.0) as u8
    }
}

/// Length of one step of 0.3, in pixels.
const STEP_PX: f64 = 28.0;
/// Fields of the scale: densities 0.0 to 3.0.
const FIELDS: u32 = 11;
/// The surround of pictures, a middle grey.
pub(crate) const SURROUND: u8 = 0x77;

/// Draws the grey scale in steps of 0.3 on the surround that pictures have: a
/// low strip, so that it can stand over the pictures and stay in sight.
#[must_use]
pub fn density_scale(scale: &DensityScale, colours: Colours) -> String {
    let sheet = Sheet {
        width_px: 2.0 * 2.0 + STEP_PX * f64::from(FIELDS),
        colours,
    };
    let kind = if scale.absolute {
        "density"
    } else {
        "relative density"
    };
    let base = scale.base_plus_fog.map_or(String::new(), |b| {
        format!(" Base+fog is at {}.", shown::density(b))
    });
    let lift = if scale.lifted_by == Stops::ZERO {
        String::new()
    } else {
        format!(" Lifted by {} stops.", shown::stops(scale.lifted_by))
    };
    let description = format!(
        "Grey scale of {kind} from 0.0 to 3.0 in steps of 0.3; {} and less is white.{lift}{base}",
        shown::density(scale.white_up_to())
    );
    let mut svg = Svg::new(sheet, "Density scale of the pictures", &description);
    let height = draw_scale(&mut svg, scale, 0.0);
    svg.finish(height)
}

/// Draws the scale with its upper left corner at x 0 and this y, and gives the y
/// below it.
pub(crate) fn draw_scale(svg: &mut Svg, scale: &DensityScale, from_y: f64) -> f64 {
    let (left, top, high) = (2.0, from_y + 17.0, 15.0);
    let width_px = 2.0 * left + STEP_PX * f64::from(FIELDS);
    let height = top + high + 17.0;
    svg.grey_rectangle(0.0, from_y, width_px, height - from_y, SURROUND);
    for field in 0..FIELDS {
        let density = f64::from(field) * 0.3;
        let x = left + f64::from(field) * STEP_PX;
        svg.grey_rectangle(x, top, STEP_PX, high, scale.grey(density));
        svg.black_text(
            x + STEP_PX / 2.0,
            top + high + 13.0,
            &shown::fixed(density, 1),
            Anchor::Middle,
        );
    }
    let name = if scale.absolute {
        "density (gross)"
    } else {
        "relative density"
    };
    svg.black_text(width_px - left, from_y + 12.0, name, Anchor::End);
    if let Some(base) = scale.base_plus_fog {
        // A density stands at the middle of its step's field.
        let x = left + STEP_PX * (base / 0.3 + 0.5);
        // Left of the name of the scale.
        if (left..width_px - 170.0).contains(&x) {
            svg.grey_line((x, from_y + 3.0), (x, top + high), 0, Dash::Solid);
            svg.black_text(
                x + 4.0,
                from_y + 12.0,
                &format!("b+f {}", shown::density(base)),
                Anchor::Start,
            );
        }
    }
    height
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale(lift: f64) -> DensityScale {
        DensityScale {
            white_density: 0.0,
            base_plus_fog: Some(0.12),
            lifted_by: Stops::new(lift).unwrap(),
            absolute: true,
        }
    }

    #[test]
    fn grey_follows_transmittance_through_srgb() {
        // Reference computation from the closed form of IEC 61966-2-1: Y = 0.5 gives
        // V = 0.7354 = 187.5/255, Y = 0.1 gives 0.3492 = 89.0/255, Y = 0.001 gives 3.29/255.
        for (density, grey) in [
            (0.0, 255),
            (core::f64::consts::LOG10_2, 188),
            (1.0, 89),
            (3.0, 3),
        ] {
            let ours = scale(0.0).grey(density);
            // 1: the table above is rounded where 187.5 may fall to either side.
            assert!(
                ours.abs_diff(grey) <= 1,
                "{density}: {ours}, expected {grey}"
            );
        }
        assert_eq!(scale(0.0).grey(-0.2), 255);
    }

    #[test]
    fn a_lift_of_one_stop_is_a_density_of_log_2() {
        // Definition: one stop is log10 2 = 0.301 03.
        assert_eq!(scale(1.0).grey(1.301_03), scale(0.0).grey(1.0));
        // Two stops: 0.602 06 is the last white, and a tenth more is not.
        let lifted = scale(2.0);
        assert!((lifted.white_up_to() - 0.602_06).abs() < 1e-5);
        assert_eq!(lifted.grey(lifted.white_up_to()), 255);
        assert!(lifted.grey(lifted.white_up_to() + 0.1) < 255);
    }
}
