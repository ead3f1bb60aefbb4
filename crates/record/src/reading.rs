//! Patches, readings, and other people's claims.

use crate::Id;
use quantity::{ExposureIndex, Measured};

/// Where a patch lies in a scan, in pixels from the top left corner.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// An upright rectangle.
    Rectangle {
        /// Left edge.
        x: u32,
        /// Top edge.
        y: u32,
        /// Width, at least 1.
        width: u32,
        /// Height, at least 1.
        height: u32,
    },
    /// A polygon of at least three corners.
    Polygon(Vec<(f64, f64)>),
    /// The pixels that carry this label in the scan's region map.
    Region(u32),
    /// Where the patch of the same name on this frame lies, once the two frames
    /// were laid on each other.
    CarriedFrom(Id),
}

/// What a patch shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PatchRole {
    /// Film that got no light.
    BaseFog,
    /// A step of the tablet the frame was exposed through, counted from 1.
    TabletStep(u32),
    /// A grey card.
    GreyCard,
    /// Leaves in the sun.
    SunlitFoliage,
    /// Leaves in the shade.
    ShadedFoliage,
    /// A grey card in the shade.
    ShadedGreyCard,
    /// Sky.
    Sky,
    /// A wall or other even surface.
    Wall,
    /// The darkest part that should print with detail.
    Shadow,
    /// The lightest part that should print with detail.
    Highlight,
    /// Something else.
    Other,
}

/// A patch of a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// The frame it lies on.
    pub frame: Id,
    /// Name; patches of one name on several frames show the same subject.
    pub name: Id,
    /// What it shows.
    pub role: PatchRole,
    /// Scan and outline; `None` when the patch was read otherwise.
    pub place: Option<(Id, Outline)>,
}

/// What kind of number a reading or a scan's signal is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response {
    /// Density of film, on an absolute scale.
    Density,
    /// Density-like, on a scale of unknown zero and stretch.
    RelativeDensity,
    /// log10 of a signal that rises with exposure.
    LogSignal,
}

/// How a reading was got.
#[derive(Clone, Debug, PartialEq)]
pub enum ReadingOrigin {
    /// A densitometer; geometry and spectral product as stated, if stated.
    Densitometer(Option<String>),
    /// Matched by contact printing time.
    ContactPrint,
    /// Measured in a scan.
    Scan(Id),
}

/// A reading of a patch.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The frame.
    pub frame: Id,
    /// The patch.
    pub patch: Id,
    /// What kind of number it is.
    pub response: Response,
    /// The number (gross, base and fog still in it), its uncertainty and flags.
    pub value: Measured<f64>,
    /// Whether the number is a limit, and which.
    pub limit: Option<quantity::Bound>,
    /// How it was got.
    pub origin: ReadingOrigin,
}

/// What somebody saw on a negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// Nothing.
    Blank,
    /// A trace.
    Trace,
    /// An image.
    Image,
    /// A printable negative.
    Printable,
}

/// Someone else's claim.
#[derive(Clone, Debug, PartialEq)]
pub struct OutsideReport {
    /// Name in this test.
    pub id: Id,
    /// Film, as told.
    pub film: String,
    /// Filter, as told.
    pub filter: String,
    /// EI used, as told.
    pub ei: Option<ExposureIndex>,
    /// Light, as told.
    pub light: Option<String>,
    /// What was seen.
    pub seen: Seen,
    /// Where it was told.
    pub source: Option<String>,
}
