//! Lossless JPEG data, as camera raw frames hold it: every number comes back.
//!
//! Only what DNG allows: Huffman codes, one scan of all components, 2 to 16
//! bits, predictors 1 to 7. How the numbers lie in rows of the picture is the
//! caller's matter: a DNG often codes two columns of a mosaic as two components.
//!
//! Source: ITU-T Recommendation T.81 (1992), annexes B (markers), F.2 (Huffman
//! codes) and H (lossless mode), from memory.

use std::borrow::Cow;

/// Components of a frame; DNG uses 1 to 4.
const MOST_COMPONENTS: usize = 4;
/// Bits that one look at a table decodes.
const LOOK_BITS: usize = 9;

type Fault = Cow<'static, str>;

/// What the frame header says.
struct Frame {
    bits: u8,
    width: usize,
    height: usize,
    /// Identifiers, in order.
    components: Vec<u8>,
}

/// Decodes one picture to its numbers, row by row, components side by side.
///
/// No more than `most` numbers are made: a frame that claims more is refused
/// before any is.
pub(crate) fn decode(data: &[u8], most: usize) -> Result<Vec<u16>, Fault> {
    let mut segments = Segments { data, at: 0 };
    if segments.marker()? != 0xD8 {
        return Err("it does not begin as JPEG data".into());
    }
    let mut frame: Option<Frame> = None;
    let mut tables: [Option<Table>; 4] = [None, None, None, None];
    let mut restart = 0_usize;
    loop {
        let marker = segments.marker()?;
        let body = segments.body()?;
        match marker {
            0xC3 => frame = Some(frame_of(body, most)?),
            0xC4 => read_tables(body, &mut tables)?,
            0xDD => restart = usize::from(word(body, 0)?),
            0xDA => {
                let frame = frame.ok_or("its numbers begin before its frame is described")?;
                let scan = scan_of(body, &frame, &tables, restart)?;
                return scan.numbers(&frame, &data[segments.at..]);
            }
            0xC0..=0xC2 | 0xC5..=0xC7 | 0xC9..=0xCF => {
                return Err(
                    "it is JPEG data of another kind than lossless with Huffman codes".into(),
                );
            }
            0xD9 => return Err("it ends before its numbers begin".into()),
            _ => {}
        }
    }
}

/// Walks over markers and what belongs to them.
struct Segments<'a> {
    data: &'a [u8],
    at: usize,
}

impl<'a> Segments<'a> {
    fn marker(&mut self) -> Result<u8, Fault> {
        if self.data.get(self.at) != Some(&0xFF) {
            return Err("a marker is missing between its parts".into());
        }
        // Any number of fill bytes may stand before a marker.
        while self.data.get(self.at) == Some(&0xFF) {
            self.at += 1;
        }
        let marker = *self.data.get(self.at).ok_or("it ends within a marker")?;
        self.at += 1;
        Ok(marker)
    }

    fn body(&mut self) -> Result<&'a [u8], Fault> {
        let length = usize::from(word(self.data, self.at)?);
        let body = self
            .data
            .get(self.at + 2..(self.at + length).max(self.at + 2))
            .filter(|_| length >= 2)
            .ok_or("a part of it is longer than the data")?;
        self.at += length;
        Ok(body)
    }
}

fn word(bytes: &[u8], at: usize) -> Result<u16, Fault> {
    match bytes.get(at..at + 2) {
        Some([high, low]) => Ok(u16::from_be_bytes([*high, *low])),
        _ => Err("a part of it is cut short".into()),
    }
}

fn frame_of(body: &[u8], most: usize) -> Result<Frame, Fault> {
    let (height, width) = (usize::from(word(body, 1)?), usize::from(word(body, 3)?));
    let (bits, count) = match *body {
        [bits, _, _, _, _, count, ..] => (bits, usize::from(count)),
        _ => return Err("its frame header is cut short".into()),
    };
    if !(2..=16).contains(&bits) || !(1..=MOST_COMPONENTS).contains(&count) {
        return Err(format!(
            "a frame of {count} components of {bits} bits; 1 to 4 of 2 to 16 bits are read"
        )
        .into());
    }
    let named = body
        .get(6..6 + 3 * count)
        .ok_or("its frame header is cut short")?;
    if named.chunks_exact(3).any(|c| c[1] != 0x11) {
        return Err("its components are sampled differently".into());
    }
    let numbers = width.saturating_mul(height).saturating_mul(count);
    if numbers == 0 || numbers > most {
        return Err(format!(
            "a frame of {width} × {height} pixels of {count} components, at most {most} numbers were promised"
        )
        .into());
    }
    Ok(Frame {
        bits,
        width,
        height,
        components: named.chunks_exact(3).map(|c| c[0]).collect(),
    })
}

