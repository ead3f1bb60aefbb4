//! A curve read off a picture of a printed plot, point by point.
//!
//! The picture stays in the browser; only the marked places are sent.

use crate::layout::{Frame, page};
use crate::shared::Shared;
use axum::extract::State;
use maud::{Markup, html};
use std::sync::Arc;

const MARKS: [(&str, &str, &str); 4] = [
    ("x1", "Wavelength at the first mark, nm", "400"),
    ("x2", "Wavelength at the second mark, nm", "700"),
    ("y1", "Value at the third mark", "0"),
    ("y2", "Value at the fourth mark", "1"),
];

/// The page.
pub(crate) async fn show(State(shared): State<Arc<Shared>>) -> Markup {
    let frame = Frame {
        token: shared.token(),
        modules: &["trace.js"],
        ..Frame::plain("A curve from a printed plot")
    };
    page(
        &frame,
        html! {
            div.two {
                form #marks {
                    label.button tabindex="0" data-take {
                        "Choose a picture of the plot"
                        input type="file" accept="image/png,image/jpeg" hidden;
                    }
                    p data-next role="status" { "A photograph or scan of the printed curve. It stays in this browser; only the places that you mark are sent." }
                    div.fields {
                        @for (name, words, usual) in MARKS {
                            label { span { (words) } input name=(name) inputmode="decimal" value=(usual) autocomplete="off"; }
                        }
                    }
                    label { input type="checkbox" name="x_log"; "The axis of wavelengths is logarithmic: 200, 400, 800 nm lie evenly apart" }
                    label { input type="checkbox" name="y_log"; "The upright axis is logarithmic: 0.1, 1, 10 lie evenly apart" }
                    div.actions {
                        button type="button" data-back disabled { "Take the last mark back" }
                    }
                    label.slider { span { "What was read" } textarea #csv rows="8" readonly {} }
                    div.actions {
                        button.main type="button" data-use="film_curve" disabled { "Use as the film's curve" }
                        button type="button" data-use="filter_curve" disabled { "Use as the filter's" }
                    }
                }
                div { canvas #plot tabindex="0" role="img" aria-label="The plot; arrow keys move the cross, Enter marks" width="0" height="0" {} }
            }
        },
    )
}
