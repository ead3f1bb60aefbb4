//! Frames: one exposure each, on one piece of film.

use crate::{Id, LightReading};
use quantity::{
    ExposureIndex, FNumber, LogExposure, Magnification, Measured, Millimetres, Seconds,
};

/// What a frame is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameRole {
    /// Unfiltered, against which the filtered ones are matched.
    Anchor,
    /// One of a series that differs in exposure.
    Bracket,
    /// Through a plain red filter, to show that the film and process work.
    RedControl,
    /// Loaded and developed, never exposed: base+fog.
    Unexposed,
    /// Exposed through a step tablet.
    TabletSheet,
    /// The same again.
    Repeat,
}

impl FrameRole {
    /// Gives the words for it.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Anchor => "anchor",
            Self::Bracket => "bracket",
            Self::RedControl => "red control",
            Self::Unexposed => "unexposed",
            Self::TabletSheet => "tablet sheet",
            Self::Repeat => "repeat",
        }
    }
}

/// A shutter time as set and as it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Time {
    /// The time set on the shutter, read as the mark says.
    pub marked: Seconds,
    /// The time it really was, when that is known for this very frame.
    pub actual: Option<Seconds>,
    /// One standard deviation of the actual time, in stops.
    pub actual_uncertainty_stops: Option<f64>,
}

/// How far the lens was from the film.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bellows {
    /// Image size over object size.
    Magnification(Magnification),
    /// Lens to film; the lens's focal length must be known.
    Draw(Millimetres),
}

/// An exposure in a camera.
#[derive(Clone, Debug, PartialEq)]
pub struct CameraExposure {
    /// Lens and shutter; `None` when not written down.
    pub lens: Option<Id>,
    /// Light and meter.
    pub light: Id,
    /// Reading made for this very frame; replaces the light's own.
    pub reading: Option<LightReading>,
    /// EI set on the meter, as far as it was used.
    pub ei: Option<ExposureIndex>,
    /// Aperture as marked.
    pub aperture: FNumber,
    /// Shutter time.
    pub time: Time,
    /// Close focus.
    pub bellows: Option<Bellows>,
}

/// How a frame got its light.
#[derive(Clone, Debug, PartialEq)]
pub enum Exposure {
    /// In a camera.
    Camera(CameraExposure),
    /// Known only relative to the other frames, as log10.
    Relative(Measured<LogExposure>),
    /// Through a step tablet in contact.
    Tablet {
        /// The tablet.
        tablet: Id,
        /// log10 of the lux seconds that film beside the tablet got; `None`
        /// when they are not known, so that the sheet tells the curve's shape
        /// but not its place.
        without_tablet: Option<Measured<LogExposure>>,
    },
    /// Never exposed.
    None,
}

/// One exposed (or deliberately unexposed) piece of film.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Name in this test.
    pub id: Id,
    /// Film.
    pub film: Id,
    /// Filters before or behind the lens, in order; empty for none.
    pub filters: Vec<Id>,
    /// Process that developed it.
    pub process: Id,
    /// Holder and side, as written.
    pub holder: Option<String>,
    /// Which loading of that holder side, counted from 1; `None` is the first.
    pub load: Option<u32>,
    /// When it was exposed, as an RFC 3339 time.
    pub exposed_at: Option<String>,
    /// What it is for.
    pub role: FrameRole,
    /// How it got its light.
    pub exposure: Exposure,
    /// Anything else.
    pub remarks: Option<String>,
}
