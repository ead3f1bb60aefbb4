//! A scan of one sheet with a tablet below it, drawn at random, as a scanner
//! gives it that leaves everything as it was.
//!
//! For trying the checks of scans: the sizes, subjects, grain, optics, sensor and
//! coding of a draw differ widely, and nothing is done to the picture after.
//! Light is blurred as an optic does, noise of light and of the dark is added to
//! the sensor's pixels, which have gains of their own, and codes are rounded once.

use crate::noise::Draws;
use record::Outline;

/// Steps of the tablet.
const STEPS: usize = 21;
/// Density of its first step, and from each to the next.
const FIRST_STEP: f64 = 0.05;
const STEP: f64 = 0.15;
/// What the holder stops.
const HOLDER: f64 = 4.5;

/// How a made scan is coded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScanCoding {
    /// 8 or 16.
    pub bits: u8,
    /// Bits of the sensor, padded to 16; 16 in an 8-bit file.
    pub sensor_bits: u8,
    /// Light is code to this power.
    pub gamma: f64,
    /// Code of clear light, part of the scale.
    pub clear: f64,
}

/// A made scan with what is known of it.
#[derive(Clone, Debug, PartialEq)]
pub struct FilmScan {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Light of each pixel as the sensor has it, 1 for clear light.
    pub light: Vec<f64>,
    /// How it is coded.
    pub coding: ScanCoding,
    /// Outline of the clear rebate.
    pub rebate: Outline,
    /// Outline and density of each step of the tablet.
    pub tablet: Vec<(Outline, f64)>,
}

/// What a test asks of a draw; the rest is drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FilmScanPlan {
    /// Bits of the file, when they must be these.
    pub bits: Option<u8>,
    /// Bits of the sensor padded to 16, when they must be these.
    pub sensor_bits: Option<u8>,
    /// Exponent of the tone, when it must be this.
    pub gamma: Option<f64>,
    /// Veiling light as a share of clear light, when it must be this.
    pub flare: Option<f64>,
}

/// Where things lie.
struct Places {
    width: usize,
    height: usize,
    film: [usize; 4],
    rebate: usize,
    tablet: [usize; 2],
    step: [usize; 2],
}

/// Draws scan number `draw`.
#[must_use]
pub fn film_scan(draw: u64, plan: FilmScanPlan) -> FilmScan {
    let mut draws = Draws::new(draw, 31);
    let width = draws.between(760.0, 1400.0) as usize;
    let height = (width as f64 * draws.between(0.7, 0.95)) as usize;
    let step = [(width - 60) / STEPS, 56];
    let margin = draws.between(18.0, 48.0) as usize;
    let tablet = [(width - step[0] * STEPS) / 2, height - step[1] - 20];
    let places = Places {
        width,
        height,
        film: [
            margin,
            margin,
            width - 2 * margin,
            tablet[1] - 2 * margin - 8,
        ],
        rebate: draws.between(16.0, 40.0) as usize,
        tablet,
        step,
    };
    let base = draws.between(0.08, 0.34);
    let density = density_of(&places, base, &mut draws);
    let light = seen(&places, density, plan.flare, &mut draws);
    let eight = plan.bits.map_or(draws.uniform() < 0.25, |bits| bits == 8);
    let coding = ScanCoding {
        bits: if eight { 8 } else { 16 },
        sensor_bits: plan
            .sensor_bits
            .unwrap_or(if eight || draws.uniform() < 0.6 {
                16
            } else {
                14
            }),
        gamma: plan.gamma.unwrap_or(if eight || draws.uniform() < 0.3 {
            if draws.uniform() < 0.5 { 2.2 } else { 1.8 }
        } else {
            1.0
        }),
        clear: draws.between(0.72, 0.94),
    };
    let [left, top, film_width, film_height] = places.film;
    let rectangle = |x: usize, y: usize, width: usize, height: usize| Outline::Rectangle {
        x: x as u32,
        y: y as u32,
        width: width as u32,
        height: height as u32,
    };
    FilmScan {
        width,
        height,
        light,
        coding,
        rebate: rectangle(
            left + places.rebate,
            top + film_height - places.rebate + 4,
            film_width - 2 * places.rebate,
            places.rebate - 8,
        ),
        tablet: (0..STEPS)
            .map(|i| {
                (
                    rectangle(
                        tablet[0] + i * step[0] + 6,
                        tablet[1] + 8,
                        step[0] - 12,
                        step[1] - 16,
                    ),
                    FIRST_STEP + STEP * i as f64,
                )
            })
            .collect(),
    }
}

