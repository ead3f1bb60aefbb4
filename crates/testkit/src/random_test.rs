//! Whole tests without pixels, with every error drawn from a stated spread.
//!
//! For checking an estimate on hundreds of tests whose truth is known. The
//! errors are those of the trade: each marked shutter speed and aperture is off
//! by an amount of its own, each release and each frame's light by another, the
//! meter by one for the whole test; each sheet has its own base+fog and contrast.
//!
//! A patch that reads less than [`BLANK_NET_DENSITY`] above the base+fog reading
//! of its own sheet is written down as a limit: at most that base+fog reading,
//! [`BLANK_NET_DENSITY`] and two standard deviations of such a difference. One
//! that reads more than the densest reading is written down as at least that.

use crate::invented::{self, TrueTablet};
use crate::made;
use crate::negative::Development;
use crate::noise::Draws;
use crate::truth::{
    TrueDensity, TrueFilter, TrueFrame, TrueWoodEffect, Truth, TruthCurve, grey_log_h,
};
use core::f64::consts::LOG10_2;
use quantity::{Bound, Flag, Measured};
use record::{
    CameraExposure, Exposure, Frame, FrameRole, MeasuredTime, Patch, PatchRole, Reading,
    ReadingOrigin, Response, Sky, TestParts, Time,
};

/// Net density below which a patch is called blank.
pub const BLANK_NET_DENSITY: f64 = 0.02;

/// Where the filtered frames lie about the one that matches the anchor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bracket {
    /// The match lies in the middle.
    Centred,
    /// Every frame got more than the match: the thinnest is the best.
    AllDense,
    /// Every frame got less than the match: the densest is the best.
    AllThin,
    /// Every frame got at least six stops less than the match.
    AllBlank,
}

/// What the true curve looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveShape {
    /// A toe and a shoulder.
    ToeAndShoulder,
    /// Also a bend in the line, which a toe-and-shoulder model can't follow.
    Sagging,
}

/// How often errors are large.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tails {
    /// Normal deviates.
    Normal,
    /// Student's t of four degrees of freedom, with the same standard deviation.
    Heavy,
}

/// Standard deviations from which errors are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ErrorSizes {
    /// Each marked shutter speed, stops.
    pub marked_shutter: f64,
    /// Each release about the mean of its speed, stops.
    pub release: f64,
    /// Each marked aperture, stops.
    pub aperture: f64,
    /// The light on each frame, stops.
    pub drift: f64,
    /// The meter, once for the whole test, stops.
    pub meter: f64,
    /// The reciprocity law, stops per decade of time beyond one second.
    pub reciprocity_per_decade: f64,
    /// Each reading at no net density; a hundredth of the net density is added
    /// to it in quadrature. Density.
    pub reading_density: f64,
    /// Base+fog of each sheet, density.
    pub base_plus_fog_density: f64,
    /// Contrast of each sheet, as a share.
    pub contrast_share: f64,
    /// log10 exposure of the tablet sheet.
    pub tablet_sheet_log_h: f64,
}

impl Default for ErrorSizes {
    fn default() -> Self {
        Self {
            marked_shutter: 0.20,
            release: 0.03,
            aperture: 0.05,
            drift: 0.07,
            meter: 0.10,
            reciprocity_per_decade: 0.10,
            reading_density: 0.008,
            base_plus_fog_density: 0.004,
            contrast_share: 0.01,
            tablet_sheet_log_h: 0.03,
        }
    }
}

/// What kind of test is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingsSpec {
    /// Unfiltered frames, a stop apart; 0 for a test without an anchor.
    pub anchors: u32,
    /// Filtered frames, a stop apart.
    pub filtered_frames: u32,
    /// Where they lie.
    pub bracket: Bracket,
    /// Whether a sheet was exposed through the step tablet.
    pub tablet_sheet: bool,
    /// Whether an unexposed sheet was developed.
    pub unexposed_sheet: bool,
    /// Whether there is a frame through a plain red filter.
    pub red_control: bool,
    /// Whether the shutter was measured.
    pub measured_shutter: bool,
    /// Range from which the factor is drawn evenly, stops.
    pub factor_stops: (f64, f64),
    /// Standard deviation of the natural logarithm of the gradient behind the
    /// filter over that without; 0 for the same gradient.
    pub gradient_ratio_sd: f64,
    /// What the curve looks like.
    pub curve: CurveShape,
    /// How often the errors of light and shutter are large.
    pub tails: Tails,
    /// Densest that can be read; a denser patch is written down as at least that.
    pub densest_reading: f64,
    /// Sizes of the errors; the records state the ones that a record can state.
    pub errors: ErrorSizes,
}

