//! Walks through the pages as a newcomer goes them, by mouse and keys.
//!
//! Each page on the way must say nothing on its console, and axe-core must find
//! nothing serious on it, where it could be fetched.

use crate::browser::axe::Axe;
use crate::browser::screens::READY;
use crate::browser::sizes_walk;
use crate::devtools::Page;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};

/// A page where the work on it has ended.
pub(crate) fn arrived(step: &str) -> String {
    format!("/\\/tests\\/\\d+\\/{step}$/.test(location.pathname) && {READY}")
}

/// The worked example, opened with one click; gives the paths of its pages.
pub(crate) fn worked_example(page: &mut Page, address: &str) -> Result<Vec<String>, String> {
    page.open(&format!("{address}/"), READY)?;
    page.ask("document.querySelector('form[action=\"/tests/example\"] button').click()")?;
    page.wait_for(&arrived("findings"))?;
    let own = own_path(page)?;
    let mut paths = vec![
        "/".to_owned(),
        "/tests/new".to_owned(),
        "/spectra".to_owned(),
        "/trace".to_owned(),
    ];
    for step in [
        "plan",
        "plan/new",
        "exposures",
        "negatives",
        "curves",
        "spectra",
        "findings",
        "report",
        "history",
    ] {
        paths.push(format!("{own}/{step}"));
    }
    Ok(paths)
}

/// All pages in all their states: with nothing yet, planned, evaluated.
pub(crate) fn every_state(page: &mut Page, address: &str) -> Result<Vec<String>, String> {
    let mut paths = worked_example(page, address)?;
    let own = own_path(page)?;
    page.open(&format!("{address}{own}/negatives"), READY)?;
    outline(page, "scan-sun-715-4", [470.0, 315.0, 40.0, 24.0])?;
    fill(page, "patch", "wall-2")?;
    press(page, "[data-outline] button.main")?;
    page.wait_for(&format!(
        "document.querySelector('[data-views]')?.dataset.views.includes('wall-2') && {}",
        arrived("negatives")
    ))?;
    for more in ["compare", "report.html"] {
        paths.push(format!("{own}/{more}"));
    }
    paths.push("/let-in".to_owned());
    paths.push("/?words=nothing+has+this".to_owned());
    paths.push(failed_work(page)?);
    for (way, steps) in [
        (
            "plan",
            ["plan", "exposures", "card/sheet", "card/cards"].as_slice(),
        ),
        (
            "record",
            ["exposures", "negatives", "findings", "plan"].as_slice(),
        ),
    ] {
        page.open(&format!("{address}/tests/new"), READY)?;
        for (field, value) in [
            ("title", "Heath in June"),
            ("film", "Testfilm A"),
            ("filter", "R-715"),
        ] {
            fill_in(page, &format!("[name={field}]"), value)?;
        }
        press(page, &format!("button[value={way}]"))?;
        page.wait_for(&arrived(steps[0]))?;
        let own = own_path(page)?;
        paths.extend(steps.iter().map(|step| format!("{own}/{step}")));
    }
    Ok(paths)
}

/// Work that fails, for its page.
fn failed_work(page: &mut Page) -> Result<String, String> {
    page.ask(
        "fetch('/api/bundles', { method: 'POST', body: 'no bundle', \
           headers: { 'x-filmproof-token': document.querySelector('meta[name=token]').content } }) \
         .then(r => r.json()).then(r => r.next)",
    )?
    .as_str()
    .map(str::to_owned)
    .ok_or_else(|| "no work was begun".to_owned())
}

/// More sheets narrow the interval that is promised, while the slider moves.
fn promise_narrows(page: &mut Page, address: &str, own: &str) -> Result<(), String> {
    const PROMISED: &str = "Number(/± ([0-9.]+) stops/.exec(document.querySelector('#answer .big')?.textContent)?.[1])";
    page.open(&format!("{address}{own}/plan/new"), READY)?;
    let mut widths = vec![];
    for sheets in ["4", "14"] {
        page.ask(&format!(
            "(() => {{ const of = document.querySelector('[name=sheets]'); of.value = '{sheets}'; \
             document.querySelector('[name=holder_names]').value = '1,2,3,4,5,6,7'; \
             of.dispatchEvent(new Event('input', {{ bubbles: true }})); }})()"
        ))?;
        // The slider's words and the frames of the answer agree when the answer is there.
        page.wait_for(&format!(
            "document.querySelectorAll('#answer tbody tr').length === {sheets} && \
             !document.querySelector('#answer').hasAttribute('aria-busy')"
        ))?;
        widths.push(page.ask(PROMISED)?.as_f64().unwrap_or(f64::NAN));
    }
    if widths[1] < widths[0] {
        Ok(())
    } else {
        Err(format!("4 and 14 sheets promise {widths:?} stops"))
    }
}

