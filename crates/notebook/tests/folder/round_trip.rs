use crate::sample;
use notebook::{read_test_folder, write_test_folder};
use quantity::{
    Bound, Celsius, Density, Ev100, ExposureIndex, FNumber, FilterFactor, Flag, Illuminance,
    LogExposure, Luminance, Magnification, Measured, Millimetres, Nanometres, PupilRatio, Seconds,
    Stops,
};
use record::*;

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn s(seconds: f64) -> Seconds {
    Seconds::from_s(seconds).unwrap()
}

fn stops(stops: f64) -> Stops {
    Stops::new(stops).unwrap()
}

fn some(text: &str) -> Option<String> {
    Some(text.to_owned())
}

/// Records that use every field and every variant.
fn everything() -> TestParts {
    let density = |d, sd| Measured::new(Density::gross(d).unwrap(), sd);
    let log_h = |l, sd| Measured::new(LogExposure::from_log10(l).unwrap(), sd);
    let light = |name: &str, reading| Light {
        id: id(name),
        sky: Sky::OpenShade,
        place: some("beside the \"wall\""),
        time: some("2026-06-21T12:30:00+02:00"),
        meter: Some(Meter {
            name: some("Meter M"),
            mode: MeterMode::Averaging,
            cell: MeterCell::CadmiumSulphide,
            target: some("grass"),
            placement: stops(-1.0 / 3.0),
            through_filter: true,
        }),
        reading,
        drift: Some(stops(0.05)),
        remarks: some("two\nlines, µ # and \\"),
    };
    let frame = |name: &str, role, exposure| Frame {
        id: id(name),
        film: id("film"),
        filters: vec![id("715"), id("pol")],
        process: id("dev"),
        holder: Some(format!("side {name}")),
        load: Some(2),
        exposed_at: some("2026-06-21T12:31:05+02:00"),
        role,
        exposure,
        remarks: some("r"),
    };
    let camera = CameraExposure {
        lens: Some(id("lens")),
        light: id("ev"),
        reading: Some(LightReading::Luminance(
            Luminance::from_cd_per_m2(3.25).unwrap(),
        )),
        ei: Some(ExposureIndex::from_arithmetic(12.0).unwrap()),
        aperture: FNumber::from_ratio(22.627_416_997_969_522).unwrap(),
        time: Time {
            marked: s(1.0 / 125.0),
            actual: Some(s(0.009_1)),
            actual_uncertainty_stops: Some(0.03),
        },
        bellows: Some(Bellows::Magnification(
            Magnification::from_ratio(0.5).unwrap(),
        )),
    };
    let scan = |name: &str, tone, channel, calibrator| Scan {
        id: id(name),
        file: format!("scans/{name}.tif"),
        page: 2,
        sha256: Some("ab".repeat(32)),
        device: some("flatbed"),
        settings: some("off"),
        tone,
        channel,
        calibrator,
        frame: Some(id("1")),
        repeat_of: Some(id(if name == "c" { "a" } else { "c" })),
        response: Response::RelativeDensity,
        region_map: some("scans/map.png"),
        flat_field: some("scans/table.dng"),
        dark_frame: some("scans/dark.dng"),
    };
    let rectangle = Outline::Rectangle {
        x: 1,
        y: 2,
        width: 30,
        height: 40,
    };
    let polygon = Outline::Polygon(vec![(0.5, 1.25), (10.0, 1.0), (3.0, 1e3)]);
    let patch = |frame: &str, name: &str, role, place| Patch {
        frame: id(frame),
        name: id(name),
        role,
        place,
    };
    let reading = |patch: &str, response, value, limit, origin| Reading {
        frame: id("1"),
        patch: id(patch),
        response,
        value,
        limit,
        origin,
    };
    TestParts {
        title: "Everything, \"quoted\"".into(),
        purpose: some("to be read back"),
        tester: some("T"),
        invented: true,
        films: vec![Film {
            id: id("film"),
            name: "Testfilm A".into(),
            format: some("120"),
            box_speed: Some(ExposureIndex::from_arithmetic(400.0).unwrap()),
            batch: some("7"),
            expiry: some("2027-01"),
            reciprocity: Some(ReciprocityRecord {
                law: "additive:0.1,1.62".into(),
                source: "s".into(),
                uncertainty_stops_per_decade: Some(0.2),
                extrapolate: true,
            }),
        }],
        filters: vec![
            Filter {
                id: id("715"),
                name: "R-715".into(),
                marking: some("715"),
                edge: Some(Edge {
                    wavelength: Nanometres::from_nm(715.0).unwrap(),
                    level: EdgeLevel::MinusThreeStops,
                }),
                stated_factor: Some(StatedFactor {
                    factor: FilterFactor::from_ratio(16.0).unwrap(),
                    basis: "none".into(),
                }),
            },
            Filter {
                id: id("pol"),
                name: "Polariser".into(),
                marking: None,
                edge: None,
                stated_factor: None,
            },
        ],
        lenses: vec![Lens {
            id: id("lens"),
            name: "L".into(),
            focal_length: Some(Millimetres::from_mm(150.0).unwrap()),
            pupil_ratio: Some(PupilRatio::from_ratio(1.1).unwrap()),
            shutter: Shutter {
                marked_uncertainty: Some(stops(0.15)),
                measured: [(1.0 / 30.0, 0.037), (1.0, 1.1), (120.0, 119.5)]
                    .map(|(marked, actual)| MeasuredTime {
                        marked: s(marked),
                        actual: s(actual),
                        spread: stops(0.04),
                    })
                    .to_vec(),
            },
        }],
        lights: vec![
            light(
                "ev",
                Some(LightReading::Ev100(Ev100::from_ev(14.7).unwrap())),
            ),
            light(
                "lux",
                Some(LightReading::Illuminance(
                    Illuminance::from_lux(80_000.0).unwrap(),
                )),
            ),
            light("none", None),
        ],
        processes: vec![Process {
            id: id("dev"),
            developer: "D".into(),
            dilution: some("1+50"),
            time: Some(s(540.0)),
            temperature: Some(Celsius::from_c(20.5).unwrap()),
            agitation: some("a"),
            remarks: some("r"),
        }],
        tablets: vec![
            Tablet {
                id: id("t3"),
                serial: some("123"),
                certified: true,
                steps: vec![
                    density(0.05, 0.01),
                    density(0.21, 0.012),
                    density(3.0, 0.03),
                ],
            },
            Tablet {
                id: id("t2"),
                serial: None,
                certified: false,
                steps: vec![density(0.05, 0.02), density(0.2, 0.02)],
            },
        ],
        scans: vec![
            scan(
                "a",
                Tone::Gamma(2.2),
                Channel::MosaicPhase { row: 1, column: 0 },
                Calibrator::Within(TabletStrip {
                    tablet: id("t3"),
                    steps: vec![Some(polygon.clone()), None, Some(Outline::Region(9))],
                }),
            ),
            scan(
                "b",
                Tone::Srgb,
                Channel::Mean,
                Calibrator::OtherScan(id("a")),
            ),
            scan("c", Tone::Unknown, Channel::Infrared, Calibrator::None),
        ],
        frames: vec![
            frame("1", FrameRole::Anchor, Exposure::Camera(camera.clone())),
            frame(
                "2",
                FrameRole::Repeat,
                Exposure::Camera(CameraExposure {
                    reading: None,
                    ei: None,
                    bellows: Some(Bellows::Draw(Millimetres::from_mm(300.0).unwrap())),
                    ..camera
                }),
            ),
            frame(
                "3",
                FrameRole::Bracket,
                Exposure::Relative(log_h(-0.3, 0.02)),
            ),
            frame(
                "4",
                FrameRole::TabletSheet,
                Exposure::Tablet {
                    tablet: id("t3"),
                    without_tablet: Some(log_h(0.7, 0.05)),
                },
            ),
            frame("5", FrameRole::Unexposed, Exposure::None),
        ],
        patches: vec![
            patch("1", "card", PatchRole::GreyCard, Some((id("a"), rectangle))),
            patch(
                "1",
                "leaf",
                PatchRole::SunlitFoliage,
                Some((id("b"), polygon)),
            ),
            patch(
                "1",
                "map",
                PatchRole::Other,
                Some((id("c"), Outline::Region(3))),
            ),
            patch(
                "2",
                "leaf",
                PatchRole::SunlitFoliage,
                Some((id("c"), Outline::CarriedFrom(id("1")))),
            ),
            patch("4", "s3", PatchRole::TabletStep(3), None),
        ],
        readings: vec![
            reading(
                "card",
                Response::Density,
                Measured::new(0.1 + 0.2, 0.01)
                    .flagged(Flag::Clipped)
                    .flagged(Flag::FewPixels),
                Some(Bound::AtLeast),
                ReadingOrigin::Densitometer(some("diffuse, visual")),
            ),
            reading(
                "leaf",
                Response::LogSignal,
                Measured::new(-123.5, 0.0),
                Some(Bound::AtMost),
                ReadingOrigin::Scan(id("a")),
            ),
            reading(
                "map",
                Response::RelativeDensity,
                Measured::new(1e-7, 0.5),
                None,
                ReadingOrigin::ContactPrint,
            ),
        ],
        outside_reports: vec![OutsideReport {
            id: id("o"),
            film: "f".into(),
            filter: "a 720".into(),
            ei: Some(ExposureIndex::from_arithmetic(6.0).unwrap()),
            light: some("sun"),
            seen: Seen::Trace,
            source: some("told"),
        }],
    }
}