impl Default for ReadingsSpec {
    fn default() -> Self {
        Self {
            anchors: 1,
            filtered_frames: 5,
            bracket: Bracket::Centred,
            tablet_sheet: true,
            unexposed_sheet: true,
            red_control: false,
            measured_shutter: false,
            factor_stops: (4.0, 8.5),
            gradient_ratio_sd: 0.0,
            curve: CurveShape::ToeAndShoulder,
            tails: Tails::Normal,
            densest_reading: 3.0,
            errors: ErrorSizes::default(),
        }
    }
}

/// Marks of the shutter, and whole seconds counted on a watch.
const TIMES_S: [f64; 17] = [
    1.0 / 500.0,
    1.0 / 250.0,
    1.0 / 125.0,
    1.0 / 60.0,
    1.0 / 30.0,
    1.0 / 15.0,
    1.0 / 8.0,
    1.0 / 4.0,
    1.0 / 2.0,
    1.0,
    2.0,
    4.0,
    8.0,
    16.0,
    32.0,
    64.0,
    128.0,
];
/// Place of 1 s: what lies beyond is counted on a watch.
const LAST_MARK: usize = 9;
/// Place of the first anchor's time.
const ANCHOR_PLACE: usize = 3;
const WATCH_SD_STOPS: f64 = 0.03;
const EV100: f64 = 14.6;
const APERTURE: f64 = 22.0;
const RECIPROCITY_POWER: f64 = 1.2;
const RED_STOPS: f64 = 2.7;

/// A subject: log10 luminance relative to the grey card, without and behind the filter.
struct Subject {
    name: &'static str,
    role: PatchRole,
    bare: f64,
    behind: f64,
}

struct Maker {
    spec: ReadingsSpec,
    draws: Draws,
    curve: TruthCurve,
    subjects: Vec<Subject>,
    /// True mean time of each mark over the mark, stops.
    marks: Vec<f64>,
    measured: Vec<MeasuredTime>,
    aperture_error: f64,
    meter_error: f64,
    reciprocity_error: f64,
    parts: TestParts,
    frames: Vec<TrueFrame>,
    densities: Vec<TrueDensity>,
}

/// Makes a test of the kind asked for; `draw` picks its truth and its errors.
///
/// The same kind and number give the same test.
///
/// # Examples
/// ```
/// use testkit::{ReadingsSpec, simulate_readings};
///
/// let spec = ReadingsSpec { anchors: 2, ..ReadingsSpec::default() };
/// let (parts, truth) = simulate_readings(&spec, 1);
/// let stops = quantity::Stops::from_factor(truth.filters[0].factor).to_stops();
/// assert!((4.0..=8.5).contains(&stops));
/// assert!(record::Test::assemble(parts).is_ok());
/// ```
///
/// # Panics
/// When a size of error is negative, the range of the factor is not within 0
/// to 12 stops, or there are no frames at all.
#[must_use]
pub fn simulate_readings(spec: &ReadingsSpec, draw: u64) -> (TestParts, Truth) {
    let (low, high) = spec.factor_stops;
    assert!(
        0.0 <= low && low <= high && high <= 12.0,
        "the factor is drawn from 0 to 12 stops, asked for {low} to {high}"
    );
    let mut maker = Maker::new(*spec, draw);
    let factor_stops = maker.draws.between(low, high);
    let gradient_ratio = libm::exp(maker.draws.normal(spec.gradient_ratio_sd));

    for anchor in 0..spec.anchors {
        let place = ANCHOR_PLACE + anchor as usize % 2;
        maker.camera_frame(&format!("anchor-{}", anchor + 1), None, place, 0.0, 1.0);
    }
    for (number, place) in bracket_places(spec, factor_stops).enumerate() {
        let name = format!("filtered-{}", number + 1);
        maker.camera_frame(&name, Some("r715"), place, factor_stops, gradient_ratio);
    }
    if spec.red_control {
        let place = ANCHOR_PLACE + 3;
        maker.camera_frame("red-control", Some("red"), place, RED_STOPS, 1.0);
    }
    if spec.unexposed_sheet {
        maker.unexposed_sheet();
    }
    if spec.tablet_sheet {
        let mut tablet_draws = Draws::new(draw, 2);
        maker.tablet_sheet(&TrueTablet::new(&mut tablet_draws));
    }
    maker.finish(factor_stops, gradient_ratio)
}

