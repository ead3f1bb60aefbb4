//! Scans with a step tablet somewhere in them, drawn at random, with what is
//! wrong with them when something shall be.
//!
//! For trying what looks for tablets. The tablet lies in any of four directions
//! with a tilt, in bare light, in a dark holder or in a slot of it, alone or
//! beside a film with a picture; it may have a margin, lines between its steps,
//! numbers on them or beside them; dust and hairs lie over all.

use crate::noise::Draws;
use crate::texture::Texture;

/// What is wrong with the tablet of a made scan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TabletFlaw {
    /// Nothing.
    None,
    /// There is none.
    Absent,
    /// The thinnest step is cut away.
    ThinStepMissing,
    /// The densest step is cut away.
    DenseStepMissing,
    /// A step in the middle is cut out and the rest moved together.
    MiddleStepMissing,
    /// Something opaque lies over a step or two.
    StepCovered,
    /// One or two steps lie beyond the edge of the scan.
    CutByScan,
    /// A second tablet lies beside it.
    Two,
    /// A tablet of another table.
    OtherTable,
    /// An even wedge instead.
    Wedge,
}

/// A made scan.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletScan {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Codes as parts of the scale, row by row.
    pub signal: Vec<f32>,
    /// Light is code to this power.
    pub gamma: f64,
    /// Bits of the codes.
    pub bits: u8,
    /// The table that is asked for, as certified.
    pub table: Vec<f64>,
    /// Corners of each step of it where it lies, in the table's order.
    pub steps: Vec<Option<[(f64, f64); 4]>>,
    /// The same of a second tablet.
    pub second: Vec<Option<[(f64, f64); 4]>>,
    /// What lies around the tablet, in words.
    pub scene: String,
}

/// How far an answer about a tablet's place is off.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlaceError {
    /// Largest distance of an edge between steps, in pitches.
    pub edge: f64,
    /// Largest distance of a long side, in widths of the tablet.
    pub side: f64,
}

/// A step as an answer places it.
#[derive(Clone, Debug, PartialEq)]
pub struct AnsweredStep {
    /// Corners of what is to be measured.
    pub inner: Vec<(f64, f64)>,
    /// Corners of the whole step.
    pub whole: [(f64, f64); 4],
    /// Whether the answer says that it was seen.
    pub seen: bool,
}

impl TabletScan {
    /// Compares an answer with what lies there.
    ///
    /// # Errors
    /// What is wrong with it: a step that is not there, or an outline that
    /// reaches into another.
    pub fn compare(&self, answer: &[AnsweredStep]) -> Result<PlaceError, String> {
        let first = compare_with(&self.steps, answer);
        if first.is_ok() || self.second.is_empty() {
            return first;
        }
        compare_with(&self.second, answer)
    }
}

fn compare_with(
    steps: &[Option<[(f64, f64); 4]>],
    answer: &[AnsweredStep],
) -> Result<PlaceError, String> {
    if answer.len() != steps.len() {
        return Err(format!("{} steps", answer.len()));
    }
    let mut error = PlaceError::default();
    for (number, (step, truth)) in (1..).zip(answer.iter().zip(steps)) {
        let Some(truth) = truth else {
            if step.seen {
                return Err(format!("step {number} is not there"));
            }
            continue;
        };
        let inside = |(x, y): (f64, f64)| {
            (0..4).all(|i| {
                let (a, b) = (truth[i], truth[(i + 1) % 4]);
                (b.0 - a.0) * (y - a.1) - (b.1 - a.1) * (x - a.0) >= -1e-9
            })
        };
        if !step.inner.iter().all(|corner| inside(*corner)) {
            return Err(format!("step {number}: {:?}, true {truth:?}", step.inner));
        }
        let between = |a: (f64, f64), b: (f64, f64)| (b.0 - a.0, b.1 - a.1);
        let (along, across) = (between(truth[0], truth[1]), between(truth[0], truth[3]));
        let (pitch, width) = (
            libm::hypot(along.0, along.1),
            libm::hypot(across.0, across.1),
        );
        for corner in step.whole {
            // Corners may go round in either order; the nearest is meant.
            let Some(off) = truth
                .iter()
                .map(|t| between(*t, corner))
                .min_by(|a, b| libm::hypot(a.0, a.1).total_cmp(&libm::hypot(b.0, b.1)))
            else {
                continue;
            };
            let part = |d: (f64, f64), length: f64| {
                ((off.0 * d.0 + off.1 * d.1) / (length * length)).abs()
            };
            error.edge = error.edge.max(part(along, pitch));
            error.side = error.side.max(part(across, width));
        }
    }
    Ok(error)
}

