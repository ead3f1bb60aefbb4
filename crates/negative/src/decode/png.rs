//! PNG files: decoded row by row; only interlaced ones whole.
//!
//! The chunks before the picture are walked here first, because a profile or a
//! size must be held against the limits before any decoder makes room for it.
//!
//! Source: PNG third edition (W3C, 2025); 4.3 for which of several tones counts.

use super::error::DecodeError;
use super::info::{
    Codes, Colour, Compression, ExtraSample, Polarity, Resolution, SampleKind, ScanFormat, ScanInfo,
};
use super::limits::DecodeLimits;
use super::opened::{Body, Opened, check_pixels, check_profile, check_ratio};
use super::orientation::Orientation;
use super::palette::Palette;
use super::unpack::{CodeBuffer, Numbers, Pick, Predictor, RowLayout};
use crate::tone::ToneEncoding;
use quantity::{Flag, Flags};
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};

/// Metres in an inch, times the unit of PNG's pHYs.
const METRES_PER_INCH: f64 = 0.0254;

/// The rows of a PNG picture.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PngLayout {
    rows: RowLayout,
    height: u32,
    interlaced: bool,
}

/// Reads a PNG's header; no pixel is decoded.
pub(crate) fn open<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<Opened, DecodeError> {
    let format = ScanFormat::Png;
    let head = PngHead::read(source, limits)?;
    let (mut colour, alpha, samples) = match head.colour_type {
        0 => (Colour::Grey, false, 1),
        2 => (Colour::Rgb, false, 3),
        3 => (Colour::Rgb, false, 1),
        4 => (Colour::Grey, true, 2),
        6 => (Colour::Rgb, true, 4),
        other => return Err(malformed(format!("colour type {other}"))),
    };
    if !matches!(head.bits, 1 | 2 | 4 | 8 | 16) {
        return Err(malformed(format!("samples of {} bits", head.bits)));
    }
    let rows = RowLayout {
        bits: head.bits,
        numbers: Numbers::Unsigned,
        big_endian: true,
        samples,
        columns: head.width as usize,
        predictor: Predictor::None,
    };
    check_pixels(head.width, head.height, limits)?;
    let row = rows.row_bytes() as u64;
    let whole = row.saturating_mul(u64::from(head.height));
    let (what, claimed, limit) = if head.interlaced {
        (
            "size of the interlaced picture in bytes",
            whole,
            limits.max_whole_bytes,
        )
    } else {
        ("size of one row in bytes", row, limits.max_chunk_bytes)
    };
    if claimed > limit {
        return Err(DecodeError::TooLarge {
            what,
            claimed,
            limit,
        });
    }
    check_ratio(whole, head.file_bytes, limits)?;
    if page > 0 {
        return Err(DecodeError::NoSuchPage {
            page,
            page_count: 1,
        });
    }
    let reader = decoder(source, limits)?;
    let said = reader.info();
    let icc_profile = said.icc_profile.as_ref().map(|p| p.to_vec());
    let palette = match (head.colour_type, &said.palette) {
        (3, Some(bytes)) if head.bits <= 8 => {
            let palette = Palette::from_bytes(bytes, 1 << head.bits);
            if palette.is_grey() {
                colour = Colour::Grey;
            }
            Some(palette)
        }
        (3, _) => return Err(malformed("the palette is missing".to_owned())),
        _ => None,
    };
    let mut flags = Flags::none();
    if head.animated_frames > 1 {
        flags.insert(Flag::SeveralImages);
    }
    if head.bits == 1 {
        flags.insert(Flag::Bilevel);
    }
    let mut remarks = vec![];
    if head.transparent {
        remarks.push(
            "the file names values as transparent, which was not heeded: codes are as stored"
                .to_owned(),
        );
    }
    let info = ScanInfo {
        format,
        width: head.width,
        height: head.height,
        bits: palette.as_ref().map_or(head.bits, Palette::bits),
        sample_kind: SampleKind::Unsigned,
        colour,
        extra_samples: if alpha {
            vec![ExtraSample::UnassociatedAlpha]
        } else {
            Vec::new()
        },
        polarity: Polarity::BlackIsZero,
        page,
        page_count: head.animated_frames.max(1) as usize,
        icc_profile,
        chunk_tone: head.tone,
        transfer_function: Vec::new(),
        mosaic: None,
        sensor: None,
        camera: None,
        resolution: head.resolution,
        compression: Compression::Deflate,
        flags,
        remarks,
    };
    let layout = PngLayout {
        rows,
        height: head.height,
        interlaced: head.interlaced,
    };
    Ok(Opened::turned(info, Body::Png(layout), Orientation::UPRIGHT).with_palette(palette))
}

