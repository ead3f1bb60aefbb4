//! Parts of the report for pages that show them one by one.
//!
//! The same words and figures as in the report, so that the two can't differ.
//! The negatives are left out: a page shows them in another way.

use crate::bracket_curves::bracket_curves;
use crate::{ReportInput, answer, evidence, raw};
use figures::{PatchLetters, Sheet, characteristic_curve, curve_families, curve_family};

/// A figure on a wide sheet and on a phone's.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DrawnTwice {
    /// For a wide page.
    pub wide: String,
    /// For a phone.
    pub narrow: String,
}

/// Parts of the report, as HTML.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fragments {
    /// EI, factor, verdicts, and what can't be told.
    pub answer: String,
    /// Every criterion side by side.
    pub criteria: String,
    /// Why: figures of EI and factor, causes, assumptions.
    pub reasons: String,
    /// How far the scans can be believed.
    pub scans: String,
    /// Every reading and record.
    pub raw: String,
    /// The curve of each film and process, in the order of the findings; `None`
    /// where too few readings are there to be drawn.
    pub curves: Vec<Option<DrawnTwice>>,
    /// Curves that the frames' own brackets give, with what they can't know.
    pub brackets: String,
    /// Curves of one film that lie in one plot.
    pub families: Vec<DrawnTwice>,
}

/// Writes the parts.
#[must_use]
pub fn fragments(input: &ReportInput<'_>) -> Fragments {
    let found = input.findings;
    let letters = PatchLetters::of(found);
    let twice = |draw: &dyn Fn(Sheet) -> Option<String>| {
        Some(DrawnTwice {
            wide: draw(Sheet::PAGE)?,
            narrow: draw(Sheet::PHONE)?,
        })
    };
    Fragments {
        answer: answer::answer(input).into_string(),
        criteria: evidence::criteria(input).into_string(),
        reasons: evidence::reasons(input, &letters).into_string(),
        scans: evidence::scans(&input.scans).into_string(),
        raw: raw::raw(input, &letters).into_string(),
        curves: found
            .curves
            .iter()
            .map(|curve| twice(&|sheet| characteristic_curve(found, curve, &letters, sheet)))
            .collect(),
        brackets: bracket_curves(input).into_string(),
        families: curve_families(found)
            .iter()
            .filter(|family| family.len() > 1)
            .filter_map(|family| twice(&|sheet| curve_family(family, sheet)))
            .collect(),
    }
}
