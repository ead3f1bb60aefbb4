//! The light table: frames side by side at one fixed scale of density.

use crate::drawing::drawing;
use crate::form::{field, fields};
use crate::layout::{Frame, Step, page, token_field};
use crate::pages::history::number;
use crate::pages::tablet::{self, panel};
use crate::pages::{frame_found, job, unevaluated};
use crate::refusal::{Refusal, sentence};
use crate::shared::{LaidTable, OpenTest, Shared, away};
use crate::upload::MOST_SCAN_BYTES;
use app::KeepError;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde_json::Value;
use std::sync::Arc;

/// What a patch may show: the record's word, and the words for it.
const ROLES: [(&str, &str); 10] = [
    ("grey_card", "grey card"),
    ("base_fog", "clear film (base+fog)"),
    ("shadow", "shadow that should print"),
    ("highlight", "highlight that should print"),
    ("sunlit_foliage", "leaves in the sun"),
    ("shaded_foliage", "leaves in the shade"),
    ("shaded_grey_card", "grey card in the shade"),
    ("sky", "sky"),
    ("wall", "wall"),
    ("other", "something else"),
];

/// Density range of a negative that a positive shows from black to white: that of a
/// negative for a soft to normal paper, common practice. \[density\]
const POSITIVE_RANGE: f64 = 1.5;

/// Names of files that may be scans, as a browser wants them.
fn endings() -> String {
    app::PICTURE_ENDINGS
        .map(|ending| format!(".{ending}"))
        .join(",")
}

/// The light table of a test.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
) -> Result<Response, Refusal> {
    let book = shared.book();
    let (open, laid) = away(move || {
        let open = book.open(test)?;
        let ready = open.scans > 0 && open.problems.is_empty() && open.frames > 0;
        if ready && book.laid(test, open.revision).is_none() && book.lays_at_once(test)? {
            book.lay(test, &app::Silent)?;
        }
        let laid = book.laid(test, open.revision);
        Ok::<_, KeepError>((open, laid))
    })
    .await?;
    let id = test.to_string();
    if laid.is_none() && open.scans > 0 && open.problems.is_empty() && open.frames > 0 {
        // Patches that are carried have to be laid on their frames first.
        let book = shared.book();
        let to = Step::Negatives.of(&id);
        let work =
            shared
                .jobs()
                .start_of(Some(test), "Laying the frames out", move |progress| {
                    book.lay(test, progress)?;
                    Ok(to)
                })?;
        return Ok(Redirect::to(&job::address(work)).into_response());
    }
    let of = Arc::clone(&shared);
    let looked = laid.is_some();
    let tablet = away(move || looked.then(|| tablet::Shown::of(&of, test)).transpose()).await?;
    let here = Step::Negatives.of(&id);
    let frame = Frame {
        token: shared.token(),
        again: tablet
            .as_ref()
            .and_then(|shown| shown.running())
            .map(|_| here.as_str()),
        modules: if laid.is_some() {
            &["files.js", "negatives.js"]
        } else {
            &["files.js"]
        },
        ..Frame::of_test(&open, &id, Step::Negatives)
    };
    let body = match laid.zip(tablet) {
        Some((laid, tablet)) => table(&open, &laid, &tablet, shared.token()),
        None => empty(&open, &id),
    };
    Ok(page(&frame, body).into_response())
}

fn bring(open: &OpenTest, id: &str, main: bool) -> Markup {
    html! {
        div.actions data-scans=(id) data-revision=(open.revision) {
            label.button.main[main] tabindex="0" data-take {
                "Bring scans"
                input type="file" accept=(endings()) multiple hidden data-most=(MOST_SCAN_BYTES);
            }
            span.about { "or drop them anywhere on this page" }
        }
    }
}