/// One Huffman table: numbers of bits by code.
struct Table {
    /// Length of the code and its symbol, by the next bits; 0 for a longer code.
    look: Vec<(u8, u8)>,
    /// For each length: first code, number of codes, first symbol's place.
    lengths: [(u32, u32, usize); 17],
    symbols: Vec<u8>,
}

fn read_tables(mut body: &[u8], tables: &mut [Option<Table>; 4]) -> Result<(), Fault> {
    while let Some((head, rest)) = body.split_first() {
        let (Some(counts), Some(slot)) = (rest.get(..16), tables.get_mut(usize::from(*head)))
        else {
            return Err("a table of codes is cut short or of another kind".into());
        };
        let total: usize = counts.iter().map(|c| usize::from(*c)).sum();
        let symbols = rest
            .get(16..16 + total)
            .ok_or("a table of codes is cut short")?;
        *slot = Some(table_of(counts, symbols)?);
        body = &rest[16 + total..];
    }
    Ok(())
}

fn table_of(counts: &[u8], symbols: &[u8]) -> Result<Table, Fault> {
    if symbols.is_empty() || symbols.iter().any(|s| *s > 16) {
        return Err("a table of codes names differences beyond 16 bits, or none".into());
    }
    let mut lengths = [(0, 0, 0); 17];
    let mut look = vec![(0, 0); 1 << LOOK_BITS];
    let (mut code, mut place) = (0_u32, 0_usize);
    for (length, count) in (1..).zip(counts) {
        let count = u32::from(*count);
        if code + count > 1 << length {
            return Err("a table of codes has more codes than its lengths hold".into());
        }
        lengths[length] = (code, count, place);
        if length <= LOOK_BITS {
            for (code, symbol) in (code..code + count).zip(&symbols[place..]) {
                let first = (code as usize) << (LOOK_BITS - length);
                let entries = &mut look[first..first + (1 << (LOOK_BITS - length))];
                entries.fill((length as u8, *symbol));
            }
        }
        place += count as usize;
        code = (code + count) << 1;
    }
    Ok(Table {
        look,
        lengths,
        symbols: symbols.to_vec(),
    })
}

/// The scan header, with each component's table.
struct Scan<'a> {
    tables: Vec<&'a Table>,
    predictor: u8,
    shift: u8,
    /// Rows after which prediction begins anew; 0 for never.
    restart_rows: usize,
}

fn scan_of<'a>(
    body: &[u8],
    frame: &Frame,
    tables: &'a [Option<Table>; 4],
    restart: usize,
) -> Result<Scan<'a>, Fault> {
    let count = frame.components.len();
    let (Some(named), Some(&[predictor, _, low])) = (
        body.get(1..1 + 2 * count),
        body.get(1 + 2 * count..).and_then(|r| r.first_chunk::<3>()),
    ) else {
        return Err("its scan header is cut short".into());
    };
    let (high, shift) = (low >> 4, low & 15);
    if usize::from(body[0]) != count
        || !(1..=7).contains(&predictor)
        || high != 0
        || shift >= frame.bits
    {
        return Err(format!(
            "a scan of {} components by predictor {predictor}; all {count} in one scan by predictor 1 to 7 are read",
            body[0]
        )
        .into());
    }
    let mut found = Vec::with_capacity(count);
    for (pair, component) in named.chunks_exact(2).zip(&frame.components) {
        let table = tables
            .get(usize::from(pair[1] >> 4))
            .and_then(Option::as_ref);
        match table {
            Some(table) if pair[0] == *component => found.push(table),
            _ => return Err("its scan names a table or component that is not there".into()),
        }
    }
    if !restart.is_multiple_of(frame.width) {
        return Err("prediction begins anew within a row; only at rows is read".into());
    }
    Ok(Scan {
        tables: found,
        predictor,
        shift,
        restart_rows: restart / frame.width,
    })
}

