//! The worked example: an invented test with scans whose truth is known.
//!
//! Film, filters, places and numbers are invented and marked so. The story: an
//! ISO-100 film behind a 715 nm filter. In clear sun: two anchors a stop apart,
//! a frame exposed as if there were no filter (it comes out blank), a bracket
//! of five about the right exposure, and a plain red control. Under a closed
//! sky: an anchor and two filtered frames of many seconds. Beside them an
//! unexposed sheet and one exposed through the step tablet. All in one process.

use crate::invented::{self, TrueTablet};
use crate::landscape::{Band, HEIGHT, Landscape, PLACES, WIDTH, Weather, leaves};
use crate::made;
use crate::negative::{Development, REBATE, SHEET_HEIGHT, Sheet, picture};
use crate::noise::Draws;
use crate::scanner::{Lie, Scanner, tablet_outlines};
use crate::truth::{
    TrueDensity, TrueFilter, TrueFrame, TrueWoodEffect, Truth, TruthCurve, grey_log_h,
};
use core::f64::consts::LOG10_2;
use quantity::Measured;
use record::{
    Calibrator, CameraExposure, Channel, Exposure, Frame, FrameRole, Light, MeasuredTime, Outline,
    OutsideReport, Patch, PatchRole, Response, Scan, Seen, Sky, TabletStrip, TestParts, Time, Tone,
};

/// A made test: what a photographer would have, and what was true.
#[derive(Clone, Debug, PartialEq)]
pub struct DemoTest {
    /// The records.
    pub parts: TestParts,
    /// Files by path within the test folder: the scans, and `truth.csv`.
    pub files: Vec<(String, Vec<u8>)>,
    /// What was true.
    pub truth: Truth,
}

/// What the frames go through.
#[derive(Clone, Copy, PartialEq)]
enum Glass {
    Bare,
    Red,
    DeepRed,
}

/// One frame of the plan.
struct Planned {
    name: &'static str,
    role: FrameRole,
    glass: Glass,
    weather: Weather,
    aperture: f64,
    /// Marked time: seconds, or their reciprocal.
    marked_s: f64,
    remarks: Option<&'static str>,
}

const fn planned(
    name: &'static str,
    role: FrameRole,
    glass: Glass,
    weather: Weather,
    aperture: f64,
    marked_s: f64,
) -> Planned {
    Planned {
        name,
        role,
        glass,
        weather,
        aperture,
        marked_s,
        remarks: None,
    }
}

fn camera_frames() -> Vec<Planned> {
    use FrameRole::{Anchor, Bracket, RedControl};
    use Glass::{Bare, DeepRed, Red};
    use Weather::{ClearSun, Overcast};
    let mut frames = vec![
        planned("sun-anchor-1", Anchor, Bare, ClearSun, 22.0, 1.0 / 60.0),
        planned("sun-anchor-2", Anchor, Bare, ClearSun, 22.0, 1.0 / 30.0),
        planned("sun-715-0", Bracket, DeepRed, ClearSun, 22.0, 1.0 / 60.0),
        planned("sun-715-1", Bracket, DeepRed, ClearSun, 22.0, 1.0 / 4.0),
        planned("sun-715-2", Bracket, DeepRed, ClearSun, 22.0, 1.0 / 2.0),
        planned("sun-715-3", Bracket, DeepRed, ClearSun, 22.0, 1.0),
        planned("sun-715-4", Bracket, DeepRed, ClearSun, 22.0, 2.0),
        planned("sun-715-5", Bracket, DeepRed, ClearSun, 22.0, 4.0),
        planned("sun-red", RedControl, Red, ClearSun, 22.0, 1.0 / 8.0),
        planned("cloud-anchor", Anchor, Bare, Overcast, 11.0, 1.0 / 15.0),
        planned("cloud-715-1", Bracket, DeepRed, Overcast, 11.0, 8.0),
        planned("cloud-715-2", Bracket, DeepRed, Overcast, 11.0, 16.0),
    ];
    frames[2].remarks = Some("exposed as if there were no filter, to see what happens");
    frames
}