/// Gives the places of the filtered frames' times, the thinnest first.
fn bracket_places(spec: &ReadingsSpec, factor_stops: f64) -> impl Iterator<Item = usize> + use<> {
    let count = i64::from(spec.filtered_frames);
    let matching = ANCHOR_PLACE as i64 + libm::round(factor_stops) as i64;
    let first = match spec.bracket {
        Bracket::Centred => matching - (count - 1) / 2,
        Bracket::AllDense => matching + 1,
        Bracket::AllThin => matching - count,
        Bracket::AllBlank => matching - 6 - (count - 1),
    };
    // Beyond the marks the last one is used again.
    (first..first + count).map(|place| place.clamp(0, TIMES_S.len() as i64 - 1) as usize)
}

impl Maker {
    fn new(spec: ReadingsSpec, draw: u64) -> Self {
        let mut draws = Draws::new(draw, 1);
        let errors = spec.errors;
        let curve = TruthCurve::toe_and_shoulder(
            draws.between(0.08, 0.26),
            draws.between(0.52, 0.78),
            draws.between(0.14, 0.26),
            draws.between(2.8, 3.4),
            draws.between(0.25, 0.4),
            -2.0 + draws.normal(0.08),
        );
        let curve = match spec.curve {
            CurveShape::ToeAndShoulder => curve,
            CurveShape::Sagging => curve.sagging(0.25),
        };
        let subjects = subjects(&mut draws);
        let marks: Vec<f64> = (0..=LAST_MARK)
            .map(|_| drawn(&mut draws, spec.tails, errors.marked_shutter))
            .collect();
        let measured = marks
            .iter()
            .zip(TIMES_S)
            .map(|(off, marked)| {
                // The mean of five releases.
                let mean = off + draws.normal(errors.release / libm::sqrt(5.0));
                MeasuredTime {
                    marked: made::seconds(marked),
                    actual: made::seconds(marked * libm::exp2(mean)),
                    spread: made::stops(errors.release),
                }
            })
            .filter(|_| spec.measured_shutter)
            .collect::<Vec<_>>();
        let time = "2026-06-14T12:20:00+02:00";
        let parts = TestParts {
            title: format!("Made test {draw}"),
            invented: true,
            films: vec![invented::film(
                RECIPROCITY_POWER,
                errors.reciprocity_per_decade,
            )],
            filters: invented::filters(),
            lenses: vec![invented::lens(errors.marked_shutter, measured.clone())],
            lights: vec![invented::light(
                "sun",
                Sky::ClearSun,
                time,
                EV100,
                errors.drift,
            )],
            processes: vec![invented::process()],
            ..TestParts::default()
        };
        Self {
            aperture_error: draws.normal(errors.aperture),
            meter_error: draws.normal(errors.meter),
            reciprocity_error: draws.normal(errors.reciprocity_per_decade),
            spec,
            draws,
            curve,
            subjects,
            marks,
            measured,
            parts,
            frames: Vec::new(),
            densities: Vec::new(),
        }
    }

    fn drawn(&mut self, sd: f64) -> f64 {
        drawn(&mut self.draws, self.spec.tails, sd)
    }

