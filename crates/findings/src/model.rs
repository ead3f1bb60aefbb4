//! The joint model of a whole test: one curve per film and process, frames,
//! subjects, filters and lights, tied to the readings.
//!
//! D(frame, patch) = curve(x'), x' = pivot + (x − pivot)·e^γ(filter)
//! x = recorded log H + light + shutter + aperture + frame + reciprocity
//!     + subject(patch, light) − F(film, filter, light) + δ(patch, filter, light)
//!
//! F is the density-matched factor, as log10: the distance between the curves
//! at the matching density, because the gradient's change turns about that
//! point (the pivot). Everything is in log10 exposure; stops are made outside.
//!
//! Built by [`JointModel::build`]; fitted in `estimate`.

use crate::assumptions::{
    Assumptions, CURVE_CLASS, ClassNumber, FOLIAGE_OR_SKY_STOPS, Source, UNREAD_LIGHT_EV,
    UNREAD_LIGHT_STOPS,
};
use crate::frame_exposure::{
    FrameExposureError, RecordedExposure, TimeKnowledge, placed_stops, recorded_exposure,
};
use crate::solve::{
    Covariance, Model, Observation, Prediction, Prior, Seen, Tail, information_share,
};
use core::f64::consts::LOG10_2;
use quantity::{Bound, Flag, Flags};
use record::{
    Exposure, Frame, FrameRole, Id, MeterMode, Patch, PatchRole, Reading, Response, Test,
};
use sensitometry::{
    film_density, film_density_derivatives, film_gradient, film_gradient_derivatives,
};
use std::collections::{BTreeMap, BTreeSet};

/// What a parameter stands for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Key {
    /// One of the numbers of a curve.
    Curve(usize, u8),
    /// Brightness of a subject in a light, behind the anchor's filters.
    Subject(Id, Id),
    /// log10 factor of filters for a film in a light.
    Factor(FactorKey),
    /// How a patch departs from the factor.
    Departure(Id, FactorKey),
    /// ln of the gradient's ratio behind filters.
    Stretch(usize, Vec<Id>),
    /// Error of the light reading, or the level of an unread light.
    Light(Id),
    /// A shutter mark's deviation: lens (or none) and mark in nanoseconds.
    Shutter(Option<Id>, u64),
    /// An aperture mark's deviation: lens (or none) and mark in millionths.
    Aperture(Option<Id>, u64),
    /// Everything else about a frame's exposure.
    Frame(Id),
    /// Base+fog of a frame against its process.
    Base(Id),
    /// ln of the gradient's ratio that a frame's own development gave it.
    Development(Id),
    /// Error of the film's reciprocity, per decade of time.
    Reciprocity(Id),
    /// Exposure of a tablet sheet.
    TabletExposure(Id),
    /// Meter against lux seconds.
    MeterBias,
    /// Offset of exposures known only relative to each other.
    RelativeOffset(Id, Id),
}

/// Film, filters, light.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct FactorKey {
    pub(crate) film: Id,
    pub(crate) filters: Vec<Id>,
    pub(crate) light: Id,
}

/// How a curve is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CurveForm {
    /// Toe, straight line and shoulder: b, ln g, x0, ln s0, ln(x1 − x0), ln s1.
    Film,
    /// A straight line through `reference` at x0, with ln g.
    Straight,
}

/// A curve of the model.
#[derive(Clone, Debug)]
pub(crate) struct Curve {
    pub(crate) film: Id,
    pub(crate) process: Id,
    pub(crate) response: Response,
    pub(crate) form: CurveForm,
    /// Index of its first parameter.
    pub(crate) first: usize,
    /// Whether x is log10 of lux seconds.
    pub(crate) absolute: bool,
    /// x about which a filter's gradient turns.
    pub(crate) pivot: f64,
    /// Response at x0 of a straight curve.
    pub(crate) reference: f64,
}

impl Curve {
    /// The six numbers of the film formula.
    pub(crate) fn film_parameters(&self, p: &[f64]) -> [f64; 6] {
        let q = &p[self.first..];
        [
            q[0],
            libm::exp(q[1]),
            q[2],
            libm::exp(q[3]),
            q[2] + libm::exp(q[4]),
            libm::exp(q[5]),
        ]
    }

    /// Value, slope in x, and derivatives with respect to the curve's own parameters.
    pub(crate) fn value(&self, p: &[f64], x: f64) -> (f64, f64, Vec<(usize, f64)>) {
        self.value_with(&self.numbers(p), p, x)
    }

    /// The numbers of the formula: six of the film's, or place and gradient.
    fn numbers(&self, p: &[f64]) -> [f64; 6] {
        match self.form {
            CurveForm::Film => self.film_parameters(p),
            CurveForm::Straight => [
                p[self.first],
                libm::exp(p[self.first + 1]),
                0.0,
                1.0,
                1.0,
                1.0,
            ],
        }
    }

    /// Value alone, from the numbers of the formula.
    fn value_alone(&self, f: &[f64; 6], x: f64) -> f64 {
        match self.form {
            CurveForm::Film => film_density(f, x),
            CurveForm::Straight => self.reference + f[1] * (x - f[0]),
        }
    }

    fn value_with(&self, f: &[f64; 6], p: &[f64], x: f64) -> (f64, f64, Vec<(usize, f64)>) {
        match self.form {
            CurveForm::Film => {
                let (d, dx, j) = film_density_derivatives(f, x);
                let gap = f[4] - f[2];
                (
                    d,
                    dx,
                    roomy([
                        (self.first, j[0]),
                        (self.first + 1, j[1] * f[1]),
                        (self.first + 2, j[2] + j[4]),
                        (self.first + 3, j[3] * f[3]),
                        (self.first + 4, j[4] * gap),
                        (self.first + 5, j[5] * f[5]),
                    ]),
                )
            }
            CurveForm::Straight => {
                let (x0, g) = (p[self.first], libm::exp(p[self.first + 1]));
                (
                    self.reference + g * (x - x0),
                    g,
                    roomy([(self.first, -g), (self.first + 1, g * (x - x0))]),
                )
            }
        }
    }

