//! An outline drawn on one frame, on another.

use super::{Placement, Registration};
use crate::outline::Outline;

/// An outline as carried to another frame.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedOutline {
    /// The outline on the second picture: always a polygon.
    pub outline: Outline,
    /// Standard uncertainty of its place, along the worse direction. \[pixels
    /// of the second picture\]
    pub uncertainty_px: f64,
}

/// Gives the corners of an outline; none for a region of a map, which has none.
fn corners_of(outline: &Outline) -> Option<Vec<(f64, f64)>> {
    Some(match outline {
        Outline::Rectangle(r) => vec![
            (r.x, r.y),
            (r.x + r.width, r.y),
            (r.x + r.width, r.y + r.height),
            (r.x, r.y + r.height),
        ],
        Outline::Polygon(corners) => corners.clone(),
        Outline::Region { .. } => return None,
    })
}

/// Carries an outline by a placement alone.
pub(crate) fn outline_by(placement: &Placement, outline: &Outline) -> Option<Outline> {
    let corners = corners_of(outline)?;
    Some(Outline::Polygon(
        corners.into_iter().map(|c| placement.carry(c)).collect(),
    ))
}

/// Carries an outline from the first picture of a registration to the second.
///
/// None for a region of a map, which has no corners.
#[must_use]
pub fn carry_outline(registration: &Registration, outline: &Outline) -> Option<CarriedOutline> {
    let corners = corners_of(outline)?;
    let uncertainty_px = corners
        .iter()
        .map(|c| registration.uncertainty_px(*c))
        .fold(0.0, f64::max);
    Some(CarriedOutline {
        outline: outline_by(&registration.placement(), outline)?,
        uncertainty_px,
    })
}
