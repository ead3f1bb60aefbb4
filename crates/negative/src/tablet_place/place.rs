//! The search as a whole: candidates from lines, each laid and judged; exactly
//! one may stand.

use super::judge::{Judged, judge};
use super::light::{Frame, Light};
use super::stairs::staircases;
use super::strip::{INNER, Strip};
use crate::outline::{Outline, StepDirection};
use crate::preview::Preview;

/// Fewest steps of a tablet that is looked for: a choice; fewer are too like a subject's.
const FEWEST_STEPS: usize = 7;
/// Fewest edges of a staircase on one line: seven steps have six between them, and one may
/// be missed.
const FEWEST_EDGES: usize = 5;
/// Staircases that are laid on the picture, longest first: a choice that bounds the time.
const MOST_CANDIDATES: usize = 60;
/// Part of the strip's width that an outline takes, in its middle: a choice that leaves
/// soft sides out.
const OUTLINE_WIDTH: f64 = 0.6;

/// One step of a tablet that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedStep {
    /// The inner part, away from its edges: what is to be measured.
    pub outline: Outline,
    /// The corners of the whole step, pixels of the scan.
    pub whole: [(f64, f64); 4],
    /// Whether both its edges along the strip were seen; a step without is
    /// placed by the pitch of the others.
    pub seen: bool,
}

/// A tablet found in a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletPlace {
    /// Its steps in the order of the table.
    pub steps: Vec<PlacedStep>,
    /// Which way the table's order runs, to the nearest quarter turn.
    pub direction: StepDirection,
    /// How far the strip is turned from that direction, clockwise as the
    /// picture is seen. \[degrees\]
    pub tilt_deg: f64,
    /// From step to step, pixels of the scan.
    pub pitch_px: f64,
    /// Standard uncertainty of the edges between steps, pixels of the scan.
    pub edge_sd_px: f64,
    /// Standard uncertainty of the strip's long sides, pixels of the scan.
    pub side_sd_px: f64,
    /// Standard deviation of the light steps about the table, where the tone is
    /// known. \[density\]
    pub table_misfit: Option<f64>,
    /// How far all that was judged stays from what is refused: 1 far, 0 at the limit.
    pub quality: f64,
}

impl TabletPlace {
    /// How many steps were placed by the pitch only.
    #[must_use]
    pub fn placed_by_pitch(&self) -> usize {
        self.steps.iter().filter(|s| !s.seen).count()
    }
}

/// Why no tablet was found.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TabletPlaceError {
    /// Outline the steps by hand.
    #[error(
        "a tablet of {steps} steps is too short to be looked for; at least {needed} are needed"
    )]
    TooShort {
        /// Steps of the table.
        steps: usize,
        /// Steps needed.
        needed: usize,
    },
    /// Put the table in the order of the tablet.
    #[error("the table's densities do not all rise, or all fall, from step to step (step {step})")]
    TableOrder {
        /// First step out of order, counted from 1.
        step: usize,
    },
    /// Say where the tablet lies.
    #[error("no strip of even steps at one pitch that grow denser was found in the scan")]
    NotFound,
    /// Give the table of the tablet that lies there, or scan it whole.
    #[error(
        "a strip of {seen} steps is seen near column {x:.0}, row {y:.0}, but the table has {steps}"
    )]
    StepCount {
        /// Steps that were seen.
        seen: usize,
        /// Steps of the table.
        steps: usize,
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Scan the whole tablet, with a margin.
    #[error("the strip near column {x:.0}, row {y:.0} leaves the scan: step {step} is cut off")]
    CutOff {
        /// First step that is cut off, in the table's order.
        step: usize,
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Leave a margin of another brightness around the thin end.
    #[error(
        "the outer edge of the thinnest step can't be seen (strip near column {x:.0}, row {y:.0}), so a step could be missing there"
    )]
    EndUnseen {
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Leave bare light around the tablet, or scan with more range.
    #[error(
        "the steps of the strip near column {x:.0}, row {y:.0} can't be counted: its dense end drowns in the dark, and no light is seen beyond both of its ends"
    )]
    FarEndUnseen {
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Uncover the step, or give the right table.
    #[error(
        "step {step} of the strip near column {x:.0}, row {y:.0} does not fit the table: it differs from its neighbour by {seen:.2} where the table gives {expected:.2}"
    )]
    NotByTable {
        /// The step, in the table's order.
        step: usize,
        /// Difference seen. \[density, by the strip's own slope\]
        seen: f64,
        /// Difference by the table. \[density\]
        expected: f64,
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Clean or uncover the step.
    #[error("step {step} of the strip near column {x:.0}, row {y:.0} is not even")]
    Uneven {
        /// The step, in the table's order.
        step: usize,
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Scan with more range: less exposure lost, 16 bits.
    #[error(
        "only {seen} steps of the strip near column {x:.0}, row {y:.0} can be told apart, of {steps}; at least {needed} are needed"
    )]
    TooFewSeen {
        /// Steps that can be told apart.
        seen: usize,
        /// Steps of the table.
        steps: usize,
        /// Steps needed.
        needed: usize,
        /// Middle of the strip, pixels of the scan.
        x: f64,
        /// Middle of the strip, pixels of the scan.
        y: f64,
    },
    /// Say which is meant.
    #[error(
        "{places} places in the scan look like the tablet, near {first:?} and {second:?} (column, row)"
    )]
    Ambiguous {
        /// Places found.
        places: usize,
        /// Middle of the first, pixels of the scan.
        first: (u32, u32),
        /// Middle of the second.
        second: (u32, u32),
    },
}

