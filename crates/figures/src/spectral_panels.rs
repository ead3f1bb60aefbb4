//! Three panels over one axis of wavelengths: light × film, filter, and their
//! product with the effective band shaded.
//!
//! The areas of the first and the last panel stand in the ratio of the factor.

use crate::axis::Axis;
use crate::shown;
use crate::sun_height::{SunHeightFactor, panel};
use crate::svg::{Anchor, Dash, Ink, Sheet, Style, Svg};
use crate::text_width::{Weight, shorten};
use spectra::{Assumed, Curve, Expected, Interpolation, Prediction};

/// Height of one panel.
const PANEL_PX: f64 = 120.0;

/// Share of the greatest value of a panel that is still drawn.
const SEEN: f64 = 0.002;

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct SpectralPanels<'a> {
    /// Name of the film.
    pub film: &'a str,
    /// Name of the filter.
    pub filter: &'a str,
    /// Name of the light.
    pub light: &'a str,
    /// What was predicted.
    pub prediction: &'a Prediction,
    /// The filter's own curve.
    pub filter_curve: &'a Curve,
    /// How values between its points are found.
    pub interpolation: Interpolation,
    /// Factors over the sun's height, drawn below; none when empty.
    pub sun_heights: &'a [SunHeightFactor],
}

/// Draws light × film, filter and product over one axis of wavelengths.
#[must_use]
pub fn spectral_panels(of: &SpectralPanels<'_>, sheet: Sheet) -> String {
    let p = of.prediction;
    let title = match (p.verdict, p.stops()) {
        (Expected::NoImage, _) | (_, None) => {
            format!("Behind {} the film sees next to nothing", of.filter)
        }
        (_, Some(stops)) => format!(
            "Behind {} the film needs {} stops more",
            of.filter,
            shown::stops(stops)
        ),
    };
    let subtitle = format!(
        "{} in the light {}, relative response per nm. Each panel has its own height; the bottom one is {}\u{a0}% of the area of the top one.",
        of.film,
        of.light,
        shown::two_figures(100.0 * p.share())
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let mut y = svg.heading();
    let at = p.products.bare.wavelengths_nm();
    let (low, high) = seen(at, p.products.bare.values());
    let left = 46.0;
    let x = Axis {
        low,
        high,
        from_px: left,
        to_px: sheet.width_px - 12.0,
    };
    let within: Vec<usize> = (0..at.len()).filter(|&i| x.holds(at[i])).collect();
    let points = |values: &dyn Fn(usize) -> f64| -> Vec<(f64, f64)> {
        within.iter().map(|&i| (at[i], values(i))).collect()
    };
    let bare = p.products.bare.values();
    let filtered = p.products.filtered.values();
    let filter: Vec<(f64, Option<f64>)> = within
        .iter()
        .map(|&i| {
            let known =
                of.filter_curve
                    .linear_value_assuming(at[i], of.interpolation, Assumed::NOTHING);
            (at[i], known.map(|(t, _)| t))
        })
        .collect();

    panel_title(&mut svg, y, "Light × film: what the bare film responds to");
    area(&mut svg, x, y, &points(&|i| bare[i]), Ink::Muted);
    y += PANEL_PX + 42.0;

    panel_title(&mut svg, y, "Filter: transmittance, %");
    filter_panel(&mut svg, x, y, &filter);
    y += PANEL_PX + 42.0;

    panel_title(&mut svg, y, "Light × film × filter: what is left");
    let top = y + 22.0;
    if let Some(band) = p.filtered.band {
        let (from, to) = (x.at(band.low.to_nm()), x.at(band.high.to_nm()));
        svg.rectangle(from, top, (to - from).max(1.0), PANEL_PX, Ink::Band);
    }
    area(&mut svg, x, y, &points(&|i| filtered[i]), Ink::Line);
    if let Some(band) = p.filtered.band {
        band_edges(&mut svg, x, top, [band.low.to_nm(), band.high.to_nm()]);
    }
    y += PANEL_PX + 22.0;
    for tick in x.steps(50.0) {
        let nm = 50.0 * tick as f64;
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::Middle);
        svg.text(x.at(nm), y + 16.0, &shown::fixed(nm, 0), style);
    }
    y += 34.0;
    svg.text(
        0.5 * (left + x.to_px),
        y,
        "wavelength, nm",
        Style::SMALL.anchor(Anchor::Middle),
    );
    y += 8.0;
    let band = match p.filtered.band {
        Some(band) => format!(
            "Shaded: 10 to 90 % of the response, {:.0} to {:.0} nm. Integrals: {}.",
            band.low.to_nm(),
            band.high.to_nm(),
            p.grid
        ),
        None => format!("No response. Integrals: {}.", p.grid),
    };
    for line in crate::text_width::wrap(&band, 12.0, Weight::Regular, sheet.width_px) {
        y += 16.0;
        svg.text(0.0, y, &line, Style::SMALL.ink(Ink::Muted));
    }
    if !of.sun_heights.is_empty() {
        y = panel(&mut svg, y + 26.0, of.sun_heights);
    }
    svg.finish(y + 10.0)
}

