//! The relation of value to relative log exposure, from a bracket of one subject and
//! without a step tablet.
//!
//! Each patch got the same light in every frame, so its values differ by the known ratios
//! of exposure alone. The curve g(value) = log H is a sum of increments e^a, and so it rises
//! at every value. Minimised is
//!
//! Σ {(g(v) − log E − log t)/(σ·g′(v))}² + ∫ (a‴)²/τ² dx, x = ln H:
//!
//! readings count by the noise of the value (σ), and the logarithm of the slope bends
//! gently over log exposure. A toe, a straight line and a power law have no bend there at all.
//! Gauss-Newton over a; slopes and x in it come from the round before; σ is estimated.
//!
//! Own method. What it can't know is kept with the result: see [`BracketCurve`].

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use thiserror::Error;

/// Knots where the values are no small whole numbers.
const KNOTS: usize = 128;
/// Whole values up to this range get a knot each.
const WHOLE_RANGE: f64 = 256.0;
/// Variance of the third derivative of the log slope that is believed beforehand, with x
/// in ln H. Chosen on one gamma-coded response; 0.008 to 0.8 change its error by less than 0.003.
const BEND_VARIANCE: f64 = 0.083;
/// Rounds in which slopes and noise are taken anew.
const ROUNDS: usize = 5;
/// Steps of one round.
const STEPS: usize = 40;
/// Fewest readings beyond one for each patch.
const FEWEST_SPARE: usize = 8;

/// One value of one patch in one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BracketReading {
    /// Number of the patch, from 0.
    pub patch: usize,
    /// log10 of the frame's exposure, relative: time, or time over N².
    pub log_exposure: f64,
    /// Value read: a code value or a density.
    pub value: f64,
}

/// An error of exposure that several readings share: of a frame, or of a mark of the
/// shutter that was used for several frames.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureError {
    /// Its standard uncertainty. \[log10 of exposure\]
    pub sd: f64,
    /// Readings it moves, by their place in the list, and how many times.
    pub moves: Vec<(usize, f64)>,
}

/// One point of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BracketPoint {
    /// Value, in the unit of the readings.
    pub value: f64,
    /// Relative log10 H, zero at the curve's anchor.
    pub log_h: f64,
    /// Standard uncertainty of `log_h` against the anchor: scatter of the readings, and
    /// the errors of exposure that were told.
    pub log_h_sd: f64,
}

/// Value against relative log exposure.
///
/// It can't know the level of exposure (only differences of log H mean something), an error
/// that all ratios of exposure share (it scales the contrast), or what film and scanner
/// each did: without a calibrated scanner the curve is of the two together.
#[derive(Clone, Debug, PartialEq)]
pub struct BracketCurve {
    /// Points by rising log H.
    pub points: Vec<BracketPoint>,
    /// Value at which log H is set to zero.
    pub anchor: f64,
    /// Standard deviation of a reading about the curve, in the unit of the values.
    pub value_sd: f64,
    /// Readings used.
    pub used: usize,
    /// Readings left out: clipped, or the only one of their patch.
    pub left_out: usize,
    /// Step of log10 H, when all ratios are its multiples: a ripple of that period is held
    /// down by the smoothness alone, since the readings can't show it.
    pub equal_step: Option<f64>,
}

/// Why there is no curve.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
pub enum BracketCurveError {
    /// A value or exposure is no finite number.
    #[error("reading {row} has a value or an exposure that is no finite number")]
    NotFinite {
        /// Row, from 1.
        row: usize,
    },
    /// Too few.
    #[error(
        "{used} usable readings of {patches} patches are too few; needed are {FEWEST_SPARE} more readings than patches, each patch unclipped in two frames or more"
    )]
    TooFew {
        /// Usable readings.
        used: usize,
        /// Their patches.
        patches: usize,
    },
    /// No patch joins two ranges of values.
    #[error(
        "no patch has values both below and above the gap from {low} to {high}, so nothing ties the two parts together"
    )]
    Gap {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// Values don't follow exposure.
    #[error("the values neither rise nor fall with exposure")]
    NoDirection,
    /// The descent failed.
    #[error("the curve did not settle; the exposures may not be those of the frames")]
    NotSettled,
}

