//! Tests held against each other: differences, what could explain them, and other
//! people's reports.

use crate::drawing::drawing;
use crate::form::fields;
use crate::layout::{Frame, Step, page};
use crate::pages::job;
use crate::refusal::{Refusal, sentence};
use crate::shared::{Others, Shared, away};
use app::ComparedTests;
use app::KeepError;
use app::shown::Difference;
use axum::extract::{Path, RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use std::sync::Arc;

/// Most tests that are compared at once.
const MOST: usize = 8;

/// The form on the findings page that chooses what to compare with: tests of the same
/// film or filter, or those that have the words that were sought.
pub(crate) fn choice(test: u32, others: &Others, words: &str) -> Markup {
    html! {
        section #compare {
            h2 { "Compare" }
            @if others.all == 0 {
                p { "Another test of this notebook with readings can be compared with this one. There is none yet." }
            } @else {
                form.search method="get" action=(format!("{}#compare", Step::Findings.of(&test.to_string()))) role="search" {
                    input type="search" name="with" value=(words) aria-label="Words of a test to compare with" placeholder="Film, filter, batch, place";
                    button { "Find" }
                }
                p.about role="status" { (told(others, words)) }
                @if !others.tests.is_empty() {
                    form method="get" action=(format!("/tests/{test}/compare")) {
                        fieldset {
                            legend.unseen { "Tests to compare with" }
                            @for other in &others.tests {
                                label { input type="checkbox" name="with" value=(other.number);
                                    (other.title) " " span.muted { (other.about) }
                                }
                            }
                        }
                        p.actions { button { "Compare" } }
                    }
                }
            }
        }
    }
}

/// What of the notebook's other tests is shown, and why.
fn told(others: &Others, words: &str) -> String {
    let shown = others.tests.len();
    let all = others.all;
    match (words.trim().is_empty(), shown) {
        (true, 0) => format!(
            "No other test with readings has the same film or filter; words find any of the {all} others."
        ),
        (true, _) if shown == all => "The notebook's other tests with readings.".to_owned(),
        (true, _) => format!(
            "{shown} of {all} other tests with readings: the nearest by film and filter. Words find others."
        ),
        (false, 0) => "No other test with readings has these words.".to_owned(),
        (false, 1) => "One other test with readings has these words.".to_owned(),
        (false, _) => format!("{shown} other tests with readings have these words, best first."),
    }
}

/// The comparison of a test with those that the query names.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    RawQuery(query): RawQuery,
) -> Result<Response, Refusal> {
    let mut tests = vec![test];
    for (name, value) in fields(query.unwrap_or_default().as_bytes()) {
        match value.parse::<u32>() {
            Ok(other) if name == "with" && !tests.contains(&other) => tests.push(other),
            _ => {}
        }
    }
    if tests.len() > MOST {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            format!(
                "{} tests at once are too many, the most are {MOST}",
                tests.len()
            ),
            "choose fewer",
        ));
    }
    let asked = tests.clone();
    let book = shared.book();
    let (open, found) =
        away(move || Ok::<_, KeepError>((book.open(test)?, book.compared(&asked)?))).await?;
    let id = test.to_string();
    let Some(found) = found else {
        let with: Vec<String> = tests[1..]
            .iter()
            .map(|other| format!("with={other}"))
            .collect();
        let again = format!("/tests/{test}/compare?{}", with.join("&"));
        let book = shared.book();
        let work = shared
            .jobs()
            .start_of(Some(test), "Comparing tests", move |progress| {
                book.compare(&tests, progress)?;
                Ok(again)
            })?;
        return Ok(Redirect::to(&job::address(work)).into_response());
    };
    let frame = Frame {
        token: shared.token(),
        called: Some("Compare"),
        ..Frame::of_test(&open, &id, Step::Findings)
    };
    Ok(page(&frame, body(&found)).into_response())
}

fn body(found: &ComparedTests) -> Markup {
    let c = &found.comparison;
    html! {
        h2.plain { "Compared" }
        @for note in c.notes.iter().filter(|n| n.starts_with("INVENTED")) { p.note { (sentence(note)) } }
        @if c.differences.is_empty() && c.outside_reports.is_empty() {
            div.empty {
                p { "Nothing in these tests can be compared with each other." }
                p { "Tests are compared on one film and filter, in one kind of light; other people's reports are typed in on the page of the findings." }
            }
        }
        @for difference in &c.differences { p { strong { (sentence(&difference.verdict)) } } }
        @if !c.outside_reports.is_empty() {
            h3 { "Other people's reports" }
            @for report in &c.outside_reports {
                p { b { (report.report.id) ": " (report.verdict.word()) ". " } (sentence(&report.reason)) " " span.muted { "Told in " (report.told_in) "." } }
            }
        }
        @if !c.batch.is_empty() {
            h3 { "Batches and processes" }
            @for batch in &c.batch { p { (sentence(&batch.verdict)) } }
        }
        @for (film, svg) in &found.process_plots {
            h3 { "Running process, " (film) }
            div.figure { (drawing(svg)) }
        }
        @for difference in c.differences.iter().filter(|d| d.significant || d.important) { (causes(difference)) }
        @for note in c.notes.iter().filter(|n| !n.starts_with("INVENTED")) { p.note { (sentence(note)) } }
        @for warning in &found.warnings { p.note { (sentence(warning)) } }
        details {
            summary { "What was assumed" }
            ul { @for a in &c.assumptions { li { (a.name) ": " (a.value) " " (a.unit) " (" (a.source) ")" } } }
        }
    }
}

fn causes(d: &Difference) -> Markup {
    let stops = |c: &Option<(app::shown::StopsOf, app::shown::StopsOf)>| match c {
        None => "size not known".to_owned(),
        Some((low, high)) => format!(
            "{} to {} stops",
            app::shown::signed_stops(*low),
            app::shown::signed_stops(*high)
        ),
    };
    html! {
        h3 { "What could explain: " (d.second.0) " against " (d.first.0) }
        div.wide tabindex="0" role="region" aria-label="Causes" {
            table {
                thead { tr { th scope="col" { "Cause" } th scope="col" { "State" } th scope="col" { "Up to" } th scope="col" { "Why" } } }
                tbody { @for cause in &d.causes { tr {
                    th scope="row" { (cause.cause) }
                    td.word { (cause.state.word()) }
                    td.word { (stops(&cause.stops)) }
                    td.long { (sentence(&cause.why)) }
                } } }
            }
        }
    }
}
