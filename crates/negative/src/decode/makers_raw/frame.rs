//! A frame as a decoder gives it, checked and put in terms of this room.

use super::Answer;
use crate::decode::camera::CameraSettings;
use crate::decode::error::DecodeError;
use crate::decode::info::{Codes, Colour, Compression, Polarity, SampleKind, ScanFormat, ScanInfo};
use crate::decode::limits::DecodeLimits;
use crate::decode::opened::{Body, Opened, check_pixels, check_ratio};
use crate::decode::orientation::Orientation;
use crate::decode::sensor::{Mosaic, MosaicColour, SensorScale};
use crate::decode::unpack::{Pick, mean_of_three};
use quantity::{Flag, Flags};

/// Bytes of one number.
pub(super) const CODE_BYTES: u64 = 2;

/// A cell that is repeated over a frame from its first pixel, row by row.
#[derive(Debug)]
pub(crate) struct Cell<T> {
    pub(crate) columns: usize,
    pub(crate) places: Vec<T>,
}

impl<T: Copy> Cell<T> {
    fn rows(&self) -> usize {
        self.places.len().checked_div(self.columns).unwrap_or(0)
    }

    /// Tells whether the places fill whole rows.
    fn is_whole(&self) -> bool {
        !self.places.is_empty() && self.rows() * self.columns == self.places.len()
    }

    /// Gives the place at a pixel of the frame.
    fn at(&self, row: usize, column: usize) -> T {
        self.places[row % self.rows() * self.columns + column % self.columns]
    }
}

/// The part of a frame that is its picture. \[pixels\]
#[derive(Clone, Copy, Debug)]
pub(crate) struct Crop {
    pub(crate) left: u32,
    pub(crate) top: u32,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

/// What a decoder gives of a file.
#[derive(Debug)]
pub(crate) struct MakersFrame {
    /// Width of the stored frame, with its masked border. \[pixels\]
    pub(crate) width: u32,
    /// Height of the stored frame. \[pixels\]
    pub(crate) height: u32,
    /// Numbers to a pixel: 1 of a mosaic or of grey, 3 of red, green and blue.
    pub(crate) samples: u32,
    /// Colours of the mosaic from the frame's first pixel.
    pub(crate) mosaic: Option<Cell<MosaicColour>>,
    /// Code without light, for each place of a cell and each sample.
    pub(crate) black: Cell<f64>,
    /// Code from which a pixel is full.
    pub(crate) white: u32,
    pub(crate) crop: Option<Crop>,
    /// Number of the tag Orientation.
    pub(crate) orientation: u16,
    pub(crate) camera: Option<CameraSettings>,
    /// Whether its code is known to lose something.
    pub(crate) thinned: bool,
    /// What decoded it and what it could not tell, as sentences.
    pub(crate) remarks: Vec<String>,
    /// Numbers, pixel by pixel.
    pub(crate) codes: Vec<u16>,
}

/// Holds a frame's size against the limits, and against what its file can hold.
pub(crate) fn fits(
    width: u32,
    height: u32,
    samples: u32,
    file_bytes: u64,
    limits: &DecodeLimits,
) -> Result<(), DecodeError> {
    check_pixels(width, height, limits)?;
    let decoded = u64::from(width) * u64::from(height) * u64::from(samples) * CODE_BYTES;
    check_ratio(decoded, file_bytes, limits)?;
    // File and frame lie in memory together.
    let held = decoded.saturating_add(file_bytes);
    if held > limits.max_whole_bytes {
        return Err(DecodeError::TooLarge {
            what: "size of the camera's raw file and its frame in bytes",
            claimed: held,
            limit: limits.max_whole_bytes,
        });
    }
    Ok(())
}

impl MakersFrame {
    /// Checks what the decoder gave and puts it in terms of this room.
    pub(crate) fn opened(self) -> Answer<Opened> {
        let wanted = u64::from(self.width) * u64::from(self.height) * u64::from(self.samples);
        if wanted == 0 || self.codes.len() as u64 != wanted {
            return Err(format!(
                "its decoder gave {} numbers for a frame of {} × {} pixels with {} each",
                self.codes.len(),
                self.width,
                self.height,
                self.samples
            ));
        }
        let crop = self.picture()?;
        let mosaic = self.mosaic_at(crop)?;
        let colour = match (&mosaic, self.samples) {
            (Some(_), 1) => Colour::Mosaic,
            (None, 1) => Colour::Grey,
            (None, 3) => Colour::Rgb,
            _ => {
                return Err(format!(
                    "{} numbers to a pixel; one, or red, green and blue, are read",
                    self.samples
                ));
            }
        };
        let white = u16::try_from(self.white)
            .ok()
            .filter(|white| *white > 0)
            .ok_or_else(|| format!("a white level of {}", self.white))?;
        let black = self.black_at(crop, mosaic.as_ref(), white)?;
        let mut flags = Flags::none();
        if self.thinned {
            flags.insert(Flag::Lossy);
        }
        let mut remarks = self.remarks;
        if self.orientation > 1 {
            remarks.push(Orientation::left_as_it_is(self.orientation.into()));
        }
        let info = ScanInfo {
            format: ScanFormat::CameraRaw,
            width: crop.width,
            height: crop.height,
            bits: bits_of(white),
            sample_kind: SampleKind::Unsigned,
            colour,
            extra_samples: Vec::new(),
            polarity: Polarity::BlackIsZero,
            page: 0,
            page_count: 1,
            icc_profile: None,
            chunk_tone: None,
            transfer_function: Vec::new(),
            resolution: None,
            compression: Compression::MakersOwn,
            mosaic,
            sensor: Some(SensorScale {
                black,
                white,
                origin: (crop.left, crop.top),
                stored: (self.width, self.height),
                table: None,
            }),
            camera: self.camera,
            flags,
            remarks,
        };
        let codes = FrameCodes {
            row: self.width as usize * self.samples as usize,
            samples: self.samples as usize,
            codes: self.codes,
        };
        Ok(Opened::turned(
            info,
            Body::MakersRaw(codes),
            Orientation::UPRIGHT,
        ))
    }

