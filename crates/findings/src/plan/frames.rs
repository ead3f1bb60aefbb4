//! The frames of a layout: what is set for each, in which order, and why.

use super::layout::Layout;
use super::order::balanced;
use super::request::{PlanError, PlanRequest, id};
use super::setting::{
    Setting, at_preferred_aperture, at_time, more_exposed, no_setting, within_a_second,
};
use super::timing::Timing;
use quantity::{ExposureIndex, Seconds};
use record::{Exposure, Filter, FrameRole, PlannedCamera, PlannedExposure, PlannedFrame};

/// How many stops more an anchor of an equal-time pair may get, so that it can be
/// stopped down to the filtered frame's time; a mid-tone is still on the line then.
const MOST_OVER_STOPS: usize = 3;

/// A planned frame with what its mark leaves over.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameOfPlan {
    /// The record.
    pub frame: PlannedFrame,
    /// Exposure that the marks give over what the EI asks for; `None` outside a
    /// camera. \[stops\]
    pub left_over_stops: Option<f64>,
}

#[derive(Clone)]
struct Shot {
    name: String,
    role: FrameRole,
    filtered: Filtered,
    setting: Setting,
    why: String,
}

#[derive(Clone, Copy, PartialEq)]
enum Filtered {
    No,
    Red,
    /// Behind the filter of the bracket of this number.
    Tested(usize),
}

/// The frames behind one filter.
pub(super) struct Bracket<'a> {
    pub(super) filter: &'a Filter,
    /// EI of its middle.
    pub(super) middle: ExposureIndex,
    pub(super) frames: usize,
    pub(super) step_stops: f64,
}

/// Gives the frames of a layout in the order they are to be exposed; `None` when
/// a frame can't be set within the marks and the longest time.
///
/// # Errors
/// [`PlanError`] for an EI that is out of range.
pub(super) fn frames(
    request: &PlanRequest,
    layout: &Layout,
    middle: ExposureIndex,
) -> Result<Option<Vec<FrameOfPlan>>, PlanError> {
    let bracket = Bracket {
        filter: &request.filter,
        middle,
        frames: layout.filtered,
        step_stops: layout.step_stops,
    };
    frames_of(request, layout, &[bracket])
}

