//! Damage to a file: what mail, editors, instruments and bad luck do, and nonsense.

/// Numbers by chance, the same for the same draw (splitmix64).
pub(super) struct Chance(u64);

impl Chance {
    pub(super) fn new(draw: u64) -> Self {
        Self(draw)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 to below this; 0 for 0.
    pub(super) fn below(&mut self, end: usize) -> usize {
        let end = u64::try_from(end).unwrap_or(u64::MAX).max(1);
        usize::try_from(self.next() % end).unwrap_or(0)
    }
}

/// Words that mean something to a reader, or that it must not fall over.
const WORDS: &[&str] = &[
    "\n",
    "\r",
    "\r\n",
    ";",
    "\t",
    ",",
    " ",
    "\"",
    "#",
    "$$",
    "##",
    "=",
    "##END=",
    "##TITLE=",
    "%T",
    "(%)",
    "nm",
    "\u{b5}m",
    "1/CM",
    "log10",
    "-9.999",
    "-999",
    "NaN",
    "inf",
    "1e308",
    "-1e308",
    "1e-320",
    "0",
    "-0",
    "99999999999999999999",
    "0.1",
    "?",
    "@",
    "%",
    "S",
    "Z9999999",
    "J",
    "s",
    "E+9999",
    "4000",
    "##XYDATA= (X++(Y..Y))",
    "##XYPOINTS= (XY..XY)",
    "##NPOINTS= 0",
    "##DELTAX=",
    "##YFACTOR= 1e300",
    "##XFACTOR= 0",
    "BEGIN_DATA",
    "END_DATA",
    "BEGIN_DATA_FORMAT",
    "END_DATA_FORMAT",
    "NUMBER_OF_SETS",
    "SPECTRAL_NM",
    "SPECTRAL_PCT_",
    "SPECTRAL_DEC",
    "D_VIS",
    "LOG_H",
    "CGATS.17",
    "\u{feff}",
    "\u{0}",
    "\u{2212}",
    "\u{fffd}",
];

/// A file of the pool with one to five damages.
pub(super) fn damaged(pool: &[Vec<u8>], chance: &mut Chance) -> Vec<u8> {
    let mut file = pool[chance.below(pool.len())].clone();
    for _ in 0..=chance.below(5) {
        one(&mut file, pool, chance);
    }
    file
}

fn one(file: &mut Vec<u8>, pool: &[Vec<u8>], chance: &mut Chance) {
    let at = chance.below(file.len() + 1);
    let end = (at + 1 + chance.below(40)).min(file.len()).max(at);
    match chance.below(9) {
        0 => {
            if let Some(byte) = file.get_mut(at) {
                *byte ^= 1 << chance.below(8);
            }
        }
        1 => {
            file.drain(at..end);
        }
        2 => {
            let again = file[at..end].to_vec();
            file.splice(at..at, again);
        }
        3 => file.truncate(at),
        4 | 5 => {
            let word = WORDS[chance.below(WORDS.len())];
            file.splice(at..at, word.bytes());
        }
        6 => {
            let word = WORDS[chance.below(WORDS.len())];
            file.splice(at..end, word.bytes());
        }
        7 => {
            let other = &pool[chance.below(pool.len())];
            let from = chance.below(other.len() + 1);
            file.splice(at.., other[from..].iter().copied());
        }
        // A digit becomes another, so that the structure stays and the numbers change.
        _ => {
            let from = file.iter().skip(at).position(u8::is_ascii_digit);
            if let Some(byte) = from.and_then(|offset| file.get_mut(at + offset)) {
                *byte = b"0123456789.-e"[chance.below(13)];
            }
        }
    }
}

/// Numbers that a reader of headers must not fall over.
const NUMBERS: &[u32] = &[
    0,
    1,
    2,
    3,
    5,
    6,
    7,
    8,
    12,
    15,
    16,
    17,
    24,
    32,
    64,
    127,
    128,
    255,
    256,
    257,
    4096,
    32_767,
    32_768,
    32_773,
    65_535,
    65_536,
    1 << 24,
    1 << 31,
    u32::MAX - 1,
    u32::MAX,
];

/// A file of the pool with one to five damages to its bytes and numbers.
pub(super) fn damaged_binary(pool: &[Vec<u8>], chance: &mut Chance) -> Vec<u8> {
    let mut file = pool[chance.below(pool.len())].clone();
    for _ in 0..=chance.below(5) {
        one_binary(&mut file, pool, chance);
    }
    file
}

fn one_binary(file: &mut Vec<u8>, pool: &[Vec<u8>], chance: &mut Chance) {
    let at = chance.below(file.len() + 1);
    let end = (at + 1 + chance.below(40)).min(file.len()).max(at);
    match chance.below(10) {
        0 | 1 => {
            if let Some(byte) = file.get_mut(at) {
                *byte ^= 1 << chance.below(8);
            }
        }
        2 => {
            if let Some(byte) = file.get_mut(at) {
                *byte = chance.below(256) as u8;
            }
        }
        // A number of two or four bytes becomes another, in either order.
        3..=6 => {
            let value = NUMBERS[chance.below(NUMBERS.len())];
            let bytes = match chance.below(4) {
                0 => (value as u16).to_le_bytes().to_vec(),
                1 => (value as u16).to_be_bytes().to_vec(),
                2 => value.to_le_bytes().to_vec(),
                _ => value.to_be_bytes().to_vec(),
            };
            // Numbers of headers lie on even bytes.
            let at = at & !1;
            for (byte, new) in file.iter_mut().skip(at).zip(bytes) {
                *byte = new;
            }
        }
        7 => {
            file.drain(at..end);
        }
        8 => file.truncate(at),
        _ => {
            let other = &pool[chance.below(pool.len())];
            let from = chance.below(other.len() + 1);
            let until = (from + 1 + chance.below(60)).min(other.len()).max(from);
            for (byte, new) in file.iter_mut().skip(at).zip(&other[from..until]) {
                *byte = *new;
            }
        }
    }
}
