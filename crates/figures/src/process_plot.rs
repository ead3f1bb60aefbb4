//! A running plot of the process: how far base+fog, speed and gradient of one
//! curve after the other lie from the aim.
//!
//! The aim is the first curve, since a tester's own reference is all there is.
//! Limit lines stand where a difference is called important.

use crate::axis::Axis;
use crate::characteristic_curve::counted;
use crate::shown;
use crate::svg::{Anchor, Dash, Fill, Ink, Shape, Sheet, Sign, Style, Svg};
use crate::text_width::{Weight, shorten};
use findings::{BatchQuantity, ProcessPoint, interval_half_width};
use quantity::ExposureIndex;

/// Height of one panel.
const PANEL_PX: f64 = 110.0;

fn unit(of: BatchQuantity) -> &'static str {
    match of {
        BatchQuantity::BasePlusFog => "density",
        BatchQuantity::Speed => "stops",
        BatchQuantity::Gradient => "density per log H",
    }
}

/// The aim as the trade writes it: a speed as an EI.
fn aim_words(of: BatchQuantity, aim: f64) -> String {
    match (of, ExposureIndex::from_arithmetic(libm::exp2(aim))) {
        (BatchQuantity::Speed, Ok(index)) => format!("EI\u{a0}{}", shown::ei(index)),
        _ => shown::fixed(aim, 2),
    }
}

