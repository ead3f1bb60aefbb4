//! Why two pictures could not be laid on each other.

/// Why a registration was refused.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RegistrationError {
    /// The numbers of the picture do not fit its size.
    #[error("a picture of {width} × {height} pixels was expected, found {found} values")]
    Size {
        /// Pixels in a row.
        width: usize,
        /// Rows.
        height: usize,
        /// Values given.
        found: usize,
    },
    /// Too few pixels to find anything.
    #[error(
        "a picture of {width} × {height} pixels is too small to register; each side must have at least {needed}"
    )]
    TooSmall {
        /// Pixels in a row.
        width: usize,
        /// Rows.
        height: usize,
        /// Pixels a side must have.
        needed: usize,
    },
    /// One picture shows no edges above its grain.
    #[error(
        "the {which} frame is too blank: its tones vary by {contrast:.3}, grain alone by {grain:.3}"
    )]
    TooBlank {
        /// "first" or "second".
        which: &'static str,
        /// Standard deviation of the smoothed picture within its fields, as a quarter
        /// of them exceed it, in the values given.
        contrast: f64,
        /// Standard deviation that grain leaves in the smoothed picture.
        grain: f64,
    },
    /// No place is better than chance.
    #[error(
        "too little in common: edges agree {above_chance:.1} times the scatter of chance, {needed:.0} are needed"
    )]
    TooLittleInCommon {
        /// Agreement over that of wrong places, in their standard deviations.
        above_chance: f64,
        /// What it must be.
        needed: f64,
    },
    /// What agrees does not hold the pictures in every direction.
    #[error(
        "too little in common: the place is known to {uncertainty_px:.1} pixels only, {allowed_px:.1} are allowed"
    )]
    TooUncertain {
        /// Largest standard uncertainty at a corner of the first picture.
        uncertainty_px: f64,
        /// What it may be.
        allowed_px: f64,
    },
    /// Two halves of the picture ask for different places.
    #[error(
        "two halves of the blocks disagree by {apart_px:.1} pixels where {allowed_px:.1} could be chance"
    )]
    HalvesDisagree {
        /// Largest distance between what the halves say.
        apart_px: f64,
        /// What chance could do.
        allowed_px: f64,
    },
    /// So few blocks agree that they may do so by chance.
    #[error("too little in common: {agreeing} blocks agree, {needed} are needed")]
    TooFewBlocks {
        /// Blocks that agree with the fit.
        agreeing: usize,
        /// Blocks that must.
        needed: usize,
    },
}