/// Recovers the curve of a bracket.
///
/// # Errors
/// [`BracketCurveError`] when the readings fix no curve.
pub fn bracket_curve(readings: &[BracketReading]) -> Result<BracketCurve, BracketCurveError> {
    bracket_curve_with_errors(readings, &[])
}

/// Recovers the curve of a bracket whose exposures are known to some uncertainty.
///
/// Each error is carried to the curve by the fit's own linear answer to it: with N the
/// normal matrix and J = ∂g/∂a, δa = N⁻¹·Jᵀ·δb, where b is what the exposures bring to
/// the fit. Errors are taken as independent of each other.
///
/// # Errors
/// [`BracketCurveError`] when the readings fix no curve.
pub fn bracket_curve_with_errors(
    readings: &[BracketReading],
    errors: &[ExposureError],
) -> Result<BracketCurve, BracketCurveError> {
    for (at, r) in readings.iter().enumerate() {
        if !(r.value.is_finite() && r.log_exposure.is_finite()) {
            return Err(BracketCurveError::NotFinite { row: at + 1 });
        }
    }
    let groups = by_patch(&usable(readings));
    let used: usize = groups.iter().map(Vec::len).sum();
    if used < groups.len() + FEWEST_SPARE {
        return Err(BracketCurveError::TooFew {
            used,
            patches: groups.len(),
        });
    }
    refuse_gap(&groups)?;
    let sign = direction(&groups)?;
    let fit = Fit::of(&groups, sign);
    let (a, stage) = fit.descend()?;
    let normal = fit.normal(&a, &stage);
    let solver = Cholesky::new(normal).ok_or(BracketCurveError::NotSettled)?;
    let mut points = fit.points(&a, &solver, stage.variance);
    fit.add_errors(&mut points, (&a, &solver), errors);
    Ok(BracketCurve {
        anchor: points[fit.count / 2].value,
        points,
        value_sd: libm::sqrt(stage.variance) * fit.step,
        used,
        left_out: readings.len() - used,
        equal_step: equal_step(&groups),
    })
}

/// Drops clipped values: an extreme that one patch has at two exposures.
fn usable(readings: &[BracketReading]) -> Vec<Numbered> {
    let low = readings
        .iter()
        .map(|r| r.value)
        .fold(f64::INFINITY, f64::min);
    let high = readings
        .iter()
        .map(|r| r.value)
        .fold(f64::NEG_INFINITY, f64::max);
    let clipped = |end: f64| {
        let mut at: Vec<(usize, f64)> = readings
            .iter()
            .filter(|r| r.value == end)
            .map(|r| (r.patch, r.log_exposure))
            .collect();
        at.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        at.windows(2).any(|w| w[0].0 == w[1].0 && w[1].1 > w[0].1)
    };
    let (low_off, high_off) = (clipped(low), clipped(high));
    readings
        .iter()
        .enumerate()
        .filter(|(_, r)| !(low_off && r.value == low || high_off && r.value == high))
        .map(|(row, reading)| Numbered {
            row,
            reading: *reading,
        })
        .collect()
}

/// A reading with its place in the list.
#[derive(Clone, Copy)]
struct Numbered {
    row: usize,
    reading: BracketReading,
}

/// Readings of each patch that has two or more.
fn by_patch(readings: &[Numbered]) -> Vec<Vec<Numbered>> {
    let mut sorted = readings.to_vec();
    sorted.sort_by_key(|r| r.reading.patch);
    sorted
        .chunk_by(|a, b| a.reading.patch == b.reading.patch)
        .filter(|group| group.len() > 1)
        .map(<[Numbered]>::to_vec)
        .collect()
}

fn refuse_gap(groups: &[Vec<Numbered>]) -> Result<(), BracketCurveError> {
    let mut spans: Vec<(f64, f64)> = groups
        .iter()
        .map(|g| {
            let values = g.iter().map(|r| r.reading.value);
            (
                values.clone().fold(f64::INFINITY, f64::min),
                values.fold(f64::NEG_INFINITY, f64::max),
            )
        })
        .collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut reached = spans[0].1;
    for &(low, high) in &spans[1..] {
        if low > reached {
            return Err(BracketCurveError::Gap {
                low: reached,
                high: low,
            });
        }
        reached = reached.max(high);
    }
    Ok(())
}

