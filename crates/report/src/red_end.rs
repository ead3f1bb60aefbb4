//! The red end of each film: what the factors of several filters say about it.

use crate::ReportInput;
use crate::table::Table;
use crate::words::{counted, figure, film_name, filter_names, light_name, name, wide};
use figures::shown;
use findings::{NextFilter, Outlook, TailFinding};
use maud::{Markup, html};
use quantity::{FilterFactor, Interval, Stops};

/// A section for each film and light in which an edge was learned; nothing where none was.
pub(crate) fn red_ends(input: &ReportInput<'_>) -> Markup {
    html! {
        @if !input.tails.is_empty() {
            h3 #red-end { "Red end of the film" }
            @for tail in &input.tails { (red_end(input, tail)) }
            p.about {
                "Wavelengths of filters are those at half of their peak. Assumed: " (assumed(&input.tails)) "."
            }
        }
    }
}

fn red_end(input: &ReportInput<'_>, tail: &TailFinding) -> Markup {
    html! {
        h4 { (name(film_name(input.test, &tail.film))) " · " (light_name(input.test, &tail.light)) }
        @if tail.told_apart {
            (figure(|sheet| figures::red_end(tail, sheet)))
            p {
                "Learned from " (counted(tail.readings.len(), "filter")) ": half of the sensitivity is left at "
                b { (nm(tail.edge.value.to_nm())) } " (" (nm(tail.edge.low.to_nm())) " to "
                (nm(tail.edge.high.to_nm())) "), and beyond it the sensitivity falls by "
                b { (steepness(tail.steepness.value)) } " in log10 for each 10 nm ("
                (steepness(tail.steepness.low)) " to " (steepness(tail.steepness.high)) ")."
            }
        } @else {
            p {
                b { "One filter gives a ridge: " }
                "edge and steepness can't be told apart, since a film that ends earlier and falls gently gives the same factor as one that ends later and falls steeply behind "
                (name(filter_names(input.test, &tail.readings.iter().map(|r| r.filter.clone()).collect::<Vec<_>>())))
                ". What other filters would give rests mostly on what such films are like."
            }
        }
        @if let Some(next) = &tail.next { (next_filter(next, tail)) }
        @if !tail.outlooks.is_empty() { (outlooks(tail)) }
    }
}

/// Everything that was assumed, each once.
fn assumed(tails: &[TailFinding]) -> String {
    let mut told: Vec<String> = vec![];
    for (name, value) in tails.iter().flat_map(|tail| &tail.assumed) {
        let text = format!("{name}: {value}");
        if !told.contains(&text) {
            told.push(text);
        }
    }
    told.join("; ")
}

fn next_filter(next: &NextFilter, tail: &TailFinding) -> Markup {
    html! {
        p {
            b { "Filter to try next: " }
            "one with half of its peak near " (nm(next.half_peak_nm)) ", at a factor of about "
            (stops(&next.factor)) " stops. Expected: the edge from ±"
            (shown::fixed(next.edge_half_width_nm.0, 0)) " to ±" (nm(next.edge_half_width_nm.1))
            @if tail.told_apart {
                ", the steepness from ×÷ " (span(next.steepness_times_or_over.0)) " to ×÷ " (span(next.steepness_times_or_over.1))
            }
            "."
        }
    }
}

fn outlooks(tail: &TailFinding) -> Markup {
    let table = Table::<&Outlook>::new()
        .text("Half of peak at (nm)", |o| shown::fixed(o.half_peak_nm, 0))
        .text("Factor expected (stops)", |o| stops(&o.factor))
        .text("Interval", |o| {
            let ends = [o.factor.low, o.factor.high].map(|end| shown::fixed(to_stops(end), 1));
            ends.join(" to ")
        })
        .of(&tail.outlooks);
    wide("What other filters would give", table)
}

fn nm(value: f64) -> String {
    format!("{}\u{a0}nm", shown::fixed(value, 0))
}

/// Per 10 nm, where numbers are easy to read.
fn steepness(per_nm: f64) -> String {
    shown::fixed(10.0 * per_nm, 2)
}

fn span(times_or_over: f64) -> String {
    shown::fixed(times_or_over, 1)
}

fn to_stops(factor: FilterFactor) -> f64 {
    Stops::from_factor(factor).to_stops()
}

fn stops(factor: &Interval<FilterFactor>) -> String {
    shown::fixed(to_stops(factor.value), 1)
}
