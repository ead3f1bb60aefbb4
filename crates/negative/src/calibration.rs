//! A step tablet in the scan turns signals into densities.
//!
//! A scanner's signal is light with flare, v = k (T + f) / (1 + f), on a scale
//! that need not be known: D is a monotone function of log v, and the tablet's
//! steps are points of it. Between them a monotone cubic in (log10 v, D) is
//! read, smoothed as far as the steps' own uncertainties ask. Outside the
//! tablet nothing is extrapolated: the answer is a limit.
//!
//! What the tablet cannot cure: if it is of another emulsion than the film, a
//! scanner with directed light reads the two differently (Callier effect).
//!
//! Begin with [`calibrate`] and [`Calibration::density`].
//!
//! Symbols: v signal, 0 to 1; D density; x = log10 v; σ standard uncertainty.
//! Source: scanner with flare: common practice; reference values by closed form.

use crate::monotone::{MonotoneCurve, pool_to_falling, smoothed};
use crate::patch::PatchStatistics;
use crate::relative::SignalRises;
use quantity::{Bound, Density, Flag, Flags, Measured};

/// Fewest steps a calibration is drawn through.
const FEWEST_STEPS: usize = 4;
/// Density of one code from which quantisation is coarse.
const COARSE_DENSITY: f64 = 0.02;
/// Times the stated uncertainty that steps may miss the curve through the
/// others by, as root mean square. Normal errors stay below 1.7 of 19 steps.
const MISFIT_TIMES: f64 = 3.0;
/// Root mean square below which a misfit is of no matter. \[density\]
const MISFIT_DENSITY: f64 = 0.02;
/// Density that an end step may lie off the line through the next two.
const END_DENSITY: f64 = 0.05;
/// Steps that outlines are looked for to have moved by.
const MOVED_BY: isize = 2;
/// Fewest steps that tell whether a table moved by a step fits better.
const MOVED_STEPS: usize = 6;
/// Uneven steps from which the outlines as such are in doubt.
const UNEVEN_STEPS: usize = 3;
/// A value left out differs from a curve through the others by its own error
/// and about 0.7 of theirs: √1.5.
const LEFT_OUT_TIMES: f64 = 1.22;
/// Share of ordered pairs of steps below which a tablet is in no order.
const ORDER_SHARE: f64 = 0.8;

/// What was read on one step of the tablet.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletReading {
    /// Statistics of the step in the scan.
    pub statistics: PatchStatistics,
    /// Density of the step by the tablet's table.
    pub density: Measured<Density>,
}

/// What became of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepUse {
    /// It is a point of the calibration.
    Used,
    /// Its pixels are clipped: no value, the range ends before it.
    Clipped,
    /// It reads no signal at all.
    NoSignal,
    /// Its reading cannot be told from that of the next lighter or darker step.
    NotToldApart,
    /// Its reading is not where its density belongs.
    OutOfOrder,
}

/// One step in the finished calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepResult {
    /// What became of it.
    pub step_use: StepUse,
    /// Density by the tablet's table.
    pub tablet: Density,
    /// Table minus curve, in density; none for a step that was not used.
    pub residual: Option<f64>,
    /// Table minus the curve through the other steps, in density; none at the
    /// ends and for steps that were not used.
    pub leave_one_out: Option<f64>,
    /// Density from edge to edge of the outline where that is more than noise
    /// explains: the outline may lie across two steps.
    pub unevenness: Option<f64>,
}

/// How the readings of a tablet contradict its table.
///
/// Steps are counted from 0.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletMisfit {
    /// Root mean square of table minus the curve through the other steps. \[density\]
    pub rms: f64,
    /// Standard uncertainty that table and readings state, as root mean square. \[density\]
    pub stated: f64,
    /// Whether the first is too large for the second.
    pub beyond_stated: bool,
    /// Whether so many steps are uneven (a quarter of them and at least 3) that
    /// their outlines seem to lie across the edges between them.
    pub straddling: bool,
    /// Share of the used steps that are uneven.
    pub uneven_share: f64,
    /// Steps that miss the curve by more than three times what is stated.
    pub steps: Vec<usize>,
    /// End steps that do not go on as the next two steps do: their outline may
    /// lie beside the tablet, and then all others are a step off.
    pub ends: Vec<usize>,
    /// Whether the lightest step is among these.
    pub light_end_off: bool,
    /// The table fits when it is moved by so many steps, with this root mean
    /// square: outline i shows step i + the number.
    pub moved: Option<(isize, f64)>,
    /// Standard uncertainty that is added for it. \[density\]
    pub added: f64,
}

