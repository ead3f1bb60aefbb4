//! Plans a test: which sheets to expose, in what order, and what that will tell.

use crate::AppError;
use exposure::{SunnySky, format_aperture, format_ei, format_time, sunny_estimate};
use findings::{
    Assumptions, FEWEST_SHEETS, FactorPrior, FilmReach, FrameOfPlan, MOST_SHEETS, PlanAnswer,
    PlanError, PlanRequest, TestPlan, factor_prior, plan_test,
};
use quantity::{Density, Ev100, ExposureIndex, FNumber, Measured, Nanometres, Seconds, Stops};
use record::{
    Edge, EdgeLevel, Film, Filter, Id, Light, PlannedExposure, PlannedTest, Process,
    ReciprocityRecord, Sky, Tablet, TestParts,
};
use serde_json::{Value, json};
use std::path::PathBuf;

/// What `plan` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanQuestion {
    /// Class of the film, by its word.
    pub film_class: String,
    /// Box speed.
    pub box_speed: f64,
    /// The filters' edges as `NM:LEVEL`, or `NM` where the level is not known.
    pub filter_edges: Vec<String>,
    /// State of the sky, by its word.
    pub sky: String,
    /// Light reading as EV at ISO 100; the sunny rule's when not given.
    pub ev100: Option<f64>,
    /// Sheets.
    pub sheets: usize,
    /// Holders of two sides each.
    pub holders: usize,
    /// Preferred aperture.
    pub aperture: f64,
    /// Widest and smallest aperture of the lens.
    pub lens_apertures: (f64, f64),
    /// Longest time that can be borne. \[s\]
    pub longest_s: f64,
    /// Reciprocity law as text.
    pub reciprocity: Option<String>,
    /// Whether the shutter was measured.
    pub measured_shutter: bool,
    /// Whether a step tablet is at hand.
    pub tablet: bool,
    /// Whether a plain red filter is at hand.
    pub red_filter: bool,
    /// Expected factor and its standard deviation for each filter, which take the
    /// table's place; empty when not given. \[stops\]
    pub expected_factors_stops: Vec<(f64, f64)>,
    /// Folder to write the plan into.
    pub out: Option<PathBuf>,
}

/// What `plan` answers.
#[derive(Clone, Debug)]
pub struct Planned {
    /// Lines for a person, the answer first.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
}

pub(crate) const CAUTIONS: [&str; 4] = [
    "Never look at the sun through the filter, however dark it is: it may pass infrared that burns the eye without pain.",
    "Don't leave an open lens pointed at the sun: it can burn a shutter or start a fire.",
    "Under a dark cloth you don't see roads, water, edges or weather; keep an eye on them, and on the cold.",
    "Chemicals: follow the safety data sheets and local rules.",
];

pub(crate) const MARKS: [f64; 13] = [
    1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0, 64.0,
];

fn id(text: &str) -> Result<Id, AppError> {
    Id::new(text).map_err(|e| AppError::new(e.to_string(), ""))
}

fn wrong(error: quantity::QuantityError) -> AppError {
    AppError::new(
        error.to_string(),
        "give a possible value; `filmproof plan --help` shows units",
    )
}

pub(crate) fn sky(word: &str) -> Result<Sky, AppError> {
    Sky::ALL
        .into_iter()
        .find(|s| s.words().replace(' ', "-") == word && *s != Sky::NotStated)
        .ok_or_else(|| {
            let known: Vec<String> = Sky::ALL
                .iter()
                .filter(|s| **s != Sky::NotStated)
                .map(|s| s.words().replace(' ', "-"))
                .collect();
            AppError::new(
                format!("no sky is called {word:?}"),
                format!("give one of: {}", known.join(", ")),
            )
        })
}

/// The sunny rule's EV of a sky; `None` where the rule has none.
fn sunny_ev(sky: Sky) -> Option<f64> {
    let sunny = match sky {
        Sky::ClearSun => SunnySky::Clear,
        Sky::ThinCloud => SunnySky::ThinCloud,
        Sky::Overcast => SunnySky::Overcast,
        Sky::OpenShade => SunnySky::OpenShade,
        _ => return None,
    };
    sunny_estimate(sunny).ok().map(|e| e.ev100.to_ev())
}

