//! PNG and JPEG: formats that are decoded whole, below a stated limit.
//!
//! The headers are walked here first, because the decoders turn palettes, few
//! bits and CMYK into something that no longer says what it was.

use super::error::DecodeError;
use super::info::{
    ChannelChoice, Codes, Colour, Compression, ExtraSample, Polarity, Resolution, SampleKind,
    ScanFormat, ScanInfo,
};
use super::limits::DecodeLimits;
use super::unpack::mean_of_three;
use crate::tone::ToneEncoding;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder};
use quantity::{Flag, Flags};
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};

/// Metres in an inch, times the unit of PNG's pHYs.
const METRES_PER_INCH: f64 = 0.0254;

/// Reads a PNG's header; no pixel is decoded.
pub(crate) fn png_info<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<ScanInfo, DecodeError> {
    let format = ScanFormat::Png;
    let head = PngHead::read(source, limits)?;
    let (colour, extra) = match head.colour_type {
        0 => (Colour::Grey, head.transparent),
        4 => (Colour::Grey, true),
        2 => (Colour::Rgb, head.transparent),
        6 => (Colour::Rgb, true),
        3 => {
            return Err(unsupported(
                format,
                "palette colours are not code values; save the scan as grey",
            ));
        }
        other => return Err(malformed(format, format!("colour type {other}"))),
    };
    if !matches!(head.bits, 8 | 16) {
        return Err(unsupported(
            format,
            &format!("{}-bit samples; 8 and 16 bits are read", head.bits),
        ));
    }
    let samples = if colour == Colour::Rgb { 3 } else { 1 } + u64::from(extra);
    let claimed = check_whole(
        head.width,
        head.height,
        samples * u64::from(head.bits / 8),
        limits,
    )?;
    check_ratio(claimed, head.file_bytes, limits)?;
    if page > 0 {
        return Err(DecodeError::NoSuchPage {
            page,
            page_count: 1,
        });
    }
    let mut decoder = png_decoder(source, limits)?;
    let icc_profile = decoder.icc_profile().map_err(|e| image_error(format, &e))?;
    let mut flags = Flags::none();
    if head.animated_frames > 1 {
        flags.insert(Flag::SeveralImages);
    }
    Ok(ScanInfo {
        format,
        width: head.width,
        height: head.height,
        bits: head.bits,
        sample_kind: SampleKind::Unsigned,
        colour,
        extra_samples: if extra {
            vec![ExtraSample::UnassociatedAlpha]
        } else {
            Vec::new()
        },
        polarity: Polarity::BlackIsZero,
        page,
        page_count: head.animated_frames.max(1) as usize,
        icc_profile,
        chunk_tone: head.tone,
        mosaic: None,
        sensor: None,
        resolution: head.resolution,
        compression: Compression::Deflate,
        flags,
    })
}

/// Reads a JPEG's header; no pixel is decoded.
pub(crate) fn jpeg_info<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<ScanInfo, DecodeError> {
    let format = ScanFormat::Jpeg;
    let head = JpegHead::read(source)?;
    let (colour, samples) = match head.components {
        1 => (Colour::Grey, 1),
        3 => (Colour::Rgb, 3),
        4 => {
            return Err(unsupported(
                format,
                "CMYK is ink, not light; save the scan as grey or RGB",
            ));
        }
        other => {
            return Err(unsupported(
                format,
                &format!("{other} components; 1 and 3 are read"),
            ));
        }
    };
    if head.precision != 8 {
        return Err(unsupported(
            format,
            &format!("{}-bit samples; 8 bits are read", head.precision),
        ));
    }
    let claimed = check_whole(head.width, head.height, samples, limits)?;
    if head.file_bytes > limits.max_whole_bytes {
        return Err(DecodeError::TooLarge {
            what: "size of the file in bytes",
            claimed: head.file_bytes,
            limit: limits.max_whole_bytes,
        });
    }
    check_ratio(claimed, head.file_bytes, limits)?;
    if page > 0 {
        return Err(DecodeError::NoSuchPage {
            page,
            page_count: 1,
        });
    }
    source.seek(SeekFrom::Start(0))?;
    let mut decoder = image::codecs::jpeg::JpegDecoder::new(BufReader::new(source))
        .map_err(|e| image_error(format, &e))?;
    let icc_profile = decoder.icc_profile().map_err(|e| image_error(format, &e))?;
    check_profile(icc_profile.as_ref().map_or(0, |p| p.len() as u64), limits)?;
    let orientation = decoder.orientation().map_err(|e| image_error(format, &e))?;
    let turned = swaps_sides(orientation);
    Ok(ScanInfo {
        format,
        width: if turned { head.height } else { head.width },
        height: if turned { head.width } else { head.height },
        bits: 8,
        sample_kind: SampleKind::Unsigned,
        colour,
        extra_samples: Vec::new(),
        polarity: Polarity::BlackIsZero,
        page,
        page_count: 1,
        icc_profile,
        chunk_tone: None,
        mosaic: None,
        sensor: None,
        resolution: head.resolution,
        compression: Compression::LossyJpeg,
        flags: [Flag::Lossy].into_iter().collect(),
    })
}

