//! From readings to the characteristic curve.
//!
//! The steps, in order: check the readings; fit the film curve by weighted least
//! squares from several starts, with and without a shoulder, large residuals
//! weighing less; add a smooth correction if the residuals ask for one and the
//! result still has the shape of a film curve; flag the readings through which
//! no such curve passes; give covariance and base+fog.
//!
//! The shape of a film curve: density rises with exposure, and the gradient
//! rises, stays, falls, once. That is asked as a logarithm of the gradient that
//! bends down only (log-concave); bumps and second straight lines break it.
//!
//! Begin with [`fit_characteristic_curve`]. What the answer can tell is in
//! [`CharacteristicCurve`].

use crate::characteristic_curve::{Base, BaseSource, CharacteristicCurve, FittedReading};
use crate::correction::corrections_asked_for;
use crate::film_curve::density_of;
use crate::grouping::{POINTS_MAX, groups_of, means, without_wild};
use crate::least_squares::{
    Bells, Bounds, Descent, FILM, Point, Shape, descend, moving_parameters, normal_equations,
};
use crate::missing::Missing;
use nalgebra::{DMatrix, DVector};
use quantity::{Density, Flag, Flags, LogExposure, Measured};

/// One density read from film of known exposure.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveReading {
    /// The exposure; on the scale that the settings name.
    pub log_h: LogExposure,
    /// Gross density; an uncertainty of zero means that none was given.
    pub density: Measured<Density>,
    /// Number of the tablet step, if it came through one.
    pub step: Option<u32>,
}

/// What the exposures of a curve are counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExposureScale {
    /// log10 of lux seconds: speeds can be given.
    LuxSeconds,
    /// Differences are right, the zero is not known: no speed can be given.
    Relative,
}

/// What a fit needs to be told beside the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveFitSettings {
    /// Base+fog read from unexposed film of the same process; inferred when absent.
    pub base_plus_fog: Option<Measured<Density>>,
    /// What the exposures are counted in.
    pub exposure_scale: ExposureScale,
    /// Standard uncertainty of readings that come without one. (density)
    pub reading_sd_default: f64,
}

impl CurveFitSettings {
    /// Settings for exposures in lux seconds: base+fog inferred, and 0.01 density
    /// for readings without an uncertainty (common practice of densitometry).
    #[must_use]
    pub fn in_lux_seconds() -> Self {
        Self {
            base_plus_fog: None,
            exposure_scale: ExposureScale::LuxSeconds,
            reading_sd_default: 0.01,
        }
    }

    /// The same for relative exposures.
    #[must_use]
    pub fn relative() -> Self {
        Self {
            exposure_scale: ExposureScale::Relative,
            ..Self::in_lux_seconds()
        }
    }

    /// Gives these settings with a base+fog read from unexposed film.
    #[must_use]
    pub fn with_base_plus_fog(mut self, base_plus_fog: Measured<Density>) -> Self {
        self.base_plus_fog = Some(base_plus_fog);
        self
    }
}

/// Why readings make no characteristic curve.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// Too few different exposures.
    #[error(
        "{found} different exposures, but a curve needs at least {needed}{}",
        if *with_base { "" } else { " (one less when base+fog is read from unexposed film)" }
    )]
    TooFewReadings {
        /// Different exposures found.
        found: usize,
        /// Different exposures needed.
        needed: usize,
        /// Whether base+fog was given.
        with_base: bool,
    },
    /// Every density is the same within its uncertainty.
    #[error(
        "no image: the densities run from {low:.3} to {high:.3}, which their uncertainty of {sd:.3} explains"
    )]
    NoImage {
        /// Lowest density.
        low: f64,
        /// Highest density.
        high: f64,
        /// Typical standard uncertainty of the readings.
        sd: f64,
    },
    /// Density falls as exposure rises.
    #[error(
        "densities fall with exposure, from {at_low:.2} at log H {low_log_h:.2} to {at_high:.2} at log H {high_log_h:.2}: are the exposures sorted the other way, or is this a positive?"
    )]
    DensityFalls {
        /// Lowest log10 H.
        low_log_h: f64,
        /// Density there.
        at_low: f64,
        /// Highest log10 H.
        high_log_h: f64,
        /// Density there.
        at_high: f64,
    },
    /// The readings scatter too much for any rising curve.
    #[error(
        "the readings lie {residual_sd:.3} from the best rising curve, whose whole range is {range:.3}: they do not belong to one curve"
    )]
    NotOneCurve {
        /// Standard deviation about the best curve. (density)
        residual_sd: f64,
        /// Density range of the best curve.
        range: f64,
    },
    /// Readings lie below the base+fog that was given.
    #[error(
        "density {density:.3} at log H {log_h:.2} lies below the base+fog of {base_plus_fog:.3}: are the readings net?"
    )]
    BelowBase {
        /// The second-lowest reading: one low reading alone is only flagged.
        density: f64,
        /// Its exposure, log10 H.
        log_h: f64,
        /// The base+fog given.
        base_plus_fog: f64,
    },
    /// A setting that has no meaning.
    #[error("the default uncertainty of a reading must lie between 0 and 1, found {value}")]
    DefaultUncertainty {
        /// The number seen.
        value: f64,
    },
}

