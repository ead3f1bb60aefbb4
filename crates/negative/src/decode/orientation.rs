//! Pictures that ask to be turned or mirrored, and how their rows come upright.
//!
//! Rows that only change direction are turned one by one. Any other turn needs
//! many rows at once: they are kept in a band of bounded size, and a picture
//! larger than the band is decoded again for each further one.
//!
//! Source: TIFF 6.0, section 8, tag Orientation (274); Exif uses the same numbers.

use super::error::DecodeError;
use super::info::Codes;
use super::unpack::CodeBuffer;

/// Where row 0 and column 0 of the stored picture belong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Orientation(u8);

impl Orientation {
    pub(crate) const UPRIGHT: Self = Self(1);

    /// Takes the number of the tag; 0 is written by some programs for "not said".
    pub(crate) fn from_number(number: u64) -> Option<Self> {
        match number {
            0 => Some(Self::UPRIGHT),
            1..=8 => Some(Self(number as u8)),
            _ => None,
        }
    }

    /// Tells whether stored rows become columns.
    pub(crate) fn swaps_sides(self) -> bool {
        self.0 >= 5
    }

    /// Says what was done to the picture; `None` when nothing was.
    pub(crate) fn remark(self) -> Option<String> {
        let done = match self.0 {
            2 => "mirrored left to right",
            3 => "turned by 180°",
            4 => "mirrored top to bottom",
            5 => "mirrored along the diagonal from the top left corner",
            6 => "turned by 90° clockwise",
            7 => "mirrored along the diagonal from the top right corner",
            8 => "turned by 90° anticlockwise",
            _ => return None,
        };
        Some(format!(
            "the picture was {done}, as the file's orientation {} asks; pixels are counted in the upright picture",
            self.0
        ))
    }

    /// Says that a camera's raw frame was not turned: its colours go by row and
    /// column of the sensor.
    pub(crate) fn left_as_it_is(number: u64) -> String {
        format!(
            "the frame asks to be turned (orientation {number}), but is read as the sensor gives it; pixels are counted there"
        )
    }

    /// Tells whether the upright rows run against the stored ones: right to left
    /// when sides stay, bottom up when they swap.
    fn reverses_along(self) -> bool {
        matches!(self.0, 2 | 3 | 6 | 7)
    }

    /// Tells whether the upright picture begins with the last stored row, or, when
    /// sides swap, with the last stored column.
    fn begins_at_end(self) -> bool {
        matches!(self.0, 3 | 4 | 7 | 8)
    }
}

/// A walk over stored rows, from the first; can be asked for more than once.
type Walk<'a> = dyn FnMut(&mut dyn FnMut(u32, Codes<'_>)) -> Result<(), DecodeError> + 'a;

/// Hands the rows of the upright picture to `visit`, from the top.
///
/// `width` and `height` are those of the stored picture; at most about
/// `most_bytes` of codes are kept.
pub(crate) fn walk_upright(
    orientation: Orientation,
    (width, height): (u32, u32),
    spread: bool,
    most_bytes: u64,
    walk: &mut Walk<'_>,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    match orientation.0 {
        0 | 1 => walk(visit),
        2 => {
            let mut row = CodeBuffer::with_len(spread, width as usize);
            walk(&mut |y, codes| {
                row.copy_reversed(0, codes);
                visit(y, row.codes(0..width as usize));
            })
        }
        _ => {
            let (across, along) = if orientation.swaps_sides() {
                (width, height)
            } else {
                (height, width)
            };
            let code_bytes = if spread { 4 } else { 2 };
            let lines = (most_bytes / (u64::from(along) * code_bytes)).clamp(1, u64::from(across));
            let mut first = 0;
            while first < across {
                // `lines` is at most `across`, a u32.
                let count = (across - first).min(lines as u32);
                let start = if orientation.begins_at_end() {
                    across - first - count
                } else {
                    first
                };
                let band = band(
                    orientation,
                    (width, height),
                    spread,
                    start..start + count,
                    walk,
                )?;
                for i in 0..count {
                    let line = if orientation.begins_at_end() {
                        count - 1 - i
                    } else {
                        i
                    } as usize;
                    let along = along as usize;
                    visit(first + i, band.codes(line * along..(line + 1) * along));
                }
                first += count;
            }
            Ok(())
        }
    }
}

