//! What is left of a plan after the light has changed.
//!
//! Frames that are exposed stay as they are. The others keep their EI, which
//! belongs to film and filter, and get new times for the new reading; the lens is
//! opened where a time would be longer than can be borne. A new light needs an
//! unfiltered frame of its own: a factor is matched within one light. Where none
//! is left, one of the frames left becomes it, the one that is missed least.
//!
//! Symbols: none; the times are those of the exposure chain.

use super::setting::Chain;
use exposure::{Bellows, ChainError, LightReading, ReciprocityLaw};
use quantity::{FNumber, Seconds};
use record::{FrameRole, Id, PlannedCamera, PlannedExposure, PlannedFrame, PlannedTest};

/// Why the frames left can't be planned anew.
#[derive(Debug, PartialEq, thiserror::Error)]
pub enum ChangedLightError {
    /// Nothing to do.
    #[error("every camera frame of the plan is exposed already")]
    NothingLeft,
    /// Open the lens, bear a longer time, or wait.
    #[error(
        "frame {frame} needs {needed_s:.0} s at f/{widest_f}, and the longest time is {longest_s} s"
    )]
    TooLong {
        /// The frame.
        frame: String,
        /// Its time at the widest aperture. \[s\]
        needed_s: f64,
        /// The widest aperture at hand.
        widest_f: f64,
        /// The longest time that can be borne. \[s\]
        longest_s: f64,
    },
    /// No aperture was handed in.
    #[error("no aperture mark is at hand")]
    NoAperture,
    /// The chain refuses.
    #[error("frame {frame} can't be exposed in this light")]
    Chain {
        /// The frame.
        frame: String,
        /// Why.
        #[source]
        source: ChainError,
    },
}

/// Gives the reciprocity law of a planned frame with its text, if it has one.
pub type LawOfFrame<'a> =
    dyn Fn(&PlannedFrame, &PlannedCamera) -> Option<(&'a str, &'a ReciprocityLaw)> + 'a;

/// The new light and what is at hand.
pub struct ChangedLight<'a> {
    /// The light's record name; it must be new to the record.
    pub light: &'a Id,
    /// The new reading, without filter.
    pub reading: LightReading,
    /// The longest time that can be borne.
    pub longest: Seconds,
    /// Aperture marks of the lens.
    pub apertures: &'a [FNumber],
    /// The bellows of a frame, if it is focused near.
    pub bellows: &'a dyn Fn(&PlannedCamera) -> Option<Bellows>,
    /// The reciprocity law of a frame, with its text.
    pub law: &'a LawOfFrame<'a>,
}

/// A frame that was planned anew.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedAnew {
    /// The frame as it is to be exposed now.
    pub frame: PlannedFrame,
    /// Exposure that the mark gives over what the EI asks for. \[stops\]
    pub left_over_stops: f64,
    /// What has changed beside the time, in words.
    pub changed: Option<String>,
}

/// The frames left, in the order they are to be exposed.
#[derive(Clone, Debug, PartialEq)]
pub struct FramesLeft {
    /// Camera frames, an unfiltered one first where there is one.
    pub frames: Vec<PlannedAnew>,
    /// Record names of camera frames that are exposed already.
    pub exposed: Vec<Id>,
    /// Whether an unfiltered frame is among those left, so that a factor can be
    /// matched in the new light.
    pub anchored: bool,
}

impl FramesLeft {
    /// The whole plan: what is exposed and what needs no camera as it was, then the
    /// frames left.
    #[must_use]
    pub fn whole_plan(&self, before: &PlannedTest) -> Vec<PlannedFrame> {
        let stays = |frame: &&PlannedFrame| {
            before.exposed(&frame.id).is_some()
                || !matches!(frame.exposure, PlannedExposure::Camera(_))
        };
        let mut plan: Vec<PlannedFrame> = before.planned().iter().filter(stays).cloned().collect();
        plan.extend(self.frames.iter().map(|f| f.frame.clone()));
        plan
    }
}

/// Plans the frames left for a new light.
///
/// # Errors
/// [`ChangedLightError`] when nothing is left, or a frame can't be exposed.
pub fn frames_left(
    test: &PlannedTest,
    change: &ChangedLight<'_>,
) -> Result<FramesLeft, ChangedLightError> {
    let mut left: Vec<(PlannedFrame, Option<String>)> = vec![];
    let mut exposed = vec![];
    for frame in test.planned() {
        if !matches!(frame.exposure, PlannedExposure::Camera(_)) {
            continue;
        }
        if test.exposed(&frame.id).is_some() {
            exposed.push(frame.id.clone());
        } else {
            left.push((frame.clone(), None));
        }
    }
    if left.is_empty() {
        return Err(ChangedLightError::NothingLeft);
    }
    let anchored = anchor_first(test, &mut left);
    let frames = left
        .into_iter()
        .map(|(frame, changed)| anew(frame, changed, change))
        .collect::<Result<_, _>>()?;
    Ok(FramesLeft {
        frames,
        exposed,
        anchored,
    })
}

