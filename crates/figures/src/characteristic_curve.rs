//! The characteristic curve as the trade draws it.
//!
//! Equal unit length on both axes, so that slope reads by eye (45 degrees is a
//! gradient of 1); ticks every 0.3 (one stop), labels every 0.6; base+fog
//! dashed; speed point m and point n marked. Readings stand where the fit puts
//! them; letters hang only on the frames that are spoken of, the anchor and the
//! best of the bracket. Below the plot each frame has a row of its own with its
//! sign and all its letters, so no legend is needed.
//!
//! Source of the form: common practice of maker's sheets (equal units, m at
//! 0.10 over base+fog, n 1.30 to the right), after ISO 6, from memory.

use crate::axis::{Axis, ceil_to, floor_to};
use crate::letters::PatchLetters;
use crate::places::{Block, Places};
use crate::shown;
use crate::svg::{Anchor, Dash, Fill, Ink, Shape, Sheet, Sign, Style, Svg};
use crate::text_width::{Weight, shorten};
use findings::{CurveFinding, CurveSample, Findings, FrameFinding, PatchFinding, Verdict};
use quantity::Bound;
use record::{FrameRole, PatchRole, Response};
use std::collections::BTreeSet;

/// One stop as a difference of log H, as the trade rounds it.
pub(crate) const TICK: f64 = 0.3;
/// Net density at the speed point.
const SPEED_DENSITY: f64 = 0.10;
/// How far from the sampled curve a reading may lie and still be drawn.
const REACH: f64 = 0.9;
/// Longest axis that is drawn; 40 in log units is far beyond any film and scan.
pub(crate) const LONGEST_AXIS: f64 = 40.0;
/// Height of a frame's row, in pixels.
const ROW_PX: f64 = 20.0;
/// Most frames that are drawn one by one; more would be no figure but a list.
pub(crate) const MOST_ROWS: usize = 40;
/// Most letters that hang on the curve without hiding it.
const MOST_LETTERS: usize = 12;

/// Gives the name of the exposure axis, never left to be guessed.
fn exposure_axis_name(curve: &CurveFinding) -> &'static str {
    if curve.absolute_exposure {
        "log H (lux seconds)"
    } else {
        "relative log H"
    }
}

/// Gives the name of the vertical axis.
pub(crate) fn response_name(response: Response) -> &'static str {
    match response {
        Response::Density => "density (gross)",
        Response::RelativeDensity => "relative density",
        Response::LogSignal => "log signal",
    }
}

/// Gives the samples that can be drawn.
fn samples(curve: &CurveFinding) -> impl DoubleEndedIterator<Item = &CurveSample> + Clone {
    curve.samples.iter().filter(|s| {
        s.log_h.is_finite() && s.value.is_finite() && s.standard_uncertainty.is_finite()
    })
}

/// The limits of a plot, in the units of its axes.
pub(crate) struct Limits {
    pub(crate) log_h: (f64, f64),
    pub(crate) value: (f64, f64),
}

fn limits<'a>(
    curves: impl Iterator<Item = &'a CurveFinding>,
    readings: &[(f64, f64)],
) -> Option<Limits> {
    let mut log_h = (f64::INFINITY, f64::NEG_INFINITY);
    let mut value = (f64::INFINITY, f64::NEG_INFINITY);
    let mut starts_at_zero = true;
    for curve in curves {
        for sample in samples(curve) {
            log_h = (log_h.0.min(sample.log_h), log_h.1.max(sample.log_h));
            let sd = sample.standard_uncertainty;
            value = (
                value.0.min(sample.value - sd),
                value.1.max(sample.value + sd),
            );
        }
        starts_at_zero &= curve.response == Response::Density;
    }
    let drawable =
        log_h.0 < log_h.1 && log_h.1 - log_h.0 < LONGEST_AXIS && value.1 - value.0 < LONGEST_AXIS;
    if !drawable {
        return None;
    }
    for (at, reading) in readings {
        if *at > log_h.0 - REACH && *at < log_h.1 + REACH {
            log_h = (log_h.0.min(*at), log_h.1.max(*at));
            value = (value.0.min(*reading), value.1.max(*reading));
        }
    }
    let floor = if starts_at_zero {
        value.0.min(0.0)
    } else {
        value.0
    };
    Some(Limits {
        log_h: (
            floor_to(log_h.0 - 0.05, TICK),
            ceil_to(log_h.1 + 0.05, TICK),
        ),
        value: (floor_to(floor, TICK), ceil_to(value.1 + 0.02, TICK)),
    })
}

