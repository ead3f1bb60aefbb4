//! Filter factors and EIs with their intervals, and the bracket of frames
//! behind one filter.
//!
//! Factors lie on a stops axis, EIs on an axis of third-stop numbers, where
//! one stop is as long as on the other.

use crate::axis::Axis;
use crate::characteristic_curve::{MOST_ROWS, counted, verdict_word};
use crate::intervals::{Row, Tick, draw_rows, draw_ticks, extent, stop_ticks};
use crate::shown;
use crate::svg::{Anchor, Dash, Fill, Ink, Shape, Sheet, Sign, Style, Svg};
use crate::text_width::{Weight, shorten};
use findings::{FactorFinding, Findings};
use quantity::{Bound, ExposureIndex, Interval};
use record::Id;

/// Writes filters in their order, joined by `+`; `no filter` for none.
#[must_use]
pub fn filters_words(filters: &[Id]) -> String {
    if filters.is_empty() {
        return "no filter".to_owned();
    }
    let names: Vec<_> = filters.iter().map(Id::as_str).collect();
    names.join(" + ")
}

fn label(factor: &FactorFinding) -> String {
    format!(
        "{} · {} · {}",
        factor.film,
        filters_words(&factor.filters),
        factor.light
    )
}

/// Joins up to four short answers and counts the rest.
pub(crate) fn several(answers: impl Iterator<Item = String>) -> String {
    let all: Vec<_> = answers.collect();
    let shown = all.len().min(4);
    let joined = all[..shown].join(", ");
    if all.len() > shown {
        format!("{joined} and {} more", all.len() - shown)
    } else {
        joined
    }
}

/// Writes what an answer holds for: `behind r715 in sun`.
fn place_words(factor: &FactorFinding) -> String {
    format!(
        "behind {} in {}",
        filters_words(&factor.filters),
        factor.light
    )
}

/// Writes `for pan behind r715 in sun`; the film is left out when the answer
/// before it was of the same one.
fn holds_for(factor: &FactorFinding, before: Option<&Id>) -> String {
    let place = place_words(factor);
    if before == Some(&factor.film) {
        place
    } else {
        format!("for {} {place}", factor.film)
    }
}

fn coverage_words(coverage: f64) -> String {
    format!("{}\u{a0}%", shown::fixed(100.0 * coverage, 0))
}

/// Gives the sentence that says what one factor is.
#[must_use]
pub fn factor_sentence(factor: &FactorFinding) -> String {
    let about = format!("{} {}", factor.film, place_words(factor));
    match factor.bound {
        None => format!("{} stops more: {about}", shown::stops(factor.stops.value)),
        Some(Bound::AtLeast) => format!(
            "At least {} stops more: {about}",
            shown::stops(factor.stops.low)
        ),
        Some(Bound::AtMost) => format!(
            "At most {} stops more: {about}",
            shown::stops(factor.stops.high)
        ),
    }
}

