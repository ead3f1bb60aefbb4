//! How the pixels of one TIFF image lie in the file, and whether they are read.
//!
//! Everything a header can claim is checked here, before any pixel is decoded:
//! kinds that are not read are refused with their reason, and sizes are held
//! against the limits and against the bytes the file really has.

use super::camera::settings_of;
use super::decompress::StreamFault;
use super::dng;
use super::error::DecodeError;
use super::fax_rows::FaxCode;
use super::info::{Colour, Compression, ExtraSample, Polarity, Resolution, SampleKind, ScanInfo};
use super::jpeg_data::Components;
use super::limits::DecodeLimits;
use super::opened::{Body, Opened, check_pixels};
use super::orientation::Orientation;
use super::palette::Palette;
use super::tiff_codes::{Photometric, chunk_code, photometric, predictor, samples_kind};
use super::tiff_directory::{Chain, Directory, tag};
use super::tiff_tone::transfer_function;
use super::unpack::{Numbers, RowLayout};
use quantity::{Flag, Flags};
use std::io::{Read, Seek};

/// Where the chunks of an image lie and how they are coded.
#[derive(Clone, Debug)]
pub(crate) struct TiffLayout {
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) compression: Compression,
    pub(crate) code: ChunkCode,
    /// Whether the bits of each byte are stored lowest first.
    pub(crate) bits_backwards: bool,
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

/// How the bytes of a chunk are decoded.
#[derive(Clone, Debug)]
pub(crate) enum ChunkCode {
    /// A piece at a time.
    Stream,
    /// As rows of one bit.
    Fax(FaxCode),
    /// As a JPEG picture, with the tables that all chunks share.
    Jpeg {
        tables: Option<Vec<u8>>,
        components: Components,
    },
    /// As lossless JPEG data of a raw frame: 16-bit numbers.
    LosslessJpeg,
}

impl TiffLayout {
    /// Tells whether a chunk can be decoded a piece at a time.
    pub(crate) fn streams(&self) -> bool {
        matches!(self.code, ChunkCode::Stream) && !self.bits_backwards
    }

    /// Gives the bytes that one row of a chunk takes, as stored or as codes,
    /// whichever is more.
    pub(crate) fn held_bytes_of_row(&self) -> u64 {
        let code_bytes = if self.rows.spread() { 4 } else { 2 };
        (self.rows.row_bytes() as u64).max(self.rows.columns as u64 * code_bytes)
    }

    /// Gives the bytes that a chunk takes, as stored or as codes, whichever is more.
    pub(crate) fn held_bytes(&self, down: u32) -> u64 {
        let rows = if self.tiled {
            self.chunk_height
        } else {
            self.rows_at(down)
        };
        self.held_bytes_of_row() * u64::from(rows)
    }

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
                fault: fault.into_owned(),
            },
        }
    }
}