/// Gives the frames of a layout with a bracket for each filter, as [`frames`].
///
/// # Errors
/// [`PlanError`] for an EI that is out of range.
pub(super) fn frames_of(
    request: &PlanRequest,
    layout: &Layout,
    brackets: &[Bracket<'_>],
) -> Result<Option<Vec<FrameOfPlan>>, PlanError> {
    let set = |ei| match layout.timing {
        Timing::PreferredAperture
        | Timing::EqualTimePair {
            within_a_second: false,
            ..
        } => at_preferred_aperture(request, ei),
        Timing::WithinASecond
        | Timing::EqualTimePair {
            within_a_second: true,
            ..
        } => within_a_second(request, ei),
        Timing::OneTime(time) => at_time(request, ei, time),
    };
    let mut shots_of = vec![];
    for (of, bracket) in brackets.iter().enumerate() {
        let half = 0.5 * (bracket.frames as f64 - 1.0);
        let offsets: Vec<f64> = (0..bracket.frames)
            .map(|k| (k as f64 - half) * bracket.step_stops)
            .collect();
        let mut shots = vec![];
        for (n, k) in balanced(&offsets).into_iter().enumerate() {
            let offset = offsets[k];
            let Some(setting) = set(more_exposed(bracket.middle, offset)?) else {
                return Ok(None);
            };
            shots.push(Shot {
                name: if brackets.len() == 1 {
                    format!("filtered-{}", n + 1)
                } else {
                    format!("filtered-{}-{}", of + 1, n + 1)
                },
                role: FrameRole::Bracket,
                filtered: Filtered::Tested(of),
                setting,
                why: if offset == 0.0 {
                    "the EI that is expected".to_owned()
                } else {
                    format!(
                        "{:.2} stops {} than expected",
                        offset.abs(),
                        if offset > 0.0 { "more" } else { "less" }
                    )
                },
            });
        }
        shots_of.push(shots);
    }
    let mut anchors = vec![];
    for n in 0..layout.anchors {
        // One stop apart, so that not all share a mark.
        let more = n % 3;
        let ei = more_exposed(request.box_speed, more as f64)?;
        let Some(setting) = set(ei).or_else(|| at_preferred_aperture(request, ei)) else {
            return Ok(None);
        };
        anchors.push(Shot {
            name: format!("anchor-{}", n + 1),
            role: FrameRole::Anchor,
            filtered: Filtered::No,
            setting,
            why: anchor_words(more),
        });
    }
    if let Timing::EqualTimePair { time, .. } = layout.timing
        && !pair(request, time, &mut anchors, &mut shots_of)?
    {
        return Ok(None);
    }
    let repeated = layout.repeat.then(|| repeat_of(&shots_of)).flatten();
    let mut bracket = by_turns(shots_of);
    // Last of the bracket, farthest from its first.
    bracket.extend(repeated);
    let mut shots = between_anchors(anchors, bracket);
    if let Some((_, stops)) = request.red.as_ref().filter(|_| layout.red) {
        let ei = more_exposed(request.box_speed, stops.to_stops())?;
        let Some(setting) = at_preferred_aperture(request, ei) else {
            return Ok(None);
        };
        // After the first anchor; it takes no part in the balance.
        shots.insert(
            1.min(shots.len()),
            Shot {
                name: "red-control".to_owned(),
                role: FrameRole::RedControl,
                filtered: Filtered::Red,
                setting,
                why: "plain red: shows that film, holder and developer work should the bracket stay blank".to_owned(),
            },
        );
    }
    Ok(Some(records(request, layout, brackets, shots)))
}

fn anchor_words(more_stops: usize) -> String {
    let more = match more_stops {
        0 => String::new(),
        1 => ", a stop more".to_owned(),
        n => format!(", {n} stops more"),
    };
    format!("without a filter{more}: what the filtered frames are matched against")
}

/// Gives the first anchor and the frame of each bracket nearest its middle the same
/// time; `false` when the marks don't allow it.
fn pair(
    request: &PlanRequest,
    time: Seconds,
    anchors: &mut [Shot],
    shots_of: &mut [Vec<Shot>],
) -> Result<bool, PlanError> {
    let Some(anchor) = anchors.first_mut() else {
        return Ok(false);
    };
    let mut found = None;
    for more in 0..=MOST_OVER_STOPS {
        let ei = more_exposed(request.box_speed, more as f64)?;
        if let Some(setting) = at_time(request, ei, time) {
            found = Some((more, setting));
            break;
        }
    }
    let Some((more, setting)) = found else {
        return Ok(false);
    };
    anchor.setting = setting;
    let mut partners = vec![];
    for shots in shots_of {
        // The bracket's order begins at its middle.
        let set = (shots.iter_mut()).find_map(|shot| {
            let setting = at_time(request, shot.setting.ei, time)?;
            Some((shot, setting))
        });
        let Some((partner, setting)) = set else {
            return Ok(false);
        };
        partner.setting = setting;
        partner.why = format!("{}; equal-time pair with {}", partner.why, anchor.name);
        partners.push(partner.name.clone());
    }
    anchor.why = format!(
        "{}; equal-time pair with {}",
        anchor_words(more),
        partners.join(", ")
    );
    Ok(true)
}

/// The first filter's frame nearest the middle once more.
fn repeat_of(shots_of: &[Vec<Shot>]) -> Option<Shot> {
    let first = shots_of.first()?.first()?;
    Some(Shot {
        name: "repeat".to_owned(),
        role: FrameRole::Repeat,
        why: format!(
            "{} once more, late: what differs is light, shutter, handling and development, which no other frame tells",
            first.name
        ),
        ..first.clone()
    })
}

/// The filters take turns, there and back, so that each one's frames lie about the
/// same middle in time and filters are changed seldom.
fn by_turns(shots_of: Vec<Vec<Shot>>) -> Vec<Shot> {
    let mut queues: Vec<_> = shots_of.into_iter().map(Vec::into_iter).collect();
    let mut shots = vec![];
    loop {
        let before = shots.len();
        shots.extend(queues.iter_mut().filter_map(Iterator::next));
        shots.extend(queues.iter_mut().rev().filter_map(Iterator::next));
        if shots.len() == before {
            return shots;
        }
    }
}

/// One anchor stands in the middle of the bracket; several are spread over it evenly,
/// the first before and the last after it: so an even drift is the same for both.
fn between_anchors(anchors: Vec<Shot>, bracket: Vec<Shot>) -> Vec<Shot> {
    let count = anchors.len();
    let frames = bracket.len();
    // How many frames of the bracket come before the anchor of number n.
    let before = |n: usize| match count {
        0 | 1 => frames / 2,
        _ => n * frames / (count - 1),
    };
    let mut shots = vec![];
    let mut bracket = bracket.into_iter();
    let mut taken = 0;
    for (n, anchor) in anchors.into_iter().enumerate() {
        let upto = before(n);
        shots.extend(bracket.by_ref().take(upto - taken));
        taken = upto;
        shots.push(anchor);
    }
    shots.extend(bracket);
    shots
}

fn records(
    request: &PlanRequest,
    layout: &Layout,
    brackets: &[Bracket<'_>],
    shots: Vec<Shot>,
) -> Vec<FrameOfPlan> {
    let mut sides = request.sides.iter().cloned();
    let mut made = vec![];
    let mut frame = |name: &str, filters, role, exposure, why: String, left_over_stops| {
        made.push(FrameOfPlan {
            frame: PlannedFrame {
                id: id(name),
                film: request.film.id.clone(),
                filters,
                process: request.process.id.clone(),
                holder: sides.next(),
                load: None,
                role,
                exposure,
                why: Some(why),
                remarks: None,
            },
            left_over_stops,
        });
    };
    for shot in shots {
        let filters = match (shot.filtered, &request.red) {
            (Filtered::Tested(of), _) => vec![brackets[of].filter.id.clone()],
            (Filtered::Red, Some((red, _))) => vec![red.id.clone()],
            _ => vec![],
        };
        let exposure = PlannedExposure::Camera(PlannedCamera {
            lens: Some(id("lens")),
            light: request.light.id.clone(),
            ei: shot.setting.ei,
            aperture: shot.setting.aperture,
            time: shot.setting.time,
            bellows: None,
        });
        let left_over = Some(shot.setting.left_over_stops);
        frame(
            &shot.name, filters, shot.role, exposure, shot.why, left_over,
        );
    }
    if let Some(tablet) = request.tablet.as_ref().filter(|_| layout.tablet) {
        frame(
            "tablet-sheet",
            vec![],
            FrameRole::TabletSheet,
            PlannedExposure::Tablet(tablet.id.clone()),
            "through the step tablet: gives the curve of this development".to_owned(),
            None,
        );
    }
    if layout.unexposed {
        frame(
            "unexposed",
            vec![],
            FrameRole::Unexposed,
            PlannedExposure::None,
            "loaded, carried and developed, never exposed: shows leaks and base+fog".to_owned(),
            None,
        );
    }
    made
}

/// The error for a request none of whose layouts can be set.
pub(super) fn none_fits(request: &PlanRequest, middle: ExposureIndex) -> PlanError {
    no_setting(request, middle)
}

/// How a planned frame would be recorded, were it exposed as planned.
pub(super) fn as_exposed(planned: &PlannedExposure) -> Exposure {
    match planned {
        PlannedExposure::Camera(camera) => Exposure::Camera(record::CameraExposure {
            lens: camera.lens.clone(),
            light: camera.light.clone(),
            reading: None,
            ei: Some(camera.ei),
            aperture: camera.aperture,
            time: record::Time {
                marked: camera.time.marked,
                actual: None,
                actual_uncertainty_stops: None,
            },
            bellows: camera.bellows,
        }),
        PlannedExposure::Tablet(tablet) => Exposure::Tablet {
            tablet: tablet.clone(),
            without_tablet: None,
        },
        PlannedExposure::None => Exposure::None,
    }
}
