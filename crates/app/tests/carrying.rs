//! Patches carried from the anchor of the worked example to the frames behind
//! filters, whose true outlines are known: every sheet lies differently in its
//! scan.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{DEMO_DRAW, Evaluated, Silent, evaluate_folder};
use record::{Id, Outline, PatchRole};
use serde_json::Value;
use testkit::{DemoTest, demo};

fn evaluated(demo: &DemoTest) -> Evaluated {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    evaluate_folder(&folder, Some(&dir.path().join("out")), None, &Silent).unwrap()
}

/// Has the patches of a frame carried from another, and gives what they were.
fn carried_instead(demo: &mut DemoTest, frame: &str, from: &str) -> Vec<(Id, Outline)> {
    let (frame, from) = (Id::new(frame).unwrap(), Id::new(from).unwrap());
    let drawn: Vec<Id> = demo
        .parts
        .patches
        .iter()
        .filter(|p| p.frame == from && p.place.is_some())
        .map(|p| p.name.clone())
        .collect();
    let mut were = vec![];
    for patch in demo.parts.patches.iter_mut().filter(|p| p.frame == frame) {
        if matches!(patch.role, PatchRole::BaseFog | PatchRole::TabletStep(_)) {
            continue;
        }
        if let Some((_, outline)) = &mut patch.place
            && drawn.contains(&patch.name)
        {
            were.push((patch.name.clone(), outline.clone()));
            *outline = Outline::CarriedFrom(from.clone());
        }
    }
    were
}

#[test]
fn outlines_come_to_where_they_were_drawn_by_hand() {
    let mut demo = demo(DEMO_DRAW);
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
    }
    let mut truth = vec![];
    for frame in ["sun-715-2", "sun-715-4"] {
        truth.push((frame, carried_instead(&mut demo, frame, "sun-anchor-1")));
    }
    let evaluated = evaluated(&demo);
    let carried = evaluated.json["carried"].as_array().unwrap();
    assert_eq!(carried.len(), truth.len(), "{:?}", evaluated.refusals);
    for ((frame, were), found) in truth.iter().zip(carried) {
        assert_eq!(found["frame"], **frame);
        assert_eq!(found["by"], "registration", "{found}");
        let patches = found["patches"].as_array().unwrap();
        assert_eq!(patches.len(), were.len());
        for ((name, outline), patch) in were.iter().zip(patches) {
            assert_eq!(patch["patch"], name.as_str());
            let Outline::Rectangle { x, y, .. } = outline else {
                panic!("the worked example draws rectangles")
            };
            let corner = |i: usize| patch["corners_px"][0][i].as_f64().unwrap();
            let off = (corner(0) - f64::from(*x)).hypot(corner(1) - f64::from(*y));
            let said = patch["uncertainty_px"].as_f64().unwrap();
            // 0.25 of 2000 pixels is 0.085 of the 680 here.
            assert!(
                off < 0.085,
                "{frame} {name}: off by {off:.3} px, said {said:.3}"
            );
            assert!(
                off < 4.0 * said,
                "{frame} {name}: off by {off:.3} px, said {said:.3}"
            );
        }
    }
    let flagged = evaluated
        .findings
        .readings
        .iter()
        .filter(|r| r.value.flags().contains(quantity::Flag::PatchCarried))
        .count();
    let all: usize = truth.iter().map(|t| t.1.len()).sum();
    assert_eq!(flagged, all, "every carried reading says so, no other");
    assert!(!matches!(evaluated.json["carried"], Value::Null));
}
