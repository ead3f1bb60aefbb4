//! The most probable parameters of a model with limits, and their covariance.
//!
//! Knows no film: a [`Problem`] is a list of parameters with priors and a list
//! of observations whose prediction and exact gradient the caller computes.
//! Observations may be values or limits; values and some priors lose weight
//! when they lie far out (Huber's rule), and are never dropped.
//!
//! Method: Levenberg-Marquardt on the negative log posterior; the covariance
//! is the inverse of the Gauss-Newton matrix at the optimum, in which a limit
//! counts with the curvature of its own log likelihood.
//!
//! Most parameters belong to one frame and meet others only through that
//! frame's readings. They are eliminated block by block (Schur complement), so
//! that the work grows with the number of readings and not with the cube of the
//! number of frames. Parameters without an owner are called shared.
//!
//! Source: P. J. Huber, "Robust Estimation of a Location Parameter", Ann.
//! Math. Statist. 35 (1964) 73, for the weights (from memory).

use crate::assumptions::Source;
use crate::normal::{inverse_mills, log_cumulative};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use std::collections::BTreeMap;

/// How a prior behaves far from its mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tail {
    /// Normal: pulls the harder the further out.
    Normal,
    /// Huber's rule: pulls no harder beyond the threshold.
    Huber,
    /// Lets go: pulls less and less far out. For what may simply be wrong.
    LetsGo,
}

/// A prior of one parameter: normal near its mean.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prior {
    pub(crate) mean: f64,
    pub(crate) sd: f64,
    pub(crate) tail: Tail,
    pub(crate) source: Source,
}

/// What was seen.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Seen {
    Value(f64),
    AtMost(f64),
    AtLeast(f64),
}

/// One observation. \[unit of the response\]
#[derive(Clone, Copy, Debug)]
pub(crate) struct Observation {
    pub(crate) seen: Seen,
    pub(crate) sd: f64,
    /// Loses weight when far out; a limit never does.
    pub(crate) robust: bool,
}

/// A prediction and its gradient: (parameter, derivative), no parameter twice.
#[derive(Clone, Debug, Default)]
pub(crate) struct Prediction {
    pub(crate) value: f64,
    pub(crate) gradient: Vec<(usize, f64)>,
}

/// A model to be fitted.
pub(crate) trait Model {
    fn priors(&self) -> &[Prior];
    fn observations(&self) -> &[Observation];
    /// What is worked out once for all predictions at one set of parameters.
    type Ready;
    /// Works it out.
    fn ready(&self, parameters: &[f64]) -> Self::Ready;
    /// Predicts observation `index`.
    fn predict(&self, ready: &Self::Ready, index: usize, parameters: &[f64]) -> Prediction;
    /// Predicts its value alone.
    fn value(&self, ready: &Self::Ready, index: usize, parameters: &[f64]) -> f64;
    /// Huber's threshold, in standard deviations.
    fn outlier_beyond(&self) -> f64;
    /// The block that a parameter belongs to; `None` when it is shared. No
    /// observation may touch parameters of two blocks.
    fn owner(&self, parameter: usize) -> Option<usize>;
}

/// A parameter held at a value while the others are fitted.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Held {
    pub(crate) index: usize,
    pub(crate) value: f64,
}

/// A fit.
#[derive(Clone, Debug)]
pub(crate) struct Fit {
    pub(crate) parameters: Vec<f64>,
    /// Negative log posterior, up to a constant.
    pub(crate) cost: f64,
    /// Whether the steps had become small.
    pub(crate) converged: bool,
}

fn huber(r: f64, k: f64) -> (f64, f64) {
    // cost and weight of a scaled residual
    let a = r.abs();
    // An infinite threshold is plain least squares.
    if a <= k {
        (0.5 * r * r, 1.0)
    } else {
        (k * (a - 0.5 * k), k / a)
    }
}

impl Tail {
    /// Weight of a scaled distance, 1 near the middle.
    pub(crate) fn weight(self, r: f64, k: f64) -> f64 {
        self.terms(r, k).1
    }

