//! One scan by itself: `measure` says what `evaluate` says, and files that
//! can't be what they are given for are refused.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{
    AppError, DEMO_DRAW, Evaluated, MeasureRequest, MeasuredScan, Silent, evaluate_folder,
    measure_scan,
};
use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use record::{Calibrator, Outline, PatchRole, Response};
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use testkit::{DemoTest, PlainTiff, TiffForm, demo, tiff_grey16};

/// The scan that both commands read.
const SCAN: &str = "sun-715-4";

/// The worked example with this scan's codes changed.
fn example(change: impl Fn(u16) -> u16) -> DemoTest {
    let mut demo = demo(DEMO_DRAW);
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
    }
    let file = format!("scans/{SCAN}.tif");
    let (_, bytes) = demo.files.iter_mut().find(|f| f.0 == file).unwrap();
    let mut reader =
        ScanReader::open(Cursor::new(bytes.clone()), 0, &DecodeLimits::default()).unwrap();
    let (width, height) = (reader.info().width, reader.info().height);
    let mut codes = vec![];
    reader
        .for_each_row(ChannelChoice::Grey, |row| match row.codes {
            Codes::Unsigned(row) => codes.extend(row.iter().map(|c| change(*c))),
            Codes::Float(_) => panic!("the worked example is written in whole numbers"),
        })
        .unwrap();
    *bytes = tiff_grey16(width, height, &codes, TiffForm::default());
    demo
}

/// Moves the outlines of the scan's tablet by a step.
fn a_step_off(demo: &mut DemoTest) {
    let scan = demo.parts.scans.iter_mut().find(|s| s.file.contains(SCAN));
    let Calibrator::Within(strip) = &mut scan.unwrap().calibrator else {
        panic!("the worked example has a tablet in every scan")
    };
    strip.steps.remove(0);
    strip.steps.push(None);
}

/// Reads the scan by both commands.
fn both_ways(demo: &DemoTest, dir: &Path) -> (Evaluated, MeasuredScan) {
    let folder = dir.join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let scan = demo
        .parts
        .scans
        .iter()
        .find(|s| s.file.contains(SCAN))
        .unwrap();
    let Calibrator::Within(strip) = &scan.calibrator else {
        panic!("the worked example has a tablet in every scan")
    };
    let mut tablet = "step,density,density_sd\n".to_owned();
    let listed = demo.parts.tablets.iter().find(|t| t.id == strip.tablet);
    for (i, step) in listed.unwrap().steps.iter().enumerate() {
        let (density, sd) = (step.value().to_density(), step.standard_uncertainty());
        writeln!(tablet, "{},{density},{sd}", i + 1).unwrap();
    }
    let mut patches = "name,role,x_px,y_px,width_px,height_px\n".to_owned();
    let mut add = |name: &str, role: &str, outline: &Outline| {
        let Outline::Rectangle {
            x,
            y,
            width,
            height,
        } = outline
        else {
            panic!("the worked example outlines by rectangles")
        };
        writeln!(patches, "{name},{role},{x},{y},{width},{height}").unwrap();
    };
    for patch in &demo.parts.patches {
        if let Some((of, outline)) = &patch.place
            && *of == scan.id
        {
            let role = match patch.role {
                PatchRole::BaseFog => "base_fog",
                _ => "other",
            };
            add(patch.name.as_str(), role, outline);
        }
    }
    for (i, outline) in strip.steps.iter().enumerate() {
        if let Some(outline) = outline {
            let step = i + 1;
            add(
                &format!("step-{step}"),
                &format!("tablet_step:{step}"),
                outline,
            );
        }
    }
    let (tablet_file, patches_file) = (dir.join("tablet.csv"), dir.join("patches.csv"));
    fs::write(&tablet_file, tablet).unwrap();
    fs::write(&patches_file, patches).unwrap();
    let tone = match scan.tone {
        record::Tone::AsDeclared => None,
        record::Tone::Linear => Some("linear".to_owned()),
        other => panic!("the worked example has a linear tone, not {other:?}"),
    };
    let measured = measure_scan(
        &MeasureRequest {
            tablet: Some(tablet_file),
            patches: Some(patches_file),
            tone,
            ..request(folder.join(&scan.file))
        },
        &Silent,
    )
    .unwrap();
    let evaluated = evaluate_folder(&folder, None, None, &Silent).unwrap();
    (evaluated, measured)
}

