//! How the pixels of one TIFF image lie in the file, and whether they are read.
//!
//! Everything a header can claim is checked here, before any pixel is decoded:
//! kinds that are not read are refused with their reason, and sizes are held
//! against the limits and against the bytes the file really has.

use super::decompress::StreamFault;
use super::dng;
use super::error::DecodeError;
use super::info::{Colour, Compression, ExtraSample, Polarity, Resolution, SampleKind, ScanInfo};
use super::limits::DecodeLimits;
use super::tiff_directory::{Chain, Directory, tag};
use super::unpack::{Predictor, RowLayout};
use quantity::{Flag, Flags};
use std::io::{Read, Seek};

/// Where the chunks of an image lie and how they are coded.
#[derive(Clone, Debug)]
pub(crate) struct TiffLayout {
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) compression: Compression,
    /// Rows of a chunk, laid out; in a planar file of one sample's plane.
    pub(crate) rows: RowLayout,
    pub(crate) planar: bool,
    pub(crate) tiled: bool,
    pub(crate) chunk_height: u32,
    pub(crate) across: u32,
    pub(crate) down: u32,
    pub(crate) offsets: Vec<u64>,
    pub(crate) byte_counts: Vec<u64>,
    pub(crate) file_bytes: u64,
}

impl TiffLayout {
    /// Gives the index of a chunk.
    pub(crate) fn chunk(&self, plane: usize, down: u32, across: u32) -> usize {
        (plane * self.down as usize + down as usize) * self.across as usize + across as usize
    }

    /// Gives the rows that a row of chunks holds: the last one can be shorter.
    pub(crate) fn rows_at(&self, down: u32) -> u32 {
        self.chunk_height
            .min(self.height - down * self.chunk_height)
    }

    /// Gives the decoded bytes of a chunk. Tiles are always whole.
    pub(crate) fn decoded_bytes(&self, down: u32) -> u64 {
        let rows = if self.tiled {
            self.chunk_height
        } else {
            self.rows_at(down)
        };
        self.rows.row_bytes() as u64 * u64::from(rows)
    }

    /// Turns the fault of a chunk into an error that says how far reading got.
    pub(crate) fn error(&self, rows_complete: u32, fault: StreamFault) -> DecodeError {
        match fault {
            StreamFault::Source(error) => error.into(),
            StreamFault::FileEnds { needed } => DecodeError::CutShort {
                rows_complete,
                rows: self.height,
                needed_bytes: needed,
                file_bytes: self.file_bytes,
            },
            StreamFault::Data(fault) => DecodeError::Damaged {
                rows_complete,
                rows: self.height,
                fault: fault.to_owned(),
            },
        }
    }
}

