//! A scan as a pyramid of tiles, for looking at it at any size.
//!
//! Rows come in from the one pass over a scan, square tiles of 16-bit codes go
//! out. Level 0 is the scan as stored; each further level has half the pixels
//! along each side, until the whole picture fits in one tile. A pixel of a
//! reduced level is the mean of up to four below it, taken as light, so that an
//! edge keeps its brightness; where the tone is unknown it is the mean of codes.
//! Codes of all levels stand on one scale, so that one table turns any of them
//! into densities.
//!
//! Memory: one row of tiles for each level, about four times the bytes of
//! [`TILE_SIDE`] rows at most, whatever the height of the scan.
//!
//! Begin with [`TileLayout`], which says where everything is; [`TilePass`] makes
//! the tiles. Storing them is the caller's business.

use crate::decode::{ChannelChoice, Codes, ScanInfo, ScanRow};
use crate::tone::{Tone, ToneEncoding};

/// Pixels along each side of a tile.
pub const TILE_SIDE: u32 = 256;

/// Most pixels in a row: at more, a row of tiles would take over 100 MB.
pub const WIDEST: u32 = 200_000;

/// One level of a pyramid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TileLevel {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

impl TileLevel {
    /// Gives the number of tiles side by side.
    #[must_use]
    pub fn columns(&self) -> u32 {
        self.width.div_ceil(TILE_SIDE)
    }

    /// Gives the number of rows of tiles.
    #[must_use]
    pub fn rows(&self) -> u32 {
        self.height.div_ceil(TILE_SIDE)
    }
}

/// Which tile: its level, and its column and row there, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TilePlace {
    /// Level; 0 is the scan itself.
    pub level: u32,
    /// Column of tiles, from the left.
    pub column: u32,
    /// Row of tiles, from the top.
    pub row: u32,
}

/// Where the tiles of a pyramid are and how large each is.
///
/// Tiles at the right and lower edge are cut to the picture.
///
/// # Examples
/// ```
/// # use negative::tiles::TileLayout;
/// let layout = TileLayout::new(9600, 12000)?;
/// let sizes: Vec<_> = layout.levels().iter().map(|l| (l.width, l.height)).collect();
/// assert_eq!(sizes, [(9600, 12000), (4800, 6000), (2400, 3000), (1200, 1500), (600, 750), (300, 375), (150, 188)]);
/// # Ok::<(), negative::tiles::TileError>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TileLayout {
    levels: Vec<TileLevel>,
    /// Columns and rows that each code stands for.
    repeat: (u32, u32),
}

/// Why a picture can't be cut into tiles.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TileError {
    /// There is nothing to cut.
    #[error("the picture has no pixel: {width} × {height}")]
    Empty {
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
    },
    /// Rows are too long to be held.
    #[error("rows of {width} pixels are wider than the {WIDEST} that are cut into tiles")]
    TooWide {
        /// Pixels in a row.
        width: u32,
    },
}

impl TileLayout {
    /// Lays out a picture of this size.
    ///
    /// # Errors
    /// [`TileError`] for an empty picture or rows beyond [`WIDEST`].
    pub fn new(width: u32, height: u32) -> Result<Self, TileError> {
        if width == 0 || height == 0 {
            return Err(TileError::Empty { width, height });
        }
        if width > WIDEST {
            return Err(TileError::TooWide { width });
        }
        let mut level = TileLevel { width, height };
        let mut levels = vec![level];
        while level.width > TILE_SIDE || level.height > TILE_SIDE {
            level = TileLevel {
                width: level.width.div_ceil(2),
                height: level.height.div_ceil(2),
            };
            levels.push(level);
        }
        Ok(Self {
            levels,
            repeat: (1, 1),
        })
    }

    /// Lays out one channel of a scan. Of a mosaic each cell's code is repeated
    /// over the cell, so that places are those of the picture.
    ///
    /// # Errors
    /// [`TileError`] as for [`Self::new`].
    pub fn of_channel(info: &ScanInfo, channel: ChannelChoice) -> Result<Self, TileError> {
        let layout = Self::new(info.width, info.height)?;
        Ok(Self {
            repeat: info.steps(channel),
            ..layout
        })
    }

    /// Gives the levels, the largest first.
    #[must_use]
    pub fn levels(&self) -> &[TileLevel] {
        &self.levels
    }

