//! The card on a phone: one page that loads nothing and keeps what is typed.

use super::{
    CAUTIONS, CardFrame, CardInput, camera, film_words, filter_words, shutter_words, times_words,
};
use crate::style::font_faces;
use exposure::{
    CatenaryShape, MarkReading, ReciprocityForm, ReciprocityLaw, ShutterMark, StepSize,
    shutter_marks,
};
use maud::{DOCTYPE, PreEscaped, html};
use quantity::{Ev100, Seconds};
use record::{PlannedExposure, PlannedFrame, Sky};
use serde_json::{Value, json};

const STYLE: &str = include_str!("phone.css");
const SCRIPT: &str = include_str!("phone.js");

/// The words of skies as a field log has them.
const SKIES: [(Sky, &str); 7] = [
    (Sky::ClearSun, "clear_sun"),
    (Sky::ThinCloud, "thin_cloud"),
    (Sky::BrokenCloud, "broken_cloud"),
    (Sky::Overcast, "overcast"),
    (Sky::OpenShade, "open_shade"),
    (Sky::UnderLeaves, "under_leaves"),
    (Sky::Lamp, "lamp"),
];

/// Writes the phone's page.
#[must_use]
pub fn phone_html(input: &CardInput<'_>) -> String {
    let parts = input.test.records().parts();
    let frames: Vec<_> = input
        .test
        .planned()
        .iter()
        .zip(&input.frames)
        .map(|(frame, card)| frame_json(input, frame, card))
        .collect();
    let skies: Vec<_> = SKIES
        .iter()
        .map(|(sky, word)| json!([word, sky.words()]))
        .collect();
    // Set on a shutter, so as they are engraved.
    let marks: Vec<_> = shutter_marks(StepSize::Full)
        .iter()
        .filter(|mark| mark.time(MarkReading::Literal).to_s() <= 1.0)
        .map(|mark| json!([mark.label(), mark.time(MarkReading::Literal).to_s()]))
        .collect();
    let plan = json!({
        "title": parts.title,
        "marks": marks,
        "plan_sha256": input.plan_sha256,
        "skies": skies,
        "frames": frames,
    });
    // Within a script element only `<` can end it or open a comment.
    let plan = plan.to_string().replace('<', "\\u003c");
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                // Nothing may be loaded or sent, whatever a name or a bug says.
                meta http-equiv="Content-Security-Policy"
                    content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data: blob:; font-src data:";
                title { "Field card: " (parts.title) }
                style { (PreEscaped(font_faces())) (PreEscaped(STYLE)) }
            }
            body {
                p #alarm role="alert" hidden {}
                h1 { (parts.title) }
                @if parts.invented { p { b { "Invented data" } } }
                p { span #count {} ". Works without a network; what you type is kept in this browser at once, and only here: save the log before you leave." }
                div #bar {
                    button #undo type="button" { "Undo" }
                    button #dim type="button" { "Dim" }
                }
                p #said role="status" {}
                noscript { p.note { "This page needs JavaScript. Use the paper card instead." } }
                div #frames {}
                section {
                    h2 { "The log" }
                    p { "Put it into the test folder with " code { "filmproof import" } "." }
                    div.buttons {
                        button #save type="button" { "Save the log" }
                        button #copy type="button" { "Copy as text" }
                    }
                    label for="text" { span { "The log as text" } }
                    textarea #text readonly rows="6" {}
                }
                section.cautions {
                    h2 { "Cautions" }
                    @for caution in CAUTIONS { p { (caution) } }
                }
                dialog #counter aria-label="exposure" {
                    p #asked {}
                    p { "to give: " b #target {} }
                    ul #checks {
                        li { "Lens closed, stopped down, shutter cocked or on T?" }
                        li { "Filter on?" }
                        li { "Dark slide out?" }
                    }
                    div #dial hidden {
                        div #left role="timer" {}
                        p #gone {}
                        p.note #jump {}
                        p { "Your hands are some 0.2 s late at both ends; press at the lens, not before." }
                    }
                    button #go type="button" {}
                    button #break type="button" { "Break off" }
                }
                script type="application/json" id="plan" { (PreEscaped(plan)) }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    }
    .into_string()
}

