//! Tests whose mean densities are an open function of a list of unknowns.
//!
//! For a proof of the estimate: every unknown of a test stands in a list with
//! the mean and standard deviation it is drawn with, and the densities that the
//! readings scatter about are a function of that list. So the information that
//! a test holds can be computed by finite differences, by a method that shares
//! nothing with the estimate.
//!
//! Begin with [`Plan`]: what sheets a tester exposes, and what is known of them.
//! [`plan_test`] draws one such test.
//!
//! Symbols: x log10 H, H in lux seconds; F factor as log10. All exposures are
//! log10 inside and stops in a plan. For each reading
//! D = curve(pivot + (x − pivot)·e^γ) + base difference of the sheet, where the
//! pivot lies at a net density of 0.60 and γ adds the sheet's own development
//! and the filter's change of gradient.

use crate::invented;
use crate::made;
use crate::noise::Draws;
use crate::random_test::Tails;
use crate::truth::{Bend, PIVOT_NET_DENSITY, TruthCurve, grey_log_h};
use core::f64::consts::LOG10_2;
use quantity::{Measured, Stops};
use record::{
    CameraExposure, Exposure, Frame, FrameRole, Id, LightReading, Patch, PatchRole, Reading,
    ReadingOrigin, ReciprocityRecord, Response, Sky, Tablet, TestParts, Time,
};

/// What is known of each exposure time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Timing {
    /// Each release was measured, with the size of error given, in stops.
    EachMeasured(f64),
    /// The marks only: each mark is off by an amount of its own of the size
    /// given, in stops.
    Marked(f64),
}

/// Where the filtered frames lie about the one that matches the anchor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Placement {
    /// The match lies in the middle, give or take half a stop.
    Centred,
    /// The best frame is the last of the series: the densest of thin ones in
    /// even draws, the thinnest of dense ones in odd draws.
    AtTheEnd,
    /// Every filtered frame is blank: the densest got less than the threshold by
    /// a number of stops drawn evenly from this range.
    AllBlank(f64, f64),
}

/// Which exposure times a test uses, and what becomes of the film's speed there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Times {
    /// All within 1 s, at f/8: reciprocity plays no part.
    Short,
    /// Anchors below 1 s, filtered frames beyond, at f/32.
    Long {
        /// What the record says.
        law: RecordedLaw,
        /// Mean of the loss that is not in the record, stops per decade beyond 1 s.
        loss_mean: f64,
        /// Its standard deviation.
        loss_sd: f64,
        /// Whether the loss grows with the square of the decades, as no recorded
        /// law does.
        bent: bool,
        /// Whether an anchor at f/64 and a filtered frame at f/5.6, both at 1/4 s,
        /// take the place of one sheet each.
        equal_time_pair: bool,
    },
}

/// A recorded reciprocity law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RecordedLaw {
    /// None is recorded.
    None,
    /// Corrected time is metered time to this power, with the uncertainty that
    /// is recorded, in stops per decade.
    Power(f64, f64),
}

/// How the gradient behind a filter differs from that without.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GradientChange {
    /// Not at all.
    None,
    /// Its natural logarithm is normal with this standard deviation.
    Normal(f64),
    /// Its natural logarithm is even within plus and minus this.
    Even(f64),
}

/// What sheets are exposed, what is recorded of them, and how large errors are.
///
/// Sizes are one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Number of lights; each has as many sheets as the next two fields say.
    pub lights: u32,
    /// Unfiltered sheets in each light, a stop apart about the metered exposure.
    pub anchors: u32,
    /// Filtered sheets in each light, a stop apart.
    pub filtered: u32,
    /// Whether a sheet was exposed through the step tablet.
    pub tablet_sheet: bool,
    /// Whether the test shows nothing but the card and a darker patch.
    pub card_and_shadow_only: bool,
    /// Where the filtered frames lie.
    pub placement: Placement,
    /// What is known of the times.
    pub timing: Timing,
    /// Which times.
    pub times: Times,
    /// Range the factor is drawn from evenly, stops.
    pub factor_stops: (f64, f64),
    /// How the gradient differs behind the filter.
    pub gradient: GradientChange,
    /// Range of the size of one release that went wrong, stops; its sign and
    /// its frame are drawn.
    pub outlier_stops: Option<(f64, f64)>,
    /// How much lower the slope of the first half of the line is, as a share; 0
    /// for a curve of toe, line and shoulder.
    pub sag: f64,
    /// How often errors are large.
    pub tails: Tails,
    /// Each frame's light and release, apart from what [`Timing`] adds, stops.
    pub frame: f64,
    /// Each aperture mark, stops.
    pub aperture: f64,
    /// The light reading of each light, stops.
    pub light: f64,
    /// The meter's scale against lux seconds of the tablet sheet, stops.
    pub meter_bias: f64,
    /// How far the metered card lies from the mid-tone, stops.
    pub card: f64,
    /// How far other subjects lie from the mid-tone, stops.
    pub subject: f64,
    /// How far the factor of another patch departs from the card's, stops.
    pub departure: f64,
    /// Where the film's toe lies about the place its box speed gives, stops.
    pub box_speed: f64,
    /// Base+fog of each sheet, density.
    pub base: f64,
    /// Gradient of each sheet, as a share.
    pub development: f64,
    /// log10 exposure of the tablet sheet.
    pub tablet_exposure_log_h: f64,
    /// Each reading, density.
    pub reading: f64,
}

