//! Light that is uneven from place to place, by the scan's own rebate and bare light.

use super::finding::HonestyFinding;
use super::light::light_slope;
use crate::bare_light::{LightUnseen, UnevenLight, uneven_light};
use crate::calibration::Calibration;
use crate::frame_edges::{FrameEdges, FrameNotFound};
use crate::preview::Preview;
use quantity::Flag;

/// Finds how uneven the light of a scan is, in density: by its calibration where there
/// is one, else by its tone. `frame` is what `find_frame` said of the picture.
///
/// # Errors
/// [`LightUnseen`] when the scan shows too little that is known to be alike, or
/// nothing says how its codes follow light.
pub fn light_of_scan(
    picture: &Preview,
    frame: &Result<FrameEdges, FrameNotFound>,
    calibration: Option<&Calibration>,
) -> Result<UnevenLight, LightUnseen> {
    let slope = match calibration.and_then(light_slope) {
        Some(slope) => slope,
        None if picture.tone_known => 1.0,
        None => return Err(LightUnseen::UnknownTone),
    };
    Ok(uneven_light(picture, frame)?.in_density(slope))
}

/// Tells of light that is so uneven that densities suffer.
#[must_use]
pub fn uneven_light_finding(light: &UnevenLight) -> Option<HonestyFinding> {
    light.matters().then(|| {
        HonestyFinding::new(
            Flag::UnevenLight,
            format!(
                "{}; {:.3} is added to the uncertainty of its readings, and a picture of the bare table \
                 (flat field) would take it out",
                light.words(),
                light.doubt()
            ),
        )
    })
}

impl UnevenLight {
    /// What was measured, in a sentence.
    #[must_use]
    pub fn words(&self) -> String {
        let of = |count: usize, what: &str| match count {
            0 => None,
            1 => Some(format!("1 place of {what}")),
            n => Some(format!("{n} places of {what}")),
        };
        let places: Vec<String> = [
            of(self.rebate_places, "rebate"),
            of(self.light_places, "bare light"),
        ]
        .into_iter()
        .flatten()
        .collect();
        let sides: Vec<&str> = self.sides.iter().map(|side| side.word()).collect();
        format!(
            "the light differs by {:.3} ± {:.3} in density from the lightest to the darkest of {} ({})",
            self.range,
            self.range_sd.max(0.001),
            places.join(" and "),
            sides.join(", ")
        )
    }
}
