//! Decoded chunk bytes to code values: predictors, byte order, packed bits.
//!
//! Whole numbers of up to 16 bits come out as they are. Anything else is divided
//! by its largest number and comes out as a float: wider numbers, and signed
//! ones, whose 0 is no light and whose negative values are noise below it.
//!
//! Source: TIFF 6.0 section 14 (differencing predictor); TIFF technical note 3
//! (floating-point predictor, 16-bit and 24-bit floats). Bits that do not fill
//! bytes are packed from the most significant bit, each row starting on a byte,
//! whatever the byte order.

use super::info::Codes;

/// How the samples of a chunk's rows are laid down.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RowLayout {
    /// Bits of a sample.
    pub(crate) bits: u8,
    /// How samples are numbers.
    pub(crate) numbers: Numbers,
    /// Whether multi-byte samples have their high byte first.
    pub(crate) big_endian: bool,
    /// Samples of one pixel in this chunk.
    pub(crate) samples: usize,
    /// Pixels of one row of the chunk.
    pub(crate) columns: usize,
    /// Predictor to undo.
    pub(crate) predictor: Predictor,
}

/// How stored samples are numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Numbers {
    Unsigned,
    /// Two's complement.
    Signed,
    Float,
}

impl Numbers {
    /// Tells whether samples of this kind and so many bits come out as floats.
    pub(crate) fn spread(self, bits: u8) -> bool {
        self != Self::Unsigned || bits > 16
    }

    /// Says how samples of this kind are read, where that needs saying.
    pub(crate) fn remark(self, bits: u8) -> Option<String> {
        match self {
            Self::Signed => Some(
                "the samples are signed: 0 is taken as no light and the largest number as full light, and what \
                 lies below 0 counts as no light"
                    .to_owned(),
            ),
            Self::Unsigned if bits > 16 => Some(format!(
                "the samples have {bits} bits and are read as shares of their largest number"
            )),
            Self::Float => Some("the samples are floats: 1 is taken as full light".to_owned()),
            Self::Unsigned => None,
        }
    }
}

/// What a writer did to make rows compress better.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Predictor {
    None,
    Horizontal,
    Float,
}

/// Which samples of a pixel make the code that is handed out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pick {
    One(usize),
    MeanOfThree,
}

/// Code values of a band of rows.
#[derive(Clone, Debug)]
pub(crate) enum CodeBuffer {
    Unsigned(Vec<u16>),
    Float(Vec<f32>),
}

impl CodeBuffer {
    pub(crate) fn with_len(float: bool, len: usize) -> Self {
        if float {
            Self::Float(vec![0.0; len])
        } else {
            Self::Unsigned(vec![0; len])
        }
    }

    /// Gives a range as codes.
    pub(crate) fn codes(&self, range: core::ops::Range<usize>) -> Codes<'_> {
        match self {
            Self::Unsigned(codes) => Codes::Unsigned(&codes[range]),
            Self::Float(codes) => Codes::Float(&codes[range]),
        }
    }

    /// Puts codes of its kind from `at` on.
    pub(crate) fn copy(&mut self, at: usize, from: Codes<'_>) {
        match (self, from) {
            (Self::Unsigned(to), Codes::Unsigned(from)) => {
                to[at..at + from.len()].copy_from_slice(from);
            }
            (Self::Float(to), Codes::Float(from)) => {
                to[at..at + from.len()].copy_from_slice(from);
            }
            _ => unreachable!("codes of one file are of one kind"),
        }
    }

    /// Puts codes of its kind from `at` on, the last first.
    pub(crate) fn copy_reversed(&mut self, at: usize, from: Codes<'_>) {
        self.copy(at, from);
        match self {
            Self::Unsigned(to) => to[at..at + from.len()].reverse(),
            Self::Float(to) => to[at..at + from.len()].reverse(),
        }
    }

    /// Puts codes of its kind, from the one with index `first` on, into one column
    /// of rows of `row` codes, as many as there are rows.
    pub(crate) fn copy_to_column(
        &mut self,
        column: usize,
        row: usize,
        from: Codes<'_>,
        first: usize,
    ) {
        match (self, from) {
            (Self::Unsigned(to), Codes::Unsigned(from)) => {
                for (to, from) in to.chunks_exact_mut(row).zip(&from[first..]) {
                    to[column] = *from;
                }
            }
            (Self::Float(to), Codes::Float(from)) => {
                for (to, from) in to.chunks_exact_mut(row).zip(&from[first..]) {
                    to[column] = *from;
                }
            }
            _ => unreachable!("codes of one file are of one kind"),
        }
    }
}

