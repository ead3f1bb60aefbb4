//! Everything a stranger needs to work the findings out again.
//!
//! Here is the order; the readings and what the fit made of them stand in `readings`,
//! each frame's record in `exposures`, lights and materials in `records`, files, version
//! and flags in `again`.

mod again;
mod exposures;
mod readings;
mod records;

use crate::ReportInput;
use crate::words::light_name;
use figures::PatchLetters;
use maud::{Markup, html};
use record::Test;

pub(crate) fn raw(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    let parts = input.test.parts();
    html! {
        section #raw {
            h2 { "Raw" }
            h3 { "Readings" }
            (readings::readings(input.test, input.findings, letters))
            (readings::fitted_frames(input.findings))
            (readings::curve_samples(input.findings))
            h3 { "Exposure records" }
            (exposures::exposures(&parts.frames))
            (records::records(parts))
            (again::files(input))
            (again::recompute(input))
            (again::flags(input))
        }
    }
}

/// Names the lights in words for the head of the report.
pub(crate) fn light_list(test: &Test) -> String {
    let names: Vec<_> = test
        .parts()
        .lights
        .iter()
        .map(|l| light_name(test, &l.id))
        .collect();
    names.join("; ")
}

/// What stands where nothing is known.
fn none() -> String {
    "–".to_owned()
}