fn files() -> Vec<(String, Vec<u8>)> {
    [
        "scans/a.tif",
        "scans/b.tif",
        "scans/c.tif",
        "scans/map.png",
        "scans/table.dng",
        "scans/dark.dng",
    ]
    .map(|name| (name.to_owned(), vec![0, 1, 2]))
    .to_vec()
}

fn left_over(parent: &std::path::Path) -> Vec<String> {
    std::fs::read_dir(parent)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect()
}

#[test]
fn what_is_written_reads_back_equal() {
    let parent = tempfile::tempdir().unwrap();
    let dir = parent.path().join("new/test");
    write_test_folder(&everything(), &files(), &dir).unwrap_or_else(|error| panic!("{error}"));
    let folder = read_test_folder(&dir).unwrap();
    assert_eq!(*folder.test.parts(), everything());
    assert_eq!(folder.warnings, Vec::<String>::new());
    let text = std::fs::read_to_string(dir.join("test.toml")).unwrap();
    // One row of outside truth: what a person would have written.
    for line in [
        "time_marked_s = \"1/125\"  # In a camera: the time set on the shutter. Needed.",
        "filters = [\"715\", \"pol\"]  # Filters, in order. Left out: none.",
        "[scan.strip]",
    ] {
        assert!(text.lines().any(|l| l == line), "{line:?} in\n{text}");
    }
    assert_eq!(left_over(&parent.path().join("new")), ["test"]);
    let keys: toml::Value = toml::from_str(&text).unwrap();
    crate::document::fits(&notebook::json_schema(), &keys).unwrap();
}