    /// Gives the pixels of a tile along its sides, or `None` where there is none.
    #[must_use]
    pub fn tile_size(&self, place: TilePlace) -> Option<(u32, u32)> {
        let level = self.levels.get(place.level as usize)?;
        let left = place.column.checked_mul(TILE_SIDE)?;
        let top = place.row.checked_mul(TILE_SIDE)?;
        (left < level.width && top < level.height).then(|| {
            (
                TILE_SIDE.min(level.width - left),
                TILE_SIDE.min(level.height - top),
            )
        })
    }

    /// Gives how many pixels stand before a tile when all tiles follow each
    /// other: level by level, row by row, from the left.
    #[must_use]
    pub fn pixels_before(&self, place: TilePlace) -> Option<u64> {
        let (_, tile_height) = self.tile_size(place)?;
        let level = self.levels[place.level as usize];
        let levels: u64 = self.levels[..place.level as usize]
            .iter()
            .map(|l| u64::from(l.width) * u64::from(l.height))
            .sum();
        let rows = u64::from(level.width) * u64::from(place.row) * u64::from(TILE_SIDE);
        let tiles = u64::from(place.column) * u64::from(TILE_SIDE) * u64::from(tile_height);
        Some(levels + rows + tiles)
    }

    /// Gives the number of pixels of all levels.
    #[must_use]
    pub fn pixels(&self) -> u64 {
        self.levels
            .iter()
            .map(|l| u64::from(l.width) * u64::from(l.height))
            .sum()
    }
}

/// How neighbouring codes become one.
enum Mean {
    /// Code follows light in a straight line, or by an unknown curve.
    OfCodes,
    /// Light of every code; the curve rises or falls all the way.
    OfLight(Vec<f32>),
}

impl Mean {
    fn of_tone(tone: &Tone) -> Self {
        match tone.encoding {
            ToneEncoding::Linear
            | ToneEncoding::LinearAboveBlack { .. }
            | ToneEncoding::Unknown => Self::OfCodes,
            _ => Self::OfLight(tone.table().into_iter().map(|l| l as f32).collect()),
        }
    }

    /// The mean of up to four codes.
    fn code(&self, codes: &[u16]) -> u16 {
        let count = codes.len() as u32;
        let plain =
            || ((codes.iter().map(|c| u32::from(*c)).sum::<u32>() + count / 2) / count) as u16;
        let Self::OfLight(light) = self else {
            return plain();
        };
        let (mut low, mut high) = (codes[0], codes[0]);
        for code in codes {
            low = low.min(*code);
            high = high.max(*code);
        }
        if high - low < 2 {
            return plain();
        }
        let at = |code: u16| light[usize::from(code)];
        let mean = codes.iter().map(|c| at(*c)).sum::<f32>() / count as f32;
        let rising = at(high) >= at(low);
        // The mean lies between the two ends: halve what is left.
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if (at(middle) <= mean) == rising {
                low = middle;
            } else {
                high = middle;
            }
        }
        if (at(high) - mean).abs() < (mean - at(low)).abs() {
            high
        } else {
            low
        }
    }
}

/// A row of tiles of one level that is being filled, and a row that waits for
/// its neighbour below.
struct Band {
    codes: Vec<u16>,
    rows: u32,
    band: u32,
    waiting: Option<Vec<u16>>,
}

/// Cuts tiles while rows go by.
///
/// Each tile is handed out once, as soon as its last row is there.
///
/// # Examples
/// ```
/// # use negative::decode::{ChannelChoice, DecodeLimits, ScanReader};
/// # use negative::tiles::{TileLayout, TilePass};
/// # use negative::tone::tone_of;
/// # let mut png = Vec::new();
/// # image::DynamicImage::new_luma8(300, 40).write_to(&mut std::io::Cursor::new(&mut png), image::ImageFormat::Png)?;
/// let mut scan = ScanReader::open(std::io::Cursor::new(png), 0, &DecodeLimits::default())?;
/// let layout = TileLayout::of_channel(scan.info(), ChannelChoice::Grey)?;
/// let tone = tone_of(scan.info(), None, ChannelChoice::Grey);
/// let mut tiles = 0;
/// let mut pass = TilePass::new(&layout, &tone);
/// scan.for_each_row(ChannelChoice::Grey, |row| pass.take(&row, &mut |_, _| tiles += 1))?;
/// pass.finish(&mut |_, _| tiles += 1);
/// assert_eq!(tiles, 3); // two side by side, and one of the half size
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct TilePass {
    levels: Vec<TileLevel>,
    repeat: (u32, u32),
    /// Rows of the picture that were filled, and the last one, where codes repeat.
    filled: (u32, Vec<u16>),
    bands: Vec<Band>,
    mean: Mean,
}

