//! How densities of two frames go together: of one subject, pixel by pixel.

use crate::axis::{Axis, ceil_to};
use crate::shown;
use crate::svg::{Anchor, Dash, Ink, Sheet, Style, Svg};
use crate::text_width::{Weight, wrap};

/// Distance of ticks: one stop of a gradient of 1. \[density\]
const TICK: f64 = 0.3;

/// Fields of a joint histogram and its words.
#[derive(Clone, Debug, PartialEq)]
pub struct JointFields<'a> {
    /// What is seen.
    pub title: String,
    /// What was plotted, from how much.
    pub subtitle: String,
    /// What the horizontal axis shows.
    pub first: String,
    /// What the vertical axis shows.
    pub second: String,
    /// Width of a field. \[density\]
    pub step: f64,
    /// Fields along each axis, from density 0.
    pub side: usize,
    /// Pixels of each field: second × first.
    pub counts: &'a [u32],
}

/// Draws the fields, darker where more pixels fall: ink by the logarithm of their
/// number. `None` when no pixel falls into any.
#[must_use]
pub fn joint_histogram(fields: &JointFields<'_>, sheet: Sheet) -> Option<String> {
    let most = *fields.counts.iter().max()?;
    if most == 0 || fields.counts.len() != fields.side * fields.side {
        return None;
    }
    let filled = |place: usize| fields.counts[place] > 0;
    let reach = (0..fields.counts.len())
        .filter(|p| filled(*p))
        .map(|p| (p % fields.side).max(p / fields.side) + 1)
        .max()?;
    let high = ceil_to(fields.step * reach as f64, TICK);
    let mut svg = Svg::new(sheet, &fields.title, &fields.subtitle);
    let top = svg.heading() + 4.0;
    let left = 58.0;
    // One unit is as long on both axes.
    let side = (sheet.width_px - left - 8.0).min(460.0);
    let x_axis = Axis {
        low: 0.0,
        high,
        from_px: left,
        to_px: left + side,
    };
    let y_axis = Axis {
        low: 0.0,
        high,
        from_px: top + side,
        to_px: top,
    };
    for tick in x_axis.steps(TICK) {
        let value = tick as f64 * TICK;
        let (x, y) = (x_axis.at(value), y_axis.at(value));
        svg.line((x, top), (x, top + side), Ink::Rule, 1.0, Dash::Solid);
        svg.line((left, y), (left + side, y), Ink::Rule, 1.0, Dash::Solid);
        let text = shown::fixed(value, 1);
        let style = Style::SMALL.ink(Ink::Muted);
        svg.text(x, top + side + 16.0, &text, style.anchor(Anchor::Middle));
        svg.text(left - 8.0, y + 4.0, &text, style.anchor(Anchor::End));
    }
    let whole = libm::log(1.0 + f64::from(most));
    for (place, count) in fields.counts.iter().enumerate() {
        if *count == 0 {
            continue;
        }
        let (column, row) = (place % fields.side, place / fields.side);
        let (d1, d2) = (fields.step * column as f64, fields.step * row as f64);
        let (x, y) = (x_axis.at(d1), y_axis.at(d2 + fields.step));
        let size = (x_axis.at(d1 + fields.step) - x, y_axis.at(d2) - y);
        let ink = libm::log(1.0 + f64::from(*count)) / whole;
        svg.faint_rectangle((x, y), size, 0.08 + 0.92 * ink);
    }
    svg.line(
        (x_axis.at(0.0), y_axis.at(0.0)),
        (x_axis.at(high), y_axis.at(high)),
        Ink::Accent,
        1.0,
        Dash::Dashed,
    );
    svg.text(
        x_axis.at(high) - 6.0,
        y_axis.at(high) + 22.0,
        "equal densities",
        Style::SMALL.ink(Ink::Accent).anchor(Anchor::End).halo(),
    );
    svg.text(
        left + 0.5 * side,
        top + side + 36.0,
        &fields.first,
        Style::TEXT.anchor(Anchor::Middle),
    );
    svg.text_upward(14.0, top + 0.5 * side, &fields.second, Style::TEXT);
    let mut y = top + side + 56.0;
    let words = format!(
        "full ink: {most} pixels in a field of {0} × {0}; ink follows the logarithm",
        shown::fixed(fields.step, 2)
    );
    for line in wrap(&words, 12.0, Weight::Regular, sheet.width_px - left) {
        svg.text(left, y, &line, Style::SMALL.ink(Ink::Muted));
        y += 15.0;
    }
    Some(svg.finish(y - 5.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_filled_fields_are_drawn() {
        let mut counts = vec![0; 100];
        counts[32] = 1000;
        counts[55] = 3;
        let fields = JointFields {
            title: "t".to_owned(),
            subtitle: "s".to_owned(),
            first: "a".to_owned(),
            second: "b".to_owned(),
            step: 0.3,
            side: 10,
            counts: &counts,
        };
        let svg = joint_histogram(&fields, Sheet::FILE).unwrap();
        assert_eq!(svg.matches("fill-opacity").count(), 2);
        assert!(svg.contains("fill-opacity=\"1\""));
        assert_eq!(
            joint_histogram(
                &JointFields {
                    counts: &[0; 100],
                    ..fields
                },
                Sheet::FILE
            ),
            None
        );
    }
}
