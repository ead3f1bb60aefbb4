//! A camera's raw frames as DNG files, from the sensor's numbers.
//!
//! Only what a test of a reader needs: one uncompressed mosaic of 16 bits, alone
//! or below a small rendered picture as cameras write it.
//!
//! Source: TIFF Revision 6.0; Adobe's Digital Negative specification 1.6 (tags,
//! from memory).

/// One TIFF tag: number, type (1 byte, 2 letter, 3 16-bit, 4 32-bit, 5 ratio,
/// 7 byte of no stated meaning, 10 signed ratio) and its words; a ratio is two words.
pub type RawTag = (u16, u16, Vec<u32>);

/// A raw frame that is to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct RawFrame {
    /// Width of the stored frame. \[pixels\]
    pub width: u32,
    /// Height of the stored frame. \[pixels\]
    pub height: u32,
    /// The sensor's numbers, row by row.
    pub samples: Vec<u16>,
    /// The mosaic's cell, row by row: 0 red, 1 green, 2 blue.
    pub cell: [u8; 4],
    /// Black level.
    pub black: u32,
    /// White level.
    pub white: u32,
    /// Part that light reaches: top, left, bottom, right.
    pub active: Option<[u32; 4]>,
    /// Picture within that: left, top, width, height.
    pub crop: Option<[u32; 4]>,
    /// Whether a small rendered picture comes first and the frame lies below it.
    pub below_preview: bool,
    /// Tags that replace those above or come beside them; one without words is
    /// left out.
    pub tags: Vec<RawTag>,
}

impl RawFrame {
    /// A frame of these numbers: red, green over green, blue; 14 bits.
    ///
    /// # Panics
    /// When there are not `width` × `height` samples.
    #[must_use]
    pub fn new(width: u32, height: u32, samples: Vec<u16>) -> Self {
        assert!(
            samples.len() as u64 == u64::from(width) * u64::from(height),
            "{width} by {height} pixels need as many samples, found {}",
            samples.len()
        );
        Self {
            width,
            height,
            samples,
            cell: [0, 1, 1, 2],
            black: 1024,
            white: 15_000,
            active: None,
            crop: None,
            below_preview: false,
            tags: Vec::new(),
        }
    }

    /// Writes the file, low byte first.
    #[must_use]
    pub fn to_dng(&self) -> Vec<u8> {
        let mut file = b"II\x2A\0\0\0\0\0".to_vec();
        let at = file.len() as u32;
        file.extend(self.samples.iter().flat_map(|s| s.to_le_bytes()));
        let dng = vec![(50706, 1, vec![1, 4, 0, 0])];
        let mut frame: Vec<RawTag> = vec![
            (254, 4, vec![0]),
            (256, 4, vec![self.width]),
            (257, 4, vec![self.height]),
            (258, 3, vec![16]),
            (259, 3, vec![1]),
            (262, 3, vec![32803]),
            (273, 4, vec![at]),
            (277, 3, vec![1]),
            (278, 4, vec![self.height]),
            (279, 4, vec![2 * self.samples.len() as u32]),
            (33421, 3, vec![2, 2]),
            (33422, 1, self.cell.map(u32::from).to_vec()),
            (50714, 4, vec![self.black]),
            (50717, 4, vec![self.white]),
        ];
        if let Some(active) = self.active {
            frame.push((50829, 4, active.to_vec()));
        }
        if let Some([left, top, width, height]) = self.crop {
            frame.push((50719, 4, vec![left, top]));
            frame.push((50720, 4, vec![width, height]));
        }
        let first = if self.below_preview {
            let sub = directory(&mut file, with(frame, &self.tags));
            let picture = file.len() as u32;
            // 4 × 3 pixels of one even colour: nothing anybody should measure.
            file.extend([200; 4 * 3 * 3]);
            let preview = vec![
                (254, 4, vec![1]),
                (256, 4, vec![4]),
                (257, 4, vec![3]),
                (258, 3, vec![8, 8, 8]),
                (259, 3, vec![1]),
                (262, 3, vec![2]),
                (273, 4, vec![picture]),
                (277, 3, vec![3]),
                (278, 4, vec![3]),
                (279, 4, vec![36]),
                (330, 4, vec![sub]),
            ];
            // A DNG's own tag stands in the first directory and can be replaced.
            let own: Vec<RawTag> = self.tags.iter().filter(|t| t.0 == 50706).cloned().collect();
            directory(&mut file, with(with(preview, &dng), &own))
        } else {
            directory(&mut file, with(with(frame, &dng), &self.tags))
        };
        file[4..8].copy_from_slice(&first.to_le_bytes());
        file
    }
}

/// Tags with others in their place or beside them.
pub(crate) fn with(mut tags: Vec<RawTag>, others: &[RawTag]) -> Vec<RawTag> {
    for other in others {
        tags.retain(|t| t.0 != other.0);
        if !other.2.is_empty() {
            tags.push(other.clone());
        }
    }
    tags.sort_by_key(|t| t.0);
    tags
}

/// Appends a directory with its values; gives where it begins.
pub(crate) fn directory(file: &mut Vec<u8>, tags: Vec<RawTag>) -> u32 {
    let mut entries = Vec::new();
    for (tag, kind, words) in &tags {
        let mut bytes = Vec::new();
        for word in words {
            let size = match kind {
                1 | 2 | 7 => 1,
                3 => 2,
                _ => 4,
            };
            bytes.extend(&word.to_le_bytes()[..size]);
        }
        let count = match kind {
            5 | 10 => words.len() / 2,
            _ => words.len(),
        };
        if bytes.len() > 4 {
            let at = file.len() as u32;
            file.extend(&bytes);
            bytes = at.to_le_bytes().to_vec();
        }
        bytes.resize(4, 0);
        entries.extend(tag.to_le_bytes());
        entries.extend(kind.to_le_bytes());
        entries.extend((count as u32).to_le_bytes());
        entries.extend(bytes);
    }
    let at = file.len() as u32;
    file.extend((tags.len() as u16).to_le_bytes());
    file.extend(entries);
    file.extend([0; 4]);
    at
}
