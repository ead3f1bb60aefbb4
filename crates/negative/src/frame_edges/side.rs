//! The line of one side of the picture: where even, light film falls to picture.

use super::levels::Level;
use super::view::View;
use crate::patch::median;

/// Lines inwards that are looked at.
const LINES: usize = 300;
/// Fewest pixels of rebate in a line.
const LEAST_RUN: usize = 3;
/// Falls that are kept of each line.
const FALLS: usize = 3;
/// Largest change of depth along a side: 4 degrees.
const STEEPEST: f64 = 0.07;
/// Smallest part of all lines that a side must be seen on.
const LEAST_SEEN: f64 = 0.25;

/// A side as depth = middle + slope · (along − centre), pixels of the reduced picture.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SideLine {
    pub(super) slope: f64,
    pub(super) middle: f64,
    pub(super) centre: f64,
    pub(super) slope_sd: f64,
    pub(super) middle_sd: f64,
    /// Places along the side on which it was seen.
    pub(super) seen: Vec<f64>,
    /// Pixels from one line that is looked at to the next.
    pub(super) step: f64,
}

impl SideLine {
    pub(super) fn depth_at(&self, along: f64) -> f64 {
        self.middle + self.slope * (along - self.centre)
    }
}

/// The lines inwards from one side, read once for all levels.
#[derive(Clone, Debug)]
pub(super) struct Lines<'a> {
    view: View<'a>,
    /// Pixels from one line to the next.
    step: usize,
    /// Place along the side, and signals inwards.
    profiles: Vec<(f64, Vec<f64>)>,
}

impl<'a> Lines<'a> {
    pub(super) fn of(view: View<'a>) -> Self {
        let step = view.length().div_ceil(LINES);
        let places = (step / 2..view.length()).step_by(step);
        Self {
            view,
            step,
            profiles: places
                .map(|along| (along as f64 + 0.5, view.profile(along)))
                .collect(),
        }
    }
}

/// Finds the line on which most falls from a level lie; `None` when it is no side,
/// or when two lines could be.
pub(super) fn side_line(lines: &Lines<'_>, level: &Level) -> Option<SideLine> {
    let (view, step) = (lines.view, lines.step);
    let length = view.length();
    let mut falls: Vec<(f64, f64)> = vec![];
    for (along, profile) in &lines.profiles {
        let found = falls_of(profile, level);
        falls.extend(found.into_iter().map(|depth| (*along, depth)));
    }
    let least = (LEAST_SEEN * lines.profiles.len() as f64) as usize;
    if falls.len() < least.max(12) {
        return None;
    }
    let centre = length as f64 / 2.0;
    let mut ranked = hough(&falls, centre, length as f64, view.depth());
    let (slope, middle, count) = ranked.remove(0);
    if count < least {
        return None;
    }
    let rival = ranked
        .iter()
        .any(|(_, other, seen)| (other - middle).abs() > 4.0 && *seen as f64 > 0.8 * count as f64);
    if rival {
        return None;
    }
    let line = refined(&falls, (slope, middle), centre, step as f64)?;
    let first = line.seen.iter().copied().fold(f64::INFINITY, f64::min);
    let last = line.seen.iter().copied().fold(0.0, f64::max);
    (line.seen.len() >= least && last - first > 0.5 * length as f64).then_some(line)
}

/// Depths at which a line leaves a level for less light, half way down each fall.
fn falls_of(profile: &[f64], level: &Level) -> Vec<f64> {
    let mut falls = vec![];
    let mut run = 0;
    for depth in 0..profile.len().saturating_sub(6) {
        let here = profile[depth];
        if level.holds(here) {
            run += 1;
            continue;
        }
        let stays = profile[depth..depth + 5].iter().filter(|s| **s < level.low);
        if run >= LEAST_RUN && here < level.low && stays.count() >= 4 {
            falls.extend(half_way(profile, depth, run));
            if falls.len() == FALLS {
                break;
            }
        }
        run = 0;
    }
    falls
}

