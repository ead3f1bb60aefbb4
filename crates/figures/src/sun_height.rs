//! Factors of a filter over the height of the sun: a panel below the spectra.

use crate::axis::{Axis, ceil_to, floor_to};
use crate::shown;
use crate::svg::{Anchor, Dash, Ink, Style, Svg};
use quantity::{Interval, Stops};

/// Height of the panel.
const PANEL_PX: f64 = 160.0;

/// The factor of a filter with the sun at one height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunHeightFactor {
    /// Height of the sun, degrees.
    pub sun_deg: f64,
    /// In the sun; `None` when nothing is seen.
    pub sun: Option<Interval<Stops>>,
    /// In open shade.
    pub shade: Option<Interval<Stops>>,
}

/// Draws the factors from `y` down; gives where it ends. Nothing is drawn of no factors.
pub(crate) fn panel(svg: &mut Svg, y: f64, rows: &[SunHeightFactor]) -> f64 {
    let ends: Vec<f64> = rows
        .iter()
        .flat_map(|row| [row.sun, row.shade])
        .flatten()
        .flat_map(|of| [of.low.to_stops(), of.high.to_stops()])
        .collect();
    let (Some(low), Some(high)) = (
        ends.iter().copied().reduce(f64::min),
        ends.iter().copied().reduce(f64::max),
    ) else {
        return y;
    };
    svg.text(
        0.0,
        y + 14.0,
        "Factor over the sun's height, clear sky, stops",
        Style::TEXT.semibold(),
    );
    let top = y + 26.0;
    let x = Axis {
        low: 0.0,
        high: 90.0,
        from_px: 46.0,
        // The names of the lines stand at their ends.
        to_px: svg.sheet().width_px - 84.0,
    };
    let up = Axis {
        low: floor_to(low, 1.0),
        high: ceil_to(high, 1.0).max(floor_to(low, 1.0) + 1.0),
        from_px: top + PANEL_PX,
        to_px: top,
    };
    for stop in up.steps(1.0) {
        let at = up.at(stop as f64);
        svg.line((x.from_px, at), (x.to_px, at), Ink::Rule, 1.0, Dash::Solid);
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::End);
        svg.text(
            x.from_px - 6.0,
            at + 4.0,
            &shown::fixed(stop as f64, 0),
            style,
        );
    }
    for tick in x.steps(15.0) {
        let deg = 15.0 * tick as f64;
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::Middle);
        svg.text(x.at(deg), up.from_px + 16.0, &format!("{deg:.0}°"), style);
    }
    let lines = [
        (
            "in the sun",
            Dash::Solid,
            -1.5,
            rows.iter().map(|r| (r.sun_deg, r.sun)).collect::<Vec<_>>(),
        ),
        (
            "open shade",
            Dash::Dashed,
            1.5,
            rows.iter().map(|r| (r.sun_deg, r.shade)).collect(),
        ),
    ];
    let mut named: Option<f64> = None;
    for (name, dash, aside, points) in lines {
        let known: Vec<(f64, Interval<Stops>)> = points
            .into_iter()
            .filter_map(|(deg, of)| Some((deg, of?)))
            .collect();
        for (deg, of) in &known {
            let px = x.at(*deg) + aside;
            svg.line(
                (px, up.at(of.low.to_stops())),
                (px, up.at(of.high.to_stops())),
                Ink::Muted,
                1.0,
                Dash::Solid,
            );
        }
        let line: Vec<(f64, f64)> = known
            .iter()
            .map(|(deg, of)| (x.at(*deg), up.at(of.value.to_stops())))
            .collect();
        svg.polyline(&line, Ink::Line, 2.0, dash);
        if let Some((_, last)) = line.last() {
            // Two names at one height would hide each other.
            let at = match named {
                Some(other) if (last - other).abs() < 14.0 => other - 14.0,
                _ => *last,
            };
            named = Some(at);
            svg.text(x.to_px + 8.0, at + 4.0, name, Style::SMALL);
        }
    }
    let below = up.from_px + 34.0;
    svg.text(
        0.5 * (x.from_px + x.to_px),
        below,
        "height of the sun",
        Style::SMALL.anchor(Anchor::Middle),
    );
    svg.text(
        0.0,
        below + 20.0,
        "Upright lines: 90 % intervals.",
        Style::SMALL.ink(Ink::Muted),
    );
    below + 24.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::svg::Sheet;

    fn row(sun_deg: f64, sun: f64, shade: f64) -> SunHeightFactor {
        let of = |value: f64| Interval {
            value: Stops::new(value).unwrap(),
            low: Stops::new(value - 0.5).unwrap(),
            high: Stops::new(value + 0.5).unwrap(),
            coverage: 0.9,
        };
        SunHeightFactor {
            sun_deg,
            sun: Some(of(sun)),
            shade: Some(of(shade)),
        }
    }

    #[test]
    fn both_lines_are_named_and_every_interval_is_drawn() {
        for sheet in [Sheet::FILE, Sheet::PHONE] {
            let mut svg = Svg::new(sheet, "t", "d");
            let rows = [row(10.0, 4.0, 5.2), row(40.0, 4.3, 4.4)];
            let end = panel(&mut svg, 10.0, &rows);
            let drawn = svg.finish(end);
            assert!(drawn.contains(">in the sun<") && drawn.contains(">open shade<"));
            // By construction: from 3.5 to 5.7 stops, so the axis runs from 3 to 6.
            for stop in ["3", "4", "5", "6"] {
                assert!(drawn.contains(&format!(">{stop}<")), "{stop} in {drawn}");
            }
            assert_eq!(drawn.matches("<polyline").count(), 2);
        }
    }

    #[test]
    fn nothing_seen_draws_nothing() {
        let mut svg = Svg::new(Sheet::FILE, "t", "d");
        let none = SunHeightFactor {
            sun_deg: 10.0,
            sun: None,
            shade: None,
        };
        assert_eq!(panel(&mut svg, 10.0, &[none]), 10.0);
    }
}
