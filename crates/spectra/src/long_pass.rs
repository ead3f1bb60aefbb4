//! Long-pass filters given by an edge: a wavelength, the level it is quoted at,
//! a peak and a width.
//!
//! T(λ) = P / (1 + exp(−(λ − c)/w)): P the peak transmittance, c the wavelength
//! at half of the peak, w the width. A number of nanometres without a level says
//! little: one glass may be called by 708, 720 and 723. Where the foot of an edge
//! matters, [`EdgeShape`] has another shape of the same peak, centre and slope.
//!
//! Begin with [`LongPass::from_edge`].

use crate::curve::{Curve, CurveError};
use crate::kind::CurveKind;
use quantity::{Nanometres, QuantityError};

/// The level at which an edge is quoted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EdgeLevel {
    /// A transmittance, 0 to 1: "50 % T".
    Transmittance(f64),
    /// A share of the peak, 0 to 1: "half of peak".
    ShareOfPeak(f64),
    /// Stops below the peak: "−3 stops".
    StopsBelowPeak(f64),
}

impl EdgeLevel {
    fn share_of_peak(self, peak: f64) -> f64 {
        match self {
            Self::Transmittance(t) => t / peak,
            Self::ShareOfPeak(share) => share,
            Self::StopsBelowPeak(stops) => libm::exp2(-stops),
        }
    }
}

/// The shape of an edge; peak, half-peak wavelength and slope there are the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EdgeShape {
    /// T = P/(1 + exp(−(λ − c)/w)): its foot falls exponentially.
    Logistic,
    /// T = P·2^−exp(−(λ − c)/s), s = 2 ln 2 · w: absorption that falls exponentially
    /// with the wavelength (Urbach's rule), as in coloured glass; a steep foot.
    Absorbing,
}

impl EdgeShape {
    /// Every shape.
    pub const ALL: [Self; 2] = [Self::Logistic, Self::Absorbing];

    /// Gives T/P at a distance u = (λ − c)/w from half of the peak.
    fn share_of_peak(self, u: f64) -> f64 {
        match self {
            Self::Logistic => 1.0 / (1.0 + libm::exp(-u)),
            Self::Absorbing => libm::exp2(-libm::exp(-u / (2.0 * core::f64::consts::LN_2))),
        }
    }
}

/// Why an edge describes no filter.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EdgeError {
    /// Give a level between nothing and the peak.
    #[error(
        "an edge can't be quoted at {share:.3} of the peak; the level must lie between 0 and the peak"
    )]
    Level {
        /// The level as a share of the peak.
        share: f64,
    },
    /// Give a peak greater than 0 and at most 1.
    #[error("a peak transmittance lies between 0 and 1, found {peak}")]
    Peak {
        /// The peak given.
        peak: f64,
    },
    /// Give a width greater than 0.
    #[error("the width of an edge is greater than 0 nm, found {width_nm}")]
    Width {
        /// The width given, nm.
        width_nm: f64,
    },
    /// Give a wavelength in range.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// Write the edge as a wavelength and its level.
    #[error(
        "'{text}' is no edge; write NM:LEVEL, as 715:50%, 720:half-peak, 708:10% or 708:-3stops"
    )]
    Text {
        /// What was written.
        text: String,
    },
    /// Say at which level the wavelength is quoted.
    #[error(
        "the edge {nm} nm has no level; the same glass may be called by wavelengths 15 nm apart: write {nm}:50%, {nm}:half-peak, {nm}:10% or {nm}:-3stops"
    )]
    NoLevel {
        /// The wavelength given, nm.
        nm: f64,
    },
}

/// Width that is taken when none is given. \[nm\]
///
/// Source: assumed edge of "The importance of using a common relative
/// reference level", the width of an absorption glass of a few mm.
pub const WIDTH_NM: f64 = 6.0;

/// Peak transmittance that is taken when none is given: glass of index 1.52
/// without a coating, 2n/(n² + 1) = 0.918, a little less for the glass itself.
pub const PEAK: f64 = 0.90;

/// A long-pass filter by its edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LongPass {
    half_peak_nm: f64,
    width_nm: f64,
    peak: f64,
}