/// Decodes the picture and hands every row of the picked sample to `visit`.
pub(crate) fn walk<R: Read + Seek>(
    source: &mut R,
    layout: &PngLayout,
    limits: &DecodeLimits,
    pick: Pick,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    let damaged = |rows_complete: u32, error: &png::DecodingError| DecodeError::Damaged {
        rows_complete,
        rows: layout.height,
        fault: error.to_string(),
    };
    let mut reader = decoder(source, limits)?;
    let row_bytes = layout.rows.row_bytes();
    if reader.output_line_size(reader.info().width) != Some(row_bytes)
        || reader.info().height != layout.height
    {
        return Err(malformed("the file changed between two reads".to_owned()));
    }
    let mut codes = CodeBuffer::with_len(false, layout.rows.columns);
    if layout.interlaced {
        let mut whole = vec![0; row_bytes * layout.height as usize];
        reader.next_frame(&mut whole).map_err(|e| damaged(0, &e))?;
        for (y, row) in (0..).zip(whole.chunks_exact(row_bytes)) {
            layout.rows.unpack(row, pick, &mut codes);
            visit(y, codes.codes(0..layout.rows.columns));
        }
        return Ok(());
    }
    let mut row = vec![0; row_bytes];
    for y in 0..layout.height {
        let read = reader.read_row(&mut row).map_err(|e| damaged(y, &e))?;
        if read.is_none() {
            return Err(malformed(format!(
                "the picture has {y} of {} rows",
                layout.height
            )));
        }
        layout.rows.unpack(&row, pick, &mut codes);
        visit(y, codes.codes(0..layout.rows.columns));
    }
    Ok(())
}

fn decoder<'a, R: Read + Seek>(
    source: &'a mut R,
    limits: &DecodeLimits,
) -> Result<png::Reader<BufReader<&'a mut R>>, DecodeError> {
    source.seek(SeekFrom::Start(0))?;
    // Profiles, texts and tables; rows do not count here.
    let bytes = usize::try_from(limits.max_profile_bytes.saturating_mul(8)).unwrap_or(usize::MAX);
    let buffered = BufReader::with_capacity(1 << 16, source);
    let mut decoder = png::Decoder::new_with_limits(buffered, png::Limits { bytes });
    decoder.set_transformations(png::Transformations::IDENTITY);
    decoder.read_info().map_err(|e| malformed(e.to_string()))
}

fn malformed(fault: String) -> DecodeError {
    DecodeError::Malformed {
        format: ScanFormat::Png,
        fault,
    }
}

/// What the chunks before a PNG's picture data say.
struct PngHead {
    width: u32,
    height: u32,
    bits: u8,
    colour_type: u8,
    interlaced: bool,
    transparent: bool,
    animated_frames: u32,
    tone: Option<ToneEncoding>,
    resolution: Option<Resolution>,
    file_bytes: u64,
}

