//! Readings of a test whose frames are given: what a planned test would show.
//!
//! Every error that the frames share or have alone is drawn; the densities come
//! from this room's own curve. So a plan's promise can be held against what the
//! estimate then achieves.

use crate::made;
use crate::noise::Draws;
use crate::truth::{TruthCurve, bent_about_pivot, grey_log_h};
use core::f64::consts::LOG10_2;
use quantity::Measured;
use record::{Exposure, Id, LightReading, PatchRole, Reading, ReadingOrigin, Response, TestParts};
use std::collections::BTreeMap;

/// What is true of a test, and how large its errors are, one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrameTruth {
    /// Factor of every filter that is not tested. \[stops\]
    pub other_stops: f64,
    /// Each shutter mark. \[stops\]
    pub marked: f64,
    /// Each aperture mark. \[stops\]
    pub aperture: f64,
    /// Each frame's light and release. \[stops\]
    pub frame: f64,
    /// The light reading. \[stops\]
    pub light: f64,
    /// The card against the mid-tone. \[stops\]
    pub card: f64,
    /// Where the toe lies about the place the box speed gives. \[stops\]
    pub box_speed: f64,
    /// ln of the gradient's ratio behind the filter.
    pub gradient: f64,
    /// Base+fog of each sheet, density.
    pub base: f64,
    /// Each reading, density.
    pub reading: f64,
    /// What the film loses for each decade of time beyond a second: mean and
    /// standard deviation between films. \[stops\]
    pub lost_per_decade: (f64, f64),
}

/// Draws the readings of every patch of `parts`; those it has are replaced.
///
/// `factors` are the tested filters with their factors in stops. The same truth and
/// number give the same readings.
///
/// # Panics
/// When a size is negative, or a patch belongs to no frame.
#[must_use]
pub fn expose_frames(
    mut parts: TestParts,
    factors: &[(Id, f64)],
    truth: &FrameTruth,
    draw: u64,
) -> TestParts {
    let mut draws = Draws::new(draw, 11);
    let box_speed = parts.films[0]
        .box_speed
        .map_or(100.0, quantity::ExposureIndex::to_arithmetic);
    let speed_point = libm::log10(0.8 / box_speed) + draws.normal(truth.box_speed) * LOG10_2;
    let curve = TruthCurve::toe_and_shoulder(
        (0.2 + draws.normal(0.04)).max(0.08),
        0.65 * libm::exp(draws.normal(0.12)),
        0.17 * libm::exp(draws.normal(0.2)),
        2.8 * libm::exp(draws.normal(0.1)),
        0.25,
        speed_point,
    );
    let ratios: Vec<f64> = (factors.iter())
        .map(|_| libm::exp(draws.normal(truth.gradient)))
        .collect();
    let light = draws.normal(truth.light);
    let card = draws.normal(truth.card);
    let wall = -2.0 + draws.normal(0.3);
    let wall_departs: Vec<f64> = factors.iter().map(|_| draws.normal(0.1)).collect();
    let (lost_mean, lost_sd) = truth.lost_per_decade;
    // Apart from the other draws, so that a film that loses nothing changes none of them.
    let lost = lost_mean + Draws::new(draw, 12).normal(lost_sd);
    let mut marks: BTreeMap<u64, f64> = BTreeMap::new();
    let mut apertures: BTreeMap<u64, f64> = BTreeMap::new();
    let mut exposed: BTreeMap<Id, (Option<f64>, f64, Option<usize>)> = BTreeMap::new();
    for frame in &parts.frames {
        let base = draws.normal(truth.base);
        let own = draws.normal(truth.frame);
        let tested = (factors.iter()).position(|(filter, _)| frame.filters.contains(filter));
        let log_h = match &frame.exposure {
            Exposure::Camera(camera) => {
                let read = parts.lights.iter().find(|l| l.id == camera.light);
                let ev = match read.and_then(|l| l.reading) {
                    Some(LightReading::Ev100(ev)) => ev.to_ev(),
                    _ => panic!("the light of frame {} has no EV", frame.id),
                };
                let (time, stop) = (camera.time.marked.to_s(), camera.aperture.to_ratio());
                let mark = *marks
                    .entry(time.to_bits())
                    .or_insert_with(|| draws.normal(truth.marked));
                let opening = *apertures
                    .entry(stop.to_bits())
                    .or_insert_with(|| draws.normal(truth.aperture));
                let behind = match (tested, frame.filters.is_empty()) {
                    (Some(of), _) => factors[of].1,
                    (None, true) => 0.0,
                    (None, false) => truth.other_stops,
                };
                let long = lost * libm::log10(time).max(0.0);
                let off = light + mark + opening + own - behind - long;
                Some(grey_log_h(ev, stop, time, 1.0) + off * LOG10_2)
            }
            _ => None,
        };
        exposed.insert(frame.id.clone(), (log_h, base, tested));
    }
    parts.readings = parts
        .patches
        .iter()
        .map(|patch| {
            let (log_h, base, tested) = exposed
                .get(&patch.frame)
                .unwrap_or_else(|| panic!("patch {} belongs to no frame", patch.name));
            let subject = match patch.role {
                PatchRole::GreyCard => Some(card),
                PatchRole::Wall => Some(wall + tested.map_or(0.0, |of| wall_departs[of])),
                _ => None,
            };
            let clear = curve.density(-20.0);
            let mean = match (log_h, subject) {
                (Some(x), Some(stops)) => {
                    let x = x + stops * LOG10_2;
                    let ratio = tested.map_or(1.0, |of| ratios[of]);
                    curve.density(bent_about_pivot(&curve, x, ratio))
                }
                _ => clear,
            };
            let read = (mean + base + draws.normal(truth.reading)).max(0.0);
            Reading {
                frame: patch.frame.clone(),
                patch: patch.name.clone(),
                response: Response::Density,
                value: Measured::new(made::rounded(read, 3), truth.reading),
                limit: None,
                origin: ReadingOrigin::Densitometer(None),
            }
        })
        .collect();
    parts
}