    /// Slope in x alone, from the numbers of the formula.
    fn slope_alone(&self, f: &[f64; 6], x: f64) -> f64 {
        match self.form {
            CurveForm::Film => film_gradient(f, x),
            CurveForm::Straight => f[1],
        }
    }

    /// Slope in x, its own slope in x, and its derivatives with respect to the
    /// curve's own parameters.
    fn slope_with(&self, f: &[f64; 6], p: &[f64], x: f64) -> (f64, f64, Vec<(usize, f64)>) {
        match self.form {
            CurveForm::Straight => {
                let g = libm::exp(p[self.first + 1]);
                (g, 0.0, roomy([(self.first + 1, g)]))
            }
            CurveForm::Film => {
                let (slope, bend, j) = film_gradient_derivatives(f, x);
                (
                    slope,
                    bend,
                    roomy([
                        (self.first + 1, j[1] * f[1]),
                        (self.first + 2, j[2] + j[4]),
                        (self.first + 3, j[3] * f[3]),
                        (self.first + 4, j[4] * (f[4] - f[2])),
                        (self.first + 5, j[5] * f[5]),
                    ]),
                )
            }
        }
    }

    /// Base+fog; `None` for a straight curve.
    pub(crate) fn base(&self, p: &[f64]) -> Option<f64> {
        match self.form {
            CurveForm::Film => Some(p[self.first]),
            CurveForm::Straight => None,
        }
    }

    /// Where the curve passes through a value; `None` when it never does.
    pub(crate) fn x_at(&self, p: &[f64], value: f64) -> Option<f64> {
        match self.form {
            CurveForm::Straight => {
                let (x0, g) = (p[self.first], libm::exp(p[self.first + 1]));
                Some(x0 + (value - self.reference) / g)
            }
            CurveForm::Film => {
                let f = self.film_parameters(p);
                let (mut low, mut high) = (f[2] - 12.0 * f[3], f[4] + 12.0 * f[5]);
                let at = |x: f64| film_density_derivatives(&f, x).0;
                if value <= at(low) || value >= at(high) {
                    return None;
                }
                for _ in 0..80 {
                    let middle = 0.5 * (low + high);
                    if at(middle) < value {
                        low = middle;
                    } else {
                        high = middle;
                    }
                }
                Some(0.5 * (low + high))
            }
        }
    }

    /// How the place x where the net density is `net` moves with the curve's
    /// parameters; base+fog moves with the density and drops out.
    pub(crate) fn place_gradient(&self, p: &[f64], x: f64) -> Vec<(usize, f64)> {
        let (_, slope, gradient) = self.value(p, x);
        gradient
            .into_iter()
            .filter(|(i, _)| !(self.form == CurveForm::Film && *i == self.first))
            .map(|(i, d)| (i, -d / slope))
            .collect()
    }
}

/// A list with room for the rest of a reading's gradient, so that it is
/// allocated once.
fn roomy<const N: usize>(first: [(usize, f64); N]) -> Vec<(usize, f64)> {
    let mut list = Vec::with_capacity(24);
    list.extend(first);
    list
}

/// How one reading hangs on the model.
#[derive(Clone, Debug)]
pub(crate) struct Term {
    pub(crate) curve: usize,
    /// Index of the reading handed in.
    pub(crate) reading: usize,
    pub(crate) frame: usize,
    pub(crate) base: Option<usize>,
    /// `None` for base+fog.
    pub(crate) exposed: Option<Exposed>,
}

/// The exposure of one reading: x = offset + Σ coefficient·parameter.
#[derive(Clone, Debug)]
pub(crate) struct Exposed {
    pub(crate) offset: f64,
    pub(crate) linear: Vec<(usize, f64)>,
    /// Parameters whose sum is ln of the gradient's ratio about the pivot.
    pub(crate) stretch: Vec<usize>,
}

impl Exposed {
    /// Gives x before the filter's gradient.
    pub(crate) fn x(&self, p: &[f64]) -> f64 {
        self.offset + self.linear.iter().map(|&(i, c)| c * p[i]).sum::<f64>()
    }

    /// Gives x as the shared curve sees it.
    pub(crate) fn on_curve(&self, p: &[f64], pivot: f64) -> f64 {
        pivot + (self.x(p) - pivot) * self.steeper(p)
    }

    /// The gradient's ratio to that of the shared curve.
    pub(crate) fn steeper(&self, p: &[f64]) -> f64 {
        libm::exp(self.stretch.iter().map(|&i| p[i]).sum())
    }
}

