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

/// Carries an outline by a placement alone; none for a region of a map.
#[must_use]
pub fn outline_by(placement: &Placement, outline: &Outline) -> Option<Outline> {
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

/// Gives what a misplaced outline may add to a reading: how steep the patch is
/// times how far it may be off. \[log10 of signal, as good as density\]
///
/// The slopes are those fitted across the outline's box, which a wrong place
/// moves over; an edge at the border of the outline shows in them too.
#[must_use]
pub fn misplacement(
    statistics: &crate::patch::PatchStatistics,
    outline: &Outline,
    uncertainty_px: f64,
) -> f64 {
    let Some((left, top, right, bottom)) = outline.bounds() else {
        return 0.0;
    };
    let steepness = libm::hypot(
        statistics.slope_across / (right - left).max(1.0),
        statistics.slope_down / (bottom - top).max(1.0),
    );
    steepness * uncertainty_px
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::Polarity;
    use crate::outline::Rectangle;
    use crate::patch::PatchStatistics;
    use crate::tone::{Tone, ToneEncoding, ToneOrigin};

    #[test]
    fn a_steep_patch_loses_more_by_a_wrong_place() {
        let tone = Tone {
            encoding: ToneEncoding::Linear,
            origin: ToneOrigin::Record,
            polarity: Polarity::BlackIsZero,
            code_max: u16::MAX,
            remarks: Vec::new(),
        };
        let mut patch = PatchStatistics::from_code(4000.0, 3.0, &tone);
        let outline = Outline::Rectangle(Rectangle {
            x: 10.0,
            y: 10.0,
            width: 60.0,
            height: 40.0,
        });
        assert_eq!(misplacement(&patch, &outline, 5.0), 0.0);
        patch.slope_across = 0.18;
        patch.slope_down = -0.16;
        // Hand calculation: 0.18/60 = 0.003, 0.16/40 = 0.004, together 0.005 for
        // a pixel; 2 pixels give 0.010. 1e-12: rounding.
        assert!((misplacement(&patch, &outline, 2.0) - 0.010).abs() < 1e-12);
    }
}
