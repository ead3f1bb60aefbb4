//! What a file is read for, and the answers a caller gives where the file is silent.
//!
//! A table of numbers seldom says all that is needed: 4900 may be ångströms,
//! 0.9 may be a fraction, a per cent or a density. Nothing here chooses for the
//! reader of the file: a silent file is asked about, and the answer comes back
//! in [`Answers`].

use core::fmt;

/// What the curve in a file is going to be used as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// A filter's transmittance.
    Filter,
    /// A subject's reflectance or a leaf's transmittance.
    Subject,
    /// A film's spectral sensitivity.
    Film,
    /// A light's spectral power; only its shape counts.
    Light,
}

impl Purpose {
    /// The scales that values of this kind are written in.
    #[must_use]
    pub fn scales(self) -> &'static [ValueScale] {
        match self {
            Self::Filter | Self::Subject => &[
                ValueScale::Fraction,
                ValueScale::Percent,
                ValueScale::Density,
            ],
            Self::Film => &[ValueScale::Linear, ValueScale::Log10],
            Self::Light => &[ValueScale::Linear],
        }
    }

    /// The thing in words: "filter".
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Filter => "filter",
            Self::Subject => "subject",
            Self::Film => "film",
            Self::Light => "light",
        }
    }
}

/// The unit of the first column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WavelengthUnit {
    /// nm.
    Nanometres,
    /// µm, 1000 nm.
    Micrometres,
    /// Å, 0.1 nm.
    Angstroms,
    /// Waves in a centimetre; λ nm = 10⁷ / ν.
    PerCentimetre,
}

impl WavelengthUnit {
    /// Every unit that can be read, in the order asked about.
    pub const ALL: [Self; 4] = [
        Self::Nanometres,
        Self::Micrometres,
        Self::Angstroms,
        Self::PerCentimetre,
    ];

    /// The word it is answered by.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Nanometres => "nm",
            Self::Micrometres => "um",
            Self::Angstroms => "angstrom",
            Self::PerCentimetre => "per-cm",
        }
    }

    /// The unit a word answers with; `None` for any other word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.word() == word)
    }

    /// A number in this unit as a wavelength in nm; infinite for a wave number of 0.
    pub(crate) fn to_nm(self, number: f64) -> f64 {
        match self {
            Self::Nanometres => number,
            Self::Micrometres => number * 1000.0,
            Self::Angstroms => number / 10.0,
            Self::PerCentimetre => 1.0e7 / number,
        }
    }
}

/// The scale that values are written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueScale {
    /// Transmittance or reflectance from 0 to 1.
    Fraction,
    /// The same from 0 to 100.
    Percent,
    /// −log10 of the same: density, or absorbance by its chemical name.
    Density,
    /// Proportional to power or sensitivity.
    Linear,
    /// log10 of sensitivity.
    Log10,
}

impl ValueScale {
    /// Every scale, in the order asked about.
    pub const ALL: [Self; 5] = [
        Self::Fraction,
        Self::Percent,
        Self::Density,
        Self::Linear,
        Self::Log10,
    ];

    /// The word it is answered by.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Fraction => "fraction",
            Self::Percent => "percent",
            Self::Density => "density",
            Self::Linear => "linear",
            Self::Log10 => "log10",
        }
    }

    /// The scale a word answers with; `None` for any other word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|scale| scale.word() == word)
    }

    /// The scale in words: "fractions from 0 to 1".
    pub(crate) fn in_words(self) -> &'static str {
        match self {
            Self::Fraction => "fractions from 0 to 1",
            Self::Percent => "per cent",
            Self::Density => "densities (absorbances)",
            Self::Linear => "linear values",
            Self::Log10 => "base-10 logarithms",
        }
    }
}

impl fmt::Display for WavelengthUnit {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.word())
    }
}

impl fmt::Display for ValueScale {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.word())
    }
}

/// What the caller says about a file; whatever is `None` the file must say itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answers {
    /// The unit of the first column.
    pub wavelength_unit: Option<WavelengthUnit>,
    /// The scale of the values.
    pub value_scale: Option<ValueScale>,
    /// The column of values: its name, or its number counted from 1 with the wavelengths as 1.
    pub column: Option<String>,
    /// The spectrum in a file of several: its title or sample, or its number counted from 1.
    pub part: Option<String>,
}