    fn camera_frame(
        &mut self,
        name: &str,
        filter: Option<&str>,
        place: usize,
        factor_stops: f64,
        gradient_ratio: f64,
    ) {
        let marked_s = TIMES_S[place];
        let (recorded_s, true_s, counted) = match self.marks.get(place) {
            Some(off) => {
                let mean_s = marked_s * libm::exp2(*off);
                let recorded_s = self
                    .measured
                    .get(place)
                    .map_or(marked_s, |m| m.actual.to_s());
                let release = self.draws.normal(self.spec.errors.release);
                (recorded_s, mean_s * libm::exp2(release), false)
            }
            None => {
                let off = self.draws.normal(WATCH_SD_STOPS);
                (marked_s, marked_s * libm::exp2(off), true)
            }
        };
        let light_error =
            self.meter_error + self.aperture_error + self.drawn(self.spec.errors.drift);
        let log_h = |time_s: f64, stops: f64| {
            grey_log_h(EV100, APERTURE, time_s, RECIPROCITY_POWER)
                + LOG10_2 * (stops - factor_stops)
        };
        // Positive: the film is faster at long times than its law says.
        let long_time = self.reciprocity_error * libm::log10(true_s).max(0.0);
        let grey = log_h(true_s, light_error + long_time);
        let error_stops = (grey - log_h(recorded_s, 0.0)) / LOG10_2;

        let frame = Frame {
            id: made::id(name),
            film: made::id("pan"),
            filters: filter.iter().map(|f| made::id(f)).collect(),
            process: made::id("tank"),
            holder: None,
            load: None,
            exposed_at: None,
            role: match filter {
                None => FrameRole::Anchor,
                Some("red") => FrameRole::RedControl,
                Some(_) => FrameRole::Bracket,
            },
            exposure: Exposure::Camera(CameraExposure {
                lens: Some(made::id("lens")),
                light: made::id("sun"),
                reading: None,
                ei: Some(made::index(100.0)),
                aperture: made::aperture(APERTURE),
                time: Time {
                    marked: made::seconds(marked_s),
                    actual: counted.then(|| made::seconds(marked_s)),
                    actual_uncertainty_stops: counted.then_some(WATCH_SD_STOPS),
                },
                bellows: None,
            }),
            remarks: None,
        };
        let deep_red = filter == Some("r715");
        let patches = self
            .subjects
            .iter()
            .map(|s| {
                let offset = if deep_red { s.behind } else { s.bare };
                (s.name.to_owned(), s.role, Some(grey + offset))
            })
            .collect();
        self.develop_and_read(frame, Some(grey), error_stops, gradient_ratio, patches);
    }

    fn unexposed_sheet(&mut self) {
        let frame = sheet("unexposed", FrameRole::Unexposed, Exposure::None);
        self.develop_and_read(frame, None, 0.0, 1.0, Vec::new());
    }

    fn tablet_sheet(&mut self, tablet: &TrueTablet) {
        let sd = self.spec.errors.tablet_sheet_log_h;
        let recorded_log_h = 0.55;
        let off = self.draws.normal(sd);
        let exposure = Exposure::Tablet {
            tablet: tablet.record.id.clone(),
            without_tablet: Some(Measured::new(made::log_exposure(recorded_log_h), sd)),
        };
        self.parts.tablets.push(tablet.record.clone());
        let patches = (1..)
            .zip(&tablet.densities)
            .map(|(step, d)| {
                let log_h = recorded_log_h + off - d;
                (
                    format!("step-{step}"),
                    PatchRole::TabletStep(step),
                    Some(log_h),
                )
            })
            .collect();
        let frame = sheet("tablet-sheet", FrameRole::TabletSheet, exposure);
        self.develop_and_read(frame, None, off / LOG10_2, 1.0, patches);
    }

