//! A simple landscape: what is where, and how bright it is in each band.
//!
//! A house with a tree before hills, a path, a bush and a grey card in the sun,
//! a bush and a grey card in the shade of a wall that stands outside the
//! picture. Every brightness is log10 luminance relative to the grey card in
//! the full light, as the film sees it in that band. The numbers are invented,
//! in the order that is common knowledge: behind a deep-red filter leaves are
//! brighter than the card and a clear sky is darker.

use crate::texture::Texture;
use record::{Outline, PatchRole};

/// Width of the picture, pixels.
pub(crate) const WIDTH: usize = 640;
/// Height of the picture, pixels.
pub(crate) const HEIGHT: usize = 512;

/// What the film sees with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Band {
    /// No filter.
    Visible,
    /// A plain red filter.
    Red,
    /// A deep-red long-pass filter.
    DeepRed,
}

/// The weather.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weather {
    ClearSun,
    Overcast,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Surface {
    Sky,
    FarHill,
    Wood,
    Grass,
    Leaves,
    Trunk,
    Wall,
    Gable,
    Roof,
    Door,
    Path,
    Card,
    Stand,
}

#[derive(Clone, Copy)]
struct Spot {
    surface: Surface,
    /// How much of it is cloud (sky only), 0 to 1.
    cloud: f64,
    /// How much of the direct light is kept off, 0 to 1.
    shade: f64,
    /// Texture, log10, the same in every band.
    texture: f64,
}

/// A patch of the landscape, in pixels of the picture.
pub(crate) struct Place {
    pub(crate) name: &'static str,
    pub(crate) role: PatchRole,
    pub(crate) x: u32,
    pub(crate) y: u32,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

impl Place {
    const fn new(name: &'static str, role: PatchRole, at: (u32, u32), size: (u32, u32)) -> Self {
        Self {
            name,
            role,
            x: at.0,
            y: at.1,
            width: size.0,
            height: size.1,
        }
    }

