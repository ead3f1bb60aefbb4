//! JPEG data to samples of 8 bits, whole.
//!
//! Data that stops early or contradicts itself is an error here, not a picture
//! that is grey from some row on.

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZByteReaderTrait;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// What the three components of a picture are taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Components {
    /// Whatever the data itself says: luma and two differences as a rule.
    AsTheDataSays,
    /// Samples that nothing was done to.
    Unchanged,
}

/// Samples of a picture, chunky, row by row.
pub(crate) struct JpegSamples {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) samples: usize,
    pub(crate) bytes: Vec<u8>,
}

/// Opens data for a look at its header; `Err` says what is wrong with it.
pub(crate) fn open<T: ZByteReaderTrait>(data: T) -> Result<JpegDecoder<T>, String> {
    let options = DecoderOptions::new_safe()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    let mut decoder = JpegDecoder::new_with_options(data, options);
    decoder.decode_headers().map_err(said)?;
    Ok(decoder)
}

/// Decodes data whose picture has at most `most_bytes`.
pub(crate) fn decode<T: ZByteReaderTrait>(
    data: T,
    components: Components,
    most_bytes: u64,
) -> Result<JpegSamples, String> {
    let mut decoder = open(data)?;
    let (Some(info), Some(inside)) = (decoder.info(), decoder.input_colorspace()) else {
        return Err("the header gives no size".to_owned());
    };
    let outside = match (info.components, components) {
        (1, _) => ColorSpace::Luma,
        (3, Components::AsTheDataSays) => ColorSpace::RGB,
        (3, Components::Unchanged) => inside,
        (other, _) => return Err(format!("{other} components; 1 and 3 are read")),
    };
    decoder.set_options(decoder.options().jpeg_set_out_colorspace(outside));
    let samples = outside.num_components();
    let size = u64::from(info.width) * u64::from(info.height) * samples as u64;
    if size > most_bytes || decoder.output_buffer_size().map(|s| s as u64) != Some(size) {
        return Err(format!(
            "it holds {} × {} pixels, more than its place in the picture",
            info.width, info.height
        ));
    }
    // At most `most_bytes`, which a caller can hold.
    let mut bytes = vec![0; size as usize];
    decoder.decode_into(&mut bytes).map_err(said)?;
    Ok(JpegSamples {
        width: usize::from(info.width),
        height: usize::from(info.height),
        samples,
        bytes,
    })
}

fn said(error: zune_jpeg::errors::DecodeErrors) -> String {
    let text = format!("{error:?}");
    format!("JPEG data is not valid ({})", text.trim())
}

/// Puts the tables that the strips of a TIFF share in front of one strip's data.
///
/// Source: TIFF supplement 2, "TIFF JPEG": both begin and end with the markers of
/// a picture's start and end.
pub(crate) fn with_tables(tables: Option<&[u8]>, data: &[u8]) -> Vec<u8> {
    const START: [u8; 2] = [0xFF, 0xD8];
    const END: [u8; 2] = [0xFF, 0xD9];
    let tables = tables
        .and_then(|t| t.strip_prefix(&START))
        .map(|t| t.strip_suffix(&END).unwrap_or(t));
    match (tables, data.strip_prefix(&START)) {
        (Some(tables), Some(rest)) => [&START, tables, rest].concat(),
        _ => data.to_vec(),
    }
}