/// 1 where values rise with exposure (densities of a negative), −1 where they fall.
fn direction(groups: &[Vec<Numbered>]) -> Result<f64, BracketCurveError> {
    let mut sum = 0.0;
    for group in groups {
        let n = group.len() as f64;
        let value = group.iter().map(|r| r.reading.value).sum::<f64>() / n;
        let log = group.iter().map(|r| r.reading.log_exposure).sum::<f64>() / n;
        for Numbered { reading: r, .. } in group {
            sum += (r.value - value) * (r.log_exposure - log);
        }
    }
    if sum == 0.0 {
        return Err(BracketCurveError::NoDirection);
    }
    Ok(sum.signum())
}

fn equal_step(groups: &[Vec<Numbered>]) -> Option<f64> {
    let mut logs: Vec<f64> = groups
        .iter()
        .flatten()
        .map(|r| r.reading.log_exposure)
        .collect();
    logs.sort_by(f64::total_cmp);
    logs.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let step = logs.windows(2).map(|w| w[1] - w[0]).reduce(f64::min)?;
    logs.iter()
        .all(|l| {
            let n = (l - logs[0]) / step;
            (n - libm::round(n)).abs() < 0.02
        })
        .then_some(step)
}

/// A reading on the knots: place, share of the next knot, ln t; and its row.
struct Placed {
    row: usize,
    knot: usize,
    share: f64,
    ln_t: f64,
}

struct Fit {
    groups: Vec<Vec<Placed>>,
    count: usize,
    step: f64,
    first: f64,
    sign: f64,
    spare: f64,
    span: f64,
}

/// What a round holds fixed.
struct Stage {
    a_data: DMatrix<f64>,
    b_data: DVector<f64>,
    square: f64,
    bend: DMatrix<f64>,
    pull: f64,
    variance: f64,
}

impl Fit {
    fn of(groups: &[Vec<Numbered>], sign: f64) -> Self {
        let values = || groups.iter().flatten().map(|r| sign * r.reading.value);
        let first = values().fold(f64::INFINITY, f64::min);
        let last = values().fold(f64::NEG_INFINITY, f64::max);
        let whole = values().all(|v| v == libm::round(v)) && last - first <= WHOLE_RANGE;
        let count = if whole {
            (last - first) as usize + 1
        } else {
            KNOTS
        }
        .max(6);
        let step = (last - first) / (count - 1) as f64;
        let ln = |log: f64| log * std::f64::consts::LN_10;
        let placed = |Numbered { row, reading: r }: &Numbered| {
            let at = (sign * r.value - first) / step;
            let knot = (at as usize).min(count - 2);
            Placed {
                row: *row,
                knot,
                share: at - knot as f64,
                ln_t: ln(r.log_exposure),
            }
        };
        let groups: Vec<Vec<Placed>> = groups
            .iter()
            .map(|g| g.iter().map(placed).collect())
            .collect();
        let used: usize = groups.iter().map(Vec::len).sum();
        let times = || groups.iter().flatten().map(|p| p.ln_t);
        let span =
            times().fold(f64::NEG_INFINITY, f64::max) - times().fold(f64::INFINITY, f64::min);
        Self {
            // The three directions that the smoothness leaves free count too.
            spare: (used - groups.len()).saturating_sub(3).max(1) as f64,
            groups,
            count,
            step,
            first,
            sign,
            span,
        }
    }

    fn curve(&self, a: &DVector<f64>) -> Vec<f64> {
        let mut g = vec![0.0];
        let mut sum = 0.0;
        for x in a.iter() {
            sum += libm::exp(*x);
            g.push(sum);
        }
        g
    }

    /// J'v for J[k][i] = ∂g_k/∂a_i, which is e^(a_i) for i < k and else zero.
    fn carried_back(&self, a: &DVector<f64>, v: &DVector<f64>) -> DVector<f64> {
        let mut sums = DVector::zeros(self.count - 1);
        let mut sum = 0.0;
        for i in (0..self.count - 1).rev() {
            sum += v[i + 1];
            sums[i] = sum * libm::exp(a[i]);
        }
        sums
    }

