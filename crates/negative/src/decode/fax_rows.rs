//! Fax codes (CCITT groups 3 and 4) to rows of one bit a pixel; 1 is black.
//!
//! Run lengths and modes are looked up with the tables of the `fax` crate; lines
//! are put together here, for any width, with every limit of the picture held.
//!
//! Source: ITU-T T.4 (group 3, one and two dimensions) and T.6 (group 4); TIFF
//! 6.0, section 11 (what TIFF stores of them).

use fax::maps::{Mode, black, mode, white};
use fax::{BitReader, ByteReader};

/// Which of the codes a chunk is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FaxCode {
    /// Runs only, each row begins with a byte (TIFF compression 2).
    Runs,
    /// Group 3 of one dimension.
    Group3,
    /// Group 3 of two dimensions.
    Group3TwoDimensions,
    /// Group 4.
    Group4,
}

/// Decodes rows into `out`, `row_bytes` each; on a fault says how many were good.
pub(crate) fn decode(
    code: FaxCode,
    data: &[u8],
    width: usize,
    row_bytes: usize,
    out: &mut [u8],
) -> Result<(), (usize, &'static str)> {
    // The tables look ahead further than the last code goes; zeros stand for no code.
    let padded = data.iter().copied().chain([0; 2]);
    let Ok(mut bits) = ByteReader::new(padded.map(Ok::<u8, core::convert::Infallible>));
    let mut changes: Vec<usize> = Vec::new();
    let mut above: Vec<usize> = Vec::new();
    for (y, row) in out.chunks_exact_mut(row_bytes).enumerate() {
        changes.clear();
        let two_dimensions = match code {
            FaxCode::Runs => {
                // Consuming bits of a slice cannot fail.
                let _ = bits.consume(bits.bits_to_byte_boundary());
                false
            }
            FaxCode::Group3 => {
                skip_end_of_line(&mut bits);
                false
            }
            FaxCode::Group3TwoDimensions => {
                skip_end_of_line(&mut bits);
                let one_dimension = bits.peek(1) == Some(1);
                let _ = bits.consume(1);
                !one_dimension
            }
            FaxCode::Group4 => true,
        };
        let read = if two_dimensions {
            line_below(&mut bits, width, &above, &mut changes)
        } else {
            line_of_runs(&mut bits, width, &mut changes)
        };
        read.map_err(|fault| (y, fault))?;
        draw(&changes, width, row);
        core::mem::swap(&mut changes, &mut above);
    }
    Ok(())
}

/// Passes over an end-of-line code and the zeros that fill up before it: no other
/// code begins with eleven zeros.
fn skip_end_of_line(bits: &mut impl BitReader) {
    if bits.peek(11) != Some(0) {
        return;
    }
    while bits.peek(1) == Some(0) {
        let _ = bits.consume(1);
    }
    let _ = bits.consume(1);
}

/// Reads a run: codes of 64 and more go on, one of less than 64 ends it.
fn run(bits: &mut impl BitReader, white_run: bool, most: usize) -> Result<usize, &'static str> {
    let mut sum = 0;
    loop {
        let code = if white_run {
            white::decode(bits)
        } else {
            black::decode(bits)
        };
        let length = usize::from(code.ok_or("fax code that stands for no run")?);
        sum += length;
        if sum > most {
            return Err("fax run beyond the end of its row");
        }
        if length < 64 {
            return Ok(sum);
        }
    }
}

/// Adds a change of colour; one at the place of the last takes it back.
fn change(changes: &mut Vec<usize>, at: usize, width: usize) {
    if changes.last() == Some(&at) {
        changes.pop();
    } else if at < width {
        changes.push(at);
    }
}

fn line_of_runs(
    bits: &mut impl BitReader,
    width: usize,
    changes: &mut Vec<usize>,
) -> Result<(), &'static str> {
    let (mut at, mut is_white) = (0, true);
    while at < width {
        at += run(bits, is_white, width - at)?;
        change(changes, at, width);
        is_white = !is_white;
    }
    Ok(())
}