/// Finds the tablet whose densities are given in a preview of the whole scan.
///
/// `table` is the density of each step, all rising or all falling.
///
/// # Errors
/// [`TabletPlaceError`] when it is not there, not whole, not as the table says,
/// or not there alone.
pub fn find_tablet(preview: &Preview, table: &[f64]) -> Result<TabletPlace, TabletPlaceError> {
    let steps = table.len();
    if steps < FEWEST_STEPS {
        return Err(TabletPlaceError::TooShort {
            steps,
            needed: FEWEST_STEPS,
        });
    }
    let falls = table[1] < table[0];
    if let Some(step) =
        (1..steps).find(|k| (table[*k] < table[k - 1]) != falls || table[*k] == table[k - 1])
    {
        return Err(TabletPlaceError::TableOrder { step: step + 1 });
    }
    let mut light_first = table.to_vec();
    if falls {
        light_first.reverse();
    }
    let upright = Light::of(preview);
    let mut places: Vec<(Strip, bool, Judged)> = vec![];
    let mut failure: Option<(usize, TabletPlaceError)> = None;
    for down in [false, true] {
        let turned;
        let light = if down {
            turned = upright.transposed();
            &turned
        } else {
            &upright
        };
        let mut looked: Vec<Strip> = vec![];
        let mut laid = 0;
        for stairs in staircases(light, FEWEST_EDGES) {
            let middle = {
                let half = stairs.pitch * (stairs.edges - 1) as f64 / 2.0;
                (stairs.from.0 + half, stairs.from.1 + half * stairs.slope)
            };
            let known = |strip: &Strip| strip.holds(middle) && strip.runs_like(&stairs);
            if looked.iter().any(known) {
                continue;
            }
            if laid == MOST_CANDIDATES {
                break;
            }
            laid += 1;
            let Some(strip) = Strip::of(light, &stairs) else {
                continue;
            };
            if !looked.iter().any(|other| other.same_as(&strip)) {
                match judge(light, &strip, &light_first, preview.tone_known) {
                    Ok(judged) => places.push((strip.clone(), down, judged)),
                    Err(fault) => {
                        let error = fault.error(&to_scan(preview, &strip, down), steps, falls);
                        if failure.as_ref().is_none_or(|(most, _)| *most < fault.seen) {
                            failure = Some((fault.seen, error));
                        }
                    }
                }
            }
            looked.push(strip);
        }
    }
    match &places[..] {
        [] => Err(failure.map_or(TabletPlaceError::NotFound, |(_, error)| error)),
        [(strip, down, judged)] => Ok(placed(preview, strip, *down, judged, steps, falls)),
        [(a, a_down, _), (b, b_down, _), ..] => {
            let near = |strip: &Strip, down: bool| {
                let (x, y) = to_scan(preview, strip, down);
                (x.max(0.0) as u32, y.max(0.0) as u32)
            };
            Err(TabletPlaceError::Ambiguous {
                places: places.len(),
                first: near(a, *a_down),
                second: near(b, *b_down),
            })
        }
    }
}

