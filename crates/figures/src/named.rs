//! Every figure of a test with a name, to be written as files.

use crate::{
    PatchLetters, Sheet, bracket, bracket_curve, characteristic_curve, curve_family, density_bars,
    ei_intervals, factor_intervals, wood_effect,
};
use findings::{CurveFinding, Findings};
use record::Response;

/// A figure with a name that can be part of a file name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedFigure {
    /// Name without ending: `characteristic-curve-pan-n`.
    pub name: String,
    /// The drawing, with literal colours.
    pub svg: String,
}

/// Draws every figure that the findings have data for, as files of their own.
#[must_use]
pub fn named_figures(findings: &Findings) -> Vec<NamedFigure> {
    let letters = PatchLetters::of(findings);
    let sheet = Sheet::FILE;
    let mut out = Vec::new();
    let mut push = |name: String, svg: Option<String>| {
        if let Some(svg) = svg {
            out.push(NamedFigure { name, svg });
        }
    };
    for curve in &findings.curves {
        push(
            format!("characteristic-curve-{}-{}", curve.film, curve.process),
            characteristic_curve(findings, curve, &letters, sheet),
        );
    }
    for found in &findings.bracket_curves {
        let filters: Vec<_> = found.filters.iter().map(|f| f.as_str()).collect();
        let behind = match filters.as_slice() {
            [] => "no-filter".to_owned(),
            filters => filters.join("+"),
        };
        push(
            format!(
                "bracket-curve-{}-{}-{behind}-{}",
                found.film,
                found.process,
                response_word(found.response)
            ),
            bracket_curve(found, sheet),
        );
    }
    for family in curve_families(findings) {
        if let [first, _, ..] = family.as_slice() {
            push(
                format!("curve-family-{}", first.film),
                curve_family(&family, sheet),
            );
        }
    }
    for (place, svg) in density_bars(findings, &letters, sheet)
        .into_iter()
        .enumerate()
    {
        push(format!("density-{}", place + 1), Some(svg));
    }
    push("ei".to_owned(), ei_intervals(findings, sheet));
    push(
        "filter-factor".to_owned(),
        factor_intervals(findings, sheet),
    );
    for factor in &findings.factors {
        let filters: Vec<_> = factor.filters.iter().map(|f| f.as_str()).collect();
        push(
            format!(
                "bracket-{}-{}-{}",
                factor.film,
                filters.join("+"),
                factor.light
            ),
            bracket(findings, factor, sheet),
        );
    }
    push("wood-effect".to_owned(), wood_effect(findings, sheet));
    out
}

fn response_word(response: Response) -> &'static str {
    match response {
        Response::Density => "density",
        Response::RelativeDensity => "relative",
        Response::LogSignal => "signal",
    }
}

/// Groups the curves by film, so that those of one film can lie in one plot;
/// curves whose axes differ in kind are kept apart.
#[must_use]
pub fn curve_families(findings: &Findings) -> Vec<Vec<&CurveFinding>> {
    let mut families: Vec<Vec<&CurveFinding>> = Vec::new();
    for curve in &findings.curves {
        let alike = |c: &&CurveFinding| {
            c.film == curve.film
                && c.response == curve.response
                && c.absolute_exposure == curve.absolute_exposure
        };
        match families.iter_mut().find(|f| f.iter().all(alike)) {
            Some(family) => family.push(curve),
            None => families.push(vec![curve]),
        }
    }
    families
}
