//! Planned frames as rows to be shown.

use crate::plan::Planned;
use exposure::{format_aperture, format_ei, format_time};
use notebook::Checked;
use record::{Id, PlannedExposure, PlannedFrame, PlannedTime, TestParts};

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
    /// Stops that the marks give over what the EI asks for; empty when not stated.
    pub off: String,
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

/// Stops that the mark gives over what is asked for, reciprocity included.
fn over_asked(time: &PlannedTime) -> Option<f64> {
    let asked = time.corrected.or(time.metered)?;
    Some((time.marked.to_s() / asked.to_s()).log2())
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
            let (ei, setting, over) = match &frame.exposure {
                PlannedExposure::Camera(camera) => (
                    format_ei(camera.ei),
                    format!(
                        "{}, {}",
                        format_aperture(camera.aperture),
                        format_time(camera.time.marked)
                    ),
                    over_asked(&camera.time),
                ),
                PlannedExposure::Tablet(_) => {
                    (String::new(), "through the tablet".to_owned(), None)
                }
                PlannedExposure::None => (String::new(), "not exposed".to_owned(), None),
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
                off: over.map_or_else(String::new, |stops| crate::shown::signed(stops, 1)),
                why: frame.why.clone().unwrap_or_default(),
                exposed: parts.frames.iter().any(|f| f.id == frame.id),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use quantity::Seconds;

    #[test]
    fn the_mark_is_held_against_the_corrected_time() {
        let s = |time| Seconds::from_s(time).unwrap();
        let time = |metered, corrected| PlannedTime {
            marked: s(1.0),
            metered,
            corrected,
            law: None,
        };
        // By hand: half of what is asked for is a stop too little.
        assert_eq!(over_asked(&time(Some(s(0.5)), Some(s(2.0)))), Some(-1.0));
        assert_eq!(over_asked(&time(Some(s(0.5)), None)), Some(1.0));
        assert_eq!(over_asked(&time(None, None)), None);
    }
}
