//! What is known of a scan after its one pass.

use crate::divided_light::Divided;
use crate::light_of_scan::Light;
use negative::calibration::Calibration;
use negative::decode::{ChannelChoice, ScanInfo};
use negative::honesty::{HonestyFinding, Looked};
use negative::patch::PatchStatistics;
use negative::preview::Preview;
use negative::refusal::CalibrationRefusal;
use negative::tone::Tone;
use record::Id;

/// A scan after its one pass.
pub(crate) struct Surveyed {
    pub(crate) scan: Id,
    pub(crate) info: ScanInfo,
    pub(crate) channel: ChannelChoice,
    pub(crate) tone: Tone,
    pub(crate) sha256: String,
    /// Statistics of each patch, by frame and name.
    pub(crate) patches: Vec<((Id, Id), PatchStatistics)>,
    pub(crate) calibration: Option<Calibration>,
    pub(crate) preview: Preview,
    pub(crate) findings: Vec<HonestyFinding>,
    /// What the checks had to go on.
    pub(crate) looked: Looked,
    pub(crate) repeat: Option<String>,
    /// How uneven the light is by what the scan shows of it.
    pub(crate) light: Option<Light>,
    /// Light that was divided out.
    pub(crate) divided: Option<Divided>,
    /// Why the calibration is not used for this scan's patches.
    pub(crate) calibration_refused: Option<CalibrationRefusal>,
    /// Standard uncertainty that is added to each reading. \[density\]
    pub(crate) doubt: f64,
}
