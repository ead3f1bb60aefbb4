//! The one reading that a frame's verdict goes by, held against what the record of
//! the frame lets expect.

use crate::estimate::Estimate;
use crate::finding::{PatchFinding, VerdictCriteria};
use crate::model::{Key, Term};
use core::f64::consts::LOG10_2;
use quantity::{Measured, Stops};
use record::{Exposure, Frame, Id, PatchRole, Response, Test};

/// The reading that the verdict of a frame goes by.
struct Judged<'a> {
    term: &'a Term,
    patch: &'a Id,
    /// The net density it must reach.
    wanted_net: f64,
}

/// Gives the shadow of a frame, or without one its grey card.
fn judged<'a>(
    e: &'a Estimate,
    test: &Test,
    terms: &[usize],
    frame: &Frame,
    criteria: &VerdictCriteria,
) -> Option<Judged<'a>> {
    if !matches!(frame.exposure, Exposure::Camera(_)) {
        return None;
    }
    terms
        .iter()
        .map(|&k| &e.model.terms[k])
        .filter(|t| e.model.curves[t.curve].response == Response::Density)
        .filter_map(|term| {
            let linear = &term.exposed.as_ref()?.linear;
            let patch = linear.iter().find_map(|(i, _)| match &e.model.keys[*i] {
                Key::Subject(name, _) => Some(name),
                _ => None,
            })?;
            let (rank, wanted_net) = match test.patch(&frame.id, patch)?.role {
                PatchRole::Shadow => (0_u8, criteria.shadow_at_least),
                PatchRole::GreyCard => (1, criteria.card_at_least),
                _ => return None,
            };
            Some((
                rank,
                Judged {
                    term,
                    patch,
                    wanted_net,
                },
            ))
        })
        .min_by_key(|(rank, _)| *rank)
        .map(|(_, judged)| judged)
}

/// How far the density of the judged patch must lie from what its record lets
/// expect, on the other side of the criterion, to be called a contradiction. Chosen,
/// not derived: some five times what a calibrated reading scatters, and less than half
/// a stop on the straight line of a film of usual contrast (0.09). \[density\]
const CONTRADICTION_DENSITY: f64 = 0.05;

/// Whether the judged patch says one thing of the criterion and the recorded
/// exposure, through the fitted curve, another.
pub(crate) fn contradicted(
    e: &Estimate,
    test: &Test,
    terms: &[usize],
    frame: &Frame,
    criteria: &VerdictCriteria,
    patches: &[PatchFinding],
) -> Option<bool> {
    let p = &e.fit.parameters;
    let Judged {
        term,
        patch,
        wanted_net,
    } = judged(e, test, terms, frame, criteria)?;
    let read = patches
        .iter()
        .find(|found| found.patch == *patch && found.limit.is_none())?
        .net?
        .to_density();
    let curve = &e.model.curves[term.curve];
    let at = term.exposed.as_ref()?.on_curve(p, curve.pivot);
    let expected = curve.value(p, at).0 - curve.base(p)?;
    Some(
        (read < wanted_net) != (expected < wanted_net)
            && (read - expected).abs() > CONTRADICTION_DENSITY,
    )
}

/// How many stops more exposure the frame needed for its shadow, or without one
/// its grey card, to reach the criterion that the verdict goes by.
pub(crate) fn stops_missing(
    e: &Estimate,
    test: &Test,
    terms: &[usize],
    frame: &Frame,
    criteria: &VerdictCriteria,
) -> Option<Measured<Stops>> {
    let p = &e.fit.parameters;
    let Judged {
        term, wanted_net, ..
    } = judged(e, test, terms, frame, criteria)?;
    let curve = &e.model.curves[term.curve];
    let base = curve.base(p)?;
    let wanted = curve.x_at(p, base + wanted_net)?;
    let exposed = term.exposed.as_ref()?;
    let at = exposed.x(p);
    // Behind a filter the curve is stretched about its pivot.
    let shrink = 1.0 / exposed.steeper(p);
    let wanted_here = curve.pivot + (wanted - curve.pivot) * shrink;
    let mut gradient: Vec<_> = curve
        .place_gradient(p, wanted)
        .into_iter()
        .map(|(k, d)| (k, d * shrink))
        .collect();
    let by_ratio = -(wanted - curve.pivot) * shrink;
    gradient.extend(exposed.stretch.iter().map(|&i| (i, by_ratio)));
    gradient.extend(exposed.linear.iter().map(|&(i, c)| (i, -c)));
    let sd = libm::sqrt(e.covariance.variance(&gradient)) / LOG10_2;
    Stops::from_delta_log_h(wanted_here - at)
        .ok()
        .map(|s| Measured::new(s, sd))
}
