//! Curves that the frames' own brackets give, and what no bracket can know.

use crate::ReportInput;
use crate::words::{figure, filter_names, name, response_words, sentence};
use findings::{BracketFinding, CurveFinding, Findings};
use maud::{Markup, html};

/// The curves of brackets, with what they rest on.
pub(crate) fn bracket_curves(input: &ReportInput<'_>) -> Markup {
    let brackets = &input.findings.bracket_curves;
    html! {
        @if !brackets.is_empty() {
            h3 { "The curve by the frames’ own bracket" }
            p.keep {
                "Each patch got the same light in every frame of a bracket, so its "
                (read_words(brackets)) " differ by the recorded exposures alone. "
                "That fixes a curve which rises everywhere, without a formula for its form and without a tablet sheet."
            }
            @for bracket in brackets { (one(input, bracket)) }
        }
    }
}

/// What the readings of brackets are called.
fn read_words(brackets: &[BracketFinding]) -> &'static str {
    if brackets
        .iter()
        .all(|b| b.response == record::Response::Density)
    {
        "densities"
    } else {
        "readings"
    }
}

fn one(input: &ReportInput<'_>, bracket: &BracketFinding) -> Markup {
    let behind = if bracket.filters.is_empty() {
        "without filter".to_owned()
    } else {
        format!("behind {}", filter_names(input.test, &bracket.filters))
    };
    html! {
        @match &bracket.answer {
            Ok(told) => {
                (figure(|sheet| figures::bracket_curve(bracket, sheet)))
                p { "What the bracket of " (bracket.film) " in " (bracket.process) ", " (name(&behind)) ", can’t tell:" }
                ul { @for unknown in &told.cannot_tell { li { (sentence(unknown)) } } }
            }
            Err(why) => {
                p.note {
                    b { "No curve by the bracket of " (bracket.film) " in " (bracket.process) ", " (name(&behind)) ": " }
                    (sentence(why))
                }
            }
        }
    }
}

/// Says of a fitted curve that no tablet sheet stands behind it.
pub(crate) fn without_tablet_sheet(found: &Findings, curve: &CurveFinding) -> Markup {
    let own = found.bracket_curves.iter().any(|b| {
        b.film == curve.film && b.process == curve.process && b.response == curve.response
    });
    html! {
        @if own {
            p.note {
                b { "From the frames alone: " }
                "no tablet sheet was developed with " (curve.film) " in " (curve.process)
                ". Its " (response_words(curve.response)) " was fitted to the frames’ recorded exposures by the form that curves of films have. "
                "The curve by the bracket, below, takes no form for granted."
            }
        }
    }
}