/// Reads a line that is told by its difference from the one above.
fn line_below(
    bits: &mut impl BitReader,
    width: usize,
    above: &[usize],
    changes: &mut Vec<usize>,
) -> Result<(), &'static str> {
    // a0, a1, b1, b2 are T.6's names; a0 begins before the first pixel.
    let (mut a0, mut is_white) = (0, true);
    let mut begun = false;
    while a0 < width {
        let first = above.partition_point(|b| if begun { *b <= a0 } else { *b < a0 });
        // Even changes of the line above are from white to black.
        let b1_index = first + usize::from((first % 2 == 0) != is_white);
        let b = |index: usize| above.get(index).copied().unwrap_or(width);
        let b1 = b(b1_index);
        match mode::decode(bits).ok_or("fax code that stands for no mode")? {
            Mode::Pass => a0 = b(b1_index + 1),
            Mode::Horizontal => {
                for _ in 0..2 {
                    a0 += run(bits, is_white, width - a0)?;
                    change(changes, a0, width);
                    is_white = !is_white;
                }
            }
            Mode::Vertical(offset) => {
                let a1 = b1
                    .checked_add_signed(isize::from(offset))
                    .filter(|a1| *a1 >= a0 && *a1 <= width)
                    .ok_or("fax change of colour outside its row")?;
                change(changes, a1, width);
                is_white = !is_white;
                a0 = a1;
            }
            Mode::Extension => return Err("fax data holds an extension, which is not read"),
            Mode::EOF => return Err("fax data ends too early"),
        }
        begun = true;
    }
    Ok(())
}

/// Sets the bits of the black runs of a row.
fn draw(changes: &[usize], width: usize, row: &mut [u8]) {
    row.fill(0);
    for pair in changes.chunks(2) {
        let (from, to) = (pair[0], pair.get(1).copied().unwrap_or(width));
        if from >= to {
            continue;
        }
        // Bits of the first byte from `from` on, and of the last up to `to`.
        let (first, last) = (from / 8, (to - 1) / 8);
        let head = 0xFF >> (from % 8);
        let tail = 0xFF << (7 - (to - 1) % 8);
        if first == last {
            row[first] |= head & tail;
        } else {
            row[first] |= head;
            row[first + 1..last].fill(0xFF);
            row[last] |= tail;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(bits: &str) -> Vec<u8> {
        let bits: Vec<u8> = bits
            .bytes()
            .filter(|b| *b != b' ')
            .map(|b| b - b'0')
            .collect();
        bits.chunks(8)
            .map(|c| (0..8).fold(0, |sum, i| sum << 1 | c.get(i).copied().unwrap_or(0)))
            .collect()
    }

    #[test]
    fn lines_written_by_hand_are_drawn() {
        // Source: ITU-T T.4, tables 2/T.4: white 4 is 1011, white 2 is 0111, white 0
        // is 00110101, black 2 is 11, black 3 is 10; table 4/T.4: V0 is 1, VR1 011,
        // VL1 010, horizontal 001, pass 0001. Eight pixels: 4 white, 2 black, 2 white.
        let runs = bytes("1011 11 0111");
        let mut row = [0; 1];
        assert_eq!(decode(FaxCode::Runs, &runs, 8, 1, &mut row), Ok(()));
        assert_eq!(row, [0b0000_1100]);
        // Two rows of group 3, each after an end of line; the second begins black.
        let lines = bytes("000000000001 1011 11 0111 0000 000000000001 00110101 10 1011 010");
        let mut rows = [0; 2];
        let second = decode(FaxCode::Group3, &lines, 8, 1, &mut rows);
        // White 4 and then 010, black 1, fill the row.
        assert_eq!((second, rows), (Ok(()), [0b0000_1100, 0b1110_0001]));
        // Group 4: horizontal 4 and 2, then V0 to the end; below, VL1 and VR1, then V0
        // to the end; below, all passed over and white.
        let lines = bytes("001 1011 11 1  010 011 1  0001 1");
        let mut rows = [0xFF; 3];
        assert_eq!(decode(FaxCode::Group4, &lines, 8, 1, &mut rows), Ok(()));
        assert_eq!(rows, [0b0000_1100, 0b0001_1110, 0]);
    }

    #[test]
    fn runs_of_any_length_and_place_are_drawn() {
        for width in 1..40 {
            for from in 0..width {
                for to in from..=width {
                    let mut row = [0xAA; 5];
                    draw(&[from, to], width, &mut row);
                    for x in 0..40 {
                        let black = row[x / 8] & (0x80 >> (x % 8)) != 0;
                        assert_eq!(black, (from..to).contains(&x), "{from}..{to} at {x}");
                    }
                }
            }
        }
    }

    #[test]
    fn data_that_stops_says_after_which_row() {
        let lines = bytes("001 1011 11 1 000000000001000000000001");
        let stopped = decode(FaxCode::Group4, &lines, 8, 1, &mut [0; 3]);
        assert!(matches!(stopped, Err((1, _))), "{stopped:?}");
        let long = bytes("11011 0111");
        assert!(
            decode(FaxCode::Runs, &long, 8, 1, &mut [0]).is_err(),
            "64 of 8 pixels"
        );
    }
}