/// Reads one image's directory; gives what the file says and where pixels lie.
pub(crate) fn read_layout<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<(ScanInfo, TiffLayout), DecodeError> {
    let chain = Chain::read(source, limits)?;
    let (directory, dng) = dng::directory_of(source, &chain, page)?;
    let (width, height) = size(source, &directory, limits)?;
    let compression = compression(source, &directory)?;
    let (bits, sample_kind) = samples_kind(source, &directory)?;
    let (colour, polarity, colour_samples) = photometric(source, &directory)?;
    let frame = dng::frame_of(
        source,
        &directory,
        dng,
        (width, height),
        colour,
        bits,
        sample_kind,
    )?;
    // A sensor's frame keeps the sensor's own orientation.
    if frame.is_none() {
        refuse_transforms(source, &directory)?;
    }

    let samples = directory
        .first_number(source, tag::SAMPLES_PER_PIXEL)?
        .unwrap_or(1);
    if samples < colour_samples || samples > 64 {
        return Err(directory.fault(format!(
            "samples per pixel must be {colour_samples} to 64 for this colour, found {samples}"
        )));
    }
    let named = directory.numbers(source, tag::EXTRA_SAMPLES, 64)?;
    let extra_samples = (0..samples - colour_samples)
        .map(|index| match named.get(index as usize) {
            Some(1) => ExtraSample::AssociatedAlpha,
            Some(2) => ExtraSample::UnassociatedAlpha,
            _ => ExtraSample::Unspecified,
        })
        .collect();
    let samples = samples as usize;

    let planar = match directory
        .first_number(source, tag::PLANAR_CONFIGURATION)?
        .unwrap_or(1)
    {
        1 => false,
        2 => samples > 1,
        other => {
            return Err(directory.fault(format!("planar configuration is 1 or 2, found {other}")));
        }
    };
    let predictor = predictor(source, &directory, compression, bits, sample_kind)?;

    let tiled = directory.has(tag::TILE_OFFSETS) || directory.has(tag::TILE_WIDTH);
    let (chunk_width, chunk_height) = chunk_size(source, &directory, tiled, width, height)?;
    let rows = RowLayout {
        bits,
        float: sample_kind == SampleKind::Float,
        big_endian: directory.big_endian,
        samples: if planar { 1 } else { samples },
        columns: chunk_width as usize,
        predictor,
    };
    let mut layout = TiffLayout {
        width,
        height,
        compression,
        rows,
        planar,
        tiled,
        chunk_height,
        across: width.div_ceil(chunk_width),
        down: height.div_ceil(chunk_height),
        offsets: Vec::new(),
        byte_counts: Vec::new(),
        file_bytes: directory.file_bytes,
    };
    check_sizes(&layout, limits)?;
    let planes = if planar { samples as u64 } else { 1 };
    place_chunks(source, &directory, &mut layout, planes)?;
    check_claims(&layout, planes, limits)?;

    let mut flags = Flags::none();
    if chain.len() > 1 {
        flags.insert(Flag::SeveralImages);
    }
    let (mosaic, sensor, (width, height)) = match frame {
        Some(frame) => (frame.mosaic, frame.sensor, frame.size),
        None => (None, None, (width, height)),
    };
    let info = ScanInfo {
        format: directory.format,
        width,
        height,
        bits,
        sample_kind,
        colour,
        extra_samples,
        polarity,
        page,
        page_count: chain.len(),
        icc_profile: directory.blob(
            source,
            tag::ICC_PROFILE,
            "size of the ICC profile in bytes",
            limits.max_profile_bytes,
        )?,
        chunk_tone: None,
        resolution: resolution(source, &directory)?,
        compression,
        mosaic,
        sensor,
        flags,
    };
    Ok((info, layout))
}

fn size<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    limits: &DecodeLimits,
) -> Result<(u32, u32), DecodeError> {
    let mut of = |tag: u16, what: &str| -> Result<u32, DecodeError> {
        let value = directory.first_number(source, tag)?;
        match value.and_then(|v| u32::try_from(v).ok()).filter(|v| *v > 0) {
            Some(size) => Ok(size),
            None => Err(directory.fault(format!(
                "the {what} must be a number from 1, found {value:?}"
            ))),
        }
    };
    let (width, height) = (
        of(tag::IMAGE_WIDTH, "width")?,
        of(tag::IMAGE_LENGTH, "height")?,
    );
    let pixels = u64::from(width) * u64::from(height);
    if pixels > limits.max_pixels {
        return Err(DecodeError::TooLarge {
            what: "number of pixels",
            claimed: pixels,
            limit: limits.max_pixels,
        });
    }
    Ok((width, height))
}

fn compression<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<Compression, DecodeError> {
    let reason = match directory
        .first_number(source, tag::COMPRESSION)?
        .unwrap_or(1)
    {
        1 => return Ok(Compression::Stored),
        5 => return Ok(Compression::Lzw),
        8 | 32946 => return Ok(Compression::Deflate),
        32773 => return Ok(Compression::PackBits),
        2..=4 => "fax compression holds black and white only, no densities",
        6 | 7 => "JPEG inside TIFF is lossy; save the scan uncompressed or with LZW or Deflate",
        other => {
            return Err(directory.refused(format!(
                "compression {other}; none, LZW, Deflate and PackBits are read"
            )));
        }
    };
    Err(directory.refused(reason.to_owned()))
}