/// True stops of the factors: 715 in the sun, 715 under cloud, red.
const DEEP_RED_SUN_STOPS: f64 = 6.4;
const DEEP_RED_CLOUD_STOPS: f64 = 7.1;
const RED_STOPS: f64 = 2.7;
const RECIPROCITY_POWER: f64 = 1.2;
/// Doubt of the reciprocity law as recorded, stops per decade; the law holds here.
const RECIPROCITY_SD: f64 = 0.1;
const CAMERA_FLARE: f64 = 0.006;

// Standard deviations from which the errors are drawn, stops unless said.
const METER_BIAS: f64 = 0.10;
const DRIFT: f64 = 0.06;
const MARKED_SHUTTER: f64 = 0.20;
const RELEASE: f64 = 0.03;
const WATCH: f64 = 0.03;
const MARKED_APERTURE: f64 = 0.05;
const FOG_SD_DENSITY: f64 = 0.004;
const CONTRAST_SD_SHARE: f64 = 0.01;
const TABLET_SHEET_SD_LOG_H: f64 = 0.03;

/// Speeds that were measured, and those that were not.
const MEASURED_SPEEDS: [f64; 5] = [1.0 / 60.0, 1.0 / 30.0, 1.0 / 8.0, 1.0 / 4.0, 1.0 / 2.0];
const UNMEASURED_SPEEDS: [f64; 2] = [1.0 / 15.0, 1.0];
/// Times from here on were counted on a watch.
const WATCH_FROM_S: f64 = 2.0;

/// What the shutter truly does at one mark.
struct Speed {
    marked_s: f64,
    true_mean_s: f64,
    measured: Option<MeasuredTime>,
}

fn shutter_speeds(draws: &mut Draws) -> Vec<Speed> {
    let mut speed = |marked_s: f64, is_measured: bool| {
        let true_mean_s = marked_s * libm::exp2(draws.normal(MARKED_SHUTTER));
        // The mean of five releases.
        let off = draws.normal(RELEASE / libm::sqrt(5.0));
        let measured = is_measured.then(|| MeasuredTime {
            marked: made::seconds(marked_s),
            actual: made::seconds(three_digits(true_mean_s * libm::exp2(off))),
            spread: made::stops(RELEASE),
        });
        Speed {
            marked_s,
            true_mean_s,
            measured,
        }
    };
    let mut speeds: Vec<_> = MEASURED_SPEEDS.map(|s| speed(s, true)).into();
    speeds.extend(UNMEASURED_SPEEDS.map(|s| speed(s, false)));
    speeds
}

fn three_digits(value: f64) -> f64 {
    let decimals = 2 - libm::floor(libm::log10(value)) as i32;
    made::rounded(value, decimals)
}

/// A light as it was and as it was read.
struct TrueLight {
    name: &'static str,
    weather: Weather,
    read_ev100: f64,
}

const LIGHTS: [TrueLight; 2] = [
    TrueLight {
        name: "sun",
        weather: Weather::ClearSun,
        read_ev100: 14.6,
    },
    TrueLight {
        name: "cloud",
        weather: Weather::Overcast,
        read_ev100: 11.0,
    },
];

fn light_of(weather: Weather) -> &'static TrueLight {
    match weather {
        Weather::ClearSun => &LIGHTS[0],
        Weather::Overcast => &LIGHTS[1],
    }
}

fn band_of(glass: Glass) -> Band {
    match glass {
        Glass::Bare => Band::Visible,
        Glass::Red => Band::Red,
        Glass::DeepRed => Band::DeepRed,
    }
}

fn factor_stops(glass: Glass, weather: Weather) -> f64 {
    match (glass, weather) {
        (Glass::Bare, _) => 0.0,
        (Glass::Red, _) => RED_STOPS,
        (Glass::DeepRed, Weather::ClearSun) => DEEP_RED_SUN_STOPS,
        (Glass::DeepRed, Weather::Overcast) => DEEP_RED_CLOUD_STOPS,
    }
}

