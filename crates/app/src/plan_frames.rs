//! The frames of a plan as lines, as JSON and as a folder.

use crate::AppError;
use crate::plan::PlanQuestion;
use exposure::{format_aperture, format_ei, format_time};
use findings::{FrameOfPlan, Timing};
use quantity::{ExposureIndex, Seconds};
use record::{Id, PlannedExposure, PlannedFrame, PlannedTest, TestParts};
use serde_json::{Value, json};

/// Records of a planned test, and its frames as they are written down.
#[derive(Clone, Debug)]
pub(crate) struct MadePlan {
    /// Film, filters, light, development and tablet; nothing is exposed.
    pub(crate) parts: TestParts,
    pub(crate) frames: Vec<PlannedFrame>,
}

impl MadePlan {
    /// A light that was not read is kept without a reading, so that nobody takes an
    /// estimate for one.
    pub(crate) fn of(
        as_if_exposed: &TestParts,
        frames: &[FrameOfPlan],
        question: &PlanQuestion,
    ) -> Self {
        let mut parts = TestParts {
            frames: vec![],
            patches: vec![],
            ..as_if_exposed.clone()
        };
        if question.ev100.is_none() {
            for light in &mut parts.lights {
                if let Some(record::LightReading::Ev100(ev)) = light.reading.take() {
                    light.remarks = Some(format!(
                        "planned for EV {} at ISO 100 by the sunny rule; not read: write down what you read",
                        ev.to_ev()
                    ));
                }
            }
        }
        Self {
            parts,
            frames: frames.iter().map(|f| rounded(&f.frame)).collect(),
        }
    }

    /// Writes the plan as a test folder.
    pub(crate) fn write(&self, dir: &std::path::Path) -> Result<(), AppError> {
        let test = PlannedTest::assemble(self.parts.clone(), self.frames.clone()).map_err(|e| {
            AppError::new(e.to_string(), "this is a fault of the plan; please tell it")
        })?;
        notebook::write_planned_folder(&test, &[], dir)?;
        Ok(())
    }
}

/// With four digits, which is what a person reads in the file; finer than any mark.
fn rounded(frame: &PlannedFrame) -> PlannedFrame {
    let mut frame = frame.clone();
    if let PlannedExposure::Camera(camera) = &mut frame.exposure {
        let ei = ExposureIndex::from_arithmetic(four_digits(camera.ei.to_arithmetic()));
        camera.ei = ei.unwrap_or(camera.ei);
        let time = |time: Seconds| Seconds::from_s(four_digits(time.to_s())).unwrap_or(time);
        camera.time.metered = camera.time.metered.map(time);
        camera.time.corrected = camera.time.corrected.map(time);
    }
    frame
}

fn four_digits(number: f64) -> f64 {
    // A text of four digits read back is the number nearest to them.
    format!("{number:.3e}").parse().unwrap_or(number)
}

pub(crate) fn frame_lines(frames: &[FrameOfPlan]) -> Vec<String> {
    let mut lines = vec![
        "Load and expose, in this order".to_owned(),
        format!(
            "{:<3} {:<6} {:<13} {:<12} {:<8} {:>6} {:>7} {:>9} {:>6}  {}",
            "no", "side", "frame", "role", "filter", "EI", "f", "time", "off", "why"
        ),
    ];
    for (n, planned) in frames.iter().enumerate() {
        let frame = &planned.frame;
        let (ei, aperture, time) = match &frame.exposure {
            PlannedExposure::Camera(c) => (
                format_ei(c.ei),
                format_aperture(c.aperture),
                format_time(c.time.marked),
            ),
            _ => ("-".into(), "-".into(), "-".into()),
        };
        let filters: Vec<&str> = frame.filters.iter().map(Id::as_str).collect();
        let off = planned
            .left_over_stops
            .map_or("-".to_owned(), |s| format!("{s:+.1}"));
        lines.push(format!(
            "{:<3} {:<6} {:<13} {:<12} {:<8} {:>6} {:>7} {:>9} {:>6}  {}",
            n + 1,
            frame.holder.as_deref().unwrap_or("-"),
            frame.id.as_str(),
            frame.role.words(),
            if filters.is_empty() {
                "none".to_owned()
            } else {
                filters.join("+")
            },
            ei.trim_start_matches("EI ").to_owned(),
            aperture,
            time,
            off,
            frame.why.as_deref().unwrap_or_default()
        ));
    }
    lines.push("off: stops that the marks give over what the EI asks for".to_owned());
    lines
}

pub(crate) fn frames_json(frames: &[FrameOfPlan]) -> Vec<Value> {
    frames
        .iter()
        .map(|planned| {
            let frame = &planned.frame;
            let camera = match &frame.exposure {
                PlannedExposure::Camera(c) => Some(c),
                _ => None,
            };
            let filters: Vec<&str> = frame.filters.iter().map(Id::as_str).collect();
            json!({
                "name": frame.id.as_str(),
                "holder": frame.holder,
                "role": frame.role.words(),
                "filters": filters,
                "ei": camera.map(|c| c.ei.to_arithmetic()),
                "aperture": camera.map(|c| c.aperture.to_ratio()),
                "time_s": camera.map(|c| c.time.marked.to_s()),
                "time_metered_s": camera.and_then(|c| c.time.metered).map(Seconds::to_s),
                "left_over_stops": planned.left_over_stops,
                "why": frame.why,
            })
        })
        .collect()
}

/// Why the times and apertures are as they are.
pub(crate) fn timing_words(timing: Timing, frames: &[FrameOfPlan]) -> Vec<String> {
    let opened = "  the lens is opened where a time would pass a second: what a film loses at long times is counted into the factor otherwise";
    let mut lines = match timing {
        Timing::OneTime(_) => vec![
            "  one time for as many frames as the marks allow, the aperture making the difference: a shutter mark that is off is then off for all and drops out".to_owned(),
        ],
        Timing::PreferredAperture => vec![
            "  the times differ, so that no single shutter mark carries the factor".to_owned(),
        ],
        Timing::WithinASecond => vec![opened.to_owned()],
        Timing::EqualTimePair {
            time,
            within_a_second,
        } => {
            let mut lines = vec![format!(
                "  an equal-time pair at {}: the shutter mark's error is the same in both, and so is what the film loses at long times, so neither comes between the two",
                format_time(time).trim()
            )];
            if within_a_second {
                lines.push(opened.to_owned());
            }
            lines
        }
    };
    let long = frames.iter().any(|f| match &f.frame.exposure {
        PlannedExposure::Camera(camera) => {
            camera.time.marked.to_s() > 1.0 && camera.time.law.is_none()
        }
        _ => false,
    });
    if long {
        lines.push("  no reciprocity law is given, and some times are longer than a second: what the film loses there is not known and counted as such; a tested law (--reciprocity) narrows the answer".to_owned());
    }
    lines
}