/// Why a scanned step tablet could not calibrate the scan it lies in.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// Rescan with another exposure, or mark the steps anew.
    #[error(
        "{usable} of {given} steps are usable, but at least {needed} are needed \
         ({clipped} are clipped, {without_signal} without signal, {alike} not told apart)"
    )]
    TooFewSteps {
        /// Steps given.
        given: usize,
        /// Steps that can be used.
        usable: usize,
        /// Steps needed.
        needed: usize,
        /// Steps left out because they are clipped.
        clipped: usize,
        /// Steps left out because they read nothing.
        without_signal: usize,
        /// Steps left out because they read like a neighbour.
        alike: usize,
    },
    /// Mark the steps in the order of the tablet's table.
    #[error(
        "the readings do not follow the tablet's densities: of {pairs} pairs of steps, {in_order} are in order"
    )]
    OutOfOrder {
        /// Pairs of steps with different densities.
        pairs: usize,
        /// Those in the commoner order.
        in_order: usize,
    },
    /// Turn the order of the steps, or of the table.
    #[error(
        "the steps seem to be listed backwards: the readings rise with the table's densities \
         as 10 to the power of {slope:.2} times density, as light through the turned tablet would"
    )]
    ListedBackwards {
        /// Slope of log10 signal over density.
        slope: f64,
    },
    /// Measure all steps on the same scan with the same tone.
    #[error("some steps were measured with a known tone and some without")]
    MixedTones,
}

/// A density read through a calibration.
#[derive(Clone, Debug, PartialEq)]
pub enum CalibratedReading {
    /// A gross density with its uncertainty.
    Density(Measured<Density>),
    /// Outside the tablet, or clipped: the truth lies on this side.
    Limit {
        /// On which side of the density the truth lies.
        bound: Bound,
        /// The density nearest to the reading that the tablet reaches.
        density: Density,
        /// Flags of the reading.
        flags: Flags,
    },
}

impl CalibratedReading {
    /// Gives the flags.
    #[must_use]
    pub fn flags(&self) -> &Flags {
        match self {
            Self::Density(measured) => measured.flags(),
            Self::Limit { flags, .. } => flags,
        }
    }

    /// Gives the measured density; none when only a limit is known.
    #[must_use]
    pub fn measured(&self) -> Option<&Measured<Density>> {
        match self {
            Self::Density(measured) => Some(measured),
            Self::Limit { .. } => None,
        }
    }
}

/// The way from a scan's signals to densities.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Density over x, x rising, density falling.
    curve: MonotoneCurve,
    /// Uncertainty of the curve at each point.
    point_uncertainty: Vec<f64>,
    /// Uncertainty of x at the two ends.
    end_uncertainty: (f64, f64),
    reversed: bool,
    tone_known: bool,
    steps: Vec<StepResult>,
    residual_sd: f64,
    misfit: Option<TabletMisfit>,
    flags: Flags,
}

/// One usable step.
#[derive(Clone, Copy, Debug)]
struct Point {
    step: usize,
    x: f64,
    x_uncertainty: f64,
    density: f64,
    tablet_uncertainty: f64,
}

