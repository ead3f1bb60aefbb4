//! Light of a clear sky on a plane that is tilted and faces any direction.
//!
//! Source: R. E. Bird and C. Riordan, SERI/TR-215-2436 (1984), which takes the sky after
//! J. E. Hay and J. A. Davies, Calculation of the solar radiation incident on an inclined
//! surface (1980): the part of the skylight that the air passes as sunlight comes from
//! about the sun, the rest evenly from the sky; the ground gives light back evenly.

use crate::clear_sky::SkyLight;
use libm::{cos, sin};

/// Lowest cosine of the sun's zenith angle that skylight about the sun is referred to;
/// that of 89°.
const LOWEST_COSINE: f64 = 0.017_45;

/// A plane that light falls on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    /// Tilt from level, degrees: 0 level ground, 90 a wall.
    tilt_deg: f64,
    /// Direction that it faces, degrees from north by east.
    facing_deg: f64,
}

/// Why there is no plane.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum PlaneError {
    /// A tilt outside 0° to 180°.
    #[error(
        "a plane tilted by {0}° is not known; give 0 (level, seen from above) to 90 (a wall) and up to 180 (level, facing down)"
    )]
    Tilt(f64),
    /// A direction that isn't one.
    #[error("a plane that faces {0}° is not known; give -360 to 360 degrees from north by east")]
    Facing(f64),
}

impl Plane {
    /// A plane by its tilt from level and the direction it faces, degrees from north by east.
    ///
    /// # Errors
    /// [`PlaneError`] when an angle lies outside its range.
    pub fn from_degrees(tilt_deg: f64, facing_deg: f64) -> Result<Self, PlaneError> {
        if !(0.0..=180.0).contains(&tilt_deg) {
            return Err(PlaneError::Tilt(tilt_deg));
        }
        if !(-360.0..=360.0).contains(&facing_deg) {
            return Err(PlaneError::Facing(facing_deg));
        }
        Ok(Self {
            tilt_deg,
            facing_deg,
        })
    }

    /// Cosine of the angle between the plane's normal and the sun; negative behind the plane.
    #[must_use]
    pub fn cosine_to_sun(self, sun_elevation_deg: f64, sun_azimuth_deg: f64) -> f64 {
        let (tilt, up) = (self.tilt_deg.to_radians(), sun_elevation_deg.to_radians());
        let apart = (sun_azimuth_deg - self.facing_deg).to_radians();
        sin(up) * cos(tilt) + cos(up) * sin(tilt) * cos(apart)
    }

    /// Gives the light on the plane, W/m² per nm: sun, sky and what a ground of
    /// `ground_reflectance` gives back. Angles of the sun are those that `light` was
    /// computed for, degrees.
    #[must_use]
    pub fn light_on(
        self,
        light: &SkyLight,
        sun_elevation_deg: f64,
        sun_azimuth_deg: f64,
        ground_reflectance: f64,
    ) -> f64 {
        let to_sun = self
            .cosine_to_sun(sun_elevation_deg, sun_azimuth_deg)
            .max(0.0);
        let tilt = cos(self.tilt_deg.to_radians());
        let passed = if light.outside_normal > 0.0 {
            light.direct_normal / light.outside_normal
        } else {
            0.0
        };
        let about_sun = to_sun / sin(sun_elevation_deg.to_radians()).max(LOWEST_COSINE);
        let sky =
            light.diffuse_horizontal * (passed * about_sun + (1.0 - passed) * 0.5 * (1.0 + tilt));
        let ground = 0.5 * (1.0 - tilt) * ground_reflectance * light.global_horizontal();
        light.direct_normal * to_sun + sky + ground
    }
}
