//! The fine structure of a scan, gathered in one pass within a few megabytes.
//!
//! Some hundred rows and columns are looked at. Along them the second difference
//! of neighbouring codes is kept as its logarithm, averaged by column and by row:
//! in a scan as it was made every column is like every other, and interpolation or
//! blocks leave a rhythm. The rows are taken in bands, and so are the columns: what
//! was done to a scan shows in all of them, a house front in the subject in some.
//! Steep edges between two even areas are kept as profiles.

use crate::decode::{ScanInfo, ScanRow};

/// Rows looked at, about; and edges for each, high ones and low ones.
const ROWS: u32 = 512;
const EDGES_OF_ROW: usize = 16;
/// Columns looked at, about.
const COLUMNS: usize = 384;
/// Bands that rows, and columns, are taken in.
pub(super) const BANDS: usize = 8;
/// Fewest rows and columns that tell of a rhythm.
pub(super) const FEWEST_FOR_RHYTHM: usize = 128;
/// Pixels of an edge's profile on either side of its middle.
pub(super) const EDGE_REACH: usize = 14;
/// Where its even areas begin.
pub(super) const EDGE_AREA: usize = 7;
/// Least height of any edge, part of the code scale.
const EDGE_OF_SCALE: f64 = 0.03;
/// Least height of a high edge, part of the row's range.
const EDGE_OF_RANGE: f64 = 0.12;
/// Spread of the even areas beside an edge, part of its height.
const EDGE_SPREAD: f64 = 0.2;

/// An edge from dark (0) to bright (1).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Edge {
    /// Column and row of its middle.
    pub(super) place: (u32, u32),
    /// Whether it is high beside the range of its row.
    pub(super) high: bool,
    /// Codes from its dark side to its bright one, and the dark side's code.
    pub(super) height: f64,
    pub(super) dark: f64,
    /// Spread of its even areas, part of its height.
    pub(super) spread: f64,
    pub(super) profile: [f32; 2 * EDGE_REACH + 1],
}

/// What is kept of a scan's fine structure.
#[derive(Clone, Debug, PartialEq)]
pub struct Texture {
    /// For each band of rows, by column: mean of the second difference along rows,
    /// on a scale of log2.
    pub(super) across: Vec<Vec<f64>>,
    /// For each band of columns, by row: the same down columns.
    pub(super) down: Vec<Vec<f64>>,
    pub(super) edges: Vec<Edge>,
}

impl Texture {
    /// Tells whether there are rows and columns enough for rhythms.
    #[must_use]
    pub fn tells_rhythms(&self) -> bool {
        let shortest = |bands: &[Vec<f64>]| bands.iter().map(Vec::len).min().unwrap_or(0);
        shortest(&self.across).min(shortest(&self.down)) >= FEWEST_FOR_RHYTHM
    }
}

/// Gathers the fine structure while rows go by.
#[derive(Debug)]
pub struct TexturePass {
    code_max: f64,
    height: u32,
    row_stride: u32,
    seen: u32,
    rows_used: [u32; BANDS],
    across: Vec<Vec<f64>>,
    down: Vec<Vec<f64>>,
    /// The sampled columns of the last two rows.
    before: [Vec<i32>; 2],
    edges: Vec<Edge>,
    row: Vec<i32>,
}

impl TexturePass {
    /// Prepares a pass over a scan.
    #[must_use]
    pub fn new(info: &ScanInfo) -> Self {
        Self {
            code_max: f64::from(info.code_max()),
            // Odd, so that it does not walk in step with blocks of 8.
            row_stride: (info.height / ROWS).max(1) | 1,
            height: info.height.max(1),
            seen: 0,
            rows_used: [0; BANDS],
            across: vec![Vec::new(); BANDS],
            down: vec![Vec::new(); BANDS],
            before: [Vec::new(), Vec::new()],
            edges: Vec::new(),
            row: Vec::new(),
        }
    }

    /// Takes one row.
    pub fn take(&mut self, row: &ScanRow<'_>) {
        let width = row.codes.len();
        let at = |x: usize| row.codes.at(x).map_or(0, i32::from);
        let stride = (width / COLUMNS).max(1) | 1;
        let columns: Vec<i32> = (0..width).step_by(stride).map(at).collect();
        let [older, last] = &self.before;
        if older.len() == columns.len() && !columns.is_empty() {
            let size = columns.len().div_ceil(BANDS);
            let parts = columns
                .chunks(size)
                .zip(last.chunks(size))
                .zip(older.chunks(size));
            for (band, ((c, b), a)) in self.down.iter_mut().zip(parts) {
                let three = c.iter().zip(b).zip(a);
                let sum: f64 = three.map(|((c, b), a)| log_of(a - 2 * b + c)).sum();
                band.push(sum / c.len() as f64);
            }
        }
        self.before.swap(0, 1);
        self.before[1] = columns;
        if self.seen.is_multiple_of(self.row_stride) {
            let mut codes = core::mem::take(&mut self.row);
            codes.clear();
            codes.extend((0..width).map(at));
            let band = (u64::from(self.seen) * BANDS as u64 / u64::from(self.height)) as usize;
            let band = band.min(BANDS - 1);
            let sums = &mut self.across[band];
            sums.resize(width, 0.0);
            for (sum, three) in sums.iter_mut().skip(1).zip(codes.windows(3)) {
                *sum += log_of(three[0] - 2 * three[1] + three[2]);
            }
            self.rows_used[band] += 1;
            self.find_edges(&codes, row);
            self.row = codes;
        }
        self.seen += 1;
    }