fn empty(open: &OpenTest, id: &str) -> Markup {
    html! {
        div.empty {
            p { "This page is the light table: all frames side by side at one scale, with the density under the pointer." }
            @if open.frames == 0 {
                p { "Frames come first: what was exposed, and on which film." }
                div.actions { a.button.main href=(Step::Exposures.of(id)) { "Write down what was exposed" } }
            } @else if !open.problems.is_empty() {
                p { "The record has something to mend first:" }
                ul { @for problem in &open.problems { li { (sentence(problem)) } } }
                p { a href=(Step::Exposures.of(id)) { "Go to the exposures" } }
            } @else {
                p { "Scan the negatives as positives of the film itself, all automatic corrections off, 16 bits, with a step tablet beside the film if there is one." }
                (bring(open, id, true))
            }
        }
        @if open.frames == 0 || !open.problems.is_empty() { (bring(open, id, false)) }
    }
}

fn table(open: &OpenTest, laid: &LaidTable, tablet: &tablet::Shown, token: &str) -> Markup {
    let id = &open.number.to_string();
    let json = &laid.table.json;
    let views = json
        .get("views")
        .and_then(Value::as_array)
        .cloned()
        .unwrap_or_default();
    let names = |key: &str| -> Vec<String> {
        json.get(key)
            .and_then(Value::as_array)
            .map(|list| {
                list.iter()
                    .filter_map(|v| Some(v.as_str()?.to_owned()))
                    .collect()
            })
            .unwrap_or_default()
    };
    let base = laid
        .base_plus_fog
        .map(|b| b.to_string())
        .unwrap_or_default();
    let black = laid.base_plus_fog.unwrap_or(0.0);
    let white = black + POSITIVE_RANGE;
    html! {
        @for warning in &laid.table.warnings { p.note { (sentence(warning)) } }
        (panel(tablet, token))
        div.tools {
            label { "Lifted for all by "
                select data-lift aria-label="Lift all pictures by" {
                    option value="0" { "nothing" }
                    @for stops in 1..=6 { option value=(stops) { (stops) @if stops == 1 { " stop" } @else { " stops" } } }
                }
            }
            label { input type="checkbox" data-positive=(format!("{black:.2} {white:.2}")) autocomplete="off"; "Show as positives" }
            label { input type="checkbox" data-together checked; "Move all frames together" }
            label { input type="checkbox" data-codes; "Show code values" }
            button type="button" data-begin-outline aria-pressed="false" { "Outline a patch or tablet" }
        }
        (outline_form(&names("frames"), &open.tablets))
        @if frame_found::any(&views) { (frame_found::legend()) }
        (all_carried(open, &views, token))
        div.table-top {
            (drawing(&laid.scale))
            p data-as-positives role="status" hidden {
                b { "Shown as positives." } " "
                (format!("Density {black:.2}"))
                @if laid.base_plus_fog.is_some() { " (base+fog)" }
                (format!(" and less is black, {white:.2} and more is white, the same for all frames; lifted, they are printed that much longer. "))
                "Only how they look: densities under the pointer and all that is measured are the negatives'."
            }
        }
        div.on-table data-light-table=(id) data-views=(json.to_string()) data-revision=(open.revision) data-base=(base) {
            @for (place, view) in views.iter().enumerate() { (picture(place, view, json, open, token)) }
        }
        p.about {
            "Drag to move; Ctrl and the wheel, + and − to magnify, 1 for one pixel of the scan on one of the screen, 0 for the whole frame. "
            "Dashed outlines were carried from another frame, or found and not kept yet: look whether they lie where they should."
        }
        (letters(json))
        (bring(open, id, false))
        div.actions { (unevaluated::evaluate_form(open, token, &Step::Findings.of(id), "Evaluate", !tablet.asks())) }
    }
}

