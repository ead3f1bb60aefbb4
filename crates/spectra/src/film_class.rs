//! Classes of film, as smooth models with their spread.
//!
//! **Invented by us** from the general ranges of the trade (ordinary
//! panchromatic film ends at 650–670 nm, extended red at 700–720, near infrared
//! at 740–800, infrared at 820–900: common practice). They stand for no film:
//! who has the film's own curve uses that.
//!
//! log10 S = −a (λ − 400)/100 + log10( f(λ) ), where f is a logistic edge of
//! half-sensitivity c and width w; a film sensitised into the infrared also has
//! a step down to the share p beyond 690 nm.

use crate::curve::{Curve, CurveError};
use crate::kind::CurveKind;
use quantity::Nanometres;

/// A class of film.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FilmClass {
    /// Blue and green.
    Orthochromatic,
    /// To about 660 nm.
    OrdinaryPanchromatic,
    /// To about 710 nm.
    ExtendedRed,
    /// To about 780 nm.
    NearInfrared,
    /// To about 880 nm.
    Infrared,
}

/// The model of a class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassModel {
    /// Where sensitivity has fallen to half at the red end.
    pub edge: Nanometres,
    /// One standard deviation of the edge between films of the class, nm.
    pub edge_sd_nm: f64,
    /// Width of the edge, nm; a decade takes 2.3 widths.
    pub width_nm: f64,
    /// One standard deviation of the width, nm.
    pub width_sd_nm: f64,
    /// Loss of sensitivity over 100 nm from blue to red, log10.
    pub tilt_per_100_nm: f64,
    /// Share of sensitivity that is left beyond 690 nm.
    pub infrared_share: f64,
}

impl FilmClass {
    /// Every class, by reach.
    pub const ALL: [Self; 5] = [
        Self::Orthochromatic,
        Self::OrdinaryPanchromatic,
        Self::ExtendedRed,
        Self::NearInfrared,
        Self::Infrared,
    ];

    /// Gives the stable word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Orthochromatic => "orthochromatic",
            Self::OrdinaryPanchromatic => "panchromatic",
            Self::ExtendedRed => "extended-red",
            Self::NearInfrared => "near-infrared",
            Self::Infrared => "infrared",
        }
    }

    /// Gives the class that a word names.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.word() == word)
    }

    /// Gives edge, width, tilt and infrared share of the class.
    #[must_use]
    pub fn model(self) -> ClassModel {
        // Edge, its sd, width, its sd, tilt, infrared share: invented, see above.
        let (edge, edge_sd_nm, width_nm, width_sd_nm, tilt_per_100_nm, infrared_share) = match self
        {
            Self::Orthochromatic => (580.0, 8.0, 6.0, 1.0, 0.08, 1.0),
            Self::OrdinaryPanchromatic => (648.0, 6.0, 6.0, 1.0, 0.08, 1.0),
            Self::ExtendedRed => (695.0, 6.0, 8.0, 1.0, 0.08, 1.0),
            Self::NearInfrared => (785.0, 12.0, 9.0, 1.5, 0.08, 0.55),
            Self::Infrared => (880.0, 12.0, 10.0, 2.0, 0.08, 0.55),
        };
        let edge = Nanometres::from_nm(edge);
        let Ok(edge) = edge else {
            unreachable!("the edges above are greater than zero")
        };
        ClassModel {
            edge,
            edge_sd_nm,
            width_nm,
            width_sd_nm,
            tilt_per_100_nm,
            infrared_share,
        }
    }
}

/// Gives the share of sensitivity that is left at `nm` by a red end with half of it at
/// `edge_nm`: 1/(1 + exp((λ − c)/w)). Beyond, log10 of it falls by 1/(w ln 10) per nm.
#[must_use]
pub fn red_end(nm: f64, edge_nm: f64, width_nm: f64) -> f64 {
    1.0 / (1.0 + libm::exp((nm - edge_nm) / width_nm))
}

impl ClassModel {
    fn log_sensitivity(&self, nm: f64) -> f64 {
        let edge = red_end(nm, self.edge.to_nm(), self.width_nm);
        // The step at 690 nm is 8 nm wide.
        let beyond = 1.0 / (1.0 + libm::exp(-(nm - 690.0) / 8.0));
        let level = 1.0 - (1.0 - self.infrared_share) * beyond;
        libm::log10(edge * level) - self.tilt_per_100_nm * (nm - 400.0) / 100.0
    }

    /// Gives the curve from 360 to 1000 nm in steps of 1 nm, log10 of sensitivity.
    ///
    /// # Errors
    /// [`CurveError`] when the model has numbers without meaning.
    pub fn curve(&self, name: &str) -> Result<Curve, CurveError> {
        let values: Vec<(f64, f64)> = (360..=1000)
            .map(f64::from)
            .map(|nm| (nm, self.log_sensitivity(nm).max(-25.0)))
            .collect();
        let source = format!(
            "class of film: {name}; a smooth model invented from the general ranges of the trade, not a film"
        );
        Curve::from_values(CurveKind::LogSensitivity, source, &values)
    }
}