// Streams of random numbers, one for each purpose.
const STREAM_ERRORS: u64 = 1;
const STREAM_TABLET: u64 = 2;
const STREAM_SHEETS: u64 = 100;

/// Makes the worked example; `draw` picks the errors, grain and clouds.
///
/// The same number gives the same bytes. It takes about a second.
#[must_use]
pub fn demo(draw: u64) -> DemoTest {
    let mut maker = Maker::new(draw);
    for planned in camera_frames() {
        maker.camera_frame(&planned);
    }
    maker.unexposed_sheet();
    maker.tablet_sheet();
    maker.finish()
}

/// What is gathered while the frames are made.
struct Maker {
    draw: u64,
    errors: Draws,
    landscape: Landscape,
    curve: TruthCurve,
    scanner: Scanner,
    tablet: TrueTablet,
    speeds: Vec<Speed>,
    apertures: Vec<(f64, f64)>,
    meter_bias: f64,
    parts: TestParts,
    files: Vec<(String, Vec<u8>)>,
    frames: Vec<TrueFrame>,
    densities: Vec<TrueDensity>,
}

impl Maker {
    fn new(draw: u64) -> Self {
        let mut errors = Draws::new(draw, STREAM_ERRORS);
        let tablet = TrueTablet::new(&mut Draws::new(draw, STREAM_TABLET));
        let speeds = shutter_speeds(&mut errors);
        let apertures = [11.0, 22.0]
            .map(|marked| (marked, errors.normal(MARKED_APERTURE)))
            .into();
        let meter_bias = errors.normal(METER_BIAS);
        let parts = TestParts {
            title: "Invented Pan 100 behind a 715 nm filter".into(),
            purpose: Some(
                "How much exposure the film needs behind the filter, in sun and under cloud; \
                 made-up data with known truth (truth.csv)"
                    .into(),
            ),
            tester: Some("A. Nobody (invented)".into()),
            invented: true,
            films: vec![invented::film(RECIPROCITY_POWER, RECIPROCITY_SD)],
            filters: invented::filters(),
            lenses: vec![invented::lens(
                MARKED_SHUTTER,
                speeds.iter().filter_map(|s| s.measured).collect(),
            )],
            lights: LIGHTS.iter().map(light_record).collect(),
            processes: vec![invented::process()],
            tablets: vec![tablet.record.clone()],
            outside_reports: outside_reports(),
            ..TestParts::default()
        };
        Self {
            draw,
            errors,
            landscape: Landscape::new(draw),
            curve: TruthCurve::toe_and_shoulder(0.16, 0.66, 0.18, 3.2, 0.35, -2.0),
            scanner: Scanner {
                clear: 60_500.0,
                flare: 0.0008,
                dark_noise: 0.000_12,
                shot_noise: 0.002,
            },
            tablet,
            speeds,
            apertures,
            meter_bias,
            parts,
            files: Vec::new(),
            frames: Vec::new(),
            densities: Vec::new(),
        }
    }

