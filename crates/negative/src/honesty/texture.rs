//! The fine structure of a scan, gathered in one pass within a few megabytes.
//!
//! Some hundred rows and columns are looked at. Along them the second difference
//! of neighbouring codes is kept as its logarithm, averaged by column and by row:
//! in a scan as it was made every column is like every other, and interpolation or
//! blocks leave a rhythm. Steep edges between two even areas are kept as
//! profiles.

use crate::decode::{ScanInfo, ScanRow};

/// Rows looked at, about; and edges for each.
const ROWS: u32 = 256;
const EDGES_OF_ROW: usize = 12;
/// Columns looked at, about.
const COLUMNS: usize = 192;
/// Fewest rows and columns that tell of a rhythm.
pub(super) const FEWEST_FOR_RHYTHM: usize = 128;
/// Pixels of an edge's profile on either side of its middle.
pub(super) const EDGE_REACH: usize = 14;
/// Where its even areas begin.
pub(super) const EDGE_AREA: usize = 7;
/// Steepest edges: part of the row's range, and of the code scale.
const EDGE_OF_RANGE: f64 = 0.2;
const EDGE_OF_SCALE: f64 = 0.03;
/// Spread of the even areas beside an edge, part of its height.
const EDGE_SPREAD: f64 = 0.12;

/// An edge from dark (0) to bright (1), with the height it has in codes.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Edge {
    pub(super) height: f64,
    pub(super) profile: [f32; 2 * EDGE_REACH + 1],
}

/// What is kept of a scan's fine structure.
#[derive(Clone, Debug, PartialEq)]
pub struct Texture {
    /// By column: mean of the second difference along rows, on a scale of log2.
    pub(super) across: Vec<f64>,
    /// By row: the same down columns.
    pub(super) down: Vec<f64>,
    pub(super) edges: Vec<Edge>,
}

impl Texture {
    /// Tells whether there are rows and columns enough for rhythms.
    #[must_use]
    pub fn tells_rhythms(&self) -> bool {
        self.across.len().min(self.down.len()) >= FEWEST_FOR_RHYTHM
    }

    /// Gives the steep edges between even areas that were found.
    #[must_use]
    pub fn edges(&self) -> usize {
        self.edges.len()
    }
}

/// Gathers the fine structure while rows go by.
#[derive(Debug)]
pub struct TexturePass {
    code_max: f64,
    row_stride: u32,
    seen: u32,
    rows_used: u32,
    across: Vec<f64>,
    down: Vec<f64>,
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
            seen: 0,
            rows_used: 0,
            across: Vec::new(),
            down: Vec::new(),
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
        if older.len() == columns.len() {
            let sum: f64 = columns
                .iter()
                .zip(last)
                .zip(older)
                .map(|((c, b), a)| log_of(a - 2 * b + c))
                .sum();
            self.down.push(sum / columns.len().max(1) as f64);
        }
        self.before.swap(0, 1);
        self.before[1] = columns;
        if self.seen.is_multiple_of(self.row_stride) {
            let mut codes = core::mem::take(&mut self.row);
            codes.clear();
            codes.extend((0..width).map(at));
            self.across.resize(width, 0.0);
            for (sum, three) in self.across.iter_mut().skip(1).zip(codes.windows(3)) {
                *sum += log_of(three[0] - 2 * three[1] + three[2]);
            }
            self.rows_used += 1;
            self.find_edges(&codes);
            self.row = codes;
        }
        self.seen += 1;
    }

    /// Gives what was gathered.
    #[must_use]
    pub fn finish(self) -> Texture {
        let rows = f64::from(self.rows_used.max(1));
        let mut across: Vec<f64> = self.across.iter().map(|sum| sum / rows).collect();
        // The ends have no second difference.
        across.pop();
        if !across.is_empty() {
            across.remove(0);
        }
        Texture {
            across,
            down: self.down,
            edges: self.edges,
        }
    }

    fn find_edges(&mut self, codes: &[i32]) {
        let (Some(low), Some(high)) = (codes.iter().min(), codes.iter().max()) else {
            return;
        };
        let least = (EDGE_OF_RANGE * f64::from(high - low)).max(EDGE_OF_SCALE * self.code_max);
        let reach = EDGE_REACH + 2;
        let mut found = 0;
        let mut x = reach;
        while x + reach < codes.len() && found < EDGES_OF_ROW {
            let steep = |x: usize| (codes[x + 2] - codes[x - 2]).abs();
            if f64::from(steep(x)) < least || steep(x + 1) > steep(x) {
                x += 1;
                continue;
            }
            if let Some(edge) = edge_at(codes, x, least) {
                self.edges.push(edge);
                found += 1;
                x += EDGE_AREA;
            }
            x += 1;
        }
    }
}

/// Takes the profile of an edge between two even areas.
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
    if height < least || left_sd.max(right_sd) > EDGE_SPREAD * height {
        return None;
    }
    let share = |x: usize| {
        let share = (f64::from(codes[x]) - left) / (right - left);
        if right > left { share } else { 1.0 - share }
    };
    // The pixel next to where the edge is half way up, from dark to bright.
    let middle = (x - 4..x + 4).min_by(|a, b| {
        (share(*a) - 0.5)
            .abs()
            .total_cmp(&(share(*b) - 0.5).abs())
    })?;
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
    Some(Edge { height, profile })
}

/// log2(1 + |d|), straight between powers of two: equal on every machine, and
/// fast.
fn log_of(difference: i32) -> f64 {
    let value = difference.unsigned_abs() + 1;
    let power = value.ilog2();
    f64::from(power) + f64::from(value) / f64::from(1_u32 << power) - 1.0
}