/// Takes a tile: its place, and its codes row by row.
pub type TileSink<'a> = dyn FnMut(TilePlace, &[u16]) + 'a;

impl TilePass {
    /// Prepares a pass over a picture of this layout.
    #[must_use]
    pub fn new(layout: &TileLayout, tone: &Tone) -> Self {
        let bands = layout
            .levels
            .iter()
            .map(|level| Band {
                codes: vec![0; level.width as usize * TILE_SIDE.min(level.height) as usize],
                rows: 0,
                band: 0,
                waiting: None,
            })
            .collect();
        Self {
            levels: layout.levels.clone(),
            repeat: layout.repeat,
            filled: (0, Vec::new()),
            bands,
            mean: Mean::of_tone(tone),
        }
    }

    /// Takes the next row of the scan; rows beyond the layout are left out, and
    /// a missing sample of a float picture is code 0.
    pub fn take(&mut self, row: &ScanRow<'_>, sink: &mut TileSink<'_>) {
        if self.repeat != (1, 1) {
            self.take_repeated(row, sink);
            return;
        }
        match row.codes {
            Codes::Unsigned(codes) => self.push(0, codes, sink),
            Codes::Float(codes) => {
                let codes: Vec<u16> = (0..codes.len())
                    .map(|i| row.codes.at(i).unwrap_or(0))
                    .collect();
                self.push(0, &codes, sink);
            }
        }
    }

    /// Takes a row whose codes stand for a cell each.
    fn take_repeated(&mut self, row: &ScanRow<'_>, sink: &mut TileSink<'_>) {
        let TileLevel { width, height } = self.levels[0];
        let (mut filled, mut whole) = core::mem::take(&mut self.filled);
        whole.clear();
        // What the first and the last cell leave at the edges looks like them.
        let last = row.codes.len().saturating_sub(1) as u32;
        whole.extend((0..width).map(|x| {
            let cell = (x.saturating_sub(row.x_first) / self.repeat.0).min(last);
            row.codes.at(cell as usize).unwrap_or(0)
        }));
        while filled < (row.y + self.repeat.1).min(height) {
            self.push(0, &whole, sink);
            filled += 1;
        }
        self.filled = (filled, whole);
    }

    /// Hands out what is left: the tiles of a picture that was cut short, too,
    /// whose missing rows are 0.
    pub fn finish(mut self, sink: &mut TileSink<'_>) {
        let (filled, last) = core::mem::take(&mut self.filled);
        // A cell that the lower edge cuts gave no row of its own.
        let left = self.levels[0].height.saturating_sub(filled);
        if !last.is_empty() && left < self.repeat.1 {
            for _ in 0..left {
                self.push(0, &last, sink);
            }
        }
        for level in 0..self.levels.len() {
            if let Some(row) = self.bands[level].waiting.take() {
                self.push_half(level, &row, &[], sink);
            }
            while u64::from(self.bands[level].band) * u64::from(TILE_SIDE)
                < u64::from(self.levels[level].height)
            {
                let filled = self.bands[level].rows as usize * self.levels[level].width as usize;
                self.bands[level].codes[filled..].fill(0);
                self.hand_out(level, sink);
            }
        }
    }

    fn push(&mut self, level: usize, codes: &[u16], sink: &mut TileSink<'_>) {
        let TileLevel { width, height } = self.levels[level];
        let band = &mut self.bands[level];
        let y = band.band * TILE_SIDE + band.rows;
        if y >= height {
            return;
        }
        let width = width as usize;
        let first = band.rows as usize * width;
        let count = codes.len().min(width);
        let row = &mut band.codes[first..first + width];
        row[..count].copy_from_slice(&codes[..count]);
        row[count..].fill(0);
        band.rows += 1;
        if level + 1 < self.levels.len() {
            match self.bands[level].waiting.take() {
                Some(above) => self.push_half(level, &above, codes, sink),
                None if y + 1 == height => self.push_half(level, codes, &[], sink),
                None => self.bands[level].waiting = Some(codes.to_vec()),
            }
        }
        let band = &self.bands[level];
        if band.rows == TILE_SIDE || y + 1 == height {
            self.hand_out(level, sink);
        }
    }

