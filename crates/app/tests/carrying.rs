//! Patches carried from the anchor of the worked example to the frames behind
//! filters, whose true outlines are known: every sheet lies differently in its
//! scan.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{DEMO_DRAW, Evaluated, Silent, evaluate_folder};
use record::{Id, Outline, PatchRole};
use serde_json::Value;
use testkit::{DemoTest, demo};

/// Gives what was found, and the report.
fn evaluated(demo: &DemoTest) -> (Evaluated, String) {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let found = evaluate_folder(&folder, Some(&dir.path().join("out")), None, &Silent).unwrap();
    let report = std::fs::read_to_string(&found.report).unwrap();
    (found, report)
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
    let (evaluated, _) = evaluated(&demo);
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

#[test]
fn a_blank_sheet_takes_the_place_of_its_holder_and_says_so() {
    let mut demo = demo(DEMO_DRAW);
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
    }
    // The filtered sheet came out as blank as the one that never saw light.
    let bytes = |name: &str| {
        let (_, bytes) = demo.files.iter().find(|(file, _)| file == name).unwrap();
        bytes.clone()
    };
    let blank = bytes("scans/unexposed.tif");
    let file = demo
        .files
        .iter_mut()
        .find(|(file, _)| file == "scans/sun-715-1.tif")
        .unwrap();
    file.1 = blank;
    let drawn: Vec<(Id, Outline)> = demo
        .parts
        .patches
        .iter()
        .filter(|p| p.frame.as_str() == "sun-anchor-1")
        .filter_map(|p| Some((p.name.clone(), p.place.clone()?.1)))
        .collect();
    let were = carried_instead(&mut demo, "sun-715-1", "sun-anchor-1");
    let (evaluated, report) = evaluated(&demo);
    let carried = evaluated.json["carried"].as_array().unwrap();
    assert_eq!(
        carried.len(),
        1,
        "{:?} {:?}",
        evaluated.refusals,
        evaluated.warnings
    );
    let found = &carried[0];
    assert_eq!(found["by"], "holder", "{found}");
    let reason = found["reason"].as_str().unwrap();
    assert!(reason.contains("this frame is too blank"), "{reason}");
    let patches = found["patches"].as_array().unwrap();
    assert_eq!(patches.len(), were.len());
    for patch in patches {
        let (_, outline) = drawn
            .iter()
            .find(|(name, _)| patch["patch"] == name.as_str())
            .unwrap();
        let Outline::Rectangle { x, y, .. } = outline else {
            panic!("the worked example draws rectangles")
        };
        let corner = |i: usize| patch["corners_px"][0][i].as_f64().unwrap();
        assert_eq!((corner(0), corner(1)), (f64::from(*x), f64::from(*y)));
        // As documented: 1 % of the long side, 800 pixels here.
        assert_eq!(patch["uncertainty_px"], 8.0);
    }
    for reading in &evaluated.findings.readings {
        let carried = reading.frame.as_str() == "sun-715-1"
            && were.iter().any(|(name, _)| *name == reading.patch);
        assert_eq!(
            reading
                .value
                .flags()
                .contains(quantity::Flag::PatchByHolder),
            carried,
            "{} {}",
            reading.frame,
            reading.patch
        );
    }
    assert!(report.contains("by the holder"), "the report says so");
}