/// Decodes the picture and hands every row of the channel to `visit`.
///
/// A JPEG's Exif orientation is honoured: rows are those of the upright picture.
pub(crate) fn walk<R: Read + Seek>(
    source: &mut R,
    info: &ScanInfo,
    limits: &DecodeLimits,
    choice: ChannelChoice,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    source.seek(SeekFrom::Start(0))?;
    let picture = match info.format {
        ScanFormat::Png => DynamicImage::from_decoder(png_decoder(source, limits)?),
        _ => {
            image::codecs::jpeg::JpegDecoder::new(BufReader::new(source)).and_then(|mut decoder| {
                let orientation = decoder.orientation()?;
                let mut picture = DynamicImage::from_decoder(decoder)?;
                picture.apply_orientation(orientation);
                Ok(picture)
            })
        }
    }
    .map_err(|e| image_error(info.format, &e))?;
    if (picture.width(), picture.height()) != (info.width, info.height) {
        return Err(malformed(
            info.format,
            format!(
                "the header says {} × {} pixels, the picture has {} × {}",
                info.width,
                info.height,
                picture.width(),
                picture.height()
            ),
        ));
    }
    let samples = usize::from(picture.color().channel_count());
    let of_pixel = move |pixel: &[u16]| match choice {
        ChannelChoice::Grey | ChannelChoice::Red | ChannelChoice::MosaicPhase { .. } => pixel[0],
        ChannelChoice::Green => pixel[1],
        ChannelChoice::Blue => pixel[2],
        ChannelChoice::Mean => mean_of_three([pixel[0], pixel[1], pixel[2]]),
        ChannelChoice::Extra(_) => pixel[samples - 1],
    };
    let mut codes = vec![0; info.width as usize];
    let mut pixel = vec![0_u16; samples];
    let row_samples = info.width as usize * samples;
    if let Some(bytes) = eight_bits(&picture) {
        for (y, row) in (0..).zip(bytes.chunks_exact(row_samples)) {
            for (from, to) in row.chunks_exact(samples).zip(&mut codes) {
                for (sample, byte) in pixel.iter_mut().zip(from) {
                    *sample = u16::from(*byte);
                }
                *to = of_pixel(&pixel);
            }
            visit(y, Codes::Unsigned(&codes));
        }
    } else if let Some(words) = sixteen_bits(&picture) {
        for (y, row) in (0..).zip(words.chunks_exact(row_samples)) {
            for (from, to) in row.chunks_exact(samples).zip(&mut codes) {
                *to = of_pixel(from);
            }
            visit(y, Codes::Unsigned(&codes));
        }
    } else {
        return Err(malformed(
            info.format,
            "the decoder gave a picture of another kind than the header".to_owned(),
        ));
    }
    Ok(())
}