/// Opaque: a holder, a strip of tape.
const OPAQUE: f64 = 4.8;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Around {
    Light,
    Holder,
    /// A slot in the holder, wider than the tablet by these.
    Slot {
        along: f64,
        across: f64,
    },
}

struct Strip {
    centre: (f64, f64),
    sin: f64,
    cos: f64,
    /// Density of each place along it; `None` where it is cut out.
    places: Vec<Option<f64>>,
    pitch: f64,
    thick: f64,
    margin: Option<(f64, f64)>,
    line: Option<(f64, f64)>,
    numbers: bool,
    wedge: bool,
}

impl Strip {
    fn own(&self, x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = (x - self.centre.0, y - self.centre.1);
        (dx * self.cos + dy * self.sin, dy * self.cos - dx * self.sin)
    }

    fn length(&self) -> f64 {
        self.pitch * self.places.len() as f64
    }

    fn corners(&self, place: usize) -> [(f64, f64); 4] {
        let at = |k: f64| (k - self.places.len() as f64 / 2.0) * self.pitch;
        let (a, b, t) = (at(place as f64), at(place as f64 + 1.0), self.thick / 2.0);
        [(a, -t), (b, -t), (b, t), (a, t)].map(|(u, v)| {
            (
                self.centre.0 + u * self.cos - v * self.sin,
                self.centre.1 + u * self.sin + v * self.cos,
            )
        })
    }

    fn density(&self, x: f64, y: f64) -> Option<f64> {
        let (u, v) = self.own(x, y);
        let k = u / self.pitch + self.places.len() as f64 / 2.0;
        let out =
            (v.abs() - self.thick / 2.0).max((-k).max(k - self.places.len() as f64) * self.pitch);
        if out > 0.0 {
            return self
                .margin
                .filter(|(width, _)| out <= *width)
                .map(|(_, density)| density);
        }
        let place = (k as usize).min(self.places.len() - 1);
        let density = self.places[place]?;
        if self.wedge {
            let next = self.places[(place + 1).min(self.places.len() - 1)]?;
            return Some(density + (k - place as f64) * (next - density));
        }
        let part = k - place as f64;
        if let Some((width, line)) = self.line
            && (part < width || part > 1.0 - width)
        {
            return Some(line);
        }
        // A number of two strokes near one side of each step.
        let down = v / self.thick + 0.5;
        if self.numbers
            && (0.06..0.24).contains(&down)
            && ((0.3..0.38).contains(&part)
                || (0.5..0.58).contains(&part)
                || (down < 0.1 && part > 0.3 && part < 0.58))
        {
            return Some(if density > 1.2 { 0.3 } else { density + 1.0 });
        }
        Some(density)
    }
}

/// The nominal tables: 11 × 0.30, 21 × 0.15, 31 × 0.10 from 0.05 (common practice).
fn table(steps: usize, draws: &mut Draws) -> Vec<f64> {
    let step = match steps {
        11 => 0.30,
        21 => 0.15,
        _ => 0.10,
    };
    (0..steps)
        .map(|k| 0.05 + step * k as f64 + draws.between(-0.012, 0.012))
        .collect()
}