impl RowLayout {
    /// Tells whether samples come out as floats.
    pub(crate) fn spread(&self) -> bool {
        self.numbers.spread(self.bits)
    }

    /// Gives the bytes of one row.
    pub(crate) fn row_bytes(&self) -> usize {
        (self.columns * self.samples * usize::from(self.bits)).div_ceil(8)
    }

    /// Lays 16-bit numbers down as this layout reads them.
    pub(crate) fn bytes_of_words(&self, words: &[u16]) -> Vec<u8> {
        let of = if self.big_endian {
            u16::to_be_bytes
        } else {
            u16::to_le_bytes
        };
        words.iter().flat_map(|word| of(*word)).collect()
    }

    /// Undoes the predictor in place; the layout given back reads the result.
    pub(crate) fn undo_predictor(&self, bytes: &mut [u8]) -> Self {
        let row_bytes = self.row_bytes();
        match self.predictor {
            Predictor::None => {}
            Predictor::Horizontal => {
                for row in bytes.chunks_exact_mut(row_bytes) {
                    match (self.bits, self.big_endian) {
                        (8, _) => add_left_8(row, self.samples),
                        (16, false) => add_left_16::<false>(row, self.samples),
                        (16, true) => add_left_16::<true>(row, self.samples),
                        (32, big) => add_left_wide::<4>(row, self.samples, big),
                        (64, big) => add_left_wide::<8>(row, self.samples, big),
                        (bits, _) => {
                            unreachable!("predictor 2 at {bits} bits is refused on opening")
                        }
                    }
                }
            }
            Predictor::Float => {
                let mut copy = vec![0; row_bytes];
                for row in bytes.chunks_exact_mut(row_bytes) {
                    add_left_8(row, self.samples);
                    copy.copy_from_slice(row);
                    interleave(&copy, row, usize::from(self.bits / 8));
                }
                // The interleaved bytes have the high byte first in every file.
                return Self {
                    big_endian: true,
                    predictor: Predictor::None,
                    ..*self
                };
            }
        }
        Self {
            predictor: Predictor::None,
            ..*self
        }
    }

    /// Reads the picked code of every pixel of the rows in `bytes`.
    ///
    /// `out` has room for rows × `columns` codes.
    pub(crate) fn unpack(&self, bytes: &[u8], pick: Pick, out: &mut CodeBuffer) {
        let rows = bytes.chunks_exact(self.row_bytes());
        match out {
            CodeBuffer::Unsigned(codes) => {
                for (row, codes) in rows.zip(codes.chunks_exact_mut(self.columns)) {
                    self.unpack_unsigned(row, pick, codes);
                }
            }
            CodeBuffer::Float(codes) => {
                for (row, codes) in rows.zip(codes.chunks_exact_mut(self.columns)) {
                    self.unpack_float(row, pick, codes);
                }
            }
        }
    }

    fn unpack_unsigned(&self, row: &[u8], pick: Pick, codes: &mut [u16]) {
        let samples = self.samples;
        match (self.bits, self.big_endian) {
            (8, _) => {
                for (pixel, code) in row.chunks_exact(samples).zip(codes) {
                    *code = match pick {
                        Pick::One(sample) => u16::from(pixel[sample]),
                        Pick::MeanOfThree => mean_of_three([0, 1, 2].map(|s| u16::from(pixel[s]))),
                    };
                }
            }
            (16, false) => unpack_16(row, samples, pick, codes, u16::from_le_bytes),
            (16, true) => unpack_16(row, samples, pick, codes, u16::from_be_bytes),
            (bits, _) => {
                for (column, code) in codes.iter_mut().enumerate() {
                    let at =
                        |sample| packed(row, (column * samples + sample) * usize::from(bits), bits);
                    *code = match pick {
                        Pick::One(sample) => at(sample),
                        Pick::MeanOfThree => mean_of_three([0, 1, 2].map(at)),
                    };
                }
            }
        }
    }