    /// Cost and weight of a scaled distance.
    fn terms(self, r: f64, k: f64) -> (f64, f64) {
        match self {
            Self::Normal => (0.5 * r * r, 1.0),
            Self::Huber => huber(r, k),
            // ln(1 + r²/2) has the curvature of the normal at its middle.
            Self::LetsGo => (libm::log1p(0.5 * r * r), 1.0 / (1.0 + 0.5 * r * r)),
        }
    }
}

/// Cost, slope with respect to the prediction, and curvature, of an observation.
fn observation_terms(o: Observation, value: f64, k: f64) -> (f64, f64, f64) {
    match o.seen {
        Seen::Value(y) => {
            let r = (value - y) / o.sd;
            let (cost, w) = huber(r, if o.robust { k } else { f64::INFINITY });
            (cost, w * r / o.sd, w / (o.sd * o.sd))
        }
        Seen::AtMost(y) => limit_terms((y - value) / o.sd, o.sd, 1.0),
        Seen::AtLeast(y) => limit_terms((value - y) / o.sd, o.sd, -1.0),
    }
}

fn limit_terms(z: f64, sd: f64, sign: f64) -> (f64, f64, f64) {
    // −ln Φ(z); slope and curvature by the inverse Mills ratio h: h, h(h + z).
    let h = inverse_mills(z);
    (
        -log_cumulative(z),
        sign * h / sd,
        (h * (h + z)).max(0.0) / (sd * sd),
    )
}

fn cost_of(model: &impl Model, parameters: &[f64]) -> f64 {
    let k = model.outlier_beyond();
    let priors: f64 = model
        .priors()
        .iter()
        .zip(parameters)
        .map(|(prior, value)| {
            let r = (value - prior.mean) / prior.sd;
            prior.tail.terms(r, k).0
        })
        .sum();
    let ready = model.ready(parameters);
    let observations: f64 = model
        .observations()
        .iter()
        .enumerate()
        .map(|(i, o)| observation_terms(*o, model.value(&ready, i, parameters), k).0)
        .sum();
    priors + observations
}

/// Where each parameter stands in the bordered matrix.
#[derive(Clone, Debug)]
struct Layout {
    /// For each parameter: its block, if any, and its place there or among the shared.
    place: Vec<(Option<usize>, usize)>,
    /// Parameters of each block.
    blocks: Vec<Vec<usize>>,
    /// Shared parameters.
    shared: Vec<usize>,
}

impl Layout {
    fn of(model: &impl Model, count: usize) -> Self {
        let mut number: BTreeMap<usize, usize> = BTreeMap::new();
        let mut layout = Self {
            place: Vec::with_capacity(count),
            blocks: vec![],
            shared: vec![],
        };
        for i in 0..count {
            match model.owner(i) {
                None => {
                    layout.place.push((None, layout.shared.len()));
                    layout.shared.push(i);
                }
                Some(owner) => {
                    let next = layout.blocks.len();
                    let block = *number.entry(owner).or_insert(next);
                    if block == next {
                        layout.blocks.push(vec![]);
                    }
                    layout.place.push((Some(block), layout.blocks[block].len()));
                    layout.blocks[block].push(i);
                }
            }
        }
        layout
    }
}

/// One block with its border: the block's rows against the shared parameters.
#[derive(Clone, Debug)]
struct Block {
    own: DMatrix<f64>,
    /// One column for each shared parameter; most are zero.
    border: DMatrix<f64>,
}

impl Block {
    /// Places of the shared parameters that the block meets.
    fn met(&self) -> Vec<usize> {
        (0..self.border.ncols())
            .filter(|&c| self.border.column(c).iter().any(|v| *v != 0.0))
            .collect()
    }
}

/// Slope and Gauss-Newton matrix, bordered block diagonal.
#[derive(Clone, Debug)]
struct Normal {
    slope: DVector<f64>,
    shared: DMatrix<f64>,
    blocks: Vec<Block>,
}

