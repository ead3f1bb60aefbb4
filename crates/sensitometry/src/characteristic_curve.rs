//! The characteristic curve found from readings, with its uncertainty.
//!
//! What a fit answers: density, exposure and gradient within the readings, base
//! and fog, residuals and flags. How it is found is in `curve_fit`; the named
//! criteria of speed and contrast are in files of their own.
//!
//! Uncertainties are carried by linear propagation through the covariance of
//! the fitted parameters. The exposures (log H) count as exact: a deviation of
//! the whole exposure, or of the tablet, is the caller's to add.

use crate::curve_fit::{CurveReading, ExposureScale};
use crate::film_curve::{FilmCurve, density_of};
use crate::gradient::Gradient;
use crate::least_squares::Shape;
use crate::missing::Missing;
use crate::root::root_between;
use nalgebra::DMatrix;
use quantity::{Density, Flag, Flags, LogExposure, Measured, Stops};

/// A question that lies outside the readings.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OutsideReadings {
    /// The exposure lies outside the readings.
    #[error("log H {asked:.3} lies outside the readings, which run from {low:.3} to {high:.3}")]
    Exposure {
        /// log10 H asked for.
        asked: f64,
        /// Lowest log10 H with a reading.
        low: f64,
        /// Highest log10 H with a reading.
        high: f64,
    },
    /// The curve does not reach the density within the readings.
    #[error("density {asked:.3} lies outside the curve, which runs from {low:.3} to {high:.3}")]
    Density {
        /// Gross density asked for.
        asked: f64,
        /// Lowest gross density of the curve within the readings.
        low: f64,
        /// Highest gross density of the curve within the readings.
        high: f64,
    },
}

/// How a curve was fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveMethod {
    /// Film curve with toe and straight line.
    Toe,
    /// Film curve with toe, straight line and shoulder.
    ToeAndShoulder,
    /// Film curve with toe and straight line, and a smooth correction.
    ToeCorrected,
    /// Film curve with toe, straight line and shoulder, and a smooth correction.
    ToeAndShoulderCorrected,
}

impl CurveMethod {
    /// Gives the name used in answers and files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Toe => "film curve (toe, straight line), weighted least squares",
            Self::ToeAndShoulder => {
                "film curve (toe, straight line, shoulder), weighted least squares"
            }
            Self::ToeCorrected => {
                "film curve (toe, straight line) with smooth correction, penalised least squares"
            }
            Self::ToeAndShoulderCorrected => {
                "film curve (toe, straight line, shoulder) with smooth correction, penalised least squares"
            }
        }
    }
}

/// A reading beside the curve.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedReading {
    /// The reading as it was handed in.
    pub reading: CurveReading,
    /// Standard uncertainty the fit used: the reading's own, or the default.
    pub reading_sd: f64,
    /// The curve at the reading's exposure.
    pub fitted: Density,
    /// Reading less curve. (density)
    pub residual: f64,
    /// Share of its full weight that the reading had, 0 to 1.
    pub weight: f64,
    /// [`Flag::NoFilmCurve`] when no film curve through the others passes here.
    pub flags: Flags,
}

/// The straight line of a curve.
#[derive(Clone, Debug, PartialEq)]
pub struct StraightLine {
    /// Largest gradient within the readings (gamma).
    pub gradient: Measured<Gradient>,
    /// Where the gradient first reaches 95 % of the largest.
    pub low: LogExposure,
    /// Where it last has 95 % of the largest; the end of the readings without a shoulder.
    pub high: LogExposure,
}

/// Where base+fog of a curve comes from, inside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum BaseSource {
    /// It is the parameter b of the film curve (given or inferred).
    Parameter,
    /// The lowest stretch of a corrected curve is continued as a toe runs out.
    Toe {
        /// Largest gradient of the curve.
        largest_gradient: f64,
        /// Lowest and highest log10 H with a reading.
        low: f64,
        high: f64,
    },
    /// It stands apart from the curve.
    Apart(f64),
}

/// Base+fog of a curve, inside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Base {
    pub(crate) source: BaseSource,
    /// Variance beside what the parameters of the curve bring.
    pub(crate) own_variance: f64,
}

impl BaseSource {
    /// Base+fog under this source.
    pub(crate) fn of(self, shape: &Shape) -> f64 {
        match self {
            Self::Parameter => shape.q[0],
            Self::Toe {
                largest_gradient,
                low,
                high,
            } => toe_asymptote(shape, low, high, largest_gradient),
            Self::Apart(value) => value,
        }
    }
}