/// `/tests/1` of the test that is open.
fn own_path(page: &mut Page) -> Result<String, String> {
    let own = page.ask("location.pathname.split('/').slice(0, 3).join('/')")?;
    own.as_str()
        .map(str::to_owned)
        .ok_or_else(|| "no test is open".to_owned())
}

/// Opens the worked example, outlines a patch, sees the answer change, prints.
pub(crate) fn example_walk(page: &mut Page, address: &str, axe: &Axe) -> Result<(), String> {
    let paths = worked_example(page, address)?;
    let own = own_path(page)?;
    let before = factor(page, &own)?;
    for path in &paths {
        page.open(&format!("{address}{path}"), READY)?;
        axe.look(page, path)?;
    }
    promise_narrows(page, address, &own)?;
    sizes_walk::walk(page, address, &own)?;
    page.open(&format!("{address}{own}/negatives"), READY)?;
    under_the_pointer(page)?;
    frames_shown(page)?;
    as_positives(page, axe)?;
    // Part of the wall of the brightest frame behind the filter, away from its patch.
    outline(page, "scan-sun-715-4", [470.0, 315.0, 40.0, 24.0])?;
    fill(page, "patch", "wall-2")?;
    page.ask("document.querySelector('[data-outline] [name=role]').value = 'wall'")?;
    axe.look(page, "the form of an outline")?;
    press(page, "[data-outline] button.main")?;
    page.wait_for(&format!(
        "document.querySelector('[data-views]')?.dataset.views.includes('wall-2') && {}",
        arrived("negatives")
    ))?;
    press(page, "form[action$=\"/evaluate\"] button")?;
    page.wait_for(&arrived("findings"))?;
    let after = factor(page, &own)?;
    if before == after {
        return Err(format!(
            "a new patch did not change the factor of {before} stops"
        ));
    }
    println!("   a patch more: the factor went from {before} to {after} stops");
    page.open(&format!("{address}{own}/curves"), READY)?;
    read_off(page)?;
    page.open(&format!("{address}{own}/report.html"), READY)?;
    let pdf = page.call("Page.printToPDF", &json!({ "printBackground": true }))?;
    let size = pdf["data"].as_str().map_or(0, str::len);
    // A report of several pages with its figures is far larger than an empty sheet.
    if size < 100_000 {
        return Err(format!("the report prints to {size} characters only"));
    }
    Ok(())
}

/// The first factor, stops.
fn factor(page: &mut Page, own: &str) -> Result<f64, String> {
    page.ask(&format!(
        "fetch('/api{own}/findings').then(r => r.json()).then(f => f.factors[0].factor_stops.value)"
    ))?
    .as_f64()
    .ok_or_else(|| "no factor was found".to_owned())
}

/// The density under the pointer is told, and follows it.
fn under_the_pointer(page: &mut Page) -> Result<(), String> {
    let place = client(page, "scan-sun-715-4", 322.0 + 22.0, 431.0 + 16.0)?;
    mouse(page, "mouseMoved", place)?;
    let told = page.ask(
        "[...document.querySelectorAll('[data-readout]')].map(e => e.textContent).find(t => t.startsWith('D '))",
    )?;
    match told.as_str() {
        Some(told) if told.contains("net") => Ok(()),
        _ => Err(format!("the density under the pointer is not told: {told}")),
    }
}