/// Slope and Gauss-Newton matrix at `parameters`.
fn normal_equations(model: &impl Model, layout: &Layout, parameters: &[f64]) -> Normal {
    let k = model.outlier_beyond();
    let n = parameters.len();
    let m = layout.shared.len();
    let mut normal = Normal {
        slope: DVector::zeros(n),
        shared: DMatrix::zeros(m, m),
        blocks: layout
            .blocks
            .iter()
            .map(|b| Block {
                own: DMatrix::zeros(b.len(), b.len()),
                border: DMatrix::zeros(b.len(), m),
            })
            .collect(),
    };
    for (i, (prior, value)) in model.priors().iter().zip(parameters).enumerate() {
        let r = (value - prior.mean) / prior.sd;
        let w = prior.tail.terms(r, k).1;
        normal.slope[i] += w * r / prior.sd;
        let curvature = w / (prior.sd * prior.sd);
        match layout.place[i] {
            (None, p) => normal.shared[(p, p)] += curvature,
            (Some(b), p) => normal.blocks[b].own[(p, p)] += curvature,
        }
    }
    let ready = model.ready(parameters);
    // The two parts of a gradient, kept apart so that the loops below have no
    // branches: this is where a large test spends its time.
    let mut of_shared: Vec<(usize, f64)> = vec![];
    let mut of_block: Vec<(usize, f64)> = vec![];
    for (i, o) in model.observations().iter().enumerate() {
        let p = model.predict(&ready, i, parameters);
        let (_, d, c) = observation_terms(*o, p.value, k);
        of_shared.clear();
        of_block.clear();
        let mut touched = None;
        for &(a, ga) in &p.gradient {
            normal.slope[a] += d * ga;
            match layout.place[a] {
                (None, at) => of_shared.push((at, ga)),
                (Some(block), at) => {
                    debug_assert!(
                        touched.is_none_or(|t| t == block),
                        "an observation touches one block"
                    );
                    touched = Some(block);
                    of_block.push((at, ga));
                }
            }
        }
        if c <= 0.0 {
            continue;
        }
        for &(a, ga) in &of_shared {
            let cga = c * ga;
            let mut column = normal.shared.column_mut(a);
            for &(b, gb) in &of_shared {
                column[b] += cga * gb;
            }
        }
        if let Some(block) = touched {
            let block = &mut normal.blocks[block];
            for &(a, ga) in &of_block {
                let cga = c * ga;
                for &(b, gb) in &of_block {
                    block.own[(a, b)] += cga * gb;
                }
                for &(b, gb) in &of_shared {
                    block.border[(a, b)] += cga * gb;
                }
            }
        }
    }
    normal
}

/// Columns of a block's border that are not zero, by shared place.
type Border = Vec<(usize, DVector<f64>)>;

/// A factorised bordered matrix.
#[derive(Clone, Debug)]
struct Factorised {
    blocks: Vec<(Cholesky<f64, Dyn>, Border)>,
    shared: Cholesky<f64, Dyn>,
}

impl Normal {
    /// Raises the diagonal for a damped step.
    fn damped(&self, damping: f64) -> Self {
        let mut raised = self.clone();
        let raise = |m: &mut DMatrix<f64>| {
            for i in 0..m.nrows() {
                m[(i, i)] *= 1.0 + damping;
            }
        };
        raise(&mut raised.shared);
        for block in &mut raised.blocks {
            raise(&mut block.own);
        }
        raised
    }

    /// Holds a parameter: its step becomes zero.
    fn hold(&mut self, layout: &Layout, index: usize) {
        let clear = |m: &mut DMatrix<f64>, p: usize| {
            for j in 0..m.nrows() {
                m[(p, j)] = 0.0;
                m[(j, p)] = 0.0;
            }
            m[(p, p)] = 1.0;
        };
        self.slope[index] = 0.0;
        match layout.place[index] {
            (None, p) => {
                clear(&mut self.shared, p);
                for block in &mut self.blocks {
                    block.border.column_mut(p).fill(0.0);
                }
            }
            (Some(b), p) => {
                clear(&mut self.blocks[b].own, p);
                self.blocks[b].border.row_mut(p).fill(0.0);
            }
        }
    }