/// Where the density runs out to below `low`, as the toe of a film curve with
/// the slopes seen at `low` and a little above it.
fn toe_asymptote(shape: &Shape, low: f64, high: f64, largest: f64) -> f64 {
    let step = 0.3_f64.min(0.2 * (high - low));
    // G/g = 1/(1 + e^−u), so u = ln(G/(g − G)); u grows by step/s over the step.
    let logit = |slope: f64| {
        let share = (slope / largest).clamp(1e-12, 0.999);
        libm::log(share / (1.0 - share))
    };
    let here = logit(shape.gradient(low));
    let growth = logit(shape.gradient(low + step)) - here;
    if growth <= 0.0 {
        return shape.density(low);
    }
    // Net density of a toe at u: g·s·ln(1 + e^u).
    shape.density(low) - largest * (step / growth) * libm::log1p(libm::exp(here))
}

/// A characteristic curve with its uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct CharacteristicCurve {
    pub(crate) shape: Shape,
    pub(crate) covariance: DMatrix<f64>,
    pub(crate) base: Base,
    pub(crate) base_plus_fog: Measured<Density>,
    /// Why nothing can be counted from base+fog, if so.
    pub(crate) base_seen: Result<(), Missing>,
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) scale: ExposureScale,
    pub(crate) readings: Vec<FittedReading>,
    pub(crate) residual_sd: f64,
    pub(crate) assumed_reading_sd: Option<f64>,
    pub(crate) flags: Flags,
}

/// A curve on plain numbers, as criteria see it.
#[derive(Clone, Debug)]
pub(crate) struct PlainCurve {
    pub(crate) shape: Shape,
    /// Base+fog, gross density.
    pub(crate) base: f64,
    /// Lowest log10 H with a reading.
    pub(crate) low: f64,
    /// Highest log10 H with a reading.
    pub(crate) high: f64,
}

/// How far past the readings the formula is followed when a root is bracketed;
/// what is found there is refused or flagged by the caller.
const BRACKET: f64 = 4.0;
/// Slack at the ends of the readings, log10 H: rounding only.
const END_SLACK: f64 = 1e-9;

impl PlainCurve {
    pub(crate) fn density(&self, x: f64) -> f64 {
        self.shape.density(x)
    }

    pub(crate) fn gradient(&self, x: f64) -> f64 {
        self.shape.gradient(x)
    }

    /// log10 H at a gross density, continued past the readings where needed.
    pub(crate) fn log_h_at(&self, density: f64) -> Option<f64> {
        let f = |x: f64| self.density(x) - density;
        if f(self.low) > 0.0 {
            root_between(f, self.low - BRACKET, self.low)
        } else if f(self.high) < 0.0 {
            root_between(f, self.high, self.high + BRACKET)
        } else {
            root_between(f, self.low, self.high)
        }
    }

    /// Whether x lies within the readings.
    pub(crate) fn holds(&self, x: f64) -> bool {
        x >= self.low - END_SLACK && x <= self.high + END_SLACK
    }

    /// Passes x on, or says that it lies outside the readings.
    pub(crate) fn within(&self, x: Option<f64>) -> Result<f64, Missing> {
        match x {
            Some(x) if self.holds(x) => Ok(x),
            needed_log_h => Err(Missing::OutsideCurve {
                needed_log_h,
                available_low: self.low,
                available_high: self.high,
            }),
        }
    }

    /// Largest gradient within the readings and where it is.
    pub(crate) fn largest_gradient(&self) -> (f64, f64) {
        const STEPS: usize = 240;
        let step = (self.high - self.low) / STEPS as f64;
        let mut best = (self.low, self.gradient(self.low));
        for k in 1..=STEPS {
            let x = self.low + step * k as f64;
            let slope = self.gradient(x);
            if slope > best.1 {
                best = (x, slope);
            }
        }
        // Ternary search between the neighbours of the best grid point.
        let (mut a, mut b) = (
            (best.0 - step).max(self.low),
            (best.0 + step).min(self.high),
        );
        for _ in 0..40 {
            let (c, d) = (a + (b - a) / 3.0, b - (b - a) / 3.0);
            if self.gradient(c) < self.gradient(d) {
                a = c;
            } else {
                b = d;
            }
        }
        let x = 0.5 * (a + b);
        let slope = self.gradient(x);
        if slope > best.1 { (x, slope) } else { best }
    }
}

impl CharacteristicCurve {
    /// Gives the gross density at an exposure.
    ///
    /// # Errors
    /// [`OutsideReadings`] outside the readings; see [`density_extrapolated_at`](Self::density_extrapolated_at).
    pub fn density_at(&self, at: LogExposure) -> Result<Measured<Density>, OutsideReadings> {
        let x = self.exposure_within(at)?;
        Ok(self.density_anywhere(x))
    }

