//! A picture of 32-bit floating-point numbers as a TIFF file.
//!
//! One strip, one sample, not compressed, little-endian; "not a number" stays what
//! it is. Source: TIFF 6.0 (Adobe, 1992), sections 2, 4 and 19.

/// Writes a picture of numbers, row by row; none when their count does not fit the
/// size, or the file would be larger than 4 GiB.
#[must_use]
pub fn float_tiff(width: u32, height: u32, values: &[f32], description: &str) -> Option<Vec<u8>> {
    const ENTRIES: u16 = 11;
    const DIRECTORY: u32 = 8;
    let pixels = u64::from(width).checked_mul(u64::from(height))?;
    if pixels != values.len() as u64 || pixels == 0 {
        return None;
    }
    let bytes = u32::try_from(4 * pixels).ok()?;
    // Text ends with a zero; even, so that the pixels begin on a word.
    let mut text: Vec<u8> = description.bytes().filter(|b| *b != 0).collect();
    text.push(0);
    let text_count = u32::try_from(text.len()).ok()?.max(5);
    text.resize(text_count.next_multiple_of(4) as usize, 0);
    let text_at = DIRECTORY + 2 + 12 * u32::from(ENTRIES) + 4 + 2;
    let pixels_at = text_at.checked_add(u32::try_from(text.len()).ok()?)?;
    pixels_at.checked_add(bytes)?;
    let mut file = b"II*\0".to_vec();
    file.extend(DIRECTORY.to_le_bytes());
    file.extend(ENTRIES.to_le_bytes());
    // Tag, type (2 text, 3 short, 4 long), count, value or place.
    let entries: [(u16, u16, u32, u32); ENTRIES as usize] = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 32),
        (259, 3, 1, 1),
        // Black is zero; sample format 3 is floating point.
        (262, 3, 1, 1),
        (270, 2, text_count, text_at),
        (273, 4, 1, pixels_at),
        (277, 3, 1, 1),
        (278, 4, 1, height),
        (279, 4, 1, bytes),
        (339, 3, 1, 3),
    ];
    for (tag, kind, count, value) in entries {
        file.extend(tag.to_le_bytes());
        file.extend(kind.to_le_bytes());
        file.extend(count.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend(0_u32.to_le_bytes());
    file.extend([0, 0]);
    file.extend(&text);
    for value in values {
        file.extend(value.to_le_bytes());
    }
    Some(file)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tiff::decoder::{Decoder, DecodingResult};

    #[test]
    fn another_reader_gives_the_numbers_back() {
        let values = [0.25_f32, 1.5, f32::NAN, -3.0, 0.0, 4.0];
        let file = float_tiff(3, 2, &values, "gross density").unwrap();
        let mut reader = Decoder::new(std::io::Cursor::new(file)).unwrap();
        assert_eq!(reader.dimensions().unwrap(), (3, 2));
        let DecodingResult::F32(read) = reader.read_image().unwrap() else {
            panic!("32-bit floating-point numbers were written")
        };
        let bits = |values: &[f32]| values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(&read), bits(&values));
        assert_eq!(float_tiff(3, 3, &values, ""), None);
    }
}
