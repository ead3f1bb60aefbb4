//! From a test and its readings to findings: the one way in.

use crate::assumptions::{Assumptions, Source};
use crate::estimate::{Estimate, EstimateError, estimate};
use crate::finding::{FactorFinding, Findings, FrameFinding, Verdict, VerdictCriteria};
use crate::frame_exposure::FrameExposureError;
use crate::model::{FactorKey, JointModel, Key};
use crate::named::named;
use core::f64::consts::LOG10_2;
use quantity::{Bound, Flag, Measured, Stops};
use record::{Reading, Test};

/// Name and version of the method, written into every finding.
pub const METHOD: &str = "joint maximum-posterior estimate, version 1";

/// Flags of a frame or scan that concern the test as a whole.
const ABOUT_THE_WHOLE: [Flag; 10] = [
    Flag::Outlier,
    Flag::LevelsChanged,
    Flag::Comb,
    Flag::EightBitOrigin,
    Flag::TabletOutOfOrder,
    Flag::Uncalibrated,
    Flag::Lossy,
    Flag::NoReciprocityLaw,
    Flag::ThroughFilter,
    Flag::EndOfBracket,
];

/// Why a test could not be evaluated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EvaluateError {
    /// A frame's record is not enough to work out its exposure.
    #[error(transparent)]
    Exposure(#[from] FrameExposureError),
    /// Nothing to fit, or no fit.
    #[error(transparent)]
    Estimate(#[from] EstimateError),
    /// No picture of any film shows an image, so nothing tells a filter from a
    /// shutter that stayed shut.
    #[error(
        "every picture is blank ({unfiltered} of {pictures} without a filter), so nothing shows that light reached the film, and no factor or EI is given"
    )]
    AllBlank {
        /// Frames that are judged as pictures.
        pictures: usize,
        /// Those of them without a filter.
        unfiltered: usize,
    },
}

/// Evaluates a test.
///
/// `readings` are all readings to be used: those written down in the test and
/// those measured in its scans. Readings must name frames and patches of the
/// test. Same input, same answer to the last bit.
///
/// # Errors
/// [`EvaluateError`] when nothing was read, when a frame's exposure can't be
/// worked out, when the readings contradict each other beyond any fit, or when
/// every picture is blank.
pub fn evaluate(
    test: &Test,
    readings: &[Reading],
    assumptions: &Assumptions,
    criteria: &VerdictCriteria,
) -> Result<Findings, EvaluateError> {
    let model = JointModel::build(test, readings, assumptions)?;
    let e = estimate(model, assumptions)?;
    let mut frames = crate::frames::frame_findings(Some(&e), test, readings, criteria);
    let images = Images::of(&frames);
    images.any()?;
    let (mut factors, unshown): (Vec<_>, Vec<_>) =
        crate::factors::factors(&e, test, readings, assumptions)
            .into_iter()
            .partition(|f| images.support(f));
    bound_stops_missing(&mut frames, &e, &factors, &unshown);
    crate::advice::mark_bracket_ends(&mut frames, &mut factors);
    let speeds = crate::factors::speeds(&e, assumptions);
    let wood_effect = crate::factors::wood_effect(&e, test, assumptions);
    let mut cannot_tell = crate::advice::unshown(&unshown);
    cannot_tell.extend(crate::advice::cannot_tell(
        Some(&e),
        test,
        &frames,
        &factors,
        &speeds,
    ));
    let mut used: Vec<Source> = e.model.priors.iter().map(|p| p.source).collect();
    used.push(Source::Reading);
    if wood_effect.iter().any(|w| w.shade) {
        used.push(Source::Flare);
    }
    used.sort_unstable();
    used.dedup();
    let mut flags = e.model.flags.clone();
    if factors.iter().any(|f| f.flags.contains(Flag::NoAnchor)) {
        flags.insert(Flag::NoAnchor);
    }
    let mut notes = vec![];
    if !e.fit.converged {
        notes.push(
            "the fit had not settled after its last step: treat all intervals as too narrow"
                .to_owned(),
        );
    }
    for &f in &e.developed_apart {
        let frame = &test.parts().frames[f];
        if let Some(&i) = e
            .model
            .index
            .get(&crate::model::Key::Development(frame.id.clone()))
        {
            let ratio = libm::exp(e.fit.parameters[i]);
            notes.push(format!(
                "{} came out {:.0} % {} in contrast than the others of its process; it was given less weight. Developed apart, another film, or a scan that was levelled?",
                named("frame", &frame.id),
                100.0 * (ratio - 1.0).abs(),
                if ratio > 1.0 { "higher" } else { "lower" },
            ));
        }
    }
    for (f, frame) in frames.iter().enumerate() {
        if e.outliers.contains(&f)
            && let Some(error) = &frame.exposure_error
        {
            let stops = error.value().to_stops();
            notes.push(format!(
                "{} got {:.1} stops {} than its record says, further off than the rest allow; it was given less weight. Shutter, light, or a slip of the record?",
                named("frame", &frame.frame),
                stops.abs(),
                if stops > 0.0 { "more" } else { "less" },
            ));
        }
    }
    notes.extend(crate::consistency::contradictions(test, readings, &e));
    if let Some(note) = crate::consistency::against_box_speed(test, &e) {
        flags.insert(Flag::BoxSpeedDisagrees);
        notes.push(note);
    }
    notes.extend(crate::consistency::repeated_readings(readings));
    // What a reader of the first line must know of frames and scans.
    for frame in &frames {
        for flag in frame.flags.iter().filter(|f| ABOUT_THE_WHOLE.contains(f)) {
            flags.insert(flag);
        }
    }
    for factor in &factors {
        if factor.bound == Some(Bound::AtLeast) {
            notes.push(format!(
                "{}, {}: behind {} nothing but blank frames; the factor is a lower bound",
                named("film", &factor.film),
                named("light", &factor.light),
                named("filter", crate::advice::filters_words(&factor.filters))
            ));
        }
    }
    let causes = crate::causes::causes(&e, test, &factors, assumptions);
    Ok(Findings {
        title: test.parts().title.clone(),
        invented: test.parts().invented,
        method: METHOD.to_owned(),
        coverage: assumptions.coverage,
        curves: crate::curves::curve_findings(&e, test),
        bracket_curves: crate::bracket::bracket_findings(&e, test, readings, assumptions),
        frames,
        factors,
        speeds,
        wood_effect,
        causes,
        cannot_tell,
        assumptions: assumptions.listed(&used),
        readings: crate::frames::reading_uses(Some(&e), readings),
        criteria: *criteria,
        flags,
        notes,
    })
}