    /// Gives the gross density at any exposure, flagged [`Flag::Extrapolated`] outside the readings.
    #[must_use]
    pub fn density_extrapolated_at(&self, at: LogExposure) -> Measured<Density> {
        let x = at.to_log10();
        let density = self.density_anywhere(x);
        if self.plain().holds(x) {
            density
        } else {
            density.flagged(Flag::Extrapolated)
        }
    }

    /// Gives the slope dD/d(log10 H) at an exposure.
    ///
    /// # Errors
    /// [`OutsideReadings`] outside the readings.
    pub fn gradient_at(&self, at: LogExposure) -> Result<Measured<Gradient>, OutsideReadings> {
        let x = self.exposure_within(at)?;
        Ok(self.measured(self.shape.gradient(x), Gradient::of, |c| {
            Some(c.gradient(x))
        }))
    }

    /// Gives the exposure at which the curve has a gross density.
    ///
    /// # Errors
    /// [`OutsideReadings`] when the curve does not reach it within the readings.
    pub fn log_h_at(&self, density: Density) -> Result<Measured<LogExposure>, OutsideReadings> {
        let plain = self.plain();
        let wanted = density.to_density();
        match plain.log_h_at(wanted) {
            Some(x) if plain.holds(x) => {
                Ok(self.measured(x, log_exposure_of, |c| c.log_h_at(wanted)))
            }
            _ => Err(OutsideReadings::Density {
                asked: wanted,
                low: plain.density(self.low),
                high: plain.density(self.high),
            }),
        }
    }

    /// Gives the exposure at a gross density, continued up to 4 in log H past the
    /// readings and then flagged [`Flag::Extrapolated`].
    ///
    /// `None` when even the continued curve never has that density.
    #[must_use]
    pub fn log_h_extrapolated_at(&self, density: Density) -> Option<Measured<LogExposure>> {
        let plain = self.plain();
        let wanted = density.to_density();
        let x = plain.log_h_at(wanted)?;
        let answer = self.measured(x, log_exposure_of, |c| c.log_h_at(wanted));
        Some(if plain.holds(x) {
            answer
        } else {
            answer.flagged(Flag::Extrapolated)
        })
    }

    /// Gives base+fog, flagged with where it comes from unless it was read from unexposed film.
    ///
    /// With [`Flag::BaseFromLowestReading`] it is an upper limit, and its uncertainty
    /// is that of the limit.
    #[must_use]
    pub fn base_plus_fog(&self) -> &Measured<Density> {
        &self.base_plus_fog
    }

    /// Gives the straight line.
    ///
    /// # Errors
    /// [`Missing::StraightLineNotReached`] when the gradient still rises at the last reading.
    pub fn straight_line(&self) -> Result<StraightLine, Missing> {
        let plain = self.plain();
        let (at, largest) = plain.largest_gradient();
        // Still rising: the largest gradient is at the end and 0.3 below it is 5 % less.
        if at > self.high - 0.01 && plain.gradient((self.high - 0.3).max(self.low)) < 0.95 * largest
        {
            return Err(Missing::StraightLineNotReached {
                available_high: self.high,
            });
        }
        let sd = self.standard_uncertainty_of(|c| Some(c.largest_gradient().1));
        let level = |x: f64| plain.gradient(x) - 0.95 * largest;
        let low = root_between(level, self.low, at).unwrap_or(self.low);
        let high = root_between(level, at, self.high).unwrap_or(self.high);
        Ok(StraightLine {
            gradient: Measured::new(Gradient::of(largest), sd).flagged_all(&self.flags),
            low: log_exposure_of(low),
            high: log_exposure_of(high),
        })
    }

    /// Gives the lowest and the highest exposure that have a reading.
    #[must_use]
    pub fn range(&self) -> (LogExposure, LogExposure) {
        (log_exposure_of(self.low), log_exposure_of(self.high))
    }

    /// Gives this curve with its range continued at both ends by the film curve.
    ///
    /// Criteria that need a little more than the readings can then be given;
    /// every number of the continued curve carries [`Flag::Extrapolated`].
    /// Nothing else asks for this: a caller must. A negative distance counts as zero.
    /// Readings that show no toe are not continued downwards: nothing in them says
    /// how the toe below runs.
    #[must_use]
    pub fn continued_by(&self, distance: Stops) -> Self {
        let by = distance.to_delta_log_h().max(0.0);
        let mut continued = self.clone();
        if self.base_seen.is_ok() {
            continued.low -= by;
        }
        continued.high += by;
        continued.flags.insert(Flag::Extrapolated);
        continued
    }

    /// Gives what the exposures are counted in.
    #[must_use]
    pub fn exposure_scale(&self) -> ExposureScale {
        self.scale
    }

