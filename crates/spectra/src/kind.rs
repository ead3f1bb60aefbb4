//! What the values of a spectral curve are.
//!
//! A curve carries its kind, so that a density is never multiplied as if it
//! were a transmittance and a logarithm never integrated as if it were linear.

use core::fmt;

/// The quantity and scale of a curve's values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CurveKind {
    /// Share of light that passes, losses at the surfaces included; 0 to 1.
    Transmittance,
    /// Share that passes the inside of a glass, without its surfaces; 0 to 1.
    InternalTransmittance,
    /// Share of light that comes back; 0 to 1.
    Reflectance,
    /// −log10 of a transmittance; absorbance by its chemical name.
    TransmissionDensity,
    /// Power per nm at any scale.
    RelativePower,
    /// Spectral irradiance, W/m² per nm.
    SpectralIrradiance,
    /// Sensitivity of a film to energy, linear, at any scale.
    Sensitivity,
    /// log10 of the sensitivity of a film to energy.
    LogSensitivity,
    /// Luminous efficiency; 1 at its greatest.
    LuminousEfficiency,
}

impl CurveKind {
    /// Gives the kind in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Transmittance => "transmittance",
            Self::InternalTransmittance => "internal transmittance",
            Self::Reflectance => "reflectance",
            Self::TransmissionDensity => "transmission density",
            Self::RelativePower => "relative power per nm",
            Self::SpectralIrradiance => "spectral irradiance, W/m² per nm",
            Self::Sensitivity => "sensitivity",
            Self::LogSensitivity => "log10 of sensitivity",
            Self::LuminousEfficiency => "luminous efficiency",
        }
    }

    /// Gives the values that can occur: lowest and highest.
    ///
    /// A measured share may come out a little above 1, so 1.05 is allowed. Reflectance
    /// is measured against a white tile, which papers with brighteners outshine: up to
    /// 1.25. No densitometer or film gives a density outside −0.1 to 12.
    #[must_use]
    pub fn possible(self) -> (f64, f64) {
        match self {
            Self::Transmittance | Self::InternalTransmittance => (0.0, 1.05),
            Self::Reflectance => (0.0, 1.25),
            Self::TransmissionDensity => (-0.1, 12.0),
            Self::LogSensitivity => (-30.0, 30.0),
            Self::RelativePower
            | Self::SpectralIrradiance
            | Self::Sensitivity
            | Self::LuminousEfficiency => (0.0, f64::MAX),
        }
    }

    /// Gives the kind that [`CurveKind::to_linear`] leads to.
    #[must_use]
    pub fn linear(self) -> Self {
        match self {
            Self::TransmissionDensity => Self::Transmittance,
            Self::LogSensitivity => Self::Sensitivity,
            other => other,
        }
    }

    /// Gives a value of this kind on the linear scale: T = 10^−D, S = 10^(log S).
    #[must_use]
    pub fn to_linear(self, value: f64) -> f64 {
        match self {
            Self::TransmissionDensity => libm::pow(10.0, -value),
            Self::LogSensitivity => libm::pow(10.0, value),
            _ => value,
        }
    }
}

impl fmt::Display for CurveKind {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.words())
    }
}
