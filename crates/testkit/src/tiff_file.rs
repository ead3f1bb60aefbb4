//! Grey TIFF files from samples, with or without a declared tone.

use std::io::Cursor;
use tiff::encoder::{
    Compression, DeflateLevel, Rational, TiffEncoder, TiffValue, colortype, colortype::ColorType,
};
use tiff::tags::{ResolutionUnit, Tag};

/// What a written file says of how its code values follow light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeclaredTone {
    /// Nothing.
    Nothing,
    /// Proportional to light, by an embedded grey ICC profile.
    LinearProfile,
}

/// How a TIFF file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TiffForm {
    /// Resolution in pixels per inch.
    pub pixels_per_inch: u32,
    /// What the file says of its tone.
    pub tone: DeclaredTone,
    /// Whether the samples are deflated (without loss).
    pub deflated: bool,
}

impl Default for TiffForm {
    fn default() -> Self {
        Self {
            pixels_per_inch: 300,
            tone: DeclaredTone::Nothing,
            deflated: false,
        }
    }
}

/// Writes a 16-bit grey TIFF, row by row from the top left corner; 65535 is light.
///
/// # Panics
/// When there are not `width` × `height` samples, or none.
#[must_use]
pub fn tiff_grey16(width: u32, height: u32, samples: &[u16], form: TiffForm) -> Vec<u8> {
    written::<colortype::Gray16>(width, height, samples, form)
}

/// Writes an 8-bit grey TIFF, row by row from the top left corner; 255 is light.
///
/// # Panics
/// When there are not `width` × `height` samples, or none.
#[must_use]
pub fn tiff_grey8(width: u32, height: u32, samples: &[u8], form: TiffForm) -> Vec<u8> {
    written::<colortype::Gray8>(width, height, samples, form)
}

/// Writes linear light, row by row from the top left corner, as a deflated 16-bit grey
/// TIFF that says so.
///
/// # Panics
/// When there are not `width` × `height` signals, or none.
#[must_use]
pub fn tiff_of_light(width: usize, height: usize, signal: &[f32]) -> Vec<u8> {
    let codes: Vec<u16> = signal
        .iter()
        .map(|s| (f64::from(*s) * 65_535.0).round() as u16)
        .collect();
    let form = TiffForm {
        pixels_per_inch: 300,
        tone: DeclaredTone::LinearProfile,
        deflated: true,
    };
    tiff_grey16(width as u32, height as u32, &codes, form)
}

fn written<C: ColorType>(width: u32, height: u32, samples: &[C::Inner], form: TiffForm) -> Vec<u8>
where
    [C::Inner]: TiffValue,
{
    assert!(
        !samples.is_empty() && samples.len() as u64 == u64::from(width) * u64::from(height),
        "{width} by {height} pixels need as many samples, found {}",
        samples.len()
    );
    let mut file = Cursor::new(Vec::new());
    let write = |file: &mut Cursor<Vec<u8>>| -> tiff::TiffResult<()> {
        let compression = if form.deflated {
            Compression::Deflate(DeflateLevel::Fast)
        } else {
            Compression::Uncompressed
        };
        let mut encoder = TiffEncoder::new(file)?.with_compression(compression);
        let mut image = encoder.new_image::<C>(width, height)?;
        image.resolution(
            ResolutionUnit::Inch,
            Rational {
                n: form.pixels_per_inch,
                d: 1,
            },
        );
        if form.tone == DeclaredTone::LinearProfile {
            image
                .encoder()
                .write_tag(Tag::IccProfile, linear_grey_profile().as_slice())?;
        }
        image.write_data(samples)
    };
    match write(&mut file) {
        Ok(()) => file.into_inner(),
        Err(error) => unreachable!("writing a TIFF into memory failed: {error}"),
    }
}