    /// Sums of the readings, each weighted by the slope of `g` at its value.
    fn sums(&self, g: &[f64]) -> (DMatrix<f64>, DVector<f64>, f64) {
        let slope = slopes(g);
        let n = self.count;
        let (mut a, mut b, mut square) = (DMatrix::zeros(n, n), DVector::zeros(n), 0.0);
        for group in &self.groups {
            let weights: Vec<f64> = group
                .iter()
                .map(|p| {
                    let s = slope[p.knot] * (1.0 - p.share) + slope[p.knot + 1] * p.share;
                    1.0 / (s * s)
                })
                .collect();
            let sum: f64 = weights.iter().sum();
            let mean: f64 = group
                .iter()
                .zip(&weights)
                .map(|(p, w)| p.ln_t * w)
                .sum::<f64>()
                / sum;
            let hats = |p: &Placed| [(p.knot, 1.0 - p.share), (p.knot + 1, p.share)];
            for (p, w) in group.iter().zip(&weights) {
                let y = p.ln_t - mean;
                square += w * y * y;
                for (i, x) in hats(p) {
                    b[i] += w * x * y;
                    for (j, z) in hats(p) {
                        a[(i, j)] += w * x * z;
                    }
                    for (q, v) in group.iter().zip(&weights) {
                        for (j, z) in hats(q) {
                            a[(i, j)] -= w * x * v * z / sum;
                        }
                    }
                }
            }
        }
        (a, b, square)
    }

    fn normal(&self, a: &DVector<f64>, stage: &Stage) -> DMatrix<f64> {
        let n = self.count - 1;
        // Sums of the data's matrix from the far corner: what J'AJ is for such a J.
        let mut tail = DMatrix::<f64>::zeros(n + 1, n + 1);
        for j in (0..n).rev() {
            for i in (0..n).rev() {
                tail[(i, j)] = stage.a_data[(i + 1, j + 1)] + tail[(i + 1, j)] + tail[(i, j + 1)]
                    - tail[(i + 1, j + 1)];
            }
        }
        let increments = a.map(libm::exp);
        DMatrix::from_fn(n, n, |i, j| {
            tail[(i, j)] * increments[i] * increments[j] + stage.bend[(i, j)] * stage.pull
        })
    }

    fn descend(&self) -> Result<(DVector<f64>, Stage), BracketCurveError> {
        let n = self.count - 1;
        let mut a = DVector::from_element(n, libm::log(self.span / n as f64));
        // A first, stiff curve, smooth over the values, for slopes to begin with.
        let second = differences(&(0..n).map(|k| k as f64).collect::<Vec<_>>(), 2);
        let scale = n as f64 / 250.0;
        let (a_data, b_data, square) = self.sums(&self.curve(&a));
        let mut stage = Stage {
            a_data,
            b_data,
            square,
            bend: second.transpose() * second,
            pull: 1e6 * scale * scale * scale,
            variance: 1.0,
        };
        let mut settled = false;
        for round in 0..=ROUNDS {
            settled = false;
            if round > 0 {
                let g = self.curve(&a);
                let middles: Vec<f64> = g.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
                let third = differences(&middles, 3);
                (stage.a_data, stage.b_data, stage.square) = self.sums(&g);
                stage.bend = third.transpose() * third;
                stage.pull = stage.variance / BEND_VARIANCE;
            }
            for _ in 0..STEPS {
                if round == 0 {
                    (stage.a_data, stage.b_data, stage.square) = self.sums(&self.curve(&a));
                }
                let g = DVector::from_vec(self.curve(&a));
                let left_over = &stage.b_data - &stage.a_data * g;
                let right = self.carried_back(&a, &left_over) - &stage.bend * &a * stage.pull;
                let mut step = Cholesky::new(self.normal(&a, &stage))
                    .ok_or(BracketCurveError::NotSettled)?
                    .solve(&right);
                let largest = step.amax();
                if !largest.is_finite() {
                    return Err(BracketCurveError::NotSettled);
                }
                step *= 1.0 / largest.max(1.0);
                a += step;
                if largest < 1e-5 {
                    settled = true;
                    break;
                }
            }
            let g = DVector::from_vec(self.curve(&a));
            let misfit = stage.square - 2.0 * stage.b_data.dot(&g)
                + (&stage.a_data * &g).dot(&g)
                + stage.pull * (&stage.bend * &a).dot(&a);
            // Readings without any scatter must not divide by nothing.
            stage.variance = (misfit / self.spare).max(1e-6);
        }
        if settled {
            Ok((a, stage))
        } else {
            Err(BracketCurveError::NotSettled)
        }
    }

