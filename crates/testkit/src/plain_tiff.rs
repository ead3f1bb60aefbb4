//! Uncompressed TIFF files of one strip with any tags: what `tiff_file` does not
//! write, such as bits, samples beside the colours, orientation, a camera's settings.
//!
//! Source: TIFF Revision 6.0.

use crate::raw_frame::{RawTag, directory, with};

/// A picture that is to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct PlainTiff {
    strip: Vec<u8>,
    tags: Vec<RawTag>,
}

impl PlainTiff {
    /// Grey pixels of so many bits, 0 black, packed row by row.
    #[must_use]
    pub fn grey(size: (u32, u32), bits: u32, strip: Vec<u8>) -> Self {
        Self::new(size, &[bits], 1, strip)
    }

    /// Pixels of red, green, blue and further samples that have no name, row by row.
    #[must_use]
    pub fn colours(size: (u32, u32), bits: &[u32], strip: Vec<u8>) -> Self {
        Self::new(size, bits, 2, strip)
    }

    fn new((width, height): (u32, u32), bits: &[u32], photometric: u32, strip: Vec<u8>) -> Self {
        let tags = vec![
            (256, 4, vec![width]),
            (257, 4, vec![height]),
            (258, 3, bits.to_vec()),
            (259, 3, vec![1]),
            (262, 3, vec![photometric]),
            (277, 3, vec![bits.len() as u32]),
            (278, 4, vec![height]),
            (279, 4, vec![strip.len() as u32]),
        ];
        Self { strip, tags }
    }

    /// Adds a tag, in the place of one of the same number.
    #[must_use]
    pub fn tag(mut self, tag: RawTag) -> Self {
        self.tags = with(self.tags, &[tag]);
        self
    }

    /// Writes the file, low byte first.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut file = b"II\x2A\0\0\0\0\0".to_vec();
        let strip = (273, 4, vec![file.len() as u32]);
        file.extend(&self.strip);
        // Directories and values begin at even places.
        file.resize(file.len().next_multiple_of(2), 0);
        let first = directory(&mut file, with(self.tags.clone(), &[strip]));
        file[4..8].copy_from_slice(&first.to_le_bytes());
        file
    }
}

/// Samples of 16 bits as they stand in a file, low byte first.
#[must_use]
pub fn low_byte_first(samples: impl IntoIterator<Item = u16>) -> Vec<u8> {
    samples.into_iter().flat_map(u16::to_le_bytes).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;
    use tiff::decoder::{Decoder, DecodingResult};
    use tiff::tags::Tag;

    #[test]
    fn a_reader_from_outside_finds_samples_and_tags() {
        let samples: Vec<u16> = (0..2 * 3 * 4).map(|i| i * 2500).collect();
        let file = PlainTiff::colours((2, 3), &[16; 4], low_byte_first(samples.clone()))
            .tag((274, 3, vec![6]))
            .tag((33434, 5, vec![1, 60]))
            .tag((274, 3, vec![8]));
        let mut decoder = Decoder::new(Cursor::new(file.to_bytes())).unwrap();
        assert_eq!(decoder.dimensions().unwrap(), (2, 3));
        assert_eq!(decoder.get_tag_u32(Tag::Orientation).unwrap(), 8);
        match decoder.read_image().unwrap() {
            DecodingResult::U16(read) => assert_eq!(read, samples),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn an_odd_strip_is_followed_by_an_even_directory() {
        let file = PlainTiff::grey((3, 1), 8, vec![1, 2, 3]).to_bytes();
        assert_eq!(file[4] % 2, 0);
        let mut decoder = Decoder::new(Cursor::new(file)).unwrap();
        match decoder.read_image().unwrap() {
            DecodingResult::U8(read) => assert_eq!(read, [1, 2, 3]),
            other => panic!("{other:?}"),
        }
    }
}
