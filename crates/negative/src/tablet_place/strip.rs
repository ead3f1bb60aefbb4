//! A staircase laid on the picture as a strip: pitch, phase, tilt and sides by
//! all edges together.

use super::light::{Area, Frame, Level, Light, log_of};
use super::stairs::Stairs;
use crate::patch::median;
use nalgebra::{Matrix3, Vector3};

/// Part of the pitch by which an edge may be off its place: a choice.
pub(super) const OFF_PLACE: f64 = 0.12;
/// Inner part of a step along the strip whose level is read: a choice, as outlines have.
pub(super) const INNER: (f64, f64) = (0.2, 0.8);
/// Inner part of the strip's width that is read: a choice, as outlines have.
const INNER_WIDTH: f64 = 0.6;
/// Narrowest strip, pixels of the reduced picture: fewer leave no two rows to be read.
const NARROWEST: f64 = 4.0;
/// Difference of an edge over its uncertainty: as on single lines.
const SIGNIFICANT: f64 = 5.0;
/// Smallest part of the brighter side that an edge differs by: a choice, 0.002 in density.
const SMALLEST_PART: f64 = 0.005;
/// Spread of an even area, part of its signal: a choice, 0.02 in density.
const EVEN: f64 = 0.05;
/// How far beyond its ends light is looked for: in pitches, and pixels more. A choice:
/// margins are narrower than a step, and light beyond them is read in the rest.
const REACH_IN_PITCHES: f64 = 1.5;
const REACH: f64 = 12.0;
/// Parts of the strip's smaller side within which its long sides are looked for: halves
/// of each other, a choice.
const SIDE_SCALES: [f64; 3] = [0.25, 0.5, 1.0];
/// Shortest stretch in which an edge is looked for, pixels: fewer leave no two of each side.
const FINEST_SCALE: f64 = 5.0;
/// Spread of the places of a side about a line beyond which it is none, pixels: a choice.
const LOOSEST_SIDE: f64 = 0.5;
/// Bands across the strip in which each edge is found by itself, for the tilt: a choice.
const BANDS: usize = 7;
/// Rounds of fitting; each begins with a better frame: a choice.
const ROUNDS: usize = 3;

/// A strip with steps. Edge number k lies at u = k · pitch; the signal falls
/// along u; v = 0 is the middle of the strip.
#[derive(Clone, Debug)]
pub(super) struct Strip {
    pub(super) frame: Frame,
    /// Pixels from edge to edge.
    pub(super) pitch: f64,
    /// Half of the width.
    pub(super) half_width: f64,
    /// First and last of the edges that were seen without a gap.
    pub(super) seen: (i32, i32),
    /// Spread of single edges about the fit, pixels.
    pub(super) edge_spread: f64,
    /// Standard uncertainty of the pitch.
    pub(super) pitch_sd: f64,
    /// Standard uncertainty of the place of all edges together, along u.
    pub(super) phase_sd: f64,
    /// Standard uncertainty of the sides, across.
    pub(super) side_sd: f64,
}

/// An edge found near where it was expected.
#[derive(Clone, Copy, Debug)]
pub(super) struct EdgeHere {
    /// How far along it lies from the place expected, pixels.
    pub(super) off: f64,
    /// Signal before less signal behind.
    pub(super) fall: f64,
}

