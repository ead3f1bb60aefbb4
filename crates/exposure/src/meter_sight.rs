//! Does the meter see what the film sees?
//!
//! A meter's cell has a spectral range of its own. Read bare, it sees about what the eye
//! sees, and a tested factor leads from there to the film. Read through a filter, it
//! follows its cell: through one that the eye can see through, the reading can stand
//! in for the factor with care; through an opaque one it says nothing about the film.
//!
//! Source: a published spectral response of a selenium meter (about 4 stops down at 250
//! and at 750 nm) and the rule to meter bare and to apply a tested factor (common
//! practice).

/// What a meter sees with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cell {
    /// Selenium.
    Selenium,
    /// Cadmium sulphide.
    CadmiumSulphide,
    /// Silicon with a filter that keeps infrared out.
    SiliconCorrected,
    /// Silicon without one.
    SiliconBare,
    /// Not known.
    NotStated,
}

impl Cell {
    /// Every cell.
    pub const ALL: [Self; 5] = [
        Self::Selenium,
        Self::CadmiumSulphide,
        Self::SiliconCorrected,
        Self::SiliconBare,
        Self::NotStated,
    ];

    /// Says what the cell does with near-infrared light.
    #[must_use]
    pub fn sentence(self) -> &'static str {
        match self {
            Self::Selenium => {
                "a selenium cell is about 4 stops down at 750 nm: it sees little near-infrared"
            }
            Self::CadmiumSulphide => {
                "a cadmium sulphide cell reaches further into the infrared than the eye"
            }
            Self::SiliconCorrected => {
                "a silicon cell behind its own filter sees about what the eye sees"
            }
            Self::SiliconBare => {
                "a bare silicon cell sees more near-infrared than visible light: leaves and lamps read too bright"
            }
            Self::NotStated => "what the meter's cell sees is not known",
        }
    }
}

/// What stood before the meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadThrough {
    /// Nothing.
    Nothing,
    /// A filter the eye can see through: yellow to red.
    SeeThrough,
    /// A filter that is black to the eye: near-infrared.
    Opaque,
}

/// What a reading can be used for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadingUse {
    /// For the exposure, with the filter's factor.
    WithFactor,
    /// For the exposure without the filter's factor, which it holds as the cell sees it.
    InsteadOfFactor,
    /// As a record of the light for this meter alone; not for the exposure.
    LightRecordOnly,
}

/// Gives what a reading can be used for.
#[must_use]
pub fn reading_use(through: ReadThrough) -> ReadingUse {
    match through {
        ReadThrough::Nothing => ReadingUse::WithFactor,
        ReadThrough::SeeThrough => ReadingUse::InsteadOfFactor,
        ReadThrough::Opaque => ReadingUse::LightRecordOnly,
    }
}

/// Says what a reading can and can't mean.
#[must_use]
pub fn reading_sentence(cell: Cell, through: ReadThrough) -> String {
    let what = match through {
        ReadThrough::Nothing => {
            "read without the filter: good for the exposure with a factor tested on this film in this light; it knows nothing of the near-infrared in the light"
        }
        ReadThrough::SeeThrough => {
            "read through the filter: the meter gave the filter the factor of its cell, not of the film, so the factor is not applied again and the exposure can be a stop off"
        }
        ReadThrough::Opaque => {
            "read through an opaque filter: the reading follows the cell and not the film, and two meters differ by stops; it is a light record tied to this meter and not used for the exposure"
        }
    };
    format!("{what}; {}", cell.sentence())
}