/// One unknown of a made test.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    /// What it is.
    pub name: String,
    /// Its true value; exposures are log10.
    pub value: f64,
    /// Mean of what it was drawn from; its value where it was drawn from a range.
    pub mean: f64,
    /// Standard deviation it was drawn with; infinite where it was drawn from a
    /// range so wide that it tells nothing.
    pub sd: f64,
}

/// The mean of one reading.
#[derive(Clone, Debug, Default)]
struct MeanTerm {
    base: usize,
    /// `None` for base+fog.
    exposed: Option<MeanExposure>,
}

#[derive(Clone, Debug, Default)]
struct MeanExposure {
    offset: f64,
    linear: Vec<(usize, f64)>,
    stretch: Vec<usize>,
}

/// The mean densities of a test as a function of its unknowns.
#[derive(Clone, Debug, Default)]
pub struct MeanDensities {
    terms: Vec<MeanTerm>,
    sag: f64,
}

/// A made test with everything it was made from.
#[derive(Clone, Debug)]
pub struct PlannedTest {
    /// Its records and readings.
    pub parts: TestParts,
    /// Its unknowns.
    pub unknowns: Vec<Unknown>,
    /// For each light: its name and the place of its factor among the unknowns.
    pub factors: Vec<(Id, usize)>,
    /// The mean of each reading.
    pub mean: MeanDensities,
    /// Standard deviation of each reading, density.
    pub reading_sd: f64,
    /// Standard deviation of each frame's exposure, its mark counted, log10.
    pub frame_sd: f64,
    /// By how many stops the densest filtered card fell short of a net density
    /// of [`THRESHOLD_NET_DENSITY`], as recorded; meant for blank frames.
    pub short_of_threshold_stops: f64,
}

impl PlannedTest {
    /// Draws the unknowns anew for the same records; factors stay as they are.
    ///
    /// Normal deviates, whatever the tails of the plan.
    #[must_use]
    pub fn drawn_anew(&self, draw: u64) -> Vec<f64> {
        let mut draws = Draws::new(draw, 9);
        self.unknowns
            .iter()
            .map(|u| {
                if u.sd.is_finite() {
                    u.mean + draws.normal(u.sd)
                } else {
                    u.value
                }
            })
            .collect()
    }
}

/// Net density at which a card can just be told from base+fog.
pub const THRESHOLD_NET_DENSITY: f64 = 0.05;

/// Number of the unknowns that are the curve's, which come first.
const CURVE_UNKNOWNS: usize = 6;

impl MeanDensities {
    /// Gives the mean of each reading, in the order of the test's readings.
    ///
    /// `unknowns` are values in the order of [`PlannedTest::unknowns`].
    #[must_use]
    pub fn at(&self, unknowns: &[f64]) -> Vec<f64> {
        let curve = curve_of(unknowns, self.sag);
        let pivot = curve.log_h_of_net(PIVOT_NET_DENSITY);
        self.terms
            .iter()
            .map(|term| {
                let base = unknowns[term.base];
                base + match &term.exposed {
                    None => curve.base_plus_fog,
                    Some(exposed) => {
                        let x = exposed.log_h(unknowns);
                        let ln_ratio: f64 = exposed.stretch.iter().map(|&i| unknowns[i]).sum();
                        curve.density(pivot + (x - pivot) * libm::exp(ln_ratio))
                    }
                }
            })
            .collect()
    }
}

impl MeanExposure {
    fn log_h(&self, unknowns: &[f64]) -> f64 {
        self.offset
            + self
                .linear
                .iter()
                .map(|&(i, c)| c * unknowns[i])
                .sum::<f64>()
    }
}

