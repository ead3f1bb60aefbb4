//! The step tablet on the light table: which one lies there, how far the search is,
//! what was found. Nothing is kept before it was looked at.

use crate::book::{Found, Missing, TabletSearch};
use crate::drawing::drawing;
use crate::form::{encoded, field, fields};
use crate::jobs::{JobStage, JobState};
use crate::layout::{Step, token_field};
use crate::pages::history::number;
use crate::refusal::{Refusal, sentence};
use crate::shared::{Shared, away};
use crate::tablet_looks;
use app::{AppError, KeepError, USUAL_TABLETS, UsualTablet};
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Redirect;
use maud::{Markup, html};
use std::sync::Arc;

/// What a page shows of the search, and of the work on it.
#[derive(Clone, Debug)]
pub(crate) struct Shown {
    test: u32,
    revision: u32,
    search: TabletSearch,
    job: Option<JobState>,
    /// Why it could not begin.
    refused: Option<AppError>,
}

impl Shown {
    /// Reads how the search stands, and begins it where a recorded tablet was not looked for.
    pub(crate) fn of(shared: &Shared, test: u32) -> Result<Self, KeepError> {
        let book = shared.book();
        let search = book.tablet_search(test)?;
        let mut shown = Self {
            test,
            revision: book.open(test)?.revision,
            job: tablet_looks::state(shared, test),
            search,
            refused: None,
        };
        let halted = matches!(
            shown.job,
            Some(JobState {
                state: JobStage::Running | JobStage::Stopped | JobStage::Failed,
                ..
            })
        );
        if shown.search.wanting && !halted {
            match tablet_looks::begin(shared, test, None) {
                Ok(_) => shown.job = tablet_looks::state(shared, test),
                Err(error) => shown.refused = Some(error),
            }
        }
        Ok(shown)
    }

    pub(crate) fn running(&self) -> Option<&JobState> {
        self.job
            .as_ref()
            .filter(|job| job.state == JobStage::Running)
    }

    /// Whether something is to be decided about a tablet.
    pub(crate) fn asks(&self) -> bool {
        !self.search.uncalibrated.is_empty()
    }
}

/// The part of the light table's page about the tablet.
pub(crate) fn panel(shown: &Shown, token: &str) -> Markup {
    let search = &shown.search;
    html! {
        section #tablet aria-label="Step tablet" data-tablet=(shown.test) data-tablet-job=[shown.running().map(|job| job.job)] {
            @if let Some(job) = shown.running() {
                (under_way(shown, job, token))
            } @else if shown.asks() {
                @if let Some(refused) = &shown.refused {
                    p.note { (sentence(&refused.problem)) " " (sentence(&refused.remedy)) }
                } @else if let Some(told) = shown.job.as_ref().filter(|job| job.state == JobStage::Failed) {
                    p.note { (sentence(told.problem.as_deref().unwrap_or("the search for the step tablet failed"))) }
                } @else if shown.job.as_ref().is_some_and(|job| job.state == JobStage::Stopped) {
                    p.note { "The search for the step tablet was stopped." }
                }
                @if !search.found.is_empty() { (found(shown, token)) }
                @if search.found.is_empty() && !search.missing.is_empty() {
                    h2.plain { "No step tablet was found" }
                    (reasons(&search.missing))
                    p { "Outline it by hand on one of the frames below. Without a tablet all densities are relative." }
                    (choice(shown, token, "Look for another one"))
                } @else if search.found.is_empty() {
                    h2.plain { "Which step tablet lies in the scans?" }
                    p { "It gives code values their densities. Named, it is looked for in every scan that has none; nothing is kept before you have looked at it." }
                    (choice(shown, token, "Look for it"))
                } @else if !search.missing.is_empty() {
                    details {
                        summary { "Not found in " (scans(&search.missing).len()) " other " @if scans(&search.missing).len() == 1 { "scan" } @else { "scans" } }
                        (reasons(&search.missing))
                    }
                }
            }
        }
    }
}

fn under_way(shown: &Shown, job: &JobState, token: &str) -> Markup {
    html! {
        h2.plain { "Looking for the step tablet" }
        p data-work { (sentence(&job.work)) }
        p { progress aria-label="How far the search is" max=[(job.total > 0).then_some(job.total)] value=[(job.total > 0).then_some(job.done)] {} }
        form.actions method="post" action=(format!("/tests/{}/tablet/stop", shown.test)) {
            (token_field(token))
            button { "Stop the search" }
        }
    }
}

