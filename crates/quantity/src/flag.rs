//! The one list of flags a value can carry.
//!
//! A flag has one name, one meaning and one sentence. A new flag is added here
//! and nowhere else. NaN is not a flag.

macro_rules! flags {
    ($($(#[$doc:meta])* $variant:ident, $name:literal, $meaning:literal;)*) => {
        /// Something a reader must know about a value.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Flag { $($(#[$doc])* #[doc = $meaning] $variant,)* }

        impl Flag {
            /// Every flag there is.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Gives the stable name used in files and JSON.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// Gives the one sentence that says what the flag means.
            #[must_use]
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$variant => $meaning,)* }
            }
        }
    };
}

flags! {
    // --- scans ---
    Clipped, "clipped", "some pixels lie at an end of the code scale or where levels were cut off, so the value is a limit";
    OutsideTablet, "outside_tablet", "the value lies outside the densities of the step tablet, so it is a limit";
    Uncalibrated, "uncalibrated", "no step tablet calibrates this scan, so no absolute density can be given";
    TabletOutOfOrder, "tablet_out_of_order", "the code values of the tablet's steps do not follow their densities";
    TabletMisfit, "tablet_misfit", "the readings of the tablet's steps do not follow its densities as closely as stated, so outlines, tablet or table may be wrong";
    SameFile, "same_file", "another scan is the same file to the last bit, so one of the two shows the wrong negative";
    LevelsChanged, "levels_changed", "the same clear film reads differently in scans that should be alike, so levels or exposure were changed between them";
    Comb, "comb", "the histogram has regular gaps: levels were stretched after capture";
    EightBitOrigin, "eight_bit_origin", "a 16-bit file holds at most 256 different values: it was made from 8 bits";
    UnknownTone, "unknown_tone", "the file does not say how code value follows light";
    Lossy, "lossy", "the file was compressed with loss";
    Bilevel, "bilevel", "the file holds black and white only, so no density can be read from it";
    LossTraces, "loss_traces", "the pixels show the blocks of a compression with loss, though the file does not say so";
    Resampled, "resampled", "pixels were interpolated to another size after capture, so fewer of them are independent";
    Sharpened, "sharpened", "edges overshoot by a halo: the scan was sharpened, so readings close to edges are false";
    InvertedPositive, "inverted_positive", "the picture is lighter than its clear film: the negative was turned into a positive";
    ToneContradicted, "tone_contradicted", "the tablet's steps do not follow light as the declared tone says";
    ScannerFlare, "scanner_flare", "light scattered in the scanner is a large part of what the densest steps of the tablet read";
    UnevenLight, "uneven_light", "clear film or bare light reads differently from place to place in the scan, so lens, light table or lamp are uneven";
    CoarseQuantisation, "coarse_quantisation", "one code value is a large step of density here";
    FewPixels, "few_pixels", "too few pixels for a dependable mean";
    UnevenPatch, "uneven_patch", "the density is not even across the patch";
    SeveralImages, "several_images", "the file holds more than one image; only the named one was read";
    PatchCarried, "patch_carried", "the outline was drawn on another frame and carried here by laying the two frames on each other; it waits for a look at the picture";
    PatchByHolder, "patch_by_holder", "the frame shows too little to be laid on the other, so the outline lies at the same place of the scan as there";
    SignalReversed, "signal_reversed", "code values rise with density in this scan";
    // --- sensitometry ---
    NoFilmCurve, "no_film_curve", "a reading lies where no film curve through its neighbours can pass";
    NominalTablet, "nominal_tablet", "the tablet's densities are nominal, not certified";
    BaseFromLowestReading, "base_from_lowest_reading", "base+fog was taken from the lowest reading, not from unexposed film";
    BaseFromToe, "base_from_toe", "base+fog was inferred from the shape of the toe, not read from unexposed film";
    NotIsoSpeed, "not_iso_speed", "the contrast condition of ISO 6 does not hold, so the number is an exposure index and not an ISO speed";
    RelativeExposure, "relative_exposure", "the exposure scale is relative, so no speed in lux seconds can be given";
    RelativeDensity, "relative_density", "the density scale is relative, so no criterion of absolute density can be given";
    Extrapolated, "extrapolated", "the value lies outside the data and was extrapolated on request";
    OutsideCurve, "outside_curve", "the readings do not reach far enough for this criterion";
    BeyondFormula, "beyond_formula", "outside the range in which the formula is known to hold";
    // --- exposure and records ---
    MarkedTime, "marked_time", "the shutter time is the marked one, not a measured one";
    NoReciprocityLaw, "no_reciprocity_law", "the time lies where films lose speed, and no reciprocity law is given";
    EdgeWithoutLevel, "edge_without_level", "the filter's edge is named without the level it is quoted at";
    ThroughFilter, "through_filter", "the light was read through the filter: the reading follows the meter's cell, not the film, and is kept as a light record only";
    EstimatedLight, "estimated_light", "no meter was used: the light was estimated from the sky by a rule";
    SmallApertureGain, "small_aperture_gain", "the shutter time holds a leaf shutter's gain at small apertures, taken from a table and not measured";
    NoReading, "no_reading", "no light reading is recorded";
    // --- findings ---
    Blank, "blank", "no density above base+fog could be told, so the frame is a limit";
    Blocked, "blocked", "the density is beyond what can be read, so the frame is a limit";
    EndOfBracket, "end_of_bracket", "the best frame is the end of the bracket: by eye that is only a bound, and here the answer rests on the matched densities";
    NoAnchor, "no_anchor", "no unfiltered anchor frame in this light";
    NoControl, "no_control", "no control frame of this kind";
    RestsOnPrior, "rests_on_prior", "the answer rests more on what was assumed than on readings";
    Outlier, "outlier", "it disagrees with all others and was given less weight";
    BoxSpeedDisagrees, "box_speed_disagrees", "the readings and the box speed contradict each other: light reading, meter, film or development may not be what the record says";
    FactorWithReciprocity, "factor_with_reciprocity", "filter factor and reciprocity failure cannot be told apart here";
    LightUnknown, "light_unknown", "nothing recorded ties the light on this frame to that on the others";
    ReciprocityLast, "reciprocity_last", "frames here were exposed so long that the film lost speed, and the EI leaves that loss out: work the time out from the EI, then correct it for reciprocity";
    RecordContradicted, "record_contradicted", "the densities of the frame and its recorded exposure contradict each other";
}

