//! Staircases on single lines: edges of one sign at one pitch.

use super::light::{Light, log_of};
use rayon::prelude::*;

/// Tilts that are tried, in degrees: those between are near enough to begin by,
/// since a few edges in a row are enough.
const TILTS: [i32; 5] = [0, -2, 2, -4, 4];
/// Every so many rows one is looked at, with its neighbours on both sides: so each row is
/// looked at once.
const STRIDE: usize = 3;
/// Pixels on each side of an edge that are compared: each at most 5/3 of the one before,
/// so that the pitches below leave no gap.
const WINDOWS: [usize; 7] = [2, 3, 5, 8, 13, 21, 34];
/// Pitches that are looked for with a window, in windows: both sides of an edge then lie
/// within its steps, and pitches from 4.4 to 143 pixels are looked for.
const PITCH_IN_WINDOWS: (f64, f64) = (2.2, 4.2);
/// Difference of an edge over its uncertainty: a normal deviate passes it once in 1.7
/// million places, as many as a scan has.
const SIGNIFICANT: f64 = 5.0;
/// Smallest difference of an edge: a choice, a twelfth of the smallest usual step (0.10),
/// since flare shrinks dense ones. \[log10 signal\]
const SMALLEST_FALL: f64 = 0.008;
/// Part of the pitch by which an edge may be off: a choice.
const OFF_PITCH: f64 = 0.12;
/// Part of a window next to the edge that is left out, for lines between steps: a choice.
const GUARD: f64 = 0.15;
/// Light that is added before the logarithm, so that noise in the dark stays small: a
/// choice, 13 codes of 16 bits.
const VEIL: f64 = 2e-4;

/// A staircase on one line of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stairs {
    /// First edge, pixels.
    pub(super) from: (f64, f64),
    /// Direction of the line: rows per column.
    pub(super) slope: f64,
    /// Columns from edge to edge.
    pub(super) pitch: f64,
    /// Edges in a row.
    pub(super) edges: usize,
    /// Whether the signal rises along the line.
    pub(super) rises: bool,
}

struct Edge {
    at: f64,
    rises: bool,
}

/// Gives the staircases with at least `fewest` edges, longest first.
pub(super) fn staircases(light: &Light, fewest: usize) -> Vec<Stairs> {
    let soft = softened(light);
    let mut found: Vec<Stairs> = TILTS
        .par_iter()
        .flat_map_iter(|tilt| {
            let slope = libm::tan(f64::from(*tilt).to_radians());
            let reach = libm::ceil(slope.abs() * light.width as f64 / 2.0) as i64;
            let (soft, height) = (&soft, light.height as i64);
            (-reach..height + reach)
                .step_by(STRIDE)
                .flat_map(move |row| on_line(soft, light.width, light.height, row, slope, fewest))
                .collect::<Vec<_>>()
        })
        .collect();
    found.sort_by(|a, b| {
        let key = |s: &Stairs| (core::cmp::Reverse(s.edges), s.slope.abs().to_bits());
        key(a)
            .cmp(&key(b))
            .then(a.from.1.total_cmp(&b.from.1))
            .then(a.from.0.total_cmp(&b.from.0))
    });
    found
}

/// log10 of the mean of three rows.
fn softened(light: &Light) -> Vec<f32> {
    let (width, height) = (light.width, light.height);
    let mut soft = Vec::with_capacity(light.signal.len());
    for y in 0..height {
        let rows = y.saturating_sub(1)..(y + 2).min(height);
        let share = 1.0 / rows.len() as f64;
        for x in 0..width {
            let sum: f64 = rows
                .clone()
                .map(|y| f64::from(light.signal[y * width + x]))
                .sum();
            soft.push(log_of(sum * share + VEIL) as f32);
        }
    }
    soft
}

fn on_line(
    soft: &[f32],
    width: usize,
    height: usize,
    row: i64,
    slope: f64,
    fewest: usize,
) -> Vec<Stairs> {
    let y_at = |x: f64| row as f64 + slope * (x - width as f64 / 2.0);
    let mut first = None;
    let (mut sums, mut squares) = (vec![0.0_f64], vec![0.0_f64]);
    for x in 0..width {
        let y = libm::floor(y_at(x as f64 + 0.5) + 0.5);
        if y < 0.0 || y >= height as f64 {
            if first.is_some() {
                break;
            }
            continue;
        }
        first.get_or_insert(x);
        let value = f64::from(soft[y as usize * width + x]);
        sums.push(sums[sums.len() - 1] + value);
        squares.push(squares[squares.len() - 1] + value * value);
    }
    let Some(first) = first else { return vec![] };
    let mut found: Vec<Stairs> = vec![];
    for window in WINDOWS {
        let edges = edges(&sums, &squares, window);
        chains(&edges, &sums, window, fewest, |at, pitch, count, rises| {
            let x = first as f64 + at;
            found.push(Stairs {
                from: (x, y_at(x) + 0.5),
                slope,
                pitch,
                edges: count,
                rises,
            });
        });
    }
    found
}

