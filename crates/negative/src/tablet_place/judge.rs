//! A strip held against the tablet's table: which step is the first, what was
//! seen of the others, and whether it can stand.

use super::light::{Level, Light};
use super::place::TabletPlaceError;
use super::strip::{INNER, OFF_PLACE, Strip};
use crate::patch::median;

/// Fewest steps that must be told apart, however few the tablet has: all of the shortest
/// that is looked for.
const FEWEST_SEEN: usize = 7;
/// Slope γ where the tone is known: a specular scanner reads more than the
/// table (Callier effect; 1.2 to 1.5 for silver, from memory); with room on both sides, a
/// choice.
const SLOPE_OF_LIGHT: (f64, f64) = (0.8, 1.75);
/// Slope γ of codes of unknown tone: the same through a gamma of 1 to 3, with room.
const SLOPE_OF_CODES: (f64, f64) = (0.25, 1.9);
/// Densities above the thinnest step within which flare hardly bends x: 0.3 % of it, the
/// most of the made scans, takes lg(1 + 0.003/0.1) = 0.013 off at the end.
const LIGHT_RANGE: f64 = 1.0;
/// By how much the light steps may differ from the table, and a step's
/// difference from that of its neighbours: a choice, a third of the smallest usual step
/// (0.10). \[density\]
const OFF_TABLE: f64 = 0.035;
/// Part of a step's fall that may lie between the halves of its inner part; an
/// even wedge has 0.35 (from the middle of one half to that of the other). A choice between.
const UNEVEN: f64 = 0.2;
/// The same for the middle of all steps, with its sign: a ramp has 0.35. A choice, less
/// than above because the noise of single steps is gone.
const RAMP: f64 = 0.12;
/// Narrowest strip, in pitches: a choice, against staircases that noise makes of a ramp.
const NARROWEST: f64 = 0.45;
/// Part of the thinnest step's signal from which something is light: a choice, 0.30 denser
/// than that step.
const LIT: f64 = 0.5;
/// Part of the pitch by which the margins at both ends may differ. A step that is missing
/// shifts the far end by 1, so that half would tell the two apart if margins were equal; a
/// third, a choice, leaves room for margins that are not.
const MARGINS_ALIKE: f64 = 0.35;
/// Part of the full scale at which a step counts as clipped: the last code of 8 bits (the
/// one before is 0.996), the last 66 of 16 bits.
const CLIPPED: f64 = 0.999;

/// Parts of a step, from its thin edge on, in which nothing may be brighter: the inner
/// four fifths in five.
const PARTS: [(f64, f64); 5] = [
    (0.1, 0.26),
    (0.26, 0.42),
    (0.42, 0.58),
    (0.58, 0.74),
    (0.74, 0.9),
];

/// A strip that stands.
#[derive(Clone, Debug)]
pub(super) struct Judged {
    /// Place of the thinnest step.
    pub(super) first: i32,
    /// Steps whose edges were both seen, from the thinnest on.
    pub(super) seen: usize,
    pub(super) table_misfit: Option<f64>,
    pub(super) quality: f64,
}

/// Why a strip can't stand.
#[derive(Clone, Debug)]
pub(super) struct Fault {
    /// Steps that were told apart.
    pub(super) seen: usize,
    pub(super) kind: FaultKind,
}

#[derive(Clone, Debug)]
pub(super) enum FaultKind {
    NotAlike,
    StepCount,
    CutOff {
        step: usize,
    },
    EndUnseen,
    FarEndUnseen,
    NotByTable {
        step: usize,
        seen: f64,
        expected: f64,
    },
    Uneven {
        step: usize,
    },
    TooFewSeen {
        needed: usize,
    },
}

