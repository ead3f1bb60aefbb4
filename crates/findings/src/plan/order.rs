//! The order of a bracket, so that light that drifts evenly does not move the factor.

/// Most frames whose orders are all tried.
const TRIED: usize = 7;

/// Gives the order of frames whose exposures are `offsets` stops, such that time
/// and exposure go together least; the middle of the bracket comes early.
///
/// Up to seven frames the order is the best there is; beyond, the rest follow
/// from the middle outward by turns.
pub(super) fn balanced(offsets: &[f64]) -> Vec<usize> {
    let mut from_the_middle: Vec<usize> = (0..offsets.len()).collect();
    from_the_middle.sort_by(|a, b| offsets[*a].abs().total_cmp(&offsets[*b].abs()));
    let (tried, rest) = from_the_middle.split_at(offsets.len().min(TRIED));
    let mut best = (f64::INFINITY, tried.to_vec());
    let mut chosen = vec![];
    search(offsets, tried, &mut chosen, &mut best);
    best.1.extend(rest);
    best.1
}

/// How exposure goes with time: Σ (place − middle)·offset. \[stops\]
pub(super) fn slant(offsets: &[f64], order: &[usize]) -> f64 {
    let middle = 0.5 * (order.len() as f64 - 1.0);
    order
        .iter()
        .enumerate()
        .map(|(place, &k)| (place as f64 - middle) * offsets[k])
        .sum()
}

fn search(offsets: &[f64], of: &[usize], chosen: &mut Vec<usize>, best: &mut (f64, Vec<usize>)) {
    if chosen.len() == of.len() {
        let found = slant(offsets, chosen).abs();
        if found < best.0 - 1e-9 {
            *best = (found, chosen.clone());
        }
        return;
    }
    for &k in of {
        if !chosen.contains(&k) {
            chosen.push(k);
            search(offsets, of, chosen, best);
            chosen.pop();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_even_drift_does_not_go_with_exposure() {
        for n in 2..=7_usize {
            let middle = 0.5 * (n as f64 - 1.0);
            let offsets: Vec<f64> = (0..n).map(|k| k as f64 - middle).collect();
            let order = balanced(&offsets);
            let mut all = order.clone();
            all.sort_unstable();
            assert_eq!(all, (0..n).collect::<Vec<_>>());
            // Two or three frames have an order to themselves that drifts less, at best.
            let most = if n <= 3 { 1.0 } else { 0.5 };
            assert!(slant(&offsets, &order).abs() <= most, "{n}: {order:?}");
        }
    }
}