/// The two edges of the band, each with its wavelength outside the band; a label that would
/// leave the sheet goes to the other side, and one that would lie on the first goes below it.
fn band_edges(svg: &mut Svg, x: Axis, top: f64, edges_nm: [f64; 2]) {
    const GAP_PX: f64 = 4.0;
    const LINE_PX: f64 = 16.0;
    let width_px = svg.sheet().width_px;
    let mut taken: Option<(f64, f64)> = None;
    for (nm, outside) in edges_nm.into_iter().zip([Anchor::End, Anchor::Start]) {
        let px = x.at(nm);
        svg.line(
            (px, top),
            (px, top + PANEL_PX),
            Ink::Accent,
            1.0,
            Dash::Dashed,
        );
        let text = format!("{nm:.0} nm");
        let style = Style::SMALL.semibold().ink(Ink::Accent).halo();
        let room = style.width(&text) + GAP_PX;
        let to_the_left = match outside {
            Anchor::End => px - room >= 0.0,
            _ => px + room > width_px,
        };
        let (anchor, at, from, to) = if to_the_left {
            (Anchor::End, px - GAP_PX, px - room, px)
        } else {
            (Anchor::Start, px + GAP_PX, px, px + room)
        };
        let beside = taken.is_none_or(|(first, last)| to <= first || from >= last);
        let line = if beside { 0.0 } else { LINE_PX };
        svg.text(at, top + 14.0 + line, &text, style.anchor(anchor));
        taken = Some((from, to));
    }
}

/// The range of wavelengths in which there is something to see, on whole 50 nm.
fn seen(at: &[f64], values: &[f64]) -> (f64, f64) {
    let most = values.iter().copied().fold(0.0, f64::max);
    let there: Vec<f64> = at
        .iter()
        .zip(values)
        .filter(|(_, v)| **v > SEEN * most)
        .map(|(nm, _)| *nm)
        .collect();
    let first = there.first().copied().unwrap_or(at[0]);
    let last = there.last().copied().unwrap_or(at[at.len() - 1]);
    (
        crate::axis::floor_to(first, 50.0),
        crate::axis::ceil_to(last, 50.0).max(crate::axis::floor_to(first, 50.0) + 50.0),
    )
}

fn panel_title(svg: &mut Svg, y: f64, text: &str) {
    let width = svg.sheet().width_px;
    let text = shorten(text, 14.0, Weight::Semibold, width);
    svg.text(0.0, y + 14.0, &text, Style::TEXT.semibold());
}

fn frame(svg: &mut Svg, x: Axis, top: f64) {
    for tick in x.steps(50.0) {
        let px = x.at(50.0 * tick as f64);
        svg.line((px, top), (px, top + PANEL_PX), Ink::Rule, 1.0, Dash::Solid);
    }
    let base = top + PANEL_PX;
    svg.line(
        (x.from_px, base),
        (x.to_px, base),
        Ink::Muted,
        1.0,
        Dash::Solid,
    );
}

/// A curve over its base line, its own greatest value at the top.
fn area(svg: &mut Svg, x: Axis, y: f64, points: &[(f64, f64)], ink: Ink) {
    let top = y + 22.0;
    frame(svg, x, top);
    let most = points.iter().map(|p| p.1).fold(0.0, f64::max);
    if most <= 0.0 {
        svg.text(
            0.5 * (x.from_px + x.to_px),
            top + 0.5 * PANEL_PX,
            "nothing",
            Style::TEXT.ink(Ink::Muted).anchor(Anchor::Middle),
        );
        return;
    }
    let up = Axis {
        low: 0.0,
        high: most,
        from_px: top + PANEL_PX,
        to_px: top + 4.0,
    };
    let line: Vec<(f64, f64)> = points.iter().map(|p| (x.at(p.0), up.at(p.1))).collect();
    svg.polyline(&line, ink, 2.0, Dash::Solid);
}

fn filter_panel(svg: &mut Svg, x: Axis, y: f64, points: &[(f64, Option<f64>)]) {
    let top = y + 22.0;
    frame(svg, x, top);
    let up = Axis {
        low: 0.0,
        high: 1.0,
        from_px: top + PANEL_PX,
        to_px: top,
    };
    for share in [0.0, 0.5, 1.0] {
        let at = up.at(share);
        svg.line((x.from_px, at), (x.to_px, at), Ink::Rule, 1.0, Dash::Solid);
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::End);
        svg.text(
            x.from_px - 6.0,
            at + 4.0,
            &shown::fixed(100.0 * share, 0),
            style,
        );
    }
    let mut run: Vec<(f64, f64)> = vec![];
    let mut runs = vec![];
    for (nm, t) in points {
        match t {
            Some(t) => run.push((x.at(*nm), up.at(t.min(1.0)))),
            None => runs.push(core::mem::take(&mut run)),
        }
    }
    runs.push(run);
    for run in runs.iter().filter(|r| r.len() > 1) {
        svg.polyline(run, Ink::Line, 2.0, Dash::Solid);
    }
}