    fn points(
        &self,
        a: &DVector<f64>,
        solver: &Cholesky<f64, Dyn>,
        variance: f64,
    ) -> Vec<BracketPoint> {
        let g = self.curve(a);
        let anchor = self.count / 2;
        let spread = solver.inverse();
        (0..self.count)
            .map(|k| {
                // log H against the anchor's is a sum of the increments between the two.
                let between = k.min(anchor)..k.max(anchor);
                let mut square = 0.0;
                for i in between.clone() {
                    for j in between.clone() {
                        square += spread[(i, j)] * libm::exp(a[i] + a[j]) * variance;
                    }
                }
                BracketPoint {
                    value: self.sign * (self.first + self.step * k as f64),
                    log_h: (g[k] - g[anchor]) / std::f64::consts::LN_10,
                    log_h_sd: libm::sqrt(square.max(0.0)) / std::f64::consts::LN_10,
                }
            })
            .collect()
    }

    /// Adds what errors of exposure do to the uncertainty of the points.
    fn add_errors(
        &self,
        points: &mut [BracketPoint],
        (a, solver): (&DVector<f64>, &Cholesky<f64, Dyn>),
        errors: &[ExposureError],
    ) {
        let g = self.curve(a);
        let slope = slopes(&g);
        let rows = self.groups.iter().flatten().map(|p| p.row + 1).max();
        let mut moved = vec![0.0; rows.unwrap_or(0)];
        for error in errors {
            moved.fill(0.0);
            for &(row, times) in &error.moves {
                if let Some(place) = moved.get_mut(row) {
                    *place += times * error.sd;
                }
            }
            let mut right = DVector::zeros(self.count);
            for group in &self.groups {
                let weight = |p: &Placed| {
                    let s = slope[p.knot] * (1.0 - p.share) + slope[p.knot + 1] * p.share;
                    1.0 / (s * s)
                };
                let sum: f64 = group.iter().map(weight).sum();
                let mean = group.iter().map(|p| weight(p) * moved[p.row]).sum::<f64>() / sum;
                for p in group {
                    let pull = weight(p) * (moved[p.row] - mean);
                    right[p.knot] += pull * (1.0 - p.share);
                    right[p.knot + 1] += pull * p.share;
                }
            }
            // In ln, as the fit is; the points are in log10, as the errors are.
            let answer = solver.solve(&self.carried_back(a, &right));
            let mut shift = vec![0.0];
            let mut total = 0.0;
            for (by, at) in answer.iter().zip(a.iter()) {
                total += by * libm::exp(*at);
                shift.push(total);
            }
            let anchor = shift[self.count / 2];
            for (point, by) in points.iter_mut().zip(&shift) {
                point.log_h_sd = libm::hypot(point.log_h_sd, by - anchor);
            }
        }
    }
}

/// Slopes of a row by its knots' numbers.
fn slopes(g: &[f64]) -> Vec<f64> {
    let last = g.len() - 1;
    (0..=last)
        .map(|k| {
            let (low, high) = (k.saturating_sub(1), (k + 1).min(last));
            (g[high] - g[low]) / (high - low) as f64
        })
        .collect()
}

/// Divided differences of an order over places `x`, each times √ of its width, so that the
/// sum of squares is the integral of the squared derivative.
fn differences(x: &[f64], order: usize) -> DMatrix<f64> {
    let mut rows: DMatrix<f64> = DMatrix::identity(x.len(), x.len());
    let mut places = x.to_vec();
    for _ in 0..order {
        rows = DMatrix::from_fn(places.len() - 1, x.len(), |i, j| {
            (rows[(i + 1, j)] - rows[(i, j)]) / (places[i + 1] - places[i])
        });
        places = places.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
    }
    let widths = if places.len() > 1 {
        slopes(&places)
    } else {
        vec![1.0]
    };
    DMatrix::from_fn(places.len(), x.len(), |i, j| {
        rows[(i, j)] * libm::sqrt(widths[i])
    })
}