/// The curve of b, ln g, x0, ln s0, ln(x1 − x0), ln s1.
fn curve_of(unknowns: &[f64], sag: f64) -> TruthCurve {
    let gain = libm::exp(unknowns[1]);
    let toe = unknowns[2];
    let curve = TruthCurve {
        base_plus_fog: unknowns[0],
        bends: vec![
            Bend {
                gain,
                log_h: toe,
                width: libm::exp(unknowns[3]),
            },
            Bend {
                gain: -gain,
                log_h: toe + libm::exp(unknowns[4]),
                width: libm::exp(unknowns[5]),
            },
        ],
    };
    if sag == 0.0 {
        curve
    } else {
        curve.sagging(sag)
    }
}

const BOX_SPEED: f64 = 100.0;
const EV100: f64 = 14.0;
const TIMES_S: [f64; 19] = [
    1.0 / 1000.0,
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
    256.0,
];
/// Place of 1/250 s, which is EV 14 at f/8.
const METERED_AT_F8: i64 = 2;
/// Place of 1/15 s, which is EV 14 at f/32.
const METERED_AT_F32: i64 = 6;
const QUARTER_SECOND: i64 = 8;

/// One camera exposure to be made.
#[derive(Clone, Copy)]
struct Shot {
    filtered: bool,
    place: i64,
    aperture: f64,
}

struct Subject {
    name: &'static str,
    role: PatchRole,
    mean_stops: f64,
    sd_stops: f64,
    departure_mean_stops: f64,
    departure_sd_stops: f64,
}

struct Planner {
    plan: Plan,
    draws: Draws,
    unknowns: Vec<Unknown>,
    mean: MeanDensities,
    parts: TestParts,
}

/// Draws one test of a plan; the same plan and number give the same test.
///
/// # Examples
/// ```
/// use testkit::{Plan, plan_test};
///
/// let made = plan_test(&Plan::SIX_SHEETS_MEASURED, 3);
/// let values: Vec<f64> = made.unknowns.iter().map(|u| u.value).collect();
/// assert_eq!(made.mean.at(&values).len(), made.parts.readings.len());
/// assert!(record::Test::assemble(made.parts).is_ok());
/// ```
///
/// # Panics
/// When a size is negative or a plan has no camera sheet.
#[must_use]
pub fn plan_test(plan: &Plan, draw: u64) -> PlannedTest {
    assert!(
        plan.lights * (plan.anchors + plan.filtered) > 0,
        "a plan has at least one sheet in the camera"
    );
    let mut planner = Planner {
        plan: *plan,
        draws: Draws::new(draw, 7),
        unknowns: vec![],
        mean: MeanDensities {
            terms: vec![],
            sag: plan.sag,
        },
        parts: TestParts {
            title: format!("Planned test {draw}"),
            invented: true,
            ..TestParts::default()
        },
    };
    planner.make(draw)
}

impl Plan {
    /// Three anchors and three filtered sheets, each release measured, with a
    /// tablet sheet; frame errors add up to 0.15 stop, readings to 0.012.
    pub const SIX_SHEETS_MEASURED: Self = Self {
        lights: 1,
        anchors: 3,
        filtered: 3,
        tablet_sheet: true,
        card_and_shadow_only: false,
        placement: Placement::Centred,
        // 0.12² + 0.09² = 0.15².
        timing: Timing::EachMeasured(0.09),
        times: Times::Short,
        factor_stops: (4.0, 7.0),
        gradient: GradientChange::None,
        outlier_stops: None,
        sag: 0.0,
        tails: Tails::Normal,
        frame: 0.12,
        aperture: 0.08,
        light: 0.10,
        meter_bias: 0.25,
        card: 0.10,
        subject: 1.0,
        departure: 1.0,
        box_speed: 0.5,
        base: 0.006,
        development: 0.01,
        tablet_exposure_log_h: 0.03,
        reading: 0.012,
    };
}

