//! Rows of a stored raw frame to rows of its picture.
//!
//! A colour of a mosaic has one code for each cell: the mean of the cell's
//! places of that colour. The mean is rounded to the nearest code, and a half
//! goes up in one cell and down in the next, so that the mean of a patch is not
//! moved. A cell with one full place is full.

use super::info::{ChannelChoice, Codes, ScanInfo, ScanRow};
use super::sensor::{MosaicColour, SensorScale};

/// Gathers the rows of a frame to those of a channel.
pub(crate) struct SensorRows<'a> {
    sensor: Option<&'a SensorScale>,
    width: u32,
    height: u32,
    /// Columns and rows of the cell; 1 and 1 without a mosaic.
    cell: (usize, usize),
    /// Column and row within the cell that the codes are said to lie at.
    corner: (u32, u32),
    /// Places of the cell, counted row by row, whose mean is taken; a colour
    /// each, and then the mean of the colours.
    groups: Vec<Vec<usize>>,
    /// Whole rows of the picture that wait for the rest of their cells.
    waiting: Vec<u16>,
    codes: Vec<u16>,
}

impl<'a> SensorRows<'a> {
    /// Prepares for one channel; `None` when the picture is no raw frame, or
    /// has no such channel.
    pub(crate) fn new(info: &'a ScanInfo, choice: ChannelChoice) -> Option<Self> {
        let groups = match (&info.mosaic, choice) {
            (Some(_), _) => groups_of(info, choice)?,
            (None, _) => vec![vec![0]],
        };
        if info.mosaic.is_none() && info.sensor.is_none() {
            return None;
        }
        let cell = info
            .mosaic
            .as_ref()
            .map_or((1, 1), |m| (m.columns() as usize, m.rows() as usize));
        let corner = match (&info.mosaic, choice) {
            (Some(_), ChannelChoice::MosaicPhase { row, column }) => (column.into(), row.into()),
            _ => (0, 0),
        };
        Some(Self {
            sensor: info.sensor.as_ref(),
            width: info.width,
            height: info.height,
            cell,
            corner,
            groups,
            waiting: Vec::new(),
            codes: Vec::new(),
        })
    }

    /// Takes the next row of the stored frame.
    pub(crate) fn take(&mut self, y: u32, codes: &[u16], visit: &mut impl FnMut(ScanRow<'_>)) {
        let (left, top) = self.sensor.map_or((0, 0), |s| s.origin);
        let Some(y) = y.checked_sub(top).filter(|y| *y < self.height) else {
            return;
        };
        let (left, width) = (left as usize, self.width as usize);
        let row = &codes[left..left + width];
        match self.sensor {
            None => self.waiting.extend_from_slice(row),
            Some(SensorScale { white, table, .. }) => match table {
                None => self.waiting.extend(row.iter().map(|c| *c.min(white))),
                Some(table) => {
                    let last = table.len() - 1;
                    let of = |code: &u16| table[usize::from(*code).min(last)].min(*white);
                    self.waiting.extend(row.iter().map(of));
                }
            },
        }
        if self.waiting.len() < self.cell.1 * width {
            return;
        }
        let top = y + 1 - self.cell.1 as u32;
        self.fill(top / self.cell.1 as u32);
        self.waiting.clear();
        visit(ScanRow {
            y: top + self.corner.1,
            x_first: self.corner.0,
            x_step: self.cell.0 as u32,
            codes: Codes::Unsigned(&self.codes),
        });
    }

    /// One code for each whole cell of the rows that wait.
    fn fill(&mut self, cell_row: u32) {
        let (columns, width) = (self.cell.0, self.width as usize);
        self.codes.clear();
        if let [group] = self.groups.as_slice()
            && let [place] = group.as_slice()
        {
            let row = &self.waiting[place / columns * width..][..width];
            let cells = row.chunks_exact(columns);
            self.codes.extend(cells.map(|cell| cell[place % columns]));
            return;
        }
        let white = self.sensor.map_or(u16::MAX, |s| s.white);
        // Every group's sum brought over one divisor, in whole numbers.
        let over: u64 = self.groups.iter().map(|g| g.len() as u64).product();
        let divisor = over * self.groups.len() as u64;
        for cell in 0..width / columns {
            let mut total = 0;
            let mut full = false;
            for group in &self.groups {
                let mut sum = 0;
                for place in group {
                    let at = place / columns * width + cell * columns + place % columns;
                    let code = self.waiting[at];
                    full |= code >= white;
                    sum += u64::from(code);
                }
                total += sum * (over / group.len() as u64);
            }
            let up = u64::from((cell as u32 + cell_row).is_multiple_of(2));
            let mean = (2 * total + divisor - (1 - up)) / (2 * divisor);
            let mean = u16::try_from(mean).unwrap_or(u16::MAX);
            self.codes.push(if full { white } else { mean });
        }
    }
}

/// Gives the places of a cell that make up a channel, colour by colour.
fn groups_of(info: &ScanInfo, choice: ChannelChoice) -> Option<Vec<Vec<usize>>> {
    let mosaic = info.mosaic.as_ref()?;
    let of = |colour| mosaic.places(colour);
    Some(match choice {
        ChannelChoice::Red => vec![of(MosaicColour::Red)],
        ChannelChoice::Green => vec![of(MosaicColour::Green)],
        ChannelChoice::Blue => vec![of(MosaicColour::Blue)],
        ChannelChoice::Mean => [MosaicColour::Red, MosaicColour::Green, MosaicColour::Blue]
            .map(of)
            .to_vec(),
        ChannelChoice::MosaicPhase { row, column } => {
            let (row, column) = (u32::from(row), u32::from(column));
            if row >= mosaic.rows() || column >= mosaic.columns() {
                return None;
            }
            vec![vec![(row * mosaic.columns() + column) as usize]]
        }
        ChannelChoice::Grey | ChannelChoice::Extra(_) => return None,
    })
}

impl ScanInfo {
    /// Gives the mean code without light of a channel of a raw frame; `None`
    /// where the file gives no levels.
    #[must_use]
    pub fn black_of(&self, choice: ChannelChoice) -> Option<f64> {
        let black = &self.sensor.as_ref()?.black;
        let mean = |places: &[usize]| {
            places.iter().filter_map(|p| black.get(*p)).sum::<f64>() / places.len() as f64
        };
        if self.mosaic.is_some() {
            let groups = groups_of(self, choice)?;
            return Some(groups.iter().map(|g| mean(g)).sum::<f64>() / groups.len() as f64);
        }
        match choice {
            ChannelChoice::Mean => Some(black.iter().sum::<f64>() / black.len() as f64),
            ChannelChoice::Extra(_) => None,
            ChannelChoice::Green => black.get(1).copied(),
            ChannelChoice::Blue => black.get(2).copied(),
            _ => black.first().copied(),
        }
    }
}