impl LongPass {
    /// Takes an edge at its level.
    ///
    /// # Errors
    /// [`EdgeError`] for a level that no filter of this peak has.
    pub fn from_edge(
        edge: Nanometres,
        level: EdgeLevel,
        peak: f64,
        width_nm: f64,
    ) -> Result<Self, EdgeError> {
        if !(peak > 0.0 && peak <= 1.0) {
            return Err(EdgeError::Peak { peak });
        }
        if !(width_nm > 0.0 && width_nm.is_finite()) {
            return Err(EdgeError::Width { width_nm });
        }
        let above = above_half_peak_nm(level.share_of_peak(peak), width_nm)?;
        Ok(Self {
            half_peak_nm: edge.to_nm() - above,
            width_nm,
            peak,
        })
    }

    /// Reads `NM:LEVEL`: `715:50%` is 50 % T, `720:half-peak` half of the peak,
    /// `708:10%` 10 % T, `708:-3stops` three stops below the peak.
    ///
    /// # Errors
    /// [`EdgeError`] for other words, and when there is no level.
    pub fn from_text(text: &str, peak: f64, width_nm: f64) -> Result<Self, EdgeError> {
        let odd = || EdgeError::Text {
            text: text.to_owned(),
        };
        let number = |t: &str| t.trim().parse::<f64>().ok().filter(|n| n.is_finite());
        let Some((at, level)) = text.split_once(':') else {
            let nm = number(text).ok_or_else(odd)?;
            return Err(EdgeError::NoLevel { nm });
        };
        let at = number(at).ok_or_else(odd)?;
        let level = level.trim();
        let level = if level == "half-peak" {
            EdgeLevel::ShareOfPeak(0.5)
        } else if let Some(percent) = level.strip_suffix("%ofpeak") {
            EdgeLevel::ShareOfPeak(number(percent).ok_or_else(odd)? / 100.0)
        } else if let Some(percent) = level.strip_suffix('%') {
            EdgeLevel::Transmittance(number(percent).ok_or_else(odd)? / 100.0)
        } else if let Some(stops) = level.strip_suffix("stops") {
            let stops = number(stops).ok_or_else(odd)?;
            EdgeLevel::StopsBelowPeak(stops.abs())
        } else {
            return Err(odd());
        };
        Self::from_edge(Nanometres::from_nm(at)?, level, peak, width_nm)
    }

    /// Gives the wavelength at half of the peak. \[nm\]
    #[must_use]
    pub fn half_peak_nm(&self) -> f64 {
        self.half_peak_nm
    }

    /// Gives the wavelength of another level.
    ///
    /// # Errors
    /// [`EdgeError::Level`] for a level that this filter doesn't reach.
    pub fn edge_at(&self, level: EdgeLevel) -> Result<Nanometres, EdgeError> {
        let above = above_half_peak_nm(level.share_of_peak(self.peak), self.width_nm)?;
        Ok(Nanometres::from_nm(self.half_peak_nm + above)?)
    }

    /// Gives the transmittance at a wavelength.
    #[must_use]
    pub fn transmittance(&self, at: Nanometres) -> f64 {
        self.at_nm(at.to_nm())
    }

    /// Gives the transmittance at a wavelength for an edge of another shape.
    #[must_use]
    pub fn transmittance_shaped(&self, at: Nanometres, shape: EdgeShape) -> f64 {
        self.shaped_at_nm(at.to_nm(), shape)
    }

    fn at_nm(&self, nm: f64) -> f64 {
        self.shaped_at_nm(nm, EdgeShape::Logistic)
    }

    fn shaped_at_nm(&self, nm: f64, shape: EdgeShape) -> f64 {
        self.peak * shape.share_of_peak((nm - self.half_peak_nm) / self.width_nm)
    }

    /// Gives the curve from `low_nm` to `high_nm` in steps of 1 nm.
    ///
    /// # Errors
    /// [`CurveError`] for a range that is none.
    pub fn curve(&self, low_nm: f64, high_nm: f64) -> Result<Curve, CurveError> {
        let count = libm::floor((high_nm - low_nm).clamp(0.0, 1e5)) as u32;
        let values: Vec<(f64, f64)> = (0..=count)
            .map(|i| low_nm + f64::from(i))
            .map(|nm| (nm, self.at_nm(nm)))
            .collect();
        let source = format!(
            "edge: half of the peak at {:.1} nm, peak {:.0} %, width {} nm; a smooth model, not a measurement",
            self.half_peak_nm,
            100.0 * self.peak,
            self.width_nm
        );
        Curve::from_values(CurveKind::Transmittance, source, &values)
    }
}