impl FilmScan {
    /// Gives the codes that a scanner writes which changes nothing.
    #[must_use]
    pub fn codes(&self) -> Vec<u16> {
        let ScanCoding {
            bits,
            sensor_bits,
            gamma,
            clear,
        } = self.coding;
        let top = if bits == 8 { 255.0 } else { 65_535.0 };
        let padded = f64::from(1_u32 << (16 - sensor_bits));
        self.light
            .iter()
            .map(|light| {
                let share = (light * clear).clamp(0.0, 1.0);
                let share = if gamma == 1.0 {
                    share
                } else {
                    libm::pow(share, 1.0 / gamma)
                };
                let code = libm::round(share * top);
                // A sensor of fewer bits, shifted up; only where the tone is linear.
                let code = if gamma == 1.0 && bits == 16 {
                    libm::floor(code / padded) * padded
                } else {
                    code
                };
                code as u16
            })
            .collect()
    }
}

/// Noise of several sizes laid on each other, about −1 to 1.
fn clouds(width: usize, height: usize, coarsest: f64, draws: &mut Draws) -> Vec<f64> {
    let mut sum = vec![0.0; width * height];
    let (mut size, mut part) = (coarsest, 0.5);
    while size > 2.5 {
        let (slow, phase) = (draws.between(50.0, 100.0), draws.between(0.0, 6.0));
        let off = 0.17 * slow / size;
        let most_off = 2.0 * off;
        let across = (width as f64 / size + 2.0 * most_off) as usize + 3;
        let down = (height as f64 / size + 2.0 * most_off) as usize + 3;
        let grid: Vec<f64> = (0..across * down)
            .map(|_| draws.between(-1.0, 1.0))
            .collect();
        // Cells up to a third wider or narrower from place to place, or the subject
        // itself would have a rhythm in both directions, as interpolation leaves it.
        let wander = |a: usize, b: usize| {
            let turn = phase + a as f64 / slow;
            most_off + off * libm::sin(turn) + 0.7 * off * libm::sin(1.3 * turn + b as f64 / slow)
        };
        for y in 0..height {
            for x in 0..width {
                let (u, fu) = place(x as f64 / size + wander(x, y));
                let (v, fv) = place(y as f64 / size + wander(y, x));
                let at = |u: usize, v: usize| grid[v * across + u];
                let upper = at(u, v) + fu * (at(u + 1, v) - at(u, v));
                let lower = at(u, v + 1) + fu * (at(u + 1, v + 1) - at(u, v + 1));
                sum[y * width + x] += part * (upper + fv * (lower - upper));
            }
        }
        size /= 2.3;
        part *= 0.62;
    }
    sum
}

fn place(at: f64) -> (usize, f64) {
    let cell = libm::floor(at);
    let part = at - cell;
    (cell as usize, part * part * (3.0 - 2.0 * part))
}

fn density_of(places: &Places, base: f64, draws: &mut Draws) -> Vec<f64> {
    let [left, top, film_width, film_height] = places.film;
    let rebate = places.rebate;
    let (width, height) = (film_width - 2 * rebate, film_height - 2 * rebate);
    let coarsest = draws.between(60.0, 260.0);
    let mut scene = clouds(width, height, coarsest, draws);
    let horizon = (height as f64 * draws.between(0.2, 0.7)) as usize;
    let sky = draws.between(0.2, 1.1);
    for value in scene.iter_mut().take(horizon * width) {
        *value = 0.25 * *value + sky;
    }
    houses(&mut scene, width, height, draws);
    if draws.uniform() < 0.3 {
        fence(&mut scene, width, height, draws);
    }
    // From light on the film to density: toe, line and shoulder.
    let (middle, contrast) = (draws.between(-1.2, 0.9), draws.between(0.7, 1.5));
    let most = draws.between(1.5, 2.4);
    let picture = scene.iter().map(|light| {
        let x = 2.0 * contrast * (light - 0.6 + middle);
        base + most / (1.0 + libm::exp(-x))
    });
    let mut density = vec![HOLDER; places.width * places.height];
    for y in top..top + film_height {
        let from = y * places.width + left;
        density[from..from + film_width].fill(base);
    }
    for (i, value) in picture.enumerate() {
        let (x, y) = (i % width, i / width);
        density[(top + rebate + y) * places.width + left + rebate + x] = value;
    }
    if draws.uniform() < 0.3 {
        adjacency(&mut density, places, draws);
    }
    if draws.uniform() < 0.3 {
        cut_edge(&mut density, places, draws);
    }
    grain(&mut density, places, base, draws);
    dust(&mut density, places, draws);
    let [tablet_left, tablet_top] = places.tablet;
    for y in tablet_top..tablet_top + places.step[1] {
        for step in 0..STEPS {
            let from = y * places.width + tablet_left + step * places.step[0];
            density[from..from + places.step[0]].fill(FIRST_STEP + STEP * step as f64);
        }
    }
    density
}