/// Draws the calibration through the steps of a tablet.
///
/// Readings in step order. Steps that are clipped, read nothing or read like
/// their neighbour at an end of the tablet are left out, and the range ends
/// before them. A few steps out of order are left out with
/// [`Flag::TabletOutOfOrder`], both of two that could be swapped; a scan whose
/// codes rise with density is read as such, with [`Flag::SignalReversed`].
/// Steps that do not follow their densities as closely as stated widen every
/// reading, with [`Flag::TabletMisfit`].
///
/// # Errors
/// [`CalibrationError`] when fewer than 4 steps remain or the readings do not
/// follow the densities.
pub fn calibrate(readings: &[TabletReading]) -> Result<Calibration, CalibrationError> {
    let tone_known = readings.first().is_some_and(|r| r.statistics.tone_known);
    if readings
        .iter()
        .any(|r| r.statistics.tone_known != tone_known)
    {
        return Err(CalibrationError::MixedTones);
    }
    let mut uses = vec![StepUse::Used; readings.len()];
    let mut flags = Flags::none();
    for (reading, step_use) in readings.iter().zip(&mut uses) {
        flags.extend(reading.density.flags());
        if reading.statistics.clipped() {
            *step_use = StepUse::Clipped;
        }
    }
    let reversed = rises_with_density(readings, &uses)?;
    if reversed {
        refuse_backwards_list(readings, &uses)?;
        flags.insert(Flag::SignalReversed);
    }
    let mut points = Vec::new();
    for (step, reading) in readings.iter().enumerate() {
        if uses[step] != StepUse::Used {
            continue;
        }
        match abscissa(&reading.statistics, reversed) {
            Some((x, x_uncertainty)) => points.push(Point {
                step,
                x,
                x_uncertainty,
                density: reading.density.value().to_density(),
                tablet_uncertainty: reading.density.standard_uncertainty(),
            }),
            None => uses[step] = StepUse::NoSignal,
        }
    }
    points.sort_by(|a, b| b.density.total_cmp(&a.density).then(a.x.total_cmp(&b.x)));
    let mut points = drop_out_of_order(points, &mut uses, &mut flags);
    drop_alike_ends(&mut points, &mut uses);
    let knots = knots(&points);
    if knots.len() < FEWEST_STEPS {
        let count = |of: StepUse| uses.iter().filter(|u| **u == of).count();
        return Err(CalibrationError::TooFewSteps {
            given: readings.len(),
            usable: knots.len(),
            needed: FEWEST_STEPS,
            clipped: count(StepUse::Clipped),
            without_signal: count(StepUse::NoSignal),
            alike: count(StepUse::NotToldApart),
        });
    }
    Ok(drawn(
        &knots, &points, readings, &uses, reversed, tone_known, flags,
    ))
}

/// Draws the curve through knots with rising x and collects its uncertainties.
fn drawn(
    knots: &[Point],
    points: &[Point],
    readings: &[TabletReading],
    uses: &[StepUse],
    reversed: bool,
    tone_known: bool,
    mut flags: Flags,
) -> Calibration {
    let x: Vec<f64> = knots.iter().map(|k| k.x).collect();
    let table: Vec<f64> = knots.iter().map(|k| k.density).collect();
    let uncertainty: Vec<f64> = (0..knots.len())
        .map(|i| {
            knots[i]
                .tablet_uncertainty
                .hypot(local_slope(&x, &table, i) * knots[i].x_uncertainty)
        })
        .collect();
    let weights: Vec<f64> = uncertainty.iter().map(|u| 1.0 / (u * u + 1e-8)).collect();
    let smooth = pool_to_falling(&smoothed(&x, &table, &uncertainty), &weights);
    let curve = MonotoneCurve::through(x.clone(), smooth);

    let left_out = left_out(&x, &table, &weights);
    let residual_sd = rms(left_out.iter().flatten().copied());
    let misfit = misfit(
        knots,
        readings,
        &uncertainty,
        &weights,
        &left_out,
        ends_off_the_line(knots, readings, uses, &uncertainty, tone_known),
    );
    let mut point_uncertainty = point_uncertainties(&uncertainty, &left_out, residual_sd);
    for (knot, uncertainty) in knots.iter().zip(&mut point_uncertainty) {
        // An outline across two steps may be off by the larger part of it.
        let uneven = readings[knot.step].statistics.unevenness();
        *uncertainty = uncertainty.hypot(uneven.map_or(0.0, |density| density / 2.0));
        *uncertainty = uncertainty.hypot(misfit.as_ref().map_or(0.0, |m| m.added));
    }
    if misfit.is_some() {
        flags.insert(Flag::TabletMisfit);
    }

    let steps = readings
        .iter()
        .enumerate()
        .map(|(step, reading)| {
            let point = points.iter().find(|p| p.step == step);
            let knot = point.and_then(|p| knots.iter().position(|k| k.x == p.x));
            StepResult {
                step_use: uses[step],
                tablet: reading.density.value(),
                residual: point.map(|p| p.density - curve.at(p.x).0),
                leave_one_out: knot.and_then(|k| left_out[k]),
                unevenness: reading.statistics.unevenness(),
            }
        })
        .collect();
    let last = knots.len() - 1;
    Calibration {
        point_uncertainty,
        end_uncertainty: (knots[0].x_uncertainty, knots[last].x_uncertainty),
        curve,
        reversed,
        tone_known,
        steps,
        residual_sd,
        misfit,
        flags,
    }
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), v| (sum + v * v, count + 1.0));
    if count > 0.0 {
        f64::sqrt(sum / count)
    } else {
        0.0
    }
}