/// Makes what is missing behind a filter a limit where the factor is one, and
/// takes it back where not even a limit is known.
fn bound_stops_missing(
    frames: &mut [FrameFinding],
    e: &Estimate,
    told: &[FactorFinding],
    unshown: &[FactorFinding],
) {
    for frame in frames {
        let of_frame = |f: &&FactorFinding| {
            (&f.film, &f.filters, Some(&f.light))
                == (&frame.film, &frame.filters, frame.light.as_ref())
        };
        if unshown.iter().any(|f| of_frame(&f)) {
            frame.stops_missing = None;
            continue;
        }
        let Some(factor) = told.iter().find(of_frame) else {
            continue;
        };
        let limit = match factor.bound {
            None => continue,
            Some(Bound::AtLeast) => factor.stops.low,
            Some(Bound::AtMost) => factor.stops.high,
        };
        let key = Key::Factor(FactorKey {
            film: factor.film.clone(),
            filters: factor.filters.clone(),
            light: factor.light.clone(),
        });
        // The frame lacks one stop more for each stop of the factor.
        frame.stops_missing = frame.stops_missing.as_ref().and_then(|missing| {
            let fitted = e.fit.parameters[*e.model.index.get(&key)?] / LOG10_2;
            let at_limit = missing.value().to_stops() + limit.to_stops() - fitted;
            Some(Measured::new(
                Stops::new(at_limit).ok()?,
                missing.standard_uncertainty(),
            ))
        });
        frame.stops_missing_bound = factor.bound;
    }
}

/// Which pictures show an image.
///
/// A blank behind a filter is a limit on the factor only where something shows
/// that camera, holder and developer did their work.
struct Images<'a> {
    pictures: Vec<&'a FrameFinding>,
}

impl<'a> Images<'a> {
    fn of(frames: &'a [FrameFinding]) -> Self {
        Self {
            pictures: frames
                .iter()
                .filter(|f| f.verdict != Verdict::Control)
                .collect(),
        }
    }

    /// Refuses a test in which every picture is blank.
    fn any(&self) -> Result<(), EvaluateError> {
        let blank = |f: &&&FrameFinding| f.verdict == Verdict::Blank;
        if self.pictures.is_empty()
            || self.pictures.iter().filter(blank).count() < self.pictures.len()
        {
            return Ok(());
        }
        Err(EvaluateError::AllBlank {
            pictures: self.pictures.len(),
            unfiltered: self
                .pictures
                .iter()
                .filter(|f| f.filters.is_empty())
                .count(),
        })
    }

    /// Tells whether a factor that is a bound by blanks has an image to stand
    /// on: some picture of the film, and in the bound's light an anchor, if
    /// anchors were exposed in it.
    fn support(&self, factor: &FactorFinding) -> bool {
        if factor.bound != Some(Bound::AtLeast) {
            return true;
        }
        let of_film = || self.pictures.iter().filter(|f| f.film == factor.film);
        let mut anchors = of_film()
            .filter(|f| f.filters.is_empty() && f.light.as_ref() == Some(&factor.light))
            .peekable();
        of_film().any(|f| f.verdict != Verdict::Blank)
            && (anchors.peek().is_none() || anchors.any(|f| f.verdict != Verdict::Blank))
    }
}