fn request(scan: PathBuf) -> MeasureRequest {
    MeasureRequest {
        scan,
        page: 0,
        tablet: None,
        strip: None,
        patches: None,
        region_map: None,
        tone: None,
        channel: None,
        flat_field: None,
        dark_frame: None,
        picture: None,
    }
}

fn words(value: &Value) -> Vec<String> {
    let mut words: Vec<String> = value
        .as_array()
        .unwrap()
        .iter()
        .map(|w| w.as_str().unwrap().to_owned())
        .collect();
    words.sort();
    words
}

/// Asks that both commands say the same of each patch, and gives the number of
/// patches and the flags of the scan.
fn same_both_ways(demo: &DemoTest) -> (usize, Vec<String>) {
    let dir = tempfile::tempdir().unwrap();
    let (evaluated, measured) = both_ways(demo, dir.path());
    let mut compared = 0;
    for reading in &evaluated.findings.readings {
        if reading.frame.as_str() != SCAN {
            continue;
        }
        compared += 1;
        let patches = measured.json["patches"].as_array().unwrap();
        let other = patches
            .iter()
            .find(|p| p["name"] == reading.patch.as_str())
            .unwrap();
        let mut flags: Vec<String> = reading
            .value
            .flags()
            .iter()
            .map(|f| f.name().to_owned())
            // Says that the reading is no density; `measure` gives none then.
            .filter(|f| f != "relative_density")
            .collect();
        flags.sort();
        assert_eq!(words(&other["flags"]), flags, "{}", reading.patch);
        if reading.response != Response::Density {
            assert!(other["density"].is_null(), "{other}");
            continue;
        }
        // The same arithmetic on the same numbers, the tablet's by way of text
        // that gives them back to the last bit.
        assert_eq!(other["density"].as_f64().unwrap(), reading.value.value());
        if reading.limit.is_none() {
            assert_eq!(
                other["density_sd"].as_f64().unwrap(),
                reading.value.standard_uncertainty()
            );
        }
    }
    let scans = evaluated.json["scans"].as_array().unwrap();
    let scan = scans
        .iter()
        .find(|s| s["name"].as_str().unwrap().contains(SCAN))
        .unwrap();
    let flags = words(&scan["flags"]);
    assert_eq!(words(&measured.json["scan"]["flags"]), flags);
    // The refusal is the same sentence.
    match measured.json["calibration_refused"].as_str() {
        None => assert!(evaluated.refusals.is_empty()),
        Some(reason) => assert!(
            evaluated.refusals.iter().any(|r| r.contains(reason))
                && measured.lines.iter().any(|l| l.contains(reason)),
            "{reason}"
        ),
    }
    (compared, flags)
}

#[test]
fn an_honest_scan_reads_alike_by_both_commands() {
    let (compared, flags) = same_both_ways(&example(|code| code));
    assert!(compared > 3 && flags.is_empty(), "{compared} {flags:?}");
}

#[test]
fn eight_bits_in_sixteen_widen_both_commands_alike_and_are_no_misfit() {
    // To the nearest of 256 values.
    let rounded = example(|code| ((u32::from(code) + 128) / 257 * 257) as u16);
    let (compared, flags) = same_both_ways(&rounded);
    assert!(compared > 3, "{compared}");
    // The holder, black but for a few codes, is rounded to 0.
    assert_eq!(flags, ["clipped", "eight_bit_origin"]);
}

#[test]
fn a_tablet_a_step_off_is_refused_by_both_commands() {
    let mut demo = example(|code| code);
    a_step_off(&mut demo);
    let (compared, flags) = same_both_ways(&demo);
    assert!(compared > 3, "{compared}");
    assert_eq!(flags, ["tablet_misfit"]);
}