/// Places where the means on both sides differ by more than chance, each the
/// plainest within a window.
fn edges(sums: &[f64], squares: &[f64], window: usize) -> Vec<Edge> {
    let length = sums.len() - 1;
    if length < 2 * window {
        return vec![];
    }
    // Lines are often drawn between steps: next to the edge nothing is compared.
    let guard = libm::round(GUARD * window as f64) as usize;
    let w = (window - guard) as f64;
    // A line of few pixels tells its own spread badly.
    let least = 0.0015 + 0.006 / w;
    let mean = |from: usize, to: usize| (sums[to] - sums[from]) / w;
    let variance = |from: usize, to: usize, mean: f64| {
        ((squares[to] - squares[from]) / w - mean * mean).max(0.0)
    };
    let mut found: Vec<(usize, f64, f64)> = vec![];
    for at in window..=length - window {
        let (from, before, behind, to) = (at - window, at - guard, at + guard, at + window);
        let (a, b) = (mean(from, before), mean(behind, to));
        let fall = a - b;
        if fall.abs() < SMALLEST_FALL {
            continue;
        }
        let spread = variance(from, before, a) + variance(behind, to, b);
        let strength = fall * fall / (spread / w + least * least);
        if strength < SIGNIFICANT * SIGNIFICANT {
            continue;
        }
        match found.last_mut() {
            Some(last) if at - last.0 < window => {
                if last.1 < strength {
                    *last = (at, strength, fall);
                }
            }
            _ => found.push((at, strength, fall)),
        }
    }
    found
        .into_iter()
        .map(|(at, _, fall)| Edge {
            at: at as f64,
            rises: fall < 0.0,
        })
        .collect()
}

/// Runs of edges of one sign at one pitch; tells place, pitch, count and sign.
fn chains(
    edges: &[Edge],
    sums: &[f64],
    window: usize,
    fewest: usize,
    mut tell: impl FnMut(f64, f64, usize, bool),
) {
    let (low, high) = (
        PITCH_IN_WINDOWS.0 * window as f64,
        PITCH_IN_WINDOWS.1 * window as f64,
    );
    // Level between two edges, in its inner half.
    let level = |from: f64, to: f64| {
        let quarter = (to - from) / 4.0;
        let a = (from + quarter) as usize;
        let b = ((to - quarter) as usize).max(a + 1);
        (sums[b] - sums[a]) / (b - a) as f64
    };
    let mut used = vec![0.0_f64; edges.len()];
    for (i, first) in edges.iter().enumerate() {
        for second in edges.iter().skip(i + 1).take(4) {
            let pitch = second.at - first.at;
            if second.rises != first.rises || pitch < low {
                continue;
            }
            if pitch > high {
                break;
            }
            if (used[i] / pitch - 1.0).abs() < 0.1 {
                continue;
            }
            let mut members = vec![i];
            let (mut last, mut count, mut mean) = (first.at, 1_usize, pitch);
            let mut before: Option<f64> = None;
            for (k, edge) in edges.iter().enumerate().skip(i + 1) {
                let off = edge.at - last - mean;
                let allowed = (OFF_PITCH * mean).max(1.3);
                if off > allowed {
                    break;
                }
                if edge.rises == first.rises && off.abs() <= allowed {
                    // What goes back between its edges is no staircase but a fence.
                    let here = level(last, edge.at);
                    let step =
                        before.map_or(1.0, |b| if first.rises { here - b } else { b - here });
                    if step < SMALLEST_FALL / 2.0 {
                        break;
                    }
                    before = Some(here);
                    members.push(k);
                    count += 1;
                    last = edge.at;
                    mean = (last - first.at) / (count - 1) as f64;
                }
            }
            if count >= fewest {
                for member in members {
                    used[member] = mean;
                }
                tell(first.at, mean, count, first.rises);
            }
        }
    }
}
