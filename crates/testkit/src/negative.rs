//! A sheet of film as it comes from the wash: picture, rebate, grain, dust, scratches.

use crate::landscape::{HEIGHT, WIDTH, softened};
use crate::noise::Draws;
use crate::truth::{TruthCurve, bent_about_pivot};
use record::Outline;

/// Width of the clear rebate around the picture, pixels.
pub(crate) const REBATE: usize = 14;
/// Width of the sheet, pixels.
pub(crate) const SHEET_WIDTH: usize = WIDTH + 2 * REBATE;
/// Height of the sheet, pixels.
pub(crate) const SHEET_HEIGHT: usize = HEIGHT + 2 * REBATE;

/// How one sheet answers to light.
pub(crate) struct Development<'a> {
    pub(crate) curve: &'a TruthCurve,
    /// Gradient behind this filter over that without.
    pub(crate) gradient_ratio: f64,
    /// This sheet's contrast over the mean of the process.
    pub(crate) contrast: f64,
    /// This sheet's base+fog less the mean of the process.
    pub(crate) fog_offset: f64,
}

impl Development<'_> {
    pub(crate) fn density(&self, log_h: f64) -> f64 {
        let curve = self.curve;
        let log_h = bent_about_pivot(curve, log_h, self.gradient_ratio);
        let net = curve.density(log_h) - curve.base_plus_fog;
        self.contrast * net + curve.base_plus_fog + self.fog_offset
    }

    pub(crate) fn base_plus_fog(&self) -> f64 {
        self.curve.base_plus_fog + self.fog_offset
    }
}

/// A sheet: its density, pixel by pixel.
pub(crate) struct Sheet {
    /// Density without grain, dust and scratches.
    pub(crate) clean: Vec<f64>,
    /// Density of the image silver, with grain; dust and scratches on top.
    pub(crate) density: Vec<f64>,
}

/// Gives the density of a picture from the light on it: log10 H is `log_h`
/// where the light is 1; no light at all when that is `None`.
pub(crate) fn picture(
    light: &[f64],
    log_h: Option<f64>,
    development: &Development<'_>,
) -> Vec<f64> {
    let Some(log_h) = log_h else {
        return vec![development.base_plus_fog(); light.len()];
    };
    // The curve from a table: 0.005 apart, straight between, good to 1e-5 of
    // density (gradient 1 over a bend 0.1 wide: 0.005²/8 · 1/(4·0.1)).
    const STEP: f64 = 0.005;
    const LOW: f64 = -8.0;
    let table: Vec<f64> = (0..=2400)
        .map(|step| development.density(LOW + STEP * f64::from(step)))
        .collect();
    light
        .iter()
        .map(|light| {
            let at = ((log_h + libm::log10(light.max(1e-9)) - LOW) / STEP)
                .clamp(0.0, (table.len() - 2) as f64);
            let cell = at as usize;
            let part = at - cell as f64;
            table[cell] + part * (table[cell + 1] - table[cell])
        })
        .collect()
}

impl Sheet {
    /// Makes a sheet around a picture of [`WIDTH`] × [`HEIGHT`] densities.
    pub(crate) fn new(picture: &[f64], base_plus_fog: f64, draws: &mut Draws) -> Self {
        let mut clean = vec![base_plus_fog; SHEET_WIDTH * SHEET_HEIGHT];
        for (row, line) in picture.chunks(WIDTH).enumerate() {
            let from = (row + REBATE) * SHEET_WIDTH + REBATE;
            clean[from..from + WIDTH].copy_from_slice(line);
        }
        let mut density = clean.clone();
        add_grain(&mut density, base_plus_fog, draws);
        for _ in 0..3 {
            scratch(&mut density, base_plus_fog, draws);
        }
        for _ in 0..26 {
            dust_speck(&mut density, draws);
        }
        hair(&mut density, draws);
        Self { clean, density }
    }

    /// Gives the mean clean density inside a rectangle of the sheet.
    pub(crate) fn mean_clean(&self, outline: &Outline) -> f64 {
        let Outline::Rectangle {
            x,
            y,
            width,
            height,
        } = *outline
        else {
            unreachable!("every outline of a made sheet is a rectangle")
        };
        let mut sum = 0.0;
        for row in y as usize..(y + height) as usize {
            let from = row * SHEET_WIDTH + x as usize;
            sum += self.clean[from..from + width as usize].iter().sum::<f64>();
        }
        sum / f64::from(width * height)
    }
}

/// Adds grain whose spread grows with the square root of the silver, spread a
/// little over neighbouring pixels.
fn add_grain(density: &mut [f64], base_plus_fog: f64, draws: &mut Draws) {
    let white: Vec<f64> = density.iter().map(|_| draws.pixel()).collect();
    // The weights 1 2 1 leave (6/16)² of the variance: a spread of 6/16.
    let grain = softened(&white, SHEET_WIDTH, SHEET_HEIGHT);
    for (d, grain) in density.iter_mut().zip(grain) {
        let silver = (*d - base_plus_fog).max(0.0);
        *d += grain * (16.0 / 6.0) * 0.022 * libm::sqrt(0.06 + silver);
    }
}

fn put(density: &mut [f64], x: f64, y: f64, change: impl FnOnce(f64) -> f64) {
    if x >= 0.0 && y >= 0.0 && (x as usize) < SHEET_WIDTH && (y as usize) < SHEET_HEIGHT {
        let spot = &mut density[y as usize * SHEET_WIDTH + x as usize];
        *spot = change(*spot);
    }
}

/// A thin line where emulsion is gone.
fn scratch(density: &mut [f64], base_plus_fog: f64, draws: &mut Draws) {
    let (mut x, mut y) = (
        draws.between(0.0, SHEET_WIDTH as f64),
        draws.between(0.0, SHEET_HEIGHT as f64),
    );
    let slope = draws.normal(0.04);
    let depth = draws.between(0.25, 0.7);
    for _ in 0..draws.between(60.0, 260.0) as u32 {
        put(density, x, y, |d| d - depth * (d - base_plus_fog).max(0.03));
        x += slope;
        y += 1.0;
    }
}

/// A speck that lay on the film during the scan and stopped light.
fn dust_speck(density: &mut [f64], draws: &mut Draws) {
    let (x, y) = (
        draws.between(0.0, SHEET_WIDTH as f64),
        draws.between(0.0, SHEET_HEIGHT as f64),
    );
    let radius = draws.between(0.6, 2.4);
    let stopped = draws.between(0.3, 1.4);
    let reach = libm::ceil(radius) as i32 + 1;
    for down in -reach..=reach {
        for across in -reach..=reach {
            let away = libm::hypot(f64::from(across), f64::from(down));
            let cover = (radius + 0.5 - away).clamp(0.0, 1.0);
            put(density, x + f64::from(across), y + f64::from(down), |d| {
                d + cover * stopped
            });
        }
    }
}

/// A hair or fibre: a speck drawn out along a bent line.
fn hair(density: &mut [f64], draws: &mut Draws) {
    let (mut x, mut y) = (
        draws.between(0.0, SHEET_WIDTH as f64),
        draws.between(0.0, SHEET_HEIGHT as f64),
    );
    let mut direction = draws.between(0.0, core::f64::consts::TAU);
    let bend = draws.normal(0.04);
    for _ in 0..48 {
        put(density, x, y, |d| d + 0.6);
        x += libm::cos(direction);
        y += libm::sin(direction);
        direction += bend;
    }
}