    fn unpack_float(&self, row: &[u8], pick: Pick, codes: &mut [f32]) {
        let bytes = usize::from(self.bits / 8);
        for (pixel, code) in row.chunks_exact(bytes * self.samples).zip(codes) {
            let at = |sample: usize| {
                let raw = number(
                    &pixel[sample * bytes..(sample + 1) * bytes],
                    self.big_endian,
                );
                spread(raw, self.bits, self.numbers)
            };
            *code = match pick {
                Pick::One(sample) => at(sample),
                Pick::MeanOfThree => (at(0) + at(1) + at(2)) / 3.0,
            };
        }
    }
}

/// Gives the mean, rounded to the nearest code.
pub(crate) fn mean_of_three(codes: [u16; 3]) -> u16 {
    let sum: u32 = codes.iter().map(|c| u32::from(*c)).sum();
    u16::try_from((sum + 1) / 3).unwrap_or(u16::MAX)
}

fn unpack_16(row: &[u8], samples: usize, pick: Pick, codes: &mut [u16], read: fn([u8; 2]) -> u16) {
    let pixels = row.chunks_exact(2 * samples).zip(codes);
    match pick {
        Pick::One(sample) => {
            for (pixel, code) in pixels {
                *code = read([pixel[2 * sample], pixel[2 * sample + 1]]);
            }
        }
        Pick::MeanOfThree => {
            for (pixel, code) in pixels {
                *code = mean_of_three([0, 2, 4].map(|b| read([pixel[b], pixel[b + 1]])));
            }
        }
    }
}

/// Reads `bits` bits (at most 16) from a bit position, high bit first.
fn packed(row: &[u8], first_bit: usize, bits: u8) -> u16 {
    let byte = first_bit / 8;
    let window = [0, 1, 2].map(|i| row.get(byte + i).copied().unwrap_or(0));
    let window = u32::from_be_bytes([0, window[0], window[1], window[2]]);
    let shift = 24 - first_bit % 8 - usize::from(bits);
    u16::try_from((window >> shift) & ((1 << bits) - 1)).unwrap_or(u16::MAX)
}

/// Joins up to 8 bytes to a number.
fn number(bytes: &[u8], big_endian: bool) -> u64 {
    let join = |sum: u64, byte: &u8| sum << 8 | u64::from(*byte);
    if big_endian {
        bytes.iter().fold(0, join)
    } else {
        bytes.iter().rev().fold(0, join)
    }
}

/// Turns the bits of a sample into a float: a float as it is, a whole number
/// divided by the largest of its kind.
fn spread(raw: u64, bits: u8, numbers: Numbers) -> f32 {
    let unused = 64 - u32::from(bits);
    match (numbers, bits) {
        (Numbers::Float, 16) => small_float(raw, 5, 10),
        (Numbers::Float, 24) => small_float(raw, 7, 16),
        (Numbers::Float, 32) => f32::from_bits(raw as u32),
        (Numbers::Float, _) => f64::from_bits(raw) as f32,
        (Numbers::Signed, _) => {
            let value = ((raw << unused) as i64) >> unused;
            let largest = i64::MAX >> unused;
            (value as f64 / largest as f64) as f32
        }
        (Numbers::Unsigned, _) => (raw as f64 / (u64::MAX >> unused) as f64) as f32,
    }
}

/// Reads a float of one sign bit, `exponent` and `mantissa` bits.
///
/// Source: IEEE 754 for 5 and 10 bits; TIFF technical note 3 for 7 and 16, built alike.
fn small_float(raw: u64, exponent: u32, mantissa: u32) -> f32 {
    let sign = if raw >> (exponent + mantissa) & 1 == 1 {
        -1.0
    } else {
        1.0
    };
    let (exponent_max, bias) = ((1 << exponent) - 1, (1 << (exponent - 1)) - 1);
    let power = (raw >> mantissa & exponent_max) as i32;
    let part = (raw & ((1 << mantissa) - 1)) as f64 / f64::from(1_u32 << mantissa);
    let size = match power {
        0 => libm::ldexp(part, 1 - bias),
        _ if power as u64 == exponent_max && part == 0.0 => f64::INFINITY,
        _ if power as u64 == exponent_max => f64::NAN,
        _ => libm::ldexp(1.0 + part, power - bias),
    };
    (sign * size) as f32
}

