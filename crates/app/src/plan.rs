//! Plans a test: which sheets to expose, in what order, and what that will tell.
//!
//! What is believed of the filters is in `plan_believed`, what is at hand in
//! `plan_request`, one test for several filters in `plan_several`, a cheaper and a
//! surer plan in `plan_beside`.

use crate::AppError;
use crate::plan_believed::{Believed, believed};
use crate::plan_beside::{Beside, beside, beside_json, beside_lines};
use crate::plan_frames::{MadePlan, frame_lines, frames_json, timing_words};
use crate::plan_request::{plan_error, request, sky};
use crate::predict::StatedSpread;
use crate::predict_curves::{FilmChoice, FilterChoice};
use crate::spectral_file::SpectralFile;
use findings::{
    Assumptions, FEWEST_SHEETS, FactorPrior, PlanAnswer, PlanRequest, TestPlan, plan_test,
};
use serde_json::{Value, json};
use std::path::PathBuf;

/// What `plan` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanQuestion {
    /// The film: its class or a file of its curve.
    pub film: FilmChoice,
    /// Box speed.
    pub box_speed: f64,
    /// The filters: edges as `NM:LEVEL`, or `NM` where the level is not known;
    /// files or names of curves.
    pub filters: Vec<FilterChoice>,
    /// Spectral power of the light; that of the sky when not given.
    pub light: Option<SpectralFile>,
    /// Standard deviations of the curves that were stated.
    pub spread: StatedSpread,
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
    /// Shortest time of the shutter. \[s\]
    pub shortest_s: f64,
    /// Reciprocity law as text.
    pub reciprocity: Option<String>,
    /// Whether the shutter was measured.
    pub measured_shutter: bool,
    /// Whether a step tablet is at hand.
    pub tablet: bool,
    /// Whether a plain red filter is at hand.
    pub red_filter: bool,
    /// Expected factor and its standard deviation for each filter, which take the
    /// place of table and spectra; empty when not given. \[stops\]
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
    /// Records and frames of the plan; `None` when no image is expected.
    pub(crate) made: Option<MadePlan>,
}

/// What can hurt someone in the field and after it.
pub const CAUTIONS: [&str; 4] = [
    "Never look at the sun through the filter, however dark it is: it may pass infrared that burns the eye without pain.",
    "Don't leave an open lens pointed at the sun: it can burn a shutter or start a fire.",
    "Under a dark cloth you don't see roads, water, edges or weather; keep an eye on them, and on the cold.",
    "Chemicals: follow the safety data sheets and local rules.",
];

/// Plans a test.
///
/// # Errors
/// [`AppError`] for impossible values, unknown words, unreadable curves, and a test
/// that can't be made.
pub fn plan(question: &PlanQuestion) -> Result<Planned, AppError> {
    let test = believed(question, sky(&question.sky)?)?;
    if question.filters.len() > 1 {
        return crate::plan_several::plan_several(question, &test);
    }
    let Some(filter) = test.filters.first() else {
        return Err(AppError::new("no filter", "give --filter-edge or --filter"));
    };
    let request = request(question, &test, filter)?;
    let plan = match plan_test(&request, &Assumptions::COMMON_PRACTICE).map_err(plan_error)? {
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
            return Ok(no_image(filter, &test.notes));
        }
        PlanAnswer::Planned(plan) => plan,
    };
    let beside = beside(&request, &[]);
    let made = MadePlan::of(&plan.as_if_exposed, &plan.frames, question);
    if let Some(dir) = &question.out {
        made.write(dir)?;
    }
    let mut lines = frame_lines(&plan.frames);
    lines.extend(told(&request, filter, &plan, &beside));
    lines.extend(test.notes.iter().map(|note| format!("Note: {note}")));
    if let Some(dir) = &question.out {
        lines.push(String::new());
        lines.push(format!("Plan: {}", dir.display()));
    }
    Ok(Planned {
        json: to_json(filter, &plan, &beside, &test.notes),
        lines,
        made: Some(made),
    })
}