fn edge(text: &str) -> Result<(f64, EdgeLevel), AppError> {
    let (number, level) = text.split_once(':').unwrap_or((text, ""));
    let level = match level {
        "50%" => EdgeLevel::HalfTransmittance,
        "half-peak" => EdgeLevel::HalfOfPeak,
        "10%" => EdgeLevel::TenPercent,
        "-3stops" => EdgeLevel::MinusThreeStops,
        "" => EdgeLevel::NotStated,
        _ => {
            return Err(AppError::new(
                format!("{level:?} is no level of an edge"),
                "give NM:50%, NM:half-peak, NM:10% or NM:-3stops, or NM alone where the level is not known",
            ));
        }
    };
    let nm = number
        .parse::<f64>()
        .ok()
        .filter(|n| n.is_finite())
        .ok_or_else(|| {
            AppError::new(
                format!("{number:?} is no wavelength"),
                "give the edge in nm, as 715:50%",
            )
        })?;
    Ok((nm, level))
}

fn film_class(word: &str) -> Result<FilmReach, AppError> {
    FilmReach::from_word(word).ok_or_else(|| {
        let known: Vec<&str> = FilmReach::ALL.iter().map(|c| c.word()).collect();
        AppError::new(
            format!("no class of film is called {word:?}"),
            format!("give one of: {}", known.join(", ")),
        )
    })
}

/// Gives what is at hand for the filter of number `of`.
pub(crate) fn request(
    q: &PlanQuestion,
    of: usize,
) -> Result<(PlanRequest, FilmReach, f64), AppError> {
    let Some(filter_edge) = q.filter_edges.get(of) else {
        return Err(AppError::new("no filter", "give --filter-edge"));
    };
    let reach = film_class(&q.film_class)?;
    let sky = sky(&q.sky)?;
    let (nm, level) = edge(filter_edge)?;
    let outside = |e: findings::OutsidePriorTable| {
        AppError::new(
            e.to_string(),
            "give another edge, or what you expect with --expected-factor",
        )
    };
    let prior = match q.expected_factors_stops.get(of) {
        Some(&(mean_stops, sd_stops)) => {
            if !(0.0..=20.0).contains(&mean_stops) || !(0.1..=6.0).contains(&sd_stops) {
                return Err(AppError::new(
                    format!("a factor of {mean_stops} ± {sd_stops} stops can't be planned for"),
                    "give a factor of 0 to 20 stops and a spread of 0.1 to 6 stops",
                ));
            }
            FactorPrior::Expected {
                mean_stops,
                sd_stops,
            }
        }
        None => factor_prior(reach, nm, level, sky).map_err(outside)?,
    };
    let red_stops = match factor_prior(reach, 600.0, EdgeLevel::HalfTransmittance, sky) {
        Ok(FactorPrior::Expected { mean_stops, .. }) => Some(mean_stops),
        _ => None,
    };
    let ev = match (q.ev100, sunny_ev(sky)) {
        (Some(ev), _) | (None, Some(ev)) => ev,
        (None, None) => {
            return Err(AppError::new(
                format!("the light of {} can't be guessed", sky.words()),
                "give a reading with --ev100",
            ));
        }
    };
    let (widest, smallest) = q.lens_apertures;
    let mut apertures = vec![FNumber::from_ratio(q.aperture).map_err(wrong)?];
    for mark in MARKS {
        if mark >= 0.98 * widest && mark <= 1.02 * smallest && mark != q.aperture {
            apertures.push(FNumber::from_ratio(mark).map_err(wrong)?);
        }
    }
    let law = match &q.reciprocity {
        Some(text) => Some((text.clone(), crate::expose_inputs::reciprocity_law(text)?)),
        None => None,
    };
    let filter = |name: &str, words: String, nm: f64, level| -> Result<Filter, AppError> {
        Ok(Filter {
            id: id(name)?,
            name: words,
            marking: None,
            edge: Some(Edge {
                wavelength: Nanometres::from_nm(nm).map_err(wrong)?,
                level,
            }),
            stated_factor: None,
        })
    };
    let tablet = if q.tablet {
        // Nominal: 21 steps of half a stop; the tablet's own table takes its place
        // in the record later.
        let steps: Result<Vec<_>, _> = (0..21)
            .map(|k| Density::gross(0.05 + 0.15 * f64::from(k)).map(|d| Measured::new(d, 0.02)))
            .collect();
        Some(Tablet {
            id: id("tablet")?,
            serial: None,
            certified: false,
            steps: steps.map_err(wrong)?,
        })
    } else {
        None
    };
    let box_speed = ExposureIndex::from_arithmetic(q.box_speed).map_err(wrong)?;
    let red = match (q.red_filter, red_stops) {
        (true, Some(stops)) => Some((
            filter("red", "plain red".to_owned(), 600.0, EdgeLevel::NotStated)?,
            Stops::new(stops).map_err(wrong)?,
        )),
        _ => None,
    };
    // More holders than any plan fills are left at home.
    let sides = (1..=q.holders.min(MOST_SHEETS))
        .flat_map(|h| [format!("{h}A"), format!("{h}B")])
        .collect();
    let request = PlanRequest {
        film: Film {
            id: id("film")?,
            name: format!("{} film of EI {}", reach.word(), q.box_speed),
            format: None,
            box_speed: Some(box_speed),
            batch: None,
            expiry: None,
            reciprocity: q.reciprocity.as_ref().map(|law| ReciprocityRecord {
                law: law.clone(),
                source: "as given to the plan".to_owned(),
                uncertainty_stops_per_decade: None,
            }),
        },
        box_speed,
        filter: filter("filter", format!("filter {filter_edge}"), nm, level)?,
        red,
        light: Light {
            id: id("light")?,
            sky,
            place: None,
            time: None,
            meter: None,
            reading: None,
            drift: None,
            remarks: None,
        },
        ev100: Ev100::from_ev(ev).map_err(wrong)?,
        process: Process {
            id: id("process")?,
            developer: "to be written down".to_owned(),
            dilution: None,
            time: None,
            temperature: None,
            agitation: None,
            remarks: None,
        },
        prior,
        sheets: q.sheets,
        sides,
        apertures,
        longest: Seconds::from_s(q.longest_s).map_err(wrong)?,
        law,
        measured_shutter: q.measured_shutter,
        tablet,
    };
    Ok((request, reach, nm))
}

