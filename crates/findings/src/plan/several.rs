//! Several filters in one test: anchors, red control and unexposed sheet serve
//! them all, and each has a bracket about its own expected EI.
//!
//! First every layout is looked at with the sheets shared out by how little is
//! known of each factor; then single frames and steps are moved between the
//! filters as long as the mean expected interval shrinks.

use super::expected::{Belief, ExpectedInterval, Foresight, expected_of, with_filters};
use super::frames::{Bracket, FrameOfPlan, frames_of, none_fits};
use super::layout::{Layout, STEPS_STOPS, layouts};
use super::prior::FactorPrior;
use super::request::{PlanError, PlanRequest};
use super::setting::more_exposed;
use super::timing::Timing;
use super::{HELD_SD, at_hand};
use crate::assumptions::Assumptions;
use quantity::ExposureIndex;
use record::{Filter, TestParts};

/// Most moves of a frame or a step; each one shrinks the intervals.
const MOST_MOVES: usize = 40;

/// One of several filters, with what is believed of its factor.
#[derive(Clone, Debug, PartialEq)]
pub struct FilterAsked {
    /// The filter; its record name differs from the others'.
    pub filter: Filter,
    /// What is believed of it.
    pub prior: FactorPrior,
}

/// What a shared plan brings for one filter.
#[derive(Clone, Debug, PartialEq)]
pub struct FilterPlanned {
    /// Number of the filter among those asked for, from 0.
    pub asked: usize,
    /// Frames behind it, a repeat among them.
    pub frames: usize,
    /// Step of its bracket; `None` for a single frame. \[stops\]
    pub step_stops: Option<f64>,
    /// What interval is expected of its factor.
    pub expected: ExpectedInterval,
    /// EI that is expected behind it.
    pub expected_ei: ExposureIndex,
    /// EI at the ends of the interval, should the factor be as expected.
    pub ei_low: ExposureIndex,
    /// The other end.
    pub ei_high: ExposureIndex,
}

/// What to expose for several filters, and what that is expected to bring.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedPlan {
    /// The frames in the order they are to be exposed.
    pub frames: Vec<FrameOfPlan>,
    /// Filters behind which an image is expected, as they were asked for.
    pub filters: Vec<FilterPlanned>,
    /// Numbers of filters behind which none is expected; they get no sheet.
    pub no_image: Vec<usize>,
    /// How times and apertures are chosen.
    pub timing: Timing,
    /// Records and patches of the test as it will be once exposed, without readings.
    pub as_if_exposed: TestParts,
}

/// A way to share the sheets out that was looked at.
struct Candidate {
    layout: Layout,
    /// Frames and step of each filter.
    shares: Vec<(usize, f64)>,
    frames: Vec<FrameOfPlan>,
    narrow: usize,
    score: f64,
}

impl Candidate {
    fn better_than(&self, other: &Self) -> bool {
        (self.narrow, self.score - other.score) < (other.narrow, 0.0)
    }
}

struct Search<'a> {
    request: &'a PlanRequest,
    beliefs: Vec<Belief<'a>>,
    middles: Vec<ExposureIndex>,
    assumptions: &'a Assumptions,
}