/// The two axes of a plot, with one unit length.
pub(crate) struct Plot {
    pub(crate) x: Axis,
    pub(crate) y: Axis,
}

impl Plot {
    pub(crate) fn at(&self, log_h: f64, value: f64) -> (f64, f64) {
        (self.x.at(log_h), self.y.at(value))
    }
}

/// Lays the axes out below `top` and draws grid, ticks and names.
pub(crate) fn draw_axes(
    svg: &mut Svg,
    sheet: Sheet,
    top: f64,
    limits: &Limits,
    names: (&str, &str),
) -> Plot {
    let left = if sheet.is_narrow() { 62.0 } else { 104.0 };
    let right = 10.0;
    let (across, up) = (
        limits.log_h.1 - limits.log_h.0,
        limits.value.1 - limits.value.0,
    );
    // Equal unit length: the smaller of what the width and a screen's height allow.
    let unit = ((sheet.width_px - left - right) / across).min(560.0 / up);
    let bottom = top + unit * up;
    let plot = Plot {
        x: Axis {
            low: limits.log_h.0,
            high: limits.log_h.1,
            from_px: left,
            to_px: left + unit * across,
        },
        y: Axis {
            low: limits.value.0,
            high: limits.value.1,
            from_px: bottom,
            to_px: top,
        },
    };
    for step in plot.x.steps(TICK) {
        // Ticks are few, so the cast is exact.
        let log_h = step as f64 * TICK;
        let x = plot.x.at(log_h);
        svg.line((x, top), (x, bottom), Ink::Rule, 0.6, Dash::Solid);
        svg.line((x, bottom), (x, bottom + 5.0), Ink::Line, 1.0, Dash::Solid);
        if step % 2 == 0 || across < 1.3 {
            let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::Middle);
            svg.text(x, bottom + 18.0, &shown::fixed(log_h, 1), style);
        }
    }
    for step in plot.y.steps(TICK) {
        let value = step as f64 * TICK;
        let y = plot.y.at(value);
        svg.line((left, y), (plot.x.to_px, y), Ink::Rule, 0.6, Dash::Solid);
        svg.line((left - 5.0, y), (left, y), Ink::Line, 1.0, Dash::Solid);
        if step % 2 == 0 || up < 1.3 {
            let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::End);
            svg.text(left - 8.0, y + 4.0, &shown::fixed(value, 1), style);
        }
    }
    svg.line((left, top), (left, bottom), Ink::Line, 1.0, Dash::Solid);
    svg.line(
        (left, bottom),
        (plot.x.to_px, bottom),
        Ink::Line,
        1.0,
        Dash::Solid,
    );
    svg.text(
        plot.x.to_px,
        bottom + 36.0,
        names.0,
        Style::TEXT.anchor(Anchor::End),
    );
    svg.text_upward(left - 38.0, (top + bottom) / 2.0, names.1, Style::TEXT);
    svg.axes(plot.x, plot.y);
    plot
}

/// A patch with its place, as drawn.
struct Hung<'a> {
    frame: usize,
    patch: &'a PatchFinding,
    log_h: f64,
    value: f64,
}

fn frames_of<'a>(findings: &'a Findings, curve: &CurveFinding) -> Vec<&'a FrameFinding> {
    findings
        .frames
        .iter()
        .filter(|f| f.film == curve.film && f.process == curve.process)
        .collect()
}

