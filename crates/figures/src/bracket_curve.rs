//! A curve that the frames' own bracket gives, with the readings on it.
//!
//! Drawn like a characteristic curve, equal unit length on both axes; the band lies along
//! the exposures, since that is what the bracket leaves uncertain. At the anchor, where
//! log H is set to zero, it has no width.

use crate::axis::{ceil_to, floor_to};
use crate::characteristic_curve::{LONGEST_AXIS, Limits, TICK, counted, draw_axes, response_name};
use crate::factor_interval::filters_words;
use crate::shown;
use crate::svg::{Dash, Ink, Sheet, Svg};
use findings::{BracketFinding, BracketTold};

/// Draws the curve of a bracket; `None` where there is none, or none to draw.
#[must_use]
pub fn bracket_curve(bracket: &BracketFinding, sheet: Sheet) -> Option<String> {
    let told = bracket.answer.as_ref().ok()?;
    let limits = limits(told)?;
    let mut svg = Svg::new(sheet, &title(bracket), &subtitle(bracket, told));
    let top = svg.heading() + 4.0;
    let names = ("relative log H", response_name(bracket.response));
    let plot = draw_axes(&mut svg, sheet, top, &limits, names);
    let edge = |sign: f64| {
        told.samples
            .iter()
            .map(move |s| (s.log_h + sign * s.log_h_sd, s.value))
    };
    let band: Vec<_> = edge(-1.0)
        .chain(edge(1.0).rev())
        .map(|(log_h, value)| (plot.x.held(log_h), plot.y.held(value)))
        .collect();
    svg.polygon(&band, Ink::Band);
    let line: Vec<_> = told
        .samples
        .iter()
        .map(|s| plot.at(s.log_h, s.value))
        .collect();
    svg.polyline(&line, Ink::Line, 2.0, Dash::Solid);
    let dots: Vec<_> = told
        .readings
        .iter()
        .filter(|r| plot.x.holds(r.log_h) && plot.y.holds(r.value.value()))
        .map(|r| plot.at(r.log_h, r.value.value()))
        .collect();
    svg.dots(&dots, Ink::Muted, 3.5);
    Some(svg.finish(plot.y.from_px + 50.0))
}

fn limits(told: &BracketTold) -> Option<Limits> {
    let places = told
        .samples
        .iter()
        .flat_map(|s| [s.log_h - s.log_h_sd, s.log_h + s.log_h_sd])
        .chain(told.readings.iter().map(|r| r.log_h));
    let values = told.samples.iter().map(|s| s.value);
    let (log_h, value) = (ends(places)?, ends(values)?);
    let drawable =
        log_h.0 < log_h.1 && log_h.1 - log_h.0 < LONGEST_AXIS && value.1 - value.0 < LONGEST_AXIS;
    drawable.then(|| Limits {
        log_h: (floor_to(log_h.0, TICK), ceil_to(log_h.1, TICK)),
        value: (
            floor_to(value.0.min(0.0), TICK),
            ceil_to(value.1 + 0.02, TICK),
        ),
    })
}

fn ends(numbers: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    numbers.fold(None, |ends, n| match ends {
        _ if !n.is_finite() => ends,
        None => Some((n, n)),
        Some((low, high)) => Some((low.min(n), high.max(n))),
    })
}

fn title(bracket: &BracketFinding) -> String {
    let behind = if bracket.filters.is_empty() {
        "without filter".to_owned()
    } else {
        format!("behind {}", filters_words(&bracket.filters))
    };
    format!(
        "{} in {}: curve from its own bracket {behind}, no step tablet",
        bracket.film, bracket.process
    )
}

fn subtitle(bracket: &BracketFinding, told: &BracketTold) -> String {
    format!(
        "From {} of {}, which scatter by {} about it; the band is ±\u{a0}1 standard deviation of log H against its zero. \
         Only distances along log H have a meaning.",
        counted(told.used, "reading"),
        counted(bracket.frames.len(), "frame"),
        shown::fixed(told.reading_sd, 3),
    )
}
