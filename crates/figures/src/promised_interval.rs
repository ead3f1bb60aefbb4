//! What plans promise: how wide the interval of the factor will be.
//!
//! All bars lie about the expected factor on one axis that grows in whole stops only,
//! so that a bar is seen to shrink while sheets are added.

use crate::axis::Axis;
use crate::intervals::{Row, draw_rows, stop_ticks};
use crate::shown;
use crate::svg::{Sheet, Svg};
use quantity::Stops;

/// How far the axis reaches at least, to either side. \[stops\]
const LEAST_STOPS: f64 = 1.0;

/// One plan and what it promises.
#[derive(Clone, Debug, PartialEq)]
pub struct Promise {
    /// What the plan takes: "8 sheets".
    pub what: String,
    /// Half the width of the interval.
    pub half_width: Stops,
}

/// Draws the promises of some plans, the one that is asked for first.
#[must_use]
pub fn promised_intervals(promises: &[Promise], coverage: f64, sheet: Sheet) -> Option<String> {
    let first = promises.first()?;
    let width = |of: &Promise| format!("± {} stops", shown::fixed(of.half_width.to_stops(), 2));
    let rows: Vec<Row> = promises
        .iter()
        .map(|of| Row {
            label: of.what.clone(),
            numbers: width(of),
            low: -of.half_width.to_stops(),
            value: 0.0,
            high: of.half_width.to_stops(),
            bound: None,
        })
        .collect();
    let reach = promises
        .iter()
        .map(|of| libm::ceil(of.half_width.to_stops()))
        .fold(LEAST_STOPS, f64::max);
    let title = format!("This plan tells the factor to {}", width(first));
    let subtitle = format!(
        "Expected intervals ({} %) about the expected factor, if all goes well.",
        shown::fixed(100.0 * coverage, 0)
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading();
    let axis = Axis {
        low: -reach,
        high: reach,
        from_px: 12.0,
        to_px: sheet.width_px - 12.0,
    };
    let bottom = draw_rows(
        &mut svg,
        sheet,
        top,
        &rows,
        axis,
        &stop_ticks(axis),
        "stops from the expected factor",
    );
    Some(svg.finish(bottom))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn promise(what: &str, stops: f64) -> Promise {
        Promise {
            what: what.to_owned(),
            half_width: Stops::new(stops).unwrap(),
        }
    }

    #[test]
    fn the_plan_asked_for_is_the_title_and_no_plan_is_no_figure() {
        let drawn = promised_intervals(
            &[promise("8 sheets", 0.317), promise("4 sheets", 0.5)],
            0.9,
            Sheet::PHONE,
        )
        .unwrap();
        assert!(drawn.contains("This plan tells the factor to ± 0.32 stops"));
        assert!(drawn.contains(">8 sheets<") && drawn.contains("± 0.50 stops"));
        assert!(drawn.contains("(90 %)"));
        assert_eq!(promised_intervals(&[], 0.9, Sheet::PHONE), None);
    }

    #[test]
    fn the_axis_reaches_as_far_as_the_widest_interval() {
        let narrow = promised_intervals(&[promise("a", 0.2)], 0.9, Sheet::PHONE).unwrap();
        let wide = promised_intervals(&[promise("a", 2.4)], 0.9, Sheet::PHONE).unwrap();
        // By construction the axis runs to 1 and to 3 stops.
        assert!(
            narrow.contains(">1<") && !narrow.contains(">2<"),
            "{narrow}"
        );
        assert!(wide.contains(">3<"), "{wide}");
    }
}