/// Frames are drawn where they were found, and taken away when they are not wanted.
fn frames_shown(page: &mut Page) -> Result<(), String> {
    const FOUND: &str = "JSON.parse(document.querySelector('[data-views]').dataset.views).views.map(v => v.frame_found).filter(f => f?.found)";
    // The picture's sides in the worked example, by the maker of its scans, px.
    let sizes = page.ask(&format!(
        "{FOUND}.filter(f => f.corners_px).map(f => f.corners_px).map(([a, b, c]) => [b[0] - a[0], c[1] - b[1]])"
    ))?;
    let sizes = sizes.as_array().cloned().unwrap_or_default();
    for size in &sizes {
        let off = |k: usize, truth: f64| size[k].as_f64().map_or(f64::NAN, |v| (v - truth).abs());
        if off(0, 640.0).max(off(1, 512.0)).max(0.0) > 1.5 || off(0, 640.0).is_nan() {
            return Err(format!("a picture of 640 × 512 px was found as {size}"));
        }
    }
    let told = page.ask("[...document.querySelectorAll('.on-table figcaption p')].filter(p => /As found: tilt .* rebate D/.test(p.textContent)).length")?;
    let found = page.ask(&format!("{FOUND}.length"))?;
    if told != found || sizes.len() < 4 {
        return Err(format!(
            "{found} frames were found, {} whole, and {told} are told",
            sizes.len()
        ));
    }
    // What is drawn changes the picture of a frame, and goes when it is not wanted.
    let drawn = |page: &mut Page| -> Result<Value, String> {
        std::thread::sleep(std::time::Duration::from_millis(300));
        page.ask("[...document.querySelectorAll('.on-table canvas')].map(c => c.toDataURL().length).join(' ')")
    };
    let with = drawn(page)?;
    press(page, "[data-frames]")?;
    let without = drawn(page)?;
    press(page, "[data-frames]")?;
    if with == without || drawn(page)? != with {
        return Err(
            "the frames that were found are not drawn, or stay when they are not wanted".to_owned(),
        );
    }
    println!(
        "   frames found: {found}, {} with all four sides",
        sizes.len()
    );
    Ok(())
}

/// Shown as positives, pictures and scale turn round, and densities stay what they were.
fn as_positives(page: &mut Page, axe: &Axe) -> Result<(), String> {
    const TOLD: &str = "[...document.querySelectorAll('[data-readout]')].map(e => e.textContent).find(t => t.startsWith('D '))";
    const SCALE: &str = "[...document.querySelectorAll('.table-top rect')].slice(1).map(r => Number(/\\d+/.exec(getComputedStyle(r).fill)[0]))";
    // The grey card of the frame, an even part of it.
    let (x, y) = client(page, "scan-sun-715-4", 322.0 + 22.0, 431.0 + 16.0)?;
    let pixel = format!(
        "(() => {{ const c = document.elementFromPoint({x}, {y}); const b = c.getBoundingClientRect(); \
         return c.getContext('2d').getImageData(({x} - b.left) * c.width / b.width, ({y} - b.top) * c.height / b.height, 1, 1).data[0]; }})()"
    );
    let see = |page: &mut Page| -> Result<(Value, f64), String> {
        mouse(page, "mouseMoved", (x + 1.0, y))?;
        mouse(page, "mouseMoved", (x, y))?;
        std::thread::sleep(std::time::Duration::from_millis(300));
        Ok((
            page.ask(TOLD)?,
            page.ask(&pixel)?.as_f64().unwrap_or(f64::NAN),
        ))
    };
    let (density, negative) = see(page)?;
    let before = page.ask(SCALE)?;
    let range = page
        .ask("document.querySelector('[data-positive]').dataset.positive.split(' ').map(Number)")?;
    press(page, "[data-positive]")?;
    axe.look(page, "the light table as positives")?;
    let (same, positive) = see(page)?;
    if density != same {
        return Err(format!(
            "as positives the density reads {same}, not {density}"
        ));
    }
    // Beside the definition, computed here: Dp = 2 (white − D)/(white − black), Y = 10^−Dp,
    // encoded by IEC 61966-2-1. 14: the picture is reduced, and film has grain.
    let told = density.as_str().unwrap_or_default();
    let d = told
        .split_whitespace()
        .nth(1)
        .and_then(|t| t.trim_end_matches(',').parse::<f64>().ok());
    let (Some(d), Some(black), Some(white)) = (d, range[0].as_f64(), range[1].as_f64()) else {
        return Err(format!("no density is told: {told}"));
    };
    let print = (2.0 * (white - d) / (white - black)).clamp(0.0, 2.0);
    let expected = 255.0 * (1.055 * 10_f64.powf(-print / 2.4) - 0.055);
    if (positive - expected).abs() > 14.0 || (positive - negative).abs() < 14.0 {
        return Err(format!(
            "density {d} is shown as {positive}, by its definition {expected:.0}; as a negative {negative}"
        ));
    }
    let after = page.ask(SCALE)?;
    let ends = |scale: &Value| Some((scale[0].as_f64()?, scale[10].as_f64()?));
    match (ends(&before), ends(&after)) {
        (Some((first, last)), Some((dark, light)))
            if first > 250.0 && last < 10.0 && dark < 10.0 && light > 250.0 => {}
        _ => return Err(format!("the scale went from {before} to {after}")),
    }
    press(page, "[data-positive]")?;
    if page.ask(SCALE)? == before {
        Ok(())
    } else {
        Err("the scale is not as it was".to_owned())
    }
}