/// Residual, in standard uncertainties, above which a reading starts to weigh less.
const DOUBT: f64 = 2.5;
/// Residual, in standard uncertainties, above which a reading is flagged.
const REFUSE: f64 = 3.5;
/// Smallest uncertainty a fit works with: a reading without any error would rule alone. (density)
const SD_MIN: f64 = 1e-4;
/// Most steps of a descent, of one that only tells a good start from a bad one, and of
/// one of the corrections tried (the one taken is continued).
const STEPS: usize = 200;
const STEPS_OF_A_START: usize = 25;
/// Dip under base+fog below the readings that no densitometer shows. [density]
const DIP_AT_MOST: f64 = 0.003;
const STEPS_OF_A_CORRECTION: usize = 40;
/// How far the gradient may hang below the log-concave shape over the reach, as a
/// share of the largest gradient, with readings free of noise.
const BUMP_MAX: f64 = 0.01;
/// How much of the way from the lowest reading down to base+fog is not known, because
/// toes differ in form; a standard uncertainty, by judgement.
const TOE_FORM: f64 = 0.3;
/// Weight of a reading at a broken straight line.
const TRUST_IN_BROKEN: f64 = 0.25;
/// Distance to either side over which a bump is looked for, log10 H.
const BUMP_REACH: f64 = 0.15;

/// Finds the characteristic curve of readings.
///
/// Readings may come in any order, several at one exposure. A reading through
/// which no film curve passes keeps its place, with [`Flag::NoFilmCurve`] and
/// less weight. Base+fog that is not given is inferred from the toe
/// ([`Flag::BaseFromToe`]). When the readings show no toe it is only known to be
/// at most the lowest reading ([`Flag::BaseFromLowestReading`]), and the criteria
/// that count from base+fog are refused.
///
/// More than 200 readings are averaged over narrow stretches of log H before
/// curves are tried; residuals and flags are those of each single reading.
///
/// # Errors
/// [`CurveError`] when the readings make no curve, with what was seen and wanted.
///
/// # Examples
/// ```
/// # use sensitometry::{CurveFitSettings, CurveReading, fit_characteristic_curve};
/// # use quantity::{Density, LogExposure, Measured};
/// let rows = [(-2.6, 0.26), (-2.2, 0.28), (-1.8, 0.40), (-1.4, 0.64), (-1.0, 0.92), (-0.6, 1.20)];
/// let readings: Vec<CurveReading> = rows
///     .iter()
///     .map(|&(log_h, density)| {
///         Ok(CurveReading {
///             log_h: LogExposure::from_log10(log_h)?,
///             density: Measured::new(Density::gross(density)?, 0.01),
///             step: None,
///         })
///     })
///     .collect::<Result<_, quantity::QuantityError>>()?;
/// let curve = fit_characteristic_curve(&readings, &CurveFitSettings::in_lux_seconds())?;
/// assert!((curve.base_plus_fog().value().to_density() - 0.25).abs() < 0.02);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn fit_characteristic_curve(
    readings: &[CurveReading],
    settings: &CurveFitSettings,
) -> Result<CharacteristicCurve, CurveError> {
    let (points, assumed_reading_sd) = points_of(readings, settings)?;
    let fixed_base = settings
        .base_plus_fog
        .as_ref()
        .map(|b| b.value().to_density());
    if points.len() <= POINTS_MAX {
        check_readings(&points, settings)?;
        let fit = fit_points(&points, fixed_base);
        let each = EachReading {
            points: fit.weighted.clone(),
            broken: fit.broken.clone(),
            scale: fit.scale,
            refuse: REFUSE,
        };
        return finish(readings, settings, fit, &each, assumed_reading_sd);
    }
    let (fit, each) = fit_groups(points, fixed_base, settings)?;
    finish(readings, settings, fit, &each, assumed_reading_sd)
}

/// How the single readings stand to a fit.
struct EachReading {
    /// Every reading with the trust it was given.
    points: Vec<Point>,
    /// Places of readings at a broken straight line.
    broken: Vec<usize>,
    /// Residual that counts as one standard uncertainty, over the stated one; at least 1.
    scale: f64,
    /// Residual, in standard uncertainties, above which a reading is flagged.
    refuse: f64,
}

/// Fits many readings by the means of groups of them.
fn fit_groups(
    mut points: Vec<Point>,
    fixed_base: Option<f64>,
    settings: &CurveFitSettings,
) -> Result<(Fit, EachReading), CurveError> {
    let groups = groups_of(&points);
    let sound = means(&without_wild(&groups, &points), &points, SD_MIN);
    check_readings(&sound, settings)?;
    let first = fit_points(&sound, fixed_base);
    // The more readings there are, the further off the furthest good one lies: the
    // limit grows so that good readings are flagged as rarely as in a small sheet.
    let share = points.len() as f64 / POINTS_MAX as f64;
    let refuse = (REFUSE * REFUSE + 2.0 * libm::log(share)).sqrt();
    let scale = typical_residual(&first.descent.shape, &points).max(1.0);
    for p in &mut points {
        let r = ((p.y - first.descent.shape.density(p.x)) / (p.sd * scale)).abs();
        p.trust = if r > refuse { (DOUBT / r).powi(2) } else { 1.0 };
    }
    let fit = fit_points(&means(&groups, &points, SD_MIN), fixed_base);
    let mut broken: Vec<usize> = fit
        .broken
        .iter()
        .flat_map(|&group| groups[group].iter().copied())
        .collect();
    broken.sort_unstable();
    let scale = typical_residual(&fit.descent.shape, &points).max(1.0);
    let each = EachReading {
        points,
        broken,
        scale,
        refuse,
    };
    Ok((fit, each))
}

/// A finished fit before it becomes an answer.
struct Fit {
    descent: Descent,
    weighted: Vec<Point>,
    free: [bool; FILM],
    penalty: Option<Penalty>,
    /// Places of readings at a broken straight line.
    broken: Vec<usize>,
    /// Residual that counts as one standard uncertainty, over the stated one; at least 1.
    scale: f64,
}

