//! A test folder taken in by the page of tests: chosen, dropped, and cancelled.

use crate::browser::axe::Axe;
use crate::browser::screens::READY;
use crate::browser::walks::{arrived, choose_files, press};
use crate::devtools::Page;
use serde_json::json;
use std::fs;
use std::path::Path;

/// Takes the worked example in twice, by choosing it and by dropping it, and cancels a third.
pub(crate) fn walk(page: &mut Page, address: &str, scans: &Path, axe: &Axe) -> Result<(), String> {
    let folder = scans.parent().ok_or("the worked example has no folder")?;
    let wrong = folder.with_file_name("no-test");
    fs::create_dir_all(&wrong)
        .and_then(|()| fs::write(wrong.join("a.csv"), "a\n"))
        .map_err(|e| format!("{}: {e}", wrong.display()))?;
    page.open(&format!("{address}/"), READY)?;
    choose_files(page, "#folder", &[&wrong])?;
    page.wait_for("document.getElementById('said').textContent.includes('no test.toml')")?;
    // The refusal is a 422 on the console, and is meant to be.
    page.complaints.retain(|c| !c.contains("422"));
    let before = tests(page)?;
    choose_files(page, "#folder", &[folder])?;
    page.wait_for(&arrived("exposures"))?;
    let frames = page.ask("document.querySelectorAll('[data-table=frame] tbody tr').length")?;
    let told = page.ask("document.querySelector('[data-told]').textContent")?;
    if frames.as_u64().is_none_or(|n| n < 5) || told != json!("") {
        return Err(format!("the folder came with {frames} frames: {told}"));
    }
    drop_on_page(page, address, folder)?;
    // The very same files are in the notebook already, and that is said first.
    page.wait_for(&format!(
        "location.pathname.startsWith('/jobs/') && document.body.textContent.includes('very same files') && {READY}"
    ))?;
    axe.look(page, "a folder that was taken in twice")?;
    press(page, "main a.button.main")?;
    page.wait_for(&arrived("exposures"))?;
    page.open(&format!("{address}/"), READY)?;
    cancelled(page, folder, axe)?;
    let after = tests(page)?;
    if after == before + 2 {
        println!("   a folder chosen and one dropped came in; one was cancelled");
        Ok(())
    } else {
        Err(format!("{before} tests became {after}, not two more"))
    }
}

fn tests(page: &mut Page) -> Result<u64, String> {
    page.ask("fetch('/api/tests').then(r => r.json()).then(t => t.length)")?
        .as_u64()
        .ok_or_else(|| "the tests are not listed".to_owned())
}

/// Drops a folder on the page of tests, as from a window of files.
fn drop_on_page(page: &mut Page, address: &str, folder: &Path) -> Result<(), String> {
    page.open(&format!("{address}/"), READY)?;
    let data =
        json!({ "items": [], "files": [folder.display().to_string()], "dragOperationsMask": 1 });
    for kind in ["dragEnter", "dragOver", "drop"] {
        page.call(
            "Input.dispatchDragEvent",
            &json!({ "type": kind, "x": 300, "y": 300, "data": data }),
        )?;
    }
    Ok(())
}

/// Cancels while the first file goes, over a line that is slow enough to be quicker than.
fn cancelled(page: &mut Page, folder: &Path, axe: &Axe) -> Result<(), String> {
    let line = |up: i64| json!({ "offline": false, "latency": 0, "downloadThroughput": -1, "uploadThroughput": up });
    page.call("Network.emulateNetworkConditions", &line(20_000))?;
    choose_files(page, "#folder", &[folder])?;
    page.wait_for(
        "document.querySelector('[data-coming] [data-work]').textContent.includes(', file ')",
    )?;
    axe.look(page, "a folder that is coming in")?;
    press(page, "[data-cancel]")?;
    page.wait_for(
        "document.querySelector('[data-coming]').hidden && \
         document.getElementById('said').textContent.startsWith('Cancelled')",
    )?;
    page.call("Network.emulateNetworkConditions", &line(-1))
        .map(drop)
}
