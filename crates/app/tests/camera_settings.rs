//! Scans of one test that a camera exposed differently, as their files tell.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{DEMO_DRAW, Evaluated, Silent, evaluate_folder};
use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use record::Calibrator;
use std::io::Cursor;
use std::sync::LazyLock;
use testkit::{DemoTest, PlainTiff, demo, low_byte_first};

const SCAN: &str = "sun-715-4";

/// A grey TIFF whose first directory holds the camera's settings, as TIFF/EP has
/// them: 1 over `per_second`, f/8, ISO 100.
fn exposed(size: (u32, u32), codes: Vec<u16>, per_second: u32) -> Vec<u8> {
    PlainTiff::grey(size, 16, low_byte_first(codes))
        .tag((33434, 5, vec![1, per_second]))
        .tag((33437, 5, vec![8, 1]))
        .tag((34855, 3, vec![100]))
        .to_bytes()
}

/// The worked example as a camera would have taken it, one scan with another time.
fn taken(per_second: u32) -> DemoTest {
    static EXAMPLE: LazyLock<DemoTest> = LazyLock::new(|| demo(DEMO_DRAW));
    let mut demo = EXAMPLE.clone();
    let spoilt = format!("scans/{SCAN}.tif");
    for (name, bytes) in &mut demo.files {
        if !name.ends_with(".tif") {
            continue;
        }
        let source = Cursor::new(bytes.clone());
        let mut reader = ScanReader::open(source, 0, &DecodeLimits::default()).unwrap();
        let size = (reader.info().width, reader.info().height);
        let other = *name == spoilt;
        // More light than a sixtieth of a second lets through, or less.
        let times = if other {
            60.0 / f64::from(per_second)
        } else {
            1.0
        };
        let mut codes = vec![];
        reader
            .for_each_row(ChannelChoice::Grey, |row| match row.codes {
                Codes::Unsigned(stored) => codes.extend(
                    stored
                        .iter()
                        .map(|code| (f64::from(*code) * times).round() as u16),
                ),
                Codes::Float(_) => panic!("the worked example is written in whole numbers"),
            })
            .unwrap();
        *bytes = exposed(size, codes, if other { per_second } else { 60 });
    }
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
    }
    demo
}

/// Lets the tablet of the first scan calibrate the other one.
fn calibrated_apart(mut demo: DemoTest) -> DemoTest {
    let spoilt = format!("scans/{SCAN}.tif");
    let first = demo.parts.scans[0].id.clone();
    let scan = demo.parts.scans.iter_mut().find(|s| s.file == spoilt);
    scan.unwrap().calibrator = Calibrator::OtherScan(first);
    demo
}

fn evaluated(demo: &DemoTest) -> Evaluated {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    evaluate_folder(&folder, None, None, &Silent).unwrap()
}

fn warning(evaluated: &Evaluated) -> Option<&String> {
    let about = |w: &&String| w.contains("different camera exposures");
    evaluated.warnings.iter().find(about)
}

/// Mean difference of the scan's densities from the truth, and the mean uncertainty.
fn off(demo: &DemoTest, evaluated: &Evaluated) -> (f64, f64) {
    let mut found = vec![];
    for reading in &evaluated.findings.readings {
        let truth = demo.truth.density(&reading.frame, &reading.patch);
        if let (true, Some(truth), None) = (reading.origin.contains(SCAN), truth, reading.limit) {
            let value = &reading.value;
            found.push((
                value.value() - truth.to_density(),
                value.standard_uncertainty(),
            ));
        }
    }
    assert!(found.len() > 3);
    let count = found.len() as f64;
    (
        found.iter().map(|f| f.0).sum::<f64>() / count,
        found.iter().map(|f| f.1).sum::<f64>() / count,
    )
}

fn told(evaluated: &Evaluated, key: &str) -> serde_json::Value {
    let scans = evaluated.json["scans"].as_array().unwrap();
    let named = |s: &&serde_json::Value| s["name"].as_str().unwrap().ends_with(SCAN);
    let scan = scans.iter().find(named).unwrap();
    scan[key].clone()
}

#[test]
fn a_tablet_in_another_exposure_is_told_with_the_size_of_the_error() {
    // Half the time: half the codes, 0.30 in density too dense.
    let demo = calibrated_apart(taken(120));
    let evaluated = evaluated(&demo);
    let warning = warning(&evaluated).unwrap();
    assert!(
        warning.contains(SCAN) && warning.contains("0.30 too dense (-1.0 stop)"),
        "{warning}"
    );
    assert!(
        warning.contains("1/120 s") && warning.contains("f/8"),
        "{warning}"
    );
    let flags = told(&evaluated, "flags").to_string();
    assert!(flags.contains("levels_changed"), "{flags}");
    let (off, uncertainty) = off(&demo, &evaluated);
    assert!((off - 0.301).abs() < 0.05, "{off}");
    assert!(uncertainty > 0.29, "{uncertainty}");
    let camera = told(&evaluated, "camera");
    assert_eq!(camera["aperture_f"], 8.0);
    assert_eq!(camera["iso"], 100.0);
    assert!((camera["time_s"].as_f64().unwrap() - 1.0 / 120.0).abs() < 1e-12);
}

#[test]
fn a_tablet_in_the_same_scan_makes_up_for_another_exposure() {
    let demo = taken(120);
    let evaluated = evaluated(&demo);
    assert!(warning(&evaluated).is_some());
    let (off, uncertainty) = off(&demo, &evaluated);
    assert!(
        off.abs() < 0.02 && uncertainty < 0.05,
        "{off} {uncertainty}"
    );
}

#[test]
fn scans_exposed_alike_raise_no_warning() {
    let evaluated = evaluated(&calibrated_apart(taken(60)));
    assert_eq!(warning(&evaluated), None);
    let flags = told(&evaluated, "flags").to_string();
    assert!(!flags.contains("levels_changed"), "{flags}");
}
