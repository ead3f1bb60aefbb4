//! The densities of every frame at one common scale.
//!
//! Each frame is a strip with its patches' letters at their densities and its
//! verdict. Frames on the density scale are drawn net, over base+fog; frames
//! on a relative scale come in a figure of their own, since the scales share
//! neither zero nor unit.

use crate::axis::{Axis, ceil_to, floor_to};
use crate::characteristic_curve::{MOST_ROWS, counted, has_letter, response_name, verdict_word};
use crate::intervals::extent;
use crate::letters::PatchLetters;
use crate::shown;
use crate::svg::{Anchor, Dash, Ink, Sheet, Style, Svg};
use crate::text_width::{Weight, shorten, wrap};
use findings::{Findings, FrameFinding, PatchFinding, Verdict};
use quantity::Bound;
use record::{PatchRole, Response};

/// What a figure's axis is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Scale {
    Net,
    Own(Response),
}

impl Scale {
    fn value(self, patch: &PatchFinding) -> Option<f64> {
        match self {
            Self::Net => patch.net.map(|d| d.to_density()),
            Self::Own(_) => Some(patch.reading.value()),
        }
    }

    fn axis_name(self) -> &'static str {
        match self {
            Self::Net => "net density (over base+fog)",
            Self::Own(response) => response_name(response),
        }
    }
}

fn scale_of(findings: &Findings, frame: &FrameFinding) -> Option<Scale> {
    if frame.patches.iter().any(|p| p.net.is_some()) {
        return Some(Scale::Net);
    }
    if frame.patches.is_empty() {
        return None;
    }
    let response = findings
        .readings
        .iter()
        .find(|r| r.frame == frame.frame)
        .map_or(Response::Density, |r| r.response);
    Some(Scale::Own(response))
}

/// Draws the densities of all frames, one figure for each kind of scale met.
#[must_use]
pub fn density_bars(findings: &Findings, letters: &PatchLetters, sheet: Sheet) -> Vec<String> {
    let kinds = [
        Scale::Net,
        Scale::Own(Response::Density),
        Scale::Own(Response::RelativeDensity),
        Scale::Own(Response::LogSignal),
    ];
    kinds
        .into_iter()
        .filter_map(|kind| {
            let frames: Vec<_> = findings
                .frames
                .iter()
                .filter(|f| scale_of(findings, f) == Some(kind))
                .collect();
            draw(findings, &frames, kind, letters, sheet)
        })
        .collect()
}

/// Height of a frame's strip, in pixels.
const ROW_PX: f64 = 34.0;

