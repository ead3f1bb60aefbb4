//! The record of each frame's exposure.

use super::none;
use crate::table::Table;
use crate::words::{name, reading_words, wide};
use exposure::{format_aperture, format_time};
use figures::shown;
use maud::Markup;
use quantity::{LogExposure, Measured};
use record::{Bellows, CameraExposure, Exposure, Frame};

pub(super) fn exposures(frames: &[Frame]) -> Markup {
    let rows: Vec<(&Frame, Exposed)> = frames.iter().map(|f| (f, Exposed::of(f))).collect();
    let table = Table::<&(&Frame, Exposed)>::new()
        .name("Frame", |(f, _)| name(&f.id))
        .words("Role", |(f, _)| f.role.words())
        .words("Film", |(f, _)| name(&f.film))
        .words("Filter", |(f, _)| name(figures::filters_words(&f.filters)))
        .words("Process", |(f, _)| name(&f.process))
        .words("Holder", |(f, _)| name(f.holder.as_deref().unwrap_or("–")))
        .words("Light", |(_, e)| name(&e.light))
        .words("Lens", |(_, e)| name(&e.lens))
        .number("EI set", |(_, e)| &e.ei)
        .number("Aperture", |(_, e)| &e.aperture)
        .number("Marked time", |(_, e)| &e.marked)
        .number("Actual time", |(_, e)| &e.actual)
        .phrase("Reading, bellows, tablet", |(_, e)| &e.more)
        .sentences("Remarks", |(f, _)| f.remarks.as_deref().unwrap_or(""))
        .of(&rows);
    wide("Exposure records", table)
}

/// How a frame got its light, in words.
struct Exposed {
    light: String,
    lens: String,
    ei: String,
    aperture: String,
    marked: String,
    actual: String,
    /// Reading and bellows, or what was not exposed in a camera.
    more: String,
}

impl Exposed {
    fn of(frame: &Frame) -> Self {
        match &frame.exposure {
            Exposure::Camera(camera) => Self::in_camera(camera),
            Exposure::Relative(log_h) => {
                Self::otherwise(format!("relative log H {}", log_h_words(log_h)))
            }
            Exposure::Tablet {
                tablet,
                without_tablet: None,
            } => Self::otherwise(format!("through tablet {tablet}")),
            Exposure::Tablet {
                tablet,
                without_tablet: Some(log_h),
            } => Self::otherwise(format!(
                "through tablet {tablet}; log H without it {}",
                log_h_words(log_h)
            )),
            Exposure::None => Self::otherwise("not exposed".to_owned()),
        }
    }

    fn in_camera(camera: &CameraExposure) -> Self {
        let actual = camera.time.actual.map_or_else(none, |t| {
            camera.time.actual_uncertainty_stops.map_or_else(
                || format_time(t),
                |sd| format!("{} ± {} stops", format_time(t), shown::fixed(sd, 2)),
            )
        });
        let bellows = camera.bellows.map(|bellows| match bellows {
            Bellows::Magnification(m) => {
                format!("magnification {}", shown::fixed(m.to_ratio(), 3))
            }
            Bellows::Draw(draw) => format!("bellows draw {} mm", shown::fixed(draw.to_mm(), 0)),
        });
        let more: Vec<String> = camera
            .reading
            .map(reading_words)
            .into_iter()
            .chain(bellows)
            .collect();
        Self {
            light: camera.light.to_string(),
            lens: camera.lens.as_ref().map_or_else(none, ToString::to_string),
            ei: camera.ei.map_or_else(none, shown::ei),
            aperture: format_aperture(camera.aperture),
            marked: format_time(camera.time.marked),
            actual,
            more: more.join(", "),
        }
    }

    fn otherwise(more: String) -> Self {
        Self {
            light: none(),
            lens: none(),
            ei: none(),
            aperture: none(),
            marked: none(),
            actual: none(),
            more,
        }
    }
}

fn log_h_words(log_h: &Measured<LogExposure>) -> String {
    shown::value_with_uncertainty(log_h.value().to_log10(), log_h.standard_uncertainty())
}