fn hung<'a>(frames: &[&'a FrameFinding]) -> Vec<Hung<'a>> {
    let mut out = Vec::new();
    for (place, frame) in frames.iter().enumerate() {
        for patch in &frame.patches {
            if let Some(log_h) = patch.log_h
                && patch.role != PatchRole::BaseFog
                && patch.reading.value().is_finite()
            {
                out.push(Hung {
                    frame: place,
                    patch,
                    log_h: log_h.to_log10(),
                    value: patch.reading.value(),
                });
            }
        }
    }
    out
}

/// Draws the fitted curve of one film and process with its readings.
///
/// `None` when the curve has no two samples to draw.
#[must_use]
pub fn characteristic_curve(
    findings: &Findings,
    curve: &CurveFinding,
    letters: &PatchLetters,
    sheet: Sheet,
) -> Option<String> {
    let frames = frames_of(findings, curve);
    let hung = hung(&frames);
    let readings: Vec<_> = hung.iter().map(|h| (h.log_h, h.value)).collect();
    let limits = limits(core::iter::once(curve), &readings)?;
    let signs = signs(&frames);
    let mut svg = Svg::new(sheet, &title(curve), &subtitle(curve, &frames));
    let top = svg.heading() + 4.0;
    let names = (exposure_axis_name(curve), response_name(curve.response));
    let plot = draw_axes(&mut svg, sheet, top, &limits, names);

    draw_band_and_curve(&mut svg, &plot, curve);
    let mut places = Places::new(Block {
        left: plot.x.from_px + 2.0,
        top,
        right: plot.x.to_px,
        bottom: plot.y.from_px - 1.0,
    });
    for sample in samples(curve) {
        let (x, y) = plot.at(sample.log_h, sample.value);
        places.take(Block::around((x, y), 4.0, 5.0));
    }
    draw_base_and_points(&mut svg, sheet, &plot, curve, &mut places);
    draw_readings(&mut svg, &plot, &signs, &hung, &mut places);
    let spoken_of = spoken_of(&frames, &hung, sheet);
    let unnamed = draw_letters(&mut svg, &plot, &hung, &spoken_of, letters, &mut places);

    let mut y = plot.y.from_px + 46.0;
    y = draw_frame_rows(&mut svg, &plot, y, &frames, &signs, &hung, letters);
    let mut notes = Vec::new();
    if frames.len() > signs.len() {
        notes.push(format!(
            "{} more of this film and process; their readings are the small dots, without bars. Their numbers stand in readings.csv.",
            counted(frames.len() - signs.len(), "frame")
        ));
    }
    if spoken_of.len() < signs.len() {
        let names: Vec<_> = spoken_of
            .iter()
            .map(|p| frames[*p].frame.as_str())
            .collect();
        notes.push(format!(
            "Letters on the curve: {}; the rows name the readings of each frame.",
            names.join(" and ")
        ));
    }
    if unnamed > 0 {
        notes.push(format!(
            "{} found no room on the curve; the rows name them.",
            counted(unnamed, "letter")
        ));
    }
    let outside = hung.iter().filter(|h| !plot.x.holds(h.log_h)).count();
    if outside > 0 {
        notes.push(format!(
            "{} beyond the ends of the axis; arrows in the rows point there.",
            counted(outside, "reading")
        ));
    }
    for note in notes {
        for line in crate::text_width::wrap(&note, 12.0, Weight::Regular, sheet.width_px) {
            y += 15.0;
            svg.text(0.0, y, &line, Style::SMALL.ink(Ink::Muted));
        }
    }
    Some(svg.finish(y + 8.0))
}

fn title(curve: &CurveFinding) -> String {
    let name = format!("{} in {}", curve.film, curve.process);
    let gradient = shown::value_with_uncertainty(
        curve.gradient.value(),
        curve.gradient.standard_uncertainty(),
    );
    match &curve.speed_point {
        Some(m) => format!(
            "{name}: straight line of gradient {gradient}, speed point at {} {}",
            exposure_axis_name(curve).trim_end_matches(" (lux seconds)"),
            shown::fixed(m.value().to_log10(), 2)
        ),
        None => format!("{name}: straight line of gradient {gradient}"),
    }
}

