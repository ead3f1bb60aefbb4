//! What the red end of a film is like before any reading.
//!
//! S(λ) = 1/(1 + 10^(k(λ − λe))), the red end of the classes of film in `spectra`:
//! level below the edge, half at it, and falling by k per nm beyond. No film is so
//! level in the blue and green; what that does to the unfiltered exposure is one
//! unknown common to all factors.

use spectra::FilmClass;

/// The classes of film that the grid reaches, and how common each is in such
/// tests. Shares are a choice, even but for the rarer infrared.
const CLASSES: [(FilmClass, f64); 3] = [
    (FilmClass::OrdinaryPanchromatic, 0.4),
    (FilmClass::ExtendedRed, 0.4),
    (FilmClass::NearInfrared, 0.2),
];

/// Spread of the edges here over that within a class. A choice: the class of the
/// film isn't told, and a film may lie between two.
const WIDER: f64 = 3.0;

/// Middle, spread and share of each class's edges. \[nm, nm, -\]
fn classes() -> [(f64, f64, f64); 3] {
    CLASSES.map(|(class, share)| {
        let model = class.model();
        (model.edge.to_nm(), WIDER * model.edge_sd_nm, share)
    })
}

/// Middle and natural-log spread of k. Common practice: a published red end falls
/// by two decades within 30 to 70 nm. \[log10 sensitivity per nm\]
const STEEPNESS: f64 = 0.045;
const STEEPNESS_LN_SD: f64 = 0.5;

/// How far the sensitivity below the edge may be from level, as it shows in the
/// exposure without a filter. \[log10\]
pub(super) const LEVEL_SD: f64 = 0.10;

/// How much the sensitivity below the edge goes up and down from one wavelength
/// to another. A choice: published curves of panchromatic films have a dip in the
/// green and a rise in the blue of some tenths. \[log10\]
const UNEVEN_SD: f64 = 0.20;

/// Exposure without a filter of an uneven film above that of a level one. \[log10\]
/// The mean of 10^x, with x normal of spread s, is 10^(ln 10/2 · s²); of that the
/// part of the mean itself, which [`LEVEL_SD`] holds, is not raised.
pub(super) const LEVEL_MIDDLE: f64 =
    0.5 * core::f64::consts::LN_10 * (UNEVEN_SD * UNEVEN_SD - LEVEL_SD * LEVEL_SD);

/// Edges that are considered. \[nm\]
pub(super) const EDGES_NM: core::ops::Range<usize> = 300..450;
/// Step of the edges. \[nm\]
pub(super) const EDGE_STEP_NM: f64 = 2.0;
/// Steepnesses that are considered: their number, and the ends.
pub(super) const STEEPNESSES: usize = 33;
const STEEPNESS_ENDS: (f64, f64) = (0.009, 0.22);

/// Edges on the grid. \[nm\]
pub(super) fn edges() -> Vec<f64> {
    EDGES_NM.map(|step| step as f64 * EDGE_STEP_NM).collect()
}

/// Steepnesses on the grid, even in their logarithm. \[log10 per nm\]
pub(super) fn steepnesses() -> Vec<f64> {
    let (low, high) = STEEPNESS_ENDS;
    let step = libm::log(high / low) / (STEEPNESSES - 1) as f64;
    (0..STEEPNESSES)
        .map(|i| low * libm::exp(step * i as f64))
        .collect()
}

/// Density of the class in λe and ln k, up to a constant.
pub(super) fn density(edge_nm: f64, steepness: f64) -> f64 {
    let normal = |z: f64| libm::exp(-0.5 * z * z);
    let edge: f64 = classes()
        .iter()
        .map(|(middle_nm, sd_nm, share)| share / sd_nm * normal((edge_nm - middle_nm) / sd_nm))
        .sum();
    edge * normal(libm::log(steepness / STEEPNESS) / STEEPNESS_LN_SD)
}

/// S(λ).
pub(super) fn sensitivity(nm: f64, edge_nm: f64, steepness: f64) -> f64 {
    // k = 1/(w ln 10).
    spectra::red_end(nm, edge_nm, core::f64::consts::LOG10_E / steepness)
}

/// What is assumed, for the list of assumptions.
pub(super) fn in_words() -> Vec<(String, String)> {
    let classes: Vec<String> = CLASSES
        .iter()
        .zip(classes())
        .map(|((class, share), (middle_nm, sd_nm, _))| {
            let word = class.word();
            format!(
                "{word} {middle_nm:.0} ± {sd_nm:.0} nm ({:.0} %)",
                100.0 * share
            )
        })
        .collect();
    vec![
        (
            "edge of films before any reading".to_owned(),
            format!(
                "{}; the classes of film that predictions use, {WIDER:.0} times as wide",
                classes.join(", ")
            ),
        ),
        (
            "steepness of the red end before any reading".to_owned(),
            format!(
                "{STEEPNESS} in log10 per nm, times or over {:.1}; common practice",
                libm::exp(STEEPNESS_LN_SD)
            ),
        ),
        (
            "sensitivity below the edge".to_owned(),
            format!(
                "uneven by {UNEVEN_SD:.1} in log10, which raises the exposure without a filter by {LEVEL_MIDDLE:.2}, within {LEVEL_SD:.1}; a choice"
            ),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sensitivity_is_half_at_the_edge_and_falls_by_the_steepness_beyond() {
        assert!((sensitivity(700.0, 700.0, 0.05) - 0.5).abs() < 1e-12);
        // 100 to 140 nm beyond at 0.05 per nm: two decades.
        let fall = sensitivity(800.0, 700.0, 0.05) / sensitivity(840.0, 700.0, 0.05);
        assert!((libm::log10(fall) - 2.0).abs() < 1e-4, "{fall}");
        assert!(sensitivity(400.0, 700.0, 0.05) > 0.999);
    }
}
