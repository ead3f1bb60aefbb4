//! JPEG files: decoded whole, below a stated limit.
//!
//! The header is walked here first, so that what the file is, is known before a
//! decoder makes something else of it.

use super::camera::settings_in_block;
use super::error::DecodeError;
use super::info::{
    Codes, Colour, Compression, Polarity, Resolution, SampleKind, ScanFormat, ScanInfo,
};
use super::jpeg_data::{self, Components};
use super::limits::DecodeLimits;
use super::opened::{Body, Opened, check_pixels, check_profile, check_ratio};
use super::orientation::Orientation;
use super::unpack::{CodeBuffer, Numbers, Pick, Predictor, RowLayout};
use quantity::{Flag, Flags};
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};

/// The rows of a JPEG picture once it is decoded.
#[derive(Clone, Copy, Debug)]
pub(crate) struct JpegLayout {
    rows: RowLayout,
    height: u32,
}

/// Reads a JPEG's header; no pixel is decoded.
pub(crate) fn open<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<Opened, DecodeError> {
    let format = ScanFormat::Jpeg;
    let refused = |reason: String| DecodeError::Unsupported { format, reason };
    let head = JpegHead::read(source)?;
    let (colour, samples) = match head.components {
        1 => (Colour::Grey, 1),
        3 => (Colour::Rgb, 3),
        4 => {
            return Err(refused(
                "CMYK is ink, not light; save the scan as grey or RGB".to_owned(),
            ));
        }
        other => return Err(refused(format!("{other} components; 1 and 3 are read"))),
    };
    if head.precision != 8 {
        return Err(refused(format!(
            "{}-bit samples; 8 bits are read",
            head.precision
        )));
    }
    check_pixels(head.width, head.height, limits)?;
    // A progressive picture also lies in memory as coefficients of 2 bytes.
    let copies = if head.progressive { 3 } else { 1 };
    let pixels = u64::from(head.width) * u64::from(head.height);
    for (what, claimed) in [
        ("size of the picture in bytes", pixels * samples * copies),
        ("size of the file in bytes", head.file_bytes),
    ] {
        if claimed > limits.max_whole_bytes {
            return Err(DecodeError::TooLarge {
                what,
                claimed,
                limit: limits.max_whole_bytes,
            });
        }
    }
    check_ratio(pixels * samples, head.file_bytes, limits)?;
    if page > 0 {
        return Err(DecodeError::NoSuchPage {
            page,
            page_count: 1,
        });
    }
    let decoder =
        jpeg_data::open(data(source)?).map_err(|fault| DecodeError::Malformed { format, fault })?;
    let icc_profile = decoder.icc_profile();
    check_profile(icc_profile.as_ref().map_or(0, |p| p.len() as u64), limits)?;
    let orientation = decoder
        .exif()
        .and_then(|exif| image::metadata::Orientation::from_exif_chunk(exif))
        .and_then(|turn| Orientation::from_number(u64::from(turn.to_exif())))
        .unwrap_or(Orientation::UPRIGHT);
    let rows = RowLayout {
        bits: 8,
        numbers: Numbers::Unsigned,
        big_endian: false,
        samples: samples as usize,
        columns: head.width as usize,
        predictor: Predictor::None,
    };
    let info = ScanInfo {
        format,
        width: head.width,
        height: head.height,
        bits: 8,
        sample_kind: SampleKind::Unsigned,
        colour,
        extra_samples: Vec::new(),
        polarity: Polarity::BlackIsZero,
        page,
        page_count: 1,
        icc_profile,
        chunk_tone: None,
        transfer_function: Vec::new(),
        mosaic: None,
        sensor: None,
        camera: decoder
            .exif()
            .and_then(|block| settings_in_block(block, limits)),
        resolution: head.resolution,
        compression: Compression::LossyJpeg,
        flags: Flags::from_iter([Flag::Lossy]),
        remarks: Vec::new(),
    };
    let layout = JpegLayout {
        rows,
        height: head.height,
    };
    Ok(Opened::turned(info, Body::Jpeg(layout), orientation))
}

/// Decodes the picture and hands every stored row of the picked sample to `visit`.
pub(crate) fn walk<R: Read + Seek>(
    source: &mut R,
    layout: &JpegLayout,
    limits: &DecodeLimits,
    pick: Pick,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    let damaged = |fault| DecodeError::Damaged {
        rows_complete: 0,
        rows: layout.height,
        fault,
    };
    let data = data(source)?;
    let picture = jpeg_data::decode(data, Components::AsTheDataSays, limits.max_whole_bytes)
        .map_err(damaged)?;
    let expected = (layout.rows.columns, layout.height as usize);
    if (picture.width, picture.height) != expected || picture.samples != layout.rows.samples {
        return Err(damaged(format!(
            "the picture has {} × {} pixels, the header says {} × {}",
            picture.width, picture.height, expected.0, expected.1
        )));
    }
    let mut codes = CodeBuffer::with_len(false, layout.rows.columns);
    for (y, row) in (0..).zip(picture.bytes.chunks_exact(layout.rows.row_bytes())) {
        layout.rows.unpack(row, pick, &mut codes);
        visit(y, codes.codes(0..layout.rows.columns));
    }
    Ok(())
}

/// The file from its start, in pieces.
fn data<R: Read + Seek>(source: &mut R) -> Result<BufReader<&mut R>, DecodeError> {
    source.seek(SeekFrom::Start(0))?;
    Ok(BufReader::with_capacity(1 << 16, source))
}

/// What the markers before a JPEG's picture data say.
struct JpegHead {
    width: u32,
    height: u32,
    precision: u8,
    components: u8,
    progressive: bool,
    resolution: Option<Resolution>,
    file_bytes: u64,
}

impl JpegHead {
    fn read<R: Read + Seek>(source: &mut R) -> Result<Self, DecodeError> {
        let fault = |text: &str| DecodeError::Malformed {
            format: ScanFormat::Jpeg,
            fault: text.to_owned(),
        };
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
                        progressive: matches!(marker, 0xC2 | 0xC6 | 0xCA | 0xCE),
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