fn add_left_8(row: &mut [u8], samples: usize) {
    for i in samples..row.len() {
        row[i] = row[i].wrapping_add(row[i - samples]);
    }
}

fn add_left_16<const BIG: bool>(row: &mut [u8], samples: usize) {
    let read = if BIG {
        u16::from_be_bytes
    } else {
        u16::from_le_bytes
    };
    let write = if BIG {
        u16::to_be_bytes
    } else {
        u16::to_le_bytes
    };
    for i in (2 * samples..row.len().saturating_sub(1)).step_by(2) {
        let left = read([row[i - 2 * samples], row[i - 2 * samples + 1]]);
        let sum = write(read([row[i], row[i + 1]]).wrapping_add(left));
        row[i..i + 2].copy_from_slice(&sum);
    }
}

fn add_left_wide<const BYTES: usize>(row: &mut [u8], samples: usize, big_endian: bool) {
    for i in (BYTES * samples..(row.len() + 1).saturating_sub(BYTES)).step_by(BYTES) {
        let here = number(&row[i..i + BYTES], big_endian);
        let left = i - BYTES * samples;
        let sum = here.wrapping_add(number(&row[left..left + BYTES], big_endian));
        let bytes = &mut row[i..i + BYTES];
        if big_endian {
            bytes.copy_from_slice(&sum.to_be_bytes()[8 - BYTES..]);
        } else {
            bytes.copy_from_slice(&sum.to_le_bytes()[..BYTES]);
        }
    }
}

/// Joins byte planes (all high bytes first) to samples with the high byte first.
fn interleave(planes: &[u8], row: &mut [u8], bytes: usize) {
    let samples = row.len() / bytes;
    for (index, sample) in row.chunks_exact_mut(bytes).enumerate() {
        for (plane, byte) in sample.iter_mut().enumerate() {
            *byte = planes[plane * samples + index];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twelve_bits_are_read_from_the_high_end() {
        // Hand packing: 0xABC, 0xDEF as 12 bits each are the bytes AB CD EF.
        assert_eq!(packed(&[0xAB, 0xCD, 0xEF], 0, 12), 0xABC);
        assert_eq!(packed(&[0xAB, 0xCD, 0xEF], 12, 12), 0xDEF);
        // 14 bits of all ones after 2 bits of zero.
        assert_eq!(packed(&[0x3F, 0xFF], 2, 14), 0x3FFF);
        assert_eq!(packed(&[0x12], 4, 4), 2);
    }

    #[test]
    fn small_floats_are_those_of_the_standard() {
        // Source: IEEE 754-2008, binary16: 0x3C00 is 1, 0x3555 the nearest to 1/3
        // (0.33325195), 0x0001 is 2^-24, 0x7BFF is 65504, 0xC000 is -2.
        for (bits, value) in [
            (0x3C00, 1.0),
            (0x3555, 0.333_251_95),
            (0x0001, 5.960_464_5e-8),
            (0x7BFF, 65504.0),
            (0xC000, -2.0),
        ] {
            assert_eq!(spread(bits, 16, Numbers::Float), value, "{bits:04x}");
        }
        assert!(spread(0x7C01, 16, Numbers::Float).is_nan());
        // Bias 63: 0x3F0000 is 1, 0x3E8000 is 0.75.
        assert_eq!(spread(0x3F_0000, 24, Numbers::Float), 1.0);
        assert_eq!(spread(0x3E_8000, 24, Numbers::Float), 0.75);
    }

    #[test]
    fn wide_and_signed_numbers_are_shares_of_their_largest() {
        assert_eq!(spread(u64::MAX, 64, Numbers::Unsigned), 1.0);
        assert_eq!(spread(1 << 31, 32, Numbers::Unsigned), 0.5);
        assert_eq!(spread(0x7FFF, 16, Numbers::Signed), 1.0);
        // -5000 of 32767.
        assert_eq!(spread(0xEC78, 16, Numbers::Signed), -5000.0 / 32767.0);
        assert_eq!(spread(0x80, 8, Numbers::Signed), -128.0 / 127.0);
    }

    #[test]
    fn mean_is_rounded_to_the_nearest_code() {
        assert_eq!(mean_of_three([1, 1, 2]), 1);
        assert_eq!(mean_of_three([1, 2, 2]), 2);
        assert_eq!(mean_of_three([65535, 65535, 65535]), 65535);
    }
}
