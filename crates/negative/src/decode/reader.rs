//! A scan, opened from bytes, whose rows can be walked.

use super::error::DecodeError;
use super::info::{ChannelChoice, Codes, Colour, SampleKind, ScanInfo, ScanRow};
use super::limits::DecodeLimits;
use super::opened::{Body, Opened};
use super::orientation::walk_upright;
use super::sensor_rows::SensorRows;
use super::tiff_layout::read_layout;
use super::unpack::Pick;
use super::{jpeg, makers_raw, png, tiff_rows};
use crate::flat_field::{Correction, FlatField, FlatFieldError};
use crate::tone::Tone;
use std::io::{Read, Seek, SeekFrom};

/// A scan whose header has been read and checked.
///
/// Each walk over the rows decodes the file anew, so that a scan of any size
/// costs a few megabytes (see [`DecodeLimits`] for what costs more). The raw file
/// of a camera's maker is decoded whole on opening, and kept.
///
/// # Examples
/// ```
/// # use negative::decode::{ChannelChoice, DecodeLimits, ScanReader};
/// # let mut png = Vec::new();
/// # image::DynamicImage::new_luma8(4, 3).write_to(&mut std::io::Cursor::new(&mut png), image::ImageFormat::Png)?;
/// let mut scan = ScanReader::open(std::io::Cursor::new(png), 0, &DecodeLimits::default())?;
/// let mut rows = 0;
/// scan.for_each_row(ChannelChoice::Grey, |row| {
///     assert_eq!(row.codes.len(), 4);
///     rows += 1;
/// })?;
/// assert_eq!(rows, 3);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct ScanReader<R> {
    source: R,
    limits: DecodeLimits,
    opened: Opened,
    /// Uneven light that is divided out of each row.
    correction: Option<Correction>,
}