fn subtitle(curve: &CurveFinding, frames: &[&FrameFinding]) -> String {
    let base = match &curve.base_plus_fog {
        Some(base) => format!(
            " Base+fog {}.",
            shown::density_with_uncertainty(base.value().to_density(), base.standard_uncertainty())
        ),
        None => " No base+fog on this scale.".to_owned(),
    };
    let scale = if curve.absolute_exposure {
        ""
    } else {
        " The exposure scale is relative: only distances along it have a meaning."
    };
    let filtered = frames.iter().filter(|f| !f.filters.is_empty()).count();
    let signs = if filtered > 0 && filtered < frames.len() {
        " Full signs: without filter."
    } else {
        ""
    };
    format!(
        "Fitted to {} of {}, which scatter by {} about it; band and bars are ±\u{a0}1 standard deviation, arrows are limits.{signs}{base}{scale}",
        counted(curve.reading_count, "reading"),
        counted(frames.len(), "frame"),
        shown::fixed(curve.residual_rms, 3),
    )
}

/// Writes a count with its noun: `1 frame`, `5 frames`.
pub(crate) fn counted(count: usize, noun: &str) -> String {
    if count == 1 {
        format!("1 {noun}")
    } else {
        format!("{count} {noun}s")
    }
}

fn draw_band_and_curve(svg: &mut Svg, plot: &Plot, curve: &CurveFinding) {
    let edge =
        |sign: f64| samples(curve).map(move |s| (s.log_h, s.value + sign * s.standard_uncertainty));
    let mut band: Vec<_> = edge(1.0)
        .map(|(h, v)| (plot.x.at(h), plot.y.held(v)))
        .collect();
    band.extend(
        edge(-1.0)
            .rev()
            .map(|(h, v)| (plot.x.at(h), plot.y.held(v))),
    );
    svg.polygon(&band, Ink::Band);
    let line: Vec<_> = samples(curve).map(|s| plot.at(s.log_h, s.value)).collect();
    svg.polyline(&line, Ink::Line, 2.0, Dash::Solid);
}

fn draw_base_and_points(
    svg: &mut Svg,
    sheet: Sheet,
    plot: &Plot,
    curve: &CurveFinding,
    places: &mut Places,
) {
    let Some(base) = &curve.base_plus_fog else {
        return;
    };
    let base = base.value().to_density();
    let bottom = plot.y.from_px;
    if plot.y.holds(base) {
        let y = plot.y.at(base);
        svg.line(
            (plot.x.from_px, y),
            (plot.x.to_px, y),
            Ink::Line,
            1.0,
            Dash::Dashed,
        );
        // A narrow sheet has no room here; the subtitle gives the number.
        let text = if sheet.is_narrow() {
            "b+f".to_owned()
        } else {
            format!("base+fog {}", shown::density(base))
        };
        let style = Style::SMALL.anchor(Anchor::End).halo();
        let width = style.width(&text);
        svg.text(plot.x.to_px - 4.0, y - 5.0, &text, style);
        places.take(Block {
            left: plot.x.to_px - 6.0 - width,
            top: y - 18.0,
            right: plot.x.to_px,
            bottom: y + 2.0,
        });
    }
    let mut point = |name: &str, log_h: f64, density: f64, more: &str| {
        if !(plot.x.holds(log_h) && plot.y.holds(density)) {
            return;
        }
        let (x, y) = plot.at(log_h, density);
        svg.line((x, y), (x, bottom), Ink::Accent, 1.0, Dash::Dotted);
        svg.line((x - 5.0, y), (x + 5.0, y), Ink::Accent, 1.6, Dash::Solid);
        svg.line((x, y - 5.0), (x, y + 5.0), Ink::Accent, 1.6, Dash::Solid);
        let text = format!("{name} {more}");
        let style = Style::SMALL.semibold().ink(Ink::Accent).halo();
        let width = style.width(&text);
        places.take(Block::around((x, y), 12.0, 12.0));
        // Inward: to the left of the line when the right has no room.
        let (left, anchor) = if x + 5.0 + width < plot.x.to_px {
            (x + 5.0, Anchor::Start)
        } else {
            (x - 5.0 - width, Anchor::End)
        };
        let at = if anchor == Anchor::Start {
            left
        } else {
            x - 5.0
        };
        svg.text(at, bottom - 6.0, &text, style.anchor(anchor));
        places.take(Block {
            left,
            top: bottom - 18.0,
            right: left + width,
            bottom: bottom - 2.0,
        });
    };
    if let Some(m) = &curve.speed_point {
        let log_h = m.value().to_log10();
        point("m", log_h, base + SPEED_DENSITY, &shown::fixed(log_h, 2));
    }
    if let Some((n, density)) = curve.point_n {
        point("n", n.to_log10(), density.to_density(), "+1.30");
    }
}

