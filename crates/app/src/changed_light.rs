//! The frames left of a plan, after the light has changed.

use crate::AppError;
use crate::error::with_causes;
use crate::expose::ExposeReading;
use crate::field_card::bellows_of;
use exposure::{ReciprocityLaw, format_aperture, format_time};
use findings::{
    Assumptions, ChangedLight, ChangedLightError, FramesLeft, LeftExpected, expected_of_left,
    frames_left,
};
use notebook::{change_plan, read_planned_folder};
use quantity::{Ev100, FNumber, Illuminance, Luminance, QuantityError, Seconds};
use record::{Id, Light, PlannedCamera, PlannedExposure, PlannedFrame, PlannedTest, Sky};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// A change of the light below this leaves the plan good enough: the size of a
/// frame's own error. \[stops\] (common practice: a third of a stop)
const WORTH_A_CHANGE: f64 = 1.0 / 3.0;

/// What is asked after the light has changed.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangedLightQuestion {
    /// The test folder with the plan.
    pub test: PathBuf,
    /// The new reading, without filter; of a meter.
    pub reading: ExposeReading,
    /// The sky now, by its word; as before when not given.
    pub sky: Option<String>,
    /// Record name of the new light; found when not given.
    pub light: Option<String>,
    /// Longest time that can be borne. \[s\]
    pub longest_s: f64,
    /// Widest aperture of the lens, to open to.
    pub widest: Option<f64>,
    /// Whether plan and light are written into the folder.
    pub write: bool,
}

/// What is answered.
#[derive(Clone, Debug)]
pub struct ReplannedLight {
    /// Lines for a person, the answer first.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
}

/// Plans the frames left of a test folder's plan for a new reading.
///
/// # Errors
/// [`AppError`] when the folder is at fault, nothing is left, or a frame can't be
/// exposed in the new light.
pub fn replan(question: &ChangedLightQuestion) -> Result<ReplannedLight, AppError> {
    let folder = read_planned_folder(&question.test)?;
    let test = &folder.test;
    let wrong = |e: quantity::QuantityError| {
        AppError::new(
            e.to_string(),
            "give a possible value; `filmproof replan --help` shows units",
        )
    };
    let recorded = recorded_reading(question.reading).map_err(wrong)?;
    let before = next_camera(test)
        .and_then(|camera| test.records().light(&camera.light))
        .ok_or_else(|| nothing_left(&ChangedLightError::NothingLeft))?;
    if let Some(meter) = &before.meter
        && meter.through_filter
    {
        return Err(AppError::new(
            format!("the meter of light {} reads through the filter", before.id),
            "read without the filter, and record the meter so: such a reading can't place an exposure",
        ));
    }
    let light = Light {
        id: light_name(question.light.as_deref(), test, before)?,
        sky: match &question.sky {
            Some(word) => crate::plan_request::sky(word)?,
            None => before.sky,
        },
        time: None,
        reading: Some(recorded),
        remarks: None,
        ..before.clone()
    };
    let placed = before.meter.as_ref().map(|m| m.placement.to_stops());
    let of_target = !matches!(question.reading, ExposeReading::Lux { .. });
    let reading = crate::expose_inputs::reading(
        question.reading,
        placed.filter(|stops| of_target && *stops != 0.0),
    )?;
    let laws = laws(test)?;
    let law = |frame: &PlannedFrame, camera: &PlannedCamera| {
        let text = law_text(test, frame, camera)?;
        laws.get_key_value(text)
            .map(|(text, law)| (text.as_str(), law))
    };
    let bellows = |camera: &PlannedCamera| bellows_of(test.records(), camera).and_then(Result::ok);
    let apertures = marks(question, test).map_err(wrong)?;
    let left = frames_left(
        test,
        &ChangedLight {
            light: &light.id,
            reading,
            longest: Seconds::from_s(question.longest_s).map_err(wrong)?,
            apertures: &apertures,
            bellows: &bellows,
            law: &law,
        },
    )
    .map_err(|e| nothing_left(&e))?;
    // A plan that can't be foreseen can still be exposed.
    let expected = expected_of_left(test, &left, &light, &Assumptions::COMMON_PRACTICE)
        .map_err(|e| with_causes(&e));
    let kept = if question.write {
        Some(change_plan(&question.test, &light, &left.whole_plan(test))?)
    } else {
        None
    };
    let ev_of = |reading| crate::field_card::ev100_of(reading).ok().map(Ev100::to_ev);
    let change = (before.reading.and_then(ev_of))
        .zip(ev_of(recorded))
        .map(|(old, new)| new - old);
    Ok(ReplannedLight {
        lines: lines(&left, &light, change, &expected, kept.as_deref()),
        json: to_json(&left, &light, change, &expected, kept.as_deref()),
    })
}

