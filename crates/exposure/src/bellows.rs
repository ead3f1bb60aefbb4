//! Bellows extension: the exposure factor of a close subject.
//!
//! factor = (1 + m/p)², effective f-number N·(1 + m/p).
//! For a symmetric lens (p = 1) at a draw v and focal length f, m = v/f − 1 and
//! the factor is (v/f)².
//!
//! Symbols: m magnification (image over object); p pupil ratio (exit over
//! entrance pupil); v draw, from the rear principal plane to the film, mm; f
//! focal length, mm. Source: standard optics; the worked cases in the tests
//! name theirs.

use quantity::{FNumber, Magnification, Millimetres, PupilRatio, QuantityError, Stops};

/// Why a bellows factor could not be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BellowsError {
    /// Measure again, from the lens board (or principal plane) to the film.
    #[error(
        "a bellows draw of {draw_mm} mm is shorter than the focal length of {focal_length_mm} mm: no image is sharp there"
    )]
    DrawShorterThanFocalLength {
        /// The draw seen.
        draw_mm: f64,
        /// The focal length, the shortest draw possible.
        focal_length_mm: f64,
    },
    /// A number has no meaning.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// What a bellows factor was computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BellowsBasis {
    /// From the magnification.
    Magnification,
    /// From the draw and the focal length.
    Draw {
        /// From the rear principal plane to the film.
        draw: Millimetres,
        /// Focal length of the lens.
        focal_length: Millimetres,
    },
    /// From how far the lens was racked out beyond its place at infinity.
    Extension {
        /// Draw now less draw at infinity.
        extension: Millimetres,
        /// Focal length of the lens.
        focal_length: Millimetres,
    },
}

/// A bellows extension with its exposure factor.
///
/// Invariant: the factor is at least 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bellows {
    magnification: Magnification,
    pupil_ratio: PupilRatio,
    basis: BellowsBasis,
}

impl Bellows {
    /// Takes a magnification and the pupil ratio of the lens.
    #[must_use]
    pub fn from_magnification(magnification: Magnification, pupil_ratio: PupilRatio) -> Self {
        Self {
            magnification,
            pupil_ratio,
            basis: BellowsBasis::Magnification,
        }
    }

    /// Takes a bellows draw, the focal length and the pupil ratio of the lens.
    ///
    /// # Errors
    /// [`BellowsError::DrawShorterThanFocalLength`], or [`BellowsError::Quantity`]
    /// for a magnification above 1000.
    pub fn from_draw(
        draw: Millimetres,
        focal_length: Millimetres,
        pupil_ratio: PupilRatio,
    ) -> Result<Self, BellowsError> {
        let (draw_mm, focal_length_mm) = (draw.to_mm(), focal_length.to_mm());
        if draw_mm < focal_length_mm {
            return Err(BellowsError::DrawShorterThanFocalLength {
                draw_mm,
                focal_length_mm,
            });
        }
        Ok(Self {
            // m = v/f − 1
            magnification: Magnification::from_ratio(
                (draw_mm - focal_length_mm) / focal_length_mm,
            )?,
            pupil_ratio,
            basis: BellowsBasis::Draw { draw, focal_length },
        })
    }

    /// Takes how far the lens was racked out beyond its place at infinity: m = x/f.
    ///
    /// It needs no principal plane and so serves telephoto lenses as well.
    ///
    /// # Errors
    /// [`BellowsError::Quantity`] for a magnification above 1000.
    pub fn from_extension(
        extension: Millimetres,
        focal_length: Millimetres,
        pupil_ratio: PupilRatio,
    ) -> Result<Self, BellowsError> {
        Ok(Self {
            magnification: Magnification::from_ratio(extension.to_mm() / focal_length.to_mm())?,
            pupil_ratio,
            basis: BellowsBasis::Extension {
                extension,
                focal_length,
            },
        })
    }

    /// Gives the standard uncertainty of the factor from that of the magnification,
    /// in stops: d lg2 (1 + m/p)² = 2/((p + m)·ln 2) dm.
    ///
    /// An error of a draw or an extension, over the focal length, is one of m.
    ///
    /// # Errors
    /// [`QuantityError::OutOfRange`] when the uncertainty is negative, and
    /// [`QuantityError::NotFinite`] when it is none.
    pub fn standard_uncertainty(&self, of_magnification: f64) -> Result<Stops, QuantityError> {
        if of_magnification < 0.0 {
            return Err(QuantityError::OutOfRange {
                what: "standard uncertainty of the magnification",
                value: of_magnification,
                low: 0.0,
                high: f64::MAX,
            });
        }
        let sum = self.pupil_ratio.to_ratio() + self.magnification.to_ratio();
        Stops::new(2.0 * of_magnification / (sum * core::f64::consts::LN_2))
    }

    /// Gives the magnification.
    #[must_use]
    pub fn magnification(&self) -> Magnification {
        self.magnification
    }

    /// Gives the pupil ratio used.
    #[must_use]
    pub fn pupil_ratio(&self) -> PupilRatio {
        self.pupil_ratio
    }

    /// Tells what it was computed from.
    #[must_use]
    pub fn basis(&self) -> BellowsBasis {
        self.basis
    }

    /// 1 + m/p, by which the f-number grows.
    fn aperture_ratio(&self) -> f64 {
        1.0 + self.magnification.to_ratio() / self.pupil_ratio.to_ratio()
    }

    /// Gives the exposure factor (1 + m/p)². \[-\]
    #[must_use]
    pub fn to_ratio(&self) -> f64 {
        let ratio = self.aperture_ratio();
        ratio * ratio
    }

    /// Gives the exposure factor in stops.
    ///
    /// # Errors
    /// [`QuantityError`] when the factor overflows.
    pub fn to_stops(&self) -> Result<Stops, QuantityError> {
        Stops::new(2.0 * libm::log2(self.aperture_ratio()))
    }

    /// Gives the effective f-number N·(1 + m/p).
    ///
    /// # Errors
    /// [`QuantityError`] when the f-number overflows.
    pub fn effective_aperture(&self, aperture: FNumber) -> Result<FNumber, QuantityError> {
        FNumber::from_ratio(aperture.to_ratio() * self.aperture_ratio())
    }
}

/// Gives the magnification from the size of the image and of the thing itself.
///
/// # Errors
/// [`QuantityError`] when the ratio is above 1000.
pub fn magnification_from_sizes(
    image: Millimetres,
    object: Millimetres,
) -> Result<Magnification, QuantityError> {
    Magnification::from_ratio(image.to_mm() / object.to_mm())
}