/// A curve is read off by an arrow key.
fn read_off(page: &mut Page) -> Result<(), String> {
    page.ask("document.querySelector('[data-curve]').focus()")?;
    key(page, "ArrowRight")?;
    let told = page.ask("document.querySelector('[data-curve] [data-readout]').textContent")?;
    match told.as_str() {
        Some(told) if told.contains("density") && told.contains("log H") => Ok(()),
        _ => Err(format!("the curve is not read off: {told}")),
    }
}

/// Begins with nothing: a record is typed and pasted, scans are brought, the
/// tablet found, patches outlined, findings seen.
pub(crate) fn empty_walk(
    page: &mut Page,
    address: &str,
    scans: &Path,
    axe: &Axe,
) -> Result<(), String> {
    page.open(&format!("{address}/"), READY)?;
    axe.look(page, "an empty notebook")?;
    page.open(&format!("{address}/tests/new"), READY)?;
    for (field, value) in [
        ("title", "Heath in June"),
        ("film", "Testfilm A"),
        ("box_speed", "100"),
        ("filter", "R-715"),
    ] {
        fill_in(page, &format!("[name={field}]"), value)?;
    }
    press(page, "button[value=record]")?;
    page.wait_for(&arrived("exposures"))?;
    axe.look(page, "an empty record")?;
    // Typed into the first cell, then pasted over the rest, as from a spreadsheet.
    page.ask("document.querySelector('[data-table=frame] tbody input').focus()")?;
    page.call("Input.insertText", &json!({ "text": "sun-anchor-2" }))?;
    key(page, "ArrowRight")?;
    let rows = [
        "Holder\tFor\tFilm\tFilter\tLight\tEI\tAperture\tTime (s)\tMeasured time, s\tProcess",
        "1B\tanchor\tfilm\t\tlight\t100\tf/22\t1/30\t\tprocess",
        "3B\tbracket\tfilm\tfilter\tlight\t100\tf22\t1\t\tprocess",
        "4A\tbracket\tfilm\tfilter\tlight\t100\t22\t2\t2\tprocess",
        "7A\tunexposed\tfilm\t\t\t\t\t\t\tprocess",
    ]
    .join("\n");
    paste(page, &rows)?;
    let count = "document.querySelectorAll('[data-table=frame] tbody tr').length";
    let rows = page.ask(count)?;
    // Four frames, and the blank row below them.
    if rows != json!(5) {
        return Err(format!(
            "{rows} rows stand where four frames were pasted with their heads"
        ));
    }
    let names = ["sun-715-3", "sun-715-4", "unexposed"];
    for (place, name) in names.iter().enumerate() {
        page.ask(&format!(
            "document.querySelectorAll('[data-table=frame] tbody tr')[{}].querySelector('input').focus()",
            place + 1
        ))?;
        page.call("Input.insertText", &json!({ "text": name }))?;
    }
    page.ask("document.querySelector('[data-table=light]').closest('details').open = true")?;
    fill_in(page, "[data-table=light] input[name=sky]", "clear sun")?;
    fill_in(page, "[data-table=light] input[name=ev100]", "14,6")?;
    fill_in(
        page,
        "[data-table=light] input[name='meter.mode']",
        "incident",
    )?;
    press(page, "[data-save]")?;
    page.wait_for("document.querySelector('[data-save]').textContent === 'Saved'")?;
    let told = page.ask("document.querySelector('[data-told]').textContent")?;
    if told != json!("") {
        return Err(format!("the typed record has something to mend: {told}"));
    }
    let own = own_path(page)?;
    two_windows(page, &own)?;
    page.open(&format!("{address}{own}/negatives"), READY)?;
    axe.look(page, "an empty light table")?;
    bring(
        page,
        scans,
        &["sun-anchor-2", "IMG_0012", "sun-715-4", "unexposed"],
    )?;
    orphan_given(page, axe)?;
    tablet_found(page, axe)?;
    let patches = [
        (
            "sun-anchor-2",
            "card",
            "grey_card",
            [329.0, 435.0, 44.0, 32.0],
        ),
        ("sun-anchor-2", "wall", "wall", [533.0, 259.0, 36.0, 40.0]),
        (
            "unexposed",
            "clear",
            "base_fog",
            [300.0, 250.0, 150.0, 100.0],
        ),
    ];
    for (scan, name, role, rectangle) in patches {
        outline(page, scan, rectangle)?;
        fill(page, "patch", name)?;
        page.ask(&format!(
            "document.querySelector('[data-outline] [name=role]').value = '{role}'"
        ))?;
        press(page, "[data-outline] button.main")?;
        page.wait_for(&format!(
            "document.querySelector('[data-views]')?.dataset.views.includes('\"{name}\"') && {}",
            arrived("negatives")
        ))?;
    }
    let carried = page.ask("JSON.parse(document.querySelector('[data-views]').dataset.views).views.flatMap(v => v.outlines).filter(o => o.carried_by === 'registration').length")?;
    // Two patches, on two frames each.
    if carried != json!(4) {
        return Err(format!(
            "{carried} patches were carried by registration, not 4"
        ));
    }
    press(page, "form[action$=\"/evaluate\"] button")?;
    page.wait_for(&arrived("findings"))?;
    axe.look(page, "the first findings")?;
    let stops = factor(page, &own)?;
    println!("   from an empty notebook: a factor of {stops:.2} stops");
    // The truth of the worked example lies at 6.3 stops; two frames and a nominal
    // tablet tell it to a stop.
    if !(5.3..7.3).contains(&stops) {
        return Err(format!(
            "a factor of {stops} stops is not what the frames show"
        ));
    }
    Ok(())
}