/// The reading as it is recorded.
fn recorded_reading(reading: ExposeReading) -> Result<record::LightReading, QuantityError> {
    Ok(match reading {
        ExposeReading::Ev100(ev) => record::LightReading::Ev100(Ev100::from_ev(ev)?),
        ExposeReading::Lux { lux, .. } => {
            record::LightReading::Illuminance(Illuminance::from_lux(lux)?)
        }
        ExposeReading::Luminance { cd_per_m2, .. } => {
            record::LightReading::Luminance(Luminance::from_cd_per_m2(cd_per_m2)?)
        }
        // The sunny rule is no reading; as an EV it is at least told.
        ExposeReading::Sky(sky) => {
            record::LightReading::Ev100(exposure::sunny_estimate(sky)?.ev100)
        }
    })
}

fn nothing_left(error: &ChangedLightError) -> AppError {
    let remedy = match error {
        ChangedLightError::NothingLeft => "evaluate the test, or plan another",
        ChangedLightError::TooLong { .. } => {
            "bear a longer time (--longest), open the lens (--widest), or wait for a brighter light"
        }
        _ => "check reading, law and apertures",
    };
    AppError::new(with_causes(error), remedy)
}

fn camera_of(frame: &PlannedFrame) -> Option<&PlannedCamera> {
    match &frame.exposure {
        PlannedExposure::Camera(camera) => Some(camera),
        _ => None,
    }
}

/// The next camera frame that is not exposed yet.
fn next_camera(test: &PlannedTest) -> Option<&PlannedCamera> {
    test.planned()
        .iter()
        .filter(|f| test.exposed(&f.id).is_none())
        .find_map(camera_of)
}

fn light_name(given: Option<&str>, test: &PlannedTest, before: &Light) -> Result<Id, AppError> {
    let taken = |id: &Id| test.records().light(id).is_some();
    if let Some(name) = given {
        let id = Id::new(name).map_err(|e| {
            AppError::new(
                e.to_string(),
                "give --light a name as records have it: letters, digits, - and _",
            )
        })?;
        if taken(&id) {
            return Err(AppError::new(
                format!("the test has a light called {id} already"),
                "give --light another name; what is recorded is never changed",
            ));
        }
        return Ok(id);
    }
    let begin: String = before.id.as_str().chars().take(40).collect();
    (2..1000_u32)
        .filter_map(|n| Id::new(&format!("{begin}-{n}")).ok())
        .find(|id| !taken(id))
        .ok_or_else(|| AppError::new("no name is left for the light", "give one with --light"))
}

fn law_text<'a>(
    test: &'a PlannedTest,
    frame: &'a PlannedFrame,
    camera: &'a PlannedCamera,
) -> Option<&'a str> {
    camera.time.law.as_deref().or_else(|| {
        let film = test.records().film(&frame.film)?;
        film.reciprocity.as_ref().map(|r| r.law.as_str())
    })
}

fn laws(test: &PlannedTest) -> Result<BTreeMap<String, ReciprocityLaw>, AppError> {
    let mut laws = BTreeMap::new();
    for frame in test.planned() {
        let Some(text) = camera_of(frame).and_then(|c| law_text(test, frame, c)) else {
            continue;
        };
        if !laws.contains_key(text) {
            laws.insert(
                text.to_owned(),
                crate::expose_inputs::reciprocity_law(text)?,
            );
        }
    }
    Ok(laws)
}

/// Marks in whole stops from the widest aperture; only the plan's own when the
/// widest is not given.
fn marks(
    question: &ChangedLightQuestion,
    test: &PlannedTest,
) -> Result<Vec<FNumber>, quantity::QuantityError> {
    let Some(widest) = question.widest else {
        return Ok(test
            .planned()
            .iter()
            .filter_map(camera_of)
            .map(|c| c.aperture)
            .collect());
    };
    let widest = FNumber::from_ratio(widest)?;
    let mut marks = vec![widest];
    for mark in crate::plan_request::MARKS {
        if mark > 1.02 * widest.to_ratio() {
            marks.push(FNumber::from_ratio(mark)?);
        }
    }
    Ok(marks)
}

fn notes(left: &FramesLeft, change: Option<f64>) -> Vec<String> {
    let mut notes = vec![];
    match change {
        Some(stops) if stops.abs() < WORTH_A_CHANGE => notes.push(format!(
            "the light has changed by {stops:+.1} stops only: the plan as it was would do as well"
        )),
        Some(stops) => notes.push(format!("the light has changed by {stops:+.1} stops")),
        None => {}
    }
    if !left.anchored {
        notes.push(
            "no unfiltered frame is left for this light: its factor can't be told from that of the light before; expose one more unfiltered sheet if you can"
                .to_owned(),
        );
    }
    if !left.exposed.is_empty() {
        notes.push(
            "a factor is matched within one light: frames exposed before the change are evaluated with their own"
                .to_owned(),
        );
    }
    notes
}