fn samples_kind<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<(u8, SampleKind), DecodeError> {
    let bits = directory.numbers(source, tag::BITS_PER_SAMPLE, 64)?;
    let first = bits.first().copied().unwrap_or(1);
    if bits.iter().any(|b| *b != first) {
        return Err(directory.refused(format!(
            "its samples have different numbers of bits: {bits:?}"
        )));
    }
    let formats = directory.numbers(source, tag::SAMPLE_FORMAT, 64)?;
    let format = formats.first().copied().unwrap_or(1);
    if formats.iter().any(|f| *f != format) {
        return Err(directory.refused("its samples are of different kinds".to_owned()));
    }
    let reason = match (format, first) {
        (1 | 4, 2..=16) => return Ok((first as u8, SampleKind::Unsigned)),
        (3, 32 | 64) => return Ok((first as u8, SampleKind::Float)),
        (1 | 4, 1) => "1-bit samples are black and white only, no densities".to_owned(),
        (1 | 4, bits) => format!("{bits}-bit samples; 2 to 16 bits are read"),
        (2, bits) => format!("signed {bits}-bit samples; code values of a scan are unsigned"),
        (3, bits) => format!("{bits}-bit float samples; 32 and 64 bits are read"),
        (other, _) => format!("sample format {other}; unsigned (1) and float (3) are read"),
    };
    Err(directory.refused(reason))
}

fn photometric<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<(Colour, Polarity, u64), DecodeError> {
    let Some(photometric) = directory.first_number(source, tag::PHOTOMETRIC)? else {
        return Err(directory.fault("the photometric interpretation is missing".to_owned()));
    };
    let reason = match photometric {
        0 => return Ok((Colour::Grey, Polarity::WhiteIsZero, 1)),
        1 => return Ok((Colour::Grey, Polarity::BlackIsZero, 1)),
        2 => return Ok((Colour::Rgb, Polarity::BlackIsZero, 3)),
        32803 => return Ok((Colour::Mosaic, Polarity::BlackIsZero, 1)),
        34892 => {
            let samples = directory
                .first_number(source, tag::SAMPLES_PER_PIXEL)?
                .unwrap_or(1);
            return Ok(if samples >= 3 {
                (Colour::Rgb, Polarity::BlackIsZero, 3)
            } else {
                (Colour::Grey, Polarity::BlackIsZero, 1)
            });
        }
        3 => "palette colours are not code values; save the scan as grey".to_owned(),
        4 => "a transparency mask is no picture".to_owned(),
        5 => "CMYK is ink, not light; save the scan as grey or RGB".to_owned(),
        6 => "YCbCr is not read; save the scan as grey or RGB".to_owned(),
        8..=10 => "Lab is not code values; save the scan as grey or RGB".to_owned(),
        other => format!("photometric interpretation {other}; grey and RGB are read"),
    };
    Err(directory.refused(reason))
}

fn refuse_transforms<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<(), DecodeError> {
    let orientation = directory
        .first_number(source, tag::ORIENTATION)?
        .unwrap_or(1);
    // 0 is written by some programs for "not said".
    if orientation > 1 {
        return Err(directory.refused(format!(
            "orientation {orientation} asks for the picture to be turned; save it upright, so that \
             patch coordinates mean the same in every program"
        )));
    }
    let fill_order = directory
        .first_number(source, tag::FILL_ORDER)?
        .unwrap_or(1);
    if fill_order != 1 {
        return Err(directory.refused(format!(
            "fill order {fill_order}: bits are stored backwards"
        )));
    }
    Ok(())
}

