//! A small picture of a scan, for looking at.
//!
//! The scan is averaged over boxes as light, in the same pass as patches, and
//! rendered as it looks on a light table: screen luminance proportional to
//! transmittance, on one fixed scale for all frames. Frames are never levelled
//! one by one; if they are too dense to see, all are lifted by a stated amount.

use crate::calibration::Calibration;
use crate::decode::{Codes, ScanRow};
use crate::outline::{Outline, OutlineError, Rectangle};
use crate::tone::{Tone, srgb_share};
use core::ops::Range;
use image::ImageEncoder;
use quantity::{Density, Stops};

/// Most pixels on the long side of a preview.
pub const LONG_SIDE: u32 = 1200;

/// A small picture whose values are signals.
#[derive(Clone, Debug, PartialEq)]
pub struct Preview {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// First column of the scan that is shown.
    pub left: u32,
    /// First row of the scan that is shown.
    pub top: u32,
    /// Pixels of the scan along each side of one pixel here.
    pub box_side: u32,
    /// Signals, row by row, 0 to 1: linear light when the tone is known, else
    /// the code's share of the scale.
    pub signal: Vec<f32>,
    /// Whether the signals are linear light.
    pub tone_known: bool,
}

/// Why a preview could not be made.
#[derive(Debug, thiserror::Error)]
pub enum PreviewError {
    /// Clear film must read a signal to be the white of the scale.
    #[error("the signal of clear film must be greater than 0, found {found}")]
    NoClear {
        /// The signal given.
        found: f64,
    },
    /// The picture could not be written as PNG.
    #[error("the PNG could not be written: {reason}")]
    Png {
        /// What the encoder said.
        reason: String,
    },
}

/// Adds up the boxes of a preview while rows go by.
#[derive(Debug)]
pub struct PreviewPass {
    columns: Range<u32>,
    rows: Range<u32>,
    box_side: u32,
    width: u32,
    height: u32,
    signal_of: Vec<f64>,
    tone_known: bool,
    sums: Vec<(f64, u32)>,
}

impl PreviewPass {
    /// Prepares a pass over a picture of this size.
    ///
    /// `long_side` is the most pixels on the preview's long side, at least 1.
    ///
    /// # Errors
    /// [`OutlineError`] for a rectangle that does not fit the picture.
    pub fn new(
        width: u32,
        height: u32,
        tone: &Tone,
        crop: Option<Rectangle>,
        long_side: u32,
    ) -> Result<Self, OutlineError> {
        let crop = crop.unwrap_or(Rectangle::of_picture(width, height));
        Outline::Rectangle(crop).check(0, width, height)?;
        let (columns, rows) = crop.pixels(width, height);
        if columns.is_empty() || rows.is_empty() {
            return Err(OutlineError::NoPixel { index: 0 });
        }
        let (w, h) = (columns.end - columns.start, rows.end - rows.start);
        // At least 2, so that a mosaic phase leaves no box empty.
        let box_side = w
            .max(h)
            .div_ceil(long_side.max(1))
            .max(if w.min(h) > 1 { 2 } else { 1 });
        let box_side = if w.max(h) <= long_side { 1 } else { box_side };
        let (small_width, small_height) = (w.div_ceil(box_side), h.div_ceil(box_side));
        Ok(Self {
            columns,
            rows,
            box_side,
            width: small_width,
            height: small_height,
            signal_of: tone.table(),
            tone_known: tone.encoding.is_known(),
            sums: vec![(0.0, 0); small_width as usize * small_height as usize],
        })
    }