    /// Makes one row of the next level from two of this, or from the last alone.
    fn push_half(&mut self, level: usize, above: &[u16], below: &[u16], sink: &mut TileSink<'_>) {
        let Some(next) = self.levels.get(level + 1) else {
            return;
        };
        let mut half = Vec::with_capacity(next.width as usize);
        if let (Mean::OfCodes, true) = (&self.mean, above.len() == below.len()) {
            // The common case, in whole numbers.
            let pairs = above
                .as_chunks::<2>()
                .0
                .iter()
                .zip(below.as_chunks::<2>().0);
            half.extend(pairs.map(|([a, b], [c, d])| {
                ((u32::from(*a) + u32::from(*b) + u32::from(*c) + u32::from(*d) + 2) / 4) as u16
            }));
        }
        let done = 2 * half.len();
        let mut four = [0; 4];
        for (i, pair) in above[done.min(above.len())..].chunks(2).enumerate() {
            let below = below.get(done + 2 * i..).unwrap_or(&[]);
            let below = &below[..below.len().min(pair.len())];
            four[..pair.len()].copy_from_slice(pair);
            four[pair.len()..pair.len() + below.len()].copy_from_slice(below);
            half.push(self.mean.code(&four[..pair.len() + below.len()]));
        }
        self.push(level + 1, &half, sink);
    }