impl Planner {
    fn make(&mut self, draw: u64) -> PlannedTest {
        let plan = self.plan;
        self.film();
        let start: Vec<f64> = self.unknowns.iter().map(|u| u.value).collect();
        let threshold = curve_of(&start, plan.sag).log_h_of_net(THRESHOLD_NET_DENSITY);
        let lights = ["sun", "cloud"];
        let subjects = self.subjects();
        let mut factors = vec![];
        let mut short = 0.0;
        let outlier_frame = {
            let count = plan.lights * (plan.anchors + plan.filtered);
            // Even over the frames; the cast is of a number below the count.
            (self.draws.uniform() * f64::from(count)) as usize
        };
        let mut camera_frames = 0;
        for light in lights.iter().take(plan.lights as usize) {
            let mut record = invented::light(
                light,
                Sky::ClearSun,
                "2026-06-14T12:20:00+02:00",
                EV100,
                plan.frame,
            );
            record.reading = Some(LightReading::Ev100(made::ev100(EV100)));
            self.parts.lights.push(record);
            let factor_stops = match plan.placement {
                Placement::AllBlank(low, high) => {
                    short = self.draws.between(low, high);
                    // The densest blank frame is at 1/60 s.
                    let densest = grey_log_h(EV100, 8.0, TIMES_S[4], 1.0);
                    (densest - threshold) / LOG10_2 + short
                }
                _ => {
                    let (low, high) = plan.factor_stops;
                    self.draws.between(low, high)
                }
            };
            let factor = self.unknown(
                &format!("factor in {light}"),
                factor_stops * LOG10_2,
                factor_stops * LOG10_2,
                f64::INFINITY,
            );
            factors.push((made::id(light), factor));
            let shots = self.shots(factor_stops, draw);
            for (number, shot) in shots.iter().enumerate() {
                let outlier = outlier_frame == camera_frames;
                self.camera_frame(light, number + 1, *shot, factor, &subjects, outlier);
                camera_frames += 1;
            }
        }
        if plan.tablet_sheet {
            self.tablet_sheet();
        }
        self.read();
        let timing_sd = match plan.timing {
            Timing::EachMeasured(sd) | Timing::Marked(sd) => sd,
        };
        PlannedTest {
            parts: core::mem::take(&mut self.parts),
            unknowns: core::mem::take(&mut self.unknowns),
            factors,
            mean: core::mem::take(&mut self.mean),
            reading_sd: plan.reading,
            frame_sd: libm::hypot(plan.frame, timing_sd) * LOG10_2,
            short_of_threshold_stops: short,
        }
    }

    fn unknown(&mut self, name: &str, value: f64, mean: f64, sd: f64) -> usize {
        if let Some(at) = self.unknowns.iter().position(|u| u.name == name) {
            return at;
        }
        self.unknowns.push(Unknown {
            name: name.to_owned(),
            value,
            mean,
            sd,
        });
        self.unknowns.len() - 1
    }

    /// Draws an unknown of mean 0 whose size is in stops, unless it is there.
    fn stops(&mut self, name: &str, mean: f64, sd: f64, tails: Tails) -> usize {
        if let Some(at) = self.unknowns.iter().position(|u| u.name == name) {
            return at;
        }
        let value = mean
            + match tails {
                Tails::Normal => self.draws.normal(sd),
                Tails::Heavy => self.draws.heavy(sd),
            };
        self.unknown(name, value * LOG10_2, mean * LOG10_2, sd * LOG10_2)
    }

    fn film(&mut self) {
        let plan = self.plan;
        let mut film = invented::film(1.0, 0.0);
        film.reciprocity = match plan.times {
            Times::Long {
                law: RecordedLaw::Power(power, sd),
                ..
            } => Some(ReciprocityRecord {
                law: format!("power:{power}"),
                source: "invented data sheet".into(),
                uncertainty_stops_per_decade: Some(sd),
                extrapolate: false,
            }),
            _ => None,
        };
        film.box_speed = Some(made::index(BOX_SPEED));
        self.parts.films.push(film);
        self.parts.filters = invented::filters();
        self.parts.processes.push(invented::process());
        let marked = match plan.timing {
            Timing::Marked(sd) => sd,
            Timing::EachMeasured(_) => 0.3,
        };
        self.parts.lenses.push(invented::lens(marked, vec![]));
        // Films of the class; the toe lies 0.05 below the speed point of the box.
        let rows = [
            ("base+fog", 0.2, 0.05),
            ("ln gradient", libm::log(0.65), 0.12),
            (
                "toe",
                libm::log10(0.8 / BOX_SPEED) - 0.05,
                plan.box_speed * LOG10_2,
            ),
            ("ln toe width", libm::log(0.17), 0.2),
            ("ln line length", libm::log(2.8), 0.1),
            ("ln shoulder width", libm::log(0.25), 0.2),
        ];
        for (name, mean, sd) in rows {
            let value = mean + self.draws.normal(sd);
            // Base+fog stays physical: three standard deviations are cut off.
            let value = if name == "base+fog" {
                value.max(0.05)
            } else {
                value
            };
            self.unknown(name, value, mean, sd);
        }
        assert_eq!(
            self.unknowns.len(),
            CURVE_UNKNOWNS,
            "six numbers make a curve"
        );
    }