    /// Exposes, develops and scans a frame of the landscape.
    fn camera_frame(&mut self, planned: &Planned) {
        let light = light_of(planned.weather);
        let (time, recorded_s, true_s) = self.time(planned.marked_s);
        let aperture_error = self
            .apertures
            .iter()
            .find(|(marked, _)| *marked == planned.aperture)
            .map_or(0.0, |(_, error)| *error);
        let log_h = |time_s, stops| {
            grey_log_h(
                light.read_ev100,
                planned.aperture,
                time_s,
                RECIPROCITY_POWER,
            ) + LOG10_2 * (stops - factor_stops(planned.glass, planned.weather))
        };
        let light_error = self.meter_bias + self.errors.normal(DRIFT) + aperture_error;
        let expected_log_h = log_h(recorded_s, 0.0);
        let log_h = log_h(true_s, light_error);
        let error_stops = (log_h - expected_log_h) / LOG10_2;
        let frame = Frame {
            id: made::id(planned.name),
            film: made::id("pan"),
            filters: match planned.glass {
                Glass::Bare => vec![],
                Glass::Red => vec![made::id("red")],
                Glass::DeepRed => vec![made::id("r715")],
            },
            process: made::id("tank"),
            holder: Some(self.next_holder()),
            load: None,
            exposed_at: None,
            role: planned.role,
            exposure: Exposure::Camera(CameraExposure {
                lens: Some(made::id("lens")),
                light: made::id(light.name),
                reading: None,
                ei: Some(made::index(100.0)),
                aperture: made::aperture(planned.aperture),
                time,
                bellows: None,
            }),
            remarks: planned.remarks.map(str::to_owned),
        };
        let light_on_film =
            self.landscape
                .light(band_of(planned.glass), planned.weather, CAMERA_FLARE);
        let places = PLACES.iter().filter(|place| {
            planned.weather == Weather::ClearSun
                || !matches!(
                    place.role,
                    PatchRole::ShadedFoliage | PatchRole::ShadedGreyCard
                )
        });
        let places = places
            .map(|place| {
                // Under a closed sky no leaves are sunlit.
                let role = match (place.role, planned.weather) {
                    (PatchRole::SunlitFoliage, Weather::Overcast) => PatchRole::Other,
                    (role, _) => role,
                };
                let name = match (place.name, planned.weather) {
                    ("leaves-sun", Weather::Overcast) => "leaves",
                    (name, _) => name,
                };
                (name, role, place.outline(REBATE as u32, REBATE as u32))
            })
            .collect();
        self.develop_and_scan(frame, &light_on_film, Some(log_h), error_stops, places);
    }

    /// Gives the time as recorded, the best that the record says of it, and
    /// what it truly was.
    fn time(&mut self, marked_s: f64) -> (Time, f64, f64) {
        let marked = made::seconds(marked_s);
        if marked_s >= WATCH_FROM_S {
            let time = Time {
                marked,
                actual: Some(marked),
                actual_uncertainty_stops: Some(WATCH),
            };
            let true_s = marked_s * libm::exp2(self.errors.normal(WATCH));
            return (time, marked_s, true_s);
        }
        let Some(speed) = self.speeds.iter().find(|s| s.marked_s == marked_s) else {
            unreachable!("the plan uses a speed that the shutter does not have: {marked_s} s")
        };
        let true_s = speed.true_mean_s * libm::exp2(self.errors.normal(RELEASE));
        let recorded_s = speed.measured.map_or(marked_s, |m| m.actual.to_s());
        let time = Time {
            marked,
            actual: None,
            actual_uncertainty_stops: None,
        };
        (time, recorded_s, true_s)
    }

    fn unexposed_sheet(&mut self) {
        let frame = Frame {
            id: made::id("unexposed"),
            film: made::id("pan"),
            filters: vec![],
            process: made::id("tank"),
            holder: Some(self.next_holder()),
            load: None,
            exposed_at: None,
            role: FrameRole::Unexposed,
            exposure: Exposure::None,
            remarks: None,
        };
        let outline = Outline::Rectangle {
            x: REBATE as u32 + 200,
            y: REBATE as u32 + 180,
            width: 160,
            height: 120,
        };
        let dark = vec![0.0; WIDTH * HEIGHT];
        let places = vec![("middle", PatchRole::BaseFog, outline)];
        self.develop_and_scan(frame, &dark, None, 0.0, places);
    }