fn predictor<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    compression: Compression,
    bits: u8,
    kind: SampleKind,
) -> Result<Predictor, DecodeError> {
    // Predictors belong to LZW and Deflate; elsewhere the tag has no meaning.
    if !matches!(compression, Compression::Lzw | Compression::Deflate) {
        return Ok(Predictor::None);
    }
    match (
        directory.first_number(source, tag::PREDICTOR)?.unwrap_or(1),
        bits,
        kind,
    ) {
        (1, _, _) => Ok(Predictor::None),
        (2, 8 | 16 | 32, _) => Ok(Predictor::Horizontal),
        (3, 32 | 64, SampleKind::Float) => Ok(Predictor::Float),
        (other, bits, _) => {
            Err(directory.refused(format!("predictor {other} with {bits}-bit samples")))
        }
    }
}

fn chunk_size<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    tiled: bool,
    width: u32,
    height: u32,
) -> Result<(u32, u32), DecodeError> {
    let mut of = |tag: u16| directory.first_number(source, tag);
    let (chunk_width, chunk_height) = if tiled {
        (
            of(tag::TILE_WIDTH)?.unwrap_or(0),
            of(tag::TILE_LENGTH)?.unwrap_or(0),
        )
    } else {
        let rows = of(tag::ROWS_PER_STRIP)?.unwrap_or(u64::from(height));
        (u64::from(width), rows.min(u64::from(height)))
    };
    match (u32::try_from(chunk_width), u32::try_from(chunk_height)) {
        (Ok(w), Ok(h)) if w > 0 && h > 0 => Ok((w, h)),
        _ => Err(directory.fault(format!(
            "strips and tiles have at least 1 × 1 pixels, found {chunk_width} × {chunk_height}"
        ))),
    }
}

/// Holds the bytes that will have to be in memory against the limits.
fn check_sizes(layout: &TiffLayout, limits: &DecodeLimits) -> Result<(), DecodeError> {
    let too_large = |what, claimed, limit| {
        Err(DecodeError::TooLarge {
            what,
            claimed,
            limit,
        })
    };
    let row = (layout.rows.columns as u64)
        .checked_mul(layout.rows.samples as u64 * u64::from(layout.rows.bits))
        .map_or(u64::MAX, |bits| bits.div_ceil(8));
    if !layout.tiled {
        if row > limits.max_chunk_bytes {
            return too_large("size of one row in bytes", row, limits.max_chunk_bytes);
        }
        return Ok(());
    }
    let tile = row.saturating_mul(u64::from(layout.chunk_height));
    if tile > limits.max_chunk_bytes {
        return too_large("size of one tile in bytes", tile, limits.max_chunk_bytes);
    }
    let band = u64::from(layout.width)
        .saturating_mul(u64::from(layout.chunk_height.min(layout.height)))
        .saturating_mul(4);
    if band > limits.max_band_bytes {
        return too_large(
            "size of one row of tiles in bytes",
            band,
            limits.max_band_bytes,
        );
    }
    Ok(())
}

fn place_chunks<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    layout: &mut TiffLayout,
    planes: u64,
) -> Result<(), DecodeError> {
    // Some writers of tiles use the strips' tags for where they lie.
    let either = |tile, strip| {
        if layout.tiled && directory.has(tile) {
            tile
        } else {
            strip
        }
    };
    let offsets = either(tag::TILE_OFFSETS, tag::STRIP_OFFSETS);
    let counts = either(tag::TILE_BYTE_COUNTS, tag::STRIP_BYTE_COUNTS);
    let chunks = u64::from(layout.across) * u64::from(layout.down) * planes;
    layout.offsets = directory.numbers(source, offsets, chunks)?;
    layout.byte_counts = directory.numbers(source, counts, chunks)?;
    let found = layout.offsets.len() as u64;
    if found < chunks {
        return Err(directory.fault(format!(
            "the picture has {chunks} strips or tiles, offsets are given for {found}"
        )));
    }
    let counted = layout.byte_counts.len() as u64;
    if counted < chunks {
        if layout.compression != Compression::Stored {
            return Err(directory.fault(format!(
                "the picture has {chunks} strips or tiles, byte counts are given for {counted}"
            )));
        }
        layout.byte_counts.clear();
    }
    if layout.compression == Compression::Stored {
        // What stored chunks need is known; a wrong count does no harm.
        layout.byte_counts = (0..chunks)
            .map(|chunk| {
                let down = (chunk / u64::from(layout.across)) % u64::from(layout.down);
                layout.decoded_bytes(down as u32)
            })
            .collect();
    }
    Ok(())
}

