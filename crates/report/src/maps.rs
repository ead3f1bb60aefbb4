//! Frames behind a filter over the frame without one, pixel by pixel.

use crate::ReportInput;
use crate::words::{filter_names, light_name, name, sentence};
use crate::{MapsTold, PairPictures};
use maud::{Markup, PreEscaped, html};

pub(crate) fn maps(input: &ReportInput<'_>) -> Markup {
    let told = &input.maps;
    if told.pairs.is_empty() && told.refused.is_empty() {
        return html! {};
    }
    html! {
        h3 { "Pixel by pixel: behind the filter and without" }
        @if !told.pairs.is_empty() {
            p.keep {
                "The two frames of a pair were laid on each other. The first picture is density at the fixed scale; "
                "the second is how many stops more or less light each place got than without the filter, read through the film’s curve; "
                "the third is which density goes with which."
            }
            p {
                "What they don’t show: detail finer than their pixels; exposures where the film is on its toe or shoulder, "
                "or denser than the tablet, which are marked and not guessed; and what moved between the frames, such as leaves and clouds, "
                "which looks like a gain or a loss."
            }
        }
        @for pair in &told.pairs { (one(input, pair)) }
        (not_drawn(told))
    }
}

fn one(input: &ReportInput<'_>, pair: &PairPictures) -> Markup {
    html! { div.whole {
        h4 {
            "Frame " (pair.frame) " over frame " (pair.against) ": "
            (name(filter_names(input.test, &pair.filters))) " · " (light_name(input.test, &pair.light))
        }
        div.maps {
            figure { (PreEscaped(&pair.density)) }
            figure { (PreEscaped(&pair.stops)) }
            @if let Some(joint) = &pair.joint { figure { (PreEscaped(joint)) } }
        }
        p.about {
            (sentence(&pair.told)) " " (sentence(&pair.limits)) " Larger, and as numbers: "
            code { (pair.command) }
        }
    } }
}

/// Pairs that could not be drawn, and those that were left out for room.
fn not_drawn(told: &MapsTold) -> Markup {
    html! {
        @if !told.refused.is_empty() {
            p { "Not drawn:" }
            ul { @for why in &told.refused { li { (sentence(why)) } } }
        }
        @if !told.further.is_empty() {
            p.about.keep {
                "The best frame of each light and filter is drawn, " (told.most) " pairs at most. "
                @if told.further.len() == 1 { "One more" } @else { (told.further.len()) " more" }
                " can be had with:"
            }
            pre.about { (told.further.join("\n")) }
        }
    }
}
