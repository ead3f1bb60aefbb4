//! A made scanner: from densities in a holder to code values.
//!
//! v = k·(T + f)/(1 + f): proportional to light, with veiling light f of the
//! scanner, noise, and rounding to 16 bits. The tablet lies below the film in
//! the same scan.
//!
//! Symbols: T transmittance; v code value; k code of clear light; f flare.

use crate::negative::{SHEET_HEIGHT, SHEET_WIDTH, Sheet};
use crate::noise::Draws;
use crate::tiff_file::{DeclaredTone, TiffForm, tiff_grey16};
use record::Outline;

/// Width of a scan, pixels.
pub(crate) const SCAN_WIDTH: usize = 800;
/// Height of a scan, pixels.
pub(crate) const SCAN_HEIGHT: usize = 640;

const TABLET_TOP: usize = 574;
const TABLET_HEIGHT: usize = 50;
const STEP_WIDTH: usize = 32;
/// The holder stops all but this much.
const HOLDER_DENSITY: f64 = 4.8;

/// A scanner's settings, the same for every scan of a test.
#[derive(Clone, Copy)]
pub(crate) struct Scanner {
    /// Code value of clear light.
    pub(crate) clear: f64,
    /// Veiling light as a share of clear light.
    pub(crate) flare: f64,
    /// Noise that is always there, as a share of clear light.
    pub(crate) dark_noise: f64,
    /// Noise of the light itself, as a share of clear light at clear light.
    pub(crate) shot_noise: f64,
}

/// Where the sheet lies in a scan.
#[derive(Clone, Copy)]
pub(crate) struct Lie {
    pub(crate) left: usize,
    pub(crate) top: usize,
}

/// Gives the outline of each tablet step, away from its edges.
pub(crate) fn tablet_outlines(steps: usize) -> Vec<Outline> {
    let left = tablet_left(steps);
    (0..steps)
        .map(|step| Outline::Rectangle {
            x: (left + step * STEP_WIDTH + 6) as u32,
            y: (TABLET_TOP + 8) as u32,
            width: (STEP_WIDTH - 12) as u32,
            height: (TABLET_HEIGHT - 16) as u32,
        })
        .collect()
}

fn tablet_left(steps: usize) -> usize {
    assert!(
        steps * STEP_WIDTH <= SCAN_WIDTH,
        "a tablet of {steps} steps does not fit the scan"
    );
    (SCAN_WIDTH - steps * STEP_WIDTH) / 2
}

impl Scanner {
    /// Gives the signal without noise.
    fn signal(&self, density: f64) -> f64 {
        // exp10, because 10^x is wanted exactly as D is defined.
        (libm::exp10(-density) + self.flare) / (1.0 + self.flare)
    }

    /// Scans a sheet with the tablet beside it and writes the file.
    pub(crate) fn scan(
        &self,
        sheet: &Sheet,
        lie: Lie,
        tablet: &[f64],
        draws: &mut Draws,
    ) -> Vec<u8> {
        assert!(
            lie.left + SHEET_WIDTH <= SCAN_WIDTH && lie.top + SHEET_HEIGHT < TABLET_TOP,
            "the sheet lies outside its opening"
        );
        let mut density = vec![HOLDER_DENSITY; SCAN_WIDTH * SCAN_HEIGHT];
        for (row, line) in sheet.density.chunks(SHEET_WIDTH).enumerate() {
            let from = (lie.top + row) * SCAN_WIDTH + lie.left;
            density[from..from + SHEET_WIDTH].copy_from_slice(line);
        }
        let left = tablet_left(tablet.len());
        for row in TABLET_TOP..TABLET_TOP + TABLET_HEIGHT {
            for (step, d) in tablet.iter().enumerate() {
                let from = row * SCAN_WIDTH + left + step * STEP_WIDTH;
                density[from..from + STEP_WIDTH].fill(*d);
            }
        }
        let codes: Vec<u16> = density
            .iter()
            .map(|d| {
                let signal = self.signal(*d);
                let noise = libm::sqrt(
                    self.dark_noise * self.dark_noise + self.shot_noise * self.shot_noise * signal,
                );
                let code = self.clear * (signal + noise * draws.pixel());
                libm::round(code).clamp(0.0, 65_535.0) as u16
            })
            .collect();
        let form = TiffForm {
            // 668 pixels across a sheet 5 inches wide.
            pixels_per_inch: 134,
            tone: DeclaredTone::LinearProfile,
            deflated: true,
        };
        tiff_grey16(SCAN_WIDTH as u32, SCAN_HEIGHT as u32, &codes, form)
    }
}