/// Looks for an edge across u = 0 of a frame, within `scale` · 0.45 each way,
/// between two v; `None` when the sides can't be told apart.
pub(super) fn edge_here(
    light: &Light,
    frame: Frame,
    scale: f64,
    v: (f64, f64),
) -> Option<EdgeHere> {
    let reach = 0.45 * scale;
    let count = ((2.0 * reach * 1.5).ceil() as usize).clamp(12, 90);
    let rows = ((v.1 - v.0).ceil() as usize).clamp(1, 24);
    let step = 2.0 * reach / count as f64;
    let mut profile: Vec<(f64, f64)> = Vec::with_capacity(count);
    for i in 0..count {
        let u = -reach + step * (i as f64 + 0.5);
        let across: Vec<f64> = (0..rows)
            .filter_map(|k| {
                let v = v.0 + (v.1 - v.0) * (k as f64 + 0.5) / rows as f64;
                light.at(frame.to_picture(u, v))
            })
            .collect();
        // A column half outside tells nothing of its outer half.
        if across.len() * 2 > rows {
            profile.push((u, median(across)));
        }
    }
    let flat = 0.18 * scale;
    let side = |chosen: &dyn Fn(f64) -> bool| -> Option<(f64, f64)> {
        let values: Vec<f64> = profile
            .iter()
            .filter(|(u, _)| chosen(*u))
            .map(|(_, q)| *q)
            .collect();
        if values.len() < 2 {
            return None;
        }
        let middle = median(values.clone());
        let away = median(values.iter().map(|q| (q - middle).abs()).collect());
        Some((middle, 1.4826 * away))
    };
    let (before, spread_before) = side(&|u| u < -flat)?;
    let (behind, spread_behind) = side(&|u| u > flat)?;
    let fall = before - behind;
    let quiet = libm::hypot(spread_before, spread_behind).max(3e-6);
    // About a quarter of the samples of each side are independent.
    let error = 1.25 * quiet / libm::sqrt(0.3 * count as f64 / 4.0).max(1.0);
    if fall.abs() < SIGNIFICANT * error || fall.abs() < 1.5 * quiet {
        return None;
    }
    // The area under the edge tells where it lies, however soft it is. A line
    // between two steps, darker or lighter than both, counts for one of them.
    let from = profile.first()?.0 - step / 2.0;
    let area: f64 = profile
        .iter()
        .map(|(_, q)| ((q - behind) / fall).clamp(0.0, 1.0) * step)
        .sum();
    Some(EdgeHere {
        off: from + area,
        fall,
    })
}

impl Strip {
    /// Lays a staircase on the picture; `None` when it is no strip.
    pub(super) fn of(light: &Light, stairs: &Stairs) -> Option<Self> {
        let angle = libm::atan(stairs.slope);
        let pitch = stairs.pitch / libm::cos(angle);
        let last = stairs.edges as i32 - 1;
        let along = Frame {
            origin: stairs.from,
            angle,
        };
        let frame = if stairs.rises {
            // The signal shall fall along u.
            along.moved(f64::from(last) * pitch, 0.0, core::f64::consts::PI)
        } else {
            along
        };
        let mut strip = Self {
            frame,
            pitch,
            half_width: 1.5,
            seen: (0, last),
            edge_spread: 0.0,
            pitch_sd: 0.0,
            phase_sd: 0.0,
            side_sd: 0.0,
        };
        for _ in 0..ROUNDS {
            strip.follow(light)?;
            strip.grow(light)?;
            strip.fit(light)?;
        }
        strip.follow(light)?;
        strip.find_sides(light);
        Some(strip)
    }

    fn inner_width(&self) -> (f64, f64) {
        let half = INNER_WIDTH * self.half_width;
        (-half, half)
    }

    /// The area of a place along the strip, counted from edge 0.
    pub(super) fn area(&self, place: i32, part: (f64, f64)) -> Area {
        let at = |part: f64| (f64::from(place) + part) * self.pitch;
        Area {
            u: (at(part.0), at(part.1)),
            v: self.inner_width(),
        }
    }

    pub(super) fn level(&self, light: &Light, place: i32, part: (f64, f64)) -> Option<Level> {
        light.level(self.frame, self.area(place, part))
    }

    /// The edge of a number, over the strip's inner width, where it is in place.
    pub(super) fn edge(&self, light: &Light, number: i32) -> Option<EdgeHere> {
        self.edge_by(light, number, self.pitch)
    }