/// Gives table minus the curve through the other points; none at the ends.
fn left_out(x: &[f64], table: &[f64], weights: &[f64]) -> Vec<Option<f64>> {
    let pooled = pool_to_falling(table, weights);
    (0..x.len())
        .map(|i| {
            if i == 0 || i + 1 == x.len() {
                return None;
            }
            let without = |values: &[f64]| {
                values
                    .iter()
                    .enumerate()
                    .filter(|(j, _)| *j != i)
                    .map(|(_, v)| *v)
                    .collect()
            };
            let (predicted, _) = MonotoneCurve::through(without(x), without(&pooled)).at(x[i]);
            Some(table[i] - predicted)
        })
        .collect()
}

/// Tells whether the readings contradict the table, and by how much.
fn misfit(
    knots: &[Point],
    readings: &[TabletReading],
    uncertainty: &[f64],
    weights: &[f64],
    left_out: &[Option<f64>],
    ends: Vec<EndOff>,
) -> Option<TabletMisfit> {
    let fit = rms(left_out.iter().flatten().copied());
    let times = |left_out: &[Option<f64>], uncertainty: &[f64]| {
        rms(left_out
            .iter()
            .zip(uncertainty)
            .filter_map(|(r, u)| r.map(|r| r / (LEFT_OUT_TIMES * u.max(1e-4)))))
    };
    let beyond_stated = fit > MISFIT_DENSITY && times(left_out, uncertainty) > MISFIT_TIMES;
    let uneven = knots
        .iter()
        .filter_map(|k| readings[k.step].statistics.unevenness());
    let uneven: Vec<f64> = uneven.collect();
    let straddling = uneven.len() >= UNEVEN_STEPS && uneven.len() * 4 >= knots.len();
    if !beyond_stated && ends.is_empty() && !straddling {
        return None;
    }
    // Does the table fit when it is moved by a step or two?
    let mut moved: Option<(isize, f64)> = None;
    let mut by_density = 0.0;
    for by in (-MOVED_BY..=MOVED_BY).filter(|by| *by != 0 && beyond_stated) {
        let pairs: Vec<(usize, f64)> = knots
            .iter()
            .enumerate()
            .filter_map(|(i, k)| {
                let step = k.step.checked_add_signed(by)?;
                Some((i, readings.get(step)?.density.value().to_density()))
            })
            .collect();
        if pairs.len() < MOVED_STEPS {
            continue;
        }
        let pick =
            |of: &dyn Fn(usize) -> f64| -> Vec<f64> { pairs.iter().map(|(i, _)| of(*i)).collect() };
        let table: Vec<f64> = pairs.iter().map(|p| p.1).collect();
        let again = self::left_out(&pick(&|i| knots[i].x), &table, &pick(&|i| weights[i]));
        let fit_again = rms(again.iter().flatten().copied());
        // Errors as stated give 1; a table moved by chance gives what the
        // unevenness of its steps gives, as the table as listed does.
        let fits = fit_again < fit / 2.0 && times(&again, &pick(&|i| uncertainty[i])) < 2.0;
        if fits && moved.is_none_or(|(_, best)| fit_again < best) {
            moved = Some((by, fit_again));
            by_density = rms(pairs.iter().map(|(i, d)| d - knots[*i].density));
        }
    }
    let from_ends = ends.iter().map(|e| e.off).fold(0.0, f64::max);
    let from_uneven = if straddling {
        rms(uneven.iter().map(|u| u / 2.0))
    } else {
        0.0
    };
    let from_fit = if beyond_stated { 2.0 * fit } else { 0.0 };
    Some(TabletMisfit {
        rms: fit,
        stated: rms(uncertainty.iter().copied()),
        beyond_stated,
        straddling,
        uneven_share: uneven.len() as f64 / knots.len() as f64,
        steps: knots
            .iter()
            .zip(left_out)
            .zip(uncertainty)
            .filter(|((_, r), u)| {
                r.is_some_and(|r| {
                    r.abs() > (MISFIT_TIMES * LEFT_OUT_TIMES * **u).max(MISFIT_DENSITY)
                })
            })
            .map(|((k, _), _)| k.step)
            .rev()
            .collect(),
        ends: ends.iter().map(|e| e.step).collect(),
        light_end_off: ends.iter().any(|e| e.light),
        moved,
        added: if moved.is_some() {
            by_density
        } else {
            from_fit.max(from_ends).max(from_uneven)
        },
    })
}