fn no_image(filter: &Believed, notes: &[String]) -> Planned {
    let mut lines = vec![
        "No image is expected: spend no bracket on this.".to_owned(),
        filter.reason.clone(),
        String::new(),
        "Instead".to_owned(),
    ];
    lines.extend(filter.instead.iter().map(|i| format!("  {i}")));
    lines.extend(notes.iter().map(|note| format!("Note: {note}")));
    Planned {
        lines,
        made: None,
        json: json!({
            "image": "none",
            "frames": [],
            "reason": filter.reason,
            "instead": filter.instead,
            "notes": notes,
        }),
    }
}

fn told(
    request: &PlanRequest,
    filter: &Believed,
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
            filter.source.words(),
            plan.expected_ei.to_arithmetic()
        ));
    }
    if filter.trace {
        lines.push(format!("  {TRACE}"));
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
    lines.extend(timing_words(plan.timing, &plan.frames));
    let behind = (plan.frames.iter())
        .filter(|f| f.frame.role == record::FrameRole::Bracket)
        .count();
    if behind >= 3 {
        lines.push(format!(
            "  steps of {} stops about the expected EI, so that the best frame is not the bracket's end; more or less exposed by turns, so that an even drift of the light cancels",
            plan.step_stops
        ));
    } else {
        lines.push("  too few frames behind the filter for a bracket with a middle: the best one may be its end, and then the EI is a bound".to_owned());
    }
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
    lines.extend(beside_lines(beside));
    lines.push(String::new());
    lines.push("Take care".to_owned());
    lines.extend(CAUTIONS.iter().map(|c| format!("  {c}")));
    lines
}

/// What is told where a trace is all that can be promised.
pub(crate) const TRACE: &str = "a trace at most is expected: film and filter meet in their last nanometres only, and the expected factor hangs on them";

pub(crate) fn prior_json(filter: &Believed) -> Value {
    match filter.prior {
        FactorPrior::Expected {
            mean_stops,
            sd_stops,
        } => json!({
            "mean_stops": mean_stops,
            "sd_stops": sd_stops,
            "source": filter.source.word(),
        }),
        FactorPrior::NoImage => Value::Null,
    }
}

/// The word for what is expected of a filter that gets frames.
pub(crate) fn image_word(filter: &Believed) -> &'static str {
    if filter.trace { "trace" } else { "expected" }
}

fn to_json(filter: &Believed, plan: &TestPlan, beside: &[Beside], notes: &[String]) -> Value {
    json!({
        "image": image_word(filter),
        "frames": frames_json(&plan.frames),
        "expected_factor": prior_json(filter),
        "expected_ei": {
            "value": plan.expected_ei.to_arithmetic(),
            "low": plan.ei_low.to_arithmetic(),
            "high": plan.ei_high.to_arithmetic(),
        },
        "expected_half_width_stops": plan.expected.half_width_stops,
        "chance_of_interval": plan.expected.chance_of_interval,
        "coverage": Assumptions::COMMON_PRACTICE.coverage,
        "step_stops": plan.step_stops,
        "one_time": plan.timing.one_time(),
        "equal_time_pair": plan.timing.equal_time_pair_s(),
        "fewest_sheets": FEWEST_SHEETS,
        "variants": beside_json(beside),
        "notes": notes,
        "cautions": CAUTIONS,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(text: &str) -> FilterChoice {
        FilterChoice::Edge {
            text: text.into(),
            peak: None,
            width_nm: None,
        }
    }

    fn question() -> PlanQuestion {
        PlanQuestion {
            film: FilmChoice::Class("extended-red".into()),
            box_speed: 400.0,
            filters: vec![edge("715:50%")],
            light: None,
            spread: StatedSpread::default(),
            sky: "clear-sun".into(),
            ev100: None,
            sheets: 8,
            holders: 4,
            aperture: 16.0,
            lens_apertures: (5.6, 45.0),
            longest_s: 60.0,
            shortest_s: 0.002,
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
            film: FilmChoice::Class("panchromatic".into()),
            filters: vec![edge("760:50%")],
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
                film: FilmChoice::Class("colour".into()),
                ..question()
            },
            PlanQuestion {
                sky: "rain".into(),
                ..question()
            },
            PlanQuestion {
                filters: vec![edge("red")],
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