/// The model of a test.
#[derive(Clone, Debug)]
pub(crate) struct JointModel {
    pub(crate) keys: Vec<Key>,
    pub(crate) priors: Vec<Prior>,
    pub(crate) index: BTreeMap<Key, usize>,
    pub(crate) curves: Vec<Curve>,
    pub(crate) terms: Vec<Term>,
    pub(crate) observations: Vec<Observation>,
    /// Filters of the anchor, for each film and light.
    pub(crate) anchors: BTreeMap<(Id, Id), Vec<Id>>,
    /// Recorded exposure of each camera frame, in the order of the frames.
    pub(crate) recorded: Vec<Option<RecordedExposure>>,
    /// Base+fog as read for each frame, where it was.
    pub(crate) base_read: Vec<Option<f64>>,
    pub(crate) outlier_beyond: f64,
    pub(crate) flags: Flags,
    /// Names of patches that the factor is matched on, for each factor.
    pub(crate) matched_on: BTreeMap<FactorKey, Vec<Id>>,
    /// How many patches beside those each factor has.
    coloured: BTreeMap<FactorKey, usize>,
    /// For each observation past the readings: the term it belongs to and the
    /// standard deviation of its place x when the curve is known.
    smears: Vec<(usize, f64)>,
    /// The frame that owns each parameter; none for shared ones.
    owners: Vec<Option<usize>>,
    frame_of: BTreeMap<Id, usize>,
    single_card: BTreeSet<Id>,
    /// For each film and process with frames in a camera or through a tablet:
    /// the light of the first one, if it has one.
    first_light: BTreeMap<(Id, Id), Option<Id>>,
}

impl Model for JointModel {
    fn priors(&self) -> &[Prior] {
        &self.priors
    }

    fn observations(&self) -> &[Observation] {
        &self.observations
    }

    type Ready = Vec<[f64; 6]>;

    fn ready(&self, p: &[f64]) -> Self::Ready {
        self.curves.iter().map(|c| c.numbers(p)).collect()
    }

    fn value(&self, ready: &Self::Ready, index: usize, p: &[f64]) -> f64 {
        if let Some(past) = index.checked_sub(self.terms.len()) {
            let (k, sd_x) = self.smears[past];
            let term = &self.terms[k];
            let curve = &self.curves[term.curve];
            let Some(exposed) = &term.exposed else {
                return 0.0;
            };
            let e = exposed.steeper(p);
            let at = curve.pivot + (exposed.x(p) - curve.pivot) * e;
            return sd_x * curve.slope_alone(&ready[term.curve], at) * e;
        }
        let term = &self.terms[index];
        let curve = &self.curves[term.curve];
        let value = match &term.exposed {
            None => p[curve.first],
            Some(exposed) => {
                let at = exposed.on_curve(p, curve.pivot);
                curve.value_alone(&ready[term.curve], at)
            }
        };
        value + term.base.map_or(0.0, |b| p[b])
    }

    fn predict(&self, ready: &Self::Ready, index: usize, p: &[f64]) -> Prediction {
        if let Some(past) = index.checked_sub(self.terms.len()) {
            return self.predict_smear(ready, past, p);
        }
        let term = &self.terms[index];
        let curve = &self.curves[term.curve];
        let mut prediction = match &term.exposed {
            None => Prediction {
                value: p[curve.first],
                gradient: vec![(curve.first, 1.0)],
            },
            Some(exposed) => {
                let x = exposed.x(p);
                let e = exposed.steeper(p);
                let (value, slope, mut gradient) =
                    curve.value_with(&ready[term.curve], p, curve.pivot + (x - curve.pivot) * e);
                gradient.extend(exposed.linear.iter().map(|&(i, c)| (i, slope * e * c)));
                let by_ratio = slope * (x - curve.pivot) * e;
                gradient.extend(exposed.stretch.iter().map(|&i| (i, by_ratio)));
                Prediction { value, gradient }
            }
        };
        if let Some(base) = term.base {
            prediction.value += p[base];
            prediction.gradient.push((base, 1.0));
        }
        prediction
    }

    fn outlier_beyond(&self) -> f64 {
        self.outlier_beyond
    }

    fn owner(&self, parameter: usize) -> Option<usize> {
        self.owners[parameter]
    }
}

/// Which patches a factor is matched on, best first.
fn neutrality(role: PatchRole) -> u8 {
    match role {
        PatchRole::GreyCard => 0,
        PatchRole::Wall | PatchRole::Shadow | PatchRole::Highlight | PatchRole::Other => 1,
        PatchRole::ShadedGreyCard => 2,
        PatchRole::SunlitFoliage | PatchRole::ShadedFoliage | PatchRole::Sky => 3,
        PatchRole::BaseFog | PatchRole::TabletStep(_) => 4,
    }
}

/// Lights in which all grey cards carry one name.
fn lights_with_a_single_card(test: &Test) -> BTreeSet<Id> {
    let mut names: BTreeMap<&Id, BTreeSet<&Id>> = BTreeMap::new();
    for patch in &test.parts().patches {
        if patch.role != PatchRole::GreyCard {
            continue;
        }
        if let Some(Exposure::Camera(camera)) = test.frame(&patch.frame).map(|f| &f.exposure) {
            names.entry(&camera.light).or_default().insert(&patch.name);
        }
    }
    names
        .into_iter()
        .filter(|(_, names)| names.len() == 1)
        .map(|(light, _)| light.clone())
        .collect()
}

/// The first light of each film and process.
fn first_lights(test: &Test) -> BTreeMap<(Id, Id), Option<Id>> {
    let mut first: BTreeMap<(Id, Id), Option<Id>> = BTreeMap::new();
    for frame in &test.parts().frames {
        let light = match &frame.exposure {
            Exposure::Camera(camera) => Some(camera.light.clone()),
            Exposure::Tablet { .. } => None,
            Exposure::Relative(_) | Exposure::None => continue,
        };
        let entry = first
            .entry((frame.film.clone(), frame.process.clone()))
            .or_default();
        if entry.is_none() {
            *entry = light;
        }
    }
    first
}

fn whole(value: f64, unit: f64) -> u64 {
    // A mark is positive and small: the rounding below cannot overflow.
    (value * unit).round().clamp(0.0, 1e18) as u64
}

