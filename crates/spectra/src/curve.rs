//! A spectral curve: values by wavelength, with what they are and where they come from.
//!
//! The curve keeps what it was given: wavelengths strictly rising at any
//! spacing, holes as holes, uncertainties where there are any. Values between
//! points come by [`Interpolation`]; beyond the ends and in holes there are
//! none, unless the caller says by [`Assumed`] what to take.
//!
//! Begin with [`Curve::new`], then [`Curve::value_at`] and [`Curve::resampled`].

use crate::interpolation::{Interpolation, interpolated};
use crate::kind::CurveKind;
use crate::read::SpectralReading;
use quantity::{Nanometres, QuantityError};

/// One wavelength of a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// The wavelength.
    pub wavelength: Nanometres,
    /// The value on the curve's own scale; `None` is a hole.
    pub value: Option<f64>,
    /// One standard deviation of the value, where it is known.
    pub standard_uncertainty: Option<f64>,
}

/// A spectral curve.
///
/// Invariant: two points or more with a value, wavelengths strictly rising,
/// the first and the last with a value, each value possible for its kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    kind: CurveKind,
    source: String,
    points: Vec<CurvePoint>,
    /// Wavelengths and values without the holes, for fast look-up.
    known: Vec<(f64, f64)>,
    /// Known wavelengths on both sides of each hole, nm.
    gaps: Vec<(f64, f64)>,
}

/// Why points are no curve.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// Give more points.
    #[error("a spectral curve needs two points with a value or more, found {found}")]
    TooFewPoints {
        /// Points with a value.
        found: usize,
    },
    /// Put the points in order of wavelength, each wavelength once.
    #[error("wavelengths must rise from point to point, found {before} nm and then {after} nm")]
    NotRising {
        /// Wavelength before, nm.
        before: f64,
        /// Wavelength after, nm.
        after: f64,
    },
    /// Give a value that the kind can have.
    #[error("{} at {wavelength_nm} nm is {value}, which is outside {low} to {high}", .kind.words())]
    Impossible {
        /// What the value was meant as.
        kind: CurveKind,
        /// Where, nm.
        wavelength_nm: f64,
        /// The value.
        value: f64,
        /// Lowest possible.
        low: f64,
        /// Highest possible.
        high: f64,
    },
    /// Give an uncertainty that is finite and not negative.
    #[error("the uncertainty at {wavelength_nm} nm is {value}; it must be 0 or more")]
    Uncertainty {
        /// Where, nm.
        wavelength_nm: f64,
        /// The value.
        value: f64,
    },
    /// Give a wavelength greater than zero.
    #[error(transparent)]
    Wavelength(#[from] QuantityError),
}

/// Why a curve has no value at a wavelength.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoValue {
    /// Below the first point.
    #[error("{wavelength_nm} nm lies below the curve, which begins at {begins_nm} nm")]
    Below {
        /// The wavelength asked for, nm.
        wavelength_nm: f64,
        /// Where the curve begins, nm.
        begins_nm: f64,
    },
    /// Above the last point.
    #[error("{wavelength_nm} nm lies above the curve, which ends at {ends_nm} nm")]
    Above {
        /// The wavelength asked for, nm.
        wavelength_nm: f64,
        /// Where the curve ends, nm.
        ends_nm: f64,
    },
    /// In a hole.
    #[error("{wavelength_nm} nm lies in a hole of the curve, between {low_nm} and {high_nm} nm")]
    InHole {
        /// The wavelength asked for, nm.
        wavelength_nm: f64,
        /// Last known wavelength below the hole, nm.
        low_nm: f64,
        /// First known wavelength above the hole, nm.
        high_nm: f64,
    },
}

/// What to take where a curve knows nothing; each is asked for by name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Beyond {
    /// There is no value.
    #[default]
    Unknown,
    /// The value is zero: nothing passes, comes back, shines or is seen.
    Zero,
    /// The value stays what it was at the nearest known point.
    LastValue,
}