/// An end step that does not go on as the steps next to it.
struct EndOff {
    step: usize,
    light: bool,
    /// By how much. [density]
    off: f64,
}

/// Gives the end steps that do not go on as the next two.
///
/// With a known tone the slope is constant at the light end, so the lightest
/// step must lie on the line through the next two; at the dark end flare
/// flattens the signal, so that there a step is off only when it reads too dark
/// for its density. With any tone the lightest step must not be out of order:
/// noise and flare, which can do that to a dark step, are small there.
fn ends_off_the_line(
    knots: &[Point],
    readings: &[TabletReading],
    uses: &[StepUse],
    uncertainty: &[f64],
    tone_known: bool,
) -> Vec<EndOff> {
    let off = |end: usize, a: usize, b: usize| {
        let run = (knots[end].x - knots[a].x) / (knots[a].x - knots[b].x);
        let predicted = knots[a].density + (knots[a].density - knots[b].density) * run;
        let error = uncertainty[end]
            .hypot((1.0 + run) * uncertainty[a])
            .hypot(run * uncertainty[b]);
        (knots[end].density - predicted, END_DENSITY.max(3.0 * error))
    };
    let mut ends = Vec::new();
    let last = knots.len() - 1;
    let lightest = (0..readings.len())
        .filter(|i| uses[*i] != StepUse::Clipped)
        .min_by(|a, b| {
            let density = |i: usize| readings[i].density.value().to_density();
            density(*a).total_cmp(&density(*b))
        });
    if let Some(step) = lightest {
        let unlike = match uses[step] {
            StepUse::OutOfOrder | StepUse::NoSignal => true,
            StepUse::NotToldApart => tone_known,
            StepUse::Used | StepUse::Clipped => false,
        };
        let off = knots[last].density - readings[step].density.value().to_density();
        if unlike && off > END_DENSITY {
            let light = true;
            ends.push(EndOff { step, light, off });
        }
    }
    if !tone_known {
        return ends;
    }
    let (difference, allowed) = off(last, last - 1, last - 2);
    if ends.is_empty() && difference.abs() > allowed {
        ends.push(EndOff {
            step: knots[last].step,
            light: true,
            off: difference.abs(),
        });
    }
    let (difference, allowed) = off(0, 1, 2);
    if -difference > allowed {
        ends.push(EndOff {
            step: knots[0].step,
            light: false,
            off: -difference,
        });
    }
    ends
}

/// Uncertainty of the curve at each knot: what is stated for the step (table
/// and reading), or what leaving steps out shows, whichever is larger.
///
/// The stated part counts in full though neighbours could average it, because
/// the error of a densitometer is largely common to its steps. What leaving out
/// shows is taken half from the tablet as a whole, half from the neighbourhood.
/// A value between two points carries its own error and about 0.7 of one of
/// theirs: residuals are larger than the error of a step by √1.5 = 1.22.
fn point_uncertainties(stated: &[f64], left_out: &[Option<f64>], residual_sd: f64) -> Vec<f64> {
    (0..left_out.len())
        .map(|i| {
            let around = i.saturating_sub(1)..(i + 2).min(left_out.len());
            let around: Vec<f64> = left_out[around].iter().flatten().map(|r| r * r).collect();
            let local = around.iter().sum::<f64>() / around.len().max(1) as f64;
            let shown = ((residual_sd * residual_sd + local) / 2.0).sqrt() / LEFT_OUT_TIMES;
            shown.max(stated[i])
        })
        .collect()
}