/// Where the signal passes the middle of what lies before and behind.
fn half_way(profile: &[f64], depth: usize, run: usize) -> Option<f64> {
    let before = median(profile[depth - run.min(6)..depth.max(1) - 1].to_vec());
    let behind = median(profile[depth + 2..depth + 6].to_vec());
    let half = (before + behind) / 2.0;
    let from = depth.saturating_sub(3);
    (from..depth + 4).find_map(|d| {
        let (a, b) = (*profile.get(d)?, *profile.get(d + 1)?);
        // A pixel's value stands for its middle.
        (a >= half && b < half).then(|| d as f64 + 0.5 + (a - half) / (a - b))
    })
}

/// Lines by how many falls lie within a pixel, most first: slope, middle, count.
fn hough(falls: &[(f64, f64)], centre: f64, length: f64, depth: usize) -> Vec<(f64, f64, usize)> {
    let slope_step = 1.0 / length;
    let slopes = (STEEPEST / slope_step).ceil() as i32;
    let margin = STEEPEST * length / 2.0 + 2.0;
    let bins = depth + 2 * margin as usize + 4;
    let mut best = vec![(0.0, 0_usize); bins];
    let mut counts = vec![0_usize; bins];
    for number in -slopes..=slopes {
        let slope = f64::from(number) * slope_step;
        counts.fill(0);
        for (along, fall) in falls {
            let middle = fall - slope * (along - centre) + margin;
            if let Some(count) = counts.get_mut(middle.max(0.0) as usize) {
                *count += 1;
            }
        }
        for bin in 0..bins - 1 {
            let count = counts[bin] + counts[bin + 1];
            if count > best[bin].1 {
                best[bin] = (slope, count);
            }
        }
    }
    let mut ranked: Vec<(f64, f64, usize)> = best
        .iter()
        .enumerate()
        .map(|(bin, (slope, count))| (*slope, bin as f64 + 1.0 - margin, *count))
        .collect();
    ranked.sort_by_key(|line| core::cmp::Reverse(line.2));
    ranked
}

/// Least squares with Beaton and Tukey's weights, beginning from a line.
fn refined(falls: &[(f64, f64)], start: (f64, f64), centre: f64, step: f64) -> Option<SideLine> {
    let (mut slope, mut middle) = start;
    let mut reach = 3.0;
    let mut answer = None;
    for _ in 0..12 {
        let off = |(along, depth): &(f64, f64)| depth - middle - slope * (along - centre);
        let near: Vec<f64> = falls.iter().map(off).filter(|o| o.abs() < reach).collect();
        if near.len() < 12 {
            return None;
        }
        let spread = (1.4826 * median(near.iter().map(|o| o.abs()).collect())).max(0.03);
        reach = (4.685 * spread).min(2.0);
        let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for fall in falls {
            let part = (off(fall) / reach).clamp(-1.0, 1.0);
            let weight = (1.0 - part * part) * (1.0 - part * part);
            let (x, y) = (fall.0 - centre, fall.1);
            w += weight;
            wx += weight * x;
            wy += weight * y;
            wxx += weight * x * x;
            wxy += weight * x * y;
        }
        let determinant = w * wxx - wx * wx;
        if determinant <= 0.0 {
            return None;
        }
        slope = (w * wxy - wx * wy) / determinant;
        middle = (wy - slope * wx) / w;
        // Medians of five lines share lines with their neighbours.
        let shared = libm::sqrt((5.0 / step).max(1.0));
        answer = Some((
            spread * shared * libm::sqrt(w / determinant),
            spread * shared * libm::sqrt(wxx / determinant),
        ));
    }
    let (slope_sd, middle_sd) = answer?;
    let mut seen: Vec<f64> = falls
        .iter()
        .filter(|(along, depth)| (depth - middle - slope * (along - centre)).abs() < 1.0)
        .map(|(along, _)| *along)
        .collect();
    seen.dedup();
    Some(SideLine {
        slope,
        middle,
        centre,
        slope_sd,
        middle_sd,
        seen,
        step,
    })
}
