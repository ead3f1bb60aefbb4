//! What a page shows that needs findings when there are none, or older ones.

use crate::layout::token_field;
use crate::refusal::sentence;
use crate::shared::OpenTest;
use maud::{Markup, html};

/// The form that evaluates a test; afterwards `to` is shown.
pub(crate) fn evaluate_form(
    open: &OpenTest,
    token: &str,
    to: &str,
    words: &str,
    main: bool,
) -> Markup {
    html! {
        form method="post" action=(format!("/tests/{}/evaluate", open.number)) {
            (token_field(token))
            input type="hidden" name="to" value=(to);
            button.main[main] { (words) }
        }
    }
}

/// Says what is missing and what to do next.
pub(crate) fn nothing_yet(open: &OpenTest, token: &str, to: &str, will_show: &str) -> Markup {
    let id = open.number.to_string();
    html! {
        div.empty {
            p { (will_show) }
            @if !open.problems.is_empty() {
                p { "The record has something to mend first:" }
                ul { @for problem in &open.problems { li { (sentence(problem)) } } }
                p { a href=(crate::layout::Step::Exposures.of(&id)) { "Go to the exposures" } }
            } @else if open.frames == 0 {
                p { "No frame is recorded as exposed yet." }
                p { a href=(crate::layout::Step::Exposures.of(&id)) { "Write down what was exposed" } }
            } @else if open.readings == 0 {
                p { "Nothing is outlined on a scan, and no density is written down." }
                p { a href=(crate::layout::Step::Negatives.of(&id)) { "Bring the scans and outline a patch" } }
            } @else {
                p { "The scans are measured and the curve is fitted when you ask for it; it takes a few seconds." }
                div.actions { (evaluate_form(open, token, to, "Evaluate", true)) }
            }
        }
    }
}

/// Says that the record was changed since it was evaluated.
pub(crate) fn older(open: &OpenTest, evaluated: u32, token: &str, to: &str) -> Markup {
    html! {
        @if evaluated != open.revision {
            div.told role="status" {
                p { "The record was changed since this was worked out." }
                (evaluate_form(open, token, to, "Evaluate again", true))
            }
        }
    }
}
