//! The red end of a film: sensitivity by wavelength with its band, and the filters it was learned from.

use crate::axis::Axis;
use crate::characteristic_curve::counted;
use crate::shown;
use crate::svg::{Anchor, Dash, Ink, Sheet, Style, Svg};
use findings::TailFinding;
use quantity::Bound;

/// Lowest log10 sensitivity that is drawn: three decades matter to nobody's negative.
const LOWEST: f64 = -3.0;

/// Draws the band of a film's sensitivity over wavelength; `None` where edge and
/// steepness can't be told apart.
#[must_use]
pub fn red_end(tail: &TailFinding, sheet: Sheet) -> Option<String> {
    if !tail.told_apart {
        return None;
    }
    let (first, last) = (tail.band.first()?.0, tail.band.last()?.0);
    let edge = tail.edge;
    let title = format!(
        "Red end of {}: {}\u{a0}nm, between {} and {}",
        tail.film,
        shown::fixed(edge.value.to_nm(), 0),
        shown::fixed(edge.low.to_nm(), 0),
        shown::fixed(edge.high.to_nm(), 0)
    );
    let subtitle = format!(
        "Sensitivity in log10, relative to the level below the edge; line: middle, band: {}\u{a0}% interval at each wavelength. Marks above: half of peak of the {} it was learned from.",
        shown::fixed(100.0 * edge.coverage, 0),
        counted(tail.readings.len(), "filter")
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading() + 34.0;
    let left = 46.0;
    let x = Axis {
        low: first,
        high: last,
        from_px: left,
        to_px: sheet.width_px - 14.0,
    };
    let y = Axis {
        low: LOWEST,
        high: 0.0,
        from_px: top + 220.0,
        to_px: top,
    };
    grid(&mut svg, x, y);
    let at = |nm: f64, value: f64| (x.at(nm), y.held(value));
    let low = tail.band.iter().map(|(nm, [low, _, _])| at(*nm, *low));
    let high = tail
        .band
        .iter()
        .rev()
        .map(|(nm, [_, _, high])| at(*nm, *high));
    let outline: Vec<_> = low.chain(high).collect();
    svg.polygon(&outline, Ink::Band);
    let middle: Vec<_> = tail
        .band
        .iter()
        .take_while(|(_, [_, value, _])| *value > LOWEST)
        .map(|(nm, [_, value, _])| at(*nm, *value))
        .collect();
    svg.polyline(&middle, Ink::Line, 1.6, Dash::Solid);
    let below = y.from_px;
    // The edge's own interval, on the line of half sensitivity.
    let half = y.at(-core::f64::consts::LOG10_2);
    svg.line(
        (x.held(edge.low.to_nm()), half),
        (x.held(edge.high.to_nm()), half),
        Ink::Accent,
        2.0,
        Dash::Solid,
    );
    svg.line(
        (x.held(edge.value.to_nm()), half - 5.0),
        (x.held(edge.value.to_nm()), half + 5.0),
        Ink::Accent,
        2.0,
        Dash::Solid,
    );
    marks(&mut svg, tail, x, top);
    svg.text(
        sheet.width_px,
        below + 38.0,
        "wavelength (nm)",
        Style::TEXT.anchor(Anchor::End),
    );
    svg.text_upward(
        12.0,
        top + 110.0,
        "log10 sensitivity",
        Style::TEXT.anchor(Anchor::Middle),
    );
    Some(svg.finish(below + 46.0))
}

fn grid(svg: &mut Svg, x: Axis, y: Axis) {
    for step in y.steps(1.0) {
        let at = y.at(step as f64);
        svg.line((x.from_px, at), (x.to_px, at), Ink::Rule, 1.0, Dash::Solid);
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::End);
        let label = if step == 0 {
            "0".to_owned()
        } else {
            shown::signed(step as f64, 0)
        };
        svg.text(x.from_px - 6.0, at + 4.0, &label, style);
    }
    for step in x.steps(50.0) {
        let at = x.at(step as f64 * 50.0);
        svg.line((at, y.from_px), (at, y.to_px), Ink::Rule, 1.0, Dash::Solid);
        let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::Middle);
        svg.text(
            at,
            y.from_px + 16.0,
            &shown::fixed(step as f64 * 50.0, 0),
            style,
        );
    }
}

/// One mark for each filter, above the drawing; a name is left out where it
/// would run into the one before.
fn marks(svg: &mut Svg, tail: &TailFinding, x: Axis, top: f64) {
    let mut filters: Vec<_> = tail.readings.iter().collect();
    filters.sort_by(|a, b| a.half_peak_nm.0.total_cmp(&b.half_peak_nm.0));
    let mut free = [0.0, 0.0];
    for reading in filters {
        let at = x.held(reading.half_peak_nm.0);
        let dash = if reading.bound == Some(Bound::AtLeast) {
            Dash::Dashed
        } else {
            Dash::Solid
        };
        svg.line((at, top - 6.0), (at, top + 10.0), Ink::Line, 1.4, dash);
        let style = Style::SMALL.anchor(Anchor::Middle);
        let half = 0.5 * style.width(reading.filter.as_str());
        let middle = at.clamp(half, x.to_px - half);
        if let Some(row) = (0..free.len()).find(|row| middle - half >= free[*row]) {
            free[row] = middle + half + 6.0;
            let y = top - 10.0 - 14.0 * row as f64;
            svg.text(middle, y, reading.filter.as_str(), style);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use findings::TailReading;
    use quantity::{Interval, Nanometres};
    use record::Id;

    fn tail(told_apart: bool) -> TailFinding {
        let nm = |v| Nanometres::from_nm(v).unwrap();
        TailFinding {
            film: Id::new("pan").unwrap(),
            light: Id::new("sun").unwrap(),
            edge: Interval {
                value: nm(712.0),
                low: nm(701.0),
                high: nm(724.0),
                coverage: 0.9,
            },
            steepness: Interval {
                value: 0.05,
                low: 0.03,
                high: 0.08,
                coverage: 0.9,
            },
            correlation: 0.5,
            told_apart,
            readings: [
                ("red", 650.0, None),
                ("deep", 720.0, None),
                ("ir", 722.0, Some(Bound::AtLeast)),
            ]
            .map(|(name, at, bound)| TailReading {
                filter: Id::new(name).unwrap(),
                half_peak_nm: (at, 3.0),
                bound,
            })
            .to_vec(),
            band: (0..=32)
                .map(|i| {
                    let off = 0.05 * (f64::from(i) * 10.0 - 132.0).max(0.0);
                    (580.0 + 10.0 * f64::from(i), [-1.4 * off, -off, -0.7 * off])
                })
                .collect(),
            outlooks: vec![],
            next: None,
            assumed: vec![],
        }
    }

    #[test]
    fn the_title_says_the_edge_and_every_filter_has_a_mark() {
        for sheet in [Sheet::FILE, Sheet::PHONE] {
            let svg = red_end(&tail(true), sheet).unwrap();
            assert!(
                svg.contains("Red end of pan: 712\u{a0}nm, between 701 and 724"),
                "{svg}"
            );
            for name in ["red", "deep", "ir"] {
                assert!(svg.contains(&format!(">{name}<")), "{name} in {svg}");
            }
            // The bound is told by its broken mark.
            assert_eq!(svg.matches("stroke-dasharray=\"6 4\"").count(), 1);
            assert!(!svg.contains("NaN"));
        }
    }

    #[test]
    fn a_ridge_is_not_drawn() {
        assert_eq!(red_end(&tail(false), Sheet::FILE), None);
    }
}