impl JointModel {
    /// How much a reading is smeared by what is not known of its place x.
    ///
    /// Frame errors are many, and the curve must be that which makes the readings
    /// likely whatever the errors were, not together with the likeliest errors:
    /// the latter draws the exposure axis together, the more so the more frames
    /// there are. Averaging over a place x of standard deviation s adds the
    /// square of slope·s to the misfit, so it is an observation that is zero.
    /// (Laplace's approximation of the integral over the errors, by expectation
    /// and maximisation; recorded exposures with errors about them are Berkson's
    /// case, in which the scale of the axis has no bias of its own.)
    fn predict_smear(&self, ready: &[[f64; 6]], past: usize, p: &[f64]) -> Prediction {
        let (k, sd_x) = self.smears[past];
        let term = &self.terms[k];
        let curve = &self.curves[term.curve];
        let Some(exposed) = &term.exposed else {
            return Prediction::default();
        };
        let x = exposed.x(p);
        let e = exposed.steeper(p);
        let (slope, bend, mut gradient) =
            curve.slope_with(&ready[term.curve], p, curve.pivot + (x - curve.pivot) * e);
        for (_, d) in &mut gradient {
            *d *= sd_x * e;
        }
        let by_x = sd_x * e * bend * e;
        gradient.extend(exposed.linear.iter().map(|&(i, c)| (i, by_x * c)));
        let by_ratio = sd_x * e * (slope + bend * (x - curve.pivot) * e);
        gradient.extend(exposed.stretch.iter().map(|&i| (i, by_ratio)));
        Prediction {
            value: sd_x * slope * e,
            gradient,
        }
    }

    /// Gives the model with the readings of some frames only; its parameters are
    /// the same.
    pub(crate) fn part(&self, keep: impl Fn(usize) -> bool) -> Self {
        let mut part = self.clone();
        let kept = |k: usize| keep(self.terms[k].frame);
        part.terms = (0..self.terms.len())
            .filter(|&k| kept(k))
            .map(|k| self.terms[k].clone())
            .collect();
        part.observations = (0..self.terms.len())
            .filter(|&k| kept(k))
            .map(|k| self.observations[k])
            .collect();
        part.smears = vec![];
        part
    }

    /// Sets how much each reading is smeared, from the fit so far; gives the
    /// largest change of a smear, in log10 exposure.
    ///
    /// `balanced` is for a fit that has come near; a start has shown no errors yet.
    pub(crate) fn set_smears(&mut self, p: &[f64], balanced: bool) -> f64 {
        // Errors are averaged over; what the test asks for is not, nor what has a
        // prior only so as to have one.
        let shape = |i: usize| {
            matches!(
                self.priors[i].source,
                Source::Curve
                    | Source::Development
                    | Source::BoxSpeed
                    | Source::FilterGradient
                    | Source::Factor
                    | Source::Subject
                    | Source::ColouredPatch
                    | Source::FoliageOrSky
            )
        };
        let before: BTreeMap<usize, f64> = self.smears.iter().copied().collect();
        let Some(given) = Covariance::given(&*self, p, shape) else {
            return 0.0;
        };
        let mut smears = vec![];
        let mut observations = vec![];
        let mut changed: f64 = 0.0;
        let ready = self.ready(p);
        let mut pull = 0.0;
        let mut last = None;
        for (k, term) in self.terms.iter().enumerate() {
            let Some(exposed) = &term.exposed else {
                continue;
            };
            let share = information_share(self, &ready, k, p);
            if share < 1e-4 || exposed.linear.is_empty() {
                continue;
            }
            let errors: Vec<(usize, f64)> = exposed
                .linear
                .iter()
                .copied()
                .filter(|(i, _)| !shape(*i))
                .collect();
            // Readings of one frame mostly share all their errors.
            let key = (term.base, errors);
            let (variance, along) = match &last {
                Some((same, answer)) if *same == key => *answer,
                _ => {
                    let variance = given.variance(&key.1);
                    // What base+fog takes along: Σ (V_xx s² + 2 V_xb s) completed
                    // to a square.
                    let along = term
                        .base
                        .map_or(0.0, |b| given.between(&key.1, &[(b, 1.0)]));
                    last = Some((key, (variance, along)));
                    (variance, along)
                }
            };
            let sd_x = libm::sqrt(variance);
            if sd_x < 1e-6 {
                continue;
            }
            let place = exposed.on_curve(p, self.curves[term.curve].pivot);
            let slope =
                self.curves[term.curve].slope_alone(&ready[term.curve], place) * exposed.steeper(p);
            let sd = self.observations[k].sd / libm::sqrt(share);
            pull += slope * (slope * sd_x * sd_x + along) / (sd * sd);
            smears.push((k, sd_x));
            observations.push(Observation {
                seen: Seen::Value(-along / sd_x),
                sd,
                robust: false,
            });
        }
        // Errors as large as they turned out must neither draw the axis together
        // nor, were they assumed larger, pull it apart: the two effects are made
        // to balance at the fit, so that the recorded exposures alone set the
        // scale of the axis.
        let drawn: f64 = self
            .priors
            .iter()
            .zip(p)
            .enumerate()
            .filter(|(i, (prior, _))| !shape(*i) && prior.source != Source::Base)
            .map(|(_, (prior, value))| {
                let r = (value - prior.mean) / prior.sd;
                r * r * prior.tail.weight(r, self.outlier_beyond)
            })
            .sum();
        let balance = if balanced && pull > 0.0 {
            libm::sqrt((drawn / pull).min(2.0))
        } else {
            1.0
        };
        for ((k, sd_x), observation) in smears.iter_mut().zip(&mut observations) {
            // The mean part is what base+fog takes along, in the same proportion.
            *sd_x *= balance;
            if let Seen::Value(mean) = &mut observation.seen {
                *mean *= balance;
            }
            changed = changed.max((*sd_x - before.get(k).copied().unwrap_or(0.0)).abs());
        }
        self.observations.truncate(self.terms.len());
        self.observations.extend(observations);
        self.smears = smears;
        changed
    }