    /// Takes one row.
    pub fn take(&mut self, row: &ScanRow<'_>) {
        if !self.rows.contains(&row.y) {
            return;
        }
        let first = ((row.y - self.rows.start) / self.box_side) as usize * self.width as usize;
        let boxes = &mut self.sums[first..first + self.width as usize];
        let skip = self
            .columns
            .start
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step);
        let end = self
            .columns
            .end
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step)
            .min(row.codes.len() as u32);
        if let (Codes::Unsigned(codes), 1) = (row.codes, row.x_step) {
            // The common case, box by box: this loop sees every pixel of a scan.
            let codes = &codes[skip.min(end) as usize..end as usize];
            for (codes, sum) in codes.chunks(self.box_side as usize).zip(boxes) {
                let signals = codes.iter().map(|code| self.signal_of[usize::from(*code)]);
                sum.0 += signals.sum::<f64>();
                sum.1 += codes.len() as u32;
            }
            return;
        }
        for index in skip..end {
            let x = row.x_first + index * row.x_step;
            let code = match row.codes {
                Codes::Unsigned(codes) => Some(codes[index as usize]),
                Codes::Float(_) => row.codes.at(index as usize),
            };
            let Some(code) = code else { continue };
            let sum = &mut boxes[((x - self.columns.start) / self.box_side) as usize];
            sum.0 += self.signal_of[usize::from(code)];
            sum.1 += 1;
        }
    }

    /// Gives the preview. A box without pixels (between those of a mosaic
    /// phase) takes its left neighbour's value, or that above.
    #[must_use]
    pub fn finish(self) -> Preview {
        let width = self.width as usize;
        let mut signal: Vec<f32> = Vec::with_capacity(self.sums.len());
        for (place, (sum, count)) in self.sums.iter().enumerate() {
            let value = if *count > 0 {
                (sum / f64::from(*count)) as f32
            } else if place % width > 0 {
                signal[place - 1]
            } else if place >= width {
                signal[place - width]
            } else {
                // The first box of a phase that begins one pixel later.
                self.sums
                    .iter()
                    .find(|s| s.1 > 0)
                    .map_or(0.0, |s| (s.0 / f64::from(s.1)) as f32)
            };
            signal.push(value);
        }
        Preview {
            width: self.width,
            height: self.height,
            left: self.columns.start,
            top: self.rows.start,
            box_side: self.box_side,
            signal,
            tone_known: self.tone_known,
        }
    }
}

/// What the white of a rendering is, and how signals become densities.
#[derive(Clone, Copy, Debug)]
pub enum RenderScale<'a> {
    /// Densities by the scan's tablet; white is this density.
    Calibrated {
        /// The scan's calibration.
        calibration: &'a Calibration,
        /// Density shown as white: clear light, 0, or base+fog.
        clear: Density,
    },
    /// Signals as they are; white is the signal of clear film.
    Relative {
        /// Signal of clear film in this scan.
        clear_signal: f64,
    },
}

/// Renders a preview as 8-bit grey, row by row: sRGB-encoded, luminance
/// proportional to transmittance over that of white, times 2^lift, held at 1.
///
/// Use one scale and one lift for all frames of a page.
///
/// # Errors
/// [`PreviewError::NoClear`] when clear film reads no signal.
pub fn render_at_fixed_scale(
    preview: &Preview,
    scale: RenderScale<'_>,
    lift: Stops,
) -> Result<Vec<u8>, PreviewError> {
    let gain = lift.to_ratio();
    let luminance: Box<dyn Fn(f64) -> f64> = match scale {
        RenderScale::Calibrated { calibration, clear } => {
            let clear = clear.to_density();
            Box::new(move |signal| libm::pow(10.0, clear - calibration.shown_density(signal)))
        }
        RenderScale::Relative { clear_signal } => {
            if clear_signal.is_nan() || clear_signal <= 0.0 {
                return Err(PreviewError::NoClear {
                    found: clear_signal,
                });
            }
            Box::new(move |signal| signal / clear_signal)
        }
    };
    Ok(preview
        .signal
        .iter()
        .map(|signal| {
            let light = (luminance(f64::from(*signal)) * gain).clamp(0.0, 1.0);
            (srgb_share(light) * 255.0 + 0.5) as u8
        })
        .collect())
}

/// Writes 8-bit grey pixels as a PNG file.
///
/// # Errors
/// [`PreviewError::Png`] when the number of pixels does not fit the size.
pub fn png_of_grey(width: u32, height: u32, pixels: &[u8]) -> Result<Vec<u8>, PreviewError> {
    png(width, height, pixels, 1, image::ExtendedColorType::L8)
}

/// Writes 8-bit red, green and blue as a PNG file.
///
/// # Errors
/// [`PreviewError::Png`] when the number of pixels does not fit the size.
pub fn png_of_rgb(width: u32, height: u32, pixels: &[[u8; 3]]) -> Result<Vec<u8>, PreviewError> {
    png(
        width,
        height,
        pixels.as_flattened(),
        3,
        image::ExtendedColorType::Rgb8,
    )
}

fn png(
    width: u32,
    height: u32,
    samples: &[u8],
    of_pixel: u64,
    colour: image::ExtendedColorType,
) -> Result<Vec<u8>, PreviewError> {
    let expected = u64::from(width) * u64::from(height) * of_pixel;
    if expected != samples.len() as u64 || expected == 0 {
        return Err(PreviewError::Png {
            reason: format!(
                "{width} × {height} pixels were expected, found {}",
                samples.len() as u64 / of_pixel
            ),
        });
    }
    let mut file = Vec::new();
    image::codecs::png::PngEncoder::new(&mut file)
        .write_image(samples, width, height, colour)
        .map_err(|error| PreviewError::Png {
            reason: error.to_string(),
        })?;
    Ok(file)
}
