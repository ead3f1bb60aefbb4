//! How far long work is, and the button that stops it.

use crate::jobs::{JobStage, JobState};
use crate::layout::{Frame, Step, page, token_field};
use crate::refusal::{Refusal, sentence};
use crate::shared::Shared;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use maud::html;
use std::sync::Arc;

fn missing() -> Refusal {
    Refusal::not_found("this work is not known; it may belong to an earlier run of the program")
}

/// Gives the address of a job's page.
pub(crate) fn address(job: u64) -> String {
    format!("/jobs/{job}")
}

/// The page of a job.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(job): Path<u64>,
) -> Result<Response, Refusal> {
    let state = shared.jobs().state(job).ok_or_else(missing)?;
    if let (JobStage::Done, Some(result), true) =
        (state.state, &state.result, state.notes.is_empty())
    {
        return Ok(Redirect::to(result).into_response());
    }
    let address = address(job);
    let running = state.state == JobStage::Running;
    let frame = Frame {
        modules: if running { &["job.js"] } else { &[] },
        token: shared.token(),
        again: running.then_some(address.as_str()),
        ..Frame::plain(&state.title)
    };
    Ok(page(&frame, body(&state, shared.token())).into_response())
}

fn body(state: &JobState, token: &str) -> maud::Markup {
    html! {
        @match state.state {
            JobStage::Running => div data-job=(state.job) data-state="running" {
                p data-work { (state.work) }
                p { progress aria-label="How far the work is" max=[(state.total > 0).then_some(state.total)] value=[(state.total > 0).then_some(state.done)] {} }
                form.actions method="post" action=(format!("{}/stop", address(state.job))) {
                    (token_field(token))
                    button { "Stop" }
                }
            },
            JobStage::Stopped => {
                p { "Stopped. Nothing was changed by it." }
                (ways_back(state.test))
            },
            JobStage::Done if state.result.is_some() => {
                @for note in &state.notes { p.note { (sentence(note)) } }
                div.actions { a.button.main href=[state.result.as_deref()] { "Go on" } }
            },
            JobStage::Failed | JobStage::Done => {
                p.note { (sentence(state.problem.as_deref().unwrap_or("the work ended without a result"))) }
                @for line in state.remedy.as_deref().unwrap_or_default().lines() { p { (sentence(line)) } }
                (ways_back(state.test))
            },
        }
    }
}

/// Where to go when work ended without a result: the pages where its test is changed.
fn ways_back(test: Option<u32>) -> maud::Markup {
    let steps = [Step::Exposures, Step::Negatives, Step::Findings];
    html! {
        @if let Some(test) = test {
            p { "Back to the test: "
                @for (place, step) in steps.into_iter().enumerate() {
                    @if place > 0 { ", " }
                    a href=(step.of(&test.to_string())) { (step.name()) }
                }
                "."
            }
        } @else {
            p { a href="/" { "All tests" } }
        }
    }
}

/// Asks a job to stop.
pub(crate) async fn stop(
    State(shared): State<Arc<Shared>>,
    Path(job): Path<u64>,
) -> Result<Redirect, Refusal> {
    if shared.jobs().stop(job) {
        Ok(Redirect::to(&address(job)))
    } else {
        Err(missing())
    }
}
