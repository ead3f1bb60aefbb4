//! Raw files as makers of cameras write them, from the sensor's numbers.
//!
//! Two kinds whose numbers are not compressed, so that each can be known: one with
//! twelve bits below a directory of its own, one with sixteen bits and black levels
//! in the maker's note. They carry the names of real cameras,
//! because a decoder finds mosaic and levels by these; their pictures are invented.
//!
//! Source: TIFF Revision 6.0; Exif 2.3 for settings; the kinds from memory.

use crate::raw_frame::{RawTag, directory};

/// A kind of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MakersKind {
    /// Twelve bits, two numbers in three bytes, in a directory below the first.
    PackedBelow,
    /// Sixteen bits in the first directory, with a maker's note.
    WordsAndNote,
}

/// A maker's raw file that is to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct MakersRaw {
    /// Kind of file.
    pub kind: MakersKind,
    /// Make and model that the file names; those of the kind when `None`.
    pub camera: Option<[String; 2]>,
    /// Width of the stored frame, an even number. \[pixels\]
    pub width: u32,
    /// Height of the stored frame. \[pixels\]
    pub height: u32,
    /// The sensor's numbers, row by row: red, green over green, blue.
    pub samples: Vec<u16>,
    /// Black levels of the cell's places, for [`MakersKind::WordsAndNote`].
    pub black: [u16; 4],
    /// Exposure time as a ratio, f-number as a ratio, sensitivity.
    pub settings: ([u32; 2], [u32; 2], u32),
    /// How the picture lies, 1 to 8.
    pub orientation: u32,
}

impl MakersRaw {
    /// A frame of these numbers, taken at 1/60 s, f/8, ISO 100.
    ///
    /// # Panics
    /// When there are not `width` × `height` samples.
    #[must_use]
    pub fn new(kind: MakersKind, width: u32, height: u32, samples: Vec<u16>) -> Self {
        assert!(
            samples.len() as u64 == u64::from(width) * u64::from(height),
            "{width} by {height} pixels need as many samples, found {}",
            samples.len()
        );
        Self {
            kind,
            camera: None,
            width,
            height,
            samples,
            black: [128, 130, 132, 134],
            settings: ([1, 60], [8, 1], 100),
            orientation: 1,
        }
    }

    /// Writes the file, low byte first.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut file = b"II\x2A\0\0\0\0\0".to_vec();
        let at = file.len() as u32;
        let (make, model, bits) = match self.kind {
            MakersKind::PackedBelow => ("Mamiya-OP Co.,Ltd.", "MAMIYA ZD", 12),
            MakersKind::WordsAndNote => ("PENTAX Corporation", "PENTAX K10D", 16),
        };
        match self.kind {
            MakersKind::PackedBelow => {
                for pair in self.samples.chunks(2) {
                    let (first, second) = (pair[0], pair.get(1).copied().unwrap_or(0));
                    file.push((first >> 4) as u8);
                    file.push(((first & 15) << 4 | second >> 8) as u8);
                    file.push((second & 255) as u8);
                }
                // A decoder may look at the word that follows.
                file.extend([0; 16]);
            }
            MakersKind::WordsAndNote => {
                file.extend(self.samples.iter().flat_map(|s| s.to_le_bytes()));
            }
        }
        let bytes = file.len() as u32 - at;
        let frame: Vec<RawTag> = vec![
            (254, 4, vec![0]),
            (256, 4, vec![self.width]),
            (257, 4, vec![self.height]),
            (258, 3, vec![bits]),
            (259, 3, vec![1]),
            (262, 3, vec![32803]),
            (273, 4, vec![at]),
            (277, 3, vec![1]),
            (278, 4, vec![self.height]),
            (279, 4, vec![bytes]),
            (33421, 3, vec![2, 2]),
            (33422, 1, vec![0, 1, 1, 2]),
        ];
        let exif = self.exif(&mut file);
        let [make, model] = match &self.camera {
            Some([make, model]) => [make.as_str(), model],
            None => [make, model],
        };
        let mut first: Vec<RawTag> = vec![
            (271, 2, letters(make)),
            (272, 2, letters(model)),
            (274, 3, vec![self.orientation]),
            (34665, 4, vec![exif]),
        ];
        match self.kind {
            MakersKind::PackedBelow => {
                let below = directory(&mut file, frame);
                first.push((330, 4, vec![below]));
            }
            MakersKind::WordsAndNote => first.extend(frame),
        }
        first.sort_by_key(|tag| tag.0);
        let first = directory(&mut file, first);
        file[4..8].copy_from_slice(&first.to_le_bytes());
        file
    }

    /// Appends the directory of settings; gives where it begins.
    fn exif(&self, file: &mut Vec<u8>) -> u32 {
        let (time, aperture, sensitivity) = &self.settings;
        let mut tags: Vec<RawTag> = vec![
            (33434, 5, time.to_vec()),
            (33437, 5, aperture.to_vec()),
            (34855, 3, vec![*sensitivity]),
            (36867, 2, letters("2026:01:31 12:00:00")),
        ];
        if self.kind == MakersKind::WordsAndNote {
            tags.push((37500, 7, self.note(file.len() as u32)));
        }
        directory(file, tags)
    }

    /// The maker's note, whose words are counted from the file's beginning: it will
    /// lie behind the two ratios.
    fn note(&self, so_far: u32) -> Vec<u32> {
        // The time and the aperture come before it, eight bytes each, and the date.
        let at = so_far + 8 + 8 + 20;
        let mut note = b"AOC\0II".to_vec();
        note.extend(1_u16.to_le_bytes());
        note.extend(0x0200_u16.to_le_bytes());
        note.extend(3_u16.to_le_bytes());
        note.extend(4_u32.to_le_bytes());
        // The levels follow this entry and the mark of the end.
        note.extend((at + 6 + 2 + 12 + 4).to_le_bytes());
        note.extend([0; 4]);
        note.extend(self.black.iter().flat_map(|b| b.to_le_bytes()));
        note.into_iter().map(u32::from).collect()
    }
}

/// Letters with the nought that ends them.
fn letters(text: &str) -> Vec<u32> {
    text.bytes().chain([0]).map(u32::from).collect()
}