/// Reads one image's directory; gives what the file says and where pixels lie.
pub(crate) fn read_layout<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<Opened, DecodeError> {
    let chain = Chain::read(source, limits)?;
    let (directory, dng) = dng::directory_of(source, &chain, page)?;
    let (width, height) = size(source, &directory, limits)?;
    let mut remarks = vec![];
    let photometric = photometric(source, &directory)?;
    let (compression, code) = chunk_code(source, &directory, photometric)?;
    let (bits, numbers) = samples_kind(source, &directory, &code)?;
    let palette = match photometric {
        Photometric::Palette => Some(palette(source, &directory, bits, numbers)?),
        _ => None,
    };
    let (colour, polarity, colour_samples) = match (photometric, &palette) {
        (Photometric::Samples(colour, polarity, samples), _) => (colour, polarity, samples),
        (_, Some(palette)) if palette.is_grey() => (Colour::Grey, Polarity::BlackIsZero, 1),
        (Photometric::Palette, _) => (Colour::Rgb, Polarity::BlackIsZero, 1),
        (Photometric::LumaAndDifferences, _) => (Colour::Rgb, Polarity::BlackIsZero, 3),
    };
    let sample_kind = if numbers.spread(bits) {
        SampleKind::Float
    } else {
        SampleKind::Unsigned
    };
    let frame = dng::frame_of(
        source,
        &directory,
        dng,
        (width, height),
        colour,
        bits,
        sample_kind,
    )?;
    let orientation = orientation(source, &directory, frame.is_some(), &mut remarks)?;
    let bits_backwards = match directory.first_number(source, tag::FILL_ORDER)? {
        None | Some(1) => false,
        Some(2) => true,
        Some(other) => return Err(directory.fault(format!("fill order is 1 or 2, found {other}"))),
    };

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
    if planar && photometric == Photometric::LumaAndDifferences {
        return Err(directory.refused("YCbCr in planes; save the scan as grey or RGB".to_owned()));
    }
    let predictor = predictor(source, &directory, compression, bits, numbers)?;

    let tiled = directory.has(tag::TILE_OFFSETS) || directory.has(tag::TILE_WIDTH);
    let (chunk_width, chunk_height) = chunk_size(source, &directory, tiled, width, height)?;
    let rows = RowLayout {
        // Lossless JPEG data gives whole words, whatever they hold.
        bits: match code {
            ChunkCode::LosslessJpeg => 16,
            _ => bits,
        },
        numbers,
        big_endian: directory.big_endian,
        samples: if planar { 1 } else { samples },
        columns: chunk_width as usize,
        predictor,
    };
    let mut layout = TiffLayout {
        width,
        height,
        compression,
        code,
        bits_backwards,
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
    if compression == Compression::LossyJpeg {
        flags.insert(Flag::Lossy);
    }
    if bits == 1 {
        flags.insert(Flag::Bilevel);
    }
    remarks.extend(numbers.remark(bits));
    let icc_profile = directory.blob(
        source,
        tag::ICC_PROFILE,
        "size of the ICC profile in bytes",
        limits.max_profile_bytes,
    )?;
    let first = chain.directory(source, page)?;
    let info = ScanInfo {
        format: directory.format,
        width,
        height,
        bits: palette.as_ref().map_or(bits, Palette::bits),
        sample_kind,
        colour,
        extra_samples,
        polarity,
        page,
        page_count: chain.len(),
        transfer_function: if palette.is_none() && !numbers.spread(bits) {
            transfer_function(source, &directory, bits, &mut remarks)?
        } else {
            Vec::new()
        },
        icc_profile,
        chunk_tone: None,
        resolution: resolution(source, &directory)?,
        compression,
        mosaic,
        sensor,
        camera: settings_of(source, &chain, &first),
        flags,
        remarks,
    };
    Ok(Opened::turned(info, Body::Tiff(layout), orientation).with_palette(palette))
}

/// Reads the colours that stored numbers stand for.
fn palette<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    bits: u8,
    numbers: Numbers,
) -> Result<Palette, DecodeError> {
    if numbers.spread(bits) {
        return Err(directory.refused(format!(
            "a palette of {bits}-bit numbers; unsigned numbers of 1 to 16 bits are read"
        )));
    }
    let wanted = 3_u64 << bits;
    let map = directory.numbers(source, tag::COLOR_MAP, wanted)?;
    if map.len() as u64 != wanted {
        return Err(directory.fault(format!(
            "a palette of {bits}-bit numbers has {wanted} values, found {}",
            map.len()
        )));
    }
    Ok(Palette::from_colour_map(&map))
}

/// Reads how the picture lies; a camera's raw frame stays as it is, because its
/// colours go by row and column of the sensor.
fn orientation<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    raw: bool,
    remarks: &mut Vec<String>,
) -> Result<Orientation, DecodeError> {
    let number = directory
        .first_number(source, tag::ORIENTATION)?
        .unwrap_or(1);
    let orientation = Orientation::from_number(number)
        .ok_or_else(|| directory.fault(format!("orientation is 1 to 8, found {number}")))?;
    if raw && orientation != Orientation::UPRIGHT {
        remarks.push(Orientation::left_as_it_is(number));
        return Ok(Orientation::UPRIGHT);
    }
    Ok(orientation)
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
    check_pixels(width, height, limits)?;
    Ok((width, height))
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
    if row > limits.max_chunk_bytes {
        return too_large("size of one row in bytes", row, limits.max_chunk_bytes);
    }
    if !layout.tiled {
        let strip = layout.held_bytes(0);
        if !layout.streams() && strip > limits.max_chunk_bytes {
            return too_large("size of one strip in bytes", strip, limits.max_chunk_bytes);
        }
        return Ok(());
    }
    let tile = layout
        .held_bytes_of_row()
        .saturating_mul(u64::from(layout.chunk_height));
    if tile > limits.max_chunk_bytes {
        return too_large("size of one tile in bytes", tile, limits.max_chunk_bytes);
    }
    let code_bytes = if layout.rows.spread() { 4 } else { 2 };
    let band = u64::from(layout.width)
        .saturating_mul(u64::from(layout.chunk_height.min(layout.height)))
        .saturating_mul(code_bytes);
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
    // at most 3838 bytes from a 12-bit code; PackBits 128 from 2. A fax row and a
    // JPEG block can be next to nothing, so the limit alone holds there.
    let code_ratio = match layout.compression {
        Compression::Deflate => 1032,
        Compression::Lzw => 2560,
        Compression::Fax | Compression::LossyJpeg | Compression::MakersOwn => u64::MAX,
        // A number of lossless JPEG data has a code of one bit at least.
        Compression::LosslessJpeg => 16,
        Compression::Stored | Compression::PackBits => 64,
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
