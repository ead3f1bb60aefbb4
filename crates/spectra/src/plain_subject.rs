//! Simple reflectances of things that stand around in a picture.
//!
//! **Invented by us** from the general ranges of the trade: a few points with
//! straight lines between them, from 400 to 900 nm. They tell how such a thing
//! tends to go in the infrared and stand for no measured sample. Leaves have
//! their own model ([`crate::leaf`]).

use crate::curve::{Curve, CurveError};
use crate::kind::CurveKind;

/// Something in a picture that is no leaf.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlainSubject {
    /// A card of 18 % at all wavelengths; real cards rise in the infrared.
    GreyCard,
    /// A wall of pale plaster.
    Wall,
    /// A roof of red tiles.
    Roof,
    /// Grey-brown bark.
    Bark,
    /// Dry brown soil.
    Soil,
    /// Deep clear water without a reflected sky.
    Water,
}

impl PlainSubject {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::GreyCard,
        Self::Wall,
        Self::Roof,
        Self::Bark,
        Self::Soil,
        Self::Water,
    ];

    /// Gives the stable word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::GreyCard => "grey-card",
            Self::Wall => "wall",
            Self::Roof => "roof",
            Self::Bark => "bark",
            Self::Soil => "soil",
            Self::Water => "water",
        }
    }

    /// Gives the points: wavelength in nm and reflectance.
    #[must_use]
    pub fn points(self) -> &'static [(f64, f64)] {
        match self {
            Self::GreyCard => &[(300.0, 0.18), (1100.0, 0.18)],
            Self::Wall => &[(400.0, 0.45), (500.0, 0.62), (700.0, 0.72), (900.0, 0.75)],
            Self::Roof => &[
                (400.0, 0.06),
                (550.0, 0.11),
                (600.0, 0.26),
                (700.0, 0.36),
                (900.0, 0.42),
            ],
            Self::Bark => &[(400.0, 0.06), (550.0, 0.12), (700.0, 0.22), (900.0, 0.38)],
            Self::Soil => &[(400.0, 0.06), (550.0, 0.12), (700.0, 0.20), (900.0, 0.27)],
            Self::Water => &[
                (400.0, 0.050),
                (500.0, 0.045),
                (600.0, 0.028),
                (700.0, 0.022),
                (900.0, 0.020),
            ],
        }
    }

    /// Gives the reflectance as a curve.
    ///
    /// # Errors
    /// None for the points above; [`CurveError`] guards them.
    pub fn curve(self) -> Result<Curve, CurveError> {
        let source = match self {
            Self::GreyCard => "grey card, 18 % at all wavelengths".to_owned(),
            other => format!("{}, a simple model of our own, invented", other.word()),
        };
        Curve::from_values(CurveKind::Reflectance, source, self.points())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_subject_is_a_curve_and_only_water_darkens_towards_the_infrared() {
        for subject in PlainSubject::ALL {
            let curve = subject.curve().unwrap();
            assert_eq!(curve.kind(), CurveKind::Reflectance);
            let (first, last) = (
                curve.points()[0].value,
                curve.points().last().unwrap().value,
            );
            assert_eq!(
                last < first,
                subject == PlainSubject::Water,
                "{}",
                subject.word()
            );
        }
    }
}