fn picture(place: usize, view: &Value, json: &Value, open: &OpenTest, token: &str) -> Markup {
    let text = |key: &str| view.get(key).and_then(Value::as_str).unwrap_or_default();
    let calibrated = view
        .get("calibrated")
        .and_then(Value::as_bool)
        .unwrap_or(false);
    let rest = if calibrated {
        ""
    } else {
        "No step tablet calibrates this scan: densities are relative."
    };
    let carried = view.get("carried").and_then(Value::as_array);
    html! {
        figure data-view=(place) {
            canvas tabindex="0" role="img"
                aria-label=(format!("Frame {}, {}; arrow keys move, plus and minus magnify", text("frame"), scan_words(text("scan")))) {}
            figcaption {
                b { @if text("frame").is_empty() { "No frame named yet" } @else { (text("frame")) } }
                " " span { (scan_words(text("scan"))) }
                p data-readout data-rest=(rest) role="status" { (rest) }
                @if let Some(lines) = carried.filter(|l| !l.is_empty()) {
                    details {
                        summary { (carried_outlines(view)) " carried: look at the dashed outlines" }
                        @for line in lines { p { (sentence(line.as_str().unwrap_or_default())) } }
                    }
                    (settle(open, text("frame"), token))
                }
                (frame_found::caption(view, open, token))
                (frame_of(view, json, open, token))
            }
        }
    }
}

/// Names a scan, without saying `scan` twice.
fn scan_words(name: &str) -> String {
    if name.to_lowercase().starts_with("scan") {
        name.to_owned()
    } else {
        format!("scan {name}")
    }
}

/// How many patches were carried to what a picture shows.
fn carried_outlines(view: &Value) -> usize {
    let outlines = view.get("outlines").and_then(Value::as_array);
    let carried = |o: &&Value| o.get("carried_from").is_some_and(Value::is_string);
    outlines.into_iter().flatten().filter(carried).count()
}

/// The choice which frame a scan shows: open where it shows none, folded away where it
/// shows one, absent where it shows several.
fn frame_of(view: &Value, json: &Value, open: &OpenTest, token: &str) -> Markup {
    let text = |key: &str| view.get(key).and_then(Value::as_str).unwrap_or_default();
    let (scan, frame) = (text("scan"), text("frame"));
    let of_scan = |v: &&Value| v.get("scan").and_then(Value::as_str) == Some(scan);
    let views = json.get("views").and_then(Value::as_array);
    let several = views.into_iter().flatten().filter(of_scan).count() > 1;
    let list = |key: &str| {
        json.get(key)
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
    };
    let without: Vec<&Value> = list("unused").collect();
    // A scan that shows nothing yet most likely shows a frame without one.
    let likely = without.first().filter(|_| frame.is_empty());
    let form = html! {
        form.settle method="post" action=(format!("/tests/{}/given", open.number)) {
            (token_field(token))
            input type="hidden" name="expected_revision" value=(open.revision);
            input type="hidden" name="scan" value=(scan);
            label { span.unseen { "Frame that " (scan_words(scan)) " shows" }
                select name="frame" {
                    @for name in list("frames").filter(|n| n.as_str() != Some(frame)) {
                        option value=(name.as_str().unwrap_or_default()) selected[likely == Some(&name)] {
                            (name.as_str().unwrap_or_default()) @if without.contains(&name) { ", no scan yet" }
                        }
                    }
                }
            }
            button { "It shows this one" }
        }
    };
    html! {
        @if open.frames == 0 || several {}
        @else if frame.is_empty() {
            p { "Which frame does this scan show?" }
            (form)
        } @else if open.frames > 1 {
            details {
                summary { "It shows another frame" }
                p { "Its patches go with it. A scan that shows the other frame already takes this one's in exchange." }
                (form)
            }
        }
    }
}

/// Gives a scan to a frame.
pub(crate) async fn given(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let expected = number(&typed, "expected_revision")?;
    let (scan, frame) = (
        field(&typed, "scan").to_owned(),
        field(&typed, "frame").to_owned(),
    );
    let book = shared.book();
    away(move || book.give_scan(test, expected, &scan, &frame)).await?;
    Ok(Redirect::to(&Step::Negatives.of(&test.to_string())))
}

