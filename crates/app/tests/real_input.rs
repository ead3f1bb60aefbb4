//! The main job on real pictures that nobody here made.
//!
//! The pictures are not part of the project (their licences differ; the
//! `README.md` of each example says where they come from). These tests are
//! ignored unless asked for with `--ignored`, where the pictures lie beside the
//! checkout.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{Silent, evaluate_folder};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

/// Copies an example with its pictures into a scratch folder.
fn example(name: &str, folders: &[&str]) -> tempfile::TempDir {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let samples = root.join("../shared/samples");
    let dir = tempfile::tempdir().unwrap();
    for file in fs::read_dir(root.join("examples").join(name)).unwrap() {
        let file = file.unwrap();
        if file.file_type().unwrap().is_file() {
            fs::copy(file.path(), dir.path().join(file.file_name())).unwrap();
        }
    }
    fs::create_dir(dir.path().join("scans")).unwrap();
    for folder in folders {
        let entries = fs::read_dir(samples.join(folder)).unwrap_or_else(|e| {
            panic!("no pictures of examples/{name} ({e}); its README says where they come from")
        });
        for entry in entries {
            let path: PathBuf = entry.unwrap().path();
            if path.is_file() {
                let to = dir.path().join("scans").join(path.file_name().unwrap());
                fs::copy(&path, to).unwrap();
            }
        }
    }
    dir
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} in {value}"))
}

#[test]
#[ignore = "needs the pictures that the example's README names"]
fn film_strips_without_a_tablet_give_a_relative_curve_and_no_density() {
    let dir = example("film-strips", &["film_scans"]);
    let evaluated = evaluate_folder(dir.path(), None, None, &Silent).unwrap();
    let json = &evaluated.json;
    // Absolute density is refused, with the reason.
    assert!(
        evaluated
            .refusals
            .iter()
            .any(|r| r.contains("absolute density is refused") && r.contains("step tablet")),
        "{:?}",
        evaluated.refusals
    );
    let curve = &json["curves"][0];
    assert_eq!(curve["response"], "relative_density");
    assert_eq!(curve["exposure_scale"], "relative");
    assert!(curve["base_plus_fog_density"].is_null());
    // Monotone, and through the readings: five doses and the base of two scans.
    let samples = curve["samples"].as_array().unwrap();
    for pair in samples.windows(2) {
        assert!(pair[1][1].as_f64() >= pair[0][1].as_f64());
    }
    let value = |frame: &str| {
        let frames = json["frames"].as_array().unwrap();
        let found = frames.iter().find(|f| f["name"] == frame).unwrap();
        number(&found["patches"][0], "value")
    };
    let doses = ["dose-1", "dose-2", "dose-4", "dose-6-5", "dose-9-5"].map(value);
    assert!(doses.windows(2).all(|d| d[1] > d[0]), "{doses:?}");
    // Source: means of the red samples of the same outlines read with an
    // independent TIFF reader: 42 320 (base) and 15 480 (strongest), so
    // log10 of the ratio is 0.437; 0.01 for the few rows that differ.
    assert!((doses[4] - 0.437).abs() < 0.01, "{}", doses[4]);
    // Base film is recognised: nothing above itself, in both scans.
    assert!(value("dose-0").abs() < 1e-9 && value("base").abs() < 1e-9);
    // The repeat scans are equal. Source: measured with an independent reader,
    // shift 0 and mean ratios 1.0002 and 0.9999.
    let scans = json["scans"].as_array().unwrap();
    let repeats: Vec<&str> = scans.iter().filter_map(|s| s["repeat"].as_str()).collect();
    assert_eq!(repeats.len(), 2);
    assert!(
        repeats.iter().all(|r| r.starts_with("equal to")),
        "{repeats:?}"
    );
    assert!(evaluated.report.is_file());
    assert!(json["factors"].as_array().unwrap().is_empty());
}

#[test]
#[ignore = "needs the pictures that the example's README names"]
fn camera_frames_through_narrow_filters_give_the_measured_factors() {
    let folders = [
        "bracket",
        "bracket/chart_450nm",
        "bracket/chart_550nm",
        "bracket/chart_600nm",
        "bracket/chart_700nm",
    ];
    let dir = example("filter-bracket", &folders);
    let evaluated = evaluate_folder(dir.path(), None, None, &Silent).unwrap();
    let json = &evaluated.json;
    let slope = number(&json["curves"][0]["straight_line_gradient"], "value");
    assert!((slope - 1.0).abs() <= 0.02, "slope {slope}");
    // Source: means over the usable neutral patches, computed independently of
    // this project from the same files: 2.03, 3.48 and 69.8 against 550 nm.
    for (filter, reference) in [("bp450", 2.03), ("bp600", 3.48), ("bp700", 69.8)] {
        let factors = json["factors"].as_array().unwrap();
        let found = factors.iter().find(|f| f["filter"] == filter).unwrap();
        assert_eq!(found["against"], "bp550");
        let (low, high) = (
            number(&found["factor"], "low"),
            number(&found["factor"], "high"),
        );
        assert!(
            low < reference && reference < high,
            "{filter}: {low} to {high} misses {reference}"
        );
        // A usable interval: less than half a stop to each side for the near bands.
        assert!(high / low < 2.0, "{filter}: {low} to {high}");
        let spread = number(found, "patch_spread_stops");
        // Source: the same computation: sd 0.061, 0.049, 0.144 in log10, that is
        // 0.20, 0.16 and 0.48 stop, over patches that differ a little in choice.
        assert!((0.1..0.8).contains(&spread), "{filter}: spread {spread}");
    }
    // Clipped and black patches are limits, never values.
    let limits = json["frames"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|f| f["patches"].as_array().unwrap())
        .filter(|p| !p["bound"].is_null())
        .count();
    assert!(limits > 100, "{limits}");
}