/// What to take beyond the ends of a curve and in its holes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Assumed {
    /// Below the first point.
    pub below: Beyond,
    /// Above the last point.
    pub above: Beyond,
    /// In holes; [`Beyond::LastValue`] draws the line across.
    pub in_holes: Beyond,
}

impl Assumed {
    /// Nothing is assumed.
    pub const NOTHING: Self = Self {
        below: Beyond::Unknown,
        above: Beyond::Unknown,
        in_holes: Beyond::Unknown,
    };
    /// Zero wherever nothing is known.
    pub const ZERO: Self = Self {
        below: Beyond::Zero,
        above: Beyond::Zero,
        in_holes: Beyond::Zero,
    };
    /// The nearest known value beyond the ends, a line across holes.
    pub const HELD: Self = Self {
        below: Beyond::LastValue,
        above: Beyond::LastValue,
        in_holes: Beyond::LastValue,
    };
}

/// How the wavelengths of a curve lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sampling {
    /// All steps are alike.
    Regular {
        /// The step, nm.
        step_nm: f64,
    },
    /// Steps differ.
    Irregular {
        /// The smallest step, nm.
        smallest_nm: f64,
        /// The largest step, nm.
        largest_nm: f64,
    },
}

impl Curve {
    /// Joins points to a curve; holes before the first and after the last value are left out.
    ///
    /// `source` says where the values come from, in words.
    ///
    /// # Errors
    /// [`CurveError`] with the place and the value.
    pub fn new(
        kind: CurveKind,
        source: impl Into<String>,
        mut points: Vec<CurvePoint>,
    ) -> Result<Self, CurveError> {
        for pair in points.windows(2) {
            let (before, after) = (pair[0].wavelength.to_nm(), pair[1].wavelength.to_nm());
            if after <= before {
                return Err(CurveError::NotRising { before, after });
            }
        }
        let (low, high) = kind.possible();
        for point in &points {
            let wavelength_nm = point.wavelength.to_nm();
            if let Some(value) = point.value
                && !(low..=high).contains(&value)
            {
                return Err(CurveError::Impossible {
                    kind,
                    wavelength_nm,
                    value,
                    low,
                    high,
                });
            }
            if let Some(value) = point.standard_uncertainty
                && !(value.is_finite() && value >= 0.0)
            {
                return Err(CurveError::Uncertainty {
                    wavelength_nm,
                    value,
                });
            }
        }
        while points.last().is_some_and(|p| p.value.is_none()) {
            points.pop();
        }
        let first = points.iter().position(|p| p.value.is_some());
        points.drain(..first.unwrap_or(0));
        let known: Vec<(f64, f64)> = points
            .iter()
            .filter_map(|p| p.value.map(|v| (p.wavelength.to_nm(), v)))
            .collect();
        if known.len() < 2 {
            return Err(CurveError::TooFewPoints { found: known.len() });
        }
        let gaps = gaps(&points);
        Ok(Self {
            kind,
            source: source.into(),
            points,
            known,
            gaps,
        })
    }

    /// Joins pairs of wavelength in nm and value to a curve without holes.
    ///
    /// # Errors
    /// [`CurveError`] with the place and the value.
    pub fn from_values(
        kind: CurveKind,
        source: impl Into<String>,
        values: &[(f64, f64)],
    ) -> Result<Self, CurveError> {
        let points = values
            .iter()
            .map(|&(nm, value)| {
                Ok(CurvePoint {
                    wavelength: Nanometres::from_nm(nm)?,
                    value: Some(value),
                    standard_uncertainty: None,
                })
            })
            .collect::<Result<Vec<_>, QuantityError>>()?;
        Self::new(kind, source, points)
    }

    /// Takes a curve that was read from a file; its values are linear.
    ///
    /// # Errors
    /// [`CurveError`] where the values can't be of this kind.
    pub fn from_reading(
        kind: CurveKind,
        source: impl Into<String>,
        reading: &SpectralReading,
    ) -> Result<Self, CurveError> {
        let points = reading
            .points
            .iter()
            .map(|p| CurvePoint {
                wavelength: p.wavelength,
                value: p.value,
                standard_uncertainty: None,
            })
            .collect();
        Self::new(kind, source, points)
    }

