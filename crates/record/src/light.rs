//! The light a frame was exposed by, and how it was read.

use crate::Id;
use quantity::{Ev100, Illuminance, Luminance, Stops};

/// State of the sky, or the lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sky {
    /// Clear, sun on the subject.
    ClearSun,
    /// Thin cloud or haze before the sun.
    ThinCloud,
    /// Sun and cloud in turn.
    BrokenCloud,
    /// Closed cloud.
    Overcast,
    /// Clear sky, no sun on the subject.
    OpenShade,
    /// Under leaves.
    UnderLeaves,
    /// A lamp.
    Lamp,
    /// Not written down.
    NotStated,
}

impl Sky {
    /// Every state.
    pub const ALL: [Self; 8] = [
        Self::ClearSun,
        Self::ThinCloud,
        Self::BrokenCloud,
        Self::Overcast,
        Self::OpenShade,
        Self::UnderLeaves,
        Self::Lamp,
        Self::NotStated,
    ];

    /// Gives the words for it.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ClearSun => "clear sun",
            Self::ThinCloud => "thin cloud",
            Self::BrokenCloud => "broken cloud",
            Self::Overcast => "overcast",
            Self::OpenShade => "open shade",
            Self::UnderLeaves => "under leaves",
            Self::Lamp => "lamp",
            Self::NotStated => "sky not stated",
        }
    }
}

/// How a meter was pointed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeterMode {
    /// At the subject, measuring the light that falls on it.
    Incident,
    /// A narrow angle of the subject.
    Spot,
    /// A wide angle of the subject.
    Averaging,
}

/// What a meter sees with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeterCell {
    /// Silicon, with or without a filter.
    Silicon,
    /// Cadmium sulphide.
    CadmiumSulphide,
    /// Selenium.
    Selenium,
    /// Not known.
    NotStated,
}

/// A meter and how it was used.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// What it is called.
    pub name: Option<String>,
    /// How it was pointed.
    pub mode: MeterMode,
    /// What it sees with.
    pub cell: MeterCell,
    /// What it was pointed at: `grey card`, `sunlit grass`.
    pub target: Option<String>,
    /// Where the target was placed, in stops from the mid-tone; zero when it
    /// was taken as the mid-tone.
    pub placement: Stops,
    /// Whether it read through the filter of the frame.
    pub through_filter: bool,
}

/// What a meter read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LightReading {
    /// An exposure value at ISO 100.
    Ev100(Ev100),
    /// Lux, with an incident meter.
    Illuminance(Illuminance),
    /// Candela per square metre, with a spot or averaging meter.
    Luminance(Luminance),
}

/// A light: a place and time, a sky, a meter and a reading.
///
/// Frames that share a light are compared as if the light was the same for
/// all, within the stated drift.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// Name in this test.
    pub id: Id,
    /// State of the sky.
    pub sky: Sky,
    /// Where.
    pub place: Option<String>,
    /// When, as an RFC 3339 time.
    pub time: Option<String>,
    /// The meter.
    pub meter: Option<Meter>,
    /// The reading.
    pub reading: Option<LightReading>,
    /// One standard deviation of the light from frame to frame, in stops.
    pub drift: Option<Stops>,
    /// Anything else.
    pub remarks: Option<String>,
}
