//! Contrast index: by arcs, and by the common chord.
//!
//! The two are different numbers of one curve and are named apart. Begin with
//! [`contrast_index_arcs`], the exact construction.
//!
//! By arcs: a point p on the base+fog line is found such that the arcs of radius
//! 0.2 and 2.2 about it (both axes to one scale) meet the curve in one line
//! through p; the slope of that line is the contrast index.
//! By chord: from the 0.10 point to the curve at distance 2.0 from that point.
//!
//! Symbols: p log10 H of the centre; R radius; x, D a point of the curve.
//! Source: Niederpruem, Nelson and Yule 1966 ("Contrast Index"), not seen; the
//! construction as described alike in three secondary texts.

use crate::characteristic_curve::{CharacteristicCurve, PlainCurve, log_exposure_of};
use crate::gradient::Gradient;
use crate::missing::Missing;
use crate::root::root_between;
use crate::speed_point::place_of_speed_point;
use quantity::{LogExposure, Measured};

const SMALL: f64 = 0.2;
const LARGE: f64 = 2.2;
const CHORD: f64 = 2.0;

/// The contrast index by arcs and where its line lies.
#[derive(Clone, Debug, PartialEq)]
pub struct ContrastIndexArcs {
    /// Slope of the line.
    pub gradient: Measured<Gradient>,
    /// Centre of the arcs, on the base+fog line.
    pub centre: LogExposure,
    /// Where the arc of radius 0.2 meets the curve.
    pub small_arc: LogExposure,
    /// Where the arc of radius 2.2 meets the curve.
    pub large_arc: LogExposure,
}

impl PlainCurve {
    /// Where the arc of radius R about (p, level) meets the curve right of p.
    fn arc(&self, p: f64, level: f64, radius: f64) -> Option<f64> {
        let distance = |x: f64| {
            let net = self.density(x) - level;
            (x - p) * (x - p) + net * net - radius * radius
        };
        root_between(distance, p, p + radius)
    }

    /// Slope of the line from (p, base) to the arc's point.
    fn arc_slope(&self, p: f64, radius: f64) -> Option<f64> {
        let x = self.arc(p, self.base, radius)?;
        Some((self.density(x) - self.base) / (x - p))
    }

    /// Centre p, small arc, large arc.
    fn contrast_index_arcs(&self) -> Option<(f64, f64, f64)> {
        // Right end: the curve itself is 0.2 above p, and the small slope has no end.
        let right = self.log_h_at(self.base + SMALL)?;
        let difference = |p: f64| match (self.arc_slope(p, SMALL), self.arc_slope(p, LARGE)) {
            (Some(small), Some(large)) => small - large,
            _ => f64::NAN,
        };
        // Leftward until the small arc is the flatter one.
        const STEP: f64 = 0.05;
        let mut b = right - 1e-6;
        for _ in 0..80 {
            let a = b - STEP;
            if difference(a) < 0.0 {
                let p = root_between(difference, a, b)?;
                return Some((
                    p,
                    self.arc(p, self.base, SMALL)?,
                    self.arc(p, self.base, LARGE)?,
                ));
            }
            b = a;
        }
        None
    }

    fn contrast_index_arcs_slope(&self) -> Option<f64> {
        let (p, _, large) = self.contrast_index_arcs()?;
        Some((self.density(large) - self.base) / (large - p))
    }

    /// The 0.10 point and where the arc of radius 2.0 about it meets the curve.
    fn contrast_index_chord(&self) -> Option<(f64, f64)> {
        let m = self.speed_point()?;
        Some((m, self.arc(m, self.density(m), CHORD)?))
    }
}

/// Gives the contrast index by the exact arcs of radius 0.2 and 2.2.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when an arc meets the curve outside the readings;
/// [`Missing::NoSolution`] when no centre fulfils the condition.
pub fn contrast_index_arcs(curve: &CharacteristicCurve) -> Result<ContrastIndexArcs, Missing> {
    curve.base_seen.clone()?;
    let plain = curve.plain();
    let (p, small, large) = plain.contrast_index_arcs().ok_or(Missing::NoSolution {
        criterion: "contrast index by arcs",
    })?;
    plain.within(Some(small))?;
    plain.within(Some(large))?;
    let slope = (plain.density(large) - plain.base) / (large - p);
    Ok(ContrastIndexArcs {
        gradient: curve.measured(slope, Gradient::of, PlainCurve::contrast_index_arcs_slope),
        centre: log_exposure_of(p),
        small_arc: log_exposure_of(small),
        large_arc: log_exposure_of(large),
    })
}

/// Gives the common chord: from the 0.10 point to the curve at distance 2.0 from it.
///
/// # Errors
/// [`Missing::BasePlusFogNotSeen`] when the readings show no toe and base+fog is not given;
/// [`Missing::OutsideCurve`] when either end lies outside the readings.
pub fn contrast_index_chord(curve: &CharacteristicCurve) -> Result<Measured<Gradient>, Missing> {
    let plain = curve.plain();
    place_of_speed_point(curve)?;
    let (m, end) = plain.contrast_index_chord().ok_or(Missing::NoSolution {
        criterion: "contrast index by chord",
    })?;
    plain.within(Some(end))?;
    let chord = |c: &PlainCurve| {
        let (m, end) = c.contrast_index_chord()?;
        Some((c.density(end) - c.density(m)) / (end - m))
    };
    let slope = (plain.density(end) - plain.density(m)) / (end - m);
    Ok(curve.measured(slope, Gradient::of, chord))
}