/// Gives each drawn frame a sign that no other has: full without filter, else
/// open, as long as these go; shapes differ first.
fn signs(frames: &[&FrameFinding]) -> Vec<Sign> {
    let mut given: Vec<Sign> = Vec::new();
    for (place, frame) in frames.iter().take(MOST_ROWS).enumerate() {
        if frame.role == FrameRole::TabletSheet {
            let (shape, fill) = (Shape::Dot, Fill::Full);
            given.push(Sign { shape, fill });
            continue;
        }
        let fills = if frame.filters.is_empty() {
            [Fill::Full, Fill::Barred, Fill::Dotted, Fill::Open]
        } else {
            [Fill::Open, Fill::Dotted, Fill::Barred, Fill::Full]
        };
        let shapes = Shape::ALL.len();
        let mut all = fills.into_iter().flat_map(|fill| {
            (place..place + shapes).map(move |at| Sign {
                shape: Shape::ALL[at % shapes],
                fill,
            })
        });
        // Ten shapes with four fills are as many as there are rows.
        let sign = all.find(|sign| !given.contains(sign));
        given.push(sign.unwrap_or(Sign {
            shape: Shape::Circle,
            fill: fills[0],
        }));
    }
    given
}

/// Gives the frames whose letters hang on the curve: all when they are few,
/// else the anchor and the best of the bracket; one alone on a narrow sheet.
fn spoken_of(frames: &[&FrameFinding], hung: &[Hung<'_>], sheet: Sheet) -> Vec<usize> {
    let drawn = frames.len().min(MOST_ROWS);
    let lettered = |h: &&Hung<'_>| has_letter(h.patch.role);
    if hung.iter().filter(lettered).count() <= MOST_LETTERS || drawn < 2 {
        return (0..drawn).collect();
    }
    // Right exposure first, then what is missing or over, either way.
    let best = |wanted: &dyn Fn(&FrameFinding) -> bool| {
        let off = |f: &FrameFinding| {
            f.stops_missing
                .as_ref()
                .map_or(f64::INFINITY, |m| m.value().to_stops().abs())
        };
        (0..drawn)
            .filter(|at| {
                let with_letters = |h: &Hung<'_>| h.frame == *at && has_letter(h.patch.role);
                wanted(frames[*at]) && hung.iter().any(with_letters)
            })
            .min_by(|a, b| {
                let key = |at: usize| (frames[at].verdict != Verdict::Printable, off(frames[at]));
                let ((a_poor, a_off), (b_poor, b_off)) = (key(*a), key(*b));
                a_poor.cmp(&b_poor).then(a_off.total_cmp(&b_off))
            })
    };
    let subject = |f: &FrameFinding| f.role != FrameRole::TabletSheet;
    let bracket = best(&|f| subject(f) && !f.filters.is_empty());
    let anchor = |f: &FrameFinding| subject(f) && f.filters.is_empty();
    // An anchor in the light of the bracket, if there is one.
    let light = bracket.map(|at| &frames[at].light);
    let same_light = best(&|f| anchor(f) && light.is_none_or(|l| f.light == *l));
    let anchor = same_light.or_else(|| best(&anchor));
    let mut chosen: Vec<usize> = anchor.into_iter().chain(bracket).collect();
    if chosen.is_empty() {
        chosen.push(0);
    }
    if sheet.is_narrow() {
        chosen.truncate(1);
    }
    chosen
}

/// Whether a reading is named: of a tablet every fifth step is.
pub(crate) fn has_letter(role: PatchRole) -> bool {
    !matches!(role, PatchRole::TabletStep(step) if step % 5 != 1)
}

/// Draws the readings with their bars and arrows; frames without a row of
/// their own as dots.
fn draw_readings(
    svg: &mut Svg,
    plot: &Plot,
    signs: &[Sign],
    hung: &[Hung<'_>],
    places: &mut Places,
) {
    let on_plot = |h: &&Hung<'_>| plot.x.holds(h.log_h) && plot.y.holds(h.value);
    let mut seen = BTreeSet::new();
    let dots: Vec<_> = hung
        .iter()
        .filter(|h| h.frame >= signs.len())
        .filter(on_plot)
        .map(|h| {
            // Half pixels: what falls on one dot is drawn once.
            let (x, y) = plot.at(h.log_h, h.value);
            (libm::round(2.0 * x) as i64, libm::round(2.0 * y) as i64)
        })
        .filter(|at| seen.insert(*at))
        .map(|(x, y)| (x as f64 / 2.0, y as f64 / 2.0))
        .collect();
    svg.dots(&dots, Ink::Muted, 2.0);
    let drawn = || {
        hung.iter()
            .filter(|h| h.frame < signs.len())
            .filter(on_plot)
    };
    for h in drawn() {
        let at = plot.at(h.log_h, h.value);
        places.take(Block::around(at, 8.0, 8.0));
        let sd = h.patch.reading.standard_uncertainty();
        match h.patch.limit {
            None => {
                let (low, high) = (plot.y.held(h.value - sd), plot.y.held(h.value + sd));
                if (low - high).abs() > 8.0 {
                    for end in [low, high] {
                        svg.line(
                            (at.0 - 3.0, end),
                            (at.0 + 3.0, end),
                            Ink::Line,
                            1.0,
                            Dash::Solid,
                        );
                    }
                }
                svg.line((at.0, low), (at.0, high), Ink::Line, 1.0, Dash::Solid);
            }
            Some(Bound::AtMost) => svg.arrow(at, (at.0, at.1 + 17.0), Ink::Line, 1.2),
            Some(Bound::AtLeast) => svg.arrow(at, (at.0, at.1 - 17.0), Ink::Line, 1.2),
        }
    }
    for h in drawn() {
        svg.marker(plot.at(h.log_h, h.value), signs[h.frame], Ink::Line);
    }
}

/// Draws the letters beside the readings and gives how many found no room.
fn draw_letters(
    svg: &mut Svg,
    plot: &Plot,
    hung: &[Hung<'_>],
    spoken_of: &[usize],
    letters: &PatchLetters,
    places: &mut Places,
) -> usize {
    let on_plot = |h: &&Hung<'_>| plot.x.holds(h.log_h) && plot.y.holds(h.value);
    let mut unnamed = 0;
    for h in hung.iter().filter(on_plot) {
        if !has_letter(h.patch.role) || !spoken_of.contains(&h.frame) {
            continue;
        }
        let at = plot.at(h.log_h, h.value);
        let letter = letters.letter(&h.patch.patch);
        let style = Style::SMALL.semibold().anchor(Anchor::Middle).halo();
        let Some(centre) = places.find(at, style.width(letter) + 2.0, 13.0) else {
            unnamed += 1;
            continue;
        };
        let (dx, dy) = (centre.0 - at.0, centre.1 - at.1);
        let distance = libm::sqrt(dx * dx + dy * dy);
        if distance > 20.0 {
            let part = |share: f64| (at.0 + dx * share, at.1 + dy * share);
            svg.line(
                part(5.0 / distance),
                part(1.0 - 7.0 / distance),
                Ink::Muted,
                0.7,
                Dash::Solid,
            );
        }
        svg.text(centre.0, centre.1 + 4.2, letter, style);
    }
    unnamed
}

/// Draws one row for each frame below the plot and gives the y below the last.
fn draw_frame_rows(
    svg: &mut Svg,
    plot: &Plot,
    top: f64,
    frames: &[&FrameFinding],
    signs: &[Sign],
    hung: &[Hung<'_>],
    letters: &PatchLetters,
) -> f64 {
    let sheet = svg.sheet();
    let mut y = top;
    let (left, right) = (plot.x.from_px, plot.x.to_px);
    for (place, (frame, sign)) in frames.iter().zip(signs).enumerate() {
        let own: Vec<_> = hung.iter().filter(|h| h.frame == place).collect();
        if own.is_empty() {
            continue;
        }
        // Without room at the side the name stands on a line of its own.
        let name_room = if sheet.is_narrow() {
            y += ROW_PX;
            sheet.width_px - 100.0
        } else {
            left - 22.0
        };
        let name = shorten(frame.frame.as_str(), 12.0, Weight::Semibold, name_room);
        let name_style = Style::SMALL.semibold();
        let name_y = if sheet.is_narrow() {
            y + 3.0
        } else {
            y + ROW_PX
        };
        svg.marker((6.0, name_y - 5.0), *sign, Ink::Line);
        svg.text(15.0, name_y - 1.0, &name, name_style);
        y += ROW_PX;
        svg.line((left, y), (right, y), Ink::Rule, 1.0, Dash::Solid);
        let mut free_from = f64::NEG_INFINITY;
        let mut sorted = own;
        sorted.sort_by(|a, b| a.log_h.total_cmp(&b.log_h));
        let first_at = sorted.first().map_or(right, |h| plot.x.held(h.log_h));
        let mut below_end = 0;
        for h in sorted {
            let letter = letters.letter(&h.patch.patch);
            if !has_letter(h.patch.role) {
                let x = plot.x.held(h.log_h);
                svg.line((x, y - 3.0), (x, y), Ink::Line, 1.0, Dash::Solid);
                continue;
            }
            let style = Style::SMALL.semibold().halo();
            let width = style.width(letter);
            if !plot.x.holds(h.log_h) {
                let low = h.log_h < plot.x.low;
                if low {
                    let x = left + 12.0 + f64::from(below_end) * 12.0;
                    below_end += 1;
                    if below_end == 1 {
                        svg.arrow((left + 10.0, y - 5.0), (left, y - 5.0), Ink::Muted, 1.0);
                    }
                    svg.text(x, y - 1.0, letter, style);
                    free_from = x + width + 1.0;
                } else {
                    svg.arrow((right - 10.0, y - 5.0), (right, y - 5.0), Ink::Muted, 1.0);
                    svg.text(right - 12.0, y - 1.0, letter, style.anchor(Anchor::End));
                }
                continue;
            }
            let x = plot.x.at(h.log_h);
            svg.line((x, y - 3.0), (x, y + 3.0), Ink::Line, 1.2, Dash::Solid);
            // Letters of one row step aside to the right rather than cover each other.
            let start = (x - width / 2.0).max(free_from).min(right - width);
            svg.text(start, y - 4.5, letter, style);
            free_from = start + width + 2.0;
        }
        let word = verdict_word(frame.verdict);
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::End);
        if sheet.is_narrow() {
            let x = 15.0 + name_style.width(&name) + 8.0;
            svg.text(x, name_y - 1.0, word, style.anchor(Anchor::Start));
        } else if free_from < right - style.width(word) - 8.0 {
            svg.text(right, y - 4.5, word, style);
        } else if first_at > left + style.width(word) + 12.0 {
            svg.text(left + 4.0, y - 4.5, word, style.anchor(Anchor::Start));
        }
    }
    y + 6.0
}

/// Gives the word of a verdict as pages write it.
pub(crate) fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::CannotTell => "cannot be told",
        other => other.word(),
    }
}

/// Draws several curves in one plot, each labelled at its end; the first is
/// the one spoken of and is the darkest and thickest.
///
/// `None` when there is nothing to draw, or when the curves do not share the
/// kind of both axes and so cannot lie in one plot.
#[must_use]
pub fn curve_family(curves: &[&CurveFinding], sheet: Sheet) -> Option<String> {
    let first = curves.first()?;
    let alike = |c: &&CurveFinding| {
        c.response == first.response && c.absolute_exposure == first.absolute_exposure
    };
    if !curves.iter().all(alike) {
        return None;
    }
    let limits = limits(curves.iter().copied(), &[])?;
    let gradients: Vec<_> = curves
        .iter()
        .map(|c| format!("{} {}", c.process, shown::fixed(c.gradient.value(), 2)))
        .collect();
    let title = format!("{}: gradients {}", first.film, gradients.join(", "));
    let readings: usize = curves.iter().map(|c| c.reading_count).sum();
    let subtitle = format!(
        "{}, fitted to {}; the band of ±\u{a0}1 standard deviation belongs to {}.",
        counted(curves.len(), "curve"),
        counted(readings, "reading"),
        first.process
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading() + 4.0;
    let names = (exposure_axis_name(first), response_name(first.response));
    let plot = draw_axes(&mut svg, sheet, top, &limits, names);
    let dashes = [Dash::Solid, Dash::Dashed, Dash::Mixed, Dash::Dotted];
    let mut places = Places::new(Block {
        left: plot.x.from_px,
        top,
        right: plot.x.to_px,
        bottom: plot.y.from_px,
    });
    for (place, curve) in curves.iter().enumerate().rev() {
        let line: Vec<_> = samples(curve).map(|s| plot.at(s.log_h, s.value)).collect();
        if place == 0 {
            draw_band_and_curve(&mut svg, &plot, curve);
        } else {
            svg.polyline(&line, Ink::Muted, 1.4, dashes[place % dashes.len()]);
        }
        for point in &line {
            places.take(Block::around(*point, 3.0, 4.0));
        }
    }
    for curve in curves {
        let Some(last) = samples(curve).last() else {
            continue;
        };
        let style = Style::TEXT.semibold().anchor(Anchor::Middle).halo();
        let name = curve.process.as_str();
        let end = plot.at(last.log_h, last.value);
        if let Some(centre) = places.find(end, style.width(name) + 4.0, 15.0) {
            svg.text(centre.0, centre.1 + 5.0, name, style);
        }
    }
    Some(svg.finish(plot.y.from_px + 44.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::svg::Colours;

    #[test]
    fn both_axes_have_one_unit_length() {
        // Convention of the trade: a gradient of 1 is a line of 45 degrees.
        for width_px in [720.0, 358.0, 1600.0] {
            let sheet = Sheet {
                width_px,
                colours: Colours::File,
            };
            let mut svg = Svg::new(sheet, "t", "d");
            let limits = Limits {
                log_h: (-3.0, 0.9),
                value: (0.0, 2.4),
            };
            let plot = draw_axes(&mut svg, sheet, 50.0, &limits, ("x", "y"));
            let (along, up) = (
                plot.x.at(1.0) - plot.x.at(0.0),
                plot.y.at(0.0) - plot.y.at(1.0),
            );
            assert!(
                (along - up).abs() < 1e-9,
                "{width_px}: {along} against {up}"
            );
            assert!(plot.x.to_px <= width_px);
        }
    }
}