/// Fits the film curve, the correction it needs, and weighs wild readings down.
fn fit_points(points: &[Point], fixed_base: Option<f64>) -> Fit {
    let (mut descent, mut weighted, free) = fit_film_curve(points, fixed_base);
    let noise = noise_scale(&descent.shape, points).max(1.0);
    let broken = broken_straight_line(points, noise, &descent.shape);
    let bounds = bounds_of(points, fixed_base);
    let low = points.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.x).fold(f64::NEG_INFINITY, f64::max);
    let mut penalty: Option<Penalty> = None;
    let mut scale = noise;
    // Twice: readings flagged in the first round no longer bend the second.
    for _ in 0..2 {
        (descent, penalty) = correct(descent, &weighted, free, fixed_base);
        // A curve that misses many readings a little accuses none of them.
        scale = noise.max(typical_residual(&descent.shape, points));
        weigh_down(&descent.shape, &mut weighted, scale, true);
        for &place in &broken {
            weighted[place].trust = weighted[place].trust.min(TRUST_IN_BROKEN);
        }
        let matrix = penalty.as_ref().map(|p| &p.matrix);
        let again = descend(
            descent.shape.clone(),
            &weighted,
            free,
            &bounds,
            matrix,
            STEPS,
        );
        if rises(&again.shape, low, high) {
            descent = again;
        }
    }
    Fit {
        descent,
        weighted,
        free,
        penalty,
        broken,
        scale,
    }
}

/// Takes readings to points of equal standing; says whether an uncertainty was assumed.
fn points_of(
    readings: &[CurveReading],
    settings: &CurveFitSettings,
) -> Result<(Vec<Point>, Option<f64>), CurveError> {
    let default = settings.reading_sd_default;
    if !(default > 0.0 && default <= 1.0) {
        return Err(CurveError::DefaultUncertainty { value: default });
    }
    let mut assumed = None;
    let points = readings
        .iter()
        .map(|r| {
            let sd = r.density.standard_uncertainty();
            let sd = if sd > 0.0 {
                sd
            } else {
                assumed = Some(default);
                default
            };
            Point {
                x: r.log_h.to_log10(),
                y: r.density.value().to_density(),
                sd: sd.max(SD_MIN),
                trust: 1.0,
            }
        })
        .collect();
    Ok((points, assumed))
}

/// Refuses what cannot be a curve before anything is fitted.
fn check_readings(points: &[Point], settings: &CurveFitSettings) -> Result<(), CurveError> {
    let sorted = sorted_by(points, |p| p.x);
    let mut distinct = 0;
    let mut last = f64::NEG_INFINITY;
    for p in &sorted {
        // 1e-6: exposures that differ by less are repeats of one.
        if p.x > last + 1e-6 {
            distinct += 1;
            last = p.x;
        }
    }
    let with_base = settings.base_plus_fog.is_some();
    let needed = if with_base { 4 } else { 5 };
    if distinct < needed {
        return Err(CurveError::TooFewReadings {
            found: distinct,
            needed,
            with_base,
        });
    }

    // Slope of the weighted straight line in standard uncertainties.
    let weight = |p: &Point| 1.0 / (p.sd * p.sd);
    let sum: f64 = points.iter().map(weight).sum();
    let mean_x = points.iter().map(|p| weight(p) * p.x).sum::<f64>() / sum;
    let mean_y = points.iter().map(|p| weight(p) * p.y).sum::<f64>() / sum;
    let sxx: f64 = points
        .iter()
        .map(|p| weight(p) * (p.x - mean_x).powi(2))
        .sum();
    let sxy: f64 = points
        .iter()
        .map(|p| weight(p) * (p.x - mean_x) * (p.y - mean_y))
        .sum();
    let trend = sxy / sxx.sqrt();
    let by_density = sorted_by(points, |p| p.y);
    let (low, high) = (by_density[0].y, by_density[points.len() - 1].y);
    // One wild reading makes no image: the range is taken without the two ends.
    let inner_range = by_density[points.len() - 2].y - by_density[1].y;
    let mut sds: Vec<f64> = points.iter().map(|p| p.sd).collect();
    let sd = median(&mut sds);
    if trend < 4.0 && trend > -4.0 && inner_range < 5.0 * sd {
        return Err(CurveError::NoImage { low, high, sd });
    }
    let n = sorted.len();
    if trend < -4.0 && rank_agreement(&sorted) < -0.5 {
        return Err(CurveError::DensityFalls {
            low_log_h: sorted[0].x,
            at_low: sorted[0].y,
            high_log_h: sorted[n - 1].x,
            at_high: sorted[n - 1].y,
        });
    }
    if let Some(base) = &settings.base_plus_fog {
        let b = base.value().to_density();
        let second = by_density[1];
        let sd = second.sd.hypot(base.standard_uncertainty());
        if second.y + 4.0 * sd + 0.02 < b {
            return Err(CurveError::BelowBase {
                density: second.y,
                log_h: second.x,
                base_plus_fog: b,
            });
        }
    }
    Ok(())
}

/// Share of pairs in which density rises with exposure, less the share in which it falls.
fn rank_agreement(sorted: &[Point]) -> f64 {
    let (mut up, mut down) = (0.0_f64, 0.0_f64);
    for (i, a) in sorted.iter().enumerate() {
        for b in &sorted[i + 1..] {
            if b.x > a.x + 1e-6 {
                if b.y > a.y {
                    up += 1.0;
                } else if b.y < a.y {
                    down += 1.0;
                }
            }
        }
    }
    if up + down == 0.0 {
        0.0
    } else {
        (up - down) / (up + down)
    }
}