pub(crate) fn plan_error(error: PlanError) -> AppError {
    let remedy = match &error {
        PlanError::TooFewSheets { .. } => {
            format!("plan {FEWEST_SHEETS} sheets or more; five leave room for an unexposed one")
        }
        PlanError::TooManySheets { .. } => "plan several days".to_owned(),
        PlanError::TooFewSides { .. } => {
            "load more holders (--holders), or plan fewer sheets (--sheets)".to_owned()
        }
        PlanError::TooFewForFilters { .. } => {
            "leave those filters away, or take more sheets (--sheets, --holders)".to_owned()
        }
        PlanError::NoAperture => "give --aperture".to_owned(),
        PlanError::TooLong { .. } => {
            "bear a longer time (--longest), open the lens (--aperture, --lens), or wait for a brighter light".to_owned()
        }
        _ => "check reading, EI, law and marks".to_owned(),
    };
    AppError::new(error.to_string(), remedy)
}

fn planned(request: &PlanRequest) -> Result<PlanAnswer, AppError> {
    plan_test(request, &Assumptions::COMMON_PRACTICE).map_err(plan_error)
}

/// Plans a test.
///
/// # Errors
/// [`AppError`] for impossible values, unknown words, and a test that can't be made.
pub fn plan(question: &PlanQuestion) -> Result<Planned, AppError> {
    if question.filter_edges.len() > 1 {
        return crate::plan_several::plan_several(question);
    }
    let (request, reach, nm) = request(question, 0)?;
    let plan = match planned(&request)? {
        PlanAnswer::NoImage => {
            if let Some(dir) = &question.out {
                return Err(AppError::new(
                    format!(
                        "no image is expected behind this filter, so no plan is written to {}",
                        dir.display()
                    ),
                    "leave --out away to read what to do instead",
                ));
            }
            return Ok(no_image(&request, reach, nm));
        }
        PlanAnswer::Planned(plan) => plan,
    };
    let beside = beside(&request);
    if let Some(dir) = &question.out {
        write(&plan.as_if_exposed, &plan.frames, dir)?;
    }
    let mut lines = frame_lines(&plan.frames);
    lines.extend(told(&request, question, &plan, &beside));
    if let Some(dir) = &question.out {
        lines.push(String::new());
        lines.push(format!("Plan: {}", dir.display()));
    }
    Ok(Planned {
        json: to_json(&request, question, &plan, &beside),
        lines,
    })
}

/// A cheaper or surer plan beside the one asked for.
struct Beside {
    kind: &'static str,
    what: String,
    sheets: usize,
    half_width_stops: f64,
    chance: f64,
}