    fn tablet_sheet(&mut self) {
        const NAMES: [&str; 21] = [
            "step-1", "step-2", "step-3", "step-4", "step-5", "step-6", "step-7", "step-8",
            "step-9", "step-10", "step-11", "step-12", "step-13", "step-14", "step-15", "step-16",
            "step-17", "step-18", "step-19", "step-20", "step-21",
        ];
        const STEP_WIDTH: usize = 30;
        const TOP: usize = 156;
        const BOTTOM: usize = 356;
        const LEFT: usize = (WIDTH - STEP_WIDTH * 21) / 2;
        let recorded_log_h = 0.55;
        let off = self.errors.normal(TABLET_SHEET_SD_LOG_H);
        let frame = Frame {
            id: made::id("tablet-sheet"),
            film: made::id("pan"),
            filters: vec![],
            process: made::id("tank"),
            holder: None,
            load: None,
            exposed_at: None,
            role: FrameRole::TabletSheet,
            exposure: Exposure::Tablet {
                tablet: made::id("tablet"),
                without_tablet: Some(Measured::new(
                    made::log_exposure(recorded_log_h),
                    TABLET_SHEET_SD_LOG_H,
                )),
            },
            remarks: Some("in contact, daylight lamp; lux seconds by a lux meter".into()),
        };
        // No light beyond the edge of the tablet.
        let mut light = vec![0.0; WIDTH * HEIGHT];
        for row in TOP..BOTTOM {
            for (step, d) in self.tablet.densities.iter().enumerate() {
                let from = row * WIDTH + LEFT + step * STEP_WIDTH;
                light[from..from + STEP_WIDTH].fill(libm::exp10(-d));
            }
        }
        let places = NAMES
            .iter()
            .enumerate()
            .map(|(step, name)| {
                let outline = Outline::Rectangle {
                    x: (REBATE + LEFT + step * STEP_WIDTH + 6) as u32,
                    y: (REBATE + TOP + 20) as u32,
                    width: (STEP_WIDTH - 12) as u32,
                    height: (BOTTOM - TOP - 40) as u32,
                };
                (*name, PatchRole::TabletStep(step as u32 + 1), outline)
            })
            .collect();
        self.develop_and_scan(
            frame,
            &light,
            Some(recorded_log_h + off),
            off / LOG10_2,
            places,
        );
    }

    fn next_holder(&self) -> String {
        let count = self.parts.frames.len();
        format!("{}{}", count / 2 + 1, ["A", "B"][count % 2])
    }

