//! What the records and readings say against each other, in words.
//!
//! These notes change no number; they name what a tester should look at first.

use crate::assumptions::Source;
use crate::estimate::Estimate;
use crate::model::Key;
use crate::named::named;
use core::f64::consts::LOG10_2;
use record::{Id, PatchRole, Reading, Response, Test};
use std::collections::BTreeMap;

/// Film, process, filters, light and patch.
type Series<'a> = (&'a Id, &'a Id, &'a [Id], &'a Id, &'a Id);

/// Pairs of frames of which the one with clearly more exposure, by the record,
/// is clearly thinner.
pub(crate) fn contradictions(test: &Test, readings: &[Reading], e: &Estimate) -> Vec<String> {
    // More than this apart by the record, and by this much the wrong way round.
    const STOPS_APART: f64 = 0.6;
    const DENSITY_BACKWARDS: f64 = 0.06;
    let frames = &test.parts().frames;
    let number: BTreeMap<&Id, usize> = frames.iter().enumerate().map(|(i, f)| (&f.id, i)).collect();
    let mut series: BTreeMap<Series<'_>, Vec<(f64, f64, &Id)>> = BTreeMap::new();
    for reading in readings {
        if reading.limit.is_some() || reading.response == Response::LogSignal {
            continue;
        }
        let Some(&f) = number.get(&reading.frame) else {
            continue;
        };
        let (frame, Some(recorded)) = (&frames[f], &e.model.recorded[f]) else {
            continue;
        };
        let record::Exposure::Camera(camera) = &frame.exposure else {
            continue;
        };
        let is_base = test
            .patch(&reading.frame, &reading.patch)
            .is_none_or(|p| p.role == PatchRole::BaseFog);
        if !is_base {
            series
                .entry((
                    &frame.film,
                    &frame.process,
                    &frame.filters,
                    &camera.light,
                    &reading.patch,
                ))
                .or_default()
                .push((recorded.log_h, reading.value.value(), &frame.id));
        }
    }
    let mut pairs: BTreeMap<(&Id, &Id), (f64, f64, &Id)> = BTreeMap::new();
    for ((.., patch), mut rows) in series {
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        for pair in rows.windows(2) {
            let ((x0, d0, first), (x1, d1, second)) = (pair[0], pair[1]);
            let stops = (x1 - x0) / LOG10_2;
            if stops > STOPS_APART && d0 - d1 > DENSITY_BACKWARDS {
                pairs
                    .entry((first, second))
                    .or_insert((stops, d0 - d1, patch));
            }
        }
    }
    pairs
        .into_iter()
        .map(|((first, second), (stops, density, patch))| {
            format!(
                "frame {second} got {stops:.1} stops more than frame {first} by the record, but its {patch} is {density:.2} thinner: time, aperture or holder of one of them is not as recorded"
            )
        })
        .collect()
}

/// Says when the readings put the film's speed far from the box.
pub(crate) fn against_box_speed(test: &Test, e: &Estimate) -> Option<String> {
    const FAR: f64 = 2.0;
    let p = &e.fit.parameters;
    e.model.keys.iter().enumerate().find_map(|(i, key)| {
        let prior = &e.model.priors[i];
        let Key::Curve(curve, _) = key else {
            return None;
        };
        if prior.source != Source::BoxSpeed {
            return None;
        }
        let off = p[i] - prior.mean;
        if (off / prior.sd).abs() < FAR {
            return None;
        }
        let curve = &e.model.curves[*curve];
        let film = test.film(&curve.film)?;
        Some(format!(
            "by the readings {} is {:.1} stops {} than its box speed of {}: check the light reading, the meter, the box speed as recorded and the development; the factor rests less on it, the EI in full",
            named("film", &curve.film),
            (off / LOG10_2).abs(),
            if off > 0.0 { "slower" } else { "faster" },
            film.box_speed?.to_arithmetic(),
        ))
    })
}

/// Patches that were read more than once.
pub(crate) fn repeated_readings(readings: &[Reading]) -> Vec<String> {
    let mut seen: BTreeMap<(&Id, &Id), Vec<&Reading>> = BTreeMap::new();
    for reading in readings {
        seen.entry((&reading.frame, &reading.patch))
            .or_default()
            .push(reading);
    }
    seen.into_iter()
        .filter(|(_, all)| all.len() > 1)
        .map(|((frame, patch), all)| {
            let values: Vec<f64> = all.iter().map(|r| r.value.value()).collect();
            let (low, high) = values
                .iter()
                .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
            let sd = all
                .iter()
                .map(|r| r.value.standard_uncertainty())
                .fold(0.0, f64::max);
            if high - low > 4.0 * sd.max(0.005) {
                format!(
                    "patch {patch} of frame {frame} was read {} times, from {low:.2} to {high:.2}: these contradict each other, and one is probably of another patch",
                    all.len()
                )
            } else {
                format!(
                    "patch {patch} of frame {frame} was read {} times; the readings are taken as independent",
                    all.len()
                )
            }
        })
        .collect()
}