fn beside(request: &PlanRequest) -> Vec<Beside> {
    let mut found = vec![];
    let mut look = |kind, what: String, other: &PlanRequest| {
        if let Ok(PlanAnswer::Planned(plan)) = plan_test(other, &Assumptions::COMMON_PRACTICE) {
            found.push(Beside {
                kind,
                what,
                sheets: other.sheets,
                half_width_stops: plan.expected.half_width_stops,
                chance: plan.expected.chance_of_interval,
            });
        }
    };
    if request.sheets > FEWEST_SHEETS {
        let sheets = request.sheets.div_ceil(2).max(FEWEST_SHEETS);
        let cheaper = PlanRequest {
            sheets,
            ..request.clone()
        };
        look("cheaper", format!("{sheets} sheets"), &cheaper);
    }
    let sheets = request.sheets + 2;
    let mut surer = PlanRequest {
        sheets,
        measured_shutter: true,
        ..request.clone()
    };
    while surer.sides.len() < sheets {
        surer
            .sides
            .push(format!("further side {}", surer.sides.len() + 1));
    }
    let what = if request.measured_shutter {
        format!("{sheets} sheets")
    } else {
        format!("{sheets} sheets, and the shutter measured")
    };
    look("surer", what, &surer);
    found
}

pub(crate) fn write(
    as_if_exposed: &TestParts,
    frames: &[FrameOfPlan],
    dir: &std::path::Path,
) -> Result<(), AppError> {
    let parts = TestParts {
        frames: vec![],
        patches: vec![],
        ..as_if_exposed.clone()
    };
    let frames = frames.iter().map(|f| f.frame.clone()).collect();
    let test = PlannedTest::assemble(parts, frames)
        .map_err(|e| AppError::new(e.to_string(), "this is a fault of the plan; please tell it"))?;
    notebook::write_planned_folder(&test, &[], dir)?;
    Ok(())
}

/// Says why no image is expected, and what to do instead.
pub(crate) fn no_image_words(
    request: &PlanRequest,
    reach: FilmReach,
    nm: f64,
) -> (String, Vec<String>) {
    let shows = |class: FilmReach, edge: f64| {
        matches!(
            factor_prior(class, edge, EdgeLevel::HalfTransmittance, request.light.sky),
            Ok(FactorPrior::Expected { .. })
        )
    };
    let shallower = [760.0, 740.0, 715.0, 695.0, 650.0, 600.0]
        .into_iter()
        .find(|e| *e < nm && shows(reach, *e));
    let class = FilmReach::ALL.into_iter().find(|c| shows(*c, nm));
    let mut instead = vec![];
    if let Some(edge) = shallower {
        instead.push(format!(
            "a shallower filter: with an edge near {edge:.0} nm (50 % transmittance) this film shows an image"
        ));
    }
    if let Some(class) = class {
        instead.push(format!(
            "another film: of the class {}, behind this filter",
            class.word()
        ));
    }
    instead.push(
        "at most one check sheet, if you doubt the class of film or the edge of the filter: the longest time you can bear, beside an unfiltered anchor"
            .to_owned(),
    );
    let reason = format!(
        "{} film and a filter with its edge at {nm} nm overlap by less than about a thousandth of the bare response (common practice, by class of film)",
        reach.word()
    );
    (reason, instead)
}

fn no_image(request: &PlanRequest, reach: FilmReach, nm: f64) -> Planned {
    let (reason, instead) = no_image_words(request, reach, nm);
    let mut lines = vec![
        "No image is expected: spend no bracket on this.".to_owned(),
        reason.clone(),
        String::new(),
        "Instead".to_owned(),
    ];
    lines.extend(instead.iter().map(|i| format!("  {i}")));
    Planned {
        lines,
        json: json!({
            "image": "none",
            "frames": [],
            "reason": reason,
            "instead": instead,
        }),
    }
}