#[test]
fn the_example_reads_back_equal_after_it_was_written() {
    let parent = tempfile::tempdir().unwrap();
    let first = parent.path().join("first");
    sample::write(&first);
    let read = read_test_folder(&first).unwrap().test;
    // An empty folder may stand there already.
    let second = parent.path().join("second");
    std::fs::create_dir(&second).unwrap();
    let scan = [("scans/sheets.tif".to_owned(), vec![0])];
    write_test_folder(read.parts(), &scan, &second).unwrap();
    assert_eq!(read_test_folder(&second).unwrap().test, read);
    let text = std::fs::read_to_string(second.join("test.toml")).unwrap();
    // As a person wrote it in the example.
    assert!(text.contains("\nnominal = \"31\"  #"), "{text}");
}

#[test]
fn nothing_is_overwritten_and_nothing_half_written() {
    let parent = tempfile::tempdir().unwrap();
    let dir = parent.path().join("test");
    let write = |parts: &TestParts, files: &[(String, Vec<u8>)]| {
        write_test_folder(parts, files, &dir)
            .unwrap_err()
            .to_string()
    };
    std::fs::create_dir(&dir).unwrap();
    std::fs::write(dir.join("mine.txt"), "mine").unwrap();
    let error = write(&everything(), &files());
    assert!(error.contains("the folder is not empty"), "{error}");
    assert_eq!(left_over(&dir), ["mine.txt"]);
    std::fs::remove_dir_all(&dir).unwrap();

    let error = write(&everything(), &files()[..2]);
    assert!(
        error.contains("the file \"scans/c.tif\" is not there"),
        "{error}"
    );
    for bad in ["../x", "test.toml", "SCANS/A.tif", "C:/x"] {
        let mut files = files();
        files.push((bad.to_owned(), vec![]));
        let error = write(&everything(), &files);
        assert!(error.contains("the path "), "{error}");
    }
    // A flag that the format has no key for.
    let mut parts = everything();
    parts.tablets[0].steps[0] = parts.tablets[0].steps[0].clone().flagged(Flag::Clipped);
    let error = write(&parts, &files());
    assert!(
        error.contains("the records read back differently: tablets"),
        "{error}"
    );
    let mut parts = everything();
    parts.frames.clear();
    parts.patches.clear();
    parts.readings.clear();
    parts.scans.iter_mut().for_each(|scan| scan.frame = None);
    let error = write(&parts, &files());
    assert!(error.contains("the test has no frames"), "{error}");
    assert_eq!(left_over(parent.path()), Vec::<String>::new());
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig {
        cases: 64,
        failure_persistence: None,
        ..Default::default()
    })]

    /// Every number reads back as the very same one, fractions of a second too.
    #[test]
    fn numbers_read_back_to_the_last_bit(
        marked in 1e-6_f64..1e6,
        below in 1_u32..200_000,
        log_h in -1e3_f64..1e3,
        x in -1e9_f64..1e9,
        density in -0.2_f64..10.0,
        sd in 1e-12_f64..1e-3,
    ) {
        let mut parts = everything();
        let time = |marked| MeasuredTime { marked: s(marked), actual: s(marked * 1.1), spread: stops(sd) };
        parts.lenses[0].shutter.measured = vec![time(marked), time(1.0 / f64::from(below))];
        let log_h = LogExposure::from_log10(log_h).unwrap();
        parts.frames[2].exposure = Exposure::Relative(Measured::new(log_h, sd));
        let corners = Outline::Polygon(vec![(x, -x), (0.0, x), (sd, x / 3.0)]);
        parts.patches[1].place = Some((id("b"), corners));
        parts.readings[0].value = Measured::new(density, sd);
        let parent = tempfile::tempdir()?;
        let dir = parent.path().join("t");
        // It refuses what does not read back equal.
        write_test_folder(&parts, &files(), &dir)?;
        let folder = read_test_folder(&dir)?;
        proptest::prop_assert_eq!(folder.test.parts(), &parts);
    }
}