/// Puts an unfiltered frame first, or makes one where a bracket would lack it;
/// says whether there is one.
fn anchor_first(test: &PlannedTest, left: &mut [(PlannedFrame, Option<String>)]) -> bool {
    if let Some(at) = left.iter().position(|(f, _)| f.filters.is_empty()) {
        left[..=at].rotate_right(1);
        return true;
    }
    let behind_filter = |f: &PlannedFrame| f.role != FrameRole::RedControl;
    let bracket: Vec<usize> = (0..left.len())
        .filter(|i| behind_filter(&left[*i].0))
        .collect();
    let with_role = |role| left.iter().position(|(f, _)| f.role == role);
    let spare = with_role(FrameRole::Repeat)
        .filter(|_| bracket.len() > 1)
        .or_else(|| with_role(FrameRole::RedControl));
    let given_up = match (spare, bracket.as_slice()) {
        (Some(spare), [_, ..]) => spare,
        // The frame farthest from the middle of the bracket as it was planned.
        (None, [_, _, ..]) => {
            let Some(middle) = middle_of_bracket(test) else {
                return false;
            };
            let far = |i: &usize| log_ei(&left[*i].0).map_or(0.0, |log| (log - middle).abs());
            match bracket.iter().max_by(|a, b| far(a).total_cmp(&far(b))) {
                Some(i) => *i,
                None => return false,
            }
        }
        _ => return false,
    };
    let Some(pattern) = test.planned().iter().find(|f| f.role == FrameRole::Anchor) else {
        return false;
    };
    let PlannedExposure::Camera(unfiltered) = &pattern.exposure else {
        return false;
    };
    let (frame, changed) = &mut left[given_up];
    *changed = Some(format!(
        "was {} ({}); the new light needs an unfiltered frame of its own",
        frame.role.words(),
        frame.id
    ));
    frame.role = FrameRole::Anchor;
    frame.filters.clear();
    frame.why = Some("the unfiltered frame of the new light".to_owned());
    frame.exposure = PlannedExposure::Camera(unfiltered.clone());
    left[..=given_up].rotate_right(1);
    true
}

/// log10 EI of a camera frame.
fn log_ei(frame: &PlannedFrame) -> Option<f64> {
    match &frame.exposure {
        PlannedExposure::Camera(camera) => Some(libm::log10(camera.ei.to_arithmetic())),
        _ => None,
    }
}

/// The mean log10 EI of the frames behind the filter, exposed or not.
fn middle_of_bracket(test: &PlannedTest) -> Option<f64> {
    let logs: Vec<f64> = test
        .planned()
        .iter()
        .filter(|f| !f.filters.is_empty() && f.role != FrameRole::RedControl)
        .filter_map(log_ei)
        .collect();
    (!logs.is_empty()).then(|| logs.iter().sum::<f64>() / logs.len() as f64)
}

fn anew(
    mut frame: PlannedFrame,
    changed: Option<String>,
    change: &ChangedLight<'_>,
) -> Result<PlannedAnew, ChangedLightError> {
    let PlannedExposure::Camera(camera) = &frame.exposure else {
        unreachable!("only camera frames are planned anew");
    };
    let mut camera = camera.clone();
    let chain = Chain {
        reading: change.reading,
        bellows: (change.bellows)(&camera),
        law: (change.law)(&frame, &camera),
    };
    let planned = camera.aperture;
    let mut marks: Vec<FNumber> = change
        .apertures
        .iter()
        .copied()
        .filter(|a| a.to_ratio() < planned.to_ratio())
        .collect();
    marks.sort_by(|a, b| b.to_ratio().total_cmp(&a.to_ratio()));
    marks.insert(0, planned);
    let mut refused = None;
    let mut widest = None;
    for aperture in marks {
        let set = match chain.set(camera.ei, aperture) {
            Ok(set) => set,
            Err(source) => {
                refused = Some(source);
                continue;
            }
        };
        if set.time.marked.to_s() > change.longest.to_s() {
            widest = Some(set);
            continue;
        }
        let opened = (aperture != planned).then(|| {
            format!(
                "opened from f/{} so that the time can be borne",
                planned.to_ratio()
            )
        });
        let changed = match (changed, opened) {
            (Some(a), Some(b)) => Some(format!("{a}; {b}")),
            (a, b) => a.or(b),
        };
        camera.light = change.light.clone();
        camera.aperture = set.aperture;
        camera.time = set.time;
        frame.exposure = PlannedExposure::Camera(camera);
        return Ok(PlannedAnew {
            frame,
            left_over_stops: set.left_over_stops,
            changed,
        });
    }
    let frame = frame.id.to_string();
    match (widest, refused) {
        (Some(set), _) => Err(ChangedLightError::TooLong {
            frame,
            needed_s: set.time.marked.to_s(),
            widest_f: set.aperture.to_ratio(),
            longest_s: change.longest.to_s(),
        }),
        (None, Some(source)) => Err(ChangedLightError::Chain { frame, source }),
        (None, None) => Err(ChangedLightError::NoAperture),
    }
}