    fn parameter(&mut self, key: Key, prior: Prior) -> usize {
        if let Some(&i) = self.index.get(&key) {
            return i;
        }
        let i = self.keys.len();
        let owner = match &key {
            Key::Frame(frame)
            | Key::Base(frame)
            | Key::Development(frame)
            | Key::TabletExposure(frame) => self.frame_of.get(frame).copied(),
            _ => None,
        };
        self.owners.push(owner);
        self.index.insert(key.clone(), i);
        self.keys.push(key);
        self.priors.push(prior);
        i
    }

    /// Builds the model of a test and its readings.
    pub(crate) fn build(
        test: &Test,
        readings: &[Reading],
        assumptions: &Assumptions,
    ) -> Result<Self, FrameExposureError> {
        let parts = test.parts();
        let mut model = Self {
            keys: vec![],
            priors: vec![],
            index: BTreeMap::new(),
            curves: vec![],
            terms: vec![],
            observations: vec![],
            anchors: BTreeMap::new(),
            recorded: vec![],
            base_read: vec![],
            outlier_beyond: assumptions.outlier_beyond,
            flags: Flags::none(),
            matched_on: BTreeMap::new(),
            coloured: BTreeMap::new(),
            smears: vec![],
            owners: vec![],
            single_card: lights_with_a_single_card(test),
            first_light: first_lights(test),
            frame_of: parts
                .frames
                .iter()
                .enumerate()
                .map(|(i, f)| (f.id.clone(), i))
                .collect(),
        };
        for frame in &parts.frames {
            let recorded = match &frame.exposure {
                Exposure::Camera(camera) => {
                    Some(recorded_exposure(test, frame, camera, assumptions)?)
                }
                _ => None,
            };
            model.recorded.push(recorded);
        }
        model.find_anchors(test);
        model.find_base(test, readings);
        let frame_of: BTreeMap<&Id, usize> = parts
            .frames
            .iter()
            .enumerate()
            .map(|(i, f)| (&f.id, i))
            .collect();
        let patch_of: BTreeMap<(&Id, &Id), &Patch> = parts
            .patches
            .iter()
            .map(|p| ((&p.frame, &p.name), p))
            .collect();
        model.find_matching_patches(test, readings, &frame_of, &patch_of);
        // An assembled test has a frame and a patch for each of its readings;
        // one handed in beside it may not, and is refused.
        for (r, reading) in readings.iter().enumerate() {
            let (Some(&f), Some(&patch)) = (
                frame_of.get(&reading.frame),
                patch_of.get(&(&reading.frame, &reading.patch)),
            ) else {
                return Err(FrameExposureError {
                    frame: reading.frame.clone(),
                    reason: format!("it has no patch {}", reading.patch),
                });
            };
            model.add_reading(test, r, reading, f, patch, assumptions);
        }
        Ok(model)
    }

    /// The anchor's filters: none if any frame of the film and light is
    /// unfiltered, else those of a frame that is called anchor.
    fn find_anchors(&mut self, test: &Test) {
        for frame in &test.parts().frames {
            let Exposure::Camera(camera) = &frame.exposure else {
                continue;
            };
            let key = (frame.film.clone(), camera.light.clone());
            if frame.filters.is_empty() {
                self.anchors.insert(key, vec![]);
            } else if frame.role == FrameRole::Anchor {
                self.anchors
                    .entry(key)
                    .or_insert_with(|| frame.filters.clone());
            }
        }
    }

    fn find_base(&mut self, test: &Test, readings: &[Reading]) {
        let parts = test.parts();
        let mean = |values: &[f64]| {
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
        };
        let mut by_frame: BTreeMap<&Id, Vec<f64>> = BTreeMap::new();
        for reading in readings {
            let is_base = reading.limit.is_none()
                && test.frame(&reading.frame).is_some_and(|frame| {
                    frame.role == FrameRole::Unexposed
                        || test
                            .patch(&reading.frame, &reading.patch)
                            .is_some_and(|p| p.role == PatchRole::BaseFog)
                });
            if is_base {
                by_frame
                    .entry(&reading.frame)
                    .or_default()
                    .push(reading.value.value());
            }
        }
        let mut by_process: BTreeMap<(&Id, &Id), Vec<f64>> = BTreeMap::new();
        let mut own = vec![];
        for frame in &parts.frames {
            let values = by_frame.get(&frame.id).map_or(&[][..], Vec::as_slice);
            by_process
                .entry((&frame.film, &frame.process))
                .or_default()
                .extend(values);
            own.push(mean(values));
        }
        self.base_read = parts
            .frames
            .iter()
            .zip(own)
            .map(|(frame, own)| own.or_else(|| mean(&by_process[&(&frame.film, &frame.process)])))
            .collect();
    }

