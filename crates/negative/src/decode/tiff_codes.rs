//! How the samples of a TIFF image are coded: what they stand for, compression, kind
//! of number, predictor.
//!
//! What is not read is refused here, with what to do instead.

use super::error::DecodeError;
use super::fax_rows::FaxCode;
use super::info::{Colour, Compression, Polarity};
use super::jpeg_data::Components;
use super::tiff_directory::{Directory, tag};
use super::tiff_layout::ChunkCode;
use super::unpack::{Numbers, Predictor};
use std::io::{Read, Seek};

/// Most bytes of the tables that JPEG strips share; theirs are below 2000.
const MAX_TABLES_BYTES: u64 = 1 << 16;

/// What the samples of a pixel stand for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Photometric {
    /// Themselves: colour, which end is dark, and how many they are.
    Samples(Colour, Polarity, u64),
    /// An entry of a table.
    Palette,
    /// Luma and two colour differences (YCbCr), which is read from JPEG data only.
    LumaAndDifferences,
}

/// Reads what the samples stand for.
pub(crate) fn photometric<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<Photometric, DecodeError> {
    let grey = |polarity| Photometric::Samples(Colour::Grey, polarity, 1);
    let rgb = Photometric::Samples(Colour::Rgb, Polarity::BlackIsZero, 3);
    let Some(photometric) = directory.first_number(source, tag::PHOTOMETRIC)? else {
        // Fax programs leave it out; their code knows white paper only.
        return match directory.first_number(source, tag::COMPRESSION)? {
            Some(2..=4) => Ok(grey(Polarity::WhiteIsZero)),
            _ => Err(directory.fault("the photometric interpretation is missing".to_owned())),
        };
    };
    let reason = match photometric {
        0 => return Ok(grey(Polarity::WhiteIsZero)),
        1 => return Ok(grey(Polarity::BlackIsZero)),
        2 => return Ok(rgb),
        3 => return Ok(Photometric::Palette),
        6 => return Ok(Photometric::LumaAndDifferences),
        32803 => {
            return Ok(Photometric::Samples(
                Colour::Mosaic,
                Polarity::BlackIsZero,
                1,
            ));
        }
        34892 => {
            let samples = directory
                .first_number(source, tag::SAMPLES_PER_PIXEL)?
                .unwrap_or(1);
            return Ok(if samples >= 3 {
                rgb
            } else {
                grey(Polarity::BlackIsZero)
            });
        }
        4 => "a transparency mask is no picture".to_owned(),
        5 => "CMYK is ink, not light; save the scan as grey or RGB".to_owned(),
        8..=10 => "Lab is not code values; save the scan as grey or RGB".to_owned(),
        32844 | 32845 => {
            "a logarithmic coding of light (LogL, LogLuv) is not read; save the scan as grey or RGB"
                .to_owned()
        }
        other => format!("photometric interpretation {other}; grey, RGB and palettes are read"),
    };
    Err(directory.refused(reason))
}

/// Reads the compression and how its chunks are decoded.
pub(crate) fn chunk_code<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    photometric: Photometric,
) -> Result<(Compression, ChunkCode), DecodeError> {
    let number = directory
        .first_number(source, tag::COMPRESSION)?
        .unwrap_or(1);
    if photometric == Photometric::LumaAndDifferences && !matches!(number, 6 | 7) {
        return Err(directory.refused(
            "YCbCr outside of JPEG data is not read; save the scan as grey or RGB".to_owned(),
        ));
    }
    let stream = |compression| Ok((compression, ChunkCode::Stream));
    let fax = |code| Ok((Compression::Fax, ChunkCode::Fax(code)));
    let reason = match number {
        1 => return stream(Compression::Stored),
        2 => return fax(FaxCode::Runs),
        3 => {
            let options = directory
                .first_number(source, tag::T4_OPTIONS)?
                .unwrap_or(0);
            return fax(if options & 1 == 1 {
                FaxCode::Group3TwoDimensions
            } else {
                FaxCode::Group3
            });
        }
        4 => return fax(FaxCode::Group4),
        5 => return stream(Compression::Lzw),
        6 => {
            "the old form of JPEG in TIFF (compression 6) was never defined well enough to be read alike by all programs; \
             save the scan uncompressed or with LZW or Deflate"
        }
        7 if raw_frame(source, directory)? => {
            return Ok((Compression::LosslessJpeg, ChunkCode::LosslessJpeg));
        }
        7 => return jpeg(source, directory, photometric),
        34892 => "lossy JPEG in DNG",
        52546 => "JPEG XL",
        32767 | 32769..=32772 | 34713 | 65000 | 65535 => {
            return Err(DecodeError::MakersRaw {
                reason: format!("its compression {number} is a camera maker's own code"),
            });
        }
        8 | 32946 => return stream(Compression::Deflate),
        32773 => return stream(Compression::PackBits),
        32766 => "NeXT's two-bit code",
        32809 => "ThunderScan's four-bit code",
        34676 | 34677 => "a logarithmic coding of light (LogL, LogLuv)",
        34712 => "JPEG 2000",
        34887 => "LERC",
        34925 => "LZMA",
        50000 => "Zstandard",
        50001 | 50002 => "WebP or JPEG XL",
        _ => "",
    };
    let named = if reason.is_empty() {
        String::new()
    } else {
        format!(" ({reason})")
    };
    Err(directory.refused(if number == 6 {
        reason.to_owned()
    } else {
        format!(
            "compression {number}{named}; none, LZW, Deflate, PackBits, JPEG and fax codes are read{}",
            if raw_frame(source, directory)? {
                "; convert a camera's raw file to DNG without loss"
            } else {
                ""
            }
        )
    }))
}

