//! One side of a comparison: a number of one test with the records behind it.

use crate::advice::filters_words;
use crate::compare::comparison::{Compared, ComparedQuantity};
use crate::finding::{FactorFinding, SpeedFinding};
use quantity::Bound;
use record::{CameraExposure, Exposure, Film, Filter, Frame, Id, Light, Meter, Process, Sky};
use std::collections::BTreeSet;

/// The number that is compared.
#[derive(Clone, Copy)]
pub(crate) enum Number<'a> {
    Factor(&'a FactorFinding),
    Speed(&'a SpeedFinding),
}

/// A number of a test with the records behind it.
#[derive(Clone, Copy)]
pub(crate) struct Side<'a> {
    pub(crate) of: &'a Compared<'a>,
    pub(crate) number: Number<'a>,
}

/// A name without what people write differently: case, blanks, signs.
pub(crate) fn plain(name: &str) -> String {
    name.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

/// Stops asked for: value and the ends that are known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Asked {
    pub(crate) value: f64,
    pub(crate) low: Option<f64>,
    pub(crate) high: Option<f64>,
}

impl<'a> Side<'a> {
    fn film_id(&self) -> &'a Id {
        match self.number {
            Number::Factor(f) => &f.film,
            Number::Speed(s) => &s.film,
        }
    }

    pub(crate) fn film(&self) -> Option<&'a Film> {
        self.of.test.film(self.film_id())
    }

    pub(crate) fn film_name(&self) -> &'a str {
        self.film()
            .map_or(self.film_id().as_str(), |f| f.name.as_str())
    }

    pub(crate) fn filters(&self) -> Vec<&'a Filter> {
        match self.number {
            Number::Factor(f) => f
                .filters
                .iter()
                .filter_map(|id| self.of.test.filter(id))
                .collect(),
            Number::Speed(_) => vec![],
        }
    }

    /// What was taken from the test, in words.
    pub(crate) fn words(&self) -> String {
        match self.number {
            Number::Factor(f) => format!("{}, {}, {}", f.film, filters_words(&f.filters), f.light),
            Number::Speed(s) => format!("{}, {}", s.film, s.process),
        }
    }

    /// How much exposure it asks for, in stops over something that both sides share.
    pub(crate) fn asked(&self, quantity: ComparedQuantity) -> Option<Asked> {
        let stops = |ei: quantity::ExposureIndex| -libm::log2(ei.to_arithmetic());
        match (quantity, self.number) {
            (ComparedQuantity::FilterFactor, Number::Factor(f)) => Some(with_bound(
                f.stops.value.to_stops(),
                f.stops.low.to_stops(),
                f.stops.high.to_stops(),
                f.bound,
            )),
            (ComparedQuantity::FilteredEi, Number::Factor(f)) => f.ei.map(|ei| {
                // More exposure asked is less EI, so the ends change places.
                with_bound(stops(ei.value), stops(ei.high), stops(ei.low), f.bound)
            }),
            (ComparedQuantity::FilmSpeed, Number::Speed(s)) => Some(with_bound(
                stops(s.ei.value),
                stops(s.ei.high),
                stops(s.ei.low),
                None,
            )),
            _ => None,
        }
    }

    fn is_of_number(&self, frame: &Frame) -> bool {
        match self.number {
            Number::Factor(f) => {
                frame.film == f.film
                    && matches!(&frame.exposure, Exposure::Camera(c) if c.light == f.light)
                    && (frame.filters == f.filters || frame.filters == f.against)
            }
            Number::Speed(s) => {
                frame.film == s.film && frame.process == s.process && frame.filters.is_empty()
            }
        }
    }

    /// The frames behind the number.
    pub(crate) fn frames(&self) -> impl Iterator<Item = &'a Frame> + use<'a> {
        let side = *self;
        self.of
            .test
            .parts()
            .frames
            .iter()
            .filter(move |f| side.is_of_number(f))
    }

    /// The camera exposures behind the number.
    pub(crate) fn exposures(&self) -> Vec<(&'a Frame, &'a CameraExposure)> {
        self.frames()
            .filter_map(|f| match &f.exposure {
                Exposure::Camera(c) => Some((f, c)),
                _ => None,
            })
            .collect()
    }

    /// Whether a frame of the number has a filter that its anchor hasn't.
    pub(crate) fn is_filtered(&self, frame: &Frame) -> bool {
        match self.number {
            Number::Factor(f) => frame.filters == f.filters,
            Number::Speed(_) => false,
        }
    }

    pub(crate) fn lights(&self) -> Vec<&'a Light> {
        let ids: BTreeSet<&Id> = self.exposures().iter().map(|(_, c)| &c.light).collect();
        ids.into_iter()
            .filter_map(|id| self.of.test.light(id))
            .collect()
    }

    pub(crate) fn skies(&self) -> Vec<Sky> {
        self.lights().iter().map(|l| l.sky).collect()
    }

    pub(crate) fn meters(&self) -> Vec<Option<&'a Meter>> {
        self.lights().iter().map(|l| l.meter.as_ref()).collect()
    }

    pub(crate) fn processes(&self) -> Vec<&'a Process> {
        let ids: BTreeSet<&Id> = self.frames().map(|f| &f.process).collect();
        ids.into_iter()
            .filter_map(|id| self.of.test.process(id))
            .collect()
    }

    /// The gradient of the curve behind the number.
    pub(crate) fn gradient(&self) -> Option<(f64, f64)> {
        let processes: BTreeSet<&Id> = self.frames().map(|f| &f.process).collect();
        self.of
            .findings
            .curves
            .iter()
            .find(|c| {
                c.film == *self.film_id()
                    && c.response == record::Response::Density
                    && processes.contains(&c.process)
            })
            .map(|c| (c.gradient.value(), c.gradient.standard_uncertainty()))
    }
}

fn with_bound(value: f64, low: f64, high: f64, bound: Option<Bound>) -> Asked {
    match bound {
        None => Asked {
            value,
            low: Some(low),
            high: Some(high),
        },
        Some(Bound::AtLeast) => Asked {
            value: low,
            low: Some(low),
            high: None,
        },
        Some(Bound::AtMost) => Asked {
            value: high,
            low: None,
            high: Some(high),
        },
    }
}