    /// The outer edge of the tablet at a number: a narrow margin may lie beyond it.
    pub(super) fn outer_edge(&self, light: &Light, number: i32) -> Option<EdgeHere> {
        [1.0, 0.5, 0.25, 0.125]
            .iter()
            .map(|part| part * self.pitch)
            .filter(|scale| *scale >= FINEST_SCALE.min(self.pitch))
            .find_map(|scale| self.edge_by(light, number, scale))
    }

    /// An edge in its place, by what lies within 0.45 · `scale` of it. A few
    /// columns tell their own noise badly, so all pixels of both sides are asked.
    fn edge_by(&self, light: &Light, number: i32, scale: f64) -> Option<EdgeHere> {
        let here = self.frame.moved(f64::from(number) * self.pitch, 0.0, 0.0);
        let edge = edge_here(light, here, scale, self.inner_width())
            .filter(|e| e.off.abs() <= (OFF_PLACE * self.pitch).max(0.8))?;
        let side = |from: f64, to: f64| {
            let area = Area {
                u: (from * scale, to * scale),
                v: self.inner_width(),
            };
            light.level(here, area)
        };
        let (before, behind) = (side(-0.45, -0.18)?, side(0.18, 0.45)?);
        let sure = edge.fall.abs() > SIGNIFICANT * libm::hypot(before.sd, behind.sd)
            && edge.fall.abs() > SMALLEST_PART * before.signal.max(behind.signal);
        sure.then_some(edge)
    }

    /// Finds how far the levels of the steps go on to both sides.
    fn grow(&mut self, light: &Light) -> Option<()> {
        let (first, last) = self.seen;
        let levels: Vec<(i32, f64)> = (first..last)
            .filter_map(|place| {
                let level = self.level(light, place, INNER)?;
                Some((place, level.log()))
            })
            .collect();
        let falls: Vec<f64> = levels.windows(2).map(|w| (w[0].1 - w[1].1).abs()).collect();
        if falls.len() < 2 {
            return None;
        }
        let same = |v: f64| {
            let mut agree = 0;
            for (i, (place, level)) in levels.iter().enumerate() {
                let left = falls[i.saturating_sub(1).min(falls.len() - 1)];
                let right = falls[i.min(falls.len() - 1)];
                let here = self.on_row(light, *place, v);
                if here.is_some_and(|l| (l - level).abs() < 0.45 * left.min(right) + 0.004) {
                    agree += 1;
                }
            }
            // Dense steps are lost in noise on single rows.
            agree * 3 >= levels.len() * 2
        };
        let gap = (0.25 * self.pitch).max(2.5);
        let most = f64::from(last - first + 4) * self.pitch;
        let reach = |sign: f64| {
            let (mut v, mut good) = (0.0, 0.0);
            while v - good <= gap && v <= most {
                if same(sign * v) {
                    good = v;
                }
                v += 1.0;
            }
            good + 0.5
        };
        let (up, down) = (reach(-1.0), reach(1.0));
        let half = (up + down) / 2.0;
        self.frame = self.frame.moved(0.0, (down - up) / 2.0, 0.0);
        self.half_width = half;
        (2.0 * half >= NARROWEST).then_some(())
    }

    /// log10 of the middle of a few samples of a step on one line along the strip.
    fn on_row(&self, light: &Light, place: i32, v: f64) -> Option<f64> {
        const SAMPLES: usize = 9;
        let mut samples = [0.0; SAMPLES];
        for (i, sample) in samples.iter_mut().enumerate() {
            let part = INNER.0 + (INNER.1 - INNER.0) * (i as f64 + 0.5) / SAMPLES as f64;
            let u = (f64::from(place) + part) * self.pitch;
            *sample = light.at(self.frame.to_picture(u, v))?;
        }
        samples.sort_unstable_by(f64::total_cmp);
        Some(log_of(samples[SAMPLES / 2]))
    }