    fn subjects(&self) -> Vec<Subject> {
        let plan = self.plan;
        let card = Subject {
            name: "grey-card",
            role: PatchRole::GreyCard,
            mean_stops: 0.0,
            sd_stops: plan.card,
            departure_mean_stops: 0.0,
            departure_sd_stops: 0.0,
        };
        if plan.card_and_shadow_only {
            return vec![
                card,
                Subject {
                    name: "shadow",
                    role: PatchRole::Shadow,
                    mean_stops: -1.5,
                    sd_stops: plan.subject,
                    departure_mean_stops: 0.0,
                    departure_sd_stops: plan.departure,
                },
            ];
        }
        vec![
            card,
            Subject {
                name: "wall",
                role: PatchRole::Wall,
                mean_stops: 0.0,
                sd_stops: plan.subject,
                departure_mean_stops: 0.0,
                departure_sd_stops: plan.departure,
            },
            Subject {
                name: "leaves-sun",
                role: PatchRole::SunlitFoliage,
                mean_stops: -0.8,
                sd_stops: plan.subject,
                departure_mean_stops: 1.5,
                departure_sd_stops: 1.0,
            },
        ]
    }

    /// The camera exposures in one light, anchors first.
    fn shots(&mut self, factor_stops: f64, draw: u64) -> Vec<Shot> {
        let plan = self.plan;
        let (anchors, count) = (i64::from(plan.anchors), i64::from(plan.filtered));
        let (metered, aperture, pair) = match plan.times {
            Times::Short => (METERED_AT_F8, 8.0, false),
            Times::Long {
                equal_time_pair, ..
            } => (METERED_AT_F32, 32.0, equal_time_pair),
        };
        // The match is a whole number of stops off the mark, give or take half a stop.
        let matching = metered + libm::round(factor_stops) as i64;
        let first = match plan.placement {
            Placement::Centred => matching - (count - 1) / 2,
            Placement::AtTheEnd if draw.is_multiple_of(2) => matching - count,
            Placement::AtTheEnd => matching + 1,
            Placement::AllBlank(..) => 4 - (count - 1),
        };
        let shot = |filtered, place: i64, aperture| Shot {
            filtered,
            place: place.clamp(0, TIMES_S.len() as i64 - 1),
            aperture,
        };
        let mut shots = vec![];
        let first_anchor = metered - (anchors - 1) / 2;
        for k in 0..anchors {
            shots.push(if pair && k + 1 == anchors {
                shot(false, QUARTER_SECOND, 64.0)
            } else {
                shot(false, first_anchor + k, aperture)
            });
        }
        for k in 0..count {
            shots.push(if pair && k + 1 == count {
                shot(true, QUARTER_SECOND, 5.6)
            } else {
                shot(true, first + k, aperture)
            });
        }
        shots
    }