impl<R: Read + Seek> ScanReader<R> {
    /// Reads and checks the header of one image of a file.
    ///
    /// `page` counts from 0. A file that holds more than one image carries
    /// [`quantity::Flag::SeveralImages`]. Nothing large is allocated here, but for
    /// the frame of a camera maker's raw file.
    ///
    /// # Errors
    /// [`DecodeError`] for a file that is malformed, of a kind that is not
    /// read, cut short, or larger than the limits or than its own bytes allow.
    pub fn open(mut source: R, page: usize, limits: &DecodeLimits) -> Result<Self, DecodeError> {
        source.seek(SeekFrom::Start(0))?;
        let mut first = [0; 12];
        let got = super::decompress::read_up_to(&mut source, &mut first)?;
        let opened = match &first[..got] {
            [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => {
                open_tiff(&mut source, page, limits)?
            }
            [0x89, b'P', b'N', b'G', 13, 10, 26, 10, ..] => png::open(&mut source, page, limits)?,
            [0xFF, 0xD8, 0xFF, ..] => jpeg::open(&mut source, page, limits)?,
            other if makers_raw::begins(other) => makers_raw::open(&mut source, page, limits)?,
            [] => return Err(DecodeError::Empty),
            other => {
                let first_bytes = other
                    .iter()
                    .take(8)
                    .map(|b| format!("{b:02x}"))
                    .collect::<Vec<_>>()
                    .join(" ");
                return Err(DecodeError::UnknownFormat { first_bytes });
            }
        };
        Ok(Self {
            source,
            limits: *limits,
            opened,
            correction: None,
        })
    }

    /// Gives what the file says of itself; of a scan with its light divided out,
    /// how its codes come out now.
    #[must_use]
    pub fn info(&self) -> &ScanInfo {
        self.correction
            .as_ref()
            .map_or(&self.opened.info, |c| &c.info)
    }

    /// Divides the light of the bare table out of one channel from now on, and
    /// gives the tone of the codes that come out.
    ///
    /// They have 16 bits and a black level, and are linear; other channels can
    /// no longer be read.
    ///
    /// # Errors
    /// [`FlatFieldError`] when the tone is unknown, and for a field of another
    /// size or channel.
    pub fn divide_by(
        &mut self,
        field: FlatField,
        channel: ChannelChoice,
        tone: &Tone,
    ) -> Result<Tone, FlatFieldError> {
        self.pick(channel)?;
        let correction = Correction::new(field, &self.opened.info, channel, tone)?;
        let tone = correction.tone(tone);
        self.correction = Some(correction);
        Ok(tone)
    }

    /// Hands every row of a channel to `visit`, from the top.
    ///
    /// Of a mosaic one row comes for each row of its cells, at the cell's upper
    /// edge (in a mosaic phase, at that row).
    ///
    /// # Errors
    /// [`DecodeError::NoSuchChannel`] before anything is read; a fault in the
    /// picture data after the good rows have been handed out.
    pub fn for_each_row(
        &mut self,
        choice: ChannelChoice,
        mut visit: impl FnMut(ScanRow<'_>),
    ) -> Result<(), DecodeError> {
        let Some(mut correction) = self.correction.take() else {
            return self.for_each_stored_row(choice, visit);
        };
        let done = if choice == correction.channel {
            self.for_each_stored_row(choice, |row| visit(correction.row(&row)))
        } else {
            Err(DecodeError::NoSuchChannel {
                choice: choice.to_string(),
                available: format!("only {} with its light divided out", correction.channel),
            })
        };
        self.correction = Some(correction);
        done
    }

    fn for_each_stored_row(
        &mut self,
        choice: ChannelChoice,
        mut visit: impl FnMut(ScanRow<'_>),
    ) -> Result<(), DecodeError> {
        let pick = self.pick(choice)?;
        if let Some(mut rows) = SensorRows::new(&self.opened.info, choice) {
            let mut take = |y: u32, codes: Codes<'_>| {
                let Codes::Unsigned(codes) = codes else {
                    unreachable!("a raw frame of floats is refused on opening")
                };
                rows.take(y, codes, &mut visit);
            };
            match &self.opened.body {
                Body::Tiff(layout) => {
                    return tiff_rows::walk(&mut self.source, layout, pick, &mut take);
                }
                Body::MakersRaw(frame) => {
                    makers_raw::walk(frame, pick, &mut take);
                    return Ok(());
                }
                Body::Png(_) | Body::Jpeg(_) => {}
            }
        }
        let phase = match choice {
            ChannelChoice::MosaicPhase { row, column } => Some((u32::from(row), u32::from(column))),
            _ => None,
        };
        let mut thinned = Vec::new();
        let mut thinned_float = Vec::new();
        let mut visit = |y: u32, codes: Codes<'_>| {
            let Some((row, column)) = phase else {
                visit(ScanRow {
                    y,
                    x_first: 0,
                    x_step: 1,
                    codes,
                });
                return;
            };
            if y % 2 != row {
                return;
            }
            let codes = match codes {
                Codes::Unsigned(codes) => {
                    thinned.clear();
                    thinned.extend(codes.iter().skip(column as usize).step_by(2));
                    Codes::Unsigned(&thinned)
                }
                Codes::Float(codes) => {
                    thinned_float.clear();
                    thinned_float.extend(codes.iter().skip(column as usize).step_by(2));
                    Codes::Float(&thinned_float)
                }
            };
            visit(ScanRow {
                y,
                x_first: column,
                x_step: 2,
                codes,
            });
        };
        let spread = self.opened.info.sample_kind == SampleKind::Float;
        let (orientation, stored) = (self.opened.orientation, self.opened.stored);
        let most_bytes = self.limits.max_turned_bytes;
        let mut walk =
            |visit: &mut dyn FnMut(u32, Codes<'_>)| self.walk_stored(choice, pick, visit);
        walk_upright(
            orientation,
            stored,
            spread,
            most_bytes,
            &mut walk,
            &mut visit,
        )
    }

    /// Hands the rows to `visit` as they lie in the file.
    fn walk_stored(
        &mut self,
        choice: ChannelChoice,
        pick: Pick,
        visit: &mut dyn FnMut(u32, Codes<'_>),
    ) -> Result<(), DecodeError> {
        let Self {
            source,
            limits,
            opened,
            ..
        } = self;
        let mut walk = |visit: &mut dyn FnMut(u32, Codes<'_>)| match &opened.body {
            Body::Tiff(layout) => tiff_rows::walk(source, layout, pick, visit),
            Body::Png(layout) => png::walk(source, layout, limits, pick, visit),
            Body::Jpeg(layout) => jpeg::walk(source, layout, limits, pick, visit),
            Body::MakersRaw(frame) => {
                makers_raw::walk(frame, pick, visit);
                Ok(())
            }
        };
        let palette = opened
            .palette
            .as_ref()
            .filter(|_| !matches!(choice, ChannelChoice::Extra(_)));
        let Some(palette) = palette else {
            return walk(visit);
        };
        let table = palette.table(choice);
        let mut found = Vec::new();
        walk(&mut |y, codes| {
            let Codes::Unsigned(numbers) = codes else {
                unreachable!("numbers of a palette are whole, others are refused on opening");
            };
            found.clear();
            // The table has an entry for every number that the bits can hold.
            found.extend(numbers.iter().map(|n| table[usize::from(*n)]));
            visit(y, Codes::Unsigned(&found));
        })
    }

    /// Gives the channel to take when nobody said which: grey, or green of a
    /// colour scan of a silver negative, whose channels differ only in flare; of
    /// a camera's mosaic green too, which has the most pixels. A mosaic whose
    /// colours the file doesn't name gives its first place alone.
    #[must_use]
    pub fn usual_channel(&self) -> ChannelChoice {
        match (self.opened.info.colour, &self.opened.info.mosaic) {
            (Colour::Grey, _) => ChannelChoice::Grey,
            (Colour::Mosaic, None) => ChannelChoice::MosaicPhase { row: 0, column: 0 },
            (Colour::Mosaic, Some(_)) | (Colour::Rgb, _) => ChannelChoice::Green,
        }
    }

    fn pick(&self, choice: ChannelChoice) -> Result<Pick, DecodeError> {
        if self.opened.info.colour == Colour::Mosaic {
            return self.pick_of_mosaic(choice);
        }
        let colours = match self.opened.info.colour {
            Colour::Grey | Colour::Mosaic => 1,
            Colour::Rgb => 3,
        };
        if self.opened.palette.is_some() && colours == 3 {
            match choice {
                ChannelChoice::Red
                | ChannelChoice::Green
                | ChannelChoice::Blue
                | ChannelChoice::Mean => return Ok(Pick::One(0)),
                ChannelChoice::Extra(index) if index < self.opened.info.extra_samples.len() => {
                    return Ok(Pick::One(1 + index));
                }
                _ => {}
            }
        }
        match (choice, colours) {
            (ChannelChoice::Grey, 1) | (ChannelChoice::Red, 3) => Ok(Pick::One(0)),
            (
                ChannelChoice::MosaicPhase {
                    row: 0 | 1,
                    column: 0 | 1,
                },
                1,
            ) => Ok(Pick::One(0)),
            (ChannelChoice::Green, 3) => Ok(Pick::One(1)),
            (ChannelChoice::Blue, 3) => Ok(Pick::One(2)),
            (ChannelChoice::Mean, 3) => Ok(Pick::MeanOfThree),
            (ChannelChoice::Extra(index), _) if index < self.opened.info.extra_samples.len() => {
                Ok(Pick::One(colours + index))
            }
            _ => {
                let colour = if colours == 1 {
                    "one sample of grey"
                } else {
                    "red, green and blue"
                };
                let extra = self.opened.info.extra_samples.len();
                Err(DecodeError::NoSuchChannel {
                    choice: choice.to_string(),
                    available: format!("{colour} and {extra} extra samples"),
                })
            }
        }
    }

    /// Of a mosaic no channel mixes colours unless it is asked for by name.
    fn pick_of_mosaic(&self, choice: ChannelChoice) -> Result<Pick, DecodeError> {
        let extra = self.opened.info.extra_samples.len();
        let found = match (choice, &self.opened.info.mosaic) {
            (ChannelChoice::Extra(index), None) if index < extra => {
                return Ok(Pick::One(1 + index));
            }
            (
                ChannelChoice::MosaicPhase {
                    row: row @ (0 | 1),
                    column: column @ (0 | 1),
                },
                None,
            ) => {
                let info = &self.opened.info;
                u32::from(row) < info.height && u32::from(column) < info.width
            }
            (choice, Some(_)) => SensorRows::new(&self.opened.info, choice).is_some(),
            _ => false,
        };
        if found {
            return Ok(Pick::One(0));
        }
        let available = match &self.opened.info.mosaic {
            Some(mosaic) => format!(
                "a mosaic of red, green and blue ({mosaic}): red, green, blue, their mean, or one \
                 place of its {} × {} cell",
                mosaic.rows(),
                mosaic.columns()
            ),
            None => "a mosaic whose colours it doesn't name: one of its 2 × 2 places alone is grey"
                .to_owned(),
        };
        Err(DecodeError::NoSuchChannel {
            choice: choice.to_string(),
            available,
        })
    }
}

/// Opens a TIFF file, or the camera's raw file that begins like one.
fn open_tiff<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<Opened, DecodeError> {
    match read_layout(source, page, limits) {
        Err(DecodeError::MakersRaw { .. }) => makers_raw::open(source, page, limits),
        // A mosaic without levels: a decoder may know its camera.
        Ok(own) if own.info.colour == Colour::Mosaic && own.info.sensor.is_none() => {
            Ok(makers_raw::open(source, page, limits).unwrap_or(own))
        }
        other => other,
    }
}
