//! Plans one test for several filters that share anchors and controls.

use crate::AppError;
use crate::plan::{CAUTIONS, PlanQuestion, Planned, TRACE, image_word, prior_json};
use crate::plan_believed::{Believed, BelievedTest};
use crate::plan_beside::{Beside, beside, beside_json, beside_lines};
use crate::plan_frames::{MadePlan, frame_lines, frames_json, timing_words};
use crate::plan_request::{plan_error, request};
use findings::{Assumptions, FactorPrior, FilterAsked, FilterPlanned, SharedPlan, plan_filters};
use record::Id;
use serde_json::{Value, json};

/// One filter with what is believed of it.
struct Asked<'a> {
    one: FilterAsked,
    believed: &'a Believed,
}

/// Plans a test of several filters.
///
/// # Errors
/// [`AppError`] for impossible values, unknown words, and a test that can't be made.
pub(crate) fn plan_several(
    question: &PlanQuestion,
    test: &BelievedTest,
) -> Result<Planned, AppError> {
    let mut asked: Vec<Asked<'_>> = vec![];
    for (of, believed) in test.filters.iter().enumerate() {
        if question.filters[..of].contains(&question.filters[of]) {
            return Err(AppError::new(
                format!("the filter {} is given twice", believed.name),
                "give each filter once",
            ));
        }
        let mut filter = request(question, test, believed)?.filter;
        filter.id =
            Id::new(&format!("filter-{}", of + 1)).map_err(|e| AppError::new(e.to_string(), ""))?;
        asked.push(Asked {
            one: FilterAsked {
                filter,
                prior: believed.prior,
            },
            believed,
        });
    }
    let base = request(question, test, &test.filters[0])?;
    let ones: Vec<FilterAsked> = asked.iter().map(|a| a.one.clone()).collect();
    let plan = plan_filters(&base, &ones, &Assumptions::COMMON_PRACTICE).map_err(plan_error)?;
    if let Some(dir) = &question.out
        && plan.frames.is_empty()
    {
        return Err(AppError::new(
            format!(
                "no image is expected behind any of these filters, so no plan is written to {}",
                dir.display()
            ),
            "leave --out away to read what to do instead",
        ));
    }
    let made = (!plan.frames.is_empty())
        .then(|| MadePlan::of(&plan.as_if_exposed, &plan.frames, question));
    if let (Some(dir), Some(made)) = (&question.out, &made) {
        made.write(dir)?;
    }
    let shown: Vec<FilterAsked> = (plan.filters.iter())
        .map(|f| ones[f.asked].clone())
        .collect();
    let beside = if shown.is_empty() {
        vec![]
    } else {
        beside(&base, &shown)
    };
    Ok(Planned {
        lines: lines(question, test, &asked, &plan, &beside),
        json: to_json(test, &asked, &plan, &beside),
        made,
    })
}

/// Mean of the filters' expected half-widths. \[stops\]
fn mean_half_width(plan: &SharedPlan) -> Option<f64> {
    let sum: f64 = (plan.filters.iter())
        .map(|f| f.expected.half_width_stops)
        .sum();
    (!plan.filters.is_empty()).then(|| sum / plan.filters.len() as f64)
}