fn draw(
    findings: &Findings,
    frames: &[&FrameFinding],
    scale: Scale,
    letters: &PatchLetters,
    sheet: Sheet,
) -> Option<String> {
    let shown_patches = |frame: &FrameFinding| {
        frame
            .patches
            .iter()
            .filter(|p| p.role != PatchRole::BaseFog)
            .filter_map(|p| scale.value(p).map(|v| (p.clone(), v)))
            .filter(|(_, value)| value.is_finite())
            .collect::<Vec<_>>()
    };
    let values = frames.iter().flat_map(|f| shown_patches(f)).map(|(_, v)| v);
    let (low, high) = extent(values)?;
    let (low, high) = match scale {
        Scale::Net => (low.min(0.0), high.max(findings.criteria.highlight_at_most)),
        Scale::Own(_) => (low, high),
    };
    let judged = |f: &&&FrameFinding| !matches!(f.verdict, Verdict::Control | Verdict::CannotTell);
    let judged = frames.iter().filter(judged).count();
    let printable = frames
        .iter()
        .filter(|f| f.verdict == Verdict::Printable)
        .count();
    let title = match scale {
        Scale::Net if judged == 0 => {
            format!(
                "{}, none judged as a picture",
                counted(frames.len(), "frame")
            )
        }
        Scale::Net => format!(
            "Printable: {printable} of {}",
            counted(judged, "judged frame")
        ),
        Scale::Own(_) => format!(
            "{} on a scale without base+fog",
            counted(frames.len(), "frame")
        ),
    };
    let subtitle = match scale {
        Scale::Net => format!(
            "Net density of each patch, letters as in the pictures; bars are ±\u{a0}1 standard deviation, arrows are limits. Lines: shadows have detail from {}, highlights print up to {}.",
            shown::density(findings.criteria.shadow_at_least),
            shown::density(findings.criteria.highlight_at_most)
        ),
        Scale::Own(_) => "Each patch on the scale of its scan, letters as in the pictures; bars are ±\u{a0}1 standard deviation, arrows are limits. Zero and stretch of this scale are not known: only order and, within one scan, distance have a meaning.".to_owned(),
    };
    let more = frames.len().saturating_sub(MOST_ROWS);
    let frames = &frames[..frames.len() - more];
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading() + 16.0;
    let (left, right) = if sheet.is_narrow() {
        (12.0, 12.0)
    } else {
        (124.0, 104.0)
    };
    // One stop for each tick, unless the scale is longer than any film's.
    let tick = if high - low <= 9.0 {
        0.3
    } else {
        libm::ceil((high - low) / 20.0)
    };
    let axis = Axis {
        low: floor_to(low - 0.05, tick),
        high: ceil_to(high + 0.05, tick),
        from_px: left,
        to_px: sheet.width_px - right,
    };
    let row_px = if sheet.is_narrow() {
        ROW_PX + 18.0
    } else {
        ROW_PX
    };
    let bottom = top + row_px * frames.len() as f64;
    for step in axis.steps(tick) {
        let x = axis.at(step as f64 * tick);
        svg.line((x, top), (x, bottom), Ink::Rule, 0.6, Dash::Solid);
    }
    if scale == Scale::Net {
        let marks = [
            (0.0, "base+fog", Dash::Dashed),
            (findings.criteria.shadow_at_least, "", Dash::Dotted),
            (
                findings.criteria.highlight_at_most,
                "highlight limit",
                Dash::Dotted,
            ),
        ];
        for (at, name, dash) in marks {
            if axis.holds(at) {
                let x = axis.at(at);
                svg.line((x, top - 4.0), (x, bottom), Ink::Line, 1.0, dash);
                let anchor = if at > 0.6 {
                    Anchor::Middle
                } else {
                    Anchor::Start
                };
                svg.text(
                    x - 2.0,
                    top - 7.0,
                    name,
                    Style::SMALL.ink(Ink::Muted).anchor(anchor),
                );
            }
        }
    }
    for (place, frame) in frames.iter().enumerate() {
        let y = top + row_px * (place as f64 + 1.0) - 11.0;
        let word = verdict_word(frame.verdict);
        if sheet.is_narrow() {
            let style = Style::SMALL.semibold().halo();
            let name = shorten(
                frame.frame.as_str(),
                12.0,
                Weight::Semibold,
                sheet.width_px - 110.0,
            );
            svg.text(0.0, y - 22.0, &name, style);
            svg.text(
                style.width(&name) + 8.0,
                y - 22.0,
                word,
                Style::SMALL.halo(),
            );
        } else {
            let name = shorten(frame.frame.as_str(), 12.0, Weight::Semibold, left - 14.0);
            svg.text(0.0, y + 4.0, &name, Style::SMALL.semibold());
            svg.text(
                sheet.width_px,
                y + 4.0,
                word,
                Style::TEXT.anchor(Anchor::End),
            );
        }
        draw_strip(&mut svg, axis, y, &shown_patches(frame), letters);
    }
    svg.line(
        (axis.from_px, bottom),
        (axis.to_px, bottom),
        Ink::Line,
        1.0,
        Dash::Solid,
    );
    for step in axis.steps(tick) {
        let value = step as f64 * tick;
        let x = axis.at(value);
        svg.line((x, bottom), (x, bottom + 5.0), Ink::Line, 1.0, Dash::Solid);
        if step % 2 == 0 {
            let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::Middle);
            svg.text(x, bottom + 18.0, &shown::fixed(value, 1), style);
        }
    }
    svg.text(
        axis.to_px,
        bottom + 36.0,
        scale.axis_name(),
        Style::TEXT.anchor(Anchor::End),
    );
    let mut y = bottom + 44.0;
    if more > 0 {
        let note = format!(
            "{} more on this scale; their numbers stand in readings.csv.",
            counted(more, "frame")
        );
        for line in wrap(&note, 12.0, Weight::Regular, sheet.width_px) {
            y += 15.0;
            svg.text(0.0, y, &line, Style::SMALL.ink(Ink::Muted));
        }
        y += 8.0;
    }
    Some(svg.finish(y))
}

/// Draws one frame's strip along y.
fn draw_strip(
    svg: &mut Svg,
    axis: Axis,
    y: f64,
    patches: &[(PatchFinding, f64)],
    letters: &PatchLetters,
) {
    svg.line(
        (axis.from_px, y),
        (axis.to_px, y),
        Ink::Rule,
        1.0,
        Dash::Solid,
    );
    let mut sorted: Vec<_> = patches.iter().collect();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1));
    if let (Some(first), Some(last)) = (sorted.first(), sorted.last()) {
        let (from, to) = (axis.at(first.1), axis.at(last.1));
        svg.line((from, y), (to, y), Ink::Line, 2.0, Dash::Solid);
    }
    let mut free_from = f64::NEG_INFINITY;
    for (patch, value) in sorted {
        let x = axis.at(*value);
        let sd = patch.reading.standard_uncertainty();
        svg.line((x, y - 5.0), (x, y + 5.0), Ink::Line, 1.6, Dash::Solid);
        match patch.limit {
            None => {
                let (low, high) = (axis.held(value - sd), axis.held(value + sd));
                svg.rectangle(low, y - 2.5, (high - low).max(0.5), 5.0, Ink::Line);
            }
            Some(Bound::AtMost) => svg.arrow((x, y + 7.0), (x - 14.0, y + 7.0), Ink::Line, 1.2),
            Some(Bound::AtLeast) => svg.arrow((x, y + 7.0), (x + 14.0, y + 7.0), Ink::Line, 1.2),
        }
        if !has_letter(patch.role) {
            continue;
        }
        let letter = letters.letter(&patch.patch);
        let style = Style::SMALL.semibold().halo();
        let width = style.width(letter);
        // Letters step aside to the right rather than cover each other.
        let start = (x - width / 2.0).max(free_from);
        svg.text(start, y - 8.0, letter, style);
        free_from = start + width + 2.0;
    }
}
