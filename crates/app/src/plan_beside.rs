//! A cheaper and a surer plan beside the one asked for.

use findings::{
    Assumptions, FEWEST_SHEETS, FilterAsked, MOST_SHEETS, PlanAnswer, PlanRequest, plan_filters,
    plan_test,
};
use serde_json::{Value, json};

/// A plan beside the one asked for.
pub(crate) struct Beside {
    kind: &'static str,
    what: String,
    sheets: usize,
    /// Mean over the filters.
    half_width_stops: f64,
    chance: f64,
}

/// Plans with half the sheets, and with two more and a measured shutter; `filters` is
/// empty for a request of a single one.
pub(crate) fn beside(request: &PlanRequest, filters: &[FilterAsked]) -> Vec<Beside> {
    let fewest = FEWEST_SHEETS.max(filters.len() + 1);
    let mut found = vec![];
    if request.sheets > fewest {
        let sheets = request.sheets.div_ceil(2).max(fewest);
        let cheaper = PlanRequest {
            sheets,
            ..request.clone()
        };
        found.extend(look(
            "cheaper",
            format!("{sheets} sheets"),
            &cheaper,
            filters,
        ));
    }
    let sheets = (request.sheets + 2).min(MOST_SHEETS);
    if sheets == request.sheets && request.measured_shutter {
        return found;
    }
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
    found.extend(look("surer", what, &surer, filters));
    found
}

/// What a plan would bring; `None` when there is none.
fn look(
    kind: &'static str,
    what: String,
    request: &PlanRequest,
    filters: &[FilterAsked],
) -> Option<Beside> {
    let common = Assumptions::COMMON_PRACTICE;
    let expected = if filters.is_empty() {
        match plan_test(request, &common) {
            Ok(PlanAnswer::Planned(plan)) => vec![plan.expected],
            _ => vec![],
        }
    } else {
        let plan = plan_filters(request, filters, &common).ok()?;
        plan.filters.iter().map(|f| f.expected).collect()
    };
    let count = expected.len() as f64;
    (!expected.is_empty()).then(|| Beside {
        kind,
        what,
        sheets: request.sheets,
        half_width_stops: expected.iter().map(|e| e.half_width_stops).sum::<f64>() / count,
        chance: expected.iter().map(|e| e.chance_of_interval).sum::<f64>() / count,
    })
}

/// Lines under a heading of their own; none when there is nothing beside.
pub(crate) fn beside_lines(beside: &[Beside]) -> Vec<String> {
    if beside.is_empty() {
        return vec![];
    }
    let mut lines = vec![String::new(), "Beside it".to_owned()];
    lines.extend(beside.iter().map(|b| {
        format!(
            "  {}: {}: ± {:.2} stops, an interval in {:.0} % of cases",
            b.kind,
            b.what,
            b.half_width_stops,
            100.0 * b.chance
        )
    }));
    lines
}

pub(crate) fn beside_json(beside: &[Beside]) -> Vec<Value> {
    beside
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
        .collect()
}