    /// Gives what the values are.
    #[must_use]
    pub fn kind(&self) -> CurveKind {
        self.kind
    }

    /// Gives where the values come from.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Gives the points, holes included.
    #[must_use]
    pub fn points(&self) -> &[CurvePoint] {
        &self.points
    }

    /// Gives first and last wavelength with a value, nm.
    #[must_use]
    pub fn range_nm(&self) -> (f64, f64) {
        let last = self.known.len() - 1;
        (self.known[0].0, self.known[last].0)
    }

    /// Gives the known wavelengths on both sides of each hole, nm.
    #[must_use]
    pub fn holes_nm(&self) -> &[(f64, f64)] {
        &self.gaps
    }

    /// Gives the pairs of wavelength and value that are known, nm and own scale.
    #[must_use]
    pub fn known(&self) -> &[(f64, f64)] {
        &self.known
    }

    /// Gives the greatest value, on the linear scale.
    #[must_use]
    pub fn peak(&self) -> f64 {
        self.known
            .iter()
            .map(|&(_, v)| self.kind.to_linear(v))
            .fold(0.0, f64::max)
    }

    /// Tells how the wavelengths lie; steps that differ by less than 10⁻⁶ nm are alike.
    #[must_use]
    pub fn sampling(&self) -> Sampling {
        let steps = self.points.windows(2).map(|pair| {
            let [before, after] = [pair[0].wavelength.to_nm(), pair[1].wavelength.to_nm()];
            after - before
        });
        let (smallest_nm, largest_nm) = steps
            .fold((f64::INFINITY, 0.0_f64), |(low, high), step| {
                (low.min(step), high.max(step))
            });
        if largest_nm - smallest_nm < 1e-6 {
            Sampling::Regular {
                step_nm: largest_nm,
            }
        } else {
            Sampling::Irregular {
                smallest_nm,
                largest_nm,
            }
        }
    }

    /// Gives the value at a wavelength, on the curve's own scale.
    ///
    /// # Errors
    /// [`NoValue`] beyond the ends and in holes: nothing is extrapolated.
    pub fn value_at(&self, at: Nanometres, by: Interpolation) -> Result<f64, NoValue> {
        self.value_at_nm(at.to_nm(), by)
    }

    /// Gives the linear value at a wavelength: a transmittance for a density,
    /// a sensitivity for its logarithm. Between points the curve's own scale is
    /// interpolated.
    ///
    /// # Errors
    /// [`NoValue`] beyond the ends and in holes.
    pub fn linear_value_at(&self, at: Nanometres, by: Interpolation) -> Result<f64, NoValue> {
        self.value_at(at, by).map(|v| self.kind.to_linear(v))
    }

    fn value_at_nm(&self, nm: f64, by: Interpolation) -> Result<f64, NoValue> {
        let (low, high) = self.range_nm();
        if nm < low {
            return Err(NoValue::Below {
                wavelength_nm: nm,
                begins_nm: low,
            });
        }
        if nm > high {
            return Err(NoValue::Above {
                wavelength_nm: nm,
                ends_nm: high,
            });
        }
        let next = self.gaps.partition_point(|g| g.1 <= nm);
        if let Some(&(low_nm, high_nm)) = self.gaps.get(next)
            && low_nm < nm
        {
            return Err(NoValue::InHole {
                wavelength_nm: nm,
                low_nm,
                high_nm,
            });
        }
        Ok(interpolated(&self.known, nm, by))
    }

    /// Gives the linear value at a wavelength in nm and whether it was assumed;
    /// `None` where nothing is known and nothing was said to take.
    #[must_use]
    pub fn linear_value_assuming(
        &self,
        nm: f64,
        by: Interpolation,
        assumed: Assumed,
    ) -> Option<(f64, bool)> {
        let (what, held) = match self.value_at_nm(nm, by) {
            Ok(value) => return Some((self.kind.to_linear(value), false)),
            Err(NoValue::Below { .. }) => (assumed.below, self.known[0].1),
            Err(NoValue::Above { .. }) => (assumed.above, self.known[self.known.len() - 1].1),
            Err(NoValue::InHole { .. }) => (assumed.in_holes, interpolated(&self.known, nm, by)),
        };
        match what {
            Beyond::Unknown => None,
            Beyond::Zero => Some((0.0, true)),
            Beyond::LastValue => Some((self.kind.to_linear(held), true)),
        }
    }

