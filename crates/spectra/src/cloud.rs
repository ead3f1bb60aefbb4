//! Daylight under clouds, as a stated model.
//!
//! **Invented by us.** No published law says what clouds do from 700 to 900 nm,
//! so the clear sky's light on the level ground is taken, with more water vapour
//! (light goes longer ways within a cloud) and a tilt towards blue:
//!
//! E(λ) = E_clear(λ; water · w) · (λ / 550 nm)^−p
//!
//! Only the shape is meant: how much darker a cloud makes the day is for a
//! meter. The spread in the infrared is wide on purpose.

/// A class of cloud.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cloud {
    /// The sun's disc is seen, shadows are soft.
    Thin,
    /// The sun's place is not seen.
    Overcast,
    /// Dark, before rain.
    Heavy,
}

impl Cloud {
    /// Gives by what the water vapour is multiplied.
    #[must_use]
    pub fn water_times(self) -> f64 {
        match self {
            Self::Thin => 1.2,
            Self::Overcast => 1.6,
            Self::Heavy => 2.2,
        }
    }

    /// Gives the exponent of the tilt towards blue.
    #[must_use]
    pub fn tilt(self) -> f64 {
        match self {
            Self::Thin => 0.1,
            Self::Overcast => 0.25,
            Self::Heavy => 0.4,
        }
    }

    /// Gives one standard deviation of the power beyond 700 nm, stops.
    #[must_use]
    pub fn infrared_sd_stops(self) -> f64 {
        match self {
            Self::Thin => 0.3,
            Self::Overcast => 0.5,
            Self::Heavy => 0.7,
        }
    }

    /// Tilts a light, W/m² per nm over nm, that was computed with
    /// [`Cloud::water_times`] the water.
    #[must_use]
    pub fn tilted(self, light: &[(f64, f64)]) -> Vec<(f64, f64)> {
        light
            .iter()
            .map(|&(nm, e)| (nm, e * libm::pow(nm / 550.0, -self.tilt())))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heavier_clouds_take_more_infrared_and_are_known_less() {
        let even = [(550.0, 1.0), (850.0, 1.0)];
        let far = |cloud: Cloud| cloud.tilted(&even)[1].1;
        assert_eq!(Cloud::Thin.tilted(&even)[0].1, 1.0);
        assert!(far(Cloud::Thin) > far(Cloud::Overcast));
        assert!(far(Cloud::Overcast) > far(Cloud::Heavy));
        // Hand calculation: (850/550)^-0.4 = 0.8402.
        assert!((far(Cloud::Heavy) - 0.8402).abs() < 1e-4);
        assert!(Cloud::Heavy.infrared_sd_stops() > Cloud::Thin.infrared_sd_stops());
    }
}
