//! A scan whose pixels have a fourth sample that the file does not name: told of,
//! never averaged in, and measured when the record says so.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{AppError, DEMO_DRAW, Evaluated, Silent, evaluate_folder};
use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use record::Channel;
use std::io::Cursor;
use std::sync::LazyLock;
use testkit::{DemoTest, PlainTiff, demo, low_byte_first};

const SCAN: &str = "sun-715-4";

/// The worked example, one scan of which has pixels made from its grey codes.
fn with_four(pixel: impl Fn(u16) -> [u16; 4], channel: Channel) -> DemoTest {
    static EXAMPLE: LazyLock<DemoTest> = LazyLock::new(|| demo(DEMO_DRAW));
    let mut demo = EXAMPLE.clone();
    let file = format!("scans/{SCAN}.tif");
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
        if scan.file == file {
            scan.channel = channel;
        }
    }
    let (_, bytes) = demo.files.iter_mut().find(|f| f.0 == file).unwrap();
    let source = Cursor::new(bytes.clone());
    let mut reader = ScanReader::open(source, 0, &DecodeLimits::default()).unwrap();
    let size = (reader.info().width, reader.info().height);
    let mut codes = vec![];
    reader
        .for_each_row(ChannelChoice::Grey, |row| match row.codes {
            Codes::Unsigned(stored) => codes.extend(stored),
            Codes::Float(_) => panic!("the worked example is written in whole numbers"),
        })
        .unwrap();
    let samples = low_byte_first(codes.into_iter().flat_map(pixel));
    *bytes = PlainTiff::colours(size, &[16; 4], samples).to_bytes();
    demo
}

fn evaluated(demo: &DemoTest) -> Result<Evaluated, AppError> {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    evaluate_folder(&folder, None, None, &Silent)
}

/// Asks that the scan's densities are those that were made.
fn densities_are_true(demo: &DemoTest, evaluated: &Evaluated) {
    let mut compared = 0;
    for reading in &evaluated.findings.readings {
        let truth = demo.truth.density(&reading.frame, &reading.patch);
        let (true, Some(truth), None) = (reading.origin.contains(SCAN), truth, reading.limit)
        else {
            continue;
        };
        compared += 1;
        let off = reading.value.value() - truth.to_density();
        // 3 standard uncertainties, and 0.02 for grain and dust across a small patch.
        let allowed = 0.02_f64.max(3.0 * reading.value.standard_uncertainty());
        assert!(off.abs() < allowed, "{}: off {off}", reading.patch);
    }
    assert!(compared > 3, "{compared} densities were compared");
}

fn warning(evaluated: &Evaluated) -> Option<&String> {
    let named = |w: &&String| w.contains(SCAN) && w.contains("does not name");
    evaluated.warnings.iter().find(named)
}

#[test]
fn a_fourth_sample_is_told_of_and_never_averaged_in() {
    let demo = with_four(|code| [code, code, code, 30_000], Channel::Suitable);
    let evaluated = evaluated(&demo).unwrap();
    let told = warning(&evaluated).unwrap();
    assert!(
        told.contains("green is measured") && told.contains("channel = \"infrared\""),
        "{told}"
    );
    densities_are_true(&demo, &evaluated);
}

#[test]
fn a_fourth_sample_is_measured_when_the_record_says_infrared() {
    for channel in [Channel::Infrared, Channel::Extra(core::num::NonZeroU8::MIN)] {
        let demo = with_four(|code| [30_000, 30_000, 30_000, code], channel);
        let evaluated = evaluated(&demo).unwrap();
        assert_eq!(warning(&evaluated), None);
        densities_are_true(&demo, &evaluated);
        let scans = evaluated.json["scans"].as_array().unwrap();
        let named = |s: &&serde_json::Value| s["name"].as_str().unwrap().ends_with(SCAN);
        let scan = scans.iter().find(named).unwrap();
        assert_eq!(scan["channel"], "extra:1");
    }
}

#[test]
fn a_channel_that_a_scan_does_not_have_is_refused_with_its_name() {
    let demo = with_four(
        |code| [code; 4],
        Channel::Extra(core::num::NonZeroU8::new(2).unwrap()),
    );
    let error = evaluated(&demo).unwrap_err();
    assert!(
        error.problem.contains(SCAN) && error.problem.contains("extra:2"),
        "{error}"
    );
    assert!(error.remedy.contains("channel in test.toml"), "{error}");
}