impl Calibration {
    /// Gives the density of a patch, or the limit its reading allows.
    ///
    /// The uncertainty joins that of the curve (the tablet's and its readings',
    /// or what leaving steps out shows, if that is more) with the patch's noise
    /// and quantisation, times the slope.
    #[must_use]
    pub fn density(&self, patch: &PatchStatistics) -> CalibratedReading {
        let mut flags = self.flags.clone();
        // The tablet has taken the place of the tone.
        flags.extend(
            &patch
                .flags
                .iter()
                .filter(|f| *f != Flag::UnknownTone)
                .collect(),
        );
        let (darkest, lightest) = self.ends();
        let limit = |bound, x: f64, mut flags: Flags, outside: bool| {
            if outside {
                flags.insert(Flag::OutsideTablet);
            }
            CalibratedReading::Limit {
                bound,
                density: gross(self.curve.at(x).0),
                flags,
            }
        };
        let Some((x, x_uncertainty)) = abscissa(patch, self.reversed) else {
            return limit(Bound::AtLeast, darkest, flags, true);
        };
        if patch.clipped() {
            // Clipping cuts the mean short of the end it lies near.
            let dark = if patch.at_zero_share == patch.at_max_share {
                x < (darkest + lightest) / 2.0
            } else {
                (patch.at_zero_share > patch.at_max_share) != self.reversed
            };
            let bound = if dark { Bound::AtLeast } else { Bound::AtMost };
            return limit(bound, x, flags, x < darkest || x > lightest);
        }
        let beyond = (darkest - x).max(x - lightest).max(0.0);
        let end_uncertainty = if x < darkest {
            self.end_uncertainty.0
        } else {
            self.end_uncertainty.1
        };
        // Within the noise of reading and end step, the reading is the end step.
        if beyond > 2.0 * x_uncertainty.hypot(end_uncertainty) {
            let bound = if x < darkest {
                Bound::AtLeast
            } else {
                Bound::AtMost
            };
            return limit(bound, x, flags, true);
        }
        let (density, slope) = self.curve.at(x);
        let slope = slope.abs().max(self.mean_slope() * 0.05);
        let noise = slope * x_uncertainty.hypot(beyond);
        let uncertainty = noise.hypot(self.point_uncertainty_at(x));
        let v = libm::pow(10.0, x);
        if patch.signal_per_code / (v * core::f64::consts::LN_10) * slope > COARSE_DENSITY {
            flags.insert(Flag::CoarseQuantisation);
        }
        CalibratedReading::Density(Measured::new(gross(density), uncertainty).flagged_all(&flags))
    }

    /// Gives the density of a signal for showing, held within the tablet.
    ///
    /// `signal` is 0 to 1, as in [`PatchStatistics::signal`].
    #[must_use]
    pub fn shown_density(&self, signal: f64) -> f64 {
        let v = if self.reversed { 1.0 - signal } else { signal };
        let x = if v > 0.0 {
            libm::log10(v)
        } else {
            f64::NEG_INFINITY
        };
        self.curve.at(x.max(self.ends().0)).0
    }

    /// Gives the lowest and the highest density that can be read.
    #[must_use]
    pub fn range(&self) -> (Density, Density) {
        let (darkest, lightest) = self.ends();
        (
            gross(self.curve.at(lightest).0),
            gross(self.curve.at(darkest).0),
        )
    }

    /// Gives the standard deviation of the tablet's densities about curves
    /// through the other steps, in density.
    #[must_use]
    pub fn residual_sd(&self) -> f64 {
        self.residual_sd
    }

    /// Gives what became of each step, in the order given.
    #[must_use]
    pub fn steps(&self) -> &[StepResult] {
        &self.steps
    }

    /// Tells whether the signal rises with density.
    #[must_use]
    pub fn reversed(&self) -> bool {
        self.reversed
    }

    /// Gives what the signal rises with, by the tablet.
    #[must_use]
    pub fn signal_rises(&self) -> SignalRises {
        if self.reversed {
            SignalRises::WithDensity
        } else {
            SignalRises::WithLight
        }
    }

    /// Tells whether the steps were measured as linear light.
    #[must_use]
    pub fn tone_known(&self) -> bool {
        self.tone_known
    }

    /// Gives how the tablet's readings contradict its table, if they do.
    #[must_use]
    pub fn misfit(&self) -> Option<&TabletMisfit> {
        self.misfit.as_ref()
    }

    /// Gives the density a patch would have if the tablet reached it, with its
    /// standard uncertainty; for checks alone, never as a reading.
    ///
    /// Beyond the lightest step the line through it is drawn on with the slope
    /// of linear light, 1, so the tone must be known; none otherwise, for
    /// clipped patches, and beyond the darkest step.
    #[must_use]
    pub fn density_to_check(&self, patch: &PatchStatistics) -> Option<(f64, f64)> {
        if let CalibratedReading::Density(density) = self.density(patch) {
            let (darkest, lightest) = self.ends();
            let (x, _) = abscissa(patch, self.reversed)?;
            let beyond = if x < darkest || !self.tone_known || self.reversed {
                0.0
            } else {
                (x - lightest).max(0.0)
            };
            return Some((
                density.value().to_density() - beyond,
                density.standard_uncertainty(),
            ));
        }
        let (x, x_uncertainty) = abscissa(patch, self.reversed)?;
        let (_, lightest) = self.ends();
        if patch.clipped() || !self.tone_known || self.reversed || x < lightest {
            return None;
        }
        Some((
            self.curve.at(lightest).0 - (x - lightest),
            x_uncertainty.hypot(self.point_uncertainty_at(lightest)),
        ))
    }

