//! How often each code occurs in a picture.

use crate::decode::{Codes, ScanInfo, ScanRow};
use crate::outline::{Outline, OutlineError, Rectangle};
use core::ops::Range;

/// How often each code occurs in a picture or a part of it.
#[derive(Clone, Debug, PartialEq)]
pub struct CodeHistogram {
    /// Pixels of each code from 0 to the largest.
    pub counts: Vec<u64>,
    /// Pixels counted.
    pub pixels: u64,
    /// Pixels without a number (NaN in a float file).
    pub missing: u64,
    /// The same of pixels where the picture varies, up to 12 bits; else empty.
    ///
    /// Even areas, such as a tablet's steps, leave peaks of a code or two.
    pub varied: Vec<u64>,
}

/// Pixels to either side that a pixel is compared with, and codes it must differ by
/// from both.
const VARIED_LAG: usize = 4;
const VARIED_CODES: u16 = 3;
/// Most bits whose varied pixels are counted apart.
const VARIED_BITS: u8 = 12;

/// Counts codes while rows go by.
#[derive(Debug)]
pub struct HistogramPass {
    columns: Range<u32>,
    rows: Range<u32>,
    histogram: CodeHistogram,
}

impl HistogramPass {
    /// Prepares a count over a picture, or over a rectangle of it.
    ///
    /// # Errors
    /// [`OutlineError`] for a rectangle that does not fit the picture.
    pub fn new(info: &ScanInfo, crop: Option<Rectangle>) -> Result<Self, OutlineError> {
        let crop = crop.unwrap_or(Rectangle::of_picture(info.width, info.height));
        Outline::Rectangle(crop).check(0, info.width, info.height)?;
        let (columns, rows) = crop.pixels(info.width, info.height);
        let counts = vec![0; usize::from(info.code_max()) + 1];
        Ok(Self {
            columns,
            rows,
            histogram: CodeHistogram {
                varied: if info.bits <= VARIED_BITS {
                    vec![0; counts.len()]
                } else {
                    Vec::new()
                },
                counts,
                pixels: 0,
                missing: 0,
            },
        })
    }

    /// Takes one row.
    pub fn take(&mut self, row: &ScanRow<'_>) {
        if !self.rows.contains(&row.y) {
            return;
        }
        let first = self
            .columns
            .start
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step) as usize;
        let end = self
            .columns
            .end
            .saturating_sub(row.x_first)
            .div_ceil(row.x_step) as usize;
        let end = end.min(row.codes.len());
        let first = first.min(end);
        match row.codes {
            Codes::Unsigned(codes) => {
                for code in &codes[first..end] {
                    self.histogram.counts[usize::from(*code)] += 1;
                }
                if !self.histogram.varied.is_empty() {
                    for around in codes[first..end].windows(2 * VARIED_LAG + 1) {
                        let code = around[VARIED_LAG];
                        let least = around[0]
                            .abs_diff(code)
                            .min(around[2 * VARIED_LAG].abs_diff(code));
                        if least >= VARIED_CODES {
                            self.histogram.varied[usize::from(code)] += 1;
                        }
                    }
                }
                self.histogram.pixels += (end - first) as u64;
            }
            Codes::Float(_) => {
                for index in first..end {
                    match row.codes.at(index) {
                        Some(code) => {
                            self.histogram.counts[usize::from(code)] += 1;
                            self.histogram.pixels += 1;
                        }
                        None => self.histogram.missing += 1,
                    }
                }
            }
        }
    }

    /// Gives the histogram.
    #[must_use]
    pub fn finish(self) -> CodeHistogram {
        self.histogram
    }
}

impl CodeHistogram {
    pub(super) fn share(&self, code: usize) -> f64 {
        if self.pixels == 0 {
            0.0
        } else {
            self.counts[code] as f64 / self.pixels as f64
        }
    }

    pub(super) fn occupied(&self) -> Vec<usize> {
        self.counts
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0)
            .map(|(code, _)| code)
            .collect()
    }

    /// Codes between which all but 1 % of the pixels lie.
    pub(super) fn middle(&self) -> Range<usize> {
        let tail = self.pixels / 200;
        let reach = |codes: &mut dyn Iterator<Item = (usize, &u64)>| {
            let mut seen = 0;
            for (code, count) in codes {
                seen += count;
                if seen > tail {
                    return code;
                }
            }
            0
        };
        let low = reach(&mut self.counts.iter().enumerate());
        let high = reach(&mut self.counts.iter().enumerate().rev());
        low..high + 1
    }
}