/// How far above the half-peak wavelength a share of the peak is reached, nm.
fn above_half_peak_nm(share: f64, width_nm: f64) -> Result<f64, EdgeError> {
    if !(share > 0.0 && share < 1.0) {
        return Err(EdgeError::Level { share });
    }
    // share = 1/(1 + exp(−u/w)), so u = w·ln(share/(1 − share)).
    Ok(width_nm * libm::log(share / (1.0 - share)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_glass_goes_by_three_numbers() {
        // Source: "The importance of using a common relative reference level",
        // an edge named at different levels, on the assumed edge w = 6 nm centred
        // at 720 nm, peak 0.8: 40 % T at 720, 50 % T at 723, 10 % T at 708.
        let glass = LongPass::from_text("720:half-peak", 0.8, 6.0).unwrap();
        // 0.5 nm: whole nanometres are printed.
        for (level, printed) in [
            (EdgeLevel::Transmittance(0.4), 720.0),
            (EdgeLevel::Transmittance(0.5), 723.0),
            (EdgeLevel::Transmittance(0.1), 708.0),
            (EdgeLevel::StopsBelowPeak(3.0), 708.0),
        ] {
            let ours = glass.edge_at(level).unwrap().to_nm();
            assert!((ours - printed).abs() < 0.5, "{level:?}: {ours}");
        }
        for text in [
            "723.065:50%",
            "708.325:10%",
            "708.325:-3stops",
            "720:50%ofpeak",
        ] {
            let other = LongPass::from_text(text, 0.8, 6.0).unwrap();
            let off = other.half_peak_nm - 720.0;
            assert!(off.abs() < 0.01, "{text}: {off}");
        }
    }

    #[test]
    fn shapes_share_half_peak_and_slope_and_differ_in_the_foot() {
        let edge = LongPass::from_text("700:half-peak", 0.9, 7.0).unwrap();
        let at =
            |nm: f64, shape| edge.transmittance_shaped(Nanometres::from_nm(nm).unwrap(), shape);
        for shape in EdgeShape::ALL {
            assert!((at(700.0, shape) - 0.45).abs() < 1e-12, "{shape:?}");
            // By hand: P/(4w) = 0.9/28 = 0.032143 per nm; 1e-4: a difference over 0.2 nm.
            let slope = (at(700.1, shape) - at(699.9, shape)) / 0.2;
            assert!((slope - 0.032_143).abs() < 1e-5, "{shape:?}: {slope}");
        }
        // By hand, 28 nm = 4 w below: 0.9/(1 + e^4) = 0.016188; 0.9·2^−e^(4/1.386294)
        // = 0.9·2^−17.917 = 3.636e-6.
        assert!((at(672.0, EdgeShape::Logistic) - 0.016_188).abs() < 1e-6);
        assert!((at(672.0, EdgeShape::Absorbing) - 3.636e-6).abs() < 2e-8);
        // Far out nothing overflows.
        assert_eq!(at(1.0, EdgeShape::Absorbing), 0.0);
    }

    #[test]
    fn an_edge_without_a_level_is_asked_about() {
        let error = LongPass::from_text("720", 0.9, 6.0).unwrap_err();
        assert!(matches!(error, EdgeError::NoLevel { nm } if nm == 720.0));
        assert!(LongPass::from_text("720:95%", 0.9, 6.0).is_err());
        assert!(LongPass::from_text("720:0%", 0.9, 6.0).is_err());
        assert!(LongPass::from_text("red:50%", 0.9, 6.0).is_err());
        assert!(LongPass::from_text("720:50%", 1.5, 6.0).is_err());
        assert!(LongPass::from_text("720:50%", 0.9, 0.0).is_err());
        assert!(LongPass::from_text("-720:50%", 0.9, 6.0).is_err());
    }
}