    /// Gives the outline after moving the picture's corner to a place in the scan.
    pub(crate) fn outline(&self, left: u32, top: u32) -> Outline {
        Outline::Rectangle {
            x: self.x + left,
            y: self.y + top,
            width: self.width,
            height: self.height,
        }
    }
}

/// The patches that are measured.
pub(crate) const PLACES: [Place; 8] = [
    Place::new("grey-card", PatchRole::GreyCard, (246, 402), (44, 32)),
    Place::new("leaves-sun", PatchRole::SunlitFoliage, (146, 346), (54, 34)),
    Place::new(
        "leaves-shade",
        PatchRole::ShadedFoliage,
        (574, 352),
        (48, 28),
    ),
    Place::new(
        "grey-card-shade",
        PatchRole::ShadedGreyCard,
        (496, 362),
        (30, 20),
    ),
    Place::new("sky", PatchRole::Sky, (286, 44), (64, 36)),
    Place::new("wall", PatchRole::Wall, (450, 226), (36, 40)),
    Place::new("door", PatchRole::Shadow, (527, 252), (14, 42)),
    Place::new("gable", PatchRole::Highlight, (388, 226), (30, 50)),
];

/// Gives the brightness of leaves relative to a grey card in the same light,
/// in the sun and in the shade, log10.
pub(crate) fn leaves(band: Band, weather: Weather) -> (f64, f64) {
    let level = |shade| {
        let spot = |surface| Spot {
            surface,
            cloud: 0.0,
            shade,
            texture: 0.0,
        };
        brightness(spot(Surface::Leaves), 0.0, band, weather)
            - brightness(spot(Surface::Card), 0.0, band, weather)
    };
    (level(0.0), level(1.0))
}

/// Gives log10 luminance relative to the grey card in full light; `height` is
/// 0 at the top of the picture and 1 at the bottom.
fn brightness(spot: Spot, height: f64, band: Band, weather: Weather) -> f64 {
    use Surface::*;
    // Columns: no filter, red, deep red.
    let of = |levels: [f64; 3]| match band {
        Band::Visible => levels[0],
        Band::Red => levels[1],
        Band::DeepRed => levels[2],
    };
    let own = match spot.surface {
        Sky => {
            let (clear, cloud) = match weather {
                // The sky pales towards the horizon, at four tenths of the height.
                Weather::ClearSun => (
                    of([0.42, 0.02, -0.45]) + of([0.7, 0.9, 0.8]) * height,
                    of([0.92, 0.86, 0.72]),
                ),
                Weather::Overcast => (
                    of([0.85, 0.82, 0.60]) + 0.3 * height,
                    of([1.05, 1.02, 0.80]),
                ),
            };
            // Light adds, not its logarithm.
            let light = libm::exp10(clear) * (1.0 - spot.cloud) + libm::exp10(cloud) * spot.cloud;
            libm::log10(light)
        }
        FarHill => of([0.08, -0.06, 0.18]),
        Wood => of([-0.42, -0.58, 0.22]),
        Grass => of([-0.20, -0.30, 0.30]),
        Leaves => of([-0.25, -0.40, 0.35]),
        Trunk => of([-0.55, -0.45, -0.05]),
        Wall => of([0.20, 0.26, 0.24]),
        Gable => of([0.60, 0.60, 0.55]),
        Roof => of([-0.40, -0.18, -0.10]),
        Door => of([-1.05, -0.95, -0.90]),
        Path => of([0.22, 0.30, 0.34]),
        Card => 0.0,
        Stand => of([-0.8, -0.7, -0.2]),
    };
    let shaded = match weather {
        Weather::ClearSun => of([-0.80, -0.95, -1.10]),
        // Under a closed sky there is hardly any shade.
        Weather::Overcast => -0.15,
    };
    // Leaves in the shade are also lit through other leaves, which are clear
    // beyond the visible.
    let through = match (spot.surface, weather) {
        (Leaves, Weather::ClearSun) => of([0.0, 0.0, 0.05]),
        _ => 0.0,
    };
    own + spot.shade * (shaded + through) + spot.texture
}

/// The landscape as drawn for one draw.
pub(crate) struct Landscape {
    spots: Vec<Spot>,
}

/// Gives how far a point lies inside an ellipse: 1 at its middle, 0 at its edge.
fn inside(x: f64, y: f64, middle: (f64, f64), radius: (f64, f64)) -> f64 {
    let (u, v) = ((x - middle.0) / radius.0, (y - middle.1) / radius.1);
    1.0 - libm::sqrt(u * u + v * v)
}

fn smooth_step(low: f64, high: f64, value: f64) -> f64 {
    // `low` may be above `high`: then it falls.
    let t = ((value - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

fn within(x: f64, y: f64, left: f64, top: f64, right: f64, bottom: f64) -> bool {
    (left..right).contains(&x) && (top..bottom).contains(&y)
}

impl Landscape {
    pub(crate) fn new(draw: u64) -> Self {
        let pixels = (0..WIDTH * HEIGHT).map(|i| ((i % WIDTH) as f64, (i / WIDTH) as f64));
        Self {
            spots: Self::spots_at(draw, pixels),
        }
    }

    /// Gives log10 luminance at any points of the landscape, its own pixels
    /// being the unit: for pictures of other sizes and positions.
    pub(crate) fn brightness_at(
        draw: u64,
        points: &[(f64, f64)],
        band: Band,
        weather: Weather,
    ) -> Vec<f64> {
        Self::spots_at(draw, points.iter().copied())
            .into_iter()
            .zip(points)
            .map(|(spot, (_, y))| brightness(spot, y / HEIGHT as f64, band, weather))
            .collect()
    }

    fn spots_at(draw: u64, points: impl Iterator<Item = (f64, f64)>) -> Vec<Spot> {
        let [clouds, hills, wood, leaf, grain, edge] =
            [1, 2, 3, 4, 5, 6].map(|number| Texture::new(draw, number));
        let spot = |x: f64, y: f64| {
            let leafy = |size: f64, strength: f64| strength * leaf.octaves(x / size, y / size, 3);
            let fine = |strength: f64| strength * grain.at(x / 2.0, y / 2.0);
            let ragged = 0.12 * edge.octaves(x / 14.0, y / 14.0, 3);

            let plain = |surface, texture| Spot {
                surface,
                cloud: 0.0,
                shade: 0.0,
                texture,
            };
            // Shade of a tree outside the picture, soft and uneven at its edge.
            let crown_shade = inside(x, y, (585.0, 372.0), (128.0, 84.0))
                + 0.30 * edge.octaves(x / 42.0, y / 26.0, 3);
            let shade = smooth_step(-0.12, 0.16, crown_shade);

            // From near to far; the first that covers the point is seen.
            if within(x, y, 240.0, 396.0, 296.0, 440.0) {
                return plain(Surface::Card, 0.0);
            }
            if within(x, y, 264.0, 440.0, 272.0, 500.0) {
                return plain(Surface::Stand, 0.0);
            }
            if within(x, y, 490.0, 357.0, 532.0, 387.0) {
                return Spot {
                    shade: 1.0,
                    ..plain(Surface::Card, 0.0)
                };
            }
            if within(x, y, 508.0, 387.0, 514.0, 420.0) {
                return Spot {
                    shade: 1.0,
                    ..plain(Surface::Stand, 0.0)
                };
            }
            if inside(x, y, (602.0, 350.0), (58.0, 46.0)) + ragged > 0.0 {
                // Light from the open sky falls on its top.
                let top = 0.10 * smooth_step(352.0, 312.0, y);
                return Spot {
                    shade: 1.0,
                    ..plain(Surface::Leaves, top + leafy(7.0, 0.10))
                };
            }
            if inside(x, y, (175.0, 360.0), (72.0, 50.0)) + ragged > 0.0 {
                // The lower edge of the bush shades itself.
                let own_shade = 0.7 * smooth_step(382.0, 408.0, y);
                let top = 0.16 * smooth_step(346.0, 314.0, y);
                return Spot {
                    shade: own_shade,
                    ..plain(Surface::Leaves, top + leafy(8.0, 0.10))
                };
            }
            let crown = [
                ((95.0, 150.0), (82.0, 70.0)),
                ((150.0, 190.0), (58.0, 52.0)),
                ((60.0, 205.0), (60.0, 46.0)),
            ]
            .into_iter()
            .map(|(middle, radius)| inside(x, y, middle, radius) + 1.6 * ragged)
            .fold(f64::MIN, f64::max);
            if crown > 0.0 {
                // The sun stands at the upper left.
                let turned = (x - 95.0) / 110.0 + (y - 160.0) / 90.0;
                return Spot {
                    shade: 0.55 * smooth_step(-0.1, 1.1, turned + leafy(16.0, 0.5)),
                    ..plain(Surface::Leaves, leafy(9.0, 0.10))
                };
            }
            if within(x, y, 98.0, 205.0, 110.0, 318.0) {
                return plain(Surface::Trunk, fine(0.08));
            }
            if within(x, y, 522.0, 246.0, 546.0, 300.0) || within(x, y, 436.0, 206.0, 446.0, 222.0)
            {
                return plain(Surface::Door, 0.0);
            }
            if within(x, y, 432.0, 196.0, 572.0, 300.0) {
                return plain(Surface::Wall, fine(0.015));
            }
            // The gable: an upright wall below a triangle.
            let half_roof = (y - 148.0) / 48.0 * 30.0;
            if within(x, y, 374.0, 196.0, 432.0, 300.0)
                || (within(x, y, 374.0, 148.0, 432.0, 196.0) && (x - 403.0).abs() < half_roof)
            {
                return plain(Surface::Gable, fine(0.01));
            }
            if within(x, y, 403.0 + half_roof.min(30.0), 148.0, 580.0, 200.0) {
                return plain(Surface::Roof, 0.04 * libm::sin(y * 1.2) + fine(0.03));
            }
            let run = (y - 262.0) / 250.0;
            if run > 0.0 {
                let middle = 352.0 + 42.0 * libm::sin(2.8 * run);
                let half = 5.0 + 52.0 * libm::pow(run, 1.3) + 20.0 * ragged * run;
                if (x - middle).abs() < half {
                    return plain(Surface::Path, fine(0.03) + leafy(20.0, 0.03));
                }
            }
            let ground = 262.0 + 3.0 * hills.at(x / 60.0, 7.5);
            if y > ground {
                // Grass is drawn out sideways where it is far.
                let near = (y - ground) / 250.0;
                let size = 3.0 + 9.0 * near;
                return Spot {
                    shade,
                    ..plain(
                        Surface::Grass,
                        0.06 * grain.octaves(x / (1.5 * size), y / size, 3)
                            + 0.05 * wood.octaves(x / 70.0, y / 25.0, 2),
                    )
                };
            }
            let tree_line = 238.0
                - 14.0 * hills.octaves(x / 70.0, 3.5, 2)
                - 7.0 * wood.octaves(x / 9.0, 0.5, 2);
            if y > tree_line {
                return plain(Surface::Wood, 0.10 * wood.octaves(x / 7.0, y / 7.0, 3));
            }
            let ridge = 205.0 - 26.0 * hills.octaves(x / 170.0, 0.5, 4);
            if y > ridge {
                let haze = 0.0016 * (y - ridge);
                return plain(
                    Surface::FarHill,
                    haze + 0.025 * wood.octaves(x / 12.0, y / 8.0, 2),
                );
            }
            // Clouds are drawn out sideways; the clear part between them is measured.
            let heap = clouds.octaves(x / 130.0, y / 52.0, 5);
            let clear = smooth_step(0.0, 0.5, inside(x, y, (318.0, 62.0), (130.0, 75.0)));
            let cloud = smooth_step(0.05, 0.75, heap) * (1.0 - clear);
            Spot {
                cloud,
                ..plain(Surface::Sky, 0.0)
            }
        };
        points.map(|(x, y)| spot(x, y)).collect()
    }

    /// Gives the light on the film relative to that of the grey card, row by
    /// row, with the softness of a lens and `flare` of the mean added to all.
    pub(crate) fn light(&self, band: Band, weather: Weather, flare: f64) -> Vec<f64> {
        let sharp: Vec<f64> = self
            .spots
            .iter()
            .enumerate()
            .map(|(index, spot)| {
                let height = (index / WIDTH) as f64 / HEIGHT as f64;
                libm::exp10(brightness(*spot, height, band, weather))
            })
            .collect();
        let veil = flare * sharp.iter().sum::<f64>() / sharp.len() as f64;
        let mut soft = softened(&sharp, WIDTH, HEIGHT);
        for light in &mut soft {
            *light += veil;
        }
        soft
    }
}

/// Spreads each pixel over its neighbours with weights 1 2 1 across and down.
pub(crate) fn softened(values: &[f64], width: usize, height: usize) -> Vec<f64> {
    let mut across = vec![0.0; values.len()];
    for (from, to) in values.chunks(width).zip(across.chunks_mut(width)) {
        for x in 0..width {
            let (left, right) = (x.saturating_sub(1), (x + 1).min(width - 1));
            to[x] = 0.25 * (from[left] + 2.0 * from[x] + from[right]);
        }
    }
    let mut both = vec![0.0; values.len()];
    for y in 0..height {
        let (above, below) = (y.saturating_sub(1), (y + 1).min(height - 1));
        for x in 0..width {
            both[y * width + x] = 0.25
                * (across[above * width + x]
                    + 2.0 * across[y * width + x]
                    + across[below * width + x]);
        }
    }
    both
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean(light: &[f64], place: &Place) -> f64 {
        let mut sum = 0.0;
        for y in place.y..place.y + place.height {
            for x in place.x..place.x + place.width {
                sum += light[y as usize * WIDTH + x as usize];
            }
        }
        sum / f64::from(place.width * place.height)
    }

    #[test]
    fn each_patch_shows_what_it_is_named_for() {
        // Expected: the levels written in `brightness`; 0.03 for texture.
        let landscape = Landscape::new(1);
        for (band, levels) in [
            (
                Band::Visible,
                [0.0, -0.25, -1.05, -0.80, f64::NAN, 0.20, -1.05, 0.60],
            ),
            (
                Band::DeepRed,
                [0.0, 0.35, -0.70, -1.10, f64::NAN, 0.24, -0.90, 0.55],
            ),
        ] {
            let light = landscape.light(band, Weather::ClearSun, 0.0);
            for (place, level) in PLACES.iter().zip(levels) {
                let seen = libm::log10(mean(&light, place));
                if !f64::is_nan(level) {
                    assert!((seen - level).abs() < 0.03, "{}: {seen}", place.name);
                }
            }
        }
    }

    #[test]
    fn the_patch_of_sky_is_clear_and_darkens_behind_the_filter() {
        for draw in 0..4 {
            let landscape = Landscape::new(draw);
            let seen = |band| {
                let light = landscape.light(band, Weather::ClearSun, 0.0);
                libm::log10(mean(&light, &PLACES[4]))
            };
            // Levels written in `brightness` at 62/512 of the height: 0.42 + 0.085
            // and −0.45 + 0.097; 0.03 for the change of height within the patch.
            assert!((seen(Band::Visible) - 0.505).abs() < 0.03);
            assert!((seen(Band::DeepRed) + 0.353).abs() < 0.03);
        }
    }

    #[test]
    fn softening_keeps_the_light() {
        let mut values = vec![0.0; 49];
        values[24] = 16.0;
        let soft = softened(&values, 7, 7);
        // Hand calculation: weights (1 2 1)/4 each way: middle 16/4, sides 16/8, corners 16/16.
        assert_eq!((soft[24], soft[23], soft[16]), (4.0, 2.0, 1.0));
        assert_eq!(soft.iter().sum::<f64>(), 16.0);
    }
}