/// A set of flags, sorted and without repeats.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Flags(Vec<Flag>);

impl Flags {
    /// Gives the empty set.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// Adds a flag.
    pub fn insert(&mut self, flag: Flag) {
        if let Err(place) = self.0.binary_search(&flag) {
            self.0.insert(place, flag);
        }
    }

    /// Adds every flag of another set.
    pub fn extend(&mut self, other: &Self) {
        for flag in &other.0 {
            self.insert(*flag);
        }
    }

    /// Tells whether the flag is set.
    #[must_use]
    pub fn contains(&self, flag: Flag) -> bool {
        self.0.binary_search(&flag).is_ok()
    }

    /// Tells whether no flag is set.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Gives the flags in their fixed order.
    pub fn iter(&self) -> impl Iterator<Item = Flag> + '_ {
        self.0.iter().copied()
    }
}

impl FromIterator<Flag> for Flags {
    fn from_iter<T: IntoIterator<Item = Flag>>(flags: T) -> Self {
        let mut set = Self::none();
        for flag in flags {
            set.insert(flag);
        }
        set
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_flag_has_its_own_name_and_sentence() {
        let names: BTreeSet<_> = Flag::ALL.iter().map(|f| f.name()).collect();
        let meanings: BTreeSet<_> = Flag::ALL.iter().map(|f| f.meaning()).collect();
        assert_eq!(names.len(), Flag::ALL.len());
        assert_eq!(meanings.len(), Flag::ALL.len());
    }

    #[test]
    fn a_set_keeps_one_of_each() {
        let set: Flags = [Flag::Blank, Flag::Clipped, Flag::Blank]
            .into_iter()
            .collect();
        assert_eq!(set.iter().collect::<Vec<_>>(), [Flag::Clipped, Flag::Blank]);
    }
}