/// Measures region 1 of a grey scan of 40 × 30 pixels by a map.
fn by_map(dir: &Path, name: &str, map: &[u8]) -> Result<MeasuredScan, AppError> {
    let (scan, patches) = (dir.join("scan.tif"), dir.join("patches.csv"));
    fs::write(
        &scan,
        tiff_grey16(40, 30, &[3_000; 1_200], TiffForm::default()),
    )
    .unwrap();
    fs::write(&patches, "name,region\nleaf,1\n").unwrap();
    let region_map = dir.join(name);
    fs::write(&region_map, map).unwrap();
    measure_scan(
        &MeasureRequest {
            patches: Some(patches),
            region_map: Some(region_map),
            ..request(scan)
        },
        &Silent,
    )
}

fn picture(picture: &image::DynamicImage, format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(vec![]);
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

#[test]
fn region_maps_that_are_none_are_refused_with_what_to_do() {
    use image::{DynamicImage, ImageFormat};
    let dir = tempfile::tempdir().unwrap();
    let grey = |w, h| DynamicImage::ImageLuma8(image::GrayImage::from_pixel(w, h, [1].into()));
    let good = by_map(
        dir.path(),
        "map.png",
        &picture(&grey(40, 30), ImageFormat::Png),
    )
    .unwrap();
    assert_eq!(good.json["patches"][0]["pixels"], 1_200);

    let colour = DynamicImage::ImageRgb8(image::RgbImage::from_pixel(40, 30, [1, 1, 1].into()));
    let refused = [
        (
            "turned.png",
            picture(&grey(30, 40), ImageFormat::Png),
            "has 30 × 40 pixels, but its scan has 40 × 30",
            "without cropping or scaling",
        ),
        (
            "loss.jpg",
            picture(&grey(40, 30), ImageFormat::Jpeg),
            "compressed with loss",
            "draw the map anew",
        ),
        (
            "colour.png",
            picture(&colour, ImageFormat::Png),
            "red, green and blue",
            "8-bit grey",
        ),
        (
            "deep.tif",
            tiff_grey16(40, 30, &[1; 1_200], TiffForm::default()),
            "has 16 bits",
            "8 bits",
        ),
    ];
    for (name, map, problem, remedy) in refused {
        let error = by_map(dir.path(), name, &map).unwrap_err();
        assert!(
            error.problem.contains(name) && error.problem.contains(problem),
            "{}",
            error.problem
        );
        assert!(error.remedy.contains(remedy), "{}", error.remedy);
    }
}

#[test]
fn a_map_of_another_size_is_refused_before_it_is_decoded() {
    // The header of a PNG says 8000 × 8000, and no such rows follow: what is
    // refused for its size was not decoded.
    let dir = tempfile::tempdir().unwrap();
    let tiny = image::DynamicImage::ImageLuma8(image::GrayImage::new(40, 30));
    let mut map = picture(&tiny, image::ImageFormat::Png);
    let side = 8_000_u32.to_be_bytes();
    map[16..20].copy_from_slice(&side);
    map[20..24].copy_from_slice(&side);
    let sum = crc32(&map[12..29]);
    map[29..33].copy_from_slice(&sum.to_be_bytes());
    let error = by_map(dir.path(), "huge.png", &map).unwrap_err();
    assert!(
        error.problem.contains("has 8000 × 8000 pixels"),
        "{}",
        error.problem
    );
}

/// The checksum of a PNG chunk. Source: PNG specification, annex D.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            (sum >> 1) ^ (0xEDB8_8320 * (sum & 1))
        })
    })
}

fn measured(
    scan: &Path,
    channel: Option<&str>,
    tablet: Option<&Path>,
) -> Result<MeasuredScan, AppError> {
    let request = MeasureRequest {
        tablet: tablet.map(Path::to_owned),
        tone: Some("linear".to_owned()),
        channel: channel.map(str::to_owned),
        ..request(scan.to_owned())
    };
    measure_scan(&request, &Silent)
}

