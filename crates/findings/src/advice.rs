//! What can't be told, why, and which sheet would settle it.

use crate::estimate::Estimate;
use crate::finding::{CannotTell, FactorFinding, FrameFinding, SpeedFinding, Verdict};
use crate::named::named;
use quantity::{Bound, Flag};
use record::{EdgeLevel, Exposure, FrameRole, Id, PatchRole, Test};
use std::collections::BTreeSet;

pub(crate) fn filters_words(filters: &[Id]) -> String {
    if filters.is_empty() {
        "no filter".to_owned()
    } else {
        filters
            .iter()
            .map(Id::as_str)
            .collect::<Vec<_>>()
            .join(" + ")
    }
}

/// Factors that can't even be bounded, because no unfiltered picture shows an image.
pub(crate) fn unshown(factors: &[FactorFinding]) -> Vec<CannotTell> {
    factors
        .iter()
        .map(|factor| CannotTell {
            question: format!(
                "anything of {}, {}, {}",
                named("film", &factor.film),
                named("filter", filters_words(&factor.filters)),
                named("light", &factor.light)
            ),
            reason: "the unfiltered frames are blank too, so the blanks behind the filter may come of shutter, holder or development and bound nothing".into(),
            remedy: "expose an unfiltered anchor at the box speed in this light, and repeat the most exposed filtered frame".into(),
        })
        .collect()
}

pub(crate) fn cannot_tell(
    e: Option<&Estimate>,
    test: &Test,
    frames: &[FrameFinding],
    factors: &[FactorFinding],
    speeds: &[SpeedFinding],
) -> Vec<CannotTell> {
    let mut rows = vec![];
    let mut say = |question: String, reason: String, remedy: String| {
        rows.push(CannotTell {
            question,
            reason,
            remedy,
        });
    };
    for factor in factors {
        let name = format!(
            "{}, {}, {}",
            named("film", &factor.film),
            named("filter", filters_words(&factor.filters)),
            named("light", &factor.light)
        );
        match factor.bound {
            Some(Bound::AtLeast) => say(
                format!("the factor of {name}"),
                format!(
                    "{} blank on the matched patches, so the factor is at least {:.1} stops and may be anything above",
                    match factor.frames_as_limits {
                        1 => "the only filtered frame is".to_owned(),
                        n => format!("all {n} filtered frames are"),
                    },
                    factor.stops.low.to_stops()
                ),
                "expose one more sheet with three stops more than the most exposed one, and a plain red control to show that the film and process work".into(),
            ),
            Some(Bound::AtMost) => say(
                format!("the factor of {name}"),
                "all filtered frames are too dense to read, so the factor is at most this".into(),
                "expose one more sheet with four stops less".into(),
            ),
            None => {}
        }
        if factor.flags.contains(Flag::NoAnchor) {
            say(
                format!("the factor of {name} by direct comparison"),
                "no unfiltered frame was exposed in this light, so the factor rests on the light reading and the film's own speed".into(),
                "expose one unfiltered anchor in this light, of the same subject".into(),
            );
        }
        if factor.flags.contains(Flag::FactorWithReciprocity) {
            say(
                format!("filter factor and reciprocity failure of {name}, apart"),
                "filtered frames were exposed for longer than 1 s and no reciprocity law is recorded for the film; the factor holds both".into(),
                "expose an equal-time pair: an unfiltered frame stopped down or behind a neutral filter to the same time as a filtered one; or record the film's reciprocity law".into(),
            );
        }
        if factor.bound.is_none() && factor.frames_used == 1 {
            say(
                format!("whether the only filtered frame of {name} is typical"),
                "one frame can't show its own error".into(),
                "repeat that frame".into(),
            );
        }
    }
    // One anchor: its own error is the factor's.
    let mut lights: BTreeSet<(&Id, &Id)> = BTreeSet::new();
    for factor in factors {
        lights.insert((&factor.film, &factor.light));
    }
    for (film, light) in lights {
        let anchors = frames
            .iter()
            .filter(|f| {
                f.film == *film
                    && f.light.as_ref() == Some(light)
                    && f.filters.is_empty()
                    && f.verdict != Verdict::Blank
            })
            .count();
        if anchors == 1 {
            say(
                format!("the anchor's own error, film {film}, light {light}"),
                "there is one unfiltered frame; an error of its shutter or of the light goes into the factor in full and can't be seen".into(),
                "expose a second anchor; it is worth more than a further bracket frame".into(),
            );
        }
    }
    if let Some(e) = e {
        for curve in &e.model.curves {
            if !curve.absolute {
                say(
                    format!("the speed of {} in {}", named("film", &curve.film), named("process", &curve.process)),
                    "no light reading and no exposure in lux seconds is recorded, so the exposure scale is relative".into(),
                    "read the light with a meter, or expose a tablet sheet with known lux seconds".into(),
                );
            }
            if curve.response == record::Response::RelativeDensity {
                say(
                    format!("densities of {} in {}", named("film", &curve.film), named("process", &curve.process)),
                    "no step tablet calibrates the scan, and what its file or record says of the tone is no calibration, so absolute density is refused".into(),
                    "scan again with a step tablet beside the film and the exposure locked".into(),
                );
            }
        }
    }
    if speeds.iter().any(|s| s.flags.contains(Flag::RestsOnPrior)) {
        say(
            "the film's own speed".into(),
            "readings near the speed point are too few; the number rests on the box speed".into(),
            "expose a tablet sheet, or an unfiltered frame four stops under".into(),
        );
    }
    let exposed_tablet = test
        .parts()
        .frames
        .iter()
        .any(|f| f.role == FrameRole::TabletSheet);
    if !exposed_tablet && !factors.is_empty() {
        say(
            "the gradient better than about a tenth".into(),
            "no tablet sheet was exposed and developed with the frames".into(),
            "expose one sheet through a step tablet and develop it with the others".into(),
        );
    }
    for filter in &test.parts().filters {
        if filter.edge.is_some_and(|e| e.level == EdgeLevel::NotStated) {
            say(
                format!("where {} really begins to pass", named("filter", &filter.id)),
                "its edge is named without the level it is quoted at; 10 nm is 0.4 to 1.2 stops on a film whose sensitivity ends there".into(),
                "find the filter's curve, or the level (50 % T, 50 % of peak, 10 %)".into(),
            );
        }
    }
    if let Some(e) = e
        && e.model
            .recorded
            .iter()
            .flatten()
            .any(|r| r.flags.contains(Flag::ThroughFilter))
    {
        say(
            "an EI from readings made through the filter".into(),
            "such a reading follows the meter's cell, and two meters differ by stops; it is kept as a light record only. If a factor was taken off as well, it was counted twice".into(),
            "read the light without the filter and write that reading down".into(),
        );
    }
    let shaded = test
        .parts()
        .patches
        .iter()
        .any(|p| p.role == PatchRole::ShadedFoliage);
    if shaded {
        say(
            "how much of the shaded foliage's density is camera flare".into(),
            "flare lifts shaded patches and no flare control was exposed".into(),
            "put a black trap (a deep box with a small opening) beside the shaded foliage".into(),
        );
    }
    let camera = test
        .parts()
        .frames
        .iter()
        .any(|f| matches!(f.exposure, Exposure::Camera(_)));
    if camera && factors.is_empty() && !test.parts().filters.is_empty() {
        say(
            "any filter factor".into(),
            "no filtered frame could be read".into(),
            "expose a bracket through the filter beside an unfiltered anchor".into(),
        );
    }
    rows
}