/// Draws the deviations of a film's curves from the first of them, in the
/// order given; `None` with fewer than two curves that can be compared.
///
/// `coverage` is that of the error bars, 0 to 1.
///
/// # Panics
/// Unless 0 < coverage < 1.
#[must_use]
pub fn process_plot(points: &[&ProcessPoint], coverage: f64, sheet: Sheet) -> Option<String> {
    let z = interval_half_width(coverage);
    let panels: Vec<_> = BatchQuantity::ALL
        .into_iter()
        .filter_map(|of| {
            let aim = points.first()?.quantity(of)?.value();
            let rows: Vec<_> = points
                .iter()
                .enumerate()
                .filter_map(|(place, p)| {
                    let m = p.quantity(of)?;
                    Some((place, m.value() - aim, z * m.standard_uncertainty()))
                })
                .collect();
            (rows.len() > 1).then_some((of, aim, rows))
        })
        .collect();
    let first = points.first().filter(|_| !panels.is_empty())?;
    let outside = panels
        .iter()
        .flat_map(|(of, _, rows)| rows.iter().map(move |r| (of, r)))
        .filter(|(of, row)| row.1.abs() > of.limit())
        .count();
    let title = match outside {
        0 => format!("{}: every curve within the limits", first.film),
        n => format!("{}: {} outside the limits", first.film, counted(n, "value")),
    };
    let subtitle = format!(
        "Deviation from the first curve ({}); dashed lines: what is called important. {}, bars are {}\u{a0}% intervals.",
        first.test,
        counted(points.len(), "curve"),
        shown::fixed(100.0 * coverage, 0)
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let mut y = svg.heading();
    let left = 58.0;
    let x_axis = Axis {
        low: -0.5,
        high: points.len() as f64 - 0.5,
        from_px: left,
        to_px: sheet.width_px - 8.0,
    };
    for (of, aim, rows) in &panels {
        let limit = of.limit();
        let most = rows
            .iter()
            .map(|(_, d, half)| d.abs() + half)
            .fold(limit, f64::max);
        // A wild bar runs off the panel rather than flatten all others.
        let reach = 1.15 * most.min(6.0 * limit);
        svg.text(
            0.0,
            y + 14.0,
            &format!(
                "{}: deviation ({}); aim {}",
                of.words(),
                unit(*of),
                aim_words(*of, *aim)
            ),
            Style::TEXT.semibold(),
        );
        let top = y + 24.0;
        let axis = Axis {
            low: -reach,
            high: reach,
            from_px: top + PANEL_PX,
            to_px: top,
        };
        for (value, dash, ink) in [
            (limit, Dash::Dashed, Ink::Line),
            (0.0, Dash::Solid, Ink::Muted),
            (-limit, Dash::Dashed, Ink::Line),
        ] {
            let at = axis.at(value);
            svg.line((left, at), (x_axis.to_px, at), ink, 1.0, dash);
            let style = Style::SMALL.ink(Ink::Muted).anchor(Anchor::End);
            svg.text(left - 8.0, at + 4.0, &shown::signed(value, 2), style);
        }
        let line: Vec<_> = rows
            .iter()
            .map(|(place, d, _)| (x_axis.at(*place as f64), axis.held(*d)))
            .collect();
        svg.polyline(&line, Ink::Muted, 1.0, Dash::Solid);
        for (place, d, half) in rows {
            let x = x_axis.at(*place as f64);
            svg.line(
                (x, axis.held(d - half)),
                (x, axis.held(d + half)),
                Ink::Line,
                1.0,
                Dash::Solid,
            );
            let within = d.abs() <= limit;
            let sign = Sign {
                shape: if axis.holds(*d) {
                    Shape::Circle
                } else {
                    Shape::Cross
                },
                fill: if within { Fill::Open } else { Fill::Full },
            };
            let ink = if within { Ink::Line } else { Ink::Accent };
            svg.marker((x, axis.held(*d)), sign, ink);
        }
        y = top + PANEL_PX + 14.0;
    }
    let room = (x_axis.to_px - x_axis.from_px) / points.len() as f64;
    let style = Style::SMALL.anchor(Anchor::Middle);
    for (place, point) in points.iter().enumerate() {
        let x = x_axis.at(place as f64);
        let mut below = y + 12.0;
        let labels = [
            Some(point.test.as_str()),
            point.day.as_deref(),
            point.batch.as_deref(),
        ];
        for label in labels.into_iter().flatten() {
            let text = shorten(label, 12.0, Weight::Regular, room - 6.0);
            svg.text(x, below, &text, style);
            below += 15.0;
        }
    }
    svg.text(
        sheet.width_px,
        y + 62.0,
        "test, day, batch",
        Style::TEXT.anchor(Anchor::End),
    );
    Some(svg.finish(y + 70.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use quantity::Measured;
    use record::Id;

    fn point(test: &str, base: f64, speed: Option<f64>, gradient: f64) -> ProcessPoint {
        ProcessPoint {
            test: test.to_owned(),
            film: "Testfilm & Co".to_owned(),
            batch: Some("B<7".to_owned()),
            process: Id::new("tray").unwrap(),
            day: Some("2026-06-21".to_owned()),
            base_plus_fog: Some(Measured::new(base, 0.005)),
            speed_stops: speed.map(|s| Measured::new(s, 0.1)),
            gradient: Measured::new(gradient, 0.01),
        }
    }

    #[test]
    fn values_outside_the_limits_are_counted_and_filled() {
        let points = [
            point("first", 0.10, Some(6.3), 0.60),
            // Base+fog 0.06 over the aim is outside 0.05; a quarter stop is within a third.
            point("second", 0.16, Some(6.55), 0.64),
            point("third", 0.10, None, 0.60),
        ];
        let refs: Vec<_> = points.iter().collect();
        let svg = process_plot(&refs, 0.90, Sheet::FILE).unwrap();
        assert!(svg.contains("1 value outside the limits"), "{svg}");
        // 3 base+fog, 2 speeds, 3 gradients.
        assert_eq!(svg.matches("<circle").count(), 8);
        assert_eq!(
            svg.matches("<circle").count() - svg.matches("r=\"3.6\" style=\"fill:#fafafa").count(),
            1
        );
        // A limit line above and below in each of three panels.
        assert_eq!(svg.matches("stroke-dasharray").count(), 6);
        assert!(svg.contains("Testfilm &amp; Co") && svg.contains("B&lt;7"));
        assert_eq!(svg, process_plot(&refs, 0.90, Sheet::FILE).unwrap());
    }

    #[test]
    fn one_curve_is_no_running_plot() {
        let one = point("first", 0.10, Some(6.3), 0.60);
        assert!(process_plot(&[&one], 0.90, Sheet::FILE).is_none());
        assert!(process_plot(&[], 0.90, Sheet::FILE).is_none());
    }

    #[test]
    fn a_wild_value_stays_on_the_sheet() {
        let points = [
            point("first", 0.10, Some(6.3), 0.60),
            point("second", 9.0, Some(-40.0), 0.60),
        ];
        let refs: Vec<_> = points.iter().collect();
        let svg = process_plot(&refs, 0.90, Sheet::PHONE).unwrap();
        assert!(svg.contains("2 values outside the limits"));
        assert!(!svg.contains("NaN"));
    }
}
