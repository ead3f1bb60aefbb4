//! Scans: files of pixels, and what is known of how they were made.

use crate::{Id, Outline};

/// How code values follow light, as the tester knows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tone {
    /// Take what the file declares; unknown when it declares nothing.
    AsDeclared,
    /// Proportional to light.
    Linear,
    /// Light is code value to this power.
    Gamma(f64),
    /// The sRGB curve.
    Srgb,
    /// Known not to be known.
    Unknown,
}

/// Which samples of a pixel are measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// The one there is, or green of several.
    Suitable,
    /// The one sample of a grey file.
    Grey,
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
    /// The mean of red, green and blue.
    Mean,
    /// The one sample beside the colours that the file does not name as alpha.
    Infrared,
    /// A sample beside the colours, counted from 1.
    Extra(core::num::NonZeroU8),
    /// One place of a sensor mosaic's cell, counted from 0.
    MosaicPhase {
        /// Row of the cell, 0 to 7.
        row: u8,
        /// Column of the cell, 0 to 7.
        column: u8,
    },
}

/// A step tablet lying in a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletStrip {
    /// The tablet.
    pub tablet: Id,
    /// Outline of each step, in step order; `None` for a step that can't be read.
    /// Empty when its place is not recorded: then it is looked for in the scan.
    pub steps: Vec<Option<Outline>>,
}

/// What turns the scan's code values into densities.
#[derive(Clone, Debug, PartialEq)]
pub enum Calibrator {
    /// A step tablet in this very scan.
    Within(TabletStrip),
    /// The tablet in another scan made with the same locked settings.
    OtherScan(Id),
    /// Nothing: only relative answers can be had.
    None,
}

/// A scan of one or several frames.
#[derive(Clone, Debug, PartialEq)]
pub struct Scan {
    /// Name in this test.
    pub id: Id,
    /// Path within the test folder, with `/` between parts.
    pub file: String,
    /// Which image of the file, counted from 0.
    pub page: u32,
    /// SHA-256 of the file when it was first measured, as 64 hex digits.
    pub sha256: Option<String>,
    /// The scanner or camera.
    pub device: Option<String>,
    /// Settings as written down.
    pub settings: Option<String>,
    /// How code values follow light.
    pub tone: Tone,
    /// Which samples are measured.
    pub channel: Channel,
    /// What calibrates it.
    pub calibrator: Calibrator,
    /// The frame it shows, where no patch says so.
    pub frame: Option<Id>,
    /// A scan of the same film made with the same settings, to be compared.
    pub repeat_of: Option<Id>,
    /// What the measured signal stands for.
    pub response: crate::Response,
    /// Path of an image whose pixel values are labels of regions.
    pub region_map: Option<String>,
    /// Path of a picture of the bare light table, whose light is divided out.
    pub flat_field: Option<String>,
    /// Path of a picture without light; only beside a flat field.
    pub dark_frame: Option<String>,
}