/// Sets the flag on factors whose best frame is the end of the bracket.
pub(crate) fn mark_bracket_ends(frames: &mut [FrameFinding], factors: &mut [FactorFinding]) {
    // A factor that is only a bound says so itself.
    for factor in factors.iter_mut().filter(|f| f.bound.is_none()) {
        let mut bracket: Vec<(usize, f64)> = frames
            .iter()
            .enumerate()
            .filter(|(_, f)| {
                f.film == factor.film
                    && f.filters == factor.filters
                    && f.light.as_ref() == Some(&factor.light)
            })
            .filter_map(|(i, f)| {
                f.effective_ei
                    .map(|ei| (i, -ei.to_arithmetic().log2()))
                    .or_else(|| f.stops_missing.as_ref().map(|m| (i, -m.value().to_stops())))
            })
            .collect();
        if bracket.len() < 2 {
            continue;
        }
        bracket.sort_by(|a, b| a.1.total_cmp(&b.1));
        let distance = |i: usize| {
            frames[i]
                .stops_missing
                .as_ref()
                .map_or(f64::MAX, |m| m.value().to_stops().abs())
        };
        let best = bracket
            .iter()
            .enumerate()
            .min_by(|a, b| distance(a.1.0).total_cmp(&distance(b.1.0)))
            .map(|(place, _)| place);
        let Some(place) = best else { continue };
        let (i, _) = bracket[place];
        let at_most_exposed = place + 1 == bracket.len();
        let at_least_exposed = place == 0;
        // The end counts only when the frame there still misses on that side.
        let missing = frames[i]
            .stops_missing
            .as_ref()
            .map(|m| m.value().to_stops());
        let ends = match missing {
            Some(m) => (at_most_exposed && m > 1.0 / 6.0) || (at_least_exposed && m < -1.0 / 6.0),
            None => at_most_exposed,
        };
        if ends {
            frames[i].flags.insert(Flag::EndOfBracket);
            factor.flags.insert(Flag::EndOfBracket);
        }
    }
}