    /// The most neutral patches that both the anchor and the filtered frames show.
    fn find_matching_patches(
        &mut self,
        test: &Test,
        readings: &[Reading],
        frame_of: &BTreeMap<&Id, usize>,
        patch_of: &BTreeMap<(&Id, &Id), &Patch>,
    ) {
        let parts = test.parts();
        let mut shown: BTreeMap<FactorKey, BTreeSet<(u8, Id)>> = BTreeMap::new();
        for reading in readings {
            let (Some(&f), Some(patch)) = (
                frame_of.get(&reading.frame),
                patch_of.get(&(&reading.frame, &reading.patch)),
            ) else {
                continue;
            };
            let frame = &parts.frames[f];
            let Exposure::Camera(camera) = &frame.exposure else {
                continue;
            };
            let rank = neutrality(patch.role);
            if rank < 4 {
                shown
                    .entry(FactorKey {
                        film: frame.film.clone(),
                        filters: frame.filters.clone(),
                        light: camera.light.clone(),
                    })
                    .or_default()
                    .insert((rank, patch.name.clone()));
            }
        }
        for (key, patches) in &shown {
            let anchor = self.anchors.get(&(key.film.clone(), key.light.clone()));
            if anchor == Some(&key.filters) {
                continue;
            }
            let common: BTreeSet<&(u8, Id)> = match anchor.and_then(|filters| {
                shown.get(&FactorKey {
                    filters: filters.clone(),
                    ..key.clone()
                })
            }) {
                Some(anchor) => patches.intersection(anchor).collect(),
                None => patches.iter().collect(),
            };
            let best = common.iter().map(|(rank, _)| *rank).min();
            let names: Vec<Id> = common
                .iter()
                .filter(|(rank, _)| Some(*rank) == best)
                .map(|(_, name)| name.clone())
                .collect();
            let coloured = patches
                .iter()
                .filter(|(rank, name)| *rank < 3 && !names.contains(name))
                .count();
            self.coloured.insert(key.clone(), coloured);
            self.matched_on.insert(key.clone(), names);
        }
    }

    fn curve_for(
        &mut self,
        test: &Test,
        frame: &Frame,
        response: Response,
        assumptions: &Assumptions,
    ) -> usize {
        if let Some(i) = self.curves.iter().position(|c| {
            c.film == frame.film && c.process == frame.process && c.response == response
        }) {
            return i;
        }
        let parts = test.parts();
        let absolute = parts.frames.iter().enumerate().any(|(i, f)| {
            f.film == frame.film
                && f.process == frame.process
                && match &f.exposure {
                    Exposure::Camera(_) => self.recorded[i].as_ref().is_some_and(|r| r.absolute),
                    Exposure::Tablet { without_tablet, .. } => without_tablet.is_some(),
                    _ => false,
                }
        });
        let curve = self.curves.len();
        let first = self.keys.len();
        let form = if response == Response::LogSignal {
            CurveForm::Straight
        } else {
            CurveForm::Film
        };
        let prior = |mean, sd| Prior {
            mean,
            sd,
            tail: Tail::Normal,
            source: Source::Curve,
        };
        // A relative density may be stretched by the scanner's tone curve, so
        // its gradient says nothing beforehand.
        let wide = if response == Response::Density {
            1.0
        } else {
            3.0
        };
        let box_speed = test.film(&frame.film).and_then(|f| f.box_speed);
        let toe = match (absolute, box_speed) {
            // log H at the speed point is log10(0.8/S); the toe's position lies
            // about 0.05 below it for the middle of the class.
            (true, Some(speed)) => Prior {
                mean: libm::log10(0.8 / speed.to_arithmetic()) - 0.05,
                sd: assumptions.box_speed_stops * LOG10_2,
                tail: Tail::LetsGo,
                source: Source::BoxSpeed,
            },
            (true, None) => prior(-2.0, 1.0),
            (false, _) => prior(0.0, 6.0),
        };
        match form {
            CurveForm::Film => {
                let [base, gradient, toe_width, length, shoulder] = CURVE_CLASS;
                let log = |n: ClassNumber| prior(libm::log(n.middle), n.sd * wide);
                let rows = [
                    prior(base.middle, base.sd),
                    log(gradient),
                    toe,
                    log(toe_width),
                    log(length),
                    log(shoulder),
                ];
                for (k, row) in rows.into_iter().enumerate() {
                    self.parameter(Key::Curve(curve, k as u8), row);
                }
            }
            CurveForm::Straight => {
                self.parameter(Key::Curve(curve, 0), prior(0.0, 10.0));
                self.parameter(Key::Curve(curve, 1), prior(0.0, 2.0));
            }
        }
        self.curves.push(Curve {
            film: frame.film.clone(),
            process: frame.process.clone(),
            response,
            form,
            first,
            absolute,
            pivot: 0.0,
            reference: 0.0,
        });
        curve
    }

    fn add_reading(
        &mut self,
        test: &Test,
        r: usize,
        reading: &Reading,
        f: usize,
        patch: &Patch,
        assumptions: &Assumptions,
    ) {
        let frame = &test.parts().frames[f];
        let curve = self.curve_for(test, frame, reading.response, assumptions);
        let film_form = self.curves[curve].form == CurveForm::Film;
        let mut sd = reading.value.standard_uncertainty();
        if sd == 0.0 {
            sd = STATED_NONE;
        }
        sd = libm::hypot(sd, assumptions.curve_misfit_density);
        let is_base = frame.role == FrameRole::Unexposed || patch.role == PatchRole::BaseFog;
        if is_base && !film_form {
            return;
        }
        let base = film_form.then(|| {
            self.parameter(
                Key::Base(frame.id.clone()),
                Prior {
                    mean: 0.0,
                    sd: assumptions.base_density,
                    tail: Tail::Normal,
                    source: Source::Base,
                },
            )
        });
        let exposed = if is_base {
            None
        } else {
            let (mut exposed, extra_x_sd) = self.exposure_of(test, f, patch, curve, assumptions);
            if film_form {
                let prior = Prior {
                    mean: 0.0,
                    sd: assumptions.development_share,
                    tail: Tail::Huber,
                    source: Source::Development,
                };
                let key = Key::Development(frame.id.clone());
                exposed.stretch.push(self.parameter(key, prior));
            }
            // Uncertainty along x that readings do not share becomes density
            // through a middling gradient.
            sd = libm::hypot(sd, CURVE_CLASS[1].middle * extra_x_sd);
            Some(exposed)
        };
        let value = reading.value.value();
        let seen = match reading.limit {
            Some(Bound::AtMost) => Seen::AtMost(value),
            Some(Bound::AtLeast) => Seen::AtLeast(value),
            None => match self.base_read[f] {
                Some(base) if !is_base && reading.response == Response::Density => {
                    let told = base + assumptions.detection_density;
                    if value < told {
                        Seen::AtMost(told)
                    } else {
                        Seen::Value(value)
                    }
                }
                _ => Seen::Value(value),
            },
        };
        self.terms.push(Term {
            curve,
            reading: r,
            frame: f,
            base,
            exposed,
        });
        self.observations.push(Observation {
            seen,
            sd,
            robust: true,
        });
    }

