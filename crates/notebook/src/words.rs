//! The words that stand for states: in `test.toml` and in CSV columns alike.

use crate::keys::{Field, Reader, What, Written, word};
use quantity::Bound;
use record::{EdgeLevel, FrameRole, MeterCell, MeterMode, PatchRole, Response, Seen, Sky};
use serde_json::{Value, json};
use toml::Spanned;
use toml::de::DeValue;

/// A state that is written as one word.
pub(crate) trait Words: Copy + PartialEq + 'static {
    /// Every word with what it stands for.
    const WORDS: &'static [(&'static str, Self)];

    /// Gives the word for it.
    fn word(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(_, state)| *state == self)
            .map_or_else(
                || unreachable!("every state has its word in the list beside it"),
                |(word, _)| *word,
            )
    }
}

macro_rules! words {
    ($($type:ty { $($word:literal => $state:expr,)* })*) => { $(
        impl Words for $type {
            const WORDS: &'static [(&'static str, Self)] = &[$(($word, $state)),*];
        }

        impl Field for $type {
            fn expected() -> String {
                let words: Vec<_> = Self::WORDS.iter().map(|(w, _)| format!("\"{w}\"")).collect();
                format!("one of {}", words.join(", "))
            }
            fn schema() -> Value {
                let words: Vec<_> = Self::WORDS.iter().map(|(w, _)| *w).collect();
                json!({ "type": "string", "enum": words })
            }
            fn read(
                value: &Spanned<DeValue<'_>>,
                what: &What,
                reader: &mut Reader<'_>,
            ) -> Option<Self> {
                word(value, what, reader, Self::WORDS)
            }
            fn written(&self) -> Written {
                Written::Inline(format!("\"{}\"", self.word()))
            }
        }
    )* };
}

/// What a tone is written as; `gamma` has its number in a key of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ToneWord {
    /// What the file declares.
    AsDeclared,
    /// Proportional to light.
    Linear,
    /// A power.
    Gamma,
    /// sRGB.
    Srgb,
    /// Known not to be known.
    Unknown,
}

/// Where the next step of a tablet lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Direction {
    /// To the right of the one before.
    Right,
    /// To the left.
    Left,
    /// Below.
    Down,
    /// Above.
    Up,
}

/// A tablet known by its number of steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NominalTablet {
    /// 21 steps of 0.15.
    Half,
    /// 31 steps of 0.10.
    Third,
    /// 11 steps of 0.30.
    Whole,
}

words! {
    FrameRole {
        "anchor" => Self::Anchor,
        "bracket" => Self::Bracket,
        "red_control" => Self::RedControl,
        "unexposed" => Self::Unexposed,
        "tablet_sheet" => Self::TabletSheet,
        "repeat" => Self::Repeat,
    }
    Sky {
        "clear_sun" => Self::ClearSun,
        "thin_cloud" => Self::ThinCloud,
        "broken_cloud" => Self::BrokenCloud,
        "overcast" => Self::Overcast,
        "open_shade" => Self::OpenShade,
        "under_leaves" => Self::UnderLeaves,
        "lamp" => Self::Lamp,
        "not_stated" => Self::NotStated,
    }
    MeterMode {
        "incident" => Self::Incident,
        "spot" => Self::Spot,
        "averaging" => Self::Averaging,
    }
    MeterCell {
        "silicon" => Self::Silicon,
        "cadmium_sulphide" => Self::CadmiumSulphide,
        "selenium" => Self::Selenium,
        "not_stated" => Self::NotStated,
    }
    EdgeLevel {
        "half_transmittance" => Self::HalfTransmittance,
        "half_of_peak" => Self::HalfOfPeak,
        "ten_percent" => Self::TenPercent,
        "minus_three_stops" => Self::MinusThreeStops,
        "not_stated" => Self::NotStated,
    }
    Response {
        "density" => Self::Density,
        "relative_density" => Self::RelativeDensity,
        "log_signal" => Self::LogSignal,
    }
    Seen {
        "blank" => Self::Blank,
        "trace" => Self::Trace,
        "image" => Self::Image,
        "printable" => Self::Printable,
    }
    ToneWord {
        "as_declared" => Self::AsDeclared,
        "linear" => Self::Linear,
        "gamma" => Self::Gamma,
        "srgb" => Self::Srgb,
        "unknown" => Self::Unknown,
    }
    Direction {
        "right" => Self::Right,
        "left" => Self::Left,
        "down" => Self::Down,
        "up" => Self::Up,
    }
    NominalTablet {
        "21" => Self::Half,
        "31" => Self::Third,
        "11" => Self::Whole,
    }
    Bound {
        "at_least" => Self::AtLeast,
        "at_most" => Self::AtMost,
    }
}

/// The words of patch roles but for `tablet_step:N`.
const PATCH_ROLES: [(&str, PatchRole); 10] = [
    ("base_fog", PatchRole::BaseFog),
    ("grey_card", PatchRole::GreyCard),
    ("sunlit_foliage", PatchRole::SunlitFoliage),
    ("shaded_foliage", PatchRole::ShadedFoliage),
    ("shaded_grey_card", PatchRole::ShadedGreyCard),
    ("sky", PatchRole::Sky),
    ("wall", PatchRole::Wall),
    ("shadow", PatchRole::Shadow),
    ("highlight", PatchRole::Highlight),
    ("other", PatchRole::Other),
];

/// Reads the role of a patch: a word, or `tablet_step:7`.
pub(crate) fn patch_role(text: &str) -> Option<PatchRole> {
    if let Some(step) = text.strip_prefix("tablet_step:") {
        return step.trim().parse().ok().map(PatchRole::TabletStep);
    }
    PATCH_ROLES
        .into_iter()
        .find(|(word, _)| *word == text)
        .map(|(_, role)| role)
}

/// Gives the word of a patch's role.
pub(crate) fn patch_role_word(role: PatchRole) -> String {
    if let PatchRole::TabletStep(step) = role {
        return format!("tablet_step:{step}");
    }
    PATCH_ROLES
        .into_iter()
        .find(|(_, known)| *known == role)
        .map_or_else(
            || unreachable!("every role has its word in the list above"),
            |(word, _)| word.to_owned(),
        )
}

/// Gives every word of a patch's role.
pub(crate) fn patch_role_words() -> Vec<String> {
    PATCH_ROLES
        .into_iter()
        .map(|(word, _)| word.to_owned())
        .chain(["tablet_step:N".to_owned()])
        .collect()
}
