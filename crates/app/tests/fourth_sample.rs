//! A scan whose pixels have a fourth sample that the file does not name: told of,
//! never averaged in, and measured when the record says so.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{AppError, DEMO_DRAW, Evaluated, Silent, evaluate_folder};
use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use record::Channel;
use std::io::Cursor;
use std::sync::LazyLock;
use testkit::{DemoTest, demo};

const SCAN: &str = "sun-715-4";

/// A little-endian TIFF of red, green, blue and a fourth sample without a name.
fn four_samples(width: u32, height: u32, pixels: impl Iterator<Item = [u16; 4]>) -> Vec<u8> {
    let strip: Vec<u8> = pixels
        .flat_map(|pixel| pixel.into_iter().flat_map(u16::to_le_bytes))
        .collect();
    let bits_at = 8 + strip.len() as u32;
    let mut out = b"II*\0".to_vec();
    out.extend((bits_at + 8).to_le_bytes());
    out.extend(&strip);
    out.extend([16_u16; 4].into_iter().flat_map(u16::to_le_bytes));
    // Tag, kind (3: two bytes, 4: four), count, value or place. Source: TIFF 6.0.
    let entries: [(u16, u16, u32, u32); 9] = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 4, bits_at),
        (259, 3, 1, 1),
        (262, 3, 1, 2),
        (273, 4, 1, 8),
        (277, 3, 1, 4),
        (278, 4, 1, height),
        (279, 4, 1, strip.len() as u32),
    ];
    out.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 4]);
    out
}

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
    let (width, height) = (reader.info().width, reader.info().height);
    let mut codes = vec![];
    reader
        .for_each_row(ChannelChoice::Grey, |row| match row.codes {
            Codes::Unsigned(stored) => codes.extend(stored),
            Codes::Float(_) => panic!("the worked example is written in whole numbers"),
        })
        .unwrap();
    *bytes = four_samples(width, height, codes.into_iter().map(pixel));
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
