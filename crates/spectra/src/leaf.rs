//! Reflectance and transmittance of leaves by a few numbers.
//!
//! A model of our own, not a physical one:
//!
//! R(λ) = floor + green · exp(−½((λ − 550)/35)²) + (plateau − floor) · exp(−exp(−(λ − edge)/width))
//!
//! `edge` is where the reflectance rises most steeply, the red edge; more
//! chlorophyll moves it to longer wavelengths. It holds from 400 to 900 nm. The
//! green leaves lie within 0.02 of a published plate model (PROSPECT-D) between
//! 450 and 900 nm; autumn and needles are invented from the general ranges of
//! the trade.

use crate::curve::{Curve, CurveError};
use crate::kind::CurveKind;
use libm::exp;

/// A leaf by its numbers; reflectances from 0 to 1, lengths in nm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leaf {
    /// Reflectance in blue and red, where chlorophyll absorbs.
    pub floor: f64,
    /// What the green adds at 550 nm.
    pub green: f64,
    /// Reflectance of the near infrared.
    pub plateau: f64,
    /// Where the reflectance rises most steeply, nm.
    pub edge_nm: f64,
    /// How slowly it rises, nm.
    pub width_nm: f64,
}

/// Wavelengths for which the model stands, nm.
pub const LEAF_RANGE_NM: (f64, f64) = (400.0, 900.0);

impl Leaf {
    /// A young leaf with little chlorophyll.
    pub const SPRING: Self = Self {
        floor: 0.042,
        green: 0.16,
        plateau: 0.45,
        edge_nm: 702.0,
        width_nm: 14.0,
    };
    /// A common green leaf.
    pub const SUMMER: Self = Self {
        floor: 0.038,
        green: 0.112,
        plateau: 0.442,
        edge_nm: 706.0,
        width_nm: 14.9,
    };
    /// A leaf with much chlorophyll.
    pub const DEEP_GREEN: Self = Self {
        floor: 0.035,
        green: 0.048,
        plateau: 0.438,
        edge_nm: 714.2,
        width_nm: 15.2,
    };
    /// A leaf that loses its chlorophyll; invented.
    pub const AUTUMN: Self = Self {
        floor: 0.10,
        green: 0.20,
        plateau: 0.42,
        edge_nm: 690.0,
        width_nm: 13.0,
    };
    /// Needles as they stand on a twig, with shadows between; invented.
    pub const NEEDLES: Self = Self {
        floor: 0.025,
        green: 0.045,
        plateau: 0.30,
        edge_nm: 709.0,
        width_nm: 15.0,
    };

    /// Gives the reflectance at a wavelength in nm.
    #[must_use]
    pub fn reflectance(&self, nm: f64) -> f64 {
        let away = (nm - 550.0) / 35.0;
        let rise = exp(-exp(-(nm - self.edge_nm) / self.width_nm));
        self.floor + self.green * exp(-0.5 * away * away) + (self.plateau - self.floor) * rise
    }

    /// Gives a rough transmittance of one leaf: as its reflectance without the
    /// surface's part, which is taken as nine tenths of the floor.
    #[must_use]
    pub fn transmittance(&self, nm: f64) -> f64 {
        self.reflectance(nm) - 0.9 * self.floor
    }

    /// Gives the reflectance as a curve every 1 nm over [`LEAF_RANGE_NM`].
    ///
    /// # Errors
    /// [`CurveError`] when the numbers give a reflectance below 0 or above 1.
    pub fn curve(&self, name: &str) -> Result<Curve, CurveError> {
        let (low, high) = LEAF_RANGE_NM;
        let values: Vec<(f64, f64)> = (0..=(high - low) as usize)
            .map(|step| low + step as f64)
            .map(|nm| (nm, self.reflectance(nm)))
            .collect();
        let source = format!("{name}, model of a leaf: {self:?}");
        Curve::from_values(CurveKind::Reflectance, source, &values)
    }
}

/// Gives the light under leaves: the share `gaps` falls through unchanged, the
/// rest through one leaf.
///
/// Deep shade has several leaves one behind the other and more infrared still.
#[must_use]
pub fn under_leaves(light: &[(f64, f64)], leaf: &Leaf, gaps: f64) -> Vec<(f64, f64)> {
    light
        .iter()
        .map(|&(nm, e)| (nm, e * (gaps + (1.0 - gaps) * leaf.transmittance(nm))))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn green_leaves_lie_near_the_published_plate_model() {
        // Source: PROSPECT-D (J.-B. Feret et al., Remote Sens. Environ. 193, 2017),
        // computed for N 1.5, 8 µg/cm² carotenoids; 40 and 80 µg/cm² chlorophyll.
        let nm = [
            450.0, 550.0, 600.0, 650.0, 680.0, 700.0, 720.0, 740.0, 760.0, 800.0, 900.0,
        ];
        let common = [
            0.041251, 0.151167, 0.078995, 0.045496, 0.036002, 0.127387, 0.306582, 0.405740,
            0.431892, 0.442543, 0.441550,
        ];
        let deep = [
            0.040992, 0.082721, 0.044607, 0.035581, 0.034690, 0.066540, 0.226794, 0.370249,
            0.417752, 0.438362, 0.437241,
        ];
        for (leaf, expected) in [(Leaf::SUMMER, common), (Leaf::DEEP_GREEN, deep)] {
            for (nm, expected) in nm.iter().zip(expected) {
                let got = leaf.reflectance(*nm);
                assert!((got - expected).abs() < 0.02, "{nm} nm: {got}, {expected}");
            }
        }
    }

    #[test]
    fn more_chlorophyll_moves_the_edge_and_every_leaf_brightens_beyond_it() {
        let at_715 = |leaf: Leaf| leaf.reflectance(715.0);
        assert!(at_715(Leaf::SPRING) > at_715(Leaf::SUMMER));
        assert!(at_715(Leaf::SUMMER) > at_715(Leaf::DEEP_GREEN));
        for leaf in [
            Leaf::SPRING,
            Leaf::SUMMER,
            Leaf::DEEP_GREEN,
            Leaf::AUTUMN,
            Leaf::NEEDLES,
        ] {
            assert!(leaf.curve("leaf").is_ok());
            assert!(leaf.reflectance(800.0) > 2.5 * leaf.reflectance(670.0));
            for nm in 400..=900 {
                let nm = f64::from(nm);
                let (r, t) = (leaf.reflectance(nm), leaf.transmittance(nm));
                assert!(t >= 0.0 && r + t <= 1.0, "{nm}: {r} {t}");
            }
        }
    }

    #[test]
    fn under_leaves_the_infrared_stays() {
        let even = [(550.0, 1.0), (680.0, 1.0), (800.0, 1.0)];
        let under = under_leaves(&even, &Leaf::SUMMER, 0.1);
        assert!(under[2].1 > 3.0 * under[1].1);
        assert_eq!(under_leaves(&even, &Leaf::SUMMER, 1.0), even);
    }
}
