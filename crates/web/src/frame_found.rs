//! The frame of a scan as it was found: the edges of the picture, the rebate, the tilt.

use app::TiledScan;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The frame of a scan as it was found, or why none was.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize, ToSchema)]
pub(crate) struct FrameFound {
    /// Whether at least two sides of the picture were seen against clear rebate.
    pub(crate) found: bool,
    /// Why not, and what to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) reason: Option<String>,
    /// Corners of the picture, x and y of each: left top, right top, right bottom, left
    /// bottom; only where all four sides were seen. \[px of the scan\]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    corners_px: Option<Vec<Vec<f64>>>,
    /// Tilt, positive when the upper side falls to the right. \[degrees\]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) tilt_deg: Option<f64>,
    /// Standard uncertainty of the tilt. \[degrees\]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) tilt_sd_deg: Option<f64>,
    /// The sides that were seen: left, top, right, bottom.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) sides: Vec<SideFound>,
    /// What the rebate reads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) rebate: Option<RebateFound>,
    /// How sure the sides are, 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    quality: Option<f64>,
}

/// A side of the picture that was seen against the rebate.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize, ToSchema)]
pub(crate) struct SideFound {
    /// left, top, right or bottom, as the scan lies in its file.
    pub(crate) side: String,
    /// Where it begins and ends: x and y of each. \[px of the scan\]
    ends_px: Vec<Vec<f64>>,
    /// Standard uncertainty of its place across. \[px of the scan\]
    place_sd_px: f64,
    /// Its own tilt. \[degrees\]
    tilt_deg: f64,
    /// Width of the rebate beside it. \[px of the scan\]
    rebate_width_px: f64,
    /// The rebate goes on to the end of the scan, and may be wider.
    rebate_cut: bool,
    /// Corners of the rebate beside it: both ends of the side, then those of the outer
    /// edge. \[px of the scan\]
    rebate_band_px: Vec<Vec<f64>>,
    /// Part of the side on which it was seen, 0 to 1.
    seen_part: f64,
}

/// What the rebate reads.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize, ToSchema)]
pub(crate) struct RebateFound {
    /// Median signal, 0 to 1: the part of full light where the tone is known, else the
    /// code's part of the scale.
    pub(crate) signal: f64,
    /// Standard deviation of single pixels of the reduced picture.
    pub(crate) signal_sd: f64,
    /// Whether the tone is known, so that signals are light.
    pub(crate) signal_is_light: bool,
    /// Pixels of the reduced picture it was read from.
    pixels: u64,
    /// Something lighter is in the scan, so that it is film; where nothing is, a gap of bare
    /// light would look the same.
    pub(crate) lighter_seen: bool,
    /// Corners of the largest even stretch, on which clear film can be outlined.
    /// \[px of the scan\]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) clear_stretch_px: Option<Vec<Vec<f64>>>,
    /// Gross density, where a step tablet calibrates the scan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) density: Option<f64>,
    /// Standard deviation of single pixels of the reduced picture, in density.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) density_sd: Option<f64>,
}

impl FrameFound {
    /// The frame of a scan that was cut into tiles.
    pub(crate) fn of(tiled: &TiledScan) -> Option<Self> {
        let mut frame: Self = serde_json::from_value(tiled.frame.clone()?).ok()?;
        if let (Some(rebate), Some((density, sd))) = (&mut frame.rebate, tiled.rebate_density()) {
            rebate.density = Some(density);
            rebate.density_sd = Some(sd);
        }
        Some(frame)
    }

    /// Corners of the largest even stretch of its rebate. \[px of the scan\]
    pub(crate) fn clear_stretch(&self) -> Option<Vec<(f64, f64)>> {
        let corners = self.rebate.as_ref()?.clear_stretch_px.as_ref()?;
        corners
            .iter()
            .map(|corner| Some((*corner.first()?, *corner.get(1)?)))
            .collect()
    }

    /// Says what the frame is and what its rebate reads; nothing where none was found.
    pub(crate) fn words(&self) -> Option<String> {
        let rebate = self.rebate.as_ref()?;
        let tilt = self.tilt_deg?;
        // A tilt that rounds to nothing has no sign.
        let tilt = (tilt * 100.0).round() / 100.0 + 0.0;
        let sd = self.tilt_sd_deg?.max(0.01);
        let sides: Vec<&str> = self.sides.iter().map(|s| s.side.as_str()).collect();
        let sides = match sides.as_slice() {
            [_, _, _, _] => String::new(),
            [first @ .., last] => format!(", seen at {} and {last} only", first.join(", ")),
            [] => String::new(),
        };
        Some(format!(
            "tilt {tilt:.2} ± {sd:.2}°{sides}; rebate {}{}",
            rebate.reading(),
            if rebate.lighter_seen {
                ""
            } else {
                "; nothing in the scan is lighter, and bare light would look the same"
            }
        ))
    }
}

impl RebateFound {
    fn reading(&self) -> String {
        match (self.density, self.density_sd) {
            (Some(density), Some(sd)) => format!("D {density:.2} ± {:.2}", sd.max(0.01)),
            _ => format!(
                "{:.1} ± {:.1} % of {}",
                100.0 * self.signal,
                (100.0 * self.signal_sd).max(0.1),
                if self.signal_is_light {
                    "full light"
                } else {
                    "the scale of codes"
                }
            ),
        }
    }
}