fn lines(
    question: &PlanQuestion,
    test: &BelievedTest,
    asked: &[Asked<'_>],
    plan: &SharedPlan,
    beside: &[Beside],
) -> Vec<String> {
    let mut lines = if plan.frames.is_empty() {
        vec!["No image is expected behind any of these filters: spend no bracket on them.".into()]
    } else {
        frame_lines(&plan.frames)
    };
    if let Some(mean) = mean_half_width(plan) {
        lines.extend([String::new(), "What it will tell".to_owned()]);
        for found in &plan.filters {
            lines.push(told(&asked[found.asked], found));
            if asked[found.asked].believed.trace {
                lines.push(format!("    {TRACE}"));
            }
        }
        lines.push(format!(
            "  the sheets are shared out so that these intervals (90 %) are smallest on the mean: ± {mean:.2} stops"
        ));
    }
    for &number in &plan.no_image {
        let filter = &asked[number];
        lines.extend([
            String::new(),
            format!(
                "{} ({}): no image is expected, so it gets no sheet",
                filter.one.filter.id.as_str(),
                filter.believed.name
            ),
            format!("  {}", filter.believed.reason),
            "  instead".to_owned(),
        ]);
        lines.extend(filter.believed.instead.iter().map(|i| format!("    {i}")));
    }
    if !plan.frames.is_empty() {
        lines.extend([
            String::new(),
            "Why so".to_owned(),
            "  anchors and controls serve all filters; the filters take turns, there and back, so that an even drift of the light cancels".to_owned(),
        ]);
        lines.extend(timing_words(plan.timing, &plan.frames));
        if plan.filters.iter().any(|f| f.frames == 1) {
            lines.push("  a single frame gives a factor only if it holds an image: more sheets, or fewer filters, make it surer".to_owned());
        }
        if !question.measured_shutter {
            lines.push("  the shutter is not measured: marked speeds are the largest error, and measuring them is worth more than sheets".to_owned());
        }
    }
    lines.extend(beside_lines(beside));
    lines.extend([String::new(), "Take care".to_owned()]);
    lines.extend(CAUTIONS.iter().map(|c| format!("  {c}")));
    lines.extend(test.notes.iter().map(|note| format!("Note: {note}")));
    if let Some(dir) = &question.out {
        lines.extend([String::new(), format!("Plan: {}", dir.display())]);
    }
    lines
}

fn told(asked: &Asked<'_>, found: &FilterPlanned) -> String {
    let believed = match asked.one.prior {
        FactorPrior::Expected {
            mean_stops,
            sd_stops,
        } => format!(
            "expected factor {mean_stops:.1} stops, give or take {sd_stops:.1} ({}), ",
            asked.believed.source.words()
        ),
        FactorPrior::NoImage => String::new(),
    };
    format!(
        "  {} ({}): {believed}so EI {:.1}; interval ± {:.2} stops, EI {:.1} to {:.1}; an interval and not only a bound in {:.0} % of cases; frames: {}",
        asked.one.filter.id.as_str(),
        asked.believed.name,
        found.expected_ei.to_arithmetic(),
        found.expected.half_width_stops,
        found.ei_low.to_arithmetic(),
        found.ei_high.to_arithmetic(),
        100.0 * found.expected.chance_of_interval,
        found.frames
    )
}

fn to_json(
    test: &BelievedTest,
    asked: &[Asked<'_>],
    plan: &SharedPlan,
    beside: &[Beside],
) -> Value {
    let filters: Vec<Value> = asked
        .iter()
        .enumerate()
        .map(|(number, filter)| {
            let name = filter.one.filter.id.as_str();
            match plan.filters.iter().find(|f| f.asked == number) {
                Some(f) => json!({
                    "filter": name,
                    "edge": filter.believed.name,
                    "image": image_word(filter.believed),
                    "frame_count": f.frames,
                    "expected_factor": prior_json(filter.believed),
                    "expected_ei": {
                        "value": f.expected_ei.to_arithmetic(),
                        "low": f.ei_low.to_arithmetic(),
                        "high": f.ei_high.to_arithmetic(),
                    },
                    "expected_half_width_stops": f.expected.half_width_stops,
                    "chance_of_interval": f.expected.chance_of_interval,
                    "step_stops": f.step_stops,
                }),
                None => json!({
                    "filter": name,
                    "edge": filter.believed.name,
                    "image": "none",
                    "reason": filter.believed.reason,
                    "instead": filter.believed.instead,
                }),
            }
        })
        .collect();
    json!({
        "image": if plan.frames.is_empty() { "none" } else { "expected" },
        "frames": frames_json(&plan.frames),
        "filters": filters,
        "mean_half_width_stops": mean_half_width(plan),
        "coverage": Assumptions::COMMON_PRACTICE.coverage,
        "one_time": plan.timing.one_time(),
        "equal_time_pair": plan.timing.equal_time_pair_s(),
        "variants": beside_json(beside),
        "notes": test.notes,
        "cautions": CAUTIONS,
    })
}