    fn develop_and_read(
        &mut self,
        frame: Frame,
        grey_log_h: Option<f64>,
        error_stops: f64,
        gradient_ratio: f64,
        mut patches: Vec<(String, PatchRole, Option<f64>)>,
    ) {
        let errors = self.spec.errors;
        let contrast = 1.0 + self.draws.normal(errors.contrast_share);
        let fog_offset = self.draws.normal(errors.base_plus_fog_density);
        let development = Development {
            curve: &self.curve,
            gradient_ratio,
            contrast,
            fog_offset,
        };
        let base_plus_fog = development.base_plus_fog();
        patches.insert(0, ("base-fog".into(), PatchRole::BaseFog, None));
        let mut base_reading = base_plus_fog;
        for (name, role, log_h) in patches {
            let density = log_h.map_or(base_plus_fog, |x| development.density(x));
            let sd = libm::hypot(errors.reading_density, 0.01 * (density - base_plus_fog));
            let read = made::rounded(density + self.draws.normal(sd), 3);
            if role == PatchRole::BaseFog {
                base_reading = read;
            }
            let blank = role != PatchRole::BaseFog && read - base_reading < BLANK_NET_DENSITY;
            let blocked = read > self.spec.densest_reading;
            let (value, limit) = if blank {
                let doubt = 2.0 * core::f64::consts::SQRT_2 * errors.reading_density;
                let most = made::rounded(base_reading + BLANK_NET_DENSITY + doubt, 3);
                let value = Measured::new(most, sd).flagged(Flag::Blank);
                (value, Some(Bound::AtMost))
            } else if blocked {
                let value = Measured::new(self.spec.densest_reading, sd).flagged(Flag::Blocked);
                (value, Some(Bound::AtLeast))
            } else {
                (Measured::new(read, sd), None)
            };
            self.densities.push(TrueDensity {
                frame: frame.id.clone(),
                patch: made::id(&name),
                density: made::density(density),
            });
            self.parts.patches.push(Patch {
                frame: frame.id.clone(),
                name: made::id(&name),
                role,
                place: None,
            });
            self.parts.readings.push(Reading {
                frame: frame.id.clone(),
                patch: made::id(&name),
                response: Response::Density,
                value,
                limit,
                origin: ReadingOrigin::Densitometer(None),
            });
        }
        self.frames.push(TrueFrame {
            frame: frame.id.clone(),
            grey_log_h: grey_log_h.map(made::log_exposure),
            error: made::stops(error_stops),
            base_plus_fog: made::density(base_plus_fog),
        });
        self.parts.frames.push(frame);
    }

    fn finish(self, factor_stops: f64, gradient_ratio: f64) -> (TestParts, Truth) {
        assert!(
            !self.parts.frames.is_empty(),
            "a test without frames was asked for"
        );
        let (r715, red, sun) = (made::id("r715"), made::id("red"), made::id("sun"));
        let gain = |leaves: &str, card: &str| {
            let of = |name: &str| {
                self.subjects
                    .iter()
                    .find(|s| s.name == name)
                    .map_or(0.0, |s| s.behind - s.bare)
            };
            made::stops((of(leaves) - of(card)) / LOG10_2)
        };
        let mut filters = vec![TrueFilter {
            filter: r715.clone(),
            light: sun.clone(),
            factor: made::factor_from_stops(factor_stops),
            gradient_ratio,
        }];
        if self.spec.red_control {
            filters.push(TrueFilter {
                filter: red,
                light: sun.clone(),
                factor: made::factor_from_stops(RED_STOPS),
                gradient_ratio: 1.0,
            });
        }
        let truth = Truth {
            wood_effects: vec![TrueWoodEffect {
                filter: r715,
                light: sun,
                sunlit: gain("leaves-sun", "grey-card"),
                shaded: gain("leaves-shade", "grey-card-shade"),
            }],
            curve: self.curve,
            filters,
            reciprocity_power: RECIPROCITY_POWER,
            frames: self.frames,
            densities: self.densities,
        };
        (self.parts, truth)
    }
}

fn drawn(draws: &mut Draws, tails: Tails, sd: f64) -> f64 {
    assert!(sd >= 0.0, "a size of error is not negative, asked for {sd}");
    match tails {
        Tails::Normal => draws.normal(sd),
        Tails::Heavy => draws.heavy(sd),
    }
}

fn subjects(draws: &mut Draws) -> Vec<Subject> {
    let mut subject = |name, role, bare: f64, behind: f64, sd: f64| Subject {
        name,
        role,
        bare: bare + draws.normal(sd),
        behind: behind + draws.normal(sd),
    };
    vec![
        // The factor is defined on the grey card, so it has no spread.
        subject("grey-card", PatchRole::GreyCard, 0.0, 0.0, 0.0),
        subject("leaves-sun", PatchRole::SunlitFoliage, -0.25, 0.35, 0.08),
        subject("leaves-shade", PatchRole::ShadedFoliage, -1.05, -0.70, 0.08),
        subject(
            "grey-card-shade",
            PatchRole::ShadedGreyCard,
            -0.80,
            -1.10,
            0.08,
        ),
        subject("sky", PatchRole::Sky, 0.5, -0.35, 0.1),
        subject("wall", PatchRole::Wall, 0.2, 0.24, 0.05),
    ]
}