    fn develop_and_scan(
        &mut self,
        frame: Frame,
        light: &[f64],
        log_h: Option<f64>,
        error_stops: f64,
        mut places: Vec<(&'static str, PatchRole, Outline)>,
    ) {
        let number = self.frames.len() as u64;
        let mut draws = Draws::new(self.draw, STREAM_SHEETS + number);
        let development = Development {
            curve: &self.curve,
            gradient_ratio: 1.0,
            contrast: 1.0 + draws.normal(CONTRAST_SD_SHARE),
            fog_offset: draws.normal(FOG_SD_DENSITY),
        };
        let base_plus_fog = development.base_plus_fog();
        let sheet = Sheet::new(
            &picture(light, log_h, &development),
            base_plus_fog,
            &mut draws,
        );
        // The rebate below the picture.
        let rebate = Outline::Rectangle {
            x: 260,
            y: (SHEET_HEIGHT - REBATE + 3) as u32,
            width: 150,
            height: 8,
        };
        places.push(("base-fog", PatchRole::BaseFog, rebate));

        // Nobody lays a sheet down twice in the same place.
        let lie = Lie {
            left: draws.between(60.0, 73.0) as usize,
            top: draws.between(10.0, 22.0) as usize,
        };
        let scan_id = made::id(&format!("scan-{}", frame.id));
        for (name, role, outline) in places {
            self.densities.push(TrueDensity {
                frame: frame.id.clone(),
                patch: made::id(name),
                density: made::density(sheet.mean_clean(&outline)),
            });
            self.parts.patches.push(Patch {
                frame: frame.id.clone(),
                name: made::id(name),
                role,
                place: Some((scan_id.clone(), moved(&outline, lie))),
            });
        }
        let file = format!("scans/{}.tif", frame.id);
        let bytes = self
            .scanner
            .scan(&sheet, lie, &self.tablet.densities, &mut draws);
        self.files.push((file.clone(), bytes));
        self.parts.scans.push(scan(scan_id, file));
        let is_camera = matches!(frame.exposure, Exposure::Camera(_));
        self.frames.push(TrueFrame {
            frame: frame.id.clone(),
            grey_log_h: log_h.filter(|_| is_camera).map(made::log_exposure),
            error: made::stops(error_stops),
            base_plus_fog: made::density(base_plus_fog),
        });
        self.parts.frames.push(frame);
    }

    fn finish(mut self) -> DemoTest {
        let (r715, red) = (made::id("r715"), made::id("red"));
        let (sun, cloud) = (made::id("sun"), made::id("cloud"));
        let filter = |filter: &record::Id, light: &record::Id, stops| TrueFilter {
            filter: filter.clone(),
            light: light.clone(),
            factor: made::factor_from_stops(stops),
            gradient_ratio: 1.0,
        };
        let wood = |filter: &record::Id, band| {
            let bare = leaves(Band::Visible, Weather::ClearSun);
            let behind = leaves(band, Weather::ClearSun);
            TrueWoodEffect {
                filter: filter.clone(),
                light: sun.clone(),
                sunlit: made::stops((behind.0 - bare.0) / LOG10_2),
                shaded: made::stops((behind.1 - bare.1) / LOG10_2),
            }
        };
        let truth = Truth {
            filters: vec![
                filter(&r715, &sun, DEEP_RED_SUN_STOPS),
                filter(&r715, &cloud, DEEP_RED_CLOUD_STOPS),
                filter(&red, &sun, RED_STOPS),
            ],
            wood_effects: vec![wood(&r715, Band::DeepRed), wood(&red, Band::Red)],
            curve: self.curve,
            reciprocity_power: RECIPROCITY_POWER,
            frames: self.frames,
            densities: self.densities,
        };
        self.files
            .push(("truth.csv".into(), truth.to_csv().into_bytes()));
        DemoTest {
            parts: self.parts,
            files: self.files,
            truth,
        }
    }
}

fn moved(outline: &Outline, lie: Lie) -> Outline {
    match *outline {
        Outline::Rectangle {
            x,
            y,
            width,
            height,
        } => Outline::Rectangle {
            x: x + lie.left as u32,
            y: y + lie.top as u32,
            width,
            height,
        },
        _ => unreachable!("every outline of a made sheet is a rectangle"),
    }
}

fn light_record(light: &TrueLight) -> Light {
    let (sky, time) = match light.weather {
        Weather::ClearSun => (Sky::ClearSun, "2026-06-14T12:20:00+02:00"),
        Weather::Overcast => (Sky::Overcast, "2026-06-15T11:05:00+02:00"),
    };
    invented::light(light.name, sky, time, light.read_ev100, DRIFT)
}

fn scan(id: record::Id, file: String) -> Scan {
    Scan {
        id,
        file,
        page: 0,
        sha256: None,
        device: Some("made by computation".into()),
        settings: Some("16-bit grey, linear, levels and exposure locked".into()),
        tone: Tone::Linear,
        channel: Channel::Suitable,
        calibrator: Calibrator::Within(TabletStrip {
            tablet: made::id("tablet"),
            steps: tablet_outlines(21).into_iter().map(Some).collect(),
        }),
        frame: None,
        repeat_of: None,
        response: Response::Density,
        region_map: None,
        flat_field: None,
        dark_frame: None,
    }
}

fn outside_reports() -> Vec<OutsideReport> {
    let report = |name: &str, ei: f64, seen| OutsideReport {
        id: made::id(name),
        film: "Invented Pan 100".into(),
        filter: "R-715 (invented)".into(),
        ei: Some(made::index(ei)),
        light: Some("clear sun".into()),
        seen,
        source: Some("invented".into()),
    };
    vec![
        report("told-1", 3.0, Seen::Image),
        report("told-2", 25.0, Seen::Blank),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;
    use std::sync::LazyLock;
    use tiff::decoder::{Decoder, DecodingResult};

    /// Made once for all tests here: some seconds of work without optimisation.
    static DEMO: LazyLock<DemoTest> = LazyLock::new(|| demo(1));
    static OTHER: LazyLock<DemoTest> = LazyLock::new(|| demo(2));

    fn codes(demo: &DemoTest, file: &str) -> (u32, Vec<u16>) {
        let (_, bytes) = demo.files.iter().find(|(name, _)| name == file).unwrap();
        let mut decoder = Decoder::new(Cursor::new(bytes)).unwrap();
        let (width, _) = decoder.dimensions().unwrap();
        match decoder.read_image().unwrap() {
            DecodingResult::U16(codes) => (width, codes),
            other => panic!("{other:?}"),
        }
    }

    /// Middle code value inside a rectangle; dust and scratches hardly move it.
    fn median_code(width: u32, codes: &[u16], outline: &Outline) -> f64 {
        let Outline::Rectangle {
            x,
            y,
            width: across,
            height: down,
        } = *outline
        else {
            panic!("{outline:?}")
        };
        let mut inside: Vec<u16> = (y..y + down)
            .flat_map(|row| {
                let from = (row * width + x) as usize;
                codes[from..from + across as usize].iter().copied()
            })
            .collect();
        inside.sort_unstable();
        f64::from(inside[inside.len() / 2])
    }

    /// The scanner's own formula turned round, written anew: v = k(T + f)/(1 + f).
    fn density_of_code(code: f64) -> f64 {
        let (clear, flare) = (60_500.0, 0.0008);
        -libm::log10(code / clear * (1.0 + flare) - flare)
    }

    #[test]
    fn the_same_number_gives_the_same_bytes_and_another_gives_others() {
        let again = demo(1);
        assert!(again == *DEMO, "two runs differ");
        let other = &*OTHER;
        assert_eq!(other.parts.frames.len(), DEMO.parts.frames.len());
        assert!(
            other.files[0].1 != DEMO.files[0].1,
            "the draw changes nothing"
        );
    }

    #[test]
    fn the_records_make_a_sound_test_marked_as_invented() {
        for made in [&*DEMO, &*OTHER] {
            assert!(made.parts.invented);
            record::Test::assemble(made.parts.clone()).unwrap();
        }
        for scan in &DEMO.parts.scans {
            assert!(DEMO.files.iter().any(|(name, _)| *name == scan.file));
        }
        assert_eq!(DEMO.files.len(), DEMO.parts.scans.len() + 1);
    }

    #[test]
    fn the_scans_hold_the_true_densities() {
        for scan in &DEMO.parts.scans {
            let (width, codes) = codes(&DEMO, &scan.file);
            for patch in &DEMO.parts.patches {
                let (in_scan, outline) = patch.place.as_ref().unwrap();
                if *in_scan != scan.id {
                    continue;
                }
                let seen = density_of_code(median_code(width, &codes, outline));
                let truth = DEMO.truth.density(&patch.frame, &patch.name).unwrap();
                // Grain of 0.032 at a net density of 2 over 300 pixels, its
                // neighbours alike over about 7: 0.032·√(7/300)·1.25 = 0.006 for
                // a median, at most; leaves are uneven, which the toe makes skew.
                let most = 0.015;
                assert!(
                    (seen - truth.to_density()).abs() < most,
                    "{} {}: {seen} in the scan, {truth:?} in truth",
                    patch.frame,
                    patch.name
                );
            }
        }
    }

    #[test]
    fn the_tablet_in_a_scan_is_the_certified_one() {
        let scan = &DEMO.parts.scans[0];
        let (width, codes) = codes(&DEMO, &scan.file);
        let Calibrator::Within(strip) = &scan.calibrator else {
            panic!("no tablet")
        };
        for (outline, step) in strip.steps.iter().zip(&DEMO.parts.tablets[0].steps) {
            let code = median_code(width, &codes, outline.as_ref().unwrap());
            let certified = step.value().to_density();
            // Four times the certificate's 0.007; beyond density 2.5 the scanner's
            // noise of 0.000 12 against 0.003 adds 0.01 in each of 680 pixels.
            let off = (density_of_code(code) - certified).abs();
            assert!(off < 0.03, "{certified}: off by {off}");
        }
    }

    #[test]
    fn the_grey_card_lies_on_the_true_curve() {
        for frame in &DEMO.truth.frames {
            let Some(log_h) = frame.grey_log_h else {
                continue;
            };
            let card = DEMO
                .truth
                .density(&frame.frame, &made::id("grey-card"))
                .unwrap();
            let net = card.to_density() - frame.base_plus_fog.to_density();
            let curve = &DEMO.truth.curve;
            let expected = curve.density(log_h.to_log10()) - curve.base_plus_fog;
            // Contrast of the sheet, 3 × 1 %, and camera flare of 0.6 % of a mean that
            // is up to 3.5 times the card: 0.009 of log10 H, at a gradient of 0.66.
            let most = 0.03 * net + 0.007;
            assert!(
                (net - expected).abs() < most,
                "{}: {net} {expected}",
                frame.frame
            );
        }
    }

    #[test]
    fn the_bracket_has_a_blank_frame_and_the_match_inside() {
        let grey = |frame: &str| {
            let frame = DEMO.truth.frame(&made::id(frame)).unwrap();
            let card = DEMO
                .truth
                .density(&frame.frame, &made::id("grey-card"))
                .unwrap();
            card.net_over(frame.base_plus_fog).to_density()
        };
        // 0.02: less can't be told from base+fog by eye or scan (common practice).
        assert!(grey("sun-715-0") < 0.02);
        assert!(grey("sun-715-1") < grey("sun-anchor-1"));
        assert!(grey("sun-715-5") > grey("sun-anchor-1"));
        assert!(grey("cloud-715-1") < grey("cloud-anchor"));
    }

    #[test]
    fn the_frames_obey_the_meter_equation_within_their_errors() {
        for frame in &DEMO.truth.frames {
            // Three times √(0.2² + 0.1² + 0.06² + 0.05² + 0.03²) = 0.24 stop.
            assert!(frame.error.to_stops().abs() < 0.72, "{}", frame.frame);
        }
        // Hand calculation: 0.65·12.5/100·2^14.6/60/22² = 0.069 48, log10 −1.158 1.
        let anchor = DEMO.truth.frame(&made::id("sun-anchor-1")).unwrap();
        let measured = DEMO.parts.lenses[0].shutter.measured[0].actual.to_s();
        let expected = -1.158_1 + libm::log10(measured * 60.0);
        let seen = anchor.grey_log_h.unwrap().to_log10() - anchor.error.to_delta_log_h();
        // 1e-4: the digits of the hand calculation.
        assert!((seen - expected).abs() < 1e-4, "{seen} {expected}");
    }

    #[test]
    fn the_wood_effect_is_that_of_the_levels() {
        let wood = &DEMO.truth.wood_effects[0];
        // Hand calculation from the levels: (0.35 + 0.25)/0.301 03 = 1.993; in the
        // shade leaves gain 0.05 more: 0.65/0.301 03 = 2.159.
        assert!((wood.sunlit.to_stops() - 1.993).abs() < 0.001);
        assert!((wood.shaded.to_stops() - 2.159).abs() < 0.001);
    }

    #[test]
    fn the_table_of_truth_has_four_columns_in_every_row() {
        let (_, bytes) = DEMO.files.iter().find(|(n, _)| n == "truth.csv").unwrap();
        let text = core::str::from_utf8(bytes).unwrap();
        assert!(text.starts_with("quantity,unit,value,note\n"));
        for line in text.lines() {
            assert_eq!(line.split(',').count(), 4, "{line}");
        }
        assert!(text.contains("factor r715 in sun,stops,6.4000,"));
    }
}