    /// Factorises; `None` when a direction is open.
    fn factorised(self) -> Option<Factorised> {
        let mut schur = self.shared;
        let mut blocks = Vec::with_capacity(self.blocks.len());
        for block in self.blocks {
            let met = block.met();
            let border = block.border.select_columns(&met);
            let cholesky = Cholesky::new(block.own)?;
            let solved = cholesky.solve(&border);
            for (a, &at) in met.iter().enumerate() {
                let column = border.column(a);
                let mut target = schur.column_mut(at);
                for (b, &bt) in met.iter().enumerate() {
                    let inverse = solved.column(b);
                    let mut sum = 0.0;
                    for row in 0..column.len() {
                        sum += column[row] * inverse[row];
                    }
                    target[bt] -= sum;
                }
            }
            let met: Border = met
                .into_iter()
                .enumerate()
                .map(|(a, at)| (at, border.column(a).into_owned()))
                .collect();
            blocks.push((cholesky, met));
        }
        let shared = Cholesky::new(schur)?;
        Some(Factorised { blocks, shared })
    }
}

impl Factorised {
    /// Solves for a full right side.
    fn solve(&self, layout: &Layout, right: &DVector<f64>) -> DVector<f64> {
        let mut shared =
            DVector::from_iterator(layout.shared.len(), layout.shared.iter().map(|&i| right[i]));
        let own = |b: usize| {
            DVector::from_iterator(
                layout.blocks[b].len(),
                layout.blocks[b].iter().map(|&i| right[i]),
            )
        };
        for (b, (cholesky, border)) in self.blocks.iter().enumerate() {
            let solved = cholesky.solve(&own(b));
            for (at, column) in border {
                shared[*at] -= column.dot(&solved);
            }
        }
        self.shared.solve_mut(&mut shared);
        let mut answer = DVector::zeros(right.len());
        for (&i, value) in layout.shared.iter().zip(shared.iter()) {
            answer[i] = *value;
        }
        for (b, (cholesky, border)) in self.blocks.iter().enumerate() {
            let mut left = own(b);
            for (at, column) in border {
                left -= column * shared[*at];
            }
            cholesky.solve_mut(&mut left);
            for (&i, value) in layout.blocks[b].iter().zip(left.iter()) {
                answer[i] = *value;
            }
        }
        answer
    }
}

/// Gain of log posterior below which a fit has settled: far below anything an
/// interval can show.
const SETTLED: f64 = 1e-6;
/// The same for a fit that others will follow.
const NEARLY_SETTLED: f64 = 1e-3;

/// Comes near the most probable parameters, as a start for [`fit`].
pub(crate) fn approach(model: &impl Model, start: &[f64], steps: usize) -> Fit {
    descend(model, start, None, steps, NEARLY_SETTLED)
}

/// Finds the most probable parameters from a start.
pub(crate) fn fit(model: &impl Model, start: &[f64], held: Option<Held>, steps: usize) -> Fit {
    descend(model, start, held, steps, SETTLED)
}

fn descend(
    model: &impl Model,
    start: &[f64],
    held: Option<Held>,
    steps: usize,
    settled: f64,
) -> Fit {
    let mut parameters = start.to_vec();
    if let Some(held) = held {
        parameters[held.index] = held.value;
    }
    let mut cost = cost_of(model, &parameters);
    let mut damping = 1e-3;
    let mut converged = false;
    let layout = Layout::of(model, parameters.len());
    for _ in 0..steps {
        let mut normal = normal_equations(model, &layout, &parameters);
        if let Some(held) = held {
            normal.hold(&layout, held.index);
        }
        let wanted = -normal.slope.clone();
        let mut improved = false;
        for _ in 0..12 {
            let Some(factorised) = normal.damped(damping).factorised() else {
                damping *= 10.0;
                continue;
            };
            let step = factorised.solve(&layout, &wanted);
            let trial: Vec<f64> = parameters
                .iter()
                .zip(step.iter())
                .map(|(p, s)| p + s.clamp(-2.0, 2.0))
                .collect();
            let trial_cost = cost_of(model, &trial);
            if trial_cost.is_finite() && trial_cost <= cost {
                let gained = cost - trial_cost;
                parameters = trial;
                cost = trial_cost;
                damping = (damping * 0.2).max(1e-9);
                improved = true;
                if gained < settled {
                    converged = true;
                }
                break;
            }
            damping *= 6.0;
        }
        if !improved {
            converged = true;
        }
        if converged {
            break;
        }
    }
    Fit {
        parameters,
        cost,
        converged,
    }
}