/// Even surfaces with sharp sides, some with rows of windows.
fn houses(scene: &mut [f64], width: usize, height: usize, draws: &mut Draws) {
    for _ in 0..draws.between(2.0, 9.0) as usize {
        let (w, h) = (
            (width as f64 * draws.between(0.04, 0.25)) as usize,
            (height as f64 * draws.between(0.05, 0.3)) as usize,
        );
        let x = draws.between(0.0, (width - w) as f64) as usize;
        let y = draws.between(0.0, (height - h) as f64) as usize;
        let (wall, window) = (draws.between(-0.8, 1.2), draws.between(-1.2, 0.2));
        let grid = draws.between(9.0, 30.0) as usize;
        let windows = draws.uniform() < 0.5;
        for row in 0..h {
            for column in 0..w {
                let of_window = windows && row % grid > grid / 2 && column % grid > grid / 2;
                scene[(y + row) * width + x + column] = if of_window { window } else { wall };
            }
        }
    }
}

/// Upright bars over a part of the picture.
fn fence(scene: &mut [f64], width: usize, height: usize, draws: &mut Draws) {
    let period = draws.between(4.0, 18.0);
    let (from, to) = (
        (height as f64 * draws.between(0.3, 0.6)) as usize,
        (height as f64 * draws.between(0.65, 0.95)) as usize,
    );
    for row in from..to {
        for column in 0..width {
            if (column as f64 / period).fract() < 0.4 {
                scene[row * width + column] += 0.5;
            }
        }
    }
}

/// Contrast of edges within the film raised by its development.
fn adjacency(density: &mut [f64], places: &Places, draws: &mut Draws) {
    let soft = blurred(density, places.width, draws.between(1.0, 2.5));
    let amount = draws.between(0.1, 0.3);
    let [left, top, film_width, film_height] = places.film;
    let inner = 10;
    for y in top + inner..top + film_height - inner {
        for x in left + inner..left + film_width - inner {
            let at = y * places.width + x;
            density[at] += amount * (density[at] - soft[at]);
        }
    }
}

/// Film that shines along its cut edge.
fn cut_edge(density: &mut [f64], places: &Places, draws: &mut Draws) {
    let left_over = draws.between(0.2, 0.7);
    let [left, top, film_width, film_height] = places.film;
    for y in top..top + film_height {
        let right = left + film_width;
        for x in (left..left + 2).chain(right - 2..right) {
            density[y * places.width + x] *= left_over;
        }
    }
}

fn grain(density: &mut [f64], places: &Places, base: f64, draws: &mut Draws) {
    let white: Vec<f64> = density.iter().map(|_| draws.pixel()).collect();
    let spread = draws.between(0.5, 1.3);
    let clumps = blurred(&white, places.width, spread);
    // A blur by σ leaves 1/(2√π σ) of a white spread, if σ is not small.
    let scale = (2.0 * core::f64::consts::PI.sqrt() * spread).max(1.3);
    let size = draws.between(0.008, 0.045);
    for (d, clump) in density.iter_mut().zip(clumps) {
        if *d < HOLDER {
            *d += clump * scale * size * libm::sqrt(0.1 + (*d - base).max(0.0));
        }
    }
}

fn dust(density: &mut [f64], places: &Places, draws: &mut Draws) {
    for _ in 0..draws.between(8.0, 60.0) as usize {
        let x = draws.between(4.0, (places.width - 5) as f64) as i32;
        let y = draws.between(4.0, (places.height - 5) as f64) as i32;
        let (radius, stopped) = (draws.between(0.5, 2.6), draws.between(0.3, 1.5));
        for (dy, dx) in (-3..=3).flat_map(|dy| (-3..=3).map(move |dx| (dy, dx))) {
            let away = libm::hypot(f64::from(dx), f64::from(dy));
            let cover = (radius + 0.5 - away).clamp(0.0, 1.0);
            density[((y + dy) as usize) * places.width + (x + dx) as usize] += cover * stopped;
        }
    }
}