/// Draws every filter factor on one stops axis; `None` without factors.
#[must_use]
pub fn factor_intervals(findings: &Findings, sheet: Sheet) -> Option<String> {
    let rows: Vec<_> = findings
        .factors
        .iter()
        .map(|f| Row {
            label: label(f),
            numbers: format!(
                "{} · {} stops",
                shown::short_interval(f.factor, f.bound, shown::factor),
                shown::interval(f.stops, f.bound, shown::stops)
            ),
            low: f.stops.low.to_stops(),
            value: f.stops.value.to_stops(),
            high: f.stops.high.to_stops(),
            bound: f.bound,
        })
        .collect();
    let (low, high) = extent(rows.iter().flat_map(Row::ends).chain([0.0]))?;
    let first = findings.factors.first()?;
    let frames: usize = findings
        .factors
        .iter()
        .map(|f| f.frames_used + f.frames_as_limits)
        .sum();
    let title = if let [only] = findings.factors.as_slice() {
        factor_sentence(only)
    } else {
        several(findings.factors.iter().enumerate().map(|(place, f)| {
            let before = place.checked_sub(1).map(|p| &findings.factors[p].film);
            format!(
                "{} stops {}",
                shown::short_interval(f.stops, f.bound, shown::stops),
                holds_for(f, before)
            )
        }))
    };
    let subtitle = format!(
        "Filter factor in stops, from {}. Bars: {} intervals with a tick at the value; arrows: bounds.",
        counted(frames, "filtered frame"),
        coverage_words(first.stops.coverage)
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading();
    let axis = Axis {
        low: libm::floor(low),
        high: libm::ceil(high + 0.5),
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
        "filter factor (stops)",
    );
    Some(svg.finish(bottom))
}

/// log2 of EI over 100, the scale of EI axes.
fn ei_stops(ei: f64) -> f64 {
    libm::log2(ei / 100.0)
}

fn ei_axis(low: f64, high: f64, sheet: Sheet, left: f64) -> (Axis, Vec<Tick>) {
    let axis = Axis {
        low: libm::floor(low - 0.2),
        high: libm::ceil(high + 0.2),
        from_px: left,
        to_px: sheet.width_px - 12.0,
    };
    let px_per_stop = (axis.to_px - axis.from_px) / (axis.high - axis.low);
    // 34 px: a label of four digits and a gap.
    let every = [1_i64, 2, 3, 4]
        .into_iter()
        .find(|e| *e as f64 * px_per_stop >= 34.0)
        .unwrap_or(6);
    let ticks = axis
        .steps(1.0 / 3.0)
        .map(|third| {
            let label = (third % (3 * every) == 0)
                .then(|| {
                    ExposureIndex::from_arithmetic(100.0 * libm::exp2(third as f64 / 3.0))
                        .ok()
                        .map(shown::ei)
                })
                .flatten();
            Tick {
                at: third as f64 / 3.0,
                label,
                through: false,
            }
        })
        .collect();
    (axis, ticks)
}

/// Draws every EI, without and with filter, on one axis; `None` without EIs.
#[must_use]
pub fn ei_intervals(findings: &Findings, sheet: Sheet) -> Option<String> {
    let mut rows = Vec::new();
    let mut answers = Vec::new();
    let mut row = |label: String, ei: Interval<ExposureIndex>, bound, about: String| {
        answers.push(format!(
            "EI {} {about}",
            shown::short_ei_interval(ei, bound)
        ));
        rows.push(Row {
            label,
            numbers: format!("EI {}", shown::ei_interval(ei, bound)),
            low: ei_stops(ei.low.to_arithmetic()),
            value: ei_stops(ei.value.to_arithmetic()),
            high: ei_stops(ei.high.to_arithmetic()),
            bound,
        });
    };
    let mut coverage = None;
    let mut before = None;
    for speed in &findings.speeds {
        coverage = coverage.or(Some(speed.ei.coverage));
        let about = if before == Some(&speed.film) {
            format!("without filter in {}", speed.process)
        } else {
            format!("for {} without filter", speed.film)
        };
        before = Some(&speed.film);
        row(
            format!("{} · no filter · {}", speed.film, speed.process),
            speed.ei,
            None,
            about,
        );
    }
    for factor in &findings.factors {
        if let Some(ei) = factor.ei {
            coverage = coverage.or(Some(ei.coverage));
            let about = holds_for(factor, before);
            before = Some(&factor.film);
            row(label(factor), ei, shown::opposite(factor.bound), about);
        }
    }
    let (low, high) = extent(rows.iter().flat_map(Row::ends))?;
    let subtitle = format!(
        "EI to set on a meter that reads without the filter, nearest third-stop numbers. Bars: {} intervals with a tick at the value; arrows: bounds.",
        coverage_words(coverage.unwrap_or(findings.coverage))
    );
    let title = several(answers.into_iter());
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading();
    let (axis, ticks) = ei_axis(low, high, sheet, 12.0);
    let bottom = draw_rows(
        &mut svg,
        sheet,
        top,
        &rows,
        axis,
        &ticks,
        "EI (third stops)",
    );
    Some(svg.finish(bottom))
}

/// Draws the frames behind one filter along an EI axis with their verdicts,
/// and the answer across them.
///
/// `None` when no frame of the bracket has an effective EI.
#[must_use]
pub fn bracket(findings: &Findings, factor: &FactorFinding, sheet: Sheet) -> Option<String> {
    let frames: Vec<_> = findings
        .frames
        .iter()
        .filter(|f| {
            f.film == factor.film
                && f.filters == factor.filters
                && f.light.as_ref() == Some(&factor.light)
        })
        .collect();
    let mut placed: Vec<_> = frames
        .iter()
        .filter_map(|f| f.effective_ei.map(|ei| (*f, ei_stops(ei.to_arithmetic()))))
        .collect();
    placed.sort_by(|a, b| b.1.total_cmp(&a.1));
    let bound = shown::opposite(factor.bound);
    let answer = factor.ei.map(|ei| {
        let at = |e: ExposureIndex| ei_stops(e.to_arithmetic());
        (at(ei.low), at(ei.value), at(ei.high), ei)
    });
    let ends = answer.iter().flat_map(|(low, value, high, _)| match bound {
        None => vec![*low, *value, *high],
        Some(Bound::AtLeast) => vec![*low],
        Some(Bound::AtMost) => vec![*high],
    });
    if placed.is_empty() {
        return None;
    }
    let about = format!("{} {}", factor.film, place_words(factor));
    let title = match &answer {
        Some((_, _, _, ei)) => format!("EI {}: {about}", shown::short_ei_interval(*ei, bound)),
        None => format!("The bracket of {about}"),
    };
    let missing = frames.len() - placed.len();
    let mut more = String::new();
    if missing > 0 {
        more.push_str(&format!(
            " {} without a light reading left out.",
            counted(missing, "frame")
        ));
    }
    let found = placed.len();
    if found > MOST_ROWS {
        // Around the answer, or the middle without one, the bracket tells most.
        let middle = answer.map_or(placed[found / 2].1, |(_, value, _, _)| value);
        placed.sort_by(|a, b| (a.1 - middle).abs().total_cmp(&(b.1 - middle).abs()));
        placed.truncate(MOST_ROWS);
        placed.sort_by(|a, b| b.1.total_cmp(&a.1));
        more.push_str(&format!(
            " Drawn: the {MOST_ROWS} nearest to the answer; all stand in the table of frames."
        ));
    }
    let (low, high) = extent(placed.iter().map(|p| p.1).chain(ends))?;
    let subtitle = format!(
        "{} at the EI that each one's exposure stands for, filter included; more exposure to the left. Grey: the {} interval of the answer.{more}",
        counted(found, "frame"),
        coverage_words(factor.ei.map_or(findings.coverage, |ei| ei.coverage))
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading();
    let left = if sheet.is_narrow() { 96.0 } else { 124.0 };
    let (axis, ticks) = ei_axis(low, high, sheet, left);
    let row_px = 24.0;
    let bottom = top + row_px * placed.len() as f64 + 8.0;
    if let Some((low, value, high, _)) = answer {
        match bound {
            None => {
                let (a, b) = (axis.held(low), axis.held(high));
                svg.rectangle(a, top, b - a, bottom - top, Ink::Band);
                let x = axis.held(value);
                svg.line((x, top), (x, bottom), Ink::Accent, 2.0, Dash::Solid);
            }
            Some(side) => {
                let (from, to) = match side {
                    Bound::AtLeast => (axis.held(low), axis.to_px),
                    Bound::AtMost => (axis.held(high), axis.from_px),
                };
                svg.line((from, top), (from, bottom), Ink::Accent, 2.0, Dash::Solid);
                svg.arrow((from, top + 4.0), (to, top + 4.0), Ink::Accent, 2.0);
            }
        }
    }
    for (place, (frame, at)) in placed.iter().enumerate() {
        let y = top + row_px * (place as f64 + 0.5) + 6.0;
        let name = shorten(frame.frame.as_str(), 12.0, Weight::Semibold, left - 14.0);
        svg.text(0.0, y + 4.0, &name, Style::SMALL.semibold());
        svg.line(
            (axis.from_px, y),
            (axis.to_px, y),
            Ink::Rule,
            0.6,
            Dash::Solid,
        );
        let x = axis.at(*at);
        let sign = Sign {
            shape: Shape::Circle,
            fill: Fill::Open,
        };
        svg.marker((x, y), sign, Ink::Line);
        let word = verdict_word(frame.verdict);
        let style = Style::SMALL;
        // Inward: to the left of the sign when the right has no room.
        if x + 10.0 + style.width(word) < sheet.width_px {
            svg.text(x + 9.0, y + 4.0, word, style);
        } else {
            svg.text(x - 9.0, y + 4.0, word, style.anchor(Anchor::End));
        }
    }
    let axis_name = "EI of the frame, filter included (third stops)";
    draw_ticks(&mut svg, sheet, axis, &ticks, bottom, axis_name);
    Some(svg.finish(bottom + 44.0))
}
