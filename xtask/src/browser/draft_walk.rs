//! Two windows type into one record: what each typed is its own until it is saved.

use crate::browser::axe::Axe;
use crate::browser::screens::READY;
use crate::browser::walks::{arrived, fill_in, press};
use crate::devtools::Page;
use serde_json::json;

const FIRST: &str = "document.querySelector('[data-table=frame] tbody input').value";
const OTHER: &str = "window.open('', 'other')";

/// Types in two windows, reloads both, saves by keys, and closes one with words in it.
pub(crate) fn walk(page: &mut Page, address: &str, axe: &Axe) -> Result<(), String> {
    page.open(&format!("{address}/tests/new"), READY)?;
    fill_in(page, "[name=title]", "Two windows")?;
    press(page, "button[value=record]")?;
    page.wait_for(&arrived("exposures"))?;
    fill_in(page, "[data-table=frame] tbody input", "of-this-one")?;
    shown(page, "document.querySelector('[data-none]').hidden", "true")?;
    // A window that is opened from this one begins as a copy of all that it holds.
    page.ask("void window.open(location.href, 'other')")?;
    other_ready(page)?;
    shown(page, &of_other(FIRST), "")?;
    page.ask(&format!(
        "{{ const w = {OTHER}; const cell = w.{FIRST_CELL}; cell.value = 'of-the-other'; \
         cell.dispatchEvent(new w.Event('input', {{ bubbles: true }})); }}"
    ))?;
    reload(page)?;
    shown(page, FIRST, "of-this-one")?;
    shown(page, "document.querySelectorAll('[data-left]').length", "0")?;
    reload_other(page)?;
    shown(page, &of_other(FIRST), "of-the-other")?;
    // Ctrl+S with the cursor nowhere, as after a reload.
    shown(page, "document.activeElement === document.body", "true")?;
    save_by_keys(page)?;
    reload_other(page)?;
    let rows = "[...document.querySelectorAll('[data-table=frame] tbody tr')].map(r => r.querySelector('input').value).filter(Boolean).sort().join()";
    shown(page, &of_other(rows), "of-the-other,of-this-one")?;
    page.ask(&format!("{OTHER}.close()"))?;
    reload(page)?;
    page.wait_for("document.querySelectorAll('[data-left]').length === 1")?;
    axe.look(page, "what a closed window typed")?;
    shown(
        page,
        "document.querySelector('[data-left]').textContent.includes('of-the-other')",
        "true",
    )?;
    press(page, "[data-left] button")?;
    shown(page, rows, "of-the-other,of-this-one")?;
    save_by_keys(page)?;
    reload(page)?;
    shown(page, rows, "of-the-other,of-this-one")?;
    shown(page, "document.querySelectorAll('[data-left]').length", "0")?;
    println!("   two windows kept what each typed, and a closed one's words were offered");
    Ok(())
}

const FIRST_CELL: &str = "document.querySelector('[data-table=frame] tbody input')";

/// A question of this page, put to the other window.
fn of_other(question: &str) -> String {
    question.replace("document.", &format!("{OTHER}.document."))
}

fn other_ready(page: &mut Page) -> Result<(), String> {
    page.wait_for(&of_other(
        "document.location.pathname.endsWith('exposures') && document.documentElement.dataset.ready === '1'",
    ))
}

/// Holds what a page says, as text, against what it should.
fn shown(page: &mut Page, question: &str, expected: &str) -> Result<(), String> {
    let told = page.ask(&format!("String({question})"))?;
    if told == json!(expected) {
        Ok(())
    } else {
        Err(format!("{question} is {told}, not {expected:?}"))
    }
}

/// Reloads the page.
fn reload(page: &mut Page) -> Result<(), String> {
    page.ask(
        "delete document.documentElement.dataset.ready; setTimeout(() => location.reload()); void 0",
    )?;
    page.wait_for(READY)
}

fn reload_other(page: &mut Page) -> Result<(), String> {
    page.ask(&format!(
        "{{ const w = {OTHER}; delete w.document.documentElement.dataset.ready; w.location.reload(); }}"
    ))?;
    other_ready(page)
}

fn save_by_keys(page: &mut Page) -> Result<(), String> {
    for kind in ["keyDown", "keyUp"] {
        page.call(
            "Input.dispatchKeyEvent",
            &json!({ "type": kind, "key": "s", "code": "KeyS", "modifiers": 2, "windowsVirtualKeyCode": 83 }),
        )?;
    }
    page.wait_for("document.querySelector('[data-save]').textContent === 'Saved'")
}