fn frame_json(input: &CardInput<'_>, frame: &PlannedFrame, card: &CardFrame) -> Value {
    let mut out = json!({
        "id": frame.id.as_str(),
        "role": frame.role.words(),
        "film": film_words(input.test, frame),
        "filters": filter_words(input.test, frame),
        "holder": frame.holder,
        "load": frame.load.unwrap_or(1),
        "why": frame.why,
        "notes": card.notes,
        "kind": "none",
    });
    if let PlannedExposure::Tablet(tablet) = &frame.exposure {
        out["kind"] = json!("tablet");
        out["tablet"] = json!(tablet.as_str());
    }
    if let Some(camera) = camera(frame) {
        let sky = input
            .test
            .records()
            .light(&camera.light)
            .map_or(Sky::NotStated, |light| light.sky);
        let word = SKIES.iter().find(|(known, _)| *known == sky);
        out["kind"] = json!("camera");
        out["ei"] = json!(camera.ei.to_arithmetic());
        out["aperture_f"] = json!(camera.aperture.to_ratio());
        out["time_marked_s"] = json!(camera.time.marked.to_s());
        out["time_label"] = json!(ShutterMark::literal(camera.time.marked).label());
        out["times_words"] = json!(times_words(card));
        out["shutter_words"] = json!(shutter_words(input.test, camera));
        out["ev100"] = json!(card.ev100.map(Ev100::to_ev));
        out["placement_stops"] = json!(card.placement.to_stops());
        out["through_filter"] = json!(card.through_filter);
        out["bellows"] = json!(card.bellows_factor);
        out["sky"] = json!(word.map(|(_, word)| word));
        out["sky_words"] = json!(sky.words());
        out["law"] = card
            .law
            .as_ref()
            .map_or(Value::Null, |(_, law)| law_json(law));
        out["law_refused"] = json!(card.law_refused);
    }
    out
}

/// A law as the page's script computes it: form, numbers, range of metered times.
#[must_use]
fn law_json(law: &ReciprocityLaw) -> Value {
    let mut out = match law.form() {
        ReciprocityForm::ThresholdPower {
            exponent,
            threshold,
        } => json!({ "form": "threshold_power", "p": exponent, "t0": threshold.to_s() }),
        ReciprocityForm::Schwarzschild {
            exponent,
            threshold,
        } => json!({ "form": "threshold_power", "p": 1.0 / exponent, "t0": threshold.to_s() }),
        ReciprocityForm::FittedPower {
            coefficient,
            exponent,
        } => json!({ "form": "fitted_power", "c": coefficient, "p": exponent }),
        ReciprocityForm::Additive {
            coefficient,
            exponent,
        } => json!({ "form": "additive", "a": coefficient, "b": exponent }),
        ReciprocityForm::ModifiedSchwarzschild { exponent } => {
            json!({ "form": "modified_schwarzschild", "p": exponent })
        }
        ReciprocityForm::Catenary {
            shape,
            coefficient,
            best,
        } => json!({
            "form": match shape {
                CatenaryShape::Hyperbola => "hyperbola",
                CatenaryShape::HyperbolicCosine => "hyperbolic_cosine",
            },
            "a": coefficient,
            "t0": best.to_s(),
        }),
        ReciprocityForm::Table { rows } => json!({
            "form": "table",
            "rows": rows
                .iter()
                .map(|row| [row.metered.to_s(), row.corrected.to_s()])
                .collect::<Vec<_>>(),
        }),
    };
    let (from, to) = law.range();
    out["from"] = json!(from.map_or(0.0, Seconds::to_s));
    out["to"] = json!(to.map(Seconds::to_s));
    out
}