    /// Tells whether every wavelength from `low` to `high` nm has a value.
    #[must_use]
    pub fn knows_all_of(&self, low: f64, high: f64) -> bool {
        let (first, last) = self.range_nm();
        let next = self.gaps.partition_point(|g| g.1 <= low);
        first <= low && high <= last && self.gaps.get(next).is_none_or(|g| g.0 >= high)
    }

    /// Gives the curve at other wavelengths, on its own scale; where it knows
    /// nothing the new curve has holes.
    ///
    /// # Errors
    /// [`CurveError`] when the wavelengths don't rise or fewer than two of them
    /// have a value.
    pub fn resampled(&self, at: &[Nanometres], by: Interpolation) -> Result<Self, CurveError> {
        let points = at
            .iter()
            .map(|&wavelength| CurvePoint {
                wavelength,
                value: self.value_at(wavelength, by).ok(),
                standard_uncertainty: None,
            })
            .collect();
        let source = format!("{}, resampled ({})", self.source, by.words());
        Self::new(self.kind, source, points)
    }

    /// Gives the curve moved along the wavelengths; positive to longer ones.
    ///
    /// # Errors
    /// [`CurveError`] when a wavelength would not be greater than zero.
    pub fn shifted(&self, by_nm: f64) -> Result<Self, CurveError> {
        let points = self
            .points
            .iter()
            .map(|p| {
                Ok(CurvePoint {
                    wavelength: Nanometres::from_nm(p.wavelength.to_nm() + by_nm)?,
                    ..*p
                })
            })
            .collect::<Result<Vec<_>, QuantityError>>()?;
        let source = format!("{}, moved by {by_nm:+} nm", self.source);
        Self::new(self.kind, source, points)
    }

    /// Gives the curve with each known value changed, as another kind; points,
    /// holes and order stay. `source` says what was done.
    ///
    /// Uncertainties are dropped: what becomes of them depends on the change.
    ///
    /// # Errors
    /// [`CurveError`] where a new value is impossible for the kind.
    pub fn changed(
        &self,
        kind: CurveKind,
        source: impl Into<String>,
        change: impl Fn(f64, f64) -> f64,
    ) -> Result<Self, CurveError> {
        let points = self
            .points
            .iter()
            .map(|p| CurvePoint {
                wavelength: p.wavelength,
                value: p.value.map(|v| change(p.wavelength.to_nm(), v)),
                standard_uncertainty: None,
            })
            .collect();
        Self::new(kind, source, points)
    }
}

