//! The answer, on one page: EI, factor, verdicts, and what can't be told.

use crate::ReportInput;
use crate::table::Table;
use crate::words::{
    capital, film_name, filter_names, flag_notes, folding, light_name, name, sentence,
};
use figures::shown;
use findings::{CannotTell, FactorFinding, FrameFinding, SpeedFinding, Verdict};
use maud::{Markup, html};
use quantity::{Bound, FilterFactor};
use record::Test;

pub(crate) fn answer(input: &ReportInput<'_>) -> Markup {
    let found = input.findings;
    html! {
        section #answer {
            h2 { "Answer" }
            @for note in &found.notes { p { (sentence(note)) } }
            @if found.factors.is_empty() && found.speeds.is_empty() {
                p { "No EI and no filter factor can be told from this test; what would settle it stands below." }
            }
            div.answers {
                @for factor in &found.factors { (factor_answer(input.test, factor)) }
                @for speed in &found.speeds { (speed_answer(input.test, speed)) }
            }
            (flag_notes(&found.flags))
            @if !found.frames.is_empty() {
                h3 { "Frames" }
                (frame_table(input.test, &found.frames))
            }
            @if !found.cannot_tell.is_empty() {
                h3 { "What cannot be told, and what would settle it" }
                div.texts { @for open in &found.cannot_tell { (cannot_tell(open)) } }
            }
            @if !input.refusals.is_empty() {
                h3 { "Refused" }
                @for refusal in &input.refusals { p.note { (sentence(refusal)) } }
            }
        }
    }
}

fn per_cent(share: f64) -> String {
    format!("{}\u{a0}%", shown::fixed(100.0 * share, 0))
}

fn factor_answer(test: &Test, factor: &FactorFinding) -> Markup {
    let bound = shown::opposite(factor.bound);
    let density = |f: FilterFactor| shown::density(f.to_density());
    html! {
        div.answer {
            h3 {
                (name(film_name(test, &factor.film))) " behind " (name(filter_names(test, &factor.filters)))
                " · " (light_name(test, &factor.light))
            }
            @match factor.ei {
                Some(ei) => p.ei {
                    "EI " (shown::short_ei_interval(ei, bound)) " "
                    small {
                        @if bound.is_some() {
                            "a bound, no interval"
                        } @else {
                            (shown::ei_low(ei.low)) " to " (shown::ei_high(ei.high)) ", "
                            (per_cent(ei.coverage)) " interval"
                        }
                    }
                },
                None => p.ei { "No EI " small { (factor.ei_basis) } },
            }
            dl {
                dt { "Filter factor" }
                dd { (shown::interval(factor.factor, factor.bound, shown::factor)) }
                dt { "Stops" }
                dd { (shown::interval(factor.stops, factor.bound, shown::stops)) }
                dt { "Density" }
                dd { (shown::interval(factor.factor, factor.bound, density)) }
            }
            @if factor.ei.is_some() { p.about { (sentence(&factor.ei_basis)) } }
            @if let Some(side) = factor.bound {
                p.note {
                    b { "Bound: " }
                    @match side {
                        Bound::AtLeast => "the film needs at least this much more exposure; how much more than that, these frames cannot tell.",
                        Bound::AtMost => "the film needs at most this much more exposure; how much less than that, these frames cannot tell.",
                    }
                }
            }
            (flag_notes(&factor.flags))
        }
    }
}

fn speed_answer(test: &Test, speed: &SpeedFinding) -> Markup {
    html! {
        div.answer {
            h3 { (name(film_name(test, &speed.film))) " without filter · " (speed.process) }
            p.ei {
                "EI " (shown::ei(speed.ei.value)) " "
                small {
                    (shown::ei_low(speed.ei.low)) " to " (shown::ei_high(speed.ei.high)) ", "
                    (per_cent(speed.ei.coverage)) " interval"
                }
            }
            p.about { (sentence(&speed.basis)) }
            (flag_notes(&speed.flags))
        }
    }
}

/// Gives the word of a verdict as the report writes it.
pub(crate) fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::CannotTell => "cannot be told",
        other => other.word(),
    }
}

/// Most rows of a table that a printed page keeps together.
const WHOLE_ROWS: usize = 24;

fn frame_table(test: &Test, frames: &[FrameFinding]) -> Markup {
    // A table that fits a sheet is not broken over two.
    let whole = if frames.len() <= WHOLE_ROWS {
        "frames whole"
    } else {
        "frames"
    };
    let table = Table::<&FrameFinding>::new()
        .name("Frame", |f| name(&f.frame))
        .verdict("Verdict", |f| verdict_word(f.verdict))
        .words("Filter", |f| name(filter_names(test, &f.filters)))
        .words("Exposure", |f| &f.exposure)
        .number(html! { "EI, filter" br; "included" }, |f| {
            f.effective_ei.map_or("–".to_owned(), shown::ei)
        })
        .number(html! { "Stops" br; "missing" }, |f| {
            f.stops_missing.as_ref().map_or("–".to_owned(), |missing| {
                shown::signed_stops_or_limit(missing.value(), f.stops_missing_bound)
            })
        })
        .sentences("Why", |f| sentence(&f.reason))
        .of(frames);
    folding(whole, table)
}

fn cannot_tell(open: &CannotTell) -> Markup {
    html! {
        div {
            h4 { (capital(&open.question)) }
            p { (sentence(&open.reason)) " " b { "To settle it: " } (sentence(&open.remedy)) }
        }
    }
}
