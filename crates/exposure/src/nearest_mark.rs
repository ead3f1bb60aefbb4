//! The mark nearest to a wanted value, with what it leaves over, and the exact value
//! behind an engraved number.

use crate::number_text::{format_aperture, format_time};
use crate::series::{
    ApertureMark, EiMark, MarkReading, SeriesError, ShutterMark, StepSize, aperture_marks,
    ei_marks, shutter_marks,
};
use core::f64::consts::LOG2_10;
use quantity::{ExposureIndex, FNumber, Seconds, Stops};

/// Whether a wanted value lies within the series it was rounded to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeriesPlace {
    /// Between the first and the last mark (or within half a third stop of them).
    Within,
    /// Beyond an end: the mark is the end and the residual says how far off.
    BeyondEnd,
}

/// The mark nearest to a wanted value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nearest<M> {
    /// The mark.
    pub mark: M,
    /// Stops of exposure the mark gives over the wanted value; negative is too little.
    pub residual: Stops,
    /// Whether the series reaches the wanted value.
    pub place: SeriesPlace,
}

/// Half a third of a stop: a wanted value this far past the last mark still rounds to it.
const END_MARGIN: f64 = 1.0 / 6.0 + 1e-9;

/// Picks the mark with the smallest residual; `None` when there are no marks.
fn nearest<M: Copy>(marks: &[M], residual_of: impl Fn(M) -> f64) -> Option<Nearest<M>> {
    let mut best: Option<(M, f64)> = None;
    let (mut any_over, mut any_under) = (false, false);
    for mark in marks {
        let residual = residual_of(*mark);
        any_over |= residual >= 0.0;
        any_under |= residual <= 0.0;
        if best.is_none_or(|(_, least)| residual.abs() < least.abs()) {
            best = Some((*mark, residual));
        }
    }
    let (mark, residual) = best?;
    let place = if (any_over && any_under) || residual.abs() <= END_MARGIN {
        SeriesPlace::Within
    } else {
        SeriesPlace::BeyondEnd
    };
    let Ok(residual) = Stops::new(residual) else {
        unreachable!("the logarithm of a ratio of two positive numbers is finite");
    };
    Some(Nearest {
        mark,
        residual,
        place,
    })
}

/// Gives the aperture mark nearest to an f-number; `None` when `marks` is empty.
#[must_use]
pub fn nearest_aperture(
    wanted: FNumber,
    marks: &[ApertureMark],
    reading: MarkReading,
) -> Option<Nearest<ApertureMark>> {
    let log_wanted = libm::log2(wanted.to_ratio());
    nearest(marks, |mark| {
        2.0 * (log_wanted - libm::log2(mark.aperture(reading).to_ratio()))
    })
}

/// Gives the shutter mark nearest to a time; `None` when `marks` is empty.
#[must_use]
pub fn nearest_shutter(
    wanted: Seconds,
    marks: &[ShutterMark],
    reading: MarkReading,
) -> Option<Nearest<ShutterMark>> {
    let log_wanted = libm::log2(wanted.to_s());
    nearest(marks, |mark| {
        libm::log2(mark.time(reading).to_s()) - log_wanted
    })
}

/// Gives the third-stop EI nearest to an exposure index, compared with the exact scale.
///
/// The residual is exposure: setting the mark gives so many stops more than
/// the wanted index.
#[must_use]
pub fn nearest_ei(wanted: ExposureIndex) -> Nearest<EiMark> {
    let log_wanted = libm::log10(wanted.to_arithmetic());
    let found = nearest(&ei_marks(), |mark| {
        (log_wanted - libm::log10(mark.ei(MarkReading::Exact).to_arithmetic())) * LOG2_10
    });
    let Some(found) = found else {
        unreachable!("the EI series has marks");
    };
    found
}

/// How far a typed number may be from a mark and still be that mark: 1/15 typed as 0.067 s.
///
/// Marks lie at least 5 % apart.
const SAME_MARK: f64 = 0.01;

pub(crate) fn same_mark(number: f64, mark: f64) -> bool {
    (number / mark - 1.0).abs() <= SAME_MARK
}

/// Gives the exact f-number that an engraved number stands for in a series: 22 is f/22.63.
///
/// # Errors
/// [`SeriesError::NoMark`] with the neighbours when the number is not in the series.
pub fn exact_aperture(nominal: FNumber, step: StepSize) -> Result<FNumber, SeriesError> {
    let marks = aperture_marks(step);
    let number = nominal.to_ratio();
    if let Some(mark) = marks.iter().find(|mark| same_mark(number, mark.nominal())) {
        return Ok(mark.aperture(MarkReading::Exact));
    }
    let (below, above) = neighbours(&marks, |mark| mark.nominal() < number);
    Err(SeriesError::NoMark {
        what: "aperture",
        found: format_aperture(nominal),
        series: step.name(),
        below: below.label(),
        above: above.label(),
    })
}

/// Gives the exact time that a shutter mark stands for in a series: 1/60 is 1/64 s.
///
/// # Errors
/// [`SeriesError::NoMark`] with the neighbours when the time is not in the series.
pub fn exact_shutter_time(nominal: Seconds, step: StepSize) -> Result<Seconds, SeriesError> {
    let marks = shutter_marks(step);
    let number = nominal.to_s();
    if let Some(mark) = marks
        .iter()
        .find(|mark| same_mark(number, mark.written_s()))
    {
        return Ok(mark.time(MarkReading::Exact));
    }
    let (above, below) = neighbours(&marks, |mark| mark.written_s() > number);
    Err(SeriesError::NoMark {
        what: "shutter time",
        found: format_time(nominal),
        series: step.name(),
        below: below.label(),
        above: above.label(),
    })
}

/// The last mark before and the first mark after a place in a series; at an end, the end twice.
fn neighbours<M: Copy>(marks: &[M], before: impl Fn(&M) -> bool) -> (M, M) {
    let place = marks.partition_point(before);
    let last = marks.len() - 1;
    (marks[place.saturating_sub(1)], marks[place.min(last)])
}
