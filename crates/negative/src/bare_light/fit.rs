//! A smooth field of light through the places that were read.

use super::places::{Kind, Place};
use crate::patch::median;
use nalgebra::{DMatrix, DVector};

/// Fewest places that a plane is fitted to: two for each of its four unknowns (x, y,
/// rebate, light).
pub(super) const FEWEST: usize = 8;
/// The same with the part that follows r²: nearly three for each of five unknowns, a choice.
const FEWEST_ROUND: usize = 14;
/// A part that follows r² is kept when it is this much over its uncertainty: three, by
/// common practice.
const SIGNIFICANT: f64 = 3.0;
/// Rounds of weighing by distance from the fit: a choice.
const ROUNDS: usize = 12;
/// Least scatter of places about the fit, so that a perfect plane has weights: a choice.
/// \[log10 of signal\]
const LEAST_SCATTER: f64 = 5e-4;
/// Places of less weight count as off the field: dust, marks on the rebate. By the weights
/// below that is 3.5 times the scatter.
const COUNTS: f64 = 0.2;

/// A fitted field.
#[derive(Clone, Debug)]
pub(super) struct Field {
    /// Parts that follow x, y and r².
    pub(super) slopes: [f64; 3],
    /// Mean of the field over the places.
    mean: f64,
    /// Largest difference between two places.
    pub(super) range: f64,
    pub(super) range_sd: f64,
    /// Standard deviation of the field over the places.
    pub(super) spread: f64,
    /// Standard deviation of what lies beside the field, without noise.
    pub(super) rest: f64,
    /// Places that count, of rebate and of light.
    pub(super) rebate: usize,
    pub(super) light: usize,
}

impl Field {
    /// The field at a place, less its mean over the places that were read.
    pub(super) fn at(&self, at: (f64, f64)) -> f64 {
        value(&self.slopes, at) - self.mean
    }
}

fn value(slopes: &[f64; 3], (x, y): (f64, f64)) -> f64 {
    slopes[0] * x + slopes[1] * y + slopes[2] * (x * x + y * y)
}

/// Fits a field; `None` for too few places.
pub(super) fn field(places: &[Place]) -> Option<Field> {
    let flat = fitted(places, false)?;
    if places.len() < FEWEST_ROUND {
        return Some(flat.0);
    }
    match fitted(places, true) {
        Some((round, sd)) if round.slopes[2].abs() > SIGNIFICANT * sd => Some(round),
        _ => Some(flat.0),
    }
}

/// Fits with or without the part that follows r²; its uncertainty beside it.
fn fitted(places: &[Place], round: bool) -> Option<(Field, f64)> {
    if places.len() < FEWEST {
        return None;
    }
    let light = places.iter().any(|p| p.kind == Kind::Light);
    // Columns: x, y, r² if asked for, rebate, light if there is any.
    let row = |place: &Place| -> Vec<f64> {
        let (x, y) = place.at;
        let is = |kind: Kind| f64::from(u8::from(place.kind == kind));
        let mut row = vec![x, y];
        row.extend(round.then_some(x * x + y * y));
        row.push(is(Kind::Rebate));
        row.extend(light.then_some(is(Kind::Light)));
        row
    };
    let rows: Vec<Vec<f64>> = places.iter().map(row).collect();
    let columns = rows.first()?.len();
    let matrix = DMatrix::from_fn(rows.len(), columns, |i, k| rows[i][k]);
    let logs = DVector::from_iterator(places.len(), places.iter().map(|p| p.log));
    let mut weights = vec![1.0; places.len()];
    let mut solved = None;
    let mut scatter = LEAST_SCATTER;
    for _ in 0..ROUNDS {
        let weighed = DMatrix::from_fn(rows.len(), columns, |i, k| rows[i][k] * weights[i]);
        let inverse = (weighed.transpose() * &matrix).try_inverse()?;
        let solution = &inverse * (weighed.transpose() * &logs);
        let off = &logs - &matrix * &solution;
        scatter = (1.4826 * median(off.iter().map(|o| o.abs()).collect())).max(LEAST_SCATTER);
        for (weight, off) in weights.iter_mut().zip(off.iter()) {
            // Beaton and Tukey's weights, as elsewhere in this room.
            let part = (off / (4.685 * scatter)).clamp(-1.0, 1.0);
            *weight = (1.0 - part * part) * (1.0 - part * part);
        }
        solved = Some((solution, inverse, off));
    }
    let (solution, inverse, off) = solved?;
    let counted: Vec<usize> = (0..places.len()).filter(|i| weights[*i] > COUNTS).collect();
    if counted.len() < FEWEST || counted.len() * 3 < places.len() * 2 {
        return None;
    }
    let slopes = [
        solution[0],
        solution[1],
        if round { solution[2] } else { 0.0 },
    ];
    let values: Vec<f64> = counted
        .iter()
        .map(|i| value(&slopes, places[*i].at))
        .collect();
    let by_value = |a: &usize, b: &usize| values[*a].total_cmp(&values[*b]);
    let least = (0..values.len()).min_by(by_value)?;
    let most = (0..values.len()).max_by(by_value)?;
    // Uncertainty of the difference of the field between two places: d'Cd.
    let difference = DVector::from_fn(columns, |k, _| {
        let of_field = if round { 3 } else { 2 };
        if k < of_field {
            rows[counted[most]][k] - rows[counted[least]][k]
        } else {
            0.0
        }
    });
    let squares: f64 = counted.iter().map(|i| off[*i] * off[*i]).sum();
    let free = counted.len().saturating_sub(columns).max(1) as f64;
    let variance = (squares / free).max(scatter * scatter);
    let range_sd = libm::sqrt(variance * difference.dot(&(&inverse * &difference)).max(0.0));
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let noise = counted
        .iter()
        .map(|i| places[*i].log_sd * places[*i].log_sd)
        .sum::<f64>()
        / count;
    let of = |kind: Kind| counted.iter().filter(|i| places[**i].kind == kind).count();
    let round_sd = if round {
        libm::sqrt(variance * inverse[(2, 2)].max(0.0))
    } else {
        0.0
    };
    Some((
        Field {
            slopes,
            mean,
            range: values[most] - values[least],
            range_sd,
            spread: libm::sqrt(values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / count),
            rest: libm::sqrt((variance - noise).max(0.0)),
            rebate: of(Kind::Rebate),
            light: of(Kind::Light),
        },
        round_sd,
    ))
}