    /// Gives the flags of the calibration as such.
    #[must_use]
    pub fn flags(&self) -> &Flags {
        &self.flags
    }

    /// Gives the points of the curve, (log10 of signal, density), from dark to light.
    pub(crate) fn knots(&self) -> Vec<(f64, f64)> {
        let points = self.curve.x().iter().zip(self.curve.y());
        points.map(|(x, density)| (*x, *density)).collect()
    }

    /// Gives the standard uncertainty of each point. \[density\]
    pub(crate) fn knot_uncertainties(&self) -> Vec<f64> {
        self.point_uncertainty.clone()
    }

    /// Smallest and largest x: the darkest and the lightest point.
    fn ends(&self) -> (f64, f64) {
        let x = self.curve.x();
        (x[0], x[x.len() - 1])
    }

    fn mean_slope(&self) -> f64 {
        let (darkest, lightest) = self.ends();
        let y = self.curve.y();
        (y[0] - y[y.len() - 1]) / (lightest - darkest)
    }

    /// Uncertainty of the curve between its points, in a straight line.
    fn point_uncertainty_at(&self, at: f64) -> f64 {
        let (x, u) = (self.curve.x(), &self.point_uncertainty);
        let last = x.len() - 1;
        let at = at.clamp(x[0], x[last]);
        let i = x.partition_point(|known| *known <= at).clamp(1, last) - 1;
        let t = (at - x[i]) / (x[i + 1] - x[i]);
        u[i] * (1.0 - t) + u[i + 1] * t
    }
}

/// Gives log10 of the signal with its uncertainty; none without signal.
fn abscissa(patch: &PatchStatistics, reversed: bool) -> Option<(f64, f64)> {
    let v = if reversed {
        1.0 - patch.signal
    } else {
        patch.signal
    };
    // Less than a hundredth of a code is no signal: rounding of 1 − v.
    if v.is_nan() || v <= 0.01 * patch.signal_per_code.max(1e-12) {
        return None;
    }
    Some((
        libm::log10(v),
        patch.signal_uncertainty / (v * core::f64::consts::LN_10),
    ))
}

fn gross(density: f64) -> Density {
    match Density::gross(density) {
        Ok(density) => density,
        Err(_) => unreachable!("the curve stays within the tablet's densities"),
    }
}

/// Tells whether signals rise with density, by the pairs of steps.
fn rises_with_density(
    readings: &[TabletReading],
    uses: &[StepUse],
) -> Result<bool, CalibrationError> {
    let used: Vec<(f64, f64)> = readings
        .iter()
        .zip(uses)
        .filter(|(_, u)| **u == StepUse::Used)
        .map(|(r, _)| (r.density.value().to_density(), r.statistics.signal))
        .collect();
    let (mut rising, mut falling) = (0, 0);
    for (i, a) in used.iter().enumerate() {
        for b in &used[i + 1..] {
            match (b.0 - a.0) * (b.1 - a.1) {
                p if p > 0.0 => rising += 1,
                p if p < 0.0 => falling += 1,
                _ => {}
            }
        }
    }
    let (pairs, in_order) = (rising + falling, rising.max(falling));
    if (in_order as f64) < ORDER_SHARE * pairs as f64 {
        return Err(CalibrationError::OutOfOrder { pairs, in_order });
    }
    Ok(rising > falling)
}