pub(crate) fn frame_lines(frames: &[FrameOfPlan]) -> Vec<String> {
    let mut lines = vec![
        "Load and expose, in this order".to_owned(),
        format!(
            "{:<3} {:<6} {:<13} {:<12} {:<8} {:>6} {:>7} {:>9} {:>6}  {}",
            "no", "side", "frame", "role", "filter", "EI", "f", "time", "off", "why"
        ),
    ];
    for (n, planned) in frames.iter().enumerate() {
        let frame = &planned.frame;
        let (ei, aperture, time) = match &frame.exposure {
            PlannedExposure::Camera(c) => (
                format_ei(c.ei),
                format_aperture(c.aperture),
                format_time(c.time.marked),
            ),
            _ => ("-".into(), "-".into(), "-".into()),
        };
        let filters: Vec<&str> = frame.filters.iter().map(Id::as_str).collect();
        let off = planned
            .left_over_stops
            .map_or("-".to_owned(), |s| format!("{s:+.1}"));
        lines.push(format!(
            "{:<3} {:<6} {:<13} {:<12} {:<8} {:>6} {:>7} {:>9} {:>6}  {}",
            n + 1,
            frame.holder.as_deref().unwrap_or("-"),
            frame.id.as_str(),
            frame.role.words(),
            if filters.is_empty() {
                "none".to_owned()
            } else {
                filters.join("+")
            },
            ei.trim_start_matches("EI ").to_owned(),
            aperture,
            time,
            off,
            frame.why.as_deref().unwrap_or_default()
        ));
    }
    lines.push("off: stops that the marks give over what the EI asks for".to_owned());
    lines
}

fn told(
    request: &PlanRequest,
    question: &PlanQuestion,
    plan: &TestPlan,
    beside: &[Beside],
) -> Vec<String> {
    let e = plan.expected;
    let mut lines = vec![String::new(), "What it will tell".to_owned()];
    if let FactorPrior::Expected {
        mean_stops,
        sd_stops,
    } = request.prior
    {
        lines.push(format!(
            "  expected factor: {mean_stops:.1} stops, give or take {sd_stops:.1} (one standard deviation; {}), so EI {:.1}",
            if !question.expected_factors_stops.is_empty() {
                "as given"
            } else {
                "common practice by class of film and edge"
            },
            plan.expected_ei.to_arithmetic()
        ));
    }
    lines.push(format!(
        "  expected interval of the factor (90 %): ± {:.2} stops; about EI {:.1} that is EI {:.1} to {:.1}",
        e.half_width_stops,
        plan.expected_ei.to_arithmetic(),
        plan.ei_low.to_arithmetic(),
        plan.ei_high.to_arithmetic()
    ));
    lines.push(format!(
        "  chance that there is an interval and not only a bound: {:.0} %",
        100.0 * e.chance_of_interval
    ));
    lines.push(
        "  if all goes well: the card is in every picture, one development for all".to_owned(),
    );
    if request.sheets <= 3 {
        lines.push(
            "  two or three sheets give a factor only if the filtered one holds an image; a slip of shutter or record goes unseen, and nothing shows a leak"
                .to_owned(),
        );
    }
    lines.push(format!(
        "  the fewest sheets for an interval are {FEWEST_SHEETS}: one without, one behind the filter"
    ));
    lines.push(String::new());
    lines.push("Why so".to_owned());
    lines.push(if plan.one_time {
        "  one time for as many frames as the marks allow, the aperture making the difference: a shutter mark that is off is then off for all and drops out".to_owned()
    } else {
        "  the times differ, so that no single shutter mark carries the factor".to_owned()
    });
    lines.push(format!(
        "  steps of {} stops about the expected EI, so that the best frame is not the bracket's end; more or less exposed by turns, so that an even drift of the light cancels",
        plan.step_stops
    ));
    if !request.measured_shutter {
        lines.push("  the shutter is not measured: marked speeds are the largest error, and measuring them is worth more than sheets".to_owned());
    }
    if !plan
        .frames
        .iter()
        .any(|f| f.frame.role == record::FrameRole::Unexposed)
    {
        lines.push("  too few sheets for an unexposed one: leaks and fog go unseen".to_owned());
    }
    if !beside.is_empty() {
        lines.push(String::new());
        lines.push("Beside it".to_owned());
        for b in beside {
            lines.push(format!(
                "  {}: {}: ± {:.2} stops, an interval in {:.0} % of cases",
                b.kind,
                b.what,
                b.half_width_stops,
                100.0 * b.chance
            ));
        }
    }
    lines.push(String::new());
    lines.push("Take care".to_owned());
    lines.extend(CAUTIONS.iter().map(|c| format!("  {c}")));
    lines
}

