//! Findings and figures to one self-contained HTML report.
//!
//! [`html`] writes one file that loads nothing from elsewhere: fonts, style,
//! figures and pictures are inside, and there is no script. The order is
//! answer, evidence, raw, cautions. A reader sees the EI before reading a
//! word, and a stranger finds every reading and record to work it out again.
//!
//! A pure room: pictures come in as PNG bytes and the day as text; the same
//! input gives the same bytes. Nothing is computed here beyond rounding.
//!
//! Read [`ReportInput`] first, then `answer`, `evidence` and `raw`.

mod answer;
mod bracket_curves;
pub mod card;
mod cautions;
mod evidence;
mod fragments;
mod input;
mod labels;
mod maps;
mod pictures;
mod raw;
mod red_end;
mod scan_checks;
pub mod style;
mod table;
mod words;

pub use figures::DensityScale;
pub use fragments::{DrawnTwice, Fragments, fragments};
pub use input::{
    CheckOutcome, CheckTold, FlagEvidence, FramePicture, MapsTold, OutlineKind, PairPictures,
    PictureOutline, ReportInput, ScanSummary,
};
pub use words::name;

use figures::PatchLetters;
use maud::{DOCTYPE, PreEscaped};

/// Writes the report as one HTML file that loads nothing from elsewhere.
#[must_use]
pub fn html(input: &ReportInput<'_>) -> String {
    let letters = PatchLetters::of(input.findings);
    let title = &figures::in_line(&input.findings.title);
    let foot = match &input.made_on {
        Some(day) => format!("{title}, {day}"),
        None => title.clone(),
    };
    let parts = input.test.parts();
    let page = maud::html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style::style_sheet(&foot))) }
            }
            body {
                header {
                    p.about {
                        "Film test report"
                        @if let Some(day) = &input.made_on { " · " (day) }
                        @if let Some(tester) = &parts.tester { " · " (tester) }
                        " · version " (input.version)
                    }
                    h1 { (title) }
                    @if let Some(purpose) = &parts.purpose { p { (words::sentence(purpose)) } }
                    @if !parts.lights.is_empty() { p.about { "Light: " (raw::light_list(input.test)) } }
                    @if input.findings.invented {
                        p.invented role="note" {
                            "INVENTED DATA"
                            span { "No film was exposed for this report; its readings were made up to show how it works." }
                        }
                    }
                    nav aria-label="Parts of the report" {
                        p {
                            a href="#answer" { "Answer" } " · " a href="#evidence" { "Evidence" } " · "
                            a href="#raw" { "Raw" } " · " a href="#cautions" { "Cautions" }
                        }
                    }
                }
                main {
                    (answer::answer(input))
                    (evidence::evidence(input, &letters))
                    (raw::raw(input, &letters))
                    (cautions::cautions())
                }
            }
        }
    };
    page.into_string()
}
