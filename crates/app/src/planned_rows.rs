//! Planned frames as rows to be shown.

use crate::plan::Planned;
use exposure::{format_aperture, format_ei, format_time};
use notebook::Checked;
use record::{Id, PlannedExposure, PlannedFrame, TestParts};

/// A planned frame in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedRow {
    /// Its name.
    pub id: String,
    /// Holder and side.
    pub holder: String,
    /// What it is for.
    pub role: String,
    /// Its filters, by name.
    pub filters: String,
    /// EI to be set.
    pub ei: String,
    /// Aperture and time.
    pub setting: String,
    /// Why it is in the plan.
    pub why: String,
    /// Whether it is recorded as exposed.
    pub exposed: bool,
}

/// Gives the planned frames of a test.
#[must_use]
pub fn planned_rows(checked: &Checked) -> Vec<PlannedRow> {
    rows(&checked.parts, &checked.planned)
}

impl Planned {
    /// Gives the planned frames; none where no image is expected.
    #[must_use]
    pub fn rows(&self) -> Vec<PlannedRow> {
        self.made
            .as_ref()
            .map(|made| rows(&made.parts, &made.frames))
            .unwrap_or_default()
    }
}

/// Frames in words, with the names that the records have.
pub(crate) fn rows(parts: &TestParts, planned: &[PlannedFrame]) -> Vec<PlannedRow> {
    let name = |id: &Id| {
        let filter = parts.filters.iter().find(|f| f.id == *id);
        filter.map_or_else(|| id.to_string(), |f| f.name.clone())
    };
    planned
        .iter()
        .map(|frame| {
            let (ei, setting) = match &frame.exposure {
                PlannedExposure::Camera(camera) => (
                    format_ei(camera.ei),
                    format!(
                        "{}, {}",
                        format_aperture(camera.aperture),
                        format_time(camera.time.marked)
                    ),
                ),
                PlannedExposure::Tablet(_) => (String::new(), "through the tablet".to_owned()),
                PlannedExposure::None => (String::new(), "not exposed".to_owned()),
            };
            PlannedRow {
                id: frame.id.to_string(),
                holder: frame.holder.clone().unwrap_or_default(),
                role: frame.role.words().to_owned(),
                filters: frame
                    .filters
                    .iter()
                    .map(name)
                    .collect::<Vec<_>>()
                    .join(" + "),
                ei,
                setting,
                why: frame.why.clone().unwrap_or_default(),
                exposed: parts.frames.iter().any(|f| f.id == frame.id),
            }
        })
        .collect()
}