pub(crate) fn frames_json(frames: &[FrameOfPlan]) -> Vec<Value> {
    frames
        .iter()
        .map(|planned| {
            let frame = &planned.frame;
            let camera = match &frame.exposure {
                PlannedExposure::Camera(c) => Some(c),
                _ => None,
            };
            let filters: Vec<&str> = frame.filters.iter().map(Id::as_str).collect();
            json!({
                "name": frame.id.as_str(),
                "holder": frame.holder,
                "role": frame.role.words(),
                "filters": filters,
                "ei": camera.map(|c| c.ei.to_arithmetic()),
                "aperture": camera.map(|c| c.aperture.to_ratio()),
                "time_s": camera.map(|c| c.time.marked.to_s()),
                "time_metered_s": camera.and_then(|c| c.time.metered).map(Seconds::to_s),
                "left_over_stops": planned.left_over_stops,
                "why": frame.why,
            })
        })
        .collect()
}

pub(crate) fn prior_json(prior: FactorPrior, question: &PlanQuestion) -> Value {
    match prior {
        FactorPrior::Expected {
            mean_stops,
            sd_stops,
        } => json!({
            "mean_stops": mean_stops,
            "sd_stops": sd_stops,
            "source": if !question.expected_factors_stops.is_empty() { "given" } else { "common practice" },
        }),
        FactorPrior::NoImage => Value::Null,
    }
}

fn to_json(
    request: &PlanRequest,
    question: &PlanQuestion,
    plan: &TestPlan,
    beside: &[Beside],
) -> Value {
    let frames = frames_json(&plan.frames);
    let prior = prior_json(request.prior, question);
    let variants: Vec<Value> = beside
        .iter()
        .map(|b| {
            json!({
                "kind": b.kind,
                "what": b.what,
                "sheets": b.sheets,
                "half_width_stops": b.half_width_stops,
                "chance_of_interval": b.chance,
            })
        })
        .collect();
    json!({
        "image": "expected",
        "frames": frames,
        "expected_factor": prior,
        "expected_ei": {
            "value": plan.expected_ei.to_arithmetic(),
            "low": plan.ei_low.to_arithmetic(),
            "high": plan.ei_high.to_arithmetic(),
        },
        "expected_half_width_stops": plan.expected.half_width_stops,
        "chance_of_interval": plan.expected.chance_of_interval,
        "coverage": Assumptions::COMMON_PRACTICE.coverage,
        "step_stops": plan.step_stops,
        "one_time": plan.one_time,
        "fewest_sheets": FEWEST_SHEETS,
        "variants": variants,
        "cautions": CAUTIONS,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question() -> PlanQuestion {
        PlanQuestion {
            film_class: "extended-red".into(),
            box_speed: 400.0,
            filter_edges: vec!["715:50%".into()],
            sky: "clear-sun".into(),
            ev100: None,
            sheets: 8,
            holders: 4,
            aperture: 16.0,
            lens_apertures: (5.6, 45.0),
            longest_s: 60.0,
            reciprocity: None,
            measured_shutter: false,
            tablet: false,
            red_filter: true,
            expected_factors_stops: vec![],
            out: None,
        }
    }

    /// Common practice: a panchromatic film that ends near 670 nm stays blank behind 760.
    #[test]
    fn no_image_is_told_before_a_sheet_is_spent() {
        let answer = plan(&PlanQuestion {
            film_class: "panchromatic".into(),
            filter_edges: vec!["760:50%".into()],
            ..question()
        })
        .map(|a| a.json);
        assert!(answer.is_ok_and(|json| {
            json["image"] == "none" && json["instead"].as_array().is_some_and(|i| i.len() == 3)
        }));
    }

    #[test]
    fn words_and_numbers_without_meaning_are_refused() {
        let wrong = [
            PlanQuestion {
                film_class: "colour".into(),
                ..question()
            },
            PlanQuestion {
                sky: "rain".into(),
                ..question()
            },
            PlanQuestion {
                filter_edges: vec!["red".into()],
                ..question()
            },
            PlanQuestion {
                sheets: 9,
                ..question()
            },
            PlanQuestion {
                longest_s: 0.001,
                ..question()
            },
        ];
        assert!(wrong.iter().all(|q| plan(q).is_err()));
    }

    #[test]
    fn more_holders_than_sheets_stay_at_home() {
        let answer = plan(&PlanQuestion {
            sheets: 2,
            holders: usize::MAX,
            ..question()
        });
        assert!(answer.is_ok_and(|a| a.json["frames"].as_array().is_some_and(|f| f.len() == 2)));
    }
}
