//! How many sheets take which role, and how the bracket lies.

use super::request::PlanRequest;
use super::timing::{Timing, timings};

/// From so many sheets on one is kept unexposed.
const UNEXPOSED_FROM: usize = 5;
/// From so many sheets on one goes behind plain red.
const RED_FROM: usize = 6;
/// From so many sheets on a tablet sheet is worth looking at.
const TABLET_FROM: usize = 5;
/// From so many sheets on one frame is repeated.
const REPEAT_FROM: usize = 10;

/// Numbers of anchors that are looked at.
const ANCHORS: [usize; 6] = [1, 2, 3, 4, 6, 8];
/// Steps of a bracket that are looked at. \[stops\]
pub(super) const STEPS_STOPS: [f64; 4] = [0.5, 1.0, 1.5, 2.0];
/// From so many frames behind the filter on half stops are looked at.
const MANY_FRAMES: usize = 7;

/// One way of sharing the sheets out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Layout {
    pub(super) anchors: usize,
    pub(super) filtered: usize,
    pub(super) step_stops: f64,
    pub(super) unexposed: bool,
    pub(super) red: bool,
    pub(super) tablet: bool,
    /// Whether the filtered frame nearest the expected EI is repeated late.
    pub(super) repeat: bool,
    pub(super) timing: Timing,
}

/// Gives every layout worth looking at.
pub(super) fn layouts(request: &PlanRequest) -> Vec<Layout> {
    let unexposed = request.sheets >= UNEXPOSED_FROM;
    let red = request.red.is_some() && request.sheets >= RED_FROM;
    let repeat = request.sheets >= REPEAT_FROM;
    let timings = timings();
    let mut all = vec![];
    for tablet in [false, true] {
        if tablet && (request.tablet.is_none() || request.sheets < TABLET_FROM) {
            continue;
        }
        let controls =
            usize::from(unexposed) + usize::from(red) + usize::from(tablet) + usize::from(repeat);
        let camera = request.sheets.saturating_sub(controls);
        for anchors in ANCHORS.into_iter().filter(|anchors| *anchors < camera) {
            // Half stops only where there are frames enough to reach anywhere with them.
            let finest = if camera - anchors >= MANY_FRAMES {
                0
            } else {
                1
            };
            for step_stops in STEPS_STOPS.into_iter().skip(finest) {
                for &timing in &timings {
                    all.push(Layout {
                        anchors,
                        filtered: camera - anchors,
                        step_stops,
                        unexposed,
                        red,
                        tablet,
                        repeat,
                        timing,
                    });
                }
            }
        }
    }
    all
}