/// What the frames left are expected to tell, or why that is not known.
type Foreseen = Result<Vec<LeftExpected>, String>;

fn expected_lines(expected: &Foreseen) -> Vec<String> {
    match expected {
        Ok(found) => found
            .iter()
            .map(|f| {
                let filters: Vec<&str> = f.filters.iter().map(Id::as_str).collect();
                format!(
                    "Expected interval of the factor behind {} in this light (90 %): ± {:.2} stops, for the {:.1} stops that the bracket was laid out for, give or take {:.1}; an interval and not only a bound in {:.0} % of cases",
                    filters.join("+"),
                    f.expected.half_width_stops,
                    f.mean_stops,
                    f.sd_stops,
                    100.0 * f.expected.chance_of_interval
                )
            })
            .collect(),
        Err(why) => vec![format!("The expected interval can't be told: {why}")],
    }
}

fn lines(
    left: &FramesLeft,
    light: &Light,
    change: Option<f64>,
    expected: &Foreseen,
    kept: Option<&str>,
) -> Vec<String> {
    let mut lines = vec![
        format!("Expose what is left, in this order, as light {}", light.id),
        format!(
            "{:<3} {:<6} {:<13} {:<12} {:<8} {:>7} {:>9} {:>6}  {}",
            "no", "side", "frame", "role", "filter", "f", "time", "off", "changed"
        ),
    ];
    for (n, anew) in left.frames.iter().enumerate() {
        let Some(camera) = camera_of(&anew.frame) else {
            continue;
        };
        let filters: Vec<&str> = anew.frame.filters.iter().map(Id::as_str).collect();
        lines.push(format!(
            "{:<3} {:<6} {:<13} {:<12} {:<8} {:>7} {:>9} {:>+6.1}  {}",
            n + 1,
            anew.frame.holder.as_deref().unwrap_or("-"),
            anew.frame.id.as_str(),
            anew.frame.role.words(),
            if filters.is_empty() {
                "none".to_owned()
            } else {
                filters.join("+")
            },
            format_aperture(camera.aperture),
            format_time(camera.time.marked),
            anew.left_over_stops,
            anew.changed.as_deref().unwrap_or("time only"),
        ));
    }
    lines.push("off: stops that the marks give over what the EI asks for".to_owned());
    lines.push(String::new());
    lines.extend(expected_lines(expected));
    lines.extend(notes(left, change));
    match kept {
        Some(kept) => {
            lines.push(format!("The old plan is kept as {kept}; make the field card anew."));
        }
        None => lines.push(
            "Nothing is written; --write puts the light into test.toml and the plan into plan.toml. Import the field log of the old plan before."
                .to_owned(),
        ),
    }
    lines.push("Never look at the sun through the filter, however dark it is.".to_owned());
    lines
}

fn to_json(
    left: &FramesLeft,
    light: &Light,
    change: Option<f64>,
    expected: &Foreseen,
    kept: Option<&str>,
) -> Value {
    let foreseen = expected.as_ref().map(|found| {
        found
            .iter()
            .map(|f| {
                json!({
                    "filters": f.filters.iter().map(Id::as_str).collect::<Vec<_>>(),
                    "mean_stops": f.mean_stops,
                    "sd_stops": f.sd_stops,
                    "half_width_stops": f.expected.half_width_stops,
                    "chance_of_interval": f.expected.chance_of_interval,
                })
            })
            .collect::<Vec<_>>()
    });
    let frames: Vec<Value> = left
        .frames
        .iter()
        .map(|anew| {
            let camera = camera_of(&anew.frame);
            json!({
                "name": anew.frame.id.as_str(),
                "holder": anew.frame.holder,
                "role": anew.frame.role.words(),
                "filters": anew.frame.filters.iter().map(Id::as_str).collect::<Vec<_>>(),
                "ei": camera.map(|c| c.ei.to_arithmetic()),
                "aperture": camera.map(|c| c.aperture.to_ratio()),
                "time_s": camera.map(|c| c.time.marked.to_s()),
                "time_metered_s": camera.and_then(|c| c.time.metered).map(Seconds::to_s),
                "left_over_stops": anew.left_over_stops,
                "changed": anew.changed,
            })
        })
        .collect();
    json!({
        "light": light.id.as_str(),
        "sky": (light.sky != Sky::NotStated).then(|| light.sky.words()),
        "light_change_stops": change,
        "frames": frames,
        "exposed": left.exposed.iter().map(Id::as_str).collect::<Vec<_>>(),
        "anchored": left.anchored,
        "expected": foreseen.ok(),
        "notes": notes(left, change),
        "old_plan": kept,
    })
}
