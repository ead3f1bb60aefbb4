//! The list of checks: what each is called, what it means, what follows.

use super::finding::HonestyFinding;
use quantity::Flag;

/// What follows for the densities of a scan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Consequence {
    /// The densities stand as they are.
    Fine,
    /// They stand, with a wider uncertainty.
    Wider,
    /// Only differences to the scan's own clear film can be told.
    RelativeOnly,
    /// No value is given, at most a limit.
    Refused,
}

impl Consequence {
    /// Gives the stable name used in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fine => "fine",
            Self::Wider => "wider_uncertainty",
            Self::RelativeOnly => "relative_only",
            Self::Refused => "refused",
        }
    }

    /// Gives it in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Fine => "densities stand",
            Self::Wider => "densities are less certain",
            Self::RelativeOnly => "relative densities only",
            Self::Refused => "no value, at most a limit",
        }
    }
}

macro_rules! checks {
    ($($(#[$doc:meta])* $variant:ident, $name:literal, $flags:expr, $with_tablet:ident, $without:ident, $meaning:literal;)*) => {
        /// A check that a scan is what it seems.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Check { $($(#[$doc])* #[doc = $meaning] $variant,)* }

        impl Check {
            /// Every check there is.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Gives the stable name used in JSON.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// Gives the name as words.
            #[must_use]
            pub fn words(self) -> String {
                self.name().replace('_', " ")
            }

            /// Gives the one sentence that says what it means when it finds something.
            #[must_use]
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$variant => $meaning,)* }
            }

            /// Gives the flags it raises.
            #[must_use]
            pub fn flags(self) -> &'static [Flag] {
                match self { $(Self::$variant => $flags,)* }
            }

            /// Gives what follows for the densities when it found something.
            #[must_use]
            pub fn consequence(self, calibrated: bool) -> Consequence {
                match self {
                    $(Self::$variant => if calibrated { Consequence::$with_tablet } else { Consequence::$without },)*
                }
            }
        }
    };
}

checks! {
    Levels, "levels", &[Flag::Comb], Wider, RelativeOnly,
        "the codes were stretched, squeezed or bent by a curve after capture";
    EightBits, "eight_bits", &[Flag::EightBitOrigin], Wider, RelativeOnly,
        "a file of more bits was made from 8 bits, so a code is a large step in the dense parts";
    AutoExposure, "auto_exposure", &[Flag::LevelsChanged], Wider, Wider,
        "exposure or levels were set for each frame by itself, so equal codes are not equal densities";
    Clipping, "clipping", &[Flag::Clipped], Refused, Refused,
        "light or dark parts lie at the end of the scale, where only a limit can be told";
    ToneUnknown, "tone_unknown", &[Flag::UnknownTone], Fine, RelativeOnly,
        "nothing says how codes follow light; a tablet in the scan takes the place of that";
    ToneContradicted, "tone_contradicted", &[Flag::ToneContradicted], Fine, RelativeOnly,
        "the tablet's steps do not follow light as the declared tone says, so other scans by that tone are off";
    ToneOrder, "tone_order", &[Flag::TabletOutOfOrder], Wider, Refused,
        "code values do not follow the order of the tablet's densities: the tone curve turns, or outlines are swapped";
    Tablet, "tablet", &[Flag::TabletMisfit], Wider, Refused,
        "the tablet's readings miss its table by more than both state";
    Inverted, "inverted", &[Flag::InvertedPositive, Flag::SignalReversed], Wider, Refused,
        "the negative was turned into a positive, whose dense parts are squeezed into few codes";
    Loss, "loss", &[Flag::Lossy, Flag::LossTraces], Wider, Wider,
        "compression with loss has moved code values, most in fine detail and near edges";
    Sharpening, "sharpening", &[Flag::Sharpened], Fine, Fine,
        "edges overshoot by a halo: keep patches some ten pixels off edges, where means are not moved";
    Resampling, "resampling", &[Flag::Resampled], Fine, Fine,
        "pixels were interpolated to another size: means stand, but there are fewer independent pixels than it seems";
    Flare, "flare", &[Flag::ScannerFlare], Wider, Wider,
        "light from bright film is scattered onto dense parts, which then read too thin";
    UnevenLight, "uneven_light", &[Flag::UnevenLight], Wider, Wider,
        "lens, light table or lamp give less light in one place than in another, so film of one density reads differently there";
}

/// How a check ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// It looked and found nothing.
    Passed,
    /// It found something; the evidence in a sentence.
    Found(String),
    /// It could not look, for this reason.
    NotLooked(&'static str),
}

impl Outcome {
    /// Gives the stable name used in JSON.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Found(_) => "found",
            Self::NotLooked(_) => "not_looked",
        }
    }

    /// Gives it in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::Passed => "nothing found",
            Self::Found(_) => "found",
            Self::NotLooked(_) => "could not be looked for",
        }
    }

    /// Gives what was seen, or why it could not look.
    #[must_use]
    pub fn reason(&self) -> Option<&str> {
        match self {
            Self::Passed => None,
            Self::Found(evidence) => Some(evidence),
            Self::NotLooked(why) => Some(why),
        }
    }
}

/// A check with how it ended.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckResult {
    /// The check.
    pub check: Check,
    /// How it ended.
    pub outcome: Outcome,
    /// What follows for the densities: fine unless something was found.
    pub consequence: Consequence,
}