    /// Follows the falling edges from the middle outwards while they are in place.
    fn follow(&mut self, light: &Light) -> Option<()> {
        let signal = |place: i32| self.level(light, place, INNER).map(|l| l.signal);
        // The whole step must be darker too: what goes back is a fence.
        let falls = |number: i32| {
            self.edge(light, number).is_some_and(|e| e.fall > 0.0)
                && matches!((signal(number - 1), signal(number)), (Some(a), Some(b)) if a > b)
        };
        let (first, last) = self.seen;
        // The longest run of those that were seen.
        let mut best: Option<(i32, i32)> = None;
        let mut run: Option<i32> = None;
        for number in first..=last + 1 {
            match (number <= last && falls(number), run) {
                (true, None) => run = Some(number),
                (false, Some(from)) => {
                    if best.is_none_or(|(a, b)| b - a < number - 1 - from) {
                        best = Some((from, number - 1));
                    }
                    run = None;
                }
                _ => {}
            }
        }
        let (mut first, mut last) = best?;
        while falls(first - 1) {
            first -= 1;
        }
        while falls(last + 1) {
            last += 1;
        }
        self.seen = (first, last);
        (last - first >= 3).then_some(())
    }

    /// Fits place, pitch and tilt to the edges in bands across the strip.
    fn fit(&mut self, light: &Light) -> Option<()> {
        let reach = 0.85 * self.half_width;
        let bands = ((2.0 * reach / 2.0) as usize).clamp(2, BANDS);
        let mut found: Vec<(f64, f64, f64)> = vec![];
        for number in self.seen.0..=self.seen.1 {
            let k = f64::from(number);
            let here = self.frame.moved(k * self.pitch, 0.0, 0.0);
            for band in 0..bands {
                let from = -reach + 2.0 * reach * band as f64 / bands as f64;
                let v = (from, from + 2.0 * reach / bands as f64);
                if let Some(edge) = edge_here(light, here, self.pitch, v)
                    && edge.fall > 0.0
                    && edge.off.abs() < (0.25 * self.pitch).max(1.5)
                {
                    found.push((k, (v.0 + v.1) / 2.0, k * self.pitch + edge.off));
                }
            }
        }
        let edges = (self.seen.1 - self.seen.0 + 1) as usize;
        if found.len() < 6.max(edges * bands / 3) {
            return None;
        }
        let mut weights = vec![1.0; found.len()];
        let mut answer = None;
        for _ in 0..8 {
            let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
            for ((k, v, u), weight) in found.iter().zip(&weights) {
                let row = Vector3::new(1.0, *k, *v);
                normal += row * row.transpose() * *weight;
                right += row * (*u * *weight);
            }
            let inverse = normal.try_inverse()?;
            let solution = inverse * right;
            let off: Vec<f64> = found
                .iter()
                .map(|(k, v, u)| u - solution.dot(&Vector3::new(1.0, *k, *v)))
                .collect();
            let spread = (1.4826 * median(off.iter().map(|o| o.abs()).collect())).max(0.02);
            for (weight, off) in weights.iter_mut().zip(&off) {
                // Beaton and Tukey's weights, as elsewhere in this room.
                let part = (off / (4.685 * spread)).clamp(-1.0, 1.0);
                *weight = (1.0 - part * part) * (1.0 - part * part);
            }
            answer = Some((solution, inverse, spread));
        }
        let (solution, inverse, spread) = answer?;
        // An edge lies at u = a + p·k + t·v, so the strip's axis is turned by −atan t.
        let turned = -libm::atan(solution.z);
        // Bands of one edge share its dust and its curl: they count as one.
        let shared = libm::sqrt(bands as f64);
        self.frame = self.frame.moved(solution.x, 0.0, turned);
        self.pitch = solution.y * libm::cos(turned);
        self.edge_spread = spread;
        self.pitch_sd = spread * shared * libm::sqrt(inverse[(1, 1)].max(0.0));
        self.phase_sd = spread * shared / libm::sqrt(found.len() as f64);
        (self.pitch > 3.0).then_some(())
    }