fn sorted_by(points: &[Point], key: impl Fn(&Point) -> f64) -> Vec<Point> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| key(a).total_cmp(&key(b)));
    sorted
}

/// The middle value; of an even count the mean of the two.
fn median(values: &mut [f64]) -> f64 {
    assert!(!values.is_empty(), "a median needs values");
    values.sort_by(f64::total_cmp);
    let n = values.len();
    0.5 * (values[(n - 1) / 2] + values[n / 2])
}

/// Limits of what a film does; wide enough that no real film touches them.
fn bounds_of(points: &[Point], fixed_base: Option<f64>) -> Bounds {
    let ends = |key: fn(&Point) -> f64| {
        points
            .iter()
            .map(key)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                (a.min(v), b.max(v))
            })
    };
    let (x_low, x_high) = ends(|p| p.x);
    let (y_low, y_high) = ends(|p| p.y);
    let span = x_high - x_low;
    let (b_low, b_high) = fixed_base.map_or((y_low - 1.0, y_high), |b| (b, b));
    // Gradient 0.01 to 30; widths 0.01 to 2 log H and within 40 times each other; straight line at least 0.02 log H long.
    Bounds {
        low: [
            b_low,
            libm::log(0.01),
            x_low - 2.0,
            libm::log(0.01),
            libm::log(0.02),
            -libm::log(40.0),
        ],
        high: [
            b_high,
            libm::log(30.0),
            x_high,
            libm::log(2.0),
            libm::log(2.0 * span + 4.0),
            libm::log(40.0),
        ],
    }
}

/// What a candidate film curve is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Bends {
    Toe,
    /// Toe and shoulder of one width: rises everywhere.
    Alike,
    ToeAndShoulder,
}

impl Bends {
    fn free(self, free_base: bool) -> [bool; FILM] {
        let shoulder = self != Self::Toe;
        let widths = self == Self::ToeAndShoulder;
        [free_base, true, true, true, shoulder, widths]
    }
}

/// A candidate film curve: its score, its descent, the weights it left, what was free.
struct Candidate {
    score: f64,
    descent: Descent,
    weighted: Vec<Point>,
    free: [bool; FILM],
}

/// Fits the film curve with and without a shoulder and takes the better one.
fn fit_film_curve(
    points: &[Point],
    fixed_base: Option<f64>,
) -> (Descent, Vec<Point>, [bool; FILM]) {
    let bounds = bounds_of(points, fixed_base);
    let first = first_guess(points, fixed_base);
    let free_base = fixed_base.is_none();
    let mut best: Option<Candidate> = None;
    for bends in [Bends::Toe, Bends::Alike, Bends::ToeAndShoulder] {
        let free = bends.free(free_base);
        let count = free.iter().filter(|f| **f).count();
        if bends != Bends::Toe && points.len() < count + 3 {
            continue;
        }
        let Some(candidate) = best_of_starts(points, &first, bends, free, &bounds) else {
            continue;
        };
        if best.as_ref().is_none_or(|b| candidate.score < b.score) {
            best = Some(candidate);
        }
    }
    if let Some(best) = best {
        return (best.descent, best.weighted, best.free);
    }
    // No start gave a rising curve: the plain start, judged by its residuals later.
    let free = Bends::Toe.free(free_base);
    let descent = descend(
        first.shape(Bends::Toe, 0.25, 0.0, 0.25),
        points,
        free,
        &bounds,
        None,
        STEPS,
    );
    (descent, points.to_vec(), free)
}

/// Where a descent begins.
struct FirstGuess {
    base: f64,
    slope: f64,
    x0: f64,
    x1: f64,
    low: f64,
    high: f64,
}

impl FirstGuess {
    /// Whether a shape rises over the readings and runs out to b below them.
    ///
    /// Where the shoulder is wider than the toe the formula dips under b far
    /// below the readings; a dip that no densitometer shows is let pass.
    fn is_risen_to(&self, shape: &Shape) -> bool {
        const STEPS: usize = 40;
        let dips = (0..=STEPS).any(|k| {
            let x = self.low - 2.0 * k as f64 / STEPS as f64;
            shape.density(x) < shape.q[0] - DIP_AT_MOST
        });
        rises(shape, self.low, self.high) && !dips
    }

    fn shape(&self, bends: Bends, s0: f64, later: f64, s1: f64) -> Shape {
        let ratio = if bends == Bends::ToeAndShoulder {
            s1 / s0
        } else {
            1.0
        };
        Shape {
            q: vec![
                self.base,
                libm::log(self.slope),
                self.x0,
                libm::log(s0),
                libm::log(self.x1 + later - self.x0),
                libm::log(ratio),
            ],
            shoulder: bends != Bends::Toe,
            bells: Bells::default(),
        }
    }
}

/// Guesses from the steepest stretch and the ends.
fn first_guess(points: &[Point], fixed_base: Option<f64>) -> FirstGuess {
    let sorted = sorted_by(points, |p| p.x);
    let (low, high) = (sorted[0].x, sorted[sorted.len() - 1].x);
    let (centre, level, slope) = steepest(&sorted);
    let y_low = sorted.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    let y_high = sorted.iter().map(|p| p.y).fold(f64::NEG_INFINITY, f64::max);
    let base = fixed_base.unwrap_or(y_low);
    let x0 = (centre - (level - base) / slope).clamp(low - 1.0, high);
    let x1 = (centre + (y_high - level) / slope).max(x0 + 0.3);
    FirstGuess {
        base,
        slope,
        x0,
        x1,
        low,
        high,
    }
}