impl CheckResult {
    /// Says how it ended and what follows: `found: codes are missing (relative densities only)`.
    #[must_use]
    pub fn words(&self) -> String {
        let outcome = self.outcome.words();
        match &self.outcome {
            Outcome::Passed => outcome.to_owned(),
            Outcome::Found(evidence) => {
                format!("{outcome}: {evidence} ({})", self.consequence.words())
            }
            Outcome::NotLooked(why) => format!("{outcome}: {why}"),
        }
    }
}

/// What the checks of a scan had to go on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Looked {
    /// A tablet calibrates the scan.
    pub calibrated: bool,
    /// The tone is known, so that signals are light.
    pub tone_known: bool,
    /// An outline of clear film was given.
    pub clear_film: bool,
    /// Other scans with clear film were compared.
    pub other_scans: bool,
    /// Rows and columns enough for rhythms.
    pub texture: bool,
    /// Steep edges enough for halos.
    pub edges: bool,
    /// Rebate or bare light was read at several places.
    pub light: bool,
    /// The codes are a sensor's own numbers.
    pub sensor: bool,
    /// A patch or a step of the tablet is clipped, not only holder or open light.
    pub patches_clipped: bool,
}

/// Gives every check with how it ended, by the findings of a scan.
#[must_use]
pub fn check_results(findings: &[HonestyFinding], looked: Looked) -> Vec<CheckResult> {
    Check::ALL
        .iter()
        .map(|check| {
            let evidence: Vec<&str> = findings
                .iter()
                .filter(|f| check.flags().contains(&f.flag))
                .map(|f| f.evidence.as_str())
                .collect();
            let missing = match check {
                Check::Levels | Check::EightBits if looked.sensor => Some(
                    "the numbers are the sensor's own, which no program has changed; gaps in them are the camera's",
                ),
                Check::AutoExposure if !looked.other_scans => {
                    Some("no other scan of the same film and settings was compared")
                }
                Check::ToneContradicted | Check::Flare if !looked.calibrated => {
                    Some("no step tablet calibrates the scan")
                }
                Check::ToneContradicted | Check::Flare if !looked.tone_known => {
                    Some("the tone is not known")
                }
                Check::ToneOrder | Check::Tablet if !looked.calibrated => {
                    Some("no step tablet calibrates the scan")
                }
                Check::Inverted if !looked.clear_film && !looked.calibrated => {
                    Some("neither clear film nor a tablet is outlined")
                }
                Check::Loss | Check::Resampling if !looked.texture => {
                    Some("the picture is too small")
                }
                Check::Sharpening if !looked.edges => {
                    Some("steep edges of two kinds are needed: against the holder, within the film, between the tablet's steps")
                }
                Check::UnevenLight if !looked.light => Some(
                    "no clear rebate and no bare light beside film is seen at several places, or the tone is not known",
                ),
                _ => None,
            };
            let (outcome, consequence) = if !evidence.is_empty() {
                let harmless = *check == Check::Clipping && !looked.patches_clipped;
                let consequence = if harmless {
                    Consequence::Fine
                } else {
                    check.consequence(looked.calibrated)
                };
                (Outcome::Found(evidence.join("; ")), consequence)
            } else if let Some(why) = missing {
                (Outcome::NotLooked(why), Consequence::Fine)
            } else {
                (Outcome::Passed, Consequence::Fine)
            };
            CheckResult {
                check: *check,
                outcome,
                consequence,
            }
        })
        .collect()
}

/// What no check of a scan can find, said with every calibrated density.
pub const EMULSION_LIMIT: &str = "a tablet of another emulsion scatters light differently from the film: in a scanner with \
    directed light densities may be off in proportion, by a few hundredths at 1 and some tenths at 3, and nothing in the scan \
    shows it; a tablet exposed on the same film would";

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_check_has_its_own_name_sentence_and_flags() {
        let names: BTreeSet<_> = Check::ALL.iter().map(|c| c.name()).collect();
        let meanings: BTreeSet<_> = Check::ALL.iter().map(|c| c.meaning()).collect();
        let flags: Vec<_> = Check::ALL.iter().flat_map(|c| c.flags()).collect();
        let different: BTreeSet<_> = flags.iter().collect();
        assert_eq!(names.len(), Check::ALL.len());
        assert_eq!(meanings.len(), Check::ALL.len());
        assert_eq!(flags.len(), different.len());
    }

    #[test]
    fn a_check_that_had_nothing_to_go_on_does_not_pass() {
        let results = check_results(&[], Looked::default());
        let of = |check: Check| results.iter().find(|r| r.check == check).unwrap();
        assert!(matches!(of(Check::Flare).outcome, Outcome::NotLooked(_)));
        assert!(matches!(
            of(Check::Sharpening).outcome,
            Outcome::NotLooked(_)
        ));
        assert_eq!(of(Check::Clipping).outcome, Outcome::Passed);
    }

    #[test]
    fn a_sensors_own_numbers_were_not_looked_at_for_changed_levels() {
        let looked = Looked {
            sensor: true,
            ..Looked::default()
        };
        let results = check_results(&[], looked);
        for result in &results[..2] {
            assert!(
                matches!(result.outcome, Outcome::NotLooked(why) if why.contains("sensor's own")),
                "{result:?}"
            );
        }
    }

    #[test]
    fn a_tablet_makes_levels_a_matter_of_uncertainty() {
        let found = [HonestyFinding::new(Flag::Comb, "gaps".to_owned())];
        let result = |calibrated| {
            let looked = Looked {
                calibrated,
                ..Looked::default()
            };
            check_results(&found, looked)[0].consequence
        };
        assert_eq!(result(true), Consequence::Wider);
        assert_eq!(result(false), Consequence::RelativeOnly);
    }
}