impl PngHead {
    /// Reads up to the picture data. A profile that would inflate beyond the
    /// limit is refused here, before any decoder inflates it.
    fn read<R: Read + Seek>(source: &mut R, limits: &DecodeLimits) -> Result<Self, DecodeError> {
        let fault = |text: &str| malformed(text.to_owned());
        let file_bytes = source.seek(SeekFrom::End(0))?;
        source.seek(SeekFrom::Start(8))?;
        let mut source = BufReader::new(source);
        let mut head = Self {
            width: 0,
            height: 0,
            bits: 0,
            colour_type: 0,
            interlaced: false,
            transparent: false,
            animated_frames: 0,
            tone: None,
            resolution: None,
            file_bytes,
        };
        // Which chunk named the tone: cICP counts before sRGB, sRGB before gAMA.
        let mut rank = 0;
        let mut at = 8_u64;
        // More chunks than this before the picture is no scan.
        for _ in 0..4096 {
            let Some([a, b, c, d]) = four(&mut source)? else {
                break;
            };
            let Some(name) = four(&mut source)? else {
                break;
            };
            let length = u32::from_be_bytes([a, b, c, d]);
            at += 12 + u64::from(length);
            if at > file_bytes && &name != b"IDAT" {
                break;
            }
            let mut data = [0; 13];
            let known = data.len().min(length as usize);
            source.read_exact(&mut data[..known])?;
            let word =
                |i: usize| u32::from_be_bytes([data[i], data[i + 1], data[i + 2], data[i + 3]]);
            match (&name, known) {
                (b"IHDR", 13) => {
                    (head.width, head.height, head.bits, head.colour_type) =
                        (word(0), word(4), data[8], data[9]);
                    head.interlaced = data[12] != 0;
                }
                (b"tRNS", _) => head.transparent = true,
                // The picture data counts as a further image unless a frame
                // header before it makes it the first frame.
                (b"acTL", 8) => head.animated_frames = word(0).saturating_add(1),
                (b"fcTL", _) => head.animated_frames = head.animated_frames.saturating_sub(1),
                (b"cICP", 4) => {
                    rank = 3;
                    head.tone = tone_of_code_points(data[1]);
                }
                (b"sRGB", 1) if rank < 2 => {
                    rank = 2;
                    head.tone = Some(ToneEncoding::Srgb);
                }
                (b"gAMA", 4) if rank < 1 && word(0) > 0 => {
                    rank = 1;
                    head.tone = ToneEncoding::gamma(100_000.0 / f64::from(word(0))).ok();
                }
                (b"pHYs", 9) if data[8] == 1 && word(0) > 0 && word(4) > 0 => {
                    head.resolution = Some(Resolution {
                        x_per_inch: f64::from(word(0)) * METRES_PER_INCH,
                        y_per_inch: f64::from(word(4)) * METRES_PER_INCH,
                    });
                }
                (b"iCCP", _) => {
                    let rest = (&mut source).take(u64::from(length) - known as u64);
                    check_profile(inflated_length(data[..known].chain(rest), limits), limits)?;
                    source.seek(SeekFrom::Start(at))?;
                    continue;
                }
                (b"IDAT", _) => {
                    if head.width == 0 || head.height == 0 {
                        return Err(fault("the picture data comes before a header with a size"));
                    }
                    return Ok(head);
                }
                _ => {}
            }
            source.seek_relative(i64::from(length) - known as i64 + 4)?;
        }
        Err(fault("the file ends before its picture data"))
    }
}

/// Gives the tone that a transfer characteristic stands for, where it leads to light.
///
/// Source: ITU-T H.273, table 3: 4 is gamma 2.2, 5 is 2.8, 8 linear, 13 sRGB.
fn tone_of_code_points(transfer: u8) -> Option<ToneEncoding> {
    match transfer {
        4 => Some(ToneEncoding::Gamma(2.2)),
        5 => Some(ToneEncoding::Gamma(2.8)),
        8 => Some(ToneEncoding::Linear),
        13 => Some(ToneEncoding::Srgb),
        _ => None,
    }
}

/// Length of a PNG's colour profile once inflated, counted to just beyond the limit.
///
/// A chunk that can't be inflated counts as far as it goes; the decoder says what
/// is wrong with it.
fn inflated_length(chunk: impl Read, limits: &DecodeLimits) -> u64 {
    // The profile's name of 1 to 79 bytes, a zero, the method.
    let mut chunk = BufReader::new(chunk);
    let mut name = vec![];
    if chunk.by_ref().take(80).read_until(0, &mut name).is_err() {
        return 0;
    }
    let mut method = [0];
    if chunk.read_exact(&mut method).is_err() {
        return 0;
    }
    let mut profile =
        flate2::bufread::ZlibDecoder::new(chunk).take(limits.max_profile_bytes.saturating_add(1));
    let mut buffer = [0; 8192];
    let mut length = 0;
    while let Ok(n @ 1..) = profile.read(&mut buffer) {
        length += n as u64;
    }
    length
}

/// Reads four bytes; `None` at the end of the file.
fn four<R: Read>(source: &mut R) -> Result<Option<[u8; 4]>, DecodeError> {
    let mut bytes = [0; 4];
    let got = super::decompress::read_up_to(source, &mut bytes)?;
    Ok((got == 4).then_some(bytes))
}