/// A scan whose name says nothing is asked about, and is given to the frame without one.
fn orphan_given(page: &mut Page, axe: &Axe) -> Result<(), String> {
    const FRAME: &str = "JSON.parse(document.querySelector('[data-views]').dataset.views).views.find(v => v.scan === 'IMG_0012')?.frame";
    axe.look(page, "a scan that no frame names")?;
    let before = page.ask(FRAME)?;
    let offered =
        page.ask("document.querySelector('.on-table figcaption > form select')?.value")?;
    if before != Value::Null || offered != json!("sun-715-3") {
        return Err(format!(
            "the scan shows {before}, and {offered} is offered for it"
        ));
    }
    press(page, ".on-table figcaption > form button")?;
    page.wait_for(&format!(
        "document.querySelector('[data-views]') && {FRAME} === 'sun-715-3' && {}",
        arrived("negatives")
    ))
}

/// The step tablet is chosen, found by itself, looked at and kept.
fn tablet_found(page: &mut Page, axe: &Axe) -> Result<(), String> {
    axe.look(page, "the choice of a tablet")?;
    page.ask("document.querySelector('#tablet select').value = 'nominal-21'")?;
    press(page, "#tablet form.which button.main")?;
    page.wait_for(&format!(
        "document.querySelector('#tablet .cut-out image') && {}",
        arrived("negatives")
    ))?;
    axe.look(page, "a tablet as it was found")?;
    let words = page.ask("document.querySelector('#tablet').textContent")?;
    let told = words.as_str().unwrap_or_default();
    // The invented tablet of the worked example: 21 steps, 32 px apart, clear end at the left.
    if !told.contains("21 steps running right, tilt 0.0°, 32.0 px from step to step") {
        return Err(format!("the tablet was not found as it lies: {told}"));
    }
    let drawn = page.ask(
        "(async () => { const i = new Image(); i.src = document.querySelector('#tablet .cut-out image').getAttribute('href'); await i.decode(); return i.naturalWidth; })()",
    )?;
    // 21 steps of 32 px and two more at each end, were it not reduced.
    if drawn.as_f64().is_none_or(|w| !(300.0..=801.0).contains(&w)) {
        return Err(format!("the tablet's picture is {drawn} px wide"));
    }
    let kept =
        page.ask("document.querySelector('[data-views]').dataset.views.includes('tablet_step')")?;
    if kept != json!(false) {
        return Err("a tablet was kept before it was confirmed".to_owned());
    }
    press(page, "#tablet form button.main")?;
    page.wait_for(&format!(
        "document.querySelector('[data-views]')?.dataset.views.includes('tablet_step') && {}",
        arrived("negatives")
    ))?;
    let steps = page.ask("JSON.parse(document.querySelector('[data-views]').dataset.views).views.map(v => v.outlines.filter(o => o.kind === 'tablet_step').length)")?;
    println!("   a tablet found and kept: {steps} steps by scan");
    if steps
        .as_array()
        .is_none_or(|s| !s.iter().any(|n| n == &json!(21)))
    {
        return Err(format!("steps kept by scan: {steps}"));
    }
    Ok(())
}