    /// Finds both long sides by the steps whose level differs from what lies beside.
    fn find_sides(&mut self, light: &Light) {
        // A long narrow strip has its tilt from its sides, not from its short edges.
        self.turn_by_sides(light);
        let scale = self.pitch.min(2.0 * self.half_width);
        let coarse = (0.1 * scale).max(0.5);
        let side = |sign: f64| {
            let offs: Vec<f64> = self.side_offs(light, sign).iter().map(|o| o.1).collect();
            if offs.is_empty() {
                return (sign * self.half_width, coarse);
            }
            let count = offs.len() as f64;
            let middle = median(offs.clone());
            let spread = 1.4826 * median(offs.iter().map(|o| (o - middle).abs()).collect());
            (
                sign * self.half_width + middle,
                (1.25 * spread / libm::sqrt(count)).max(0.02),
            )
        };
        let ((top, top_sd), (bottom, bottom_sd)) = (side(-1.0), side(1.0));
        if bottom - top < NARROWEST {
            return;
        }
        self.frame = self.frame.moved(0.0, (top + bottom) / 2.0, 0.0);
        self.half_width = (bottom - top) / 2.0;
        self.side_sd = top_sd.max(bottom_sd);
    }

    /// How far a long side lies from where it was taken to be, by place along the
    /// strip; empty where it is seen beside fewer than three steps.
    fn side_offs(&self, light: &Light, sign: f64) -> Vec<(f64, f64)> {
        let scale = self.pitch.min(2.0 * self.half_width);
        let within = |scale: f64| -> Vec<(f64, f64)> {
            (self.seen.0..self.seen.1)
                .filter_map(|place| {
                    let middle = (f64::from(place) + 0.5) * self.pitch;
                    let here = self.frame.moved(
                        middle,
                        sign * self.half_width,
                        core::f64::consts::FRAC_PI_2,
                    );
                    let half = 0.3 * self.pitch;
                    edge_here(light, here, scale, (-half, half)).map(|e| (middle, e.off))
                })
                .collect()
        };
        // From near to far: a narrow margin as dark as the dense steps would put the
        // side where the margin ends.
        SIDE_SCALES
            .iter()
            .map(|part| part * scale)
            .filter(|scale| *scale >= FINEST_SCALE)
            .map(within)
            .find(|offs| offs.len() >= 3)
            .unwrap_or_default()
    }

    /// Turns the strip about its middle until its sides lie along it.
    fn turn_by_sides(&mut self, light: &Light) {
        let slopes: Vec<f64> = [-1.0, 1.0]
            .iter()
            .filter_map(|sign| slope_through(&self.side_offs(light, *sign)))
            .collect();
        if slopes.is_empty() {
            return;
        }
        let slope = slopes.iter().sum::<f64>() / slopes.len() as f64;
        let middle = f64::from(self.seen.0 + self.seen.1) / 2.0 * self.pitch;
        self.frame = self
            .frame
            .moved(middle, 0.0, libm::atan(slope))
            .moved(-middle, 0.0, 0.0);
    }

    /// The brightest even band of what lies next to the thin end: before it, or
    /// beside the first step. Bands are narrow, so that a margin or a gap of a few
    /// pixels is seen for itself; what is half of it and half of something else is
    /// not even.
    pub(super) fn beside_thin_end(&self, light: &Light, first: i32) -> Option<Level> {
        let reach = (0.45 * self.pitch).max(8.0);
        let width = (0.06 * self.pitch).max(2.0);
        let bands = (reach / width) as usize;
        let start = f64::from(first) * self.pitch;
        let (inner, h) = (self.inner_width(), self.half_width);
        // The first band may hold the edge itself.
        let areas = (1..bands).flat_map(|band| {
            let (near, far) = (band as f64 * width, (band + 1) as f64 * width);
            let beside = |v| Area {
                v,
                ..self.area(first, INNER)
            };
            [
                Area {
                    u: (start - far, start - near),
                    v: inner,
                },
                beside((-h - far, -h - near)),
                beside((h + near, h + far)),
            ]
        });
        areas
            .filter_map(|area| light.level(self.frame, area))
            .filter(|level| level.inside > 0.6 && level.spread < EVEN * level.signal)
            .max_by(|a, b| a.signal.total_cmp(&b.signal))
    }