    fn camera_frame(
        &mut self,
        light: &str,
        number: usize,
        shot: Shot,
        factor: usize,
        subjects: &[Subject],
        outlier: bool,
    ) {
        let plan = self.plan;
        let kind = if shot.filtered { "filtered" } else { "anchor" };
        let id = format!("{light}-{kind}-{number}");
        let marked_s = TIMES_S[usize::try_from(shot.place).unwrap_or(0)];
        let measured_s = match plan.timing {
            Timing::EachMeasured(_) => marked_s * libm::exp2(self.draws.normal(0.2)),
            Timing::Marked(_) => marked_s,
        };
        let own_sd = match plan.timing {
            Timing::EachMeasured(sd) => libm::hypot(plan.frame, sd),
            Timing::Marked(_) => plan.frame,
        };
        let mut linear = vec![];
        let own = self.stops(&format!("frame {id}"), 0.0, own_sd, plan.tails);
        if let (true, Some((low, high))) = (outlier, plan.outlier_stops) {
            let size = self.draws.between(low, high);
            let sign = if self.draws.uniform() < 0.5 {
                -1.0
            } else {
                1.0
            };
            self.unknowns[own].value += sign * size * LOG10_2;
        }
        linear.push((own, 1.0));
        if let Timing::Marked(sd) = plan.timing {
            linear.push((
                self.stops(&format!("mark {}", shot.place), 0.0, sd, plan.tails),
                1.0,
            ));
        }
        let name = format!("aperture f/{}", shot.aperture);
        linear.push((self.stops(&name, 0.0, plan.aperture, Tails::Normal), 1.0));
        let name = format!("light {light}");
        linear.push((self.stops(&name, 0.0, plan.light, Tails::Normal), 1.0));
        let decades = libm::log10(measured_s).max(0.0);
        let mut power = 1.0;
        if let Times::Long {
            law,
            loss_mean,
            loss_sd,
            bent,
            ..
        } = plan.times
        {
            if let RecordedLaw::Power(recorded, _) = law {
                power = recorded;
            }
            if decades > 0.0 {
                let by = if bent { decades * decades } else { decades };
                let loss = self.stops("reciprocity", -loss_mean, loss_sd, Tails::Normal);
                linear.push((loss, by));
            }
        }
        let offset = grey_log_h(EV100, shot.aperture, measured_s, power);
        let base = self.base(&id);
        let development = self.development(&id);
        let mut stretch = vec![development];
        if shot.filtered {
            linear.push((factor, -1.0));
            let place = "ln gradient ratio behind the filter";
            let (value, sd) = match plan.gradient {
                GradientChange::None => (0.0, 0.0),
                GradientChange::Normal(sd) => (self.draws.normal(sd), sd),
                // The standard deviation of an even deviate is its half-width over √3.
                GradientChange::Even(most) => {
                    (self.draws.between(-most, most), most / libm::sqrt(3.0))
                }
            };
            if sd > 0.0 {
                stretch.push(self.unknown(place, value, 0.0, sd));
            }
        }
        self.parts.frames.push(Frame {
            id: made::id(&id),
            film: made::id("pan"),
            filters: if shot.filtered {
                vec![made::id("r715")]
            } else {
                vec![]
            },
            process: made::id("tank"),
            holder: None,
            load: None,
            exposed_at: None,
            role: if shot.filtered {
                FrameRole::Bracket
            } else {
                FrameRole::Anchor
            },
            exposure: Exposure::Camera(CameraExposure {
                lens: Some(made::id("lens")),
                light: made::id(light),
                reading: None,
                ei: Some(made::index(100.0)),
                aperture: made::aperture(shot.aperture),
                time: match plan.timing {
                    Timing::EachMeasured(sd) => Time {
                        marked: made::seconds(marked_s),
                        actual: Some(made::seconds(measured_s)),
                        actual_uncertainty_stops: Some(sd),
                    },
                    Timing::Marked(_) => Time {
                        marked: made::seconds(marked_s),
                        actual: None,
                        actual_uncertainty_stops: None,
                    },
                },
                bellows: None,
            }),
            remarks: None,
        });
        self.patch(&id, "base-fog", PatchRole::BaseFog, base, None);
        for s in subjects {
            let mut linear = linear.clone();
            let name = format!("subject {} in {light}", s.name);
            linear.push((
                self.stops(&name, s.mean_stops, s.sd_stops, Tails::Normal),
                1.0,
            ));
            if shot.filtered && s.departure_sd_stops > 0.0 {
                let name = format!("departure of {} in {light}", s.name);
                let (mean, sd) = (s.departure_mean_stops, s.departure_sd_stops);
                linear.push((self.stops(&name, mean, sd, Tails::Normal), 1.0));
            }
            let exposed = MeanExposure {
                offset,
                linear,
                stretch: stretch.clone(),
            };
            self.patch(&id, s.name, s.role, base, Some(exposed));
        }
    }

    fn base(&mut self, frame: &str) -> usize {
        let (value, sd) = (self.draws.normal(self.plan.base), self.plan.base);
        self.unknown(&format!("base of {frame}"), value, 0.0, sd)
    }

    fn development(&mut self, frame: &str) -> usize {
        let sd = self.plan.development;
        let value = self.draws.normal(sd);
        self.unknown(&format!("development of {frame}"), value, 0.0, sd)
    }

    fn patch(
        &mut self,
        frame: &str,
        name: &str,
        role: PatchRole,
        base: usize,
        exposed: Option<MeanExposure>,
    ) {
        self.parts.patches.push(Patch {
            frame: made::id(frame),
            name: made::id(name),
            role,
            place: None,
        });
        self.mean.terms.push(MeanTerm { base, exposed });
    }

