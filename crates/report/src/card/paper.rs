//! The card on paper: a sheet, or a card of 3 by 5 inches for each frame.

use super::{
    CAUTIONS, CardFrame, CardInput, camera, ei_words, film_words, filter_words, holder_words,
    set_words, shutter_words, times_words,
};
use crate::style::font_faces;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use record::PlannedFrame;

const PAPER: &str = include_str!("paper.css");
const SHEET: &str = include_str!("sheet.css");
const CARDS: &str = include_str!("cards.css");

/// Writes the sheet, which prints on A4 and on Letter alike.
#[must_use]
pub fn sheet_html(input: &CardInput<'_>) -> String {
    let parts = input.test.records().parts();
    let body = html! {
        p.how-to {
            "Print this page on A4 or Letter at 100 %, or let the browser's print dialog save it as PDF. "
            "Waterproof paper and pen outlast rain. What is written here is typed into field-log.csv, which "
            code { "filmproof import" } " takes."
        }
        main {
            header {
                h1 { (parts.title) }
                p.about {
                    "plan " (input.plan_sha256.chars().take(12).collect::<String>())
                    " · " (input.frames.len()) " frames · " (input.version)
                    @if parts.invented { " · " span.invented { "invented data" } }
                }
            }
            p."about".fill { "Date ________________  Place ______________________________  Meter ____________________  Film batch ____________" }
            @for (frame, card) in rows(input) {
                section.frame {
                    span.box {}
                    div {
                        div.what {
                            span { span.holder { (holder_words(frame)) } " " (frame.id) " · " (frame.role.words()) }
                            @if camera(frame).is_some() { span.filter { (filter_words(input.test, frame)) } }
                            span.set { (set_words(frame)) }
                        }
                        p.small { (film_words(input.test, frame)) " · " (facts(input, frame, card)) }
                        @for note in &card.notes { p.small { b { (note) } } }
                        @if camera(frame).is_some() {
                            div.lines {
                                div.line { "actual time, s" } div.line { "reading, EV" }
                                div.line { "sky, clock" } div.line { "remarks" }
                            }
                        }
                    }
                    div.sketch { "sketch" }
                }
            }
            footer { (cautions()) }
        }
    };
    page("Field sheet", &parts.title, SHEET, &body)
}

/// Writes a card of 3 by 5 inches for each frame, and one with the cautions.
#[must_use]
pub fn cards_html(input: &CardInput<'_>) -> String {
    let parts = input.test.records().parts();
    let body = html! {
        p.how-to {
            "Print on cards of 3 by 5 inches at 100 %, without the browser's head and foot lines; the page size is set."
        }
        @for (frame, card) in rows(input) {
            article {
                div.what {
                    span.holder { span.box {} " " (holder_words(frame)) }
                    span.set { (set_words(frame)) }
                }
                @if camera(frame).is_some() { p.filter { (filter_words(input.test, frame)) } }
                p.small { b { (frame.id) } " · " (frame.role.words()) " · " (film_words(input.test, frame)) }
                p.small {
                    (facts(input, frame, card))
                    @for note in &card.notes { " · " b { (note) } }
                }
                div.write {
                    div.lines {
                        @if camera(frame).is_some() {
                            div.line { "actual time, s" } div.line { "reading, EV" }
                            div.line { "sky" } div.line { "clock" }
                        }
                        div."line".wide { "remarks" }
                    }
                    div.sketch { "sketch" }
                }
                p.plan {
                    (parts.title) " · plan " (input.plan_sha256.chars().take(12).collect::<String>())
                    @if parts.invented { " · invented data" }
                }
            }
        }
        article { p { b { "Cautions" } } (cautions()) }
    };
    page("Field cards", &parts.title, CARDS, &body)
}

fn rows<'a>(input: &'a CardInput<'_>) -> impl Iterator<Item = (&'a PlannedFrame, &'a CardFrame)> {
    input.test.planned().iter().zip(&input.frames)
}

fn facts(input: &CardInput<'_>, frame: &PlannedFrame, card: &CardFrame) -> String {
    let mut facts = vec![];
    if let Some(camera) = camera(frame) {
        facts.push(ei_words(camera));
        facts.push(times_words(card));
        if card.bellows_factor > 1.0 {
            facts.push(format!("bellows ×{:.2} is in it", card.bellows_factor));
        }
        facts.push(shutter_words(input.test, camera));
    }
    facts.extend(frame.why.clone());
    facts.extend(frame.remarks.clone());
    facts.retain(|fact| !fact.is_empty());
    facts.join(" · ")
}

fn cautions() -> Markup {
    html! { ul.cautions { @for caution in CAUTIONS { li { (caution) } } } }
}

fn page(kind: &str, title: &str, style: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy"
                    content="default-src 'none'; style-src 'unsafe-inline'; font-src data:";
                title { (kind) ": " (title) }
                style { (PreEscaped(font_faces())) (PreEscaped(PAPER)) (PreEscaped(style)) }
            }
            body { (body) }
        }
    }
    .into_string()
}
