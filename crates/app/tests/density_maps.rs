//! Maps of the worked example, whose true densities are known.

use app::{DEMO_DRAW, MapRequest, Silent, density_maps};
use record::Outline;
use testkit::demo;

/// Numbers of a TIFF file of 32-bit floating point as `map` writes it: the last
/// bytes of the file.
fn numbers(file: &[u8], pixels: usize) -> Vec<f32> {
    file[file.len() - 4 * pixels..]
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect()
}

#[test]
fn a_map_holds_the_true_densities_and_leaves_gain_behind_the_filter() {
    let demo = demo(DEMO_DRAW);
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let out = dir.path().join("maps");
    let request = MapRequest {
        test: folder,
        frame: "sun-715-4".to_owned(),
        against: Some("sun-anchor-1".to_owned()),
        zero: Some("grey-card".to_owned()),
        side: 1200,
        out: Some(out.clone()),
    };
    let maps = density_maps(&request, &Silent).unwrap();
    for name in maps.json["files"].as_array().unwrap() {
        assert!(out.join(name.as_str().unwrap()).is_file(), "{name}");
    }
    let width = maps.json["against"]["map"]["width_px"].as_u64().unwrap() as usize;
    let height = maps.json["against"]["map"]["height_px"].as_u64().unwrap() as usize;
    assert_eq!(maps.json["against"]["map"]["box_side_px"], 1);
    let file = |name: &str| numbers(&std::fs::read(out.join(name)).unwrap(), width * height);
    let densities = file("density-sun-anchor-1.tif");
    let stops = file("stops-sun-715-4-over-sun-anchor-1.tif");
    // Mean over the inner half of a patch drawn on the anchor.
    let mean = |values: &[f32], patch: &str| {
        let place = demo
            .parts
            .patches
            .iter()
            .find(|p| p.frame.as_str() == "sun-anchor-1" && p.name.as_str() == patch)
            .and_then(|p| p.place.clone())
            .unwrap();
        let Outline::Rectangle {
            x,
            y,
            width: w,
            height: h,
        } = place.1
        else {
            panic!("the worked example draws rectangles")
        };
        let all: Vec<f64> = (y + h / 4..y + 3 * h / 4)
            .flat_map(|row| (x + w / 4..x + 3 * w / 4).map(move |column| (row, column)))
            .map(|(row, column)| f64::from(values[row as usize * width + column as usize]))
            .filter(|v| v.is_finite())
            .collect();
        assert!(
            all.len() as u32 > w * h / 8,
            "{patch}: {} pixels told",
            all.len()
        );
        all.iter().sum::<f64>() / all.len() as f64
    };
    for truth in demo.truth.densities.iter().filter(|d| {
        d.frame.as_str() == "sun-anchor-1"
            && ["grey-card", "wall", "sky"].contains(&d.patch.as_str())
    }) {
        let found = mean(&densities, truth.patch.as_str());
        let expected = truth.density.to_density();
        // 0.05: the tablet's own uncertainty and the tones within a patch.
        assert!(
            (found - expected).abs() < 0.05,
            "{}: {found:.3}, truth {expected:.3}",
            truth.patch
        );
    }
    // The zero is the card, but for its own grain and the readings' uncertainty.
    let card = mean(&stops, "grey-card");
    assert!(card.abs() < 0.3, "{card:.2} stops");
    // Behind a deep-red filter sunlit leaves gain on a card, and a clear sky loses.
    let (leaves, sky) = (mean(&stops, "leaves-sun"), mean(&stops, "sky"));
    assert!(leaves > 1.0, "leaves gain {leaves:.2} stops");
    assert!(sky < -0.5, "the sky loses {sky:.2} stops");
    assert!(maps.json["registration"]["agreement"].as_f64().unwrap() > 0.1);
}

#[test]
fn what_cannot_be_mapped_is_refused_with_its_reason() {
    let demo = demo(DEMO_DRAW);
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let request = MapRequest {
        test: folder,
        frame: "sun-anchor-9".to_owned(),
        against: None,
        zero: None,
        side: 200,
        out: None,
    };
    let error = density_maps(&request, &Silent).unwrap_err().to_string();
    assert!(error.contains("no frame sun-anchor-9"), "{error}");
}
