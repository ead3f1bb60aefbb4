//! Frames found in made scans whose truth is known: corners and tilt are those the
//! scan was drawn with, in closed form.

use negative::frame_edges::{FrameEdges, FrameNotFound, SideName, find_frame};
use negative::preview::Preview;
use testkit::{FrameFlaw, FrameScan, frame_scan};

/// The reduced picture of a scan of 2000 pixels.
fn reduced(scan: &FrameScan) -> Preview {
    Preview {
        width: scan.width as u32,
        height: scan.height as u32,
        left: 0,
        top: 0,
        box_side: 2,
        signal: scan.signal.clone(),
        tone_known: true,
    }
}

/// Largest distance of what was found from the truth, pixels of the scan.
fn off(scan: &FrameScan, frame: &FrameEdges) -> f64 {
    let mut worst = 0.0_f64;
    for edge in &frame.edges {
        let (a, b) = match edge.side {
            SideName::Left => (0, 3),
            SideName::Top => (0, 1),
            SideName::Right => (1, 2),
            SideName::Bottom => (3, 2),
        };
        let scaled = |k: usize| (2.0 * scan.corners[k].0, 2.0 * scan.corners[k].1);
        let (a, b) = (scaled(a), scaled(b));
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        for end in edge.ends {
            let across = (b.0 - a.0) * (end.1 - a.1) - (b.1 - a.1) * (end.0 - a.0);
            worst = worst.max((across / length).abs());
        }
    }
    worst
}

/// How far outside the picture a place of the scan lies, pixels of the scan; less than
/// nothing inside.
fn outside(scan: &FrameScan, (x, y): (f64, f64)) -> f64 {
    let corner = |k: usize| (2.0 * scan.corners[k].0, 2.0 * scan.corners[k].1);
    let beyond = |from: usize, until: usize| {
        let (a, b) = (corner(from), corner(until));
        let along = (x - a.0) * (b.0 - a.0) + (y - a.1) * (b.1 - a.1);
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        (-along / length).max(along / length - length)
    };
    beyond(0, 1).max(beyond(0, 3))
}

#[test]
fn what_is_called_rebate_lies_between_the_picture_and_the_end_of_the_film() {
    let mut without = 0;
    let draws = 600..620;
    let count = draws.clone().count();
    for draw in draws {
        let scan = frame_scan(draw, FrameFlaw::None);
        let Ok(frame) = find_frame(&reduced(&scan)) else {
            without += 1;
            continue;
        };
        for edge in &frame.edges {
            let [a, b, c, d] = edge.rebate_band().map(|corner| outside(&scan, corner));
            // The edges themselves are good to a pixel.
            assert!(a.abs() < 1.0 && b.abs() < 1.0, "{draw}: {edge:?}");
            for outer in [c, d] {
                let off = (outer - edge.rebate_width_px).abs();
                assert!(off < 1.5, "{draw}: {off:.1} px; {edge:?}");
            }
        }
        match frame.clear_stretch {
            None => without += 1,
            Some(corners) => {
                for corner in corners {
                    let here = outside(&scan, corner);
                    assert!(
                        here > 0.0 && here < 2.0 * scan.rebate_width,
                        "{draw}: {here:.1} of {:.1} px; {}",
                        2.0 * scan.rebate_width,
                        scan.scene
                    );
                }
            }
        }
    }
    assert!(
        without * 3 < count,
        "{without} of {count} without a stretch"
    );
}

#[test]
fn frames_are_found_where_they_lie() {
    let mut refused = vec![];
    let draws = 300..324;
    let count = draws.clone().count();
    for draw in draws {
        let scan = frame_scan(draw, FrameFlaw::None);
        match find_frame(&reduced(&scan)) {
            Ok(frame) => {
                let here = off(&scan, &frame);
                assert!(
                    here < 1.0,
                    "{draw}: {here:.2} px; {}; {frame:#?}",
                    scan.scene
                );
                let turned = (frame.tilt_deg - scan.tilt_deg).abs();
                assert!(turned < 0.05, "{draw}: {turned:.3} degrees; {}", scan.scene);
                let reads = (frame.rebate.signal / scan.rebate_signal).log10().abs();
                // The lamp of these scans is uneven by up to 2 %: 0.009.
                assert!(
                    reads < 0.015,
                    "{draw}: rebate off by {reads:.3}; {}",
                    scan.scene
                );
                for seen in &frame.edges {
                    let wide = (seen.rebate_width_px - 2.0 * scan.rebate_width).abs();
                    assert!(
                        seen.rebate_cut || wide < 4.0,
                        "{draw}: rebate {wide:.1} px off; {}; {seen:?}",
                        scan.scene
                    );
                }
            }
            Err(error) => refused.push(format!("{draw}: {error}; {}", scan.scene)),
        }
    }
    assert!(refused.len() * 5 < count, "{refused:#?}");
}

#[test]
fn what_is_no_whole_frame_is_refused() {
    for flaw in [
        FrameFlaw::NoRebate,
        FrameFlaw::Masked,
        FrameFlaw::Blank,
        FrameFlaw::TwoFrames,
    ] {
        for draw in 400..405 {
            let scan = frame_scan(draw, flaw);
            let answer = find_frame(&reduced(&scan));
            assert!(
                answer.is_err(),
                "{flaw:?} {draw}: {}; {answer:#?}",
                scan.scene
            );
        }
    }
}

#[test]
fn a_foreground_that_is_clear_throughout_gives_no_wrong_lower_side() {
    for draw in 500..506 {
        let scan = frame_scan(draw, FrameFlaw::ClearForeground);
        if let Ok(frame) = find_frame(&reduced(&scan)) {
            let here = off(&scan, &frame);
            assert!(
                here < 1.0,
                "{draw}: {here:.1} px; {}; {frame:#?}",
                scan.scene
            );
        }
    }
}

#[test]
fn reasons_name_what_is_in_the_way() {
    let reason = |draw, flaw| find_frame(&reduced(&frame_scan(draw, flaw)));
    let two = reason(400, FrameFlaw::TwoFrames);
    assert!(
        matches!(two, Err(FrameNotFound::TwoFrames { .. })),
        "{two:?}"
    );
    assert_eq!(reason(400, FrameFlaw::Blank), Err(FrameNotFound::Even));
    let small = Preview {
        width: 99,
        height: 300,
        left: 0,
        top: 0,
        box_side: 1,
        signal: vec![0.5; 29_700],
        tone_known: true,
    };
    assert!(matches!(
        find_frame(&small),
        Err(FrameNotFound::TooSmall { needed: 100, .. })
    ));
}