/// Tells whether the picture is a camera's raw frame, whose JPEG data is lossless.
fn raw_frame<R: Read + Seek>(source: &mut R, directory: &Directory) -> Result<bool, DecodeError> {
    let photometric = directory.first_number(source, tag::PHOTOMETRIC)?;
    Ok(matches!(photometric, Some(32803 | 34892)))
}

fn jpeg<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    photometric: Photometric,
) -> Result<(Compression, ChunkCode), DecodeError> {
    let components = match photometric {
        Photometric::LumaAndDifferences => Components::AsTheDataSays,
        Photometric::Samples(Colour::Grey | Colour::Rgb, ..) => Components::Unchanged,
        Photometric::Samples(Colour::Mosaic, ..) => {
            unreachable!("JPEG data of a raw frame is lossless")
        }
        Photometric::Palette => {
            return Err(directory
                .fault("a palette in JPEG data, whose loss changes its numbers".to_owned()));
        }
    };
    let tables = directory.blob(
        source,
        tag::JPEG_TABLES,
        "size of the JPEG tables in bytes",
        MAX_TABLES_BYTES,
    )?;
    Ok((
        Compression::LossyJpeg,
        ChunkCode::Jpeg { tables, components },
    ))
}

/// Reads how samples are numbers.
pub(crate) fn samples_kind<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    code: &ChunkCode,
) -> Result<(u8, Numbers), DecodeError> {
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
    let wanted = match code {
        ChunkCode::Stream => None,
        ChunkCode::Fax(_) => Some((1, "fax codes")),
        ChunkCode::Jpeg { .. } => Some((8, "JPEG data")),
        ChunkCode::LosslessJpeg if first > 16 => Some((16, "lossless JPEG data")),
        ChunkCode::LosslessJpeg => None,
    };
    if let Some((wanted, what)) = wanted
        && (first != wanted || !matches!(format, 1 | 4))
    {
        return Err(directory.refused(format!(
            "{first}-bit samples in {what}; unsigned ones of {wanted} bits are read"
        )));
    }
    let reason = match (format, first) {
        (1 | 4, 1..=16 | 24 | 32 | 64) => return Ok((first as u8, Numbers::Unsigned)),
        (2, 8 | 16 | 32 | 64) => return Ok((first as u8, Numbers::Signed)),
        (3, 16 | 24 | 32 | 64) => return Ok((first as u8, Numbers::Float)),
        (1 | 4, bits) => format!("{bits}-bit samples; 1 to 16, 24, 32 and 64 bits are read"),
        (2, bits) => format!("signed {bits}-bit samples; 8, 16, 32 and 64 bits are read"),
        (3, bits) => format!("{bits}-bit float samples; 16, 24, 32 and 64 bits are read"),
        (5 | 6, _) => "complex numbers; unsigned, signed and float samples are read".to_owned(),
        (other, _) => format!("sample format {other}; unsigned, signed and float samples are read"),
    };
    Err(directory.refused(reason))
}

/// Reads what a writer did to make rows compress better.
pub(crate) fn predictor<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    compression: Compression,
    bits: u8,
    numbers: Numbers,
) -> Result<Predictor, DecodeError> {
    // Predictors belong to LZW and Deflate; elsewhere the tag has no meaning.
    if !matches!(compression, Compression::Lzw | Compression::Deflate) {
        return Ok(Predictor::None);
    }
    match (
        directory.first_number(source, tag::PREDICTOR)?.unwrap_or(1),
        bits,
        numbers,
    ) {
        (1, _, _) => Ok(Predictor::None),
        (2, 8 | 16 | 32 | 64, _) => Ok(Predictor::Horizontal),
        (3, 16 | 24 | 32 | 64, Numbers::Float) => Ok(Predictor::Float),
        (other, bits, _) => {
            Err(directory.refused(format!("predictor {other} with {bits}-bit samples")))
        }
    }
}