/// Descends from several starts, then lets large residuals weigh less.
fn best_of_starts(
    points: &[Point],
    first: &FirstGuess,
    bends: Bends,
    free: [bool; FILM],
    bounds: &Bounds,
) -> Option<Candidate> {
    let parameters = free.iter().filter(|f| **f).count();
    let ends: &[(f64, f64)] = match bends {
        Bends::Toe => &[(0.0, 0.25)],
        Bends::Alike => &[(0.0, 0.25), (0.4, 0.25)],
        Bends::ToeAndShoulder => &[(0.0, 0.1), (0.0, 0.3), (0.4, 0.3)],
    };
    let mut lowest: Option<Descent> = None;
    for &(later, s1) in ends {
        for s0 in [0.12, 0.4] {
            let start = first.shape(bends, s0, later, s1);
            let found = descend(start, points, free, bounds, None, STEPS_OF_A_START);
            let Some(found) = made_to_rise(found, first, points, free, bounds) else {
                continue;
            };
            if lowest
                .as_ref()
                .is_none_or(|l| found.objective < l.objective)
            {
                lowest = Some(found);
            }
        }
    }
    let found = lowest?;
    let polished = descend(found.shape.clone(), points, free, bounds, None, STEPS);
    let mut found = made_to_rise(polished, first, points, free, bounds).unwrap_or(found);
    let mut weighted = points.to_vec();
    for _ in 0..8 {
        if !weigh_down(&found.shape, &mut weighted, 1.0, false) {
            break;
        }
        let again = descend(found.shape.clone(), &weighted, free, bounds, None, STEPS);
        let Some(again) = made_to_rise(again, first, &weighted, free, bounds) else {
            break;
        };
        found = again;
    }
    // Left to itself the curve would stop rising: the ratio of the widths is then held.
    let mut free = free;
    let left = descend(found.shape.clone(), &weighted, free, bounds, None, STEPS);
    if !first.is_risen_to(&left.shape) {
        free[5] = false;
    }
    // Akaike's criterion with the noise level estimated; the floor is rounding of the readings.
    // A wild reading counts no more than four times the typical residual: no bend is bought with it.
    let n = points.len() as f64;
    let ratio = |p: &Point| ((p.y - found.shape.density(p.x)) / p.sd).abs();
    let mut ratios: Vec<f64> = points.iter().map(ratio).collect();
    let most = 4.0 * (median(&mut ratios) / 0.674_5).max(1.0);
    let robust: f64 = ratios.iter().map(|r| r.min(most).powi(2)).sum();
    let sd = points.iter().map(|p| p.sd).fold(f64::INFINITY, f64::min);
    let floor = n * (1e-5 / sd).powi(2);
    let k = parameters as f64;
    let score = n * libm::log((robust + floor) / n)
        + 2.0 * k
        + 2.0 * k * (k + 1.0) / (n - k - 1.0).max(0.5);
    Some(Candidate {
        score,
        descent: found,
        weighted,
        free,
    })
}

/// Passes on a curve that rises; brings the two widths together until it does.
fn made_to_rise(
    found: Descent,
    first: &FirstGuess,
    points: &[Point],
    free: [bool; FILM],
    bounds: &Bounds,
) -> Option<Descent> {
    if first.is_risen_to(&found.shape) {
        return Some(found);
    }
    let ratio = found.shape.q[5];
    let mut held = free;
    held[5] = false;
    for share in [0.8, 0.6, 0.4, 0.2] {
        let mut start = found.shape.clone();
        start.q[5] = share * ratio;
        let again = descend(start, points, held, bounds, None, STEPS);
        if first.is_risen_to(&again.shape) {
            return Some(again);
        }
    }
    None
}

/// Centre, level and slope of the steepest stretch of about a third of the readings.
fn steepest(sorted: &[Point]) -> (f64, f64, f64) {
    let n = sorted.len();
    let window = (n / 3).clamp(3, 9).min(n);
    let mut best = (sorted[n / 2].x, sorted[n / 2].y, 0.05);
    for part in sorted.windows(window) {
        let m = part.len() as f64;
        let x = part.iter().map(|p| p.x).sum::<f64>() / m;
        let y = part.iter().map(|p| p.y).sum::<f64>() / m;
        let sxx: f64 = part.iter().map(|p| (p.x - x).powi(2)).sum();
        let sxy: f64 = part.iter().map(|p| (p.x - x) * (p.y - y)).sum();
        if sxx > 1e-9 && sxy / sxx > best.2 {
            best = (x, y, sxy / sxx);
        }
    }
    best.2 = best.2.min(20.0);
    best
}

/// Whether density rises all the way between two exposures.
fn rises(shape: &Shape, low: f64, high: f64) -> bool {
    const STEPS: usize = 100;
    (0..=STEPS).all(|k| {
        let x = low + (high - low) * k as f64 / STEPS as f64;
        shape.gradient(x) > -1e-7
    })
}