/// Gives an ICC profile of a grey input device whose code values are
/// proportional to light.
///
/// Layout: ICC.1:2001-04 (version 2.4), from memory: header of 128 bytes, tag
/// table, and the tags desc, cprt, wtpt and kTRC; a kTRC curve of no entries is
/// the identity.
#[must_use]
pub fn linear_grey_profile() -> Vec<u8> {
    let name = b"Linear grey\0";
    let mut description = b"desc\0\0\0\0".to_vec();
    description.extend((name.len() as u32).to_be_bytes());
    description.extend(name);
    // No Unicode name (language and count), no script name (code, count, 67 bytes).
    description.extend([0; 8 + 3 + 67]);
    let copyright = b"text\0\0\0\0No rights reserved\0".to_vec();
    let mut white = b"XYZ \0\0\0\0".to_vec();
    // D50 as s15Fixed16: 0.9642, 1, 0.8249. Source: the ICC profile format.
    for part in [0x0000_F6D6_u32, 0x0001_0000, 0x0000_D32D] {
        white.extend(part.to_be_bytes());
    }
    let curve = b"curv\0\0\0\0\0\0\0\0".to_vec();

    let tags = [
        (b"desc", description),
        (b"cprt", copyright),
        (b"wtpt", white.clone()),
        (b"kTRC", curve),
    ];
    let mut table = (tags.len() as u32).to_be_bytes().to_vec();
    let mut data = Vec::new();
    let data_from = 128 + 4 + 12 * tags.len();
    for (signature, bytes) in &tags {
        table.extend(*signature);
        table.extend(((data_from + data.len()) as u32).to_be_bytes());
        table.extend((bytes.len() as u32).to_be_bytes());
        data.extend(bytes);
        // Each tag begins at a multiple of four.
        data.resize(data.len().next_multiple_of(4), 0);
    }
    let size = data_from + data.len();
    let mut header = vec![0_u8; 128];
    let mut put = |at: usize, bytes: &[u8]| header[at..at + bytes.len()].copy_from_slice(bytes);
    put(0, &(size as u32).to_be_bytes());
    put(8, &0x0240_0000_u32.to_be_bytes()); // version 2.4
    put(12, b"scnrGRAYXYZ ");
    put(24, &[7, 231, 0, 1, 0, 1]); // 1 January 2023, midnight: fixed
    put(36, b"acsp");
    put(68, &white[8..]); // illuminant of the connection space
    header.extend(table);
    header.extend(data);
    header
}

#[cfg(test)]
mod tests {
    use super::*;
    use tiff::decoder::{Decoder, DecodingResult};

    #[test]
    fn samples_come_back() {
        let samples: Vec<u16> = (0..12).map(|i| i * 5000).collect();
        for deflated in [false, true] {
            let form = TiffForm {
                deflated,
                tone: DeclaredTone::LinearProfile,
                ..TiffForm::default()
            };
            let bytes = tiff_grey16(4, 3, &samples, form);
            let mut decoder = Decoder::new(Cursor::new(bytes)).unwrap();
            assert_eq!(decoder.dimensions().unwrap(), (4, 3));
            match decoder.read_image().unwrap() {
                DecodingResult::U16(read) => assert_eq!(read, samples),
                other => panic!("{other:?}"),
            }
            let profile = decoder.get_tag_u8_vec(Tag::IccProfile).unwrap();
            assert_eq!(profile, linear_grey_profile());
        }
    }

    #[test]
    fn eight_bit_samples_come_back() {
        let samples = [0, 1, 127, 128, 254, 255];
        let bytes = tiff_grey8(3, 2, &samples, TiffForm::default());
        let mut decoder = Decoder::new(Cursor::new(bytes)).unwrap();
        match decoder.read_image().unwrap() {
            DecodingResult::U8(read) => assert_eq!(read, samples),
            other => panic!("{other:?}"),
        }
        assert!(decoder.get_tag_u8_vec(Tag::IccProfile).is_err());
    }

    #[test]
    fn the_profile_says_its_own_size_and_its_tags_lie_inside() {
        let profile = linear_grey_profile();
        let word = |at: usize| u32::from_be_bytes(profile[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!(word(0), profile.len());
        assert_eq!(word(128), 4);
        for tag in 0..4 {
            let (offset, size) = (word(136 + 12 * tag), word(140 + 12 * tag));
            assert!(offset % 4 == 0 && offset + size <= profile.len());
        }
    }
}