    /// Hands out the tiles of a full band, and begins the next.
    fn hand_out(&mut self, level: usize, sink: &mut TileSink<'_>) {
        let TileLevel { width, height } = self.levels[level];
        let band = &mut self.bands[level];
        let rows = TILE_SIDE.min(height - band.band * TILE_SIDE);
        let mut tile = Vec::with_capacity((TILE_SIDE * rows) as usize);
        for column in 0..width.div_ceil(TILE_SIDE) {
            let left = column * TILE_SIDE;
            let right = width.min(left + TILE_SIDE);
            tile.clear();
            for row in band.codes.chunks_exact(width as usize).take(rows as usize) {
                tile.extend_from_slice(&row[left as usize..right as usize]);
            }
            let place = TilePlace {
                level: level as u32,
                column,
                row: band.band,
            };
            sink(place, &tile);
        }
        band.band += 1;
        band.rows = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::Polarity;
    use crate::tone::ToneOrigin;

    fn tone(encoding: ToneEncoding) -> Tone {
        Tone {
            encoding,
            origin: ToneOrigin::Record,
            polarity: Polarity::BlackIsZero,
            code_max: u16::MAX,
            remarks: vec![],
        }
    }

    /// All levels put together again from tiles.
    fn levels_of(width: u32, height: u32, codes: &[u16], tone: &Tone, rows: u32) -> Vec<Vec<u16>> {
        let layout = TileLayout::new(width, height).unwrap();
        let mut levels: Vec<Vec<u16>> = layout
            .levels()
            .iter()
            .map(|l| vec![7; l.width as usize * l.height as usize])
            .collect();
        let mut seen = vec![];
        let mut put = |place: TilePlace, tile: &[u16]| {
            let (w, h) = layout.tile_size(place).unwrap();
            assert_eq!(tile.len(), (w * h) as usize, "{place:?}");
            assert!(!seen.contains(&place), "{place:?} came twice");
            seen.push(place);
            let line = layout.levels()[place.level as usize].width;
            for (y, row) in tile.chunks_exact(w as usize).enumerate() {
                let y = place.row * TILE_SIDE + y as u32;
                let first = (y * line + place.column * TILE_SIDE) as usize;
                levels[place.level as usize][first..first + w as usize].copy_from_slice(row);
            }
        };
        let mut pass = TilePass::new(&layout, tone);
        for (y, row) in (0..rows).zip(codes.chunks_exact(width as usize)) {
            let row = ScanRow {
                y,
                x_first: 0,
                x_step: 1,
                codes: Codes::Unsigned(row),
            };
            pass.take(&row, &mut put);
        }
        pass.finish(&mut put);
        let tiles: u32 = layout.levels().iter().map(|l| l.columns() * l.rows()).sum();
        assert_eq!(seen.len(), tiles as usize, "a tile is missing");
        levels
    }

    fn noise(count: usize) -> Vec<u16> {
        let mut state = 1_u64;
        (0..count)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 48) as u16
            })
            .collect()
    }

    #[test]
    fn level_0_is_the_scan_and_each_next_the_mean_of_fours() {
        // Odd sides, and a size that leaves thin tiles at both edges.
        let (width, height) = (515_u32, 771_u32);
        let codes = noise((width * height) as usize);
        let levels = levels_of(width, height, &codes, &tone(ToneEncoding::Linear), height);
        assert_eq!(levels[0], codes);
        assert_eq!(levels.len(), 3);
        let (half_width, half_height) = (258_u32, 386_u32);
        for y in 0..half_height {
            for x in 0..half_width {
                let below: Vec<u32> = [(0, 0), (1, 0), (0, 1), (1, 1)]
                    .iter()
                    .map(|(dx, dy)| (2 * x + dx, 2 * y + dy))
                    .filter(|(x, y)| *x < width && *y < height)
                    .map(|(x, y)| u32::from(codes[(y * width + x) as usize]))
                    .collect();
                let n = below.len() as u32;
                let mean = (below.iter().sum::<u32>() + n / 2) / n;
                let found = levels[1][(y * half_width + x) as usize];
                assert_eq!(u32::from(found), mean, "({x}, {y})");
            }
        }
    }

    #[test]
    fn an_edge_keeps_its_light_in_a_gamma_coded_scan() {
        // Half black, half white: the mean of light is 0.5, whose sRGB code by
        // IEC 61966-2-1 is 1.055·0.5^(1/2.4) − 0.055 = 0.735357, times 65535: 48191.6.
        let codes: Vec<u16> = (0..600 * 4)
            .map(|i| if i % 2 == 0 { 0 } else { 65535 })
            .collect();
        let levels = levels_of(600, 4, &codes, &tone(ToneEncoding::Srgb), 4);
        // 1: neighbouring codes can be equally near.
        for code in &levels[1] {
            assert!((i32::from(*code) - 48192).abs() <= 1, "{code}");
        }
        let mut turned = tone(ToneEncoding::Srgb);
        turned.polarity = Polarity::WhiteIsZero;
        let levels = levels_of(600, 4, &codes, &turned, 4);
        assert!((i32::from(levels[1][0]) - (65535 - 48192)).abs() <= 1);
    }

    #[test]
    fn a_picture_cut_short_gives_every_tile_with_zeros_for_what_is_missing() {
        let codes = vec![9000; 300 * 700];
        let levels = levels_of(300, 700, &codes, &tone(ToneEncoding::Linear), 301);
        assert!(levels[0][..300 * 301].iter().all(|c| *c == 9000));
        assert!(levels[0][300 * 301..].iter().all(|c| *c == 0));
        assert!(levels[1][..150 * 151].iter().all(|c| *c == 9000));
        assert!(levels[1][150 * 151..].iter().all(|c| *c == 0));
    }

    #[test]
    fn tiles_follow_each_other_without_a_gap() {
        let layout = TileLayout::new(700, 513).unwrap();
        let mut next = 0;
        for (level, size) in (0..).zip(layout.levels()) {
            for row in 0..size.rows() {
                for column in 0..size.columns() {
                    let place = TilePlace { level, column, row };
                    assert_eq!(layout.pixels_before(place), Some(next), "{place:?}");
                    let (w, h) = layout.tile_size(place).unwrap();
                    next += u64::from(w) * u64::from(h);
                }
            }
        }
        assert_eq!(next, layout.pixels());
        let beyond = TilePlace {
            level: 0,
            column: 3,
            row: 0,
        };
        assert_eq!(layout.pixels_before(beyond), None);
        let huge = TilePlace {
            level: 0,
            column: u32::MAX,
            row: u32::MAX,
        };
        assert_eq!(layout.tile_size(huge), None);
    }

    #[test]
    fn rows_that_can_not_be_held_are_refused() {
        assert_eq!(
            TileLayout::new(0, 5),
            Err(TileError::Empty {
                width: 0,
                height: 5
            })
        );
        assert_eq!(
            TileLayout::new(WIDEST + 1, 1),
            Err(TileError::TooWide { width: WIDEST + 1 })
        );
    }
}