/// Collects the stored rows, or columns, of a range as upright rows.
fn band(
    orientation: Orientation,
    (width, height): (u32, u32),
    spread: bool,
    range: core::ops::Range<u32>,
    walk: &mut Walk<'_>,
) -> Result<CodeBuffer, DecodeError> {
    let count = range.len();
    if orientation.swaps_sides() {
        let mut band = CodeBuffer::with_len(spread, count * height as usize);
        walk(&mut |y, codes| {
            let place = if orientation.reverses_along() {
                height - 1 - y
            } else {
                y
            };
            band.copy_to_column(place as usize, height as usize, codes, range.start as usize);
        })?;
        return Ok(band);
    }
    let row = width as usize;
    let mut band = CodeBuffer::with_len(spread, count * row);
    walk(&mut |y, codes| {
        if !range.contains(&y) {
            return;
        }
        let at = (y - range.start) as usize * row;
        if orientation.reverses_along() {
            band.copy_reversed(at, codes);
        } else {
            band.copy(at, codes);
        }
    })?;
    Ok(band)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stored picture of 3 × 2, written as its rows.
    const STORED: [[u16; 3]; 2] = [[1, 2, 3], [4, 5, 6]];

    fn upright(number: u64, most_bytes: u64) -> (Vec<Vec<u16>>, u32) {
        let mut rows = vec![];
        let mut walks = 0;
        walk_upright(
            Orientation::from_number(number).unwrap_or(Orientation::UPRIGHT),
            (3, 2),
            false,
            most_bytes,
            &mut |visit| {
                walks += 1;
                for (y, row) in (0..).zip(&STORED) {
                    visit(y, Codes::Unsigned(row));
                }
                Ok(())
            },
            &mut |y, codes| {
                assert_eq!(y as usize, rows.len());
                match codes {
                    Codes::Unsigned(codes) => rows.push(codes.to_vec()),
                    Codes::Float(_) => unreachable!("the stored codes are whole numbers"),
                }
            },
        )
        .unwrap_or_else(|e| unreachable!("the walk cannot fail: {e}"));
        (rows, walks)
    }

    #[test]
    fn every_orientation_puts_row_and_column_0_where_the_standard_says() {
        // Source: TIFF 6.0, tag 274: "the 0th row is the visual ..., the 0th column is
        // the visual ...": top/left, top/right, bottom/right, bottom/left, left/top,
        // right/top, right/bottom, left/bottom. Drawn by hand from that.
        let drawn: [(u64, &[&[u16]]); 9] = [
            (0, &[&[1, 2, 3], &[4, 5, 6]]),
            (1, &[&[1, 2, 3], &[4, 5, 6]]),
            (2, &[&[3, 2, 1], &[6, 5, 4]]),
            (3, &[&[6, 5, 4], &[3, 2, 1]]),
            (4, &[&[4, 5, 6], &[1, 2, 3]]),
            (5, &[&[1, 4], &[2, 5], &[3, 6]]),
            (6, &[&[4, 1], &[5, 2], &[6, 3]]),
            (7, &[&[6, 3], &[5, 2], &[4, 1]]),
            (8, &[&[3, 6], &[2, 5], &[1, 4]]),
        ];
        for (number, rows) in drawn {
            for most_bytes in [1, 5, 10, 1000] {
                let (upright, walks) = upright(number, most_bytes);
                assert_eq!(upright, rows, "orientation {number} in {most_bytes} bytes");
                if most_bytes == 1000 {
                    assert_eq!(walks, 1);
                }
            }
        }
        assert_eq!(Orientation::from_number(9), None);
    }
}