/// What the sensor has of it.
fn seen(places: &Places, density: Vec<f64>, flare: Option<f64>, draws: &mut Draws) -> Vec<f64> {
    let light: Vec<f64> = density.iter().map(|d| libm::exp10(-d)).collect();
    let optic = draws.between(0.45, 1.15);
    let light = blurred(&light, places.width, optic);
    let flare = flare.unwrap_or_else(|| draws.between(0.0006, 0.0015));
    let (dark, shot) = (draws.between(0.00004, 0.00012), draws.between(0.002, 0.006));
    let uneven = draws.between(0.0, 0.0012);
    let gains: Vec<f64> = (0..places.width)
        .map(|_| 1.0 + draws.normal(uneven))
        .collect();
    // Two rows of sensors side by side, not quite alike.
    let odd = if draws.uniform() < 0.3 {
        draws.normal(0.001)
    } else {
        0.0
    };
    light
        .chunks(places.width)
        .flat_map(|row| {
            let line = 1.0 + draws.normal(0.0003);
            let row: Vec<f64> = row
                .iter()
                .zip(&gains)
                .enumerate()
                .map(|(x, (light, gain))| {
                    let light = (light + flare) / (1.0 + flare);
                    let gain = gain * line * if x % 2 == 1 { 1.0 + odd } else { 1.0 };
                    let noise = libm::sqrt(dark * dark + shot * shot * light);
                    light * gain + noise * draws.pixel()
                })
                .collect();
            row
        })
        .collect()
}

/// A blur with standard deviation `spread` pixels, the edges held.
fn blurred(values: &[f64], width: usize, spread: f64) -> Vec<f64> {
    let reach = libm::ceil(3.5 * spread) as isize;
    let weights: Vec<f64> = (-reach..=reach)
        .map(|k| libm::exp(-0.5 * (k as f64 / spread) * (k as f64 / spread)))
        .collect();
    let sum: f64 = weights.iter().sum();
    let height = values.len() / width;
    let mut across = vec![0.0; values.len()];
    for (row, out) in values.chunks(width).zip(across.chunks_mut(width)) {
        for (x, out) in out.iter_mut().enumerate() {
            let mut total = 0.0;
            for (k, weight) in (-reach..=reach).zip(&weights) {
                let at = (x as isize + k).clamp(0, width as isize - 1) as usize;
                total += weight * row[at];
            }
            *out = total / sum;
        }
    }
    let mut down = vec![0.0; values.len()];
    for (y, out) in down.chunks_mut(width).enumerate() {
        for (k, weight) in (-reach..=reach).zip(&weights) {
            let at = (y as isize + k).clamp(0, height as isize - 1) as usize;
            for (out, value) in out.iter_mut().zip(&across[at * width..(at + 1) * width]) {
                *out += weight / sum * value;
            }
        }
    }
    down
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_draw_gives_the_same_scan() {
        let plan = FilmScanPlan::default();
        assert_eq!(film_scan(3, plan).codes(), film_scan(3, plan).codes());
        assert_ne!(film_scan(3, plan).width, film_scan(4, plan).width);
    }

    #[test]
    fn a_step_reads_its_density() {
        let flare = 0.001;
        let plan = FilmScanPlan {
            flare: Some(flare),
            ..FilmScanPlan::default()
        };
        let scan = film_scan(5, plan);
        for (outline, density) in scan.tablet.iter().take(12) {
            let Outline::Rectangle {
                x,
                y,
                width,
                height,
            } = *outline
            else {
                panic!("{outline:?}")
            };
            let mut sum = 0.0;
            for row in y..y + height {
                for column in x..x + width {
                    sum += scan.light[row as usize * scan.width + column as usize];
                }
            }
            let read = -libm::log10(sum / f64::from(width * height));
            // Veiling light f lies over the step and the clear light it is read against.
            let veiled = (libm::pow(10.0, -density) + flare) / (1.0 + flare);
            let expected = -libm::log10(veiled);
            assert!(
                (read - expected).abs() < 0.01,
                "{density}: {read}, {expected}"
            );
        }
    }
}