/// Draws scan number `draw` with a tablet of 11, 21 or 31 steps and this flaw.
///
/// # Panics
/// When the number of steps is another.
#[must_use]
pub fn tablet_scan(draw: u64, steps: usize, flaw: TabletFlaw) -> TabletScan {
    assert!([11, 21, 31].contains(&steps), "a tablet of {steps} steps");
    let mut draws = Draws::new(draw, 47);
    let width = draws.between(640.0, 1150.0) as usize;
    let height = (width as f64 * draws.between(0.65, 1.0)) as usize;
    let asked = table(steps, &mut draws);
    let others = [11, 21, 31].map(|n| table(n, &mut draws));
    let (mut lying, mut number): (Vec<Option<f64>>, Vec<usize>) = (
        asked.iter().map(|d| Some(*d)).collect(),
        (0..steps).collect(),
    );
    let middle = 2 + draws.between(0.0, (steps - 4) as f64) as usize;
    match flaw {
        TabletFlaw::ThinStepMissing => {
            lying.remove(0);
            number.remove(0);
        }
        TabletFlaw::DenseStepMissing => {
            lying.pop();
            number.pop();
        }
        TabletFlaw::MiddleStepMissing => {
            lying.remove(middle);
            number.remove(middle);
        }
        TabletFlaw::StepCovered => {
            lying[middle] = Some(OPAQUE);
            if draws.uniform() < 0.4 {
                lying[middle + 1] = Some(OPAQUE);
            }
        }
        TabletFlaw::OtherTable => {
            let other = match steps {
                11 => &others[1],
                21 => &others[2 * usize::from(draws.uniform() < 0.5)],
                _ => &others[1],
            };
            lying = other.iter().map(|d| Some(*d)).collect();
            number = vec![];
        }
        _ => {}
    }
    let quarter = (draws.uniform() * 4.0) as usize;
    let tilt = draws.between(-5.0, 5.0) * if draws.uniform() < 0.3 { 0.1 } else { 1.0 };
    let angle = (90.0 * quarter as f64 + tilt).to_radians();
    let (long, short) = if quarter.is_multiple_of(2) {
        (width as f64, height as f64)
    } else {
        (height as f64, width as f64)
    };
    let count = lying.len() as f64;
    let length = (long * draws.between(0.55, 0.93))
        .max((count + 1.0) * 7.0)
        .min(0.95 * long - 16.0);
    let thick = (length * draws.between(0.05, 0.16))
        .max(14.0)
        .min(0.3 * short);
    let around = match draws.uniform() {
        u if u < 0.35 => Around::Light,
        u if u < 0.7 => Around::Holder,
        _ => Around::Slot {
            along: draws.between(0.3, 1.8) * length / count,
            across: if draws.uniform() < 0.3 {
                0.5
            } else {
                draws.between(2.0, 20.0)
            },
        },
    };
    let mut strip = Strip {
        centre: (width as f64 / 2.0, height as f64 / 2.0),
        sin: libm::sin(angle),
        cos: libm::cos(angle),
        places: lying,
        pitch: length / count,
        thick,
        margin: (draws.uniform() < 0.3).then(|| {
            let dark = draws.uniform() < 0.5;
            (draws.between(2.0, 9.0), if dark { 3.3 } else { 0.012 })
        }),
        line: (draws.uniform() < 0.25).then(|| {
            let light = draws.uniform() < 0.5;
            (draws.between(0.01, 0.035), if light { 0.04 } else { 2.6 })
        }),
        numbers: draws.uniform() < 0.35,
        wedge: flaw == TabletFlaw::Wedge,
    };
    // Across: anywhere; along: in the middle, give or take what is left.
    let across = (short - thick) / 2.0 - 12.0 - 0.05 * length;
    let shift = draws.between(-1.0, 1.0) * across.max(0.0);
    let slack = ((0.97 * long - length) / 2.0 - 14.0).max(0.0);
    let mut along = draws.between(-1.0, 1.0) * slack;
    if flaw == TabletFlaw::CutByScan {
        let beyond = draws.between(0.3, 2.2) * strip.pitch;
        along = ((long - length) / 2.0 + beyond) * if draws.uniform() < 0.5 { 1.0 } else { -1.0 };
    }
    strip.centre.0 += along * strip.cos - shift * strip.sin;
    strip.centre.1 += along * strip.sin + shift * strip.cos;
    let second = (flaw == TabletFlaw::Two).then(|| {
        let away = if shift > 0.0 { -1.0 } else { 1.0 } * (thick * 1.6 + 14.0);
        Strip {
            centre: (
                strip.centre.0 - away * strip.sin,
                strip.centre.1 + away * strip.cos,
            ),
            places: strip.places.clone(),
            ..strip
        }
    });
    let film = draws.uniform() < 0.7;
    let gap = draws.between(2.0, 30.0) + thick / 2.0 + 0.03 * length;
    let film_side = if shift > 0.0 { -1.0 } else { 1.0 };
    let texture = Texture::new(draw, 3);
    let (scale, dense) = (draws.between(60.0, 240.0), draws.between(0.5, 1.0));
    let base = draws.between(0.08, 0.3);
    let fence = (draws.uniform() < 0.3).then(|| draws.between(5.0, 24.0));
    let texts = draws.uniform() < 0.3;
    let absent = flaw == TabletFlaw::Absent;
    let density_at = |x: f64, y: f64| -> f64 {
        if !absent {
            if let Some(d) = strip.density(x, y) {
                return d;
            }
            if let Some(second) = &second
                && let Some(d) = second.density(x, y)
            {
                return d;
            }
        }
        let (u, v) = strip.own(x, y);
        let aside = v * film_side - gap;
        if film && aside > 0.0 && second.is_none() {
            // A rebate of 14 px, then the picture.
            if aside < 14.0 {
                return base;
            }
            let mut scene = texture.octaves(x / scale, y / scale, 5);
            if let Some(period) = fence
                && (u / period).rem_euclid(1.0) < 0.4
                && v.rem_euclid(200.0) < 90.0
            {
                scene += 0.6;
            }
            return base + 0.9 * dense * (1.0 + scene).clamp(0.0, 2.4);
        }
        // Glyphs in a row beside the strip.
        if texts && !absent {
            let beside = v * film_side + thick / 2.0 + 4.0;
            let part = (u / strip.pitch).rem_euclid(1.0);
            if (-9.0..0.0).contains(&beside) && (0.35..0.6).contains(&part) {
                return 1.5;
            }
        }
        match around {
            Around::Light => 0.0,
            Around::Holder => OPAQUE,
            Around::Slot { along, across } => {
                let inside =
                    u.abs() < strip.length() / 2.0 + along && v.abs() < strip.thick / 2.0 + across;
                if inside { 0.0 } else { OPAQUE }
            }
        }
    };
    let gamma = if draws.uniform() < 0.7 {
        1.0
    } else {
        draws.between(1.8, 2.4)
    };
    let bits: u8 = if gamma > 1.0 && draws.uniform() < 0.5 {
        8
    } else {
        16
    };
    let flare = draws.between(0.0, 0.003);
    let (dark, shot) = (draws.between(3e-5, 3e-4), draws.between(5e-4, 3e-3));
    let clear = draws.between(0.75, 0.99);
    let callier = if draws.uniform() < 0.5 {
        1.0
    } else {
        draws.between(1.0, 1.4)
    };
    let lamp = (draws.between(-0.03, 0.03), draws.between(-0.03, 0.03));
    let mut light = vec![0.0_f64; width * height];
    for y in 0..height {
        for x in 0..width {
            let mut sum = 0.0;
            for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let d = density_at(x as f64 + dx, y as f64 + dy);
                sum += libm::exp10(-callier * d);
            }
            let (along, down) = (
                x as f64 / width as f64 - 0.5,
                y as f64 / height as f64 - 0.5,
            );
            light[y * width + x] = sum / 4.0 * (1.0 + lamp.0 * along + lamp.1 * down);
        }
    }
    dirt(&mut light, width, &mut draws);
    let top = if bits == 8 { 255.0 } else { 65_535.0 };
    let signal = light
        .iter()
        .map(|light| {
            let seen = clear * (light + flare) / (1.0 + flare);
            let noise = libm::sqrt(dark * dark + shot * shot * seen);
            let seen = (seen + noise * draws.pixel()).clamp(0.0, 1.0);
            (libm::round(libm::pow(seen, 1.0 / gamma) * top) / top) as f32
        })
        .collect();
    let mut truth = vec![None; steps];
    if !absent && flaw != TabletFlaw::Wedge {
        for (place, step) in number.iter().enumerate() {
            truth[*step] = Some(strip.corners(place));
        }
    }
    TabletScan {
        width,
        height,
        signal,
        gamma,
        bits,
        table: asked,
        steps: truth,
        second: second.map_or(vec![], |second| {
            (0..steps).map(|step| Some(second.corners(step))).collect()
        }),
        scene: format!(
            "{width} × {height}, quarter {quarter}, tilt {tilt:.2}, pitch {:.1}, thick {thick:.0}, {around:?}, film {film}, margin {:?}, line {:?}, numbers {}, texts {texts}, gamma {gamma:.2}, {bits} bits, flare {flare:.4}, callier {callier:.2}",
            strip.pitch, strip.margin, strip.line, strip.numbers
        ),
    }
}