    /// Gives every reading beside the curve, in the order handed in.
    #[must_use]
    pub fn readings(&self) -> &[FittedReading] {
        &self.readings
    }

    /// Gives the standard deviation of the residuals of readings without a flag. (density)
    #[must_use]
    pub fn residual_sd(&self) -> f64 {
        self.residual_sd
    }

    /// Gives the uncertainty assumed for readings that came without one, if any did.
    #[must_use]
    pub fn assumed_reading_sd(&self) -> Option<f64> {
        self.assumed_reading_sd
    }

    /// Gives how the curve was fitted.
    #[must_use]
    pub fn method(&self) -> CurveMethod {
        match (self.shape.shoulder, self.shape.bells.centres.is_empty()) {
            (false, true) => CurveMethod::Toe,
            (true, true) => CurveMethod::ToeAndShoulder,
            (false, false) => CurveMethod::ToeCorrected,
            (true, false) => CurveMethod::ToeAndShoulderCorrected,
        }
    }

    /// Gives the explicit film curve, without the smooth correction if there is one.
    ///
    /// `None` when two parameters came out as no film curve, which readings of a film do not give.
    #[must_use]
    pub fn film_curve(&self) -> Option<FilmCurve> {
        FilmCurve::from_parameters(self.shape.film()).ok()
    }

    /// Gives the flags that hold for the curve as a whole.
    #[must_use]
    pub fn flags(&self) -> &Flags {
        &self.flags
    }

    /// The curve on plain numbers.
    pub(crate) fn plain(&self) -> PlainCurve {
        PlainCurve {
            shape: self.shape.clone(),
            base: self.base.source.of(&self.shape),
            low: self.low,
            high: self.high,
        }
    }

    /// Standard uncertainty of an answer: √(g'Cg), g by central differences.
    ///
    /// An answer that vanishes when a parameter moves by a little (a root at the
    /// very edge) contributes the one-sided difference, or nothing.
    pub(crate) fn standard_uncertainty_of(
        &self,
        answer: impl Fn(&PlainCurve) -> Option<f64>,
    ) -> f64 {
        let plain = self.plain();
        let Some(centre) = answer(&plain) else {
            return 0.0;
        };
        let size = self.shape.q.len();
        let difference = |up: Option<f64>, down: Option<f64>, h: f64| match (up, down) {
            (Some(u), Some(d)) => (u - d) / (2.0 * h),
            (Some(u), None) => (u - centre) / h,
            (None, Some(d)) => (centre - d) / h,
            (None, None) => 0.0,
        };
        let mut slope = vec![0.0; size];
        for (i, slope) in slope.iter_mut().enumerate() {
            let variance = self.covariance[(i, i)];
            if variance <= 0.0 {
                continue;
            }
            let h = (1e-3 * variance.sqrt()).clamp(1e-7, 1e-4);
            let moved = |by: f64| {
                let mut m = plain.clone();
                m.shape.q[i] += by;
                m.base = self.base.source.of(&m.shape);
                answer(&m)
            };
            *slope = difference(moved(h), moved(-h), h);
        }
        let mut variance = 0.0;
        for i in 0..size {
            for j in 0..size {
                variance += slope[i] * self.covariance[(i, j)] * slope[j];
            }
        }
        if self.base.own_variance > 0.0 {
            let h = 1e-5;
            let moved = |by: f64| {
                let mut m = plain.clone();
                m.base += by;
                answer(&m)
            };
            let slope = difference(moved(h), moved(-h), h);
            variance += slope * slope * self.base.own_variance;
        }
        variance.max(0.0).sqrt()
    }

    /// A number of this curve with its uncertainty and the curve's flags.
    pub(crate) fn measured<Q: Copy>(
        &self,
        value: f64,
        to: impl Fn(f64) -> Q,
        answer: impl Fn(&PlainCurve) -> Option<f64>,
    ) -> Measured<Q> {
        Measured::new(to(value), self.standard_uncertainty_of(answer)).flagged_all(&self.flags)
    }

    fn exposure_within(&self, at: LogExposure) -> Result<f64, OutsideReadings> {
        let x = at.to_log10();
        if self.plain().holds(x) {
            Ok(x)
        } else {
            Err(OutsideReadings::Exposure {
                asked: x,
                low: self.low,
                high: self.high,
            })
        }
    }

    fn density_anywhere(&self, x: f64) -> Measured<Density> {
        self.measured(self.shape.density(x), density_of, |c| Some(c.density(x)))
    }
}

/// A log exposure of our own arithmetic.
pub(crate) fn log_exposure_of(x: f64) -> LogExposure {
    match LogExposure::from_log10(x) {
        Ok(log_h) => log_h,
        Err(_) => unreachable!("a root between finite ends is finite, found {x}"),
    }
}