    /// How far before the edge of a number light is met, 0 right beside it; pixels.
    pub(super) fn margin_before(&self, light: &Light, number: i32, lit: f64) -> Option<f64> {
        // Next to the edge the step itself shines through a soft picture.
        let soft = (OFF_PLACE * self.pitch).max(1.5);
        let found = self.first_lit(light, number, (-1.0, soft), lit)?;
        Some(if found > soft { found } else { 0.0 })
    }

    /// How far behind the edge of a number light is met, less than 0 before it; pixels.
    pub(super) fn margin_behind(&self, light: &Light, number: i32, lit: f64) -> Option<f64> {
        self.first_lit(light, number, (1.0, -0.5 * self.pitch), lit)
    }

    /// The first slice across the strip that is lit, going one way from a distance to
    /// the edge of a number.
    fn first_lit(
        &self,
        light: &Light,
        number: i32,
        (way, from): (f64, f64),
        lit: f64,
    ) -> Option<f64> {
        const SLICE: f64 = 1.0;
        let edge = f64::from(number) * self.pitch;
        let reach = REACH_IN_PITCHES * self.pitch + REACH;
        let slices = ((reach - from) / (SLICE / 2.0)) as usize;
        (0..slices)
            .map(|k| from + k as f64 * SLICE / 2.0)
            .find(|away| {
                let (a, b) = (edge + way * away, edge + way * (away + SLICE));
                let area = Area {
                    u: (a.min(b), a.max(b)),
                    v: self.inner_width(),
                };
                light
                    .level(self.frame, area)
                    .is_some_and(|level| level.inside > 0.6 && level.signal > lit)
            })
    }

    /// Tells whether the strip's sides can be seen at a place: what lies beside
    /// it on both sides is another level, or an edge runs along both.
    pub(super) fn has_sides(&self, light: &Light, place: i32) -> bool {
        let Some(level) = self.level(light, place, INNER) else {
            return false;
        };
        let apart = |from: f64, to: f64| {
            let area = Area {
                v: (from, to),
                ..self.area(place, INNER)
            };
            match light.level(self.frame, area) {
                Some(beside) if beside.inside > 0.5 => {
                    let off = (beside.signal - level.signal).abs();
                    off > SIGNIFICANT * libm::hypot(beside.sd, level.sd)
                        && off > 0.01 * beside.signal.max(level.signal)
                }
                _ => true,
            }
        };
        let h = self.half_width;
        let (near, far) = (h + (0.15 * h).max(1.0), h + (0.5 * h).max(3.0));
        // A narrow margin with something else beyond it is no even level.
        let edge = |side: f64| {
            let middle = (f64::from(place) + 0.5) * self.pitch;
            let here = self
                .frame
                .moved(middle, side * h, core::f64::consts::FRAC_PI_2);
            let half = 0.3 * self.pitch;
            [1.0, 0.5].iter().any(|part| {
                let scale = part * self.pitch.min(2.0 * h);
                edge_here(light, here, scale, (-half, half)).is_some()
            })
        };
        (apart(-far, -near) || edge(-1.0)) && (apart(near, far) || edge(1.0))
    }
}

/// Slope of the line through offs of a side, by the median of the slopes of all pairs
/// (Theil and Sen); `None` where they lie along no line.
fn slope_through(offs: &[(f64, f64)]) -> Option<f64> {
    if offs.len() < 3 {
        return None;
    }
    let pairs = offs
        .iter()
        .enumerate()
        .flat_map(|(i, a)| offs[i + 1..].iter().map(move |b| (b.1 - a.1) / (b.0 - a.0)));
    let slope = median(pairs.collect());
    let level = median(offs.iter().map(|o| o.1 - slope * o.0).collect());
    let away = offs.iter().map(|o| (o.1 - slope * o.0 - level).abs());
    (1.4826 * median(away.collect()) < LOOSEST_SIDE).then_some(slope)
}