    fn exposure_of(
        &mut self,
        test: &Test,
        f: usize,
        patch: &Patch,
        curve: usize,
        assumptions: &Assumptions,
    ) -> (Exposed, f64) {
        let frame = &test.parts().frames[f];
        let robust = |sd_stops: f64, source| Prior {
            mean: 0.0,
            sd: (sd_stops * LOG10_2).max(1e-5),
            tail: Tail::Huber,
            source,
        };
        let mut linear = vec![];
        match &frame.exposure {
            Exposure::None => (
                Exposed {
                    offset: -30.0,
                    linear,
                    stretch: vec![],
                },
                0.0,
            ),
            Exposure::Relative(value) => {
                if value.standard_uncertainty() > 0.0 {
                    let prior = Prior {
                        mean: 0.0,
                        sd: value.standard_uncertainty(),
                        tail: Tail::Huber,
                        source: Source::Frame,
                    };
                    linear.push((self.parameter(Key::Frame(frame.id.clone()), prior), 1.0));
                }
                let others = self
                    .first_light
                    .contains_key(&(frame.film.clone(), frame.process.clone()));
                if others {
                    let prior = Prior {
                        mean: -1.0,
                        sd: 5.0,
                        tail: Tail::Normal,
                        source: Source::Subject,
                    };
                    let key = Key::RelativeOffset(frame.film.clone(), frame.process.clone());
                    linear.push((self.parameter(key, prior), 1.0));
                }
                (
                    Exposed {
                        offset: value.value().to_log10(),
                        linear,
                        stretch: vec![],
                    },
                    0.0,
                )
            }
            Exposure::Tablet {
                tablet,
                without_tablet,
            } => {
                let step = match patch.role {
                    PatchRole::TabletStep(step) => test
                        .tablet(tablet)
                        .and_then(|t| t.steps.get(step as usize - 1)),
                    _ => None,
                };
                let (through, step_sd) = step.map_or((0.0, 0.0), |s| {
                    (s.value().to_density(), s.standard_uncertainty())
                });
                let (mean, sd) = without_tablet
                    .as_ref()
                    .map_or((0.0, 6.0), |h| (0.0, h.standard_uncertainty().max(1e-4)));
                let prior = Prior {
                    mean,
                    sd,
                    tail: Tail::Normal,
                    source: Source::TabletExposure,
                };
                linear.push((
                    self.parameter(Key::TabletExposure(frame.id.clone()), prior),
                    1.0,
                ));
                let metered = self.recorded.iter().flatten().any(|r| r.absolute);
                if without_tablet.is_some() && metered {
                    let prior = Prior {
                        tail: Tail::Normal,
                        ..robust(assumptions.meter_bias_stops, Source::MeterBias)
                    };
                    linear.push((self.parameter(Key::MeterBias, prior), 1.0));
                }
                let whole = without_tablet
                    .as_ref()
                    .map_or(0.0, |h| h.value().to_log10());
                (
                    Exposed {
                        offset: whole - through,
                        linear,
                        stretch: vec![],
                    },
                    step_sd,
                )
            }
            Exposure::Camera(camera) => {
                let Some(recorded) = self.recorded[f].clone() else {
                    unreachable!("a camera frame has a recorded exposure");
                };
                let light = test.light(&camera.light);
                // Time.
                let mut frame_stops = light
                    .and_then(|l| l.drift)
                    .map_or(assumptions.frame_stops, |d| d.to_stops().abs());
                match recorded.time {
                    TimeKnowledge::Marked { marked_s } => {
                        let stops = camera
                            .lens
                            .as_ref()
                            .and_then(|id| test.lens(id))
                            .and_then(|l| l.shutter.marked_uncertainty)
                            .map_or(assumptions.marked_time_stops, |s| s.to_stops().abs());
                        let key = Key::Shutter(camera.lens.clone(), whole(marked_s, 1e9));
                        linear.push((self.parameter(key, robust(stops, Source::MarkedTime)), 1.0));
                    }
                    TimeKnowledge::Measured {
                        marked_s,
                        spread_stops,
                    } => {
                        let key = Key::Shutter(camera.lens.clone(), whole(marked_s, 1e9));
                        let prior = robust(assumptions.measured_time_stops, Source::MeasuredTime);
                        linear.push((self.parameter(key, prior), 1.0));
                        frame_stops = libm::hypot(frame_stops, spread_stops);
                    }
                    TimeKnowledge::ThisFrame { sd_stops } => {
                        frame_stops = libm::hypot(frame_stops, sd_stops);
                    }
                }
                let key = Key::Frame(frame.id.clone());
                linear.push((self.parameter(key, robust(frame_stops, Source::Frame)), 1.0));
                let key =
                    Key::Aperture(camera.lens.clone(), whole(camera.aperture.to_ratio(), 1e6));
                linear.push((
                    self.parameter(key, robust(assumptions.aperture_stops, Source::Aperture)),
                    1.0,
                ));
                // Light.
                let absolute_curve = self.curves[curve].absolute;
                let first_of_film = self
                    .first_light
                    .get(&(frame.film.clone(), frame.process.clone()))
                    .and_then(Option::as_ref)
                    .cloned();
                let mut offset = recorded.log_h;
                if recorded.absolute {
                    let prior = robust(assumptions.reading_stops, Source::LightReading);
                    linear.push((self.parameter(Key::Light(camera.light.clone()), prior), 1.0));
                } else if absolute_curve || first_of_film.as_ref() != Some(&camera.light) {
                    // An unread light among read ones: its level is left open
                    // about a day's light.
                    if absolute_curve {
                        offset +=
                            libm::log10(assumptions.lens_factor_q * assumptions.meter_k / 100.0)
                                + UNREAD_LIGHT_EV * LOG10_2;
                    }
                    self.flags.insert(Flag::LightUnknown);
                    let prior = Prior {
                        tail: Tail::Normal,
                        ..robust(UNREAD_LIGHT_STOPS, Source::UnreadLight)
                    };
                    linear.push((self.parameter(Key::Light(camera.light.clone()), prior), 1.0));
                }
                // Reciprocity.
                if recorded.decades_beyond_1_s > 0.0 {
                    let (mean, stops, source) = if recorded.reciprocity_stated {
                        let stops = test
                            .film(&frame.film)
                            .and_then(|f| f.reciprocity.as_ref())
                            .and_then(|r| r.uncertainty_stops_per_decade)
                            .unwrap_or(assumptions.reciprocity_stops_per_decade);
                        (0.0, stops, Source::Reciprocity)
                    } else {
                        // Films lose speed, never gain: the mean is as large as the spread.
                        let stops = assumptions.unstated_reciprocity_stops_per_decade;
                        (-stops * LOG10_2, stops, Source::UnstatedReciprocity)
                    };
                    let prior = Prior {
                        mean,
                        tail: Tail::Normal,
                        ..robust(stops, source)
                    };
                    linear.push((
                        self.parameter(Key::Reciprocity(frame.film.clone()), prior),
                        recorded.decades_beyond_1_s,
                    ));
                }
                // Subject.
                // Only the one card that a reading was taken for is known to be
                // the mid-tone; of several neutral patches none is.
                let metered_card = patch.role == PatchRole::GreyCard
                    && recorded.absolute
                    && self.single_card.contains(&camera.light)
                    && light.and_then(|l| l.meter.as_ref()).is_none_or(|m| {
                        !m.through_filter
                            && (m.mode == MeterMode::Incident
                                || m.target
                                    .as_deref()
                                    .is_none_or(|t| t.to_lowercase().contains("card")))
                    });
                let (stops, source) = if metered_card {
                    (assumptions.grey_card_stops, Source::GreyCard)
                } else {
                    (assumptions.subject_stops, Source::Subject)
                };
                // A card that was read and placed off the mid-tone lies where it was placed.
                let placed = light
                    .filter(|_| metered_card)
                    .map_or(0.0, |l| placed_stops(l, camera.reading.or(l.reading)));
                let prior = Prior {
                    mean: placed * LOG10_2,
                    tail: Tail::Normal,
                    ..robust(stops, source)
                };
                let key = Key::Subject(patch.name.clone(), camera.light.clone());
                linear.push((self.parameter(key, prior), 1.0));
                // Filter.
                let mut stretch = vec![];
                let anchor = self
                    .anchors
                    .get(&(frame.film.clone(), camera.light.clone()))
                    .cloned()
                    .unwrap_or_default();
                if frame.filters != anchor {
                    let key = FactorKey {
                        film: frame.film.clone(),
                        filters: frame.filters.clone(),
                        light: camera.light.clone(),
                    };
                    let prior = Prior {
                        mean: 1.0,
                        sd: 4.0,
                        tail: Tail::Normal,
                        source: Source::Factor,
                    };
                    linear.push((self.parameter(Key::Factor(key.clone()), prior), -1.0));
                    let neutral = self
                        .matched_on
                        .get(&key)
                        .is_some_and(|names| names.contains(&patch.name));
                    let alone = self.matched_on.get(&key).is_some_and(|n| n.len() == 1);
                    let (stops, source) = if neutral && alone {
                        // A factor matched on one patch is that patch's, by definition.
                        (0.0, Source::NeutralPatch)
                    } else if neutral {
                        (assumptions.neutral_patch_stops, Source::NeutralPatch)
                    } else if neutrality(patch.role) >= 3 {
                        (FOLIAGE_OR_SKY_STOPS, Source::FoliageOrSky)
                    } else {
                        // Coloured patches lean one way together: however many
                        // there are, all of them tell no more than one would.
                        let many = self.coloured.get(&key).copied().unwrap_or(1).max(1);
                        (
                            assumptions.coloured_patch_stops * libm::sqrt(many as f64),
                            Source::ColouredPatch,
                        )
                    };
                    let prior = Prior {
                        tail: Tail::Normal,
                        ..robust(stops, source)
                    };
                    let departure = Key::Departure(patch.name.clone(), key);
                    linear.push((self.parameter(departure, prior), 1.0));
                    let prior = Prior {
                        mean: 0.0,
                        sd: assumptions.filter_gradient_share,
                        tail: Tail::Normal,
                        source: Source::FilterGradient,
                    };
                    stretch.push(self.parameter(Key::Stretch(curve, frame.filters.clone()), prior));
                }
                (
                    Exposed {
                        offset,
                        linear,
                        stretch,
                    },
                    0.0,
                )
            }
        }
    }
}

/// Standard uncertainty of a reading that came without one. \[density\]
pub(crate) const STATED_NONE: f64 = 0.02;