fn gaps(points: &[CurvePoint]) -> Vec<(f64, f64)> {
    let mut gaps = vec![];
    let mut before: Option<(usize, f64)> = None;
    for (place, point) in points.iter().enumerate() {
        if point.value.is_none() {
            continue;
        }
        let nm = point.wavelength.to_nm();
        if let Some((last, low)) = before
            && place > last + 1
        {
            gaps.push((low, nm));
        }
        before = Some((place, nm));
    }
    gaps
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nm(value: f64) -> Nanometres {
        Nanometres::from_nm(value).unwrap()
    }

    fn filter(values: &[(f64, Option<f64>)]) -> Result<Curve, CurveError> {
        let points = values
            .iter()
            .map(|&(at, value)| CurvePoint {
                wavelength: nm(at),
                value,
                standard_uncertainty: None,
            })
            .collect();
        Curve::new(CurveKind::Transmittance, "made for the test", points)
    }

    #[test]
    fn nothing_is_known_beyond_the_ends_or_in_a_hole() {
        let curve = filter(&[
            (600.0, None),
            (650.0, Some(0.1)),
            (660.0, Some(0.2)),
            (670.0, None),
            (690.0, Some(0.6)),
            (700.0, Some(0.8)),
        ])
        .unwrap();
        let at = |at| curve.value_at(nm(at), Interpolation::Linear);
        assert_eq!(curve.range_nm(), (650.0, 700.0));
        assert_eq!(curve.holes_nm(), [(660.0, 690.0)]);
        assert!(matches!(at(649.0), Err(NoValue::Below { .. })));
        assert!(matches!(at(701.0), Err(NoValue::Above { .. })));
        assert!(matches!(at(675.0), Err(NoValue::InHole { .. })));
        assert!((at(655.0).unwrap() - 0.15).abs() < 1e-12);
        assert_eq!(at(690.0), Ok(0.6));
        // By name only: the line across the hole at 675 is half-way, 0.4.
        let held = curve.linear_value_assuming(675.0, Interpolation::Linear, Assumed::HELD);
        let (value, assumed) = held.unwrap();
        assert!(assumed && (value - 0.4).abs() < 1e-12);
        let zero = curve.linear_value_assuming(720.0, Interpolation::Linear, Assumed::ZERO);
        assert_eq!(zero, Some((0.0, true)));
        let none = curve.linear_value_assuming(720.0, Interpolation::Linear, Assumed::NOTHING);
        assert_eq!(none, None);
    }

    #[test]
    fn points_that_are_no_curve_are_refused_with_their_place() {
        assert!(matches!(
            filter(&[(700.0, Some(0.1)), (690.0, Some(0.2))]),
            Err(CurveError::NotRising { before, after }) if before == 700.0 && after == 690.0
        ));
        assert!(matches!(
            filter(&[(700.0, Some(0.1)), (700.0, Some(0.1))]),
            Err(CurveError::NotRising { .. })
        ));
        let percent = filter(&[(690.0, Some(12.0)), (700.0, Some(80.0))]).unwrap_err();
        assert_eq!(
            percent.to_string(),
            "transmittance at 690 nm is 12, which is outside 0 to 1.05"
        );
        assert!(matches!(
            filter(&[(690.0, Some(0.5)), (700.0, None)]),
            Err(CurveError::TooFewPoints { found: 1 })
        ));
        assert!(filter(&[(690.0, Some(f64::NAN)), (700.0, Some(0.5))]).is_err());
    }

    #[test]
    fn a_density_gives_its_transmittance() {
        // Definition: D 1 is T 0.1, D 0.30103 is T 0.5.
        let curve = Curve::from_values(
            CurveKind::TransmissionDensity,
            "made for the test",
            &[(700.0, 1.0), (800.0, core::f64::consts::LOG10_2)],
        )
        .unwrap();
        let t = |at| {
            curve
                .linear_value_at(nm(at), Interpolation::Linear)
                .unwrap()
        };
        assert!((t(700.0) - 0.1).abs() < 1e-12 && (t(800.0) - 0.5).abs() < 1e-12);
        assert_eq!(curve.kind().linear(), CurveKind::Transmittance);
    }

    #[test]
    fn a_resampled_curve_keeps_its_holes_and_says_so() {
        let curve = filter(&[
            (600.0, Some(0.0)),
            (610.0, None),
            (620.0, Some(0.2)),
            (630.0, Some(0.4)),
        ])
        .unwrap();
        let at: Vec<_> = [600.0, 605.0, 620.0, 625.0, 640.0].map(nm).to_vec();
        let other = curve.resampled(&at, Interpolation::Linear).unwrap();
        let values: Vec<_> = other.points().iter().map(|p| p.value).collect();
        assert_eq!(values[..3], [Some(0.0), None, Some(0.2)]);
        assert!((values[3].unwrap() - 0.3).abs() < 1e-12);
        // 640 nm lies beyond the curve and is left out, not made up.
        assert_eq!(values.len(), 4);
        assert!(other.source().ends_with("resampled (straight lines)"));
        assert!(matches!(other.sampling(), Sampling::Irregular { .. }));
    }
}