/// From the picture that was searched to the scan.
fn point_in_scan(preview: &Preview, (x, y): (f64, f64), down: bool) -> (f64, f64) {
    let (x, y) = if down { (y, x) } else { (x, y) };
    let side = f64::from(preview.box_side);
    (
        f64::from(preview.left) + x * side,
        f64::from(preview.top) + y * side,
    )
}

/// Middle of a strip, pixels of the scan.
fn to_scan(preview: &Preview, strip: &Strip, down: bool) -> (f64, f64) {
    point_in_scan(preview, strip.middle(), down)
}

fn placed(
    preview: &Preview,
    strip: &Strip,
    down: bool,
    judged: &Judged,
    steps: usize,
    falls: bool,
) -> TabletPlace {
    let side = f64::from(preview.box_side);
    let corners = |place: i32, along: (f64, f64), across: f64| {
        let at = |part: f64| (f64::from(place) + part) * strip.pitch;
        let half = across * strip.half_width;
        [
            (at(along.0), -half),
            (at(along.1), -half),
            (at(along.1), half),
            (at(along.0), half),
        ]
        .map(|(u, v)| point_in_scan(preview, strip.frame.to_picture(u, v), down))
    };
    let mut placed: Vec<PlacedStep> = (0..steps)
        .map(|k| {
            let place = judged.first + k as i32;
            PlacedStep {
                outline: Outline::Polygon(corners(place, INNER, OUTLINE_WIDTH).to_vec()),
                whole: corners(place, (0.0, 1.0), 1.0),
                seen: k < judged.seen,
            }
        })
        .collect();
    if falls {
        placed.reverse();
    }
    let (from, to) = (placed[0].whole, placed[steps - 1].whole);
    let centre = |c: [(f64, f64); 4]| {
        let sum = c.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
        (sum.0 / 4.0, sum.1 / 4.0)
    };
    let (a, b) = (centre(from), centre(to));
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let angle = libm::atan2(dy, dx).to_degrees();
    let quarter = libm::round(angle / 90.0);
    TabletPlace {
        direction: match quarter as i32 {
            0 => StepDirection::LeftToRight,
            1 => StepDirection::TopToBottom,
            -1 => StepDirection::BottomToTop,
            _ => StepDirection::RightToLeft,
        },
        tilt_deg: angle - 90.0 * quarter,
        pitch_px: strip.pitch * side,
        edge_sd_px: judged.edge_sd(strip, steps) * side,
        side_sd_px: strip.side_sd * side,
        table_misfit: judged.table_misfit,
        quality: judged.quality,
        steps: placed,
    }
}

impl Strip {
    /// Middle of the part that was seen.
    fn middle(&self) -> (f64, f64) {
        let k = f64::from(self.seen.0 + self.seen.1) / 2.0;
        self.frame.to_picture(k * self.pitch, 0.0)
    }

    /// Tells whether a point lies on the part that was seen.
    fn holds(&self, (x, y): (f64, f64)) -> bool {
        let Frame { origin, angle } = self.frame;
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        let (dx, dy) = (x - origin.0, y - origin.1);
        let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
        let k = u / self.pitch;
        v.abs() <= self.half_width + 2.0
            && k >= f64::from(self.seen.0) - 1.0
            && k <= f64::from(self.seen.1) + 1.0
    }

    /// Tells whether a staircase runs the same way.
    fn runs_like(&self, stairs: &super::stairs::Stairs) -> bool {
        stairs.rises == (libm::cos(self.frame.angle) < 0.0)
    }

    fn same_as(&self, other: &Self) -> bool {
        self.holds(other.middle())
            && (self.pitch / other.pitch - 1.0).abs() < 0.1
            && libm::cos(self.frame.angle - other.frame.angle) > 0.0
    }
}
