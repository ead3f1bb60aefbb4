//! What a plan promises, drawn: its own interval beside those of a cheaper and a surer one.

use crate::plan::Planned;
use figures::{Promise, Sheet, promised_intervals};
use quantity::Stops;
use serde_json::Value;

/// Draws the expected interval of a plan and of those beside it; `None` where no image
/// is expected.
#[must_use]
pub fn promise_figure(planned: &Planned, sheet: Sheet) -> Option<String> {
    let json = &planned.json;
    let stops = |value: &Value| Stops::new(value.as_f64()?).ok();
    // Several filters share the sheets: what is drawn is their mean.
    let own = json
        .get("expected_half_width_stops")
        .or_else(|| json.get("mean_half_width_stops"))
        .and_then(stops)?;
    let sheets = json.get("frames").and_then(Value::as_array)?.len();
    let mean = json.get("mean_half_width_stops").is_some();
    let mut promises = vec![Promise {
        what: format!(
            "this plan, {sheets} sheets{}",
            if mean { ", mean of the filters" } else { "" }
        ),
        half_width: own,
    }];
    let beside = json.get("variants").and_then(Value::as_array);
    promises.extend(beside.into_iter().flatten().filter_map(|variant| {
        let text = |key: &str| variant.get(key).and_then(Value::as_str);
        Some(Promise {
            what: format!("{}: {}", text("kind")?, text("what")?),
            half_width: variant.get("half_width_stops").and_then(stops)?,
        })
    }));
    let coverage = json.get("coverage").and_then(Value::as_f64)?;
    promised_intervals(&promises, coverage, sheet)
}
