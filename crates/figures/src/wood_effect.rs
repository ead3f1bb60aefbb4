//! The Wood effect: how many stops foliage gains over a grey card behind the filter.

use crate::axis::Axis;
use crate::characteristic_curve::counted;
use crate::factor_interval::{filters_words, several};
use crate::intervals::{Row, draw_rows, extent, stop_ticks};
use crate::shown;
use crate::svg::{Sheet, Svg};
use findings::{Findings, WoodFinding};

/// Draws every Wood effect on one stops axis; `None` without any.
#[must_use]
pub fn wood_effect(findings: &Findings, sheet: Sheet) -> Option<String> {
    let rows: Vec<_> = findings
        .wood_effect
        .iter()
        .map(|w| Row {
            label: format!(
                "{} · {} · {} · {}",
                w.film,
                filters_words(&w.filters),
                w.light,
                if w.shade {
                    "shaded foliage"
                } else {
                    "sunlit foliage"
                }
            ),
            numbers: format!(
                "{} stops",
                shown::interval(w.gain, w.bound, shown::signed_stops)
            ),
            low: w.gain.low.to_stops(),
            value: w.gain.value.to_stops(),
            high: w.gain.high.to_stops(),
            bound: w.bound,
        })
        .collect();
    let first = findings.wood_effect.first()?;
    let (low, high) = extent(rows.iter().flat_map(Row::ends).chain([0.0]))?;
    let title = several(groups(&findings.wood_effect).iter().map(|group| {
        let gains: Vec<_> = group
            .iter()
            .map(|w| {
                let foliage = if w.shade { "shaded" } else { "sunlit" };
                let gain = shown::short_interval(w.gain, w.bound, shown::signed_stops);
                format!("{gain} stops {foliage}")
            })
            .collect();
        format!(
            "{} {} behind {} in {}",
            gains.join(" and "),
            group[0].film,
            filters_words(&group[0].filters),
            group[0].light
        )
    }));
    let title = format!("Foliage over the card: {title}");
    let subtitle = format!(
        "Foliage against a grey card, behind the filter less without it, in stops; right of 0 foliage is lighter in the print. {}, {}\u{a0}% intervals.",
        counted(rows.len(), "pair"),
        shown::fixed(100.0 * first.gain.coverage, 0)
    );
    let mut svg = Svg::new(sheet, &title, &subtitle);
    let top = svg.heading();
    let axis = Axis {
        low: libm::floor(low - 0.5),
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
        "gain of foliage over the card (stops)",
    );
    Some(svg.finish(bottom))
}

/// Groups what was found behind the same filters in the same light.
fn groups(found: &[WoodFinding]) -> Vec<Vec<&WoodFinding>> {
    let mut groups: Vec<Vec<&WoodFinding>> = Vec::new();
    for w in found {
        let alike =
            |o: &&WoodFinding| o.film == w.film && o.filters == w.filters && o.light == w.light;
        match groups.iter_mut().find(|g| g.iter().all(alike)) {
            Some(group) => group.push(w),
            None => groups.push(vec![w]),
        }
    }
    groups
}