/// Holds what the header claims against the bytes that the file has.
fn check_claims(
    layout: &TiffLayout,
    planes: u64,
    limits: &DecodeLimits,
) -> Result<(), DecodeError> {
    let per_plane: u64 = (0..layout.down)
        .map(|down| {
            layout
                .decoded_bytes(down)
                .saturating_mul(u64::from(layout.across))
        })
        .fold(0, u64::saturating_add);
    let claimed_bytes = per_plane.saturating_mul(planes);
    // Chunks that lie on each other do not count twice.
    let held_bytes = layout
        .byte_counts
        .iter()
        .fold(0_u64, |sum, bytes| sum.saturating_add(*bytes))
        .min(layout.file_bytes);
    if layout.compression == Compression::Stored {
        check_stored(layout)?;
        if claimed_bytes > layout.file_bytes {
            return Err(DecodeError::ImplausibleSize {
                claimed_bytes,
                held_bytes,
                possible_bytes: layout.file_bytes,
            });
        }
        return Ok(());
    }
    // Largest ratios of the codes: Deflate 1032 by its format; LZW a string of
    // at most 3838 bytes from a 12-bit code; PackBits 128 from 2.
    let code_ratio = match layout.compression {
        Compression::Deflate => 1032,
        Compression::Lzw => 2560,
        _ => 64,
    };
    let possible = held_bytes.saturating_mul(code_ratio);
    let believed = held_bytes
        .saturating_mul(code_ratio.min(limits.max_ratio))
        .max(limits.ratio_free_bytes);
    let possible_bytes = possible.min(believed);
    if claimed_bytes > possible_bytes {
        return Err(DecodeError::ImplausibleSize {
            claimed_bytes,
            held_bytes,
            possible_bytes,
        });
    }
    Ok(())
}

/// Tells how many rows of a stored picture are whole, when not all are.
fn check_stored(layout: &TiffLayout) -> Result<(), DecodeError> {
    let short = layout
        .offsets
        .iter()
        .zip(&layout.byte_counts)
        .enumerate()
        .filter(|(_, (offset, bytes))| {
            offset
                .checked_add(**bytes)
                .is_none_or(|end| end > layout.file_bytes)
        })
        .map(|(chunk, (offset, bytes))| {
            let down = (chunk as u64 / u64::from(layout.across)) % u64::from(layout.down);
            let whole_rows = if layout.tiled {
                0
            } else {
                layout.file_bytes.saturating_sub(*offset) / layout.rows.row_bytes().max(1) as u64
            };
            let rows = down * u64::from(layout.chunk_height)
                + whole_rows.min(u64::from(layout.chunk_height));
            (rows, offset.saturating_add(*bytes))
        })
        .min();
    match short {
        None => Ok(()),
        Some((rows, needed_bytes)) => Err(DecodeError::CutShort {
            rows_complete: u32::try_from(rows).unwrap_or(u32::MAX).min(layout.height),
            rows: layout.height,
            needed_bytes,
            file_bytes: layout.file_bytes,
        }),
    }
}

fn resolution<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<Option<Resolution>, DecodeError> {
    let per_inch = match directory
        .first_number(source, tag::RESOLUTION_UNIT)?
        .unwrap_or(2)
    {
        2 => 1.0,
        3 => 2.54,
        _ => return Ok(None),
    };
    let x = directory.ratio(source, tag::X_RESOLUTION)?;
    let y = directory.ratio(source, tag::Y_RESOLUTION)?;
    Ok(x.map(|x| Resolution {
        x_per_inch: x * per_inch,
        y_per_inch: y.unwrap_or(x) * per_inch,
    }))
}