impl Fault {
    /// In the words of the search; steps counted in the table's order.
    pub(super) fn error(
        &self,
        &(x, y): &(f64, f64),
        steps: usize,
        falls: bool,
    ) -> TabletPlaceError {
        let number = |step: usize| if falls { steps + 1 - step } else { step };
        let seen = self.seen;
        match self.kind {
            FaultKind::NotAlike => TabletPlaceError::NotFound,
            FaultKind::StepCount => TabletPlaceError::StepCount { seen, steps, x, y },
            FaultKind::CutOff { step } => TabletPlaceError::CutOff {
                step: number(step),
                x,
                y,
            },
            FaultKind::EndUnseen => TabletPlaceError::EndUnseen { x, y },
            FaultKind::FarEndUnseen => TabletPlaceError::FarEndUnseen { x, y },
            FaultKind::NotByTable {
                step,
                seen,
                expected,
            } => TabletPlaceError::NotByTable {
                step: number(step),
                seen,
                expected,
                x,
                y,
            },
            FaultKind::Uneven { step } => TabletPlaceError::Uneven {
                step: number(step),
                x,
                y,
            },
            FaultKind::TooFewSeen { needed } => TabletPlaceError::TooFewSeen {
                seen,
                steps,
                needed,
                x,
                y,
            },
        }
    }
}

impl Judged {
    /// Standard uncertainty of the edge that is least sure, pixels of the picture.
    pub(super) fn edge_sd(&self, strip: &Strip, steps: usize) -> f64 {
        let middle = f64::from(strip.seen.0 + strip.seen.1) / 2.0;
        let far = f64::from(self.first) - middle;
        let other = f64::from(self.first + steps as i32) - middle;
        libm::hypot(strip.phase_sd, strip.pitch_sd * far.abs().max(other.abs()))
    }
}

/// Holds a strip against a table whose first step is the thinnest.
pub(super) fn judge(
    light: &Light,
    strip: &Strip,
    table: &[f64],
    tone_known: bool,
) -> Result<Judged, Fault> {
    let mut stands: Vec<Judged> = vec![];
    let mut faults: Vec<Fault> = vec![];
    // Before the first falling edge lies the thinnest step when the holder
    // around it is dark, and bare light when that is brighter.
    for first in [strip.seen.0 - 1, strip.seen.0] {
        let question = Question {
            light,
            strip,
            table,
            tone_known,
            first,
        };
        match question.answer() {
            Ok(judged) => stands.push(judged),
            Err(fault) => faults.push(fault),
        }
    }
    match (stands.len(), stands.pop()) {
        (1, Some(judged)) => Ok(judged),
        (0, _) => Err(chosen(faults)),
        // Two ways to count the steps: an end is not told from what lies beside it.
        (_, _) => Err(Fault {
            seen: (strip.seen.1 - strip.seen.0) as usize,
            kind: FaultKind::EndUnseen,
        }),
    }
}

/// The reason of the strip that came farthest.
fn chosen(mut faults: Vec<Fault>) -> Fault {
    let rank = |fault: &Fault| match fault.kind {
        FaultKind::Uneven { .. } => 7,
        FaultKind::FarEndUnseen => 6,
        FaultKind::NotByTable { .. } => 5,
        FaultKind::TooFewSeen { .. } => 4,
        FaultKind::StepCount => 3,
        FaultKind::EndUnseen => 2,
        FaultKind::CutOff { .. } => 1,
        FaultKind::NotAlike => 0,
    };
    faults.sort_by_key(|f| core::cmp::Reverse(rank(f)));
    faults.swap_remove(0)
}

struct Question<'a> {
    light: &'a Light,
    strip: &'a Strip,
    table: &'a [f64],
    tone_known: bool,
    /// Place that is taken for the thinnest step.
    first: i32,
}