    fn tablet_sheet(&mut self) {
        let sd = self.plan.tablet_exposure_log_h;
        let recorded_log_h = 0.55;
        let off = self.draws.normal(sd);
        let whole = self.unknown("tablet exposure", off, 0.0, sd);
        let bias = self.stops("meter bias", 0.0, self.plan.meter_bias, Tails::Normal);
        let id = "tablet-sheet";
        let base = self.base(id);
        let development = self.development(id);
        self.parts.frames.push(Frame {
            id: made::id(id),
            film: made::id("pan"),
            filters: vec![],
            process: made::id("tank"),
            holder: None,
            load: None,
            exposed_at: None,
            role: FrameRole::TabletSheet,
            exposure: Exposure::Tablet {
                tablet: made::id("tablet"),
                without_tablet: Some(Measured::new(made::log_exposure(recorded_log_h), sd)),
            },
            remarks: None,
        });
        self.patch(id, "base-fog", PatchRole::BaseFog, base, None);
        let mut steps = vec![];
        for step in 1..=21_u32 {
            let through = 0.05 + 0.15 * f64::from(step - 1);
            // As certified, to 0.005: left unknown, as the record says.
            let step_sd = 0.005;
            steps.push(Measured::new(made::density(through), step_sd));
            let error = self.draws.normal(step_sd);
            let error = self.unknown(&format!("tablet step {step}"), error, 0.0, step_sd);
            let exposed = MeanExposure {
                offset: recorded_log_h - through,
                linear: vec![(whole, 1.0), (bias, 1.0), (error, 1.0)],
                stretch: vec![development],
            };
            let name = format!("step-{step}");
            self.patch(id, &name, PatchRole::TabletStep(step), base, Some(exposed));
        }
        self.parts.tablets.push(Tablet {
            id: made::id("tablet"),
            serial: Some("invented 0002".into()),
            certified: true,
            steps,
        });
    }

    /// Reads every patch once.
    fn read(&mut self) {
        let values: Vec<f64> = self.unknowns.iter().map(|u| u.value).collect();
        let means = self.mean.at(&values);
        for (patch, mean) in self.parts.patches.iter().zip(means) {
            let read = made::rounded(mean + self.draws.normal(self.plan.reading), 3);
            self.parts.readings.push(Reading {
                frame: patch.frame.clone(),
                patch: patch.name.clone(),
                response: Response::Density,
                value: Measured::new(read, self.plan.reading),
                limit: None,
                origin: ReadingOrigin::Densitometer(None),
            });
        }
    }
}