    /// The part that is the picture; the whole frame where nothing is said.
    fn picture(&self) -> Answer<Crop> {
        let whole = Crop {
            left: 0,
            top: 0,
            width: self.width,
            height: self.height,
        };
        let crop = self.crop.unwrap_or(whole);
        let inside = |from: u32, long: u32, most: u32| {
            long > 0 && u64::from(from) + u64::from(long) <= u64::from(most)
        };
        if inside(crop.left, crop.width, self.width) && inside(crop.top, crop.height, self.height) {
            Ok(crop)
        } else {
            Err(format!(
                "its picture of {} × {} pixels from {}, {} lies outside its frame of {} × {}",
                crop.width, crop.height, crop.left, crop.top, self.width, self.height
            ))
        }
    }

    /// The mosaic from the picture's first pixel.
    fn mosaic_at(&self, crop: Crop) -> Answer<Option<Mosaic>> {
        let Some(cell) = &self.mosaic else {
            return Ok(None);
        };
        let unread = || {
            format!(
                "a mosaic of {} × {} pixels, or without red, green and blue",
                cell.rows(),
                cell.columns
            )
        };
        if !cell.is_whole() {
            return Err(unread());
        }
        let mosaic = Mosaic::new(cell.columns, moved(cell, crop)).ok_or_else(unread)?;
        if crop.width < mosaic.columns() || crop.height < mosaic.rows() {
            return Err(format!(
                "its picture of {} × {} pixels is smaller than one cell of its mosaic",
                crop.width, crop.height
            ));
        }
        Ok(Some(mosaic))
    }