/// Curvature that an observation has at its prediction, as a share of 1/sd².
pub(crate) fn information_share<M: Model>(
    model: &M,
    ready: &M::Ready,
    index: usize,
    parameters: &[f64],
) -> f64 {
    let o = model.observations()[index];
    let value = model.value(ready, index, parameters);
    observation_terms(o, value, model.outlier_beyond()).2 * o.sd * o.sd
}

/// The covariance of the parameters at an optimum.
#[derive(Clone, Debug)]
pub(crate) struct Covariance {
    layout: Layout,
    factorised: Factorised,
}

impl Covariance {
    /// Computes it; `None` when the data and priors leave a direction open.
    pub(crate) fn at(model: &impl Model, parameters: &[f64]) -> Option<Self> {
        let layout = Layout::of(model, parameters.len());
        let factorised = normal_equations(model, &layout, parameters).factorised()?;
        Some(Self { layout, factorised })
    }

    /// Computes that of the others when some parameters are known.
    pub(crate) fn given(
        model: &impl Model,
        parameters: &[f64],
        known: impl Fn(usize) -> bool,
    ) -> Option<Self> {
        let layout = Layout::of(model, parameters.len());
        let mut normal = normal_equations(model, &layout, parameters);
        for i in (0..parameters.len()).filter(|&i| known(i)) {
            normal.hold(&layout, i);
        }
        let factorised = normal.factorised()?;
        Some(Self { layout, factorised })
    }

    /// Gives C g for a sparse g.
    pub(crate) fn times(&self, gradient: &[(usize, f64)]) -> DVector<f64> {
        let mut g = DVector::zeros(self.layout.place.len());
        for &(i, v) in gradient {
            g[i] += v;
        }
        self.factorised.solve(&self.layout, &g)
    }

    /// Gives the variance g'Cg of a linear answer.
    pub(crate) fn variance(&self, gradient: &[(usize, f64)]) -> f64 {
        self.between(gradient, gradient).max(0.0)
    }

    /// Gives the covariance g'Ch of two linear answers.
    pub(crate) fn between(&self, g: &[(usize, f64)], h: &[(usize, f64)]) -> f64 {
        // g'Ch = Σ over blocks g_b'B⁻¹h_b + r_g'S⁻¹r_h, r = shared part less border'B⁻¹own part;
        // only blocks that g and h touch take part.
        let (g_shared, g_own) = self.split(g);
        let (h_shared, h_own) = self.split(h);
        let mut sum = 0.0;
        let reduce = |mut shared: DVector<f64>, own: &BTreeMap<usize, DVector<f64>>| {
            for (b, part) in own {
                let (cholesky, border) = &self.factorised.blocks[*b];
                let solved = cholesky.solve(part);
                for (at, column) in border {
                    shared[*at] -= column.dot(&solved);
                }
            }
            shared
        };
        for (b, part) in &g_own {
            if let Some(other) = h_own.get(b) {
                sum += part.dot(&self.factorised.blocks[*b].0.solve(other));
            }
        }
        let (rg, rh) = (reduce(g_shared, &g_own), reduce(h_shared, &h_own));
        sum + rg.dot(&self.factorised.shared.solve(&rh))
    }