impl Search<'_> {
    /// Looks at one way; `None` when a frame can't be set.
    fn look(
        &self,
        layout: Layout,
        shares: Vec<(usize, f64)>,
    ) -> Result<Option<Candidate>, PlanError> {
        let brackets: Vec<Bracket<'_>> = (self.beliefs.iter().zip(&self.middles))
            .zip(&shares)
            .map(|((belief, &middle), &(frames, step_stops))| Bracket {
                filter: belief.filter,
                middle,
                frames,
                step_stops,
            })
            .collect();
        let Some(frames) = frames_of(self.request, &layout, &brackets)? else {
            return Ok(None);
        };
        let expected = (0..self.beliefs.len())
            .map(|of| self.expected(&frames, of, Foresight::Search))
            .collect::<Result<Vec<_>, _>>()?;
        let narrow = (self.beliefs.iter().zip(&shares))
            .filter(|(belief, share)| uncovered(belief, **share) > 0.0)
            .count();
        Ok(Some(Candidate {
            layout,
            narrow,
            score: expected.iter().map(|e| e.score).sum::<f64>() / expected.len() as f64,
            shares,
            frames,
        }))
    }

    fn expected(
        &self,
        frames: &[FrameOfPlan],
        of: usize,
        foresight: Foresight,
    ) -> Result<ExpectedInterval, PlanError> {
        expected_of(
            self.request,
            &self.beliefs,
            of,
            frames,
            foresight,
            self.assumptions,
        )
    }

    /// One frame each, then one by one to the bracket that falls shortest of what is
    /// believed, relative to it.
    fn by_need(&self, frames: usize, step_stops: f64) -> Vec<(usize, f64)> {
        let mut shares = vec![(1, step_stops); self.beliefs.len()];
        for _ in self.beliefs.len()..frames {
            let need = |of: usize| {
                let held = HELD_SD * self.beliefs[of].sd_stops;
                uncovered(&self.beliefs[of], shares[of]) / held
            };
            let neediest = (0..shares.len()).max_by(|a, b| {
                need(*a).total_cmp(&need(*b)).then(b.cmp(a)) // of equals the first
            });
            if let Some(of) = neediest {
                shares[of].0 += 1;
            }
        }
        shares
    }

    /// Moves frames and steps between filters while that helps.
    fn improved(&self, mut best: Candidate) -> Result<Candidate, PlanError> {
        for _ in 0..MOST_MOVES {
            let mut next: Option<Candidate> = None;
            for shares in neighbours(&best.shares) {
                let Some(found) = self.look(best.layout, shares)? else {
                    continue;
                };
                if found.better_than(next.as_ref().unwrap_or(&best)) {
                    next = Some(found);
                }
            }
            match next {
                Some(found) => best = found,
                None => break,
            }
        }
        Ok(best)
    }
}

/// What a bracket lacks to reach the believed factor's spread; below zero where it
/// reaches farther. \[stops\]
fn uncovered(belief: &Belief<'_>, (frames, step_stops): (usize, f64)) -> f64 {
    HELD_SD * belief.sd_stops - 0.5 * (frames as f64 - 1.0) * step_stops
}

fn neighbours(shares: &[(usize, f64)]) -> Vec<Vec<(usize, f64)>> {
    let mut all = vec![];
    for from in 0..shares.len() {
        for to in (0..shares.len()).filter(|to| *to != from && shares[from].0 > 1) {
            let mut moved = shares.to_vec();
            moved[from].0 -= 1;
            moved[to].0 += 1;
            all.push(moved);
        }
        for step in STEPS_STOPS {
            if shares[from].0 > 1 && step != shares[from].1 {
                let mut other = shares.to_vec();
                other[from].1 = step;
                all.push(other);
            }
        }
    }
    all
}

