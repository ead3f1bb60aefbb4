//! The tests of the notebook: found, opened, begun, taken in, put away.

use crate::form::encoded;
use crate::layout::{Frame, Step, page, token_field};
use crate::pages::job;
use crate::refusal::Refusal;
use crate::shared::{Shared, away};
use app::shown::name;
use app::{KeepError, TestOverview};
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::response::Redirect;
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;

/// What the list is asked for.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Asked {
    /// Words to be found.
    words: Option<String>,
    /// Whether those put away are wanted.
    put_away: Option<String>,
    /// How many of the last changed are passed over.
    after: Option<u32>,
}

/// Most tests on one page of the list; older ones have pages of their own.
const PAGE: usize = 200;

/// What the list shows, and of how many.
struct Listed {
    tests: Vec<TestOverview>,
    /// All tests of the list, or all that were found.
    all: usize,
    /// Whether the worked example is among all of them.
    has_example: bool,
}

/// The list of tests.
pub(crate) async fn list(
    State(shared): State<Arc<Shared>>,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Result<Markup, Refusal> {
    let Query(asked) = asked?;
    let words = asked.words.unwrap_or_default();
    let put_away = asked.put_away.is_some();
    let after = asked.after.unwrap_or_default() as usize;
    let book = shared.book();
    let sought = words.clone();
    let Listed {
        tests,
        all,
        has_example,
    } = away(move || {
        if sought.trim().is_empty() {
            let tests = book.tests(put_away)?;
            Ok::<_, KeepError>(Listed {
                all: tests.len(),
                has_example: tests.iter().any(|t| t.invented),
                tests: tests.into_iter().skip(after).take(PAGE).collect(),
            })
        } else {
            let found = book.search(&sought)?;
            Ok(Listed {
                all: found.all as usize,
                has_example: true,
                tests: found.tests,
            })
        }
    })
    .await?;
    let found = !words.trim().is_empty();
    let frame = Frame {
        token: shared.token(),
        modules: &["tests.js"],
        ..Frame::plain("Tests")
    };
    let token = shared.token();
    Ok(page(
        &frame,
        html! {
            @if all == 0 && !found && !put_away {
                (nothing_yet())
                (ways_to_begin(token, false))
            } @else {
                form.search method="get" action="/" role="search" {
                    input type="search" name="words" value=(words) aria-label="Words to be found" placeholder="Film, filter, batch, place";
                    button { "Find" }
                }
                @if tests.is_empty() {
                    p {
                        @if found { "No test has these words." }
                        @else if put_away && all == 0 { "No test is put away." }
                        @else { "No test is that old." }
                        " " a href="/" { "All tests" }
                    }
                } @else {
                    @if found { (hits(tests.len(), all)) }
                    (rows(&tests, put_away, token))
                    @if !found { (pages_of_list(after, tests.len(), all, put_away)) }
                }
                (ways_to_begin(token, has_example))
                p.about {
                    @if put_away { a href="/" { "Tests at hand" } } @else { a href="/?put_away=1" { "Tests put away" } }
                    " · " a href="/spectra" { "What a filter costs, without a test" }
                }
            }
        },
    ))
}

/// How many were found, and whether all of them are shown.
fn hits(shown: usize, all: usize) -> Markup {
    html! {
        p.about role="status" {
            @if shown < all {
                (all) " tests have these words; the " (shown) " that fit best are shown. One more word finds fewer."
            } @else if all == 1 { "One test has these words." }
            @else { (all) " tests have these words." }
        }
    }
}

/// The way to tests that were changed earlier or later than those shown.
fn pages_of_list(after: usize, shown: usize, all: usize, put_away: bool) -> Markup {
    let address = |after: usize| {
        let put_away = if put_away { "&put_away=1" } else { "" };
        format!("/?after={after}{put_away}")
    };
    let last = after + shown;
    html! {
        @if shown < all {
            nav.actions aria-label="Pages of the list" {
                span.about { "Tests " (after + 1) " to " (last) " of " (all) ", last changed first" }
                @if after > 0 { a.button href=(address(after.saturating_sub(PAGE))) { "Changed later" } }
                @if last < all { a.button href=(address(last)) { "Changed earlier" } }
            }
        }
    }
}

fn nothing_yet() -> Markup {
    html! {
        div.empty {
            p { "This notebook has no test yet." }
            p {
                "A test finds out which exposure index gives a printable negative behind a filter: one film, one or more filters, "
                "a frame without a filter, and a few behind it. Begin with a plan before the film is exposed, "
                "or write down what was exposed already. The worked example shows the whole way on invented data."
            }
        }
    }
}

fn ways_to_begin(token: &str, has_example: bool) -> Markup {
    html! {
        div.actions {
            a.button.main href="/tests/new" { "New test" }
            @if !has_example {
                form method="post" action="/tests/example" {
                    (token_field(token))
                    button { "Open the worked example" }
                }
            }
            label.button data-take-in tabindex="0" {
                "Take in a test folder"
                input #folder type="file" webkitdirectory hidden;
            }
            label.button data-take-in tabindex="0" {
                "Take in a bundle"
                input #bundle type="file" accept=".zip" hidden;
            }
        }
        div.told data-coming hidden {
            p data-work role="status" {}
            p { progress aria-label="How much of the folder came" max="1" {} }
            p.actions { button type="button" data-cancel { "Cancel" } }
        }
        p.about {
            "A test folder holds test.toml, tables and scans; a bundle (.zip) is one as it is handed on. "
            "Either may be dropped anywhere on this page."
        }
    }
}

fn rows(tests: &[TestOverview], put_away: bool, token: &str) -> Markup {
    html! {
        div.wide.fold tabindex="0" role="region" aria-label="Tests" {
            table.list {
                thead { tr {
                    th scope="col" { "Test" }
                    th scope="col" { "Film" }
                    th scope="col" { "Filter" }
                    th scope="col" { "How far" }
                    th.n scope="col" { "Frames" }
                    th scope="col" { "Changed" }
                    th scope="col" { span.unseen { "Put away" } }
                } }
                tbody { @for test in tests { tr {
                    th scope="row" {
                        a href=(first_page(test)) {
                            @if test.title.is_empty() { "without a title" } @else { (name(&test.title)) }
                        }
                        @if test.invented { " " span.muted { "invented data" } }
                    }
                    td { (name(test.films.join(", "))) }
                    td { (name(test.filters.join(", "))) }
                    td.word {
                        (test.stage.word())
                        @if test.problems > 0 { ", " (test.problems) " to mend" }
                    }
                    td.n { (test.frames) @if test.planned > test.frames { " of " (test.planned) } }
                    td.word { (day(&test.changed_at)) }
                    td {
                        form method="post" action=(format!("/tests/{}/{}", encoded(&test.id.to_string()), if put_away { "take-out" } else { "put-away" })) {
                            (token_field(token))
                            button.word aria-label=(format!("{} {}", if put_away { "Take out" } else { "Put away" }, test.title)) {
                                @if put_away { "Take out" } @else { "Put away" }
                            }
                        }
                    }
                } } }
            }
        }
    }
}

/// The page on which the work on a test goes on.
fn first_page(test: &TestOverview) -> String {
    let id = test.id.to_string();
    match test.stage.word() {
        "measured" => Step::Findings.of(&id),
        "planned" => Step::Plan.of(&id),
        _ => Step::Exposures.of(&id),
    }
}

fn day(at: &str) -> &str {
    at.get(..10).unwrap_or(at)
}

/// Makes the worked example and opens it.
pub(crate) async fn example(State(shared): State<Arc<Shared>>) -> Result<Redirect, Refusal> {
    let book = shared.book();
    let work = shared
        .jobs()
        .start("Making the worked example", move |progress| {
            let test = book.add_example(progress)?;
            book.evaluate(test, progress)?;
            Ok(Step::Findings.of(&test.to_string()))
        })?;
    Ok(Redirect::to(&job::address(work)))
}

/// Puts a test away: it leaves the list, and can be taken out again.
pub(crate) async fn put_away(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Redirect, Refusal> {
    let book = shared.book();
    away(move || book.put_away(test, true)).await?;
    Ok(Redirect::to("/"))
}

/// Takes a test out again.
pub(crate) async fn take_out(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Redirect, Refusal> {
    let book = shared.book();
    away(move || book.put_away(test, false)).await?;
    Ok(Redirect::to("/"))
}