/// Another window saves while something is typed here: both changes stay, and it is said.
fn two_windows(page: &mut Page, own: &str) -> Result<(), String> {
    let records = format!("/api{own}/records");
    page.ask(&format!(
        "(async () => {{ \
           const read = await (await fetch('{records}')).json(); \
           read.tables.frame[0].cells.remarks = 'of the other window'; \
           const headers = {{ 'content-type': 'application/json', 'x-filmproof-token': document.querySelector('meta[name=token]').content }}; \
           const answer = await fetch('{records}', {{ method: 'PUT', headers, body: JSON.stringify({{ expected_revision: read.revision, tables: read.tables }}) }}); \
           if (!answer.ok) throw new Error(await answer.text()); \
         }})()"
    ))?;
    fill_in(page, "[data-table=frame] input[name=ei]", "80")?;
    press(page, "[data-save]")?;
    page.wait_for(
        "document.getElementById('said').textContent.includes('changed since you opened it')",
    )?;
    let here = page.ask("[...document.querySelectorAll('[data-table=frame] tbody tr:first-child input')].map(i => i.value).join('|')")?;
    let text = here.as_str().unwrap_or_default();
    if !(text.contains("|80|") && text.contains("of the other window")) {
        return Err(format!(
            "a change of one of two windows is not in the table: {text}"
        ));
    }
    // The refused save is a 409 on the console, and is meant to be.
    page.complaints.retain(|c| !c.contains("409"));
    press(page, "[data-save]")?;
    page.wait_for("document.querySelector('[data-save]').textContent === 'Saved'")?;
    let kept = page.ask(&format!(
        "fetch('{records}').then(r => r.json()).then(r => r.tables.frame[0].cells.ei + '|' + r.tables.frame[0].cells.remarks)"
    ))?;
    if kept != json!("80|of the other window") {
        return Err(format!("of two windows one lost its change: {kept}"));
    }
    // As it was, since the findings below are held against the truth.
    fill_in(page, "[data-table=frame] input[name=ei]", "100")?;
    press(page, "[data-save]")?;
    page.wait_for("document.querySelector('[data-save]').textContent === 'Saved'")
}

/// Brings scans by the chooser of files.
fn bring(page: &mut Page, scans: &Path, names: &[&str]) -> Result<(), String> {
    let files: Vec<PathBuf> = names
        .iter()
        .map(|name| scans.join(format!("{name}.tif")))
        .collect();
    choose_files(page, "[data-scans] input[type=file]", &files)?;
    page.wait_for(&format!(
        "document.querySelectorAll('[data-view]').length === {} && {}",
        names.len(),
        arrived("negatives")
    ))
}

/// Chooses files, or a folder, in a chooser of the page.
pub(crate) fn choose_files(
    page: &mut Page,
    selector: &str,
    files: &[impl AsRef<Path>],
) -> Result<(), String> {
    let files: Vec<String> = files
        .iter()
        .map(|file| file.as_ref().display().to_string())
        .collect();
    let document = page.call("DOM.getDocument", &json!({}))?;
    let found = page.call(
        "DOM.querySelector",
        &json!({ "nodeId": document["root"]["nodeId"], "selector": selector }),
    )?;
    page.call(
        "DOM.setFileInputFiles",
        &json!({ "files": files, "nodeId": found["nodeId"] }),
    )
    .map(drop)
}