/// Tells an inverted scan from a list that begins at the wrong end.
///
/// Light through a turned tablet still gives log v in a straight line with D;
/// an inverted scan gives log(1 − v) so. Only when the first is a good line
/// and the second is much worse are the steps taken to be listed backwards.
fn refuse_backwards_list(
    readings: &[TabletReading],
    uses: &[StepUse],
) -> Result<(), CalibrationError> {
    let line = |turned: bool| -> Option<(f64, f64)> {
        let points: Vec<(f64, f64)> = readings
            .iter()
            .zip(uses)
            .filter(|(_, u)| **u == StepUse::Used)
            .filter_map(|(r, _)| {
                Some((
                    r.density.value().to_density(),
                    abscissa(&r.statistics, turned)?.0,
                ))
            })
            .collect();
        let n = points.len() as f64;
        let (md, mx) = (
            points.iter().map(|p| p.0).sum::<f64>() / n,
            points.iter().map(|p| p.1).sum::<f64>() / n,
        );
        let dd: f64 = points.iter().map(|p| (p.0 - md) * (p.0 - md)).sum();
        let dx: f64 = points.iter().map(|p| (p.0 - md) * (p.1 - mx)).sum();
        if points.len() < 3 || dd <= 0.0 || dx == 0.0 {
            return None;
        }
        let slope = dx / dd;
        let off: f64 = points
            .iter()
            .map(|p| (p.1 - mx - slope * (p.0 - md)).powi(2))
            .sum();
        // Residual as density.
        Some((slope, (off / n).sqrt() / slope.abs()))
    };
    let (Some((slope, as_listed)), Some((_, as_inverted))) = (line(false), line(true)) else {
        return Ok(());
    };
    if as_listed < 0.1 && as_listed * 3.0 < as_inverted {
        return Err(CalibrationError::ListedBackwards { slope });
    }
    Ok(())
}

/// Keeps the longest run of points whose x rises as density falls; the others
/// are out of order. Noise is allowed for. Where a point that falls out is at
/// odds with one other alone, the two may be swapped: both fall out.
fn drop_out_of_order(points: Vec<Point>, uses: &mut [StepUse], flags: &mut Flags) -> Vec<Point> {
    let n = points.len();
    let follows =
        |a: &Point, b: &Point| b.x - a.x > -3.0 * a.x_uncertainty.hypot(b.x_uncertainty) - 1e-9;
    let mut best: Vec<(usize, Option<usize>)> = Vec::with_capacity(n);
    for j in 0..n {
        let before = (0..j)
            .filter(|i| follows(&points[*i], &points[j]))
            .max_by_key(|i| best[*i].0);
        best.push((before.map_or(1, |i| best[i].0 + 1), before));
    }
    let mut keep = vec![false; n];
    let mut at = (0..n).max_by_key(|j| best[*j].0);
    while let Some(j) = at {
        keep[j] = true;
        at = best[j].1;
    }
    let fallen: Vec<usize> = (0..n).filter(|j| !keep[*j]).collect();
    for j in fallen {
        let at_odds: Vec<usize> = (0..n)
            .filter(|k| *k != j && !follows(&points[(*k).min(j)], &points[(*k).max(j)]))
            .collect();
        if let [only] = at_odds[..] {
            keep[only] = false;
        }
    }
    for (point, kept) in points.iter().zip(&keep) {
        if !kept {
            uses[point.step] = StepUse::OutOfOrder;
            flags.insert(Flag::TabletOutOfOrder);
        }
    }
    points
        .into_iter()
        .zip(keep)
        .filter(|(_, kept)| *kept)
        .map(|(p, _)| p)
        .collect()
}

/// Takes off points at both ends whose reading is that of their neighbour.
fn drop_alike_ends(points: &mut Vec<Point>, uses: &mut [StepUse]) {
    let alike = |a: &Point, b: &Point| {
        (a.density - b.density).abs() > 1e-9
            && (a.x - b.x).abs() < 2.0 * a.x_uncertainty.hypot(b.x_uncertainty)
    };
    while let [first, second, ..] = points.as_slice()
        && alike(first, second)
    {
        uses[first.step] = StepUse::NotToldApart;
        points.remove(0);
    }
    while let [.., second, last] = points.as_slice()
        && alike(second, last)
    {
        uses[last.step] = StepUse::NotToldApart;
        points.pop();
    }
}

/// Points by rising x, with those at one place joined.
fn knots(points: &[Point]) -> Vec<Point> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x).then(b.density.total_cmp(&a.density)));
    let mut knots: Vec<Point> = Vec::new();
    let mut count = 1.0;
    for point in sorted {
        match knots.last_mut() {
            Some(last) if point.x - last.x < 1e-9 => {
                last.density = (last.density * count + point.density) / (count + 1.0);
                last.tablet_uncertainty = last.tablet_uncertainty.max(point.tablet_uncertainty);
                count += 1.0;
            }
            _ => {
                knots.push(point);
                count = 1.0;
            }
        }
    }
    knots
}

/// Slope dD/dx around a point, without sign.
fn local_slope(x: &[f64], density: &[f64], i: usize) -> f64 {
    let (low, high) = (i.saturating_sub(1), (i + 1).min(x.len() - 1));
    ((density[high] - density[low]) / (x[high] - x[low])).abs()
}