/// The factor that a tester finds by eye: the filtered frame whose card looks
/// most like that of the metered anchor, and the ratio of the recorded
/// exposures. `None` without an anchor or a filtered frame in that light.
///
/// Each difference of density is judged with an error of `eye_density`. Times
/// are those recorded for the frame, else the marks; nothing is known of a curve.
#[must_use]
pub fn factor_by_eye(parts: &TestParts, light: &Id, eye_density: f64, draw: u64) -> Option<Stops> {
    let mut draws = Draws::new(draw, 8);
    let card = |frame: &Frame| {
        parts
            .readings
            .iter()
            .find(|r| r.frame == frame.id && r.patch.as_str() == "grey-card")
            .map(|r| r.value.value())
    };
    let exposure = |camera: &CameraExposure| {
        let time = camera.time.actual.unwrap_or(camera.time.marked).to_s();
        let aperture = camera.aperture.to_ratio();
        libm::log2(time / (aperture * aperture))
    };
    let shown: Vec<(bool, f64, f64)> = parts
        .frames
        .iter()
        .filter_map(|frame| match &frame.exposure {
            Exposure::Camera(camera) if camera.light == *light => {
                Some((frame.filters.is_empty(), exposure(camera), card(frame)?))
            }
            _ => None,
        })
        .collect();
    // The anchor nearest to what the meter said.
    let metered = EV100;
    let (_, anchor_exposure, anchor_card) = shown
        .iter()
        .filter(|(bare, ..)| *bare)
        .min_by(|a, b| (a.1 + metered).abs().total_cmp(&(b.1 + metered).abs()))?;
    let (_, best) = shown
        .iter()
        .filter(|(bare, ..)| !*bare)
        .map(|(_, exposure, card)| {
            let judged = card - anchor_card + draws.normal(eye_density);
            (judged.abs(), *exposure)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(made::stops(best - anchor_exposure))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: Plan = Plan::SIX_SHEETS_MEASURED;

    fn plans() -> Vec<Plan> {
        let long = Times::Long {
            law: RecordedLaw::Power(1.25, 0.3),
            loss_mean: 0.0,
            loss_sd: 0.3,
            bent: true,
            equal_time_pair: true,
        };
        vec![
            PLAN,
            Plan {
                timing: Timing::Marked(0.3),
                placement: Placement::AtTheEnd,
                outlier_stops: Some((1.5, 2.5)),
                tails: Tails::Heavy,
                ..PLAN
            },
            Plan {
                lights: 2,
                gradient: GradientChange::Even(0.1),
                sag: 0.25,
                ..PLAN
            },
            Plan {
                times: long,
                factor_stops: (6.0, 8.0),
                ..PLAN
            },
            Plan {
                placement: Placement::AllBlank(0.2, 4.0),
                card_and_shadow_only: true,
                tablet_sheet: false,
                ..PLAN
            },
        ]
    }

    fn values(made: &PlannedTest) -> Vec<f64> {
        made.unknowns.iter().map(|u| u.value).collect()
    }

    #[test]
    fn every_plan_makes_sound_tests() {
        for plan in plans() {
            for draw in 0..10 {
                let made = plan_test(&plan, draw);
                assert_eq!(made.factors.len(), plan.lights as usize);
                assert_eq!(
                    made.mean.at(&values(&made)).len(),
                    made.parts.readings.len()
                );
                assert_eq!(made.parts, plan_test(&plan, draw).parts);
                record::Test::assemble(made.parts).unwrap();
            }
        }
    }

    #[test]
    fn readings_and_unknowns_scatter_as_they_say() {
        let (mut readings, mut drawn) = (vec![], vec![]);
        for draw in 0..100 {
            let made = plan_test(&PLAN, draw);
            let means = made.mean.at(&values(&made));
            for (reading, mean) in made.parts.readings.iter().zip(means) {
                readings.push((reading.value.value() - mean) / made.reading_sd);
            }
            for u in made.unknowns.iter().filter(|u| u.sd.is_finite()) {
                drawn.push((u.value - u.mean) / u.sd);
            }
        }
        // 100 tests of 46 readings and some 60 unknowns: 4/√4600 = 0.06 of the
        // mean, 4/√9200 = 0.04 of the spread.
        for scaled in [readings, drawn] {
            let count = scaled.len() as f64;
            assert!(count > 4500.0, "{count}");
            let mean = scaled.iter().sum::<f64>() / count;
            let square = scaled.iter().map(|z| z * z).sum::<f64>() / count;
            assert!(mean.abs() < 0.06, "{mean}");
            assert!((libm::sqrt(square) - 1.0).abs() < 0.04, "{square}");
        }
    }

    #[test]
    fn a_centred_bracket_holds_the_anchors_exposure() {
        // Recorded exposure behind the filter of the middle frame is within half a
        // stop of the metered one, and 0.1 for marks that are no exact halves.
        for draw in 0..50 {
            let plan = Plan {
                timing: Timing::Marked(0.3),
                ..PLAN
            };
            let made = plan_test(&plan, draw);
            let (_, factor) = made.factors[0];
            let marks: Vec<f64> = made
                .parts
                .frames
                .iter()
                .filter_map(|f| match &f.exposure {
                    Exposure::Camera(c) => Some(libm::log2(c.time.marked.to_s())),
                    _ => None,
                })
                .collect();
            let factor_stops = made.unknowns[factor].value / LOG10_2;
            let off = marks[4] - marks[1] - factor_stops;
            assert!(off.abs() < 0.6, "{off}");
        }
    }

    #[test]
    fn the_eye_finds_the_factor_to_the_step_of_the_bracket() {
        let plan = Plan {
            frame: 0.0,
            timing: Timing::EachMeasured(0.0),
            reading: 1e-9,
            ..PLAN
        };
        for draw in 0..30 {
            let made = plan_test(&plan, draw);
            let (light, factor) = &made.factors[0];
            let eye = factor_by_eye(&made.parts, light, 0.0, draw).unwrap();
            let off = eye.to_stops() - made.unknowns[*factor].value / LOG10_2;
            // Half a step, and up to half as much again because measured times
            // scatter by 0.2 stop about the marks (three standard deviations of
            // a difference over a step and a half: 0.3·√2 + 0.5 = 0.9).
            assert!(off.abs() < 1.0, "{off}");
        }
        let none = plan_test(&Plan { anchors: 0, ..PLAN }, 1);
        assert!(factor_by_eye(&none.parts, &none.factors[0].0, 0.1, 1).is_none());
    }
}
