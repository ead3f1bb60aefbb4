//! Decoded chunk bytes to code values: predictors, byte order, packed bits.
//!
//! Source: TIFF 6.0 section 14 (differencing predictor); TIFF technical note 3
//! (floating-point predictor). Bits that do not fill bytes are packed from the
//! most significant bit, each row starting on a byte, whatever the byte order.

/// How the samples of a chunk's rows are laid down.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RowLayout {
    /// Bits of a sample.
    pub(crate) bits: u8,
    /// Whether samples are floats.
    pub(crate) float: bool,
    /// Whether multi-byte samples have their high byte first.
    pub(crate) big_endian: bool,
    /// Samples of one pixel in this chunk.
    pub(crate) samples: usize,
    /// Pixels of one row of the chunk.
    pub(crate) columns: usize,
    /// Predictor to undo.
    pub(crate) predictor: Predictor,
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
}

impl RowLayout {
    /// Gives the bytes of one row.
    pub(crate) fn row_bytes(&self) -> usize {
        (self.columns * self.samples * usize::from(self.bits)).div_ceil(8)
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
                        (32, big) => add_left_32(row, self.samples, big),
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
                float(
                    &pixel[sample * bytes..(sample + 1) * bytes],
                    self.big_endian,
                )
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

fn float(bytes: &[u8], big_endian: bool) -> f32 {
    match *bytes {
        [a, b, c, d] if big_endian => f32::from_be_bytes([a, b, c, d]),
        [a, b, c, d] => f32::from_le_bytes([a, b, c, d]),
        [a, b, c, d, e, f, g, h] if big_endian => {
            f64::from_be_bytes([a, b, c, d, e, f, g, h]) as f32
        }
        [a, b, c, d, e, f, g, h] => f64::from_le_bytes([a, b, c, d, e, f, g, h]) as f32,
        _ => unreachable!("float samples have 4 or 8 bytes, other sizes are refused on opening"),
    }
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

fn add_left_32(row: &mut [u8], samples: usize, big_endian: bool) {
    let read = |b: &[u8]| {
        let b = [b[0], b[1], b[2], b[3]];
        if big_endian {
            u32::from_be_bytes(b)
        } else {
            u32::from_le_bytes(b)
        }
    };
    for i in (4 * samples..row.len().saturating_sub(3)).step_by(4) {
        let sum = read(&row[i..]).wrapping_add(read(&row[i - 4 * samples..]));
        let bytes = if big_endian {
            sum.to_be_bytes()
        } else {
            sum.to_le_bytes()
        };
        row[i..i + 4].copy_from_slice(&bytes);
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
    fn mean_is_rounded_to_the_nearest_code() {
        assert_eq!(mean_of_three([1, 1, 2]), 1);
        assert_eq!(mean_of_three([1, 2, 2]), 2);
        assert_eq!(mean_of_three([65535, 65535, 65535]), 65535);
    }
}