fn sheet(name: &str, role: FrameRole, exposure: Exposure) -> Frame {
    Frame {
        id: made::id(name),
        film: made::id("pan"),
        filters: Vec::new(),
        process: made::id("tank"),
        holder: None,
        load: None,
        exposed_at: None,
        role,
        exposure,
        remarks: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn many(spec: &ReadingsSpec) -> Vec<(TestParts, Truth)> {
        (0..200).map(|draw| simulate_readings(spec, draw)).collect()
    }

    fn mean_and_sd(values: &[f64]) -> (f64, f64) {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let square: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        (mean, libm::sqrt(square / count))
    }

    fn every_kind() -> Vec<ReadingsSpec> {
        let plain = ReadingsSpec::default();
        vec![
            plain,
            ReadingsSpec {
                anchors: 0,
                ..plain
            },
            ReadingsSpec {
                anchors: 2,
                red_control: true,
                measured_shutter: true,
                ..plain
            },
            ReadingsSpec {
                bracket: Bracket::AllBlank,
                ..plain
            },
            ReadingsSpec {
                bracket: Bracket::AllDense,
                curve: CurveShape::Sagging,
                ..plain
            },
            ReadingsSpec {
                bracket: Bracket::AllThin,
                tails: Tails::Heavy,
                gradient_ratio_sd: 0.08,
                ..plain
            },
            ReadingsSpec {
                filtered_frames: 1,
                tablet_sheet: false,
                unexposed_sheet: false,
                ..plain
            },
        ]
    }

    #[test]
    fn every_kind_makes_sound_tests() {
        for spec in every_kind() {
            for (parts, truth) in many(&spec).into_iter().take(20) {
                assert_eq!(truth.frames.len(), parts.frames.len());
                assert_eq!(truth.densities.len(), parts.readings.len());
                record::Test::assemble(parts).unwrap();
            }
        }
    }

    #[test]
    fn the_same_number_gives_the_same_test() {
        let spec = ReadingsSpec::default();
        assert!(simulate_readings(&spec, 3) == simulate_readings(&spec, 3));
        assert!(simulate_readings(&spec, 3) != simulate_readings(&spec, 4));
    }

    #[test]
    fn readings_scatter_about_the_truth_as_they_say() {
        let mut scaled = Vec::new();
        let (mut limits, mut broken) = (0, 0);
        for (parts, truth) in many(&ReadingsSpec::default()) {
            for reading in &parts.readings {
                let density = truth.density(&reading.frame, &reading.patch).unwrap();
                let off = reading.value.value() - density.to_density();
                match reading.limit {
                    None => scaled.push(off / reading.value.standard_uncertainty()),
                    Some(bound) => {
                        assert_eq!(bound, Bound::AtMost);
                        limits += 1;
                        broken += u32::from(off < 0.0);
                    }
                }
            }
        }
        // About 10 000 readings: 4/√10 000 = 0.04 for the mean, as much for the
        // spread; those near the limit are picked by their own error, which moves
        // the mean of all by about 0.02 more.
        let (mean, sd) = mean_and_sd(&scaled);
        assert!(mean.abs() < 0.06, "{mean}");
        assert!((sd - 1.0).abs() < 0.06, "{sd}");
        // A limit stands two standard deviations off: at most 2.3 % are broken.
        assert!(limits > 100, "{limits}");
        assert!(
            f64::from(broken) < 0.023 * f64::from(limits),
            "{broken} of {limits}"
        );
    }

    #[test]
    fn frame_errors_have_the_stated_size() {
        // √(0.2² + 0.03² + 0.05² + 0.07² + 0.1²) = 0.241 for a marked speed, and
        // √(0.03²·6/5 + 0.05² + 0.07² + 0.1²) = 0.136 for a measured one. 200 tests:
        // 4/√400 = 20 % of the spread, 4·0.241/√200 = 0.068 of the mean.
        for (measured_shutter, expected) in [(false, 0.241), (true, 0.136)] {
            let spec = ReadingsSpec {
                measured_shutter,
                ..ReadingsSpec::default()
            };
            let errors: Vec<f64> = many(&spec)
                .iter()
                .map(|(_, truth)| truth.frames[0].error.to_stops())
                .collect();
            let (mean, sd) = mean_and_sd(&errors);
            assert!(
                (sd / expected - 1.0).abs() < 0.2,
                "{sd}, expected {expected}"
            );
            assert!(mean.abs() < 0.068, "{mean}");
        }
    }

    #[test]
    fn the_bracket_lies_where_it_was_asked_for() {
        // Stops of the grey card above the first anchor, less what the errors did.
        let above_anchor = |truth: &Truth, frame: &TrueFrame| {
            let of =
                |f: &TrueFrame| f.grey_log_h.unwrap().to_log10() / LOG10_2 - f.error.to_stops();
            of(frame) - of(&truth.frames[0])
        };
        for (bracket, low, high) in [
            // Half a stop for rounding to a mark, 0.1 for marks that are not exact
            // halves, up to 1.2 for reciprocity at 128 s.
            (Bracket::Centred, -2.6, 2.6),
            (Bracket::AllDense, -0.8, 5.6),
            (Bracket::AllThin, -6.8, -0.4),
            (Bracket::AllBlank, -11.0, -5.4),
        ] {
            let spec = ReadingsSpec {
                bracket,
                ..ReadingsSpec::default()
            };
            for (parts, truth) in many(&spec) {
                for (record, frame) in parts.frames.iter().zip(&truth.frames) {
                    if record.role == FrameRole::Bracket {
                        let stops = above_anchor(&truth, frame);
                        assert!((low..=high).contains(&stops), "{bracket:?}: {stops}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_patch_beyond_the_densest_reading_is_a_lower_limit() {
        let spec = ReadingsSpec {
            densest_reading: 1.0,
            ..ReadingsSpec::default()
        };
        let mut limits = 0;
        for (parts, truth) in many(&spec).into_iter().take(20) {
            for reading in &parts.readings {
                let density = truth.density(&reading.frame, &reading.patch).unwrap();
                assert!(reading.value.value() <= 1.0);
                if reading.limit == Some(Bound::AtLeast) {
                    limits += 1;
                    // Five standard deviations of a reading at a net density of 1.
                    assert!(density.to_density() > 1.0 - 5.0 * 0.013);
                }
            }
        }
        // The first steps of every tablet sheet lie above 1.
        assert!(limits > 100, "{limits}");
    }

    #[test]
    fn an_all_blank_test_has_no_grey_card_behind_the_filter() {
        let spec = ReadingsSpec {
            bracket: Bracket::AllBlank,
            ..ReadingsSpec::default()
        };
        let mut cards = 0;
        let mut limits = 0;
        for (parts, _) in many(&spec) {
            for reading in &parts.readings {
                if reading.patch.as_str() == "grey-card"
                    && reading.frame.as_str().starts_with("filtered")
                {
                    cards += 1;
                    limits += u32::from(reading.limit.is_some());
                }
            }
        }
        // A net density of 0.002 read with an error of 0.011: 0.02 is passed by
        // 5 in 100 at most, by chance; those are readings of noise.
        assert_eq!(cards, 1000);
        assert!(limits > 900, "{limits} of {cards}");
    }

    #[test]
    fn a_filtered_frame_of_equal_density_got_the_factor_more() {
        // A second way to the factor: undo the curve at the true density.
        let spec = ReadingsSpec {
            filtered_frames: 3,
            gradient_ratio_sd: 0.0,
            errors: ErrorSizes {
                contrast_share: 0.0,
                ..ErrorSizes::default()
            },
            ..ReadingsSpec::default()
        };
        for (_, truth) in many(&spec).into_iter().take(20) {
            let frame = &truth.frames[2];
            let card = truth.density(&frame.frame, &made::id("grey-card")).unwrap();
            let net = card.net_over(frame.base_plus_fog).to_density();
            let seen = truth.curve.log_h_of_net(net);
            // 1e-6: the density is exact, the gradient here is above 0.1.
            assert!((seen - frame.grey_log_h.unwrap().to_log10()).abs() < 1e-6);
        }
    }
}