impl Question<'_> {
    fn fault(&self, seen: usize, kind: FaultKind) -> Fault {
        Fault { seen, kind }
    }

    /// Level of a step, counted from 0 at the thin end; those beyond are beside the tablet.
    fn level(&self, step: i32) -> Option<Level> {
        self.strip.level(self.light, self.first + step, INNER)
    }

    /// The edge before a step.
    fn edge(&self, step: i32) -> Option<f64> {
        self.strip
            .edge(self.light, self.first + step)
            .map(|e| e.fall)
    }

    /// An outer edge of the tablet.
    fn outer_edge(&self, step: i32) -> Option<f64> {
        let edge = self.strip.outer_edge(self.light, self.first + step);
        edge.map(|e| e.fall)
    }

    fn answer(&self) -> Result<Judged, Fault> {
        let steps = self.table.len();
        let count = steps as i32;
        let (first_edge, last_edge) = self.strip.seen;
        // Edges inside the tablet that fall without a gap, from the thin end.
        let inner = (last_edge.min(self.first + count - 1) - self.first).max(0);
        let apart = inner as usize + 1;
        let whole = (last_edge - first_edge + 1) as usize;
        if 2.0 * self.strip.half_width < NARROWEST * self.strip.pitch {
            return Err(self.fault(apart, FaultKind::NotAlike));
        }
        let levels = self.levels(apart)?;
        self.end_is_seen(apart)?;
        self.goes_on(apart, last_edge, whole)?;
        self.ends(apart)?;
        let far_edge = self.outer_edge(count).is_some();
        let needed = FEWEST_SEEN.max(steps.div_ceil(2)).min(steps);
        let seen = if far_edge && apart == steps {
            apart
        } else {
            apart - 1
        };
        if seen < needed {
            return Err(self.fault(seen, FaultKind::TooFewSeen { needed }));
        }
        let fit = self.by_table(&levels)?;
        self.beside_light(&levels)?;
        if seen < steps {
            self.length(seen)?;
        }
        let uneven = self.even(&levels)?;
        let off = [
            self.strip.edge_spread / (OFF_PLACE * self.strip.pitch),
            fit.worst,
            uneven / RAMP,
        ];
        let worst = off.into_iter().fold(0.0, f64::max);
        Ok(Judged {
            first: self.first,
            seen,
            table_misfit: self.tone_known.then_some(fit.misfit),
            quality: (1.0 - worst).clamp(0.0, 1.0),
        })
    }

    fn levels(&self, apart: usize) -> Result<Vec<Level>, Fault> {
        let mut levels = vec![];
        for step in 0..self.table.len() {
            match self.level(step as i32) {
                Some(level) if level.inside > 0.98 => {
                    if step < apart {
                        levels.push(level);
                    }
                }
                _ => return Err(self.fault(apart, FaultKind::CutOff { step: step + 1 })),
            }
        }
        Ok(levels)
    }

    /// The thinnest step must have an outer edge, and be no light beside the tablet.
    fn end_is_seen(&self, apart: usize) -> Result<(), Fault> {
        let unseen = || Err(self.fault(apart, FaultKind::EndUnseen));
        if self.outer_edge(0).is_none() {
            return unseen();
        }
        if self.level(0).is_none_or(|l| l.signal > CLIPPED) {
            return unseen();
        }
        Ok(())
    }

    /// No further step may lie before the first or after the last.
    fn goes_on(&self, apart: usize, last_edge: i32, whole: usize) -> Result<(), Fault> {
        let count = self.table.len() as i32;
        let step_count = |seen: usize| Err(self.fault(seen, FaultKind::StepCount));
        let _ = apart;
        // Before: a place that is brighter, with sides, as far off as a step.
        if let (Some(before), Some(first), Some(second)) =
            (self.level(-1), self.level(0), self.level(1))
        {
            let fall = before.log() - first.log();
            let usual = (first.log() - second.log()) / (self.table[1] - self.table[0]);
            let alike = fall / (usual * (self.table[1] - self.table[0]));
            if (0.5..1.6).contains(&alike) && self.strip.has_sides(self.light, self.first - 1) {
                return step_count(whole + 1);
            }
        }
        if last_edge > self.first + count {
            return step_count((last_edge - self.first) as usize + 1);
        }
        // A strip that goes on into the dark, its further steps not told apart: no margin
        // is two steps wide.
        let further = self.first + count + 1;
        let dark = matches!(
            (self.level(count + 1), self.level(count - 1)),
            (Some(beyond), Some(last)) if beyond.inside > 0.98 && beyond.signal < last.signal
        );
        if last_edge == self.first + count
            && dark
            && self.strip.has_sides(self.light, further)
            && self.strip.has_sides(self.light, further - 1)
        {
            return step_count(self.table.len() + 2);
        }
        if last_edge == self.first + count
            && self.strip.has_sides(self.light, self.first + count)
            && (self.edge(count + 1).is_some()
                || self.level(count).is_some_and(|l| l.inside < 0.98))
        {
            return step_count(self.table.len() + 1);
        }
        Ok(())
    }

    /// The strip must be as long as the table, where its last steps or their end were
    /// not told apart: it ends against something darker in the very place, or light lies as far
    /// beyond the place of the last step as it lies before the first, beyond a margin
    /// that is as dark as they are or right beside both. A step more or less within the
    /// dark would shift the far end by a whole pitch.
    fn length(&self, seen: usize) -> Result<(), Fault> {
        let unseen = || Err(self.fault(seen, FaultKind::FarEndUnseen));
        let count = self.table.len() as i32;
        let far_edge = self.outer_edge(count);
        if far_edge.is_some_and(|fall| fall > 0.0) {
            // A further step would be darker too, but it has sides, or an end.
            return if self.edge(count + 1).is_none()
                && !self.strip.has_sides(self.light, self.first + count)
            {
                Ok(())
            } else {
                Err(self.fault(seen, FaultKind::StepCount))
            };
        }
        let Some(first) = self.level(0) else {
            return unseen();
        };
        let lit = LIT * first.signal;
        let end = self.first + self.table.len() as i32;
        let thin = self.strip.margin_before(self.light, self.first, lit);
        let Some(far) = self.strip.margin_behind(self.light, end, lit) else {
            return unseen();
        };
        match thin {
            Some(thin) if (far - thin).abs() > MARGINS_ALIKE * self.strip.pitch => {
                Err(self.fault(seen, FaultKind::StepCount))
            }
            Some(_) => Ok(()),
            None if far_edge.is_some() => Ok(()),
            None => unseen(),
        }
    }

    /// Nothing is brighter than bare light, so a step that is farther from it than the
    /// table says is not the first.
    fn beside_light(&self, levels: &[Level]) -> Result<(), Fault> {
        let Some(before) = self.strip.beside_thin_end(self.light, self.first) else {
            return Ok(());
        };
        let first = levels[0];
        let slope = (levels[0].log() - levels[3].log()) / (self.table[3] - self.table[0]);
        let away = (before.log() - first.log()) / slope;
        if away <= 0.0 {
            return Ok(());
        }
        let noise = libm::hypot(before.log_sd(), first.log_sd()) / slope;
        let allowed = self.table[0] + if self.tone_known { 1.0 } else { 1.4 } * OFF_TABLE;
        if away > allowed + 4.0 * noise {
            return Err(self.fault(levels.len(), FaultKind::EndUnseen));
        }
        Ok(())
    }

    /// Steps that were not told apart must be as dark as the last that was.
    fn ends(&self, apart: usize) -> Result<(), Fault> {
        let steps = self.table.len();
        // Steps are left that were not told apart: none of them may be brighter.
        for step in apart..steps {
            if self.edge(step as i32).is_some_and(|fall| fall < 0.0) {
                return Err(self.fault(step, FaultKind::StepCount));
            }
        }
        // Something else that begins off the pitch shows as another level, in a part of
        // a step as well: a gap beside the end of a shorter strip. Light lines between
        // steps lie outside all parts.
        let last = self.level(apart as i32 - 1);
        for step in apart..steps {
            for part in core::iter::once(INNER).chain(PARTS) {
                let level = self.strip.level(self.light, self.first + step as i32, part);
                let (Some(level), Some(last)) = (level, last) else {
                    return Err(self.fault(apart, FaultKind::CutOff { step: step + 1 }));
                };
                let rise = level.signal - last.signal;
                if rise > 5.0 * libm::hypot(level.sd, last.sd) && rise > 0.1 * last.signal {
                    return Err(self.fault(apart, FaultKind::StepCount));
                }
            }
        }
        Ok(())
    }

    /// Falls against the table's differences.
    fn by_table(&self, levels: &[Level]) -> Result<Fit, Fault> {
        let apart = levels.len();
        let table = &self.table[..apart];
        let x: Vec<f64> = levels.iter().map(|l| l.log()).collect();
        let light = table
            .iter()
            .filter(|d| **d - table[0] <= LIGHT_RANGE)
            .count()
            .clamp(4.min(apart), apart);
        let (intercept, slope) = line_through(&table[..light], &x[..light]);
        let (low, high) = if self.tone_known {
            SLOPE_OF_LIGHT
        } else {
            SLOPE_OF_CODES
        };
        if !(low..=high).contains(&slope) {
            return Err(self.fault(apart, FaultKind::NotAlike));
        }
        let mut worst = 0.0_f64;
        let mut check = |step: usize, seen: f64, expected: f64, allowed: f64| {
            worst = worst.max((seen - expected).abs() / allowed);
            if (seen - expected).abs() > allowed {
                let kind = FaultKind::NotByTable {
                    step: step + 1,
                    seen,
                    expected,
                };
                return Err(self.fault(apart, kind));
            }
            Ok(())
        };
        // Slope at each fall: it changes slowly with the tone, and sinks with flare.
        let ratios: Vec<f64> = (1..apart)
            .map(|k| (x[k - 1] - x[k]) / (table[k] - table[k - 1]))
            .collect();
        let noise = |k: usize| libm::hypot(levels[k - 1].log_sd(), levels[k].log_sd());
        for k in 1..apart {
            let i = k - 1;
            let local = match ratios.len() {
                n if i == 0 => (ratios[1] + ratios[2.min(n - 1)]) / 2.0,
                n if i + 1 < n => (ratios[i - 1] + ratios[i + 1]) / 2.0,
                _ => 2.0 * ratios[i - 1] - ratios[i - 2],
            };
            let local = local.max(0.1 * slope);
            let difference = table[k] - table[k - 1];
            let seen = difference * ratios[i] / local;
            let bend = if k == 1 { 0.0 } else { 0.25 * difference };
            let allowed = OFF_TABLE + bend + 5.0 * noise(k) / local;
            check(k, seen, difference, allowed)?;
        }
        let misfits: Vec<f64> = (0..light)
            .map(|k| (x[k] - (intercept - slope * table[k])) / slope)
            .collect();
        if self.tone_known {
            let (a, b) = line_through(&table[1..light], &x[1..light]);
            let off = (x[0] - (a - b * table[0])) / b;
            let expected = table[1] - table[0];
            check(
                0,
                expected + off,
                expected,
                OFF_TABLE + 4.0 * levels[0].log_sd() / b,
            )?;
        }
        let squares: f64 = misfits.iter().map(|m| m * m).sum();
        Ok(Fit {
            misfit: libm::sqrt(squares / (light - 2).max(1) as f64),
            worst,
        })
    }

    /// Every step that is told apart must be even; gives how much of a ramp they are.
    fn even(&self, levels: &[Level]) -> Result<f64, Fault> {
        let apart = levels.len();
        let mut parts = vec![];
        for step in 0..apart {
            let halves = [(0.15, 0.5), (0.5, 0.85)]
                .map(|part| self.strip.level(self.light, self.first + step as i32, part));
            let [Some(a), Some(b)] = halves else {
                continue;
            };
            let fall = |k: usize| (levels[k - 1].signal - levels[k].signal).abs();
            let beside = match step {
                0 => fall(1),
                k if k + 1 == apart => fall(k),
                k => fall(k).min(fall(k + 1)),
            };
            let off = (a.signal - b.signal).abs();
            let noise = libm::hypot(a.sd, b.sd);
            if off > UNEVEN * beside + 4.0 * noise {
                return Err(self.fault(apart, FaultKind::Uneven { step: step + 1 }));
            }
            parts.push((a.signal - b.signal) / beside.max(1e-9));
        }
        // Noise hides a ramp in one step, but has no sign over all of them; a fence
        // before a ramp has the other sign.
        let ramp = median(parts).abs();
        if ramp > RAMP {
            return Err(self.fault(apart, FaultKind::NotAlike));
        }
        Ok(ramp)
    }
}

struct Fit {
    /// Spread of the light steps about the table. \[density\]
    misfit: f64,
    /// Largest part of what is allowed that was used.
    worst: f64,
}

/// Least squares: x = a − slope·D.
fn line_through(density: &[f64], x: &[f64]) -> (f64, f64) {
    let count = density.len() as f64;
    let (dm, xm) = (
        density.iter().sum::<f64>() / count,
        x.iter().sum::<f64>() / count,
    );
    let (mut dx, mut dd) = (0.0, 0.0);
    for (d, x) in density.iter().zip(x) {
        dx += (d - dm) * (x - xm);
        dd += (d - dm) * (d - dm);
    }
    let slope = -dx / dd;
    (xm + slope * dm, slope)
}