/// Dust and hairs: less light, softly.
fn dirt(light: &mut [f64], width: usize, draws: &mut Draws) {
    let height = light.len() / width;
    let mut stop = |x: f64, y: f64, part: f64| {
        if x >= 0.0 && y >= 0.0 && (x as usize) < width && (y as usize) < height {
            light[y as usize * width + x as usize] *= 1.0 - part;
        }
    };
    for _ in 0..draws.between(10.0, 70.0) as usize {
        let (x, y) = (
            draws.between(0.0, width as f64),
            draws.between(0.0, height as f64),
        );
        let (radius, part) = (draws.between(0.5, 2.6), draws.between(0.3, 0.95));
        let reach = libm::ceil(radius) as i32;
        for down in -reach..=reach {
            for across in -reach..=reach {
                if libm::hypot(f64::from(across), f64::from(down)) <= radius {
                    stop(x + f64::from(across), y + f64::from(down), part);
                }
            }
        }
    }
    for _ in 0..3 {
        let (mut x, mut y) = (
            draws.between(0.0, width as f64),
            draws.between(0.0, height as f64),
        );
        let mut direction = draws.between(0.0, core::f64::consts::TAU);
        let bend = draws.normal(0.04);
        for _ in 0..60 {
            stop(x, y, 0.7);
            x += libm::cos(direction);
            y += libm::sin(direction);
            direction += bend;
        }
    }
}