/// Whether the shape is that of a film curve where the readings are.
fn is_film_shape(shape: &Shape, points: &[Point]) -> bool {
    const GRID: usize = 160;
    let low = points.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.x).fold(f64::NEG_INFINITY, f64::max);
    if !rises(shape, low, high) {
        return false;
    }
    let at = |k: usize| low + (high - low) * k as f64 / GRID as f64;
    let largest = (0..=GRID)
        .map(|k| shape.gradient(at(k)))
        .fold(1e-9, f64::max);
    let half = BUMP_REACH.min(0.25 * (high - low));
    // Half a standard uncertainty of the slope over twice the reach is what noise
    // alone leaves in a smooth curve, by judgement: variance of a slope over a
    // width w of readings h apart is 12 h sd²/w³.
    let mut sds: Vec<f64> = points.iter().map(|p| p.sd).collect();
    let apart = (high - low) / (points.len() - 1) as f64;
    let slope_sd = median(&mut sds) * (12.0 * apart / (2.0 * half).powi(3)).sqrt();
    let bump_max = BUMP_MAX + 0.5 * slope_sd / largest;
    (0..=GRID)
        .map(at)
        .filter(|x| x - half >= low && x + half <= high)
        .all(|x| {
            let (a, b, c) = (
                shape.gradient(x - half),
                shape.gradient(x),
                shape.gradient(x + half),
            );
            // Log-concave: b² ≥ a·c. In density per log H, so that tails weigh little.
            b >= (a.max(0.0) * c.max(0.0)).sqrt() - bump_max * largest
        })
}

/// Adds the smooth correction that the residuals ask for, as much of it as leaves a film curve.
fn correct(
    plain: Descent,
    weighted: &[Point],
    free: [bool; FILM],
    fixed_base: Option<f64>,
) -> (Descent, Option<Penalty>) {
    let bounds = bounds_of(weighted, fixed_base);
    let film_only = if plain.shape.bells.centres.is_empty() {
        plain
    } else {
        let start = Shape {
            q: plain.shape.q[..FILM].to_vec(),
            bells: Bells::default(),
            ..plain.shape
        };
        descend(start, weighted, free, &bounds, None, STEPS)
    };
    let mut best: Option<(f64, Descent, Penalty)> = None;
    for choice in corrections_asked_for(&film_only.shape, weighted, free) {
        let mut start = film_only.shape.clone();
        start
            .q
            .extend(std::iter::repeat_n(0.0, choice.bells.centres.len()));
        start.bells = choice.bells;
        let mut matrix = choice.penalty;
        for _ in 0..8 {
            let found = descend(
                start.clone(),
                weighted,
                free,
                &bounds,
                Some(&matrix),
                STEPS_OF_A_CORRECTION,
            );
            if is_film_shape(&found.shape, weighted) {
                if best.as_ref().is_none_or(|b| found.chi_squared < b.0) {
                    let noise = choice.noise.min(1.0);
                    best = Some((found.chi_squared, found, Penalty { matrix, noise }));
                }
                break;
            }
            matrix *= 2.5;
            start = found.shape;
        }
    }
    match best {
        Some((chi_squared, found, penalty)) if chi_squared < film_only.chi_squared => {
            (found, Some(penalty))
        }
        _ => (film_only, None),
    }
}

/// The penalty a correction was fitted under.
struct Penalty {
    /// Precision of the weights, for residuals as large as stated.
    matrix: DMatrix<f64>,
    /// Variance of the residuals over the stated one, at most 1.
    noise: f64,
}

/// Weighs readings down by their residual; gives whether a weight moved.
///
/// Softly (weight DOUBT/|r|) while a curve is sought; firmly (its square from
/// REFUSE on, full weight below) once it is found.
fn weigh_down(shape: &Shape, points: &mut [Point], scale: f64, firmly: bool) -> bool {
    let mut moved = false;
    for p in points {
        let r = ((p.y - shape.density(p.x)) / (p.sd * scale)).abs();
        let trust = match firmly {
            true if r > REFUSE => (DOUBT / r).powi(2),
            false if r > DOUBT => DOUBT / r,
            _ => 1.0,
        };
        moved |= (trust - p.trust).abs() > 0.01;
        p.trust = trust;
    }
    moved
}