    /// Gives what was gathered.
    #[must_use]
    pub fn finish(self) -> Texture {
        let across = self.across.iter().zip(self.rows_used).map(|(sums, rows)| {
            // The ends have no second difference.
            let inner = sums.get(1..sums.len().saturating_sub(1));
            let inner = inner.unwrap_or_default().iter();
            inner.map(|sum| sum / f64::from(rows.max(1))).collect()
        });
        Texture {
            across: across.collect(),
            down: self.down,
            edges: self.edges,
        }
    }

    fn find_edges(&mut self, codes: &[i32], row: &ScanRow<'_>) {
        let (Some(low), Some(high)) = (codes.iter().min(), codes.iter().max()) else {
            return;
        };
        let least = EDGE_OF_SCALE * self.code_max;
        let least_high = (EDGE_OF_RANGE * f64::from(high - low)).max(least);
        let reach = EDGE_REACH + 2;
        let steep = |x: usize| (codes[x + 2] - codes[x - 2]).abs();
        let (mut found_high, mut found_low) = (0, 0);
        let mut x = reach;
        while x + reach < codes.len() {
            let here = steep(x);
            // A halo's own flank is an edge too, close to a steeper one.
            let steepest = || {
                (x - EDGE_AREA..x).all(|near| steep(near) <= here)
                    && (x + 1..=x + EDGE_AREA).all(|near| steep(near) <= here)
            };
            if f64::from(here) < least || !steepest() {
                x += 1;
                continue;
            }
            if let Some(mut edge) = edge_at(codes, x, least) {
                edge.high = edge.height >= least_high;
                let column = row.x_first + edge.place.0 * row.x_step;
                edge.place = (column, row.y);
                let found = if edge.high {
                    &mut found_high
                } else {
                    &mut found_low
                };
                if *found < EDGES_OF_ROW {
                    self.edges.push(edge);
                    *found += 1;
                }
                x += EDGE_AREA;
            }
            x += 1;
        }
    }
}

/// Takes the profile of an edge between two even areas. Its place is its index in the
/// row, in row 0, and it is not high.
fn edge_at(codes: &[i32], x: usize, least: f64) -> Option<Edge> {
    let mean_sd = |part: &[i32]| {
        let n = part.len() as f64;
        let mean = part.iter().map(|c| f64::from(*c)).sum::<f64>() / n;
        let square: f64 = part.iter().map(|c| (f64::from(*c) - mean).powi(2)).sum();
        (mean, (square / n).sqrt())
    };
    let (left, left_sd) = mean_sd(&codes[x - EDGE_REACH..=x - EDGE_AREA]);
    let (right, right_sd) = mean_sd(&codes[x + EDGE_AREA..=x + EDGE_REACH]);
    let height = (right - left).abs();
    let spread = left_sd.max(right_sd) / height;
    if height < least || spread > EDGE_SPREAD {
        return None;
    }
    let share = |x: usize| {
        let share = (f64::from(codes[x]) - left) / (right - left);
        if right > left { share } else { 1.0 - share }
    };
    // Of the two pixels with the largest step between them, the one nearer to half way
    // up. Half way alone won't do: a sharp edge with a halo has no pixel near it.
    let step = |x: usize| (codes[x + 1] - codes[x]).abs();
    let first = (x - 4..x + 4).max_by_key(|x| step(*x))?;
    let from_half = |x: usize| (share(x) - 0.5).abs();
    let middle = if from_half(first) <= from_half(first + 1) {
        first
    } else {
        first + 1
    };
    let mut profile = [0.0; 2 * EDGE_REACH + 1];
    for (k, value) in profile.iter_mut().enumerate() {
        let at = if right > left {
            (middle + k).checked_sub(EDGE_REACH)?
        } else {
            (middle + EDGE_REACH).checked_sub(k)?
        };
        if at >= codes.len() {
            return None;
        }
        *value = share(at) as f32;
    }
    Some(Edge {
        place: (u32::try_from(middle).ok()?, 0),
        high: false,
        height,
        dark: left.min(right),
        spread,
        profile,
    })
}

/// log2(1 + |d|), straight between powers of two: equal on every machine, and
/// fast.
fn log_of(difference: i32) -> f64 {
    let value = difference.unsigned_abs() + 1;
    let power = value.ilog2();
    f64::from(power) + f64::from(value) / f64::from(1_u32 << power) - 1.0
}