/// What was found, to be looked at and kept.
fn found(shown: &Shown, token: &str) -> Markup {
    let found = &shown.search.found;
    let all = found.len() == shown.search.uncalibrated.len();
    let first = found.first().map(|f| f.scan.as_str()).unwrap_or_default();
    html! {
        h2.plain {
            @if let [one] = found.as_slice() { "A step tablet was found in scan " (one.scan) }
            @else { "A step tablet was found in " (found.len()) " scans" }
        }
        p.about {
            "Look whether every number stands at its step, and no step is left over at either end. "
            "The inner outline is what is measured; a dashed one drowns in the dark and calibrates nothing. "
            "Quality 1 is far from all that is refused, 0 is at the limit."
        }
        form method="post" action=(format!("/tests/{}/tablet/keep", shown.test)) {
            (token_field(token))
            input type="hidden" name="expected_revision" value=(shown.revision);
            div.cut-outs .several[found.len() > 1] { @for of in found { (found_one(shown, of)) } }
            @if !all {
                label { input type="checkbox" name="calibrates_others" value="on" checked; "It holds for the scans in which none was found: same locked settings" }
            }
            p.actions {
                button.main {
                    @if let [one] = found.as_slice() { "Keep it: " (name_of(&one.tablet)) }
                    @else { "Keep those that are ticked" }
                }
                button type="button" data-by-hand=(first) { "Outline it by hand instead" }
            }
        }
    }
}

fn found_one(shown: &Shown, of: &Found) -> Markup {
    let picture = format!(
        "/api/tests/{}/scans/{}/tablet.png",
        shown.test,
        encoded(&of.scan)
    );
    let several = shown.search.found.len() > 1;
    html! {
        div {
            @if several {
                label { input type="checkbox" name="scan" value=(of.scan) checked; b { (of.scan) } ", " (name_of(&of.tablet)) }
            } @else {
                input type="hidden" name="scan" value=(of.scan);
            }
            p { (sentence(&of.found.words())) }
            div.wide.cut-out tabindex="0" role="region" aria-label=(format!("The tablet found in scan {}", of.scan)) {
                (drawing(&of.found.cut_out_picture(&picture)))
            }
        }
    }
}

/// Words for a tablet: its own name, or what a usual one is.
fn name_of(tablet: &str) -> String {
    UsualTablet::of_word(tablet).map_or_else(|| tablet.to_owned(), UsualTablet::words)
}

fn scans(missing: &[Missing]) -> Vec<&str> {
    let mut scans: Vec<&str> = missing.iter().map(|m| m.scan.as_str()).collect();
    scans.dedup();
    scans
}

/// Why none was found, each reason once.
fn reasons(missing: &[Missing]) -> Markup {
    let mut told: Vec<(&str, &AppError, Vec<&str>)> = vec![];
    for m in missing {
        let same = told
            .iter_mut()
            .find(|(tablet, why, _)| *tablet == m.tablet && **why == m.why);
        match same {
            Some((_, _, scans)) => scans.push(&m.scan),
            None => told.push((&m.tablet, &m.why, vec![&m.scan])),
        }
    }
    html! {
        ul {
            @for (tablet, why, scans) in told {
                li {
                    b { (scans.join(", ")) } " (" (name_of(tablet)) "): " (sentence(&why.problem))
                    @if !why.remedy.is_empty() { " " (sentence(&why.remedy)) }
                }
            }
        }
    }
}

/// Which tablet is to be looked for, or none: by hand.
fn choice(shown: &Shown, token: &str, words: &str) -> Markup {
    html! {
        form.which method="post" action=(format!("/tests/{}/tablet/look", shown.test)) {
            (token_field(token))
            label { span { "Tablet" } (tablets(&shown.search.recorded)) }
            button.main { (words) }
            button type="button" data-by-hand { "Outline it by hand" }
        }
    }
}

/// The recorded tablets, then the usual ones.
pub(crate) fn tablets(recorded: &[String]) -> Markup {
    html! {
        select name="tablet" {
            @for tablet in recorded { option value=(tablet) { (name_of(tablet)) } }
            @for usual in USUAL_TABLETS {
                @if !recorded.iter().any(|own| own == usual.word) { option value=(usual.word) { (usual.words()) } }
            }
        }
    }
}

/// The part of the page about the tablet, alone.
pub(crate) async fn part(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Markup, Refusal> {
    let of = Arc::clone(&shared);
    let shown = away(move || Shown::of(&of, test)).await?;
    Ok(panel(&shown, shared.token()))
}

/// Begins a search.
pub(crate) async fn look(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let tablet = field(&typed, "tablet").to_owned();
    away(move || tablet_looks::look_for(&shared, test, Some(tablet))).await?;
    Ok(Redirect::to(&Step::Negatives.of(&test.to_string())))
}

/// Stops a search.
pub(crate) async fn stop(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Redirect, Refusal> {
    if let Some(job) = tablet_looks::state(&shared, test) {
        shared.jobs().stop(job.job);
    }
    Ok(Redirect::to(&Step::Negatives.of(&test.to_string())))
}

/// Keeps tablets as they were found.
pub(crate) async fn keep(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let expected = number(&typed, "expected_revision")?;
    let scans: Vec<String> = typed
        .iter()
        .filter(|(name, _)| name == "scan")
        .map(|(_, scan)| scan.clone())
        .collect();
    let others = field(&typed, "calibrates_others") == "on";
    let book = shared.book();
    away(move || book.keep_found_tablets(test, expected, &scans, others)).await?;
    Ok(Redirect::to(&Step::Negatives.of(&test.to_string())))
}
