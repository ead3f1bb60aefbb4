//! Many readings as few points, so that a fit of any size ends soon.
//!
//! Some steps of the fit compare every point with every other. Readings beyond
//! [`POINTS_MAX`] are therefore brought together: first those of one exposure,
//! then, if that is not enough, those of one narrow stretch of log H. A group
//! stands for its weighted mean, with the uncertainty of that mean. What single
//! readings are off is judged afterwards, each against the curve.
//!
//! Private machinery of the curve fit; begin with [`groups_of`].

use crate::least_squares::Point;

/// Most points that a fit works with; the fit of so many takes a tenth of a second.
pub(crate) const POINTS_MAX: usize = 200;
/// Exposures that differ by less are repeats of one, log10 H.
const SAME_EXPOSURE: f64 = 1e-6;
/// Distance from the middle of its group, in standard deviations of the group's
/// scatter, beyond which a reading has no say in the first means.
const WILD: f64 = 3.5;

/// Gives the places of the readings in groups, by rising exposure; at most
/// [`POINTS_MAX`] groups, one reading in each when there are no more than that.
pub(crate) fn groups_of(points: &[Point]) -> Vec<Vec<usize>> {
    if points.len() <= POINTS_MAX {
        return (0..points.len()).map(|place| vec![place]).collect();
    }
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&a, &b| points[a].x.total_cmp(&points[b].x));
    let by_exposure = joined(&order, points, SAME_EXPOSURE);
    if by_exposure.len() <= POINTS_MAX {
        return by_exposure;
    }
    let range = points[order[order.len() - 1]].x - points[order[0]].x;
    joined(&order, points, range / POINTS_MAX as f64)
}

/// Joins neighbours that lie less than `width` above the first of their group.
fn joined(order: &[usize], points: &[Point], width: f64) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut first = f64::NEG_INFINITY;
    for &place in order {
        let x = points[place].x;
        match groups.last_mut() {
            // The last reading of all belongs to the last group, rounding or not.
            Some(group) if x - first < width * (1.0 + 1e-9) => group.push(place),
            _ => {
                groups.push(vec![place]);
                first = x;
            }
        }
    }
    groups
}

/// Gives each group without its wild readings: those far from its middle, by the
/// scatter of the group itself.
pub(crate) fn without_wild(groups: &[Vec<usize>], points: &[Point]) -> Vec<Vec<usize>> {
    let middle = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    groups
        .iter()
        .map(|group| {
            if group.len() < 3 {
                return group.clone();
            }
            let mut values: Vec<f64> = group.iter().map(|&k| points[k].y).collect();
            let centre = middle(&mut values);
            let mut off: Vec<f64> = group
                .iter()
                .map(|&k| (points[k].y - centre).abs())
                .collect();
            let spread = middle(&mut off) / 0.674_5;
            let kept: Vec<usize> = group
                .iter()
                .copied()
                .filter(|&k| (points[k].y - centre).abs() <= WILD * spread.max(points[k].sd))
                .collect();
            if kept.is_empty() { group.clone() } else { kept }
        })
        .collect()
}

/// Gives the weighted mean of each group, with the uncertainty of the mean.
pub(crate) fn means(groups: &[Vec<usize>], points: &[Point], sd_min: f64) -> Vec<Point> {
    groups
        .iter()
        .map(|group| {
            let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
            for &k in group {
                let p = &points[k];
                let weight = p.trust / (p.sd * p.sd);
                sum += weight;
                x += weight * p.x;
                y += weight * p.y;
            }
            Point {
                x: x / sum,
                y: y / sum,
                sd: (1.0 / sum).sqrt().max(sd_min),
                trust: 1.0,
            }
        })
        .collect()
}