/// Plans one test for several filters whose mean expected interval is smallest.
///
/// The filter and the prior of `request` are not looked at; those of `filters`
/// stand in their place. Filters behind which no image is expected get no sheet;
/// when there are only such, no frame is planned.
///
/// # Errors
/// [`PlanError`] when sheets, sides, marks or the longest time allow no test.
pub fn plan_filters(
    request: &PlanRequest,
    filters: &[FilterAsked],
    assumptions: &Assumptions,
) -> Result<SharedPlan, PlanError> {
    let (mut asked, mut beliefs, mut middles, mut no_image) = (vec![], vec![], vec![], vec![]);
    for (number, one) in filters.iter().enumerate() {
        match one.prior {
            FactorPrior::NoImage => no_image.push(number),
            FactorPrior::Expected {
                mean_stops,
                sd_stops,
            } => {
                asked.push(number);
                middles.push(more_exposed(request.box_speed, mean_stops)?);
                beliefs.push(Belief {
                    filter: &one.filter,
                    mean_stops,
                    sd_stops,
                });
            }
        }
    }
    if beliefs.is_empty() {
        return Ok(SharedPlan {
            frames: vec![],
            filters: vec![],
            no_image,
            timing: Timing::PreferredAperture,
            as_if_exposed: TestParts::default(),
        });
    }
    at_hand(request)?;
    if request.sheets < beliefs.len() + 1 {
        return Err(too_few(request, &beliefs));
    }
    let search = Search {
        request,
        beliefs,
        middles,
        assumptions,
    };
    let mut best: Option<Candidate> = None;
    for layout in all_layouts(request, search.beliefs.len()) {
        if layout.filtered < search.beliefs.len() {
            continue;
        }
        let shares = search.by_need(layout.filtered, layout.step_stops);
        let Some(found) = search.look(layout, shares)? else {
            continue;
        };
        if best.as_ref().is_none_or(|b| found.better_than(b)) {
            best = Some(found);
        }
    }
    // The filter that needs most light is the one that can't be set.
    let darkest = (search.middles.iter().copied())
        .min_by(|a, b| a.to_arithmetic().total_cmp(&b.to_arithmetic()))
        .unwrap_or(request.box_speed);
    let best = search.improved(best.ok_or_else(|| none_fits(request, darkest))?)?;
    let tested: Vec<&Filter> = search.beliefs.iter().map(|b| b.filter).collect();
    let mut planned = vec![];
    for (of, &asked) in asked.iter().enumerate() {
        let expected = search.expected(&best.frames, of, Foresight::Promise)?;
        let middle = search.middles[of];
        let (frames, step) = best.shares[of];
        planned.push(FilterPlanned {
            asked,
            // The first filter's middle frame is the one that is repeated.
            frames: frames + usize::from(of == 0 && best.layout.repeat),
            step_stops: (frames > 1).then_some(step),
            expected,
            expected_ei: middle,
            ei_low: more_exposed(middle, expected.at_the_middle_stops)?,
            ei_high: more_exposed(middle, -expected.at_the_middle_stops)?,
        });
    }
    Ok(SharedPlan {
        as_if_exposed: with_filters(request, &tested, &best.frames),
        frames: best.frames,
        filters: planned,
        no_image,
        timing: best.layout.timing,
    })
}

/// The layouts of one filter; where the controls leave too few sheets for a frame
/// behind each filter, those without controls.
fn all_layouts(request: &PlanRequest, filters: usize) -> Vec<Layout> {
    let mut all = layouts(request);
    if all.iter().any(|l| l.filtered >= filters) {
        return all;
    }
    all.retain(|l| l.anchors == 1 && !l.tablet);
    for layout in &mut all {
        // The repeat goes first, then the red control: a filter stands in for it.
        let short = filters.saturating_sub(layout.filtered);
        let freed = usize::from(layout.red) + usize::from(layout.repeat);
        layout.red = false;
        layout.repeat = false;
        layout.filtered += freed;
        if short > freed && layout.unexposed {
            layout.unexposed = false;
            layout.filtered += 1;
        }
    }
    all
}

/// Names the filters that would bring least: those that cost most light.
fn too_few(request: &PlanRequest, beliefs: &[Belief<'_>]) -> PlanError {
    let mut dearest: Vec<&Belief<'_>> = beliefs.iter().collect();
    dearest.sort_by(|a, b| b.mean_stops.total_cmp(&a.mean_stops));
    let over = beliefs.len() + 1 - request.sheets;
    PlanError::TooFewForFilters {
        sheets: request.sheets,
        filters: beliefs.len(),
        leave: (dearest.iter().take(over))
            .map(|b| b.filter.name.clone())
            .collect(),
    }
}