/// Draws a rectangle of a scan, in its pixels, by the mouse.
fn outline(page: &mut Page, scan: &str, [x, y, width, height]: [f64; 4]) -> Result<(), String> {
    page.ask("{ const b = document.querySelector('[data-begin-outline]'); if (b.getAttribute('aria-pressed') !== 'true') b.click(); }")?;
    let from = client(page, scan, x, y)?;
    let to = client(page, scan, x + width, y + height)?;
    mouse(page, "mouseMoved", from)?;
    mouse(page, "mousePressed", from)?;
    mouse(
        page,
        "mouseMoved",
        ((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0),
    )?;
    mouse(page, "mouseMoved", to)?;
    mouse(page, "mouseReleased", to)?;
    page.wait_for("!document.querySelector('[data-outline]').hidden")
}

/// Where a pixel of a scan lies in the window, the whole scan being shown.
fn client(page: &mut Page, scan: &str, x: f64, y: f64) -> Result<(f64, f64), String> {
    let place = page.ask(&format!(
        "(async () => {{ \
           const views = JSON.parse(document.querySelector('[data-views]').dataset.views).views; \
           const canvas = document.querySelectorAll('[data-view] canvas')[views.findIndex(v => v.scan === '{scan}')]; \
           canvas.scrollIntoView({{ block: 'center' }}); \
           const test = document.querySelector('[data-light-table]').dataset.lightTable; \
           const tiles = await (await fetch(`/api/tests/${{test}}/scans/{scan}/tiles`)).json(); \
           const {{ width, height }} = tiles.levels[0]; \
           const box = canvas.getBoundingClientRect(); \
           const scale = Math.min(box.width / width, box.height / height); \
           return [box.left + box.width / 2 + ({x} - width / 2) * scale, box.top + box.height / 2 + ({y} - height / 2) * scale]; \
         }})()"
    ))?;
    match (place[0].as_f64(), place[1].as_f64()) {
        (Some(x), Some(y)) => Ok((x, y)),
        _ => Err(format!("scan {scan} is not on the page: {place}")),
    }
}

pub(crate) fn mouse(page: &mut Page, kind: &str, (x, y): (f64, f64)) -> Result<(), String> {
    let held = if kind == "mouseMoved" { "none" } else { "left" };
    page.call(
        "Input.dispatchMouseEvent",
        &json!({ "type": kind, "x": x, "y": y, "button": held, "clickCount": 1 }),
    )
    .map(drop)
}

fn key(page: &mut Page, name: &str) -> Result<(), String> {
    for kind in ["keyDown", "keyUp"] {
        page.call(
            "Input.dispatchKeyEvent",
            &json!({ "type": kind, "key": name, "code": name }),
        )?;
    }
    Ok(())
}

/// Pastes text where the cursor is.
fn paste(page: &mut Page, text: &str) -> Result<(), String> {
    let text = Value::from(text);
    page.ask(&format!(
        "{{ const data = new DataTransfer(); data.setData('text/plain', {text}); \
         document.activeElement.dispatchEvent(new ClipboardEvent('paste', {{ clipboardData: data, bubbles: true, cancelable: true }})); }}"
    ))
    .map(drop)
}

fn fill(page: &mut Page, field: &str, value: &str) -> Result<(), String> {
    fill_in(page, &format!("[data-outline] [name={field}]"), value)
}

/// Types into a field in place of what stands there.
pub(crate) fn fill_in(page: &mut Page, selector: &str, value: &str) -> Result<(), String> {
    let selector = Value::from(selector);
    page.ask(&format!(
        "{{ const f = document.querySelector({selector}); f.focus(); f.select(); }}"
    ))?;
    page.call("Input.insertText", &json!({ "text": value }))?;
    page.ask("document.activeElement.dispatchEvent(new Event('change', { bubbles: true }))")
        .map(drop)
}

pub(crate) fn press(page: &mut Page, selector: &str) -> Result<(), String> {
    let selector = Value::from(selector);
    page.ask(&format!("document.querySelector({selector}).click()"))
        .map(drop)
}

/// Makes the worked example's scans for the walk that begins with nothing.
pub(crate) fn example_scans(folder: &Path, program: &Path) -> Result<PathBuf, String> {
    let made = crate::command::output(program, &["demo", "example", "--quiet"], folder)?;
    if made.code != 0 {
        return Err(format!(
            "the worked example was not made: {}",
            made.stderr.trim()
        ));
    }
    let scans = folder.join("example/scans");
    // One as a camera or scanner names it.
    fs::copy(scans.join("sun-715-3.tif"), scans.join("IMG_0012.tif"))
        .map_err(|e| format!("{}: {e}", scans.display()))?;
    fs::canonicalize(&scans).map_err(|e| format!("{}: {e}", scans.display()))
}