fn eight_bits(picture: &DynamicImage) -> Option<&[u8]> {
    match picture {
        DynamicImage::ImageLuma8(p) => Some(p.as_raw()),
        DynamicImage::ImageLumaA8(p) => Some(p.as_raw()),
        DynamicImage::ImageRgb8(p) => Some(p.as_raw()),
        DynamicImage::ImageRgba8(p) => Some(p.as_raw()),
        _ => None,
    }
}

fn sixteen_bits(picture: &DynamicImage) -> Option<&[u16]> {
    match picture {
        DynamicImage::ImageLuma16(p) => Some(p.as_raw()),
        DynamicImage::ImageLumaA16(p) => Some(p.as_raw()),
        DynamicImage::ImageRgb16(p) => Some(p.as_raw()),
        DynamicImage::ImageRgba16(p) => Some(p.as_raw()),
        _ => None,
    }
}

fn swaps_sides(orientation: Orientation) -> bool {
    matches!(
        orientation,
        Orientation::Rotate90
            | Orientation::Rotate270
            | Orientation::Rotate90FlipH
            | Orientation::Rotate270FlipH
    )
}

fn png_decoder<'a, R: Read + Seek>(
    source: &'a mut R,
    limits: &DecodeLimits,
) -> Result<image::codecs::png::PngDecoder<BufReader<&'a mut R>>, DecodeError> {
    source.seek(SeekFrom::Start(0))?;
    let mut allowed = image::Limits::no_limits();
    allowed.max_alloc = Some(limits.max_whole_bytes.saturating_mul(2));
    image::codecs::png::PngDecoder::with_limits(BufReader::new(source), allowed)
        .map_err(|e| image_error(ScanFormat::Png, &e))
}

fn check_whole(
    width: u32,
    height: u32,
    pixel_bytes: u64,
    limits: &DecodeLimits,
) -> Result<u64, DecodeError> {
    let pixels = u64::from(width) * u64::from(height);
    if pixels > limits.max_pixels {
        return Err(DecodeError::TooLarge {
            what: "number of pixels",
            claimed: pixels,
            limit: limits.max_pixels,
        });
    }
    let bytes = pixels.saturating_mul(pixel_bytes);
    if bytes > limits.max_whole_bytes {
        return Err(DecodeError::TooLarge {
            what: "size of the picture in bytes",
            claimed: bytes,
            limit: limits.max_whole_bytes,
        });
    }
    Ok(bytes)
}

fn check_ratio(
    claimed_bytes: u64,
    held_bytes: u64,
    limits: &DecodeLimits,
) -> Result<(), DecodeError> {
    let possible_bytes = held_bytes
        .saturating_mul(limits.max_ratio)
        .max(limits.ratio_free_bytes);
    if claimed_bytes > possible_bytes {
        return Err(DecodeError::ImplausibleSize {
            claimed_bytes,
            held_bytes,
            possible_bytes,
        });
    }
    Ok(())
}

fn malformed(format: ScanFormat, fault: String) -> DecodeError {
    DecodeError::Malformed { format, fault }
}

fn unsupported(format: ScanFormat, reason: &str) -> DecodeError {
    DecodeError::Unsupported {
        format,
        reason: reason.to_owned(),
    }
}

fn image_error(format: ScanFormat, error: &image::ImageError) -> DecodeError {
    malformed(format, error.to_string())
}