impl Scan<'_> {
    fn numbers(&self, frame: &Frame, data: &[u8]) -> Result<Vec<u16>, Fault> {
        let components = frame.components.len();
        let row_numbers = frame.width * components;
        let mut numbers = vec![0_u16; row_numbers * frame.height];
        let mut bits = Bits::new(data);
        let first = 1_u16 << (frame.bits - self.shift - 1);
        for y in 0..frame.height {
            let fresh = y == 0 || (self.restart_rows > 0 && y % self.restart_rows == 0);
            if fresh && y > 0 {
                bits.restart()?;
            }
            let (above, row) = numbers[..(y + 1) * row_numbers].split_at_mut(y * row_numbers);
            let above = &above[above.len().saturating_sub(row_numbers)..];
            for i in 0..row_numbers {
                let difference = bits.difference(self.tables[i % components])?;
                let guess = match (i < components, fresh) {
                    (true, true) => first,
                    (true, false) => above[i],
                    (false, true) => row[i - components],
                    (false, false) => {
                        self.guess(row[i - components], above[i], above[i - components])
                    }
                };
                row[i] = guess.wrapping_add(difference);
            }
        }
        if self.shift > 0 {
            for number in &mut numbers {
                *number <<= self.shift;
            }
        }
        Ok(numbers)
    }

    /// The number expected from the left, above, and above left: table H.1.
    fn guess(&self, left: u16, above: u16, corner: u16) -> u16 {
        let (a, b, c) = (i32::from(left), i32::from(above), i32::from(corner));
        let guess = match self.predictor {
            1 => a,
            2 => b,
            3 => c,
            4 => a + b - c,
            5 => a + ((b - c) >> 1),
            6 => b + ((a - c) >> 1),
            _ => (a + b) >> 1,
        };
        guess as u16
    }
}

/// The coded bits, high bit first; a zero after 0xFF is no data.
struct Bits<'a> {
    data: &'a [u8],
    at: usize,
    held: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    fn new(data: &'a [u8]) -> Self {
        Self {
            data,
            at: 0,
            held: 0,
            count: 0,
        }
    }

    /// Holds at least 32 bits, or all there are before the next marker.
    fn fill(&mut self) {
        while self.count <= 56 {
            let byte = match (self.data.get(self.at), self.data.get(self.at + 1)) {
                (Some(0xFF), Some(0)) => {
                    self.at += 1;
                    0xFF
                }
                (Some(0xFF) | None, _) => return,
                (Some(byte), _) => *byte,
            };
            self.at += 1;
            self.held = self.held << 8 | u64::from(byte);
            self.count += 8;
        }
    }

    /// Shows the next bits; beyond the end they are zero.
    fn peek(&self, bits: u32) -> u32 {
        let mask = (1_u64 << bits) - 1;
        let shown = if self.count >= bits {
            self.held >> (self.count - bits)
        } else {
            self.held << (bits - self.count)
        };
        (shown & mask) as u32
    }

    fn skip(&mut self, bits: u32) -> Result<(), Fault> {
        self.count = self
            .count
            .checked_sub(bits)
            .ok_or("the coded numbers end early")?;
        Ok(())
    }

    /// The next difference: its number of bits by the table, then the bits.
    fn difference(&mut self, table: &Table) -> Result<u16, Fault> {
        if self.count < 32 {
            self.fill();
        }
        let (length, symbol) = match table.look[self.peek(LOOK_BITS as u32) as usize] {
            (0, _) => self.long_code(table)?,
            found => found,
        };
        self.skip(u32::from(length))?;
        let bits = u32::from(symbol);
        if bits == 0 {
            return Ok(0);
        }
        if bits == 16 {
            // 32768 stands alone.
            return Ok(32768);
        }
        let value = self.peek(bits);
        self.skip(bits)?;
        // A first bit of 0 says less than none: 2^(bits − 1) … from −(2^bits − 1).
        let value = if value >> (bits - 1) == 0 {
            value.wrapping_sub((1 << bits) - 1)
        } else {
            value
        };
        Ok(value as u16)
    }

    fn long_code(&self, table: &Table) -> Result<(u8, u8), Fault> {
        for length in LOOK_BITS + 1..=16 {
            let (first, count, place) = table.lengths[length];
            let code = self.peek(length as u32);
            if (first..first + count).contains(&code) {
                let symbol = table.symbols[place + (code - first) as usize];
                return Ok((length as u8, symbol));
            }
        }
        Err("a code that its table doesn't have".into())
    }

    /// Leaves the bits of the last interval and steps over the marker.
    fn restart(&mut self) -> Result<(), Fault> {
        self.held = 0;
        self.count = 0;
        match self.data.get(self.at..self.at + 2) {
            Some([0xFF, 0xD0..=0xD7]) => {
                self.at += 2;
                Ok(())
            }
            _ => Err("the marker between two intervals is missing".into()),
        }
    }
}
