//! A test of many frames, for measuring how the work grows.

use crate::invented;
use crate::made::{aperture, id, seconds};
use crate::noise::Draws;
use crate::truth::{TruthCurve, grey_log_h};
use core::f64::consts::LOG10_2;
use quantity::Measured;
use record::{
    CameraExposure, Exposure, Filter, Frame, FrameRole, Patch, PatchRole, Reading, ReadingOrigin,
    Response, Sky, TestParts, Time,
};

/// Subjects with their roles and log10 luminance over the card.
const SUBJECTS: [(PatchRole, f64); 11] = [
    (PatchRole::GreyCard, 0.0),
    (PatchRole::Wall, 0.2),
    (PatchRole::Sky, 0.5),
    (PatchRole::SunlitFoliage, -0.2),
    (PatchRole::Shadow, -0.9),
    (PatchRole::Highlight, 0.6),
    (PatchRole::Other, 0.1),
    (PatchRole::Other, -0.1),
    (PatchRole::Other, 0.3),
    (PatchRole::Other, -0.3),
    (PatchRole::Other, -0.5),
];
const TIMES_S: [f64; 7] = [
    1.0 / 60.0,
    1.0 / 30.0,
    1.0 / 15.0,
    1.0 / 8.0,
    0.25,
    0.5,
    1.0,
];
/// log10 factors of no filter and three filters.
const FACTORS: [f64; 4] = [0.0, 1.9, 0.8, 1.2];

/// Makes a test of `frames` frames with 12 patches each, readings and no scans.
///
/// One film, three filters, one light; shutter marks, frames and readings have
/// errors of the sizes of the trade. The same numbers give the same test.
///
/// # Panics
/// When `frames` is 0.
#[must_use]
pub fn large_test(frames: u32, draw: u64) -> TestParts {
    assert!(frames > 0, "a test has at least one frame");
    let mut draws = Draws::new(draw, 0);
    let curve = TruthCurve::toe_and_shoulder(0.15, 0.65, 0.17, 2.8, 0.3, -2.0);
    let ev100 = 14.6;
    let (film, process) = (invented::film(1.0, 0.0), invented::process());
    let light = invented::light(
        "sun",
        Sky::ClearSun,
        "2026-06-21T12:00:00+02:00",
        ev100,
        0.1,
    );
    let mut parts = TestParts {
        title: "Large invented test".into(),
        invented: true,
        filters: (1..=3)
            .map(|k| Filter {
                id: id(&format!("r{k}")),
                name: format!("Invented filter {k}"),
                marking: None,
                edge: None,
                stated_factor: None,
            })
            .collect(),
        films: vec![film.clone()],
        lights: vec![light.clone()],
        processes: vec![process.clone()],
        ..TestParts::default()
    };
    let marks: Vec<f64> = TIMES_S
        .iter()
        .map(|_| draws.normal(0.2 * LOG10_2))
        .collect();
    for n in 0..frames {
        let filter = n as usize % FACTORS.len();
        let marks_used = if filter == 0 {
            3.0
        } else {
            TIMES_S.len() as f64
        };
        // uniform() is less than 1, so the place is within the marks.
        let place = (draws.uniform() * marks_used) as usize;
        let time = TIMES_S[place];
        let frame = id(&format!("n{n}"));
        let error = marks[place] + draws.normal(0.1 * LOG10_2);
        let grey = grey_log_h(ev100, 22.0, time, 1.0) - FACTORS[filter] + error;
        parts.frames.push(Frame {
            id: frame.clone(),
            film: film.id.clone(),
            filters: if filter == 0 {
                vec![]
            } else {
                vec![id(&format!("r{filter}"))]
            },
            process: process.id.clone(),
            holder: None,
            load: None,
            exposed_at: None,
            role: if filter == 0 {
                FrameRole::Anchor
            } else {
                FrameRole::Bracket
            },
            exposure: Exposure::Camera(CameraExposure {
                lens: None,
                light: light.id.clone(),
                reading: None,
                ei: None,
                aperture: aperture(22.0),
                time: Time {
                    marked: seconds(time),
                    actual: None,
                    actual_uncertainty_stops: None,
                },
                bellows: None,
            }),
            remarks: None,
        });
        let base = (PatchRole::BaseFog, f64::NEG_INFINITY);
        for (k, (role, over)) in SUBJECTS.iter().chain([&base]).enumerate() {
            let name = id(&format!("p{k}"));
            let density = if *role == PatchRole::BaseFog {
                0.15
            } else {
                curve.density(grey + over)
            };
            parts.patches.push(Patch {
                frame: frame.clone(),
                name: name.clone(),
                role: *role,
                place: None,
            });
            parts.readings.push(Reading {
                frame: frame.clone(),
                patch: name,
                response: Response::Density,
                value: Measured::new(density + draws.normal(0.01), 0.01),
                limit: None,
                origin: ReadingOrigin::Densitometer(None),
            });
        }
    }
    parts
}