#[test]
fn an_infrared_sample_is_named_kept_apart_and_read_by_its_name() {
    let dir = tempfile::tempdir().unwrap();
    let scan = dir.path().join("four.tif");
    // Red 30, green 60, blue 91, and a fourth sample of 200.
    let pixels = [30, 60, 91, 200].repeat(256);
    let four = PlainTiff::colours((16, 16), &[8; 4], pixels).tag((274, 3, vec![6]));
    fs::write(&scan, four.to_bytes()).unwrap();
    let code =
        |channel| measured(&scan, channel, None).unwrap().json["patches"][0]["mean_code"].clone();
    assert_eq!(code(None), 60.0, "green unless asked otherwise");
    // Hand calculation: (30 + 60 + 91) / 3 = 60.3.
    assert_eq!(code(Some("mean")), 60.0);
    assert_eq!(code(Some("infrared")), 200.0);
    assert_eq!(code(Some("extra:1")), 200.0);
    let said = measured(&scan, None, None).unwrap();
    let named = said.json["scan"]["extra_samples"][0].as_str().unwrap();
    assert!(
        named.starts_with("extra:1") && named.contains("infrared"),
        "{named}"
    );
    assert!(said.lines.iter().any(|line| line.contains("kept apart")));
    assert!(
        said.warnings[0].contains("turned by 90° clockwise"),
        "{:?}",
        said.warnings
    );
    for wrong in ["extra:0", "extra:two"] {
        assert!(measured(&scan, Some(wrong), None).is_err(), "{wrong}");
    }
    let error = measured(&scan, Some("extra:2"), None).unwrap_err();
    assert!(
        error.problem.contains("1 extra samples"),
        "{}",
        error.problem
    );
    let grey = dir.path().join("grey.tif");
    fs::write(&grey, PlainTiff::grey((16, 16), 8, vec![7; 256]).to_bytes()).unwrap();
    let error = measured(&grey, Some("infrared"), None).unwrap_err();
    assert!(
        error.problem.contains("could be infrared"),
        "{}",
        error.problem
    );
}

#[test]
fn black_and_white_is_shown_but_never_calibrated() {
    let dir = tempfile::tempdir().unwrap();
    let scan = dir.path().join("mask.tif");
    fs::write(
        &scan,
        PlainTiff::grey((16, 16), 1, vec![0xF0; 32]).to_bytes(),
    )
    .unwrap();
    let said = measured(&scan, None, None).unwrap();
    let flags = said.json["scan"]["flags"].to_string();
    assert!(flags.contains("bilevel"), "{flags}");
    let tablet = dir.path().join("tablet.csv");
    fs::write(&tablet, "step,density\n1,0.05\n2,0.2\n").unwrap();
    let error = measured(&scan, None, Some(&tablet)).unwrap_err();
    assert!(
        error.problem.contains("black and white only"),
        "{}",
        error.problem
    );
}

#[test]
fn a_long_scan_tells_how_far_it_is_and_stops_when_asked() {
    use std::sync::Mutex;
    struct Told(Mutex<Vec<(u64, u64)>>, bool);
    impl app::Progress for Told {
        fn at(&self, _: &str, done: u64, total: u64) {
            self.0.lock().unwrap().push((done, total));
        }
        fn stop_asked(&self) -> bool {
            self.1
        }
    }
    let dir = tempfile::tempdir().unwrap();
    let scan = dir.path().join("long.tif");
    // 16 MB of 16-bit grey.
    let codes = vec![9000_u16; 2000 * 4000];
    fs::write(&scan, tiff_grey16(2000, 4000, &codes, TiffForm::default())).unwrap();
    let request = request(scan);
    let told = Told(Mutex::new(vec![]), false);
    measure_scan(&request, &told).unwrap();
    let steps = told.0.into_inner().unwrap();
    assert!(steps.len() >= 4, "{steps:?}");
    assert!(
        steps
            .iter()
            .all(|(done, total)| done <= total && *total == 17),
        "{steps:?}"
    );
    assert!(steps.windows(2).all(|w| w[0].0 <= w[1].0), "{steps:?}");
    assert!(steps.last().unwrap().0 >= 12, "{steps:?}");
    let error = measure_scan(&request, &Told(Mutex::new(vec![]), true)).unwrap_err();
    assert!(error.problem.contains("stopped"), "{}", error.problem);
}
