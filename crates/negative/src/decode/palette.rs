//! Palettes: stored numbers that stand for an entry of a table of colours.
//!
//! Entries come out as codes of 8 bits when 8 bits hold them all, else of 16. A
//! table whose every entry is grey makes a grey picture.
//!
//! Source: TIFF 6.0, section 5 (ColorMap: all reds, then all greens, then all
//! blues, 0 to 65535); PNG third edition, section 11.2.2 (PLTE).

use super::info::ChannelChoice;
use super::unpack::mean_of_three;

/// The colours that stored numbers stand for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Palette {
    /// Red, green and blue of each entry.
    entries: Vec<[u16; 3]>,
    /// 8 or 16.
    bits: u8,
}

impl Palette {
    /// Takes a TIFF colour map of three tables one after the other.
    ///
    /// Writers make 16 bits of 8 in three ways, as a byte twice, with a zero byte
    /// below, or not at all; each is seen by all entries being so.
    pub(crate) fn from_colour_map(map: &[u64]) -> Self {
        let word = |v: u64| u16::try_from(v).unwrap_or(u16::MAX);
        let all = |holds: fn(u64) -> bool| map.iter().all(|v| holds(*v));
        let (bits, divisor) = if all(|v| v < 256) {
            (8, 1)
        } else if all(|v| v % 257 == 0) {
            (8, 257)
        } else if all(|v| v % 256 == 0) {
            (8, 256)
        } else {
            (16, 1)
        };
        let count = map.len() / 3;
        let entries = (0..count)
            .map(|i| [0, 1, 2].map(|colour| word(map[colour * count + i] / divisor)))
            .collect();
        Self { entries, bits }
    }

    /// Takes a PNG palette of red, green, blue bytes; `count` is how many numbers
    /// the bits of a sample can name, and missing entries are black.
    pub(crate) fn from_bytes(bytes: &[u8], count: usize) -> Self {
        let mut entries: Vec<[u16; 3]> = bytes
            .chunks_exact(3)
            .map(|c| [c[0], c[1], c[2]].map(u16::from))
            .collect();
        entries.resize(count, [0; 3]);
        Self { entries, bits: 8 }
    }

    /// Bits of the codes that come out.
    pub(crate) fn bits(&self) -> u8 {
        self.bits
    }

    /// Tells whether every entry is grey.
    pub(crate) fn is_grey(&self) -> bool {
        self.entries.iter().all(|[r, g, b]| r == g && g == b)
    }

    /// Says how the file was read.
    pub(crate) fn remark(&self) -> String {
        let kind = if self.is_grey() { "grey" } else { "colours" };
        format!(
            "the codes are those of the file's palette of {} {kind}, so there are no more levels than that",
            self.entries.len()
        )
    }

    /// Gives the code of every stored number in a channel.
    pub(crate) fn table(&self, choice: ChannelChoice) -> Vec<u16> {
        self.entries
            .iter()
            .map(|[r, g, b]| match choice {
                ChannelChoice::Green => *g,
                ChannelChoice::Blue => *b,
                ChannelChoice::Mean => mean_of_three([*r, *g, *b]),
                _ => *r,
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_bits_are_seen_in_every_way_they_are_written() {
        for (map, bits, reds) in [
            (vec![0, 255, 0, 255, 0, 255], 8, [0, 255]),
            (vec![0, 65535, 0, 65535, 0, 257], 8, [0, 255]),
            (vec![0, 65280, 0, 256, 0, 512], 8, [0, 255]),
            (vec![1, 65535, 1, 65535, 1, 65535], 16, [1, 65535]),
        ] {
            let palette = Palette::from_colour_map(&map);
            assert_eq!(palette.bits(), bits, "{map:?}");
            assert_eq!(palette.table(ChannelChoice::Red), reds, "{map:?}");
        }
        let grey = Palette::from_bytes(&[7, 7, 7, 9, 9, 9], 4);
        assert!(grey.is_grey());
        assert_eq!(grey.table(ChannelChoice::Grey), [7, 9, 0, 0]);
        assert!(!Palette::from_bytes(&[7, 7, 8], 1).is_grey());
    }
}