    /// The black level at each place of the mosaic, or of each sample.
    fn black_at(&self, crop: Crop, mosaic: Option<&Mosaic>, white: u16) -> Answer<Vec<f64>> {
        let samples = self.samples as usize;
        let black = &self.black;
        if !black.is_whole() {
            return Err("black levels that fill no cell".to_owned());
        }
        let levels = match mosaic {
            Some(mosaic) => {
                let (rows, columns) = (mosaic.rows() as usize, mosaic.columns() as usize);
                if !rows.is_multiple_of(black.rows()) || !columns.is_multiple_of(black.columns) {
                    return Err(format!(
                        "{} × {} black levels that don't repeat with its mosaic of {rows} × {columns}",
                        black.rows(),
                        black.columns
                    ));
                }
                let (left, top) = (crop.left as usize, crop.top as usize);
                (0..rows * columns)
                    .map(|place| black.at(place / columns + top, place % columns + left))
                    .collect()
            }
            None => {
                let first = black.places[..samples.min(black.places.len())].to_vec();
                let same = black.places.chunks(first.len()).all(|other| other == first);
                match (same, first.len()) {
                    (true, given) if given == samples => first,
                    (true, 1) => vec![first[0]; samples],
                    _ => return Err("black levels that differ from pixel to pixel".to_owned()),
                }
            }
        };
        match levels
            .iter()
            .find(|b| !(0.0..f64::from(white)).contains(*b))
        {
            Some(over) => Err(format!(
                "a black level of {over} with a white level of {white}"
            )),
            None => Ok(levels),
        }
    }
}

/// Bits that the numbers up to white take.
fn bits_of(white: u16) -> u8 {
    (u16::BITS - white.leading_zeros()) as u8
}

/// The places of a cell from the picture's first pixel.
fn moved<T: Copy>(cell: &Cell<T>, crop: Crop) -> Vec<T> {
    (0..cell.places.len())
        .map(|place| {
            cell.at(
                place / cell.columns + crop.top as usize,
                place % cell.columns + crop.left as usize,
            )
        })
        .collect()
}

/// The numbers of a frame, row by row.
#[derive(Debug)]
pub(crate) struct FrameCodes {
    /// Numbers in a row.
    row: usize,
    /// Numbers to a pixel.
    samples: usize,
    codes: Vec<u16>,
}

/// Hands every row of the picked sample of the stored frame to `visit`.
pub(crate) fn walk(frame: &FrameCodes, pick: Pick, visit: &mut dyn FnMut(u32, Codes<'_>)) {
    let mut picked = Vec::with_capacity(frame.row / frame.samples);
    for (y, row) in (0..).zip(frame.codes.chunks_exact(frame.row)) {
        let row = match (frame.samples, pick) {
            (1, _) => row,
            (samples, Pick::One(sample)) => {
                picked.clear();
                picked.extend(row.iter().skip(sample).step_by(samples));
                &picked
            }
            (samples, Pick::MeanOfThree) => {
                picked.clear();
                let mean = |pixel: &[u16]| mean_of_three([0, 1, 2].map(|sample| pixel[sample]));
                picked.extend(row.chunks_exact(samples).map(mean));
                &picked
            }
        };
        visit(y, Codes::Unsigned(row));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A frame of 4 × 2 numbers, red, green over green, blue.
    fn frame() -> MakersFrame {
        MakersFrame {
            width: 4,
            height: 2,
            samples: 1,
            mosaic: Some(Cell {
                columns: 2,
                places: vec![
                    MosaicColour::Red,
                    MosaicColour::Green,
                    MosaicColour::Green,
                    MosaicColour::Blue,
                ],
            }),
            black: Cell {
                columns: 1,
                places: vec![64.0],
            },
            white: 4095,
            crop: None,
            orientation: 1,
            camera: None,
            thinned: false,
            remarks: Vec::new(),
            codes: (0..8).map(|i| 100 * i).collect(),
        }
    }

    fn refusal(frame: MakersFrame) -> String {
        match frame.opened() {
            Ok(_) => "read".to_owned(),
            Err(reason) => reason,
        }
    }

    #[test]
    fn what_a_decoder_gives_is_not_believed() {
        assert_eq!(refusal(frame()), "read");
        let wrong: [(&str, MakersFrame); 8] = [
            ("7 numbers for a frame of 4 × 2", {
                let mut short = frame();
                short.codes.pop();
                short
            }),
            (
                "picture of 4 × 2 pixels from 1, 0 lies outside",
                MakersFrame {
                    crop: Some(Crop {
                        left: 1,
                        top: 0,
                        width: 4,
                        height: 2,
                    }),
                    ..frame()
                },
            ),
            (
                "smaller than one cell",
                MakersFrame {
                    crop: Some(Crop {
                        left: 0,
                        top: 0,
                        width: 4,
                        height: 1,
                    }),
                    ..frame()
                },
            ),
            (
                "a white level of 70000",
                MakersFrame {
                    white: 70_000,
                    ..frame()
                },
            ),
            (
                "a black level of 64 with a white level of 60",
                MakersFrame {
                    white: 60,
                    ..frame()
                },
            ),
            (
                "a black level of NaN",
                MakersFrame {
                    black: Cell {
                        columns: 1,
                        places: vec![f64::NAN],
                    },
                    ..frame()
                },
            ),
            (
                "fill no cell",
                MakersFrame {
                    black: Cell {
                        columns: 0,
                        places: vec![],
                    },
                    ..frame()
                },
            ),
            (
                "without red, green and blue",
                MakersFrame {
                    mosaic: Some(Cell {
                        columns: 2,
                        places: vec![MosaicColour::Green; 4],
                    }),
                    ..frame()
                },
            ),
        ];
        for (expected, frame) in wrong {
            let reason = refusal(frame);
            assert!(reason.contains(expected), "{expected}: {reason}");
        }
    }

    #[test]
    fn mosaic_and_levels_move_with_the_picture() {
        let made = MakersFrame {
            black: Cell {
                columns: 2,
                places: vec![1.0, 2.0, 3.0, 4.0],
            },
            crop: Some(Crop {
                left: 1,
                top: 0,
                width: 3,
                height: 2,
            }),
            ..frame()
        };
        let info = made.opened().map(|opened| opened.info).ok();
        let (mosaic, black) = info
            .and_then(|info| info.mosaic.zip(info.sensor.map(|s| s.black)))
            .unzip();
        assert_eq!(mosaic.map(|m| m.to_string()).as_deref(), Some("GR/BG"));
        assert_eq!(black, Some(vec![2.0, 1.0, 4.0, 3.0]));
    }

    #[test]
    fn a_colour_of_whole_pixels_is_picked_from_each() {
        let made = MakersFrame {
            width: 2,
            height: 1,
            samples: 3,
            mosaic: None,
            codes: vec![10, 20, 30, 40, 50, 61],
            ..frame()
        };
        let Ok(opened) = made.opened() else {
            unreachable!("it is sound")
        };
        assert_eq!(opened.info.sensor.map(|s| s.black), Some(vec![64.0; 3]));
        let Body::MakersRaw(codes) = &opened.body else {
            unreachable!("it was just made")
        };
        let row = |pick| {
            let mut row = Vec::new();
            walk(codes, pick, &mut |_, codes| {
                row = (0..codes.len()).filter_map(|i| codes.at(i)).collect();
            });
            row
        };
        assert_eq!(row(Pick::One(1)), [20, 50]);
        // 151 / 3 is 50.33.
        assert_eq!(row(Pick::MeanOfThree), [20, 50]);
    }
}