/// Places of the readings at which a straight line is broken by a steeper stretch.
///
/// A film's gradient rises in the toe, stays, and falls in the shoulder: once
/// slopes were alike over 0.6 log H, a rise by a third is no film curve but an
/// error of reading, shutter or step. A smooth curve through such readings would
/// hide it, so it is looked for in the readings themselves.
fn broken_straight_line(points: &[Point], noise: f64, film: &Shape) -> Vec<usize> {
    const RUN: f64 = 0.6;
    const STRETCH: f64 = 0.28;
    const STEEPER: f64 = 1.3;
    const WILD: f64 = 6.0;
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&a, &b| points[a].x.total_cmp(&points[b].x));
    // Means of repeats: exposure, density, variance, places.
    let mut means: Vec<(f64, f64, f64, Vec<usize>)> = Vec::new();
    for place in order {
        let p = &points[place];
        // A wild reading is a fault of its own and breaks no line.
        if (p.y - film.density(p.x)).abs() > WILD * p.sd * noise {
            continue;
        }
        let variance = (p.sd * noise).powi(2);
        match means.last_mut() {
            Some(last) if p.x - last.0 < 1e-6 => {
                let weight = 1.0 / last.2 + 1.0 / variance;
                last.1 = (last.1 / last.2 + p.y / variance) / weight;
                last.2 = 1.0 / weight;
                last.3.push(place);
            }
            _ => means.push((p.x, p.y, variance, vec![place])),
        }
    }
    let slope = |i: usize, j: usize| (means[j].1 - means[i].1) / (means[j].0 - means[i].0);
    let n = means.len();
    let next_beyond =
        |from: usize, reach: f64| (from + 1..n).find(|&k| means[k].0 - means[from].0 >= reach);
    let steepest = (0..n)
        .filter_map(|i| next_beyond(i, STRETCH).map(|j| slope(i, j)))
        .fold(0.0, f64::max);
    let mut found = Vec::new();
    for start in 0..n {
        let Some(turn) = next_beyond(start, RUN).map(|j| j.max(start + 3)) else {
            break;
        };
        let Some(end) = (turn < n).then(|| next_beyond(turn, STRETCH)).flatten() else {
            continue;
        };
        let run = slope(start, turn);
        // Alike: every reading of the run lies within two standard uncertainties of its chord.
        let alike = (start + 1..turn).all(|k| {
            let chord = means[start].1 + run * (means[k].0 - means[start].0);
            (means[k].1 - chord).abs() < 2.0 * means[k].2.sqrt()
        });
        if run < 0.25 * steepest || !alike {
            continue;
        }
        for end in [end, (end + 1).min(n - 1)] {
            // Slope after less slope of the run, a sum of three readings.
            let (before, after) = (
                1.0 / (means[turn].0 - means[start].0),
                1.0 / (means[end].0 - means[turn].0),
            );
            let sd = (after * after * means[end].2
                + (after + before).powi(2) * means[turn].2
                + before * before * means[start].2)
                .sqrt();
            let rise = slope(turn, end) - run;
            // The film curve bends here too; only what goes beyond it counts.
            let of_film = |i: usize, j: usize| {
                (film.density(means[j].0) - film.density(means[i].0)) / (means[j].0 - means[i].0)
            };
            let excess = rise - (of_film(turn, end) - of_film(start, turn));
            if excess > REFUSE * sd && slope(turn, end) > STEEPER * run {
                for mean in &means[turn..=end] {
                    found.extend(&mean.3);
                }
            }
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// The middle residual over the stated uncertainty, as the standard deviation it stands for.
fn typical_residual(shape: &Shape, points: &[Point]) -> f64 {
    let mut ratios: Vec<f64> = points
        .iter()
        .map(|p| ((p.y - shape.density(p.x)) / p.sd).abs())
        .collect();
    median(&mut ratios) / 0.674_5
}

/// How much larger the scatter from reading to reading is than the stated uncertainty.
///
/// Judged from each residual against its neighbours', so that a curve that
/// misses slowly counts little; robust, so that single readings count little.
fn noise_scale(shape: &Shape, points: &[Point]) -> f64 {
    let sorted = sorted_by(points, |p| p.x);
    let residual = |p: &Point| (p.y - shape.density(p.x)) / p.sd;
    let mut bends: Vec<f64> = sorted
        .windows(3)
        .map(|w| {
            // Variance of a − 2b + c is 6 for unit noise.
            ((residual(&w[0]) - 2.0 * residual(&w[1]) + residual(&w[2])) / 6.0_f64.sqrt()).abs()
        })
        .collect();
    if bends.len() < 3 {
        return 1.0;
    }
    median(&mut bends) / 0.674_5
}

/// Turns the fit into the answer: covariance, base+fog, flags.
fn finish(
    readings: &[CurveReading],
    settings: &CurveFitSettings,
    fit: Fit,
    each: &EachReading,
    assumed_reading_sd: Option<f64>,
) -> Result<CharacteristicCurve, CurveError> {
    let Fit {
        descent,
        weighted,
        free,
        penalty,
        ..
    } = fit;
    let shape = descent.shape;
    let EachReading {
        points,
        broken,
        scale,
        refuse,
    } = each;
    let low = points.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.x).fold(f64::NEG_INFINITY, f64::max);

    let mut flags = Flags::none();
    if settings.exposure_scale == ExposureScale::Relative {
        flags.insert(Flag::RelativeExposure);
    }
    let mut fitted_readings = Vec::with_capacity(readings.len());
    let (mut sum, mut count) = (0.0, 0_usize);
    for (place, (reading, p)) in readings.iter().zip(points).enumerate() {
        let fitted = shape.density(p.x);
        let residual = p.y - fitted;
        let mut own = reading.density.flags().clone();
        if residual.abs() > refuse * p.sd * scale || broken.binary_search(&place).is_ok() {
            own.insert(Flag::NoFilmCurve);
            flags.insert(Flag::NoFilmCurve);
        } else {
            sum += residual * residual;
            count += 1;
        }
        flags.extend(reading.density.flags());
        fitted_readings.push(FittedReading {
            reading: reading.clone(),
            reading_sd: p.sd,
            fitted: density_of(fitted),
            residual,
            weight: p.trust,
            flags: own,
        });
    }
    let moving = moving_parameters(&shape, free);
    let film_count = free.iter().filter(|f| **f).count();
    let freedom = count.saturating_sub(film_count).max(1) as f64;
    let residual_sd = (sum / freedom).sqrt();
    let range = shape.density(high) - shape.density(low);
    let scatter = (fitted_readings
        .iter()
        .map(|r| r.residual * r.residual)
        .sum::<f64>()
        / fitted_readings.len() as f64)
        .sqrt();
    let mut all: Vec<f64> = fitted_readings.iter().map(|r| r.residual.abs()).collect();
    let typical = median(&mut all);
    if typical > 0.12 * range || scatter > 0.5 * range {
        return Err(CurveError::NotOneCurve {
            residual_sd: scatter,
            range: range.max(0.0),
        });
    }

    // With less noise than stated the correction is smaller in proportion.
    let penalty = penalty.map(|p| p.matrix / p.noise);
    let covariance = covariance_of(
        &shape,
        &weighted,
        &moving,
        penalty.as_ref(),
        descent.chi_squared,
        settings,
    );
    let mut curve = CharacteristicCurve {
        base: Base {
            source: BaseSource::Parameter,
            own_variance: 0.0,
        },
        base_plus_fog: Measured::new(density_of(shape.q[0]), 0.0),
        base_seen: Ok(()),
        shape,
        covariance,
        low,
        high,
        scale: settings.exposure_scale,
        readings: fitted_readings,
        residual_sd,
        assumed_reading_sd,
        flags,
    };
    set_base(&mut curve, settings, &weighted);
    Ok(curve)
}

/// Covariance over every place in q.
///
/// Scaled up, never down, when the residuals are larger than stated.
fn covariance_of(
    shape: &Shape,
    points: &[Point],
    moving: &[usize],
    penalty: Option<&DMatrix<f64>>,
    chi_squared: f64,
    settings: &CurveFitSettings,
) -> DMatrix<f64> {
    let size = shape.q.len();
    let count = moving.len();
    let (normal, _) = normal_equations(shape, points, penalty);
    // What no film exceeds, as a prior that only a parameter without data feels: base 1, ln gradient 2,
    // positions 3, ln widths 1.5.
    const WIDE: [f64; FILM] = [1.0, 2.0, 3.0, 1.5, 1.5, 1.5];
    let a = DMatrix::from_fn(count, count, |i, j| {
        let wide = if i == j && moving[i] < FILM {
            1.0 / (WIDE[moving[i]] * WIDE[moving[i]])
        } else {
            0.0
        };
        normal[(moving[i], moving[j])] + wide
    });
    let mut covariance = DMatrix::zeros(size, size);
    let Some(inverse) = a.cholesky().map(|c| c.inverse()) else {
        unreachable!("the wide prior keeps the normal matrix positive definite");
    };
    let effective = match penalty {
        None => count as f64,
        Some(_) => {
            let (data, _) = normal_equations(shape, points, None);
            let data = DMatrix::from_fn(count, count, |i, j| data[(moving[i], moving[j])]);
            (&inverse * data).trace()
        }
    };
    let freedom = points.len() as f64 - effective;
    let scale = if freedom > 0.5 {
        (chi_squared / freedom).max(1.0)
    } else {
        1.0
    };
    for i in 0..count {
        for j in 0..count {
            covariance[(moving[i], moving[j])] = inverse[(i, j)] * scale;
        }
    }
    let Some(base) = &settings.base_plus_fog else {
        return covariance;
    };
    // A given b is not moved by the fit, but all else follows it: dq/db = −N⁻¹ N_b.
    let variance = base.standard_uncertainty() * base.standard_uncertainty();
    let towards = DVector::from_fn(count, |i, _| normal[(moving[i], 0)]);
    let follow = -(&inverse * towards);
    let mut along = vec![0.0; size];
    along[0] = 1.0;
    for i in 0..count {
        along[moving[i]] = follow[i];
    }
    for i in 0..size {
        for j in 0..size {
            covariance[(i, j)] += variance * along[i] * along[j];
        }
    }
    covariance
}

/// Decides where base+fog comes from.
///
/// `weighted` are the points of the fit: the readings, or means of many.
fn set_base(curve: &mut CharacteristicCurve, settings: &CurveFitSettings, weighted: &[Point]) {
    if let Some(given) = &settings.base_plus_fog {
        curve.base_plus_fog = given.clone();
        curve.flags.extend(given.flags());
        return;
    }
    let plain = curve.plain();
    let (_, largest_gradient) = plain.largest_gradient();
    let corrected = !curve.shape.bells.centres.is_empty();
    curve.base.source = if corrected {
        BaseSource::Toe {
            largest_gradient,
            low: curve.low,
            high: curve.high,
        }
    } else {
        BaseSource::Parameter
    };
    let inferred = curve.plain().base;
    let below = plain.density(curve.low) - inferred;
    curve.base.own_variance = (TOE_FORM * below).powi(2);
    let sd = curve.standard_uncertainty_of(|c| Some(c.base));
    // A toe is seen when the gradient has fallen to half at the lowest exposure and the
    // density it runs out to is known to 0.05; or when it has fallen so far that little
    // of the toe is left, and noise alone keeps that density uncertain.
    let fallen_to = plain.gradient(curve.low) / largest_gradient;
    let toe_seen = (fallen_to < 0.5 && sd < 0.05) || fallen_to < 0.25;
    let (base_plus_fog, flag) = match lowest_reading(curve, weighted) {
        Some((lowest, sd)) if !toe_seen => {
            // The true base may lie anywhere below, so what counts from it is refused;
            // the number and its uncertainty are those of the limit.
            curve.base = Base {
                source: BaseSource::Apart(lowest),
                own_variance: sd * sd,
            };
            curve.base_seen = Err(Missing::BasePlusFogNotSeen { at_most: lowest });
            (
                Measured::new(density_of(lowest), sd),
                Flag::BaseFromLowestReading,
            )
        }
        _ => (Measured::new(density_of(inferred), sd), Flag::BaseFromToe),
    };
    curve.base_plus_fog = base_plus_fog.flagged(flag);
    curve.flags.insert(flag);
}

/// The lowest density among the readings without a flag, or among the means of
/// many, with its uncertainty.
fn lowest_reading(curve: &CharacteristicCurve, weighted: &[Point]) -> Option<(f64, f64)> {
    let lower = |a: &(f64, f64), b: &(f64, f64)| a.0.total_cmp(&b.0);
    if curve.readings.len() > weighted.len() {
        return weighted
            .iter()
            .filter(|p| p.trust > 0.5)
            .map(|p| (p.y, p.sd))
            .min_by(lower);
    }
    curve
        .readings
        .iter()
        .filter(|r| !r.flags.contains(Flag::NoFilmCurve))
        .map(|r| (r.reading.density.value().to_density(), r.reading_sd))
        .min_by(lower)
}
