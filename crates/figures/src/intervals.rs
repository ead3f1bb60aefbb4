//! Rows of intervals along one axis: the form that factors, EIs and the Wood
//! effect share.
//!
//! A bar from low to high with a tick at the value and the numbers beside it;
//! a one-sided bound is an arrow from the end that holds, never a bar.

use crate::axis::Axis;
use crate::svg::{Anchor, Dash, Ink, Sheet, Style, Svg};
use crate::text_width::{Weight, shorten, wrap};
use quantity::Bound;

/// How many stops from its value an end is still drawn.
const FARTHEST_STOPS: f64 = 10.0;

/// One row.
pub(crate) struct Row {
    pub(crate) label: String,
    pub(crate) numbers: String,
    pub(crate) low: f64,
    pub(crate) value: f64,
    pub(crate) high: f64,
    pub(crate) bound: Option<Bound>,
}

impl Row {
    /// Gives the numbers that the axis must reach: one for a bound, three
    /// otherwise. An end that tells next to nothing runs off the axis.
    pub(crate) fn ends(&self) -> Vec<f64> {
        match self.bound {
            None => vec![
                self.low.max(self.value - FARTHEST_STOPS),
                self.value,
                self.high.min(self.value + FARTHEST_STOPS),
            ],
            Some(Bound::AtLeast) => vec![self.low],
            Some(Bound::AtMost) => vec![self.high],
        }
    }
}

/// Gives the smallest and largest of some numbers; `None` without any.
pub(crate) fn extent(numbers: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    numbers.filter(|v| v.is_finite()).fold(None, |seen, v| {
        Some(seen.map_or((v, v), |(low, high): (f64, f64)| (low.min(v), high.max(v))))
    })
}

/// A tick of an axis: where, and its label if it has one.
pub(crate) struct Tick {
    pub(crate) at: f64,
    pub(crate) label: Option<String>,
    /// Whether it is drawn darker across the rows.
    pub(crate) through: bool,
}

/// Draws rows over an axis and gives the y below the axis name.
pub(crate) fn draw_rows(
    svg: &mut Svg,
    sheet: Sheet,
    top: f64,
    rows: &[Row],
    axis: Axis,
    ticks: &[Tick],
    axis_name: &str,
) -> f64 {
    // Text first, since its height says where the axis ends.
    let mut laid = Vec::new();
    let mut y = top;
    for row in rows {
        let numbers = Style::TEXT.semibold();
        let room = sheet.width_px - numbers.width(&row.numbers) - 16.0;
        let beside = Style::TEXT.width(&row.label) <= room;
        let label_lines = if beside {
            vec![row.label.clone()]
        } else {
            wrap(&row.label, 14.0, Weight::Regular, sheet.width_px)
        };
        let begin = y;
        y += 18.0 * label_lines.len() as f64;
        if !beside {
            y += 18.0;
        }
        laid.push((begin, label_lines, beside, y + 10.0));
        y += 34.0;
    }
    let bottom = y - 8.0;
    for tick in ticks {
        let x = axis.at(tick.at);
        // Zero inside the axis parts gain from loss, so it is drawn darker.
        let ink = if tick.through { Ink::Line } else { Ink::Rule };
        if tick.label.is_some() {
            for (_, _, _, bar) in &laid {
                svg.line((x, bar - 9.0), (x, bar + 9.0), ink, 0.8, Dash::Solid);
            }
        }
    }
    for (row, (begin, lines, beside, bar)) in rows.iter().zip(&laid) {
        for (place, line) in lines.iter().enumerate() {
            svg.text(0.0, begin + 14.0 + 18.0 * place as f64, line, Style::TEXT);
        }
        let numbers = Style::TEXT.semibold();
        if *beside {
            svg.text(
                sheet.width_px,
                begin + 14.0,
                &row.numbers,
                numbers.anchor(Anchor::End),
            );
        } else {
            let text = shorten(&row.numbers, 14.0, Weight::Semibold, sheet.width_px);
            svg.text(
                0.0,
                begin + 14.0 + 18.0 * lines.len() as f64,
                &text,
                numbers,
            );
        }
        draw_bar(svg, axis, row, *bar);
    }
    draw_ticks(svg, sheet, axis, ticks, bottom, axis_name);
    bottom + 44.0
}

/// Draws ticks, their labels held within the sheet, and the name of the axis.
pub(crate) fn draw_ticks(
    svg: &mut Svg,
    sheet: Sheet,
    axis: Axis,
    ticks: &[Tick],
    y: f64,
    axis_name: &str,
) {
    svg.line(
        (axis.from_px, y),
        (axis.to_px, y),
        Ink::Line,
        1.0,
        Dash::Solid,
    );
    for tick in ticks {
        let x = axis.at(tick.at);
        let length = if tick.label.is_some() { 6.0 } else { 4.0 };
        svg.line((x, y), (x, y + length), Ink::Line, 1.0, Dash::Solid);
        if let Some(label) = &tick.label {
            let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::Middle);
            let half = style.width(label) / 2.0;
            let inward = x.max(half).min(sheet.width_px - half);
            svg.text(inward, y + 19.0, label, style);
        }
    }
    svg.text(
        sheet.width_px,
        y + 36.0,
        axis_name,
        Style::TEXT.anchor(Anchor::End),
    );
}

/// Draws one bar or arrow.
fn draw_bar(svg: &mut Svg, axis: Axis, row: &Row, y: f64) {
    match row.bound {
        None => {
            let (low, high) = (axis.held(row.low), axis.held(row.high));
            svg.rectangle(low, y - 3.5, (high - low).max(1.0), 7.0, Ink::Band);
            for end in [row.low, row.high].into_iter().filter(|e| axis.holds(*e)) {
                let end = axis.at(end);
                svg.line((end, y - 5.0), (end, y + 5.0), Ink::Line, 1.0, Dash::Solid);
            }
            svg.line((low, y), (high, y), Ink::Line, 1.0, Dash::Solid);
            let value = axis.held(row.value);
            svg.line(
                (value, y - 8.0),
                (value, y + 8.0),
                Ink::Accent,
                3.0,
                Dash::Solid,
            );
        }
        Some(bound) => {
            let (from, to) = match bound {
                Bound::AtLeast => (axis.held(row.low), axis.to_px),
                Bound::AtMost => (axis.held(row.high), axis.from_px),
            };
            svg.line(
                (from, y - 8.0),
                (from, y + 8.0),
                Ink::Accent,
                2.0,
                Dash::Solid,
            );
            svg.arrow((from, y), (to, y), Ink::Accent, 2.0);
        }
    }
}

/// Gives ticks at whole stops over an axis, labelled so that labels stay apart.
pub(crate) fn stop_ticks(axis: Axis) -> Vec<Tick> {
    let px_per_stop = (axis.to_px - axis.from_px) / (axis.high - axis.low);
    let every = [1_i64, 2, 5, 10, 20]
        .into_iter()
        // 26 px: a two-digit label with sign and a gap.
        .find(|step| *step as f64 * px_per_stop >= 26.0)
        .unwrap_or(50);
    axis.steps(1.0)
        .map(|stop| Tick {
            at: stop as f64,
            label: (stop % every == 0).then(|| crate::shown::fixed(stop as f64, 0)),
            through: stop == 0 && axis.low < 0.0,
        })
        .collect()
}