/// Confirms all that was carried, where it was carried to several frames.
fn all_carried(open: &OpenTest, views: &[Value], token: &str) -> Markup {
    let counts: Vec<usize> = views.iter().map(carried_outlines).collect();
    let patches: usize = counts.iter().sum();
    let frames = counts.into_iter().filter(|count| *count > 0).count();
    html! {
        @if frames > 1 {
            form.tools.settled method="post" action=(format!("/tests/{}/carried", open.number)) {
                (token_field(token))
                input type="hidden" name="expected_revision" value=(open.revision);
                input type="hidden" name="frame" value="";
                span { (patches) " patches were carried to " (frames) " frames: look whether each lies where it should." }
                button name="way" value="confirm" { "They all lie right" }
            }
        }
    }
}

/// Confirms what was carried to a frame, or takes it off.
fn settle(open: &OpenTest, frame: &str, token: &str) -> Markup {
    html! {
        form.settle method="post" action=(format!("/tests/{}/carried", open.number)) {
            (token_field(token))
            input type="hidden" name="expected_revision" value=(open.revision);
            input type="hidden" name="frame" value=(frame);
            button name="way" value="confirm" { "They lie right" }
            button name="way" value="drop" { "Take them off" }
        }
    }
}

/// Settles what was carried to a frame.
pub(crate) async fn carried(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    body: Bytes,
) -> Result<Redirect, Refusal> {
    let typed = fields(&body);
    let expected = number(&typed, "expected_revision")?;
    let frame = field(&typed, "frame").to_owned();
    let confirm = field(&typed, "way") == "confirm";
    let book = shared.book();
    let frame = Some(frame).filter(|name| !name.is_empty());
    if frame.is_none() && !confirm {
        return Err(Refusal::new(
            axum::http::StatusCode::UNPROCESSABLE_ENTITY,
            "no frame is named",
            "load the page again",
        ));
    }
    away(move || book.settle_carried(test, expected, frame.as_deref(), confirm)).await?;
    Ok(Redirect::to(&Step::Negatives.of(&test.to_string())))
}

fn outline_form(frames: &[String], tablets: &[String]) -> Markup {
    html! {
        form.told data-outline hidden {
            p data-where {}
            fieldset.tools {
                legend.unseen { "What was outlined" }
                label { input type="radio" name="kind" value="patch" checked; "A patch of the picture" }
                label { input type="radio" name="kind" value="tablet"; "The whole step tablet" }
            }
            div.fields data-kind="patch" {
                label { span { "Frame" }
                    select name="frame" { @for frame in frames { option value=(frame) { (frame) } } }
                }
                label { span { "Name of the patch, the same on all frames" }
                    input name="patch" required maxlength="64" pattern="[A-Za-z0-9_.\\-]+" value="card" autocomplete="off";
                }
                label { span { "What it shows" }
                    select name="role" { @for (word, words) in ROLES { option value=(word) { (words) } } }
                }
                label { input type="checkbox" name="carry" checked; "Carry it to the other frames of this subject" }
            }
            div.fields data-kind="tablet" hidden {
                label { span { "Tablet" }
                    (tablet::tablets(tablets))
                }
                label { span { "Its clear end lies" }
                    select name="clear_end" {
                        @for end in ["left", "right", "top", "bottom"] { option value=(end) { "at the " (end) } }
                    }
                }
                label { input type="checkbox" name="calibrates_others" checked; "It holds for all scans without a tablet: same locked settings" }
            }
            p.actions { button.main { "Keep the outline" } button type="button" data-drop { "Drop it" } }
        }
    }
}

fn letters(json: &Value) -> Markup {
    let list = json
        .get("letters")
        .and_then(Value::as_array)
        .cloned()
        .unwrap_or_default();
    let text = |v: &Value, key: &str| {
        v.get(key)
            .and_then(Value::as_str)
            .unwrap_or_default()
            .to_owned()
    };
    html! {
        @if !list.is_empty() {
            p { @for (place, letter) in list.iter().filter(|l| !text(l, "role").starts_with("tablet step")).enumerate() {
                @if place > 0 { ", " } b { (text(letter, "letter")) } " " (text(letter, "patch")) " (" (text(letter, "role")) ")"
            } "." }
        }
    }
}