    fn split(&self, gradient: &[(usize, f64)]) -> (DVector<f64>, BTreeMap<usize, DVector<f64>>) {
        let mut shared = DVector::zeros(self.layout.shared.len());
        let mut own: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
        for &(i, v) in gradient {
            match self.layout.place[i] {
                (None, p) => shared[p] += v,
                (Some(b), p) => {
                    own.entry(b)
                        .or_insert_with(|| DVector::zeros(self.layout.blocks[b].len()))[p] += v;
                }
            }
        }
        (shared, own)
    }
}

/// One end of an interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum End {
    At(f64),
    /// The likelihood never falls far enough on this side.
    Open,
}

/// Follows the profile of one parameter to where the log posterior has fallen
/// by `drop`, on one side (`direction` +1 or −1), at most `reach` away.
pub(crate) fn profile_end(
    model: &impl Model,
    best: &Fit,
    index: usize,
    sd: f64,
    direction: f64,
    drop: f64,
    reach: f64,
) -> End {
    let centre = best.parameters[index];
    let mut start = best.parameters.clone();
    let cost_at = |distance: f64, start: &mut Vec<f64>| {
        let held = Held {
            index,
            value: centre + direction * distance,
        };
        let fitted = fit(model, start, Some(held), 30);
        *start = fitted.parameters;
        fitted.cost - best.cost - drop
    };
    let (mut low, mut f_low) = (0.0, -drop);
    let mut high = sd.clamp(1e-4, reach) * libm::sqrt(2.0 * drop);
    let mut f_high = cost_at(high, &mut start);
    let mut tries = 0;
    while f_high < 0.0 {
        (low, f_low) = (high, f_high);
        high *= 1.7;
        tries += 1;
        if high > reach || tries > 40 {
            return End::Open;
        }
        f_high = cost_at(high, &mut start);
    }
    for _ in 0..30 {
        // Illinois-free: plain secant within a bracket, bisection when it stalls.
        let secant = low + (high - low) * (-f_low / (f_high - f_low)).clamp(0.05, 0.95);
        let mut from = best.parameters.clone();
        let f = cost_at(secant, &mut from);
        if f < 0.0 {
            (low, f_low) = (secant, f);
        } else {
            (high, f_high) = (secant, f);
        }
        // A thousandth of a log unit is a three-hundredth of a stop.
        if high - low < 1e-3 || f.abs() < 1e-3 {
            break;
        }
    }
    let at = low + (high - low) * (-f_low / (f_high - f_low)).clamp(0.0, 1.0);
    End::At(centre + direction * at)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Mean {
        priors: Vec<Prior>,
        observations: Vec<Observation>,
    }

    impl Model for Mean {
        fn priors(&self) -> &[Prior] {
            &self.priors
        }
        fn observations(&self) -> &[Observation] {
            &self.observations
        }
        type Ready = ();
        fn ready(&self, _: &[f64]) {}
        fn value(&self, (): &(), _: usize, parameters: &[f64]) -> f64 {
            parameters[0]
        }
        fn predict(&self, (): &(), _: usize, parameters: &[f64]) -> Prediction {
            Prediction {
                value: parameters[0],
                gradient: vec![(0, 1.0)],
            }
        }
        fn outlier_beyond(&self) -> f64 {
            1e9
        }
        fn owner(&self, _: usize) -> Option<usize> {
            None
        }
    }

    fn mean_of(observations: Vec<Observation>) -> Mean {
        Mean {
            priors: vec![Prior {
                mean: 0.0,
                sd: 1e3,
                tail: Tail::Normal,
                source: Source::Factor,
            }],
            observations,
        }
    }

    #[test]
    fn values_give_the_weighted_mean_and_its_variance() {
        let value = |y, sd| Observation {
            seen: Seen::Value(y),
            sd,
            robust: true,
        };
        let model = mean_of(vec![value(1.0, 0.1), value(2.0, 0.2)]);
        let best = fit(&model, &[0.0], None, 50);
        // Hand calculation: weights 100 and 25: (100·1 + 25·2)/125 = 1.2; variance 1/125.
        assert!((best.parameters[0] - 1.2).abs() < 1e-6);
        let covariance = Covariance::at(&model, &best.parameters).unwrap();
        assert!((covariance.variance(&[(0, 1.0)]) - 0.008).abs() < 1e-6);
        // A normal likelihood's profile is the normal interval: 1.2 + 1.645·0.08944.
        let drop = 0.5 * 1.644_854 * 1.644_854;
        let End::At(high) = profile_end(&model, &best, 0, 0.09, 1.0, drop, 10.0) else {
            panic!("a normal likelihood closes");
        };
        assert!((high - 1.347_1).abs() < 2e-3, "{high}");
    }

    /// Two frames with an error each and a shared mean.
    struct Framed {
        priors: Vec<Prior>,
        observations: Vec<Observation>,
        eliminated: bool,
    }

    impl Model for Framed {
        fn priors(&self) -> &[Prior] {
            &self.priors
        }
        fn observations(&self) -> &[Observation] {
            &self.observations
        }
        type Ready = ();
        fn ready(&self, _: &[f64]) {}
        fn value(&self, (): &(), index: usize, p: &[f64]) -> f64 {
            p[0] + p[1 + index / 2]
        }
        fn predict(&self, (): &(), index: usize, p: &[f64]) -> Prediction {
            let frame = 1 + index / 2;
            Prediction {
                value: p[0] + p[frame],
                gradient: vec![(0, 1.0), (frame, 1.0)],
            }
        }
        fn outlier_beyond(&self) -> f64 {
            1e9
        }
        fn owner(&self, parameter: usize) -> Option<usize> {
            (self.eliminated && parameter > 0).then_some(parameter)
        }
    }

    #[test]
    fn eliminating_blocks_changes_nothing() {
        let prior = |sd| Prior {
            mean: 0.0,
            sd,
            tail: Tail::Normal,
            source: Source::Frame,
        };
        let build = |eliminated| Framed {
            priors: vec![prior(10.0), prior(0.2), prior(0.3)],
            observations: [1.0, 1.1, 1.6, 1.5]
                .map(|y| Observation {
                    seen: Seen::Value(y),
                    sd: 0.05,
                    robust: true,
                })
                .to_vec(),
            eliminated,
        };
        let (whole, split) = (build(false), build(true));
        let (a, b) = (
            fit(&whole, &[0.0; 3], None, 50),
            fit(&split, &[0.0; 3], None, 50),
        );
        let (ca, cb) = (
            Covariance::at(&whole, &a.parameters).unwrap(),
            Covariance::at(&split, &b.parameters).unwrap(),
        );
        let g = [(0, 1.0), (1, -0.5), (2, 2.0)];
        // 1e-9: the same algebra in another order.
        for (x, y) in a.parameters.iter().zip(&b.parameters) {
            assert!((x - y).abs() < 1e-6, "{x} {y}");
        }
        assert!((ca.variance(&g) - cb.variance(&g)).abs() < 1e-9);
        for (x, y) in ca.times(&g).iter().zip(cb.times(&g).iter()) {
            assert!((x - y).abs() < 1e-9, "{x} {y}");
        }
    }

    #[test]
    fn a_limit_alone_leaves_one_side_open() {
        let model = mean_of(vec![Observation {
            seen: Seen::AtMost(1.0),
            sd: 0.1,
            robust: false,
        }]);
        let best = fit(&model, &[0.0], None, 50);
        let drop = 0.5 * 1.281_552 * 1.281_552;
        assert_eq!(
            profile_end(&model, &best, 0, 0.1, -1.0, drop, 20.0),
            End::Open
        );
        let End::At(high) = profile_end(&model, &best, 0, 0.1, 1.0, drop, 20.0) else {
            panic!("the limit closes the upper side");
        };
        // −ln Φ(z) = 0.8212 at z = −0.152: the end lies 0.015 above the limit.
        assert!((high - 1.015).abs() < 5e-3, "{high}");
    }
}
