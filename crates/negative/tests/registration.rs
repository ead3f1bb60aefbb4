//! Frames laid on each other, against places that are known.

mod texture;

use negative::registration::{
    GreyPicture, Motion, Placement, Registration, RegistrationError, register,
};
use testkit::{FramePairPlan, SecondFrame, frame_pair};
use texture::texture;

const PLAN: FramePairPlan = FramePairPlan {
    draw: 1,
    width: 800,
    rotation: 0.0,
    scale: 1.0,
    shift: (0.0, 0.0),
    grain: 0.03,
    second: SecondFrame::BehindDeepRed,
};

fn registered(plan: &FramePairPlan) -> Result<Registration, RegistrationError> {
    let pair = frame_pair(plan);
    let picture = |values| GreyPicture::new(pair.width, pair.height, values).unwrap();
    register(&picture(pair.first.clone()), &picture(pair.second.clone()), Motion::Flat)
}

fn truth(plan: &FramePairPlan) -> Placement {
    let height = plan.width * 4 / 5;
    let middle = (plan.width as f64 / 2.0, height as f64 / 2.0);
    let to = (middle.0 + plan.shift.0, middle.1 + plan.shift.1);
    Placement::similarity(plan.rotation, plan.scale, middle, to)
}

/// Points spread over the picture, its corners not among them.
fn points(plan: &FramePairPlan) -> Vec<(f64, f64)> {
    let (width, height) = (plan.width as f64, plan.width as f64 * 0.8);
    [0.1, 0.3, 0.5, 0.7, 0.9]
        .iter()
        .flat_map(|u| [0.1, 0.5, 0.9].map(|v| (u * width, v * height)))
        .collect()
}

fn off(found: &Registration, plan: &FramePairPlan, point: (f64, f64)) -> f64 {
    let (a, b) = (found.placement().carry(point), truth(plan).carry(point));
    (a.0 - b.0).hypot(a.1 - b.1)
}

#[test]
fn shifts_of_a_texture_are_found_as_well_as_by_other_methods() {
    // Source of the allowed errors: twice those of the correlation coefficient
    // maximised by warping (one sigma of smoothing) on this texture, and no more
    // than twice the 0.01 px of an upsampled cross-correlation.
    for (shift, allowed) in [
        ((0.0, 0.0), 0.005),
        ((0.5, 0.25), 0.02),
        ((-4.6, 3.2), 0.02),
    ] {
        let picture = |shift| GreyPicture::new(512, 512, texture(512, shift)).unwrap();
        let found = register(&picture((0.0, 0.0)), &picture(shift), Motion::Flat).unwrap();
        for point in [(50.0, 50.0), (256.0, 256.0), (460.0, 300.0)] {
            let to = found.placement().carry(point);
            let off = (to.0 - point.0 - shift.0).hypot(to.1 - point.1 - shift.1);
            assert!(off < allowed, "{shift:?} at {point:?}: off by {off:.4} px");
        }
    }
}

#[test]
fn frames_with_leaves_and_sky_inverted_are_laid_on_each_other() {
    let cases = [
        (0.0, 1.0, (0.0, 0.0)),
        (0.004, 1.0, (9.4, -13.7)),
        (-0.03, 1.01, (-31.2, 22.5)),
        (0.09, 0.93, (20.3, 14.1)),
    ];
    for (draw, (rotation, scale, shift)) in (1..).zip(cases) {
        let plan = FramePairPlan { draw, rotation, scale, shift, ..PLAN };
        let found = registered(&plan).unwrap();
        for point in points(&plan) {
            let off = off(&found, &plan, point);
            let said = found.uncertainty_px(point);
            // A quarter of a pixel of 2000; 800 pixels are 2.5 times fewer.
            assert!(off < 0.25 / 2.5, "draw {draw} at {point:?}: off by {off:.3} px, said {said:.3}");
            assert!(off < 4.0 * said, "draw {draw} at {point:?}: off by {off:.3} px, said {said:.3}");
        }
    }
}

#[test]
fn a_blank_frame_and_another_subject_are_refused() {
    for draw in 1..4 {
        let blank = registered(&FramePairPlan { draw, second: SecondFrame::Blank, ..PLAN });
        assert!(
            matches!(blank, Err(RegistrationError::TooBlank { which: "second", .. })),
            "{blank:?}"
        );
        let other = registered(&FramePairPlan { draw, second: SecondFrame::OtherSubject, ..PLAN });
        let refused = other.map(|found| found.placement());
        assert!(refused.is_err(), "{refused:?}");
        assert!(!matches!(refused, Err(RegistrationError::TooBlank { .. })), "{refused:?}");
    }
}