/// What the chunks before a PNG's picture data say.
struct PngHead {
    width: u32,
    height: u32,
    bits: u8,
    colour_type: u8,
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
        let fault = |text: &str| malformed(ScanFormat::Png, text.to_owned());
        let file_bytes = source.seek(SeekFrom::End(0))?;
        source.seek(SeekFrom::Start(8))?;
        let mut source = BufReader::new(source);
        let mut head = Self {
            width: 0,
            height: 0,
            bits: 0,
            colour_type: 0,
            transparent: false,
            animated_frames: 0,
            tone: None,
            resolution: None,
            file_bytes,
        };
        let mut is_srgb = false;
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
                }
                (b"tRNS", _) => head.transparent = true,
                // The picture data counts as a further image unless a frame
                // header before it makes it the first frame.
                (b"acTL", 8) => head.animated_frames = word(0).saturating_add(1),
                (b"fcTL", _) => head.animated_frames = head.animated_frames.saturating_sub(1),
                (b"sRGB", 1) => {
                    is_srgb = true;
                    head.tone = Some(ToneEncoding::Srgb);
                }
                (b"gAMA", 4) if !is_srgb && word(0) > 0 => {
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

fn check_profile(bytes: u64, limits: &DecodeLimits) -> Result<(), DecodeError> {
    if bytes > limits.max_profile_bytes {
        return Err(DecodeError::TooLarge {
            what: "size of the ICC profile in bytes",
            claimed: bytes,
            limit: limits.max_profile_bytes,
        });
    }
    Ok(())
}

/// What the markers before a JPEG's picture data say.
struct JpegHead {
    width: u32,
    height: u32,
    precision: u8,
    components: u8,
    resolution: Option<Resolution>,
    file_bytes: u64,
}

impl JpegHead {
    fn read<R: Read + Seek>(source: &mut R) -> Result<Self, DecodeError> {
        let fault = |text: &str| malformed(ScanFormat::Jpeg, text.to_owned());
        let file_bytes = source.seek(SeekFrom::End(0))?;
        source.seek(SeekFrom::Start(2))?;
        let mut source = BufReader::new(source);
        let mut resolution = None;
        for _ in 0..4096 {
            let Some(marker) = next_marker(&mut source)? else {
                break;
            };
            let mut length = [0; 2];
            if source.read_exact(&mut length).is_err() {
                break;
            }
            let length = i64::from(u16::from_be_bytes(length));
            if length < 2 {
                return Err(fault("a segment has less than 2 bytes"));
            }
            let mut data = [0; 12];
            let known = data.len().min((length - 2) as usize);
            if source.read_exact(&mut data[..known]).is_err() {
                break;
            }
            let word = |i: usize| u32::from(data[i]) << 8 | u32::from(data[i + 1]);
            match marker {
                // Start of frame; C4, C8 and CC are other things.
                0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF if known >= 6 => {
                    let (height, width) = (word(1), word(3));
                    if width == 0 || height == 0 {
                        return Err(fault("the frame header gives no size"));
                    }
                    return Ok(Self {
                        width,
                        height,
                        precision: data[0],
                        components: data[5],
                        resolution,
                        file_bytes,
                    });
                }
                0xE0 if known == 12 && &data[..5] == b"JFIF\0" => {
                    let per_inch = match data[7] {
                        1 => 1.0,
                        2 => 2.54,
                        _ => 0.0,
                    };
                    let (x, y) = (
                        f64::from(word(8)) * per_inch,
                        f64::from(word(10)) * per_inch,
                    );
                    resolution = (x > 0.0 && y > 0.0).then_some(Resolution {
                        x_per_inch: x,
                        y_per_inch: y,
                    });
                }
                _ => {}
            }
            source.seek_relative(length - 2 - known as i64)?;
        }
        Err(fault("the file ends before its frame header"))
    }
}

/// Gives the next marker that has a segment; `None` at the end of the file.
fn next_marker<R: BufRead>(source: &mut R) -> Result<Option<u8>, DecodeError> {
    let mut byte = [0; 1];
    let mut after_ff = false;
    loop {
        if source.read(&mut byte)? == 0 {
            return Ok(None);
        }
        match (after_ff, byte[0]) {
            (_, 0xFF) => after_ff = true,
            (true, 0x00 | 0x01 | 0xD0..=0xD8) | (false, _) => after_ff = false,
            (true, marker) => return Ok(Some(marker)),
        }
    }
}

/// Reads four bytes; `None` at the end of the file.
fn four<R: Read>(source: &mut R) -> Result<Option<[u8; 4]>, DecodeError> {
    let mut bytes = [0; 4];
    let got = super::decompress::read_up_to(source, &mut bytes)?;
    Ok((got == 4).then_some(bytes))
}
