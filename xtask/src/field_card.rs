//! The field card from plan to record: the page in a browser without a network,
//! its numbers against the program's, its log back into the test folder.

use crate::command::output;
use crate::devtools::Page;
use crate::workspace::Workspace;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// A phone's screen. \[CSS px\]
const WIDTH: u32 = 390;
const HEIGHT: u32 = 844;
/// What a gloved finger needs. \[CSS px\]
const TARGET_PX: f64 = 56.0;
const READY: &str = "document.documentElement.dataset.ready === '1'";
/// What a hostile name tries.
const HOSTILE: &str = "</script><img src=x onerror=\"document.title='taken'\">";

/// Laws with an EV that leads to a long time at f/45 and EI 6. The page's numbers
/// are held against `filmproof expose`, whose own are checked elsewhere.
const LAWS: &[&str] = &[
    "power:1.31",
    "power:1.26,0.5",
    "schwarzschild:0.85",
    "modified-schwarzschild:0.9",
    "additive:0.1,1.62",
    "fit:1.4,1.066",
    "catenary:0.3,0.01",
    "cosh:0.2,0.01",
    "points:1/1,10/15,100/260",
];
const EVS: &[f64] = &[14.7, 13.1, 10.6, 9.0];

pub(crate) fn run(workspace: &Workspace, program: &Path, chromium: &Path) -> Result<(), String> {
    let folder = workspace.scratch("field-card")?;
    let test = planned(workspace, &folder)?;
    filmproof(program, &["card", &text(&test)], &folder)?;
    let mut page = Page::phone(chromium, &folder.join("profile"), WIDTH, HEIGHT)?;
    let card = url(&test.join("card/field-card.html"));
    page.open(&card, READY)?;
    size(&mut page)?;
    let log = log_frames(&mut page, &card, &folder)?;
    denied(&mut page)?;
    laws(&mut page, program, &folder)?;
    if let Some(far) = page.requests.iter().find(|url| {
        !["file:", "data:", "blob:", "about:"]
            .iter()
            .any(|own| url.starts_with(own))
    }) {
        return Err(format!("the card asked for {far}"));
    }
    drop(page);
    back(program, &test, &log, &folder)?;
    println!("field card: passed; pictures in {}", folder.display());
    Ok(())
}

/// The example's plan, with a hostile name in it.
fn planned(workspace: &Workspace, folder: &Path) -> Result<PathBuf, String> {
    let test = folder.join("test");
    fs::create_dir_all(&test).map_err(|e| format!("{}: {e}", test.display()))?;
    for name in ["test.toml", "plan.toml"] {
        let from = workspace.path(&format!("examples/planned-test/{name}"));
        let text = fs::read_to_string(&from).map_err(|e| format!("{}: {e}", from.display()))?;
        let hostile = HOSTILE.replace('"', "\\\"");
        let text = text.replace("name = \"deep red\"", &format!("name = \"{hostile}\""));
        write(&test.join(name), &text)?;
    }
    Ok(test)
}

fn size(page: &mut Page) -> Result<(), String> {
    let wide = page.ask("document.documentElement.scrollWidth")?;
    if wide.as_f64().is_none_or(|w| w > f64::from(WIDTH)) {
        return Err(format!(
            "the card is {wide} px wide on a phone of {WIDTH} px"
        ));
    }
    let least = page.ask(
        "document.querySelectorAll('details').forEach(d => d.open = true); \
         Math.min(...[...document.querySelectorAll('section button, section input, section select, section summary, #bar button')] \
         .map(e => e.getBoundingClientRect().height))",
    )?;
    println!("   smallest target {least} px high");
    if least.as_f64().is_none_or(|h| h < TARGET_PX) {
        return Err(format!(
            "a target is {least} px high, gloves need {TARGET_PX}"
        ));
    }
    page.ask("document.querySelectorAll('details').forEach(d => d.open = false)")?;
    Ok(())
}

fn press(page: &mut Page, frame: &str, button: &str) -> Result<(), String> {
    page.ask(&format!(
        "document.querySelector('[data-frame=\"{frame}\"] {button}').click()"
    ))?;
    Ok(())
}

fn fill(page: &mut Page, frame: &str, field: &str, value: &str) -> Result<(), String> {
    let value = json!(value);
    page.ask(&format!(
        "{{ const e = document.querySelector('[data-frame=\"{frame}\"] [data-field=\"{field}\"]'); \
         e.value = {value}; e.dispatchEvent(new Event('input', {{ bubbles: true }})); }}"
    ))?;
    Ok(())
}

fn seen(page: &mut Page, frame: &str, part: &str) -> Result<String, String> {
    let text = page.ask(&format!(
        "document.querySelector('[data-frame=\"{frame}\"] {part}').textContent"
    ))?;
    Ok(text.as_str().unwrap_or_default().to_owned())
}

fn must(holds: bool, why: impl Into<String>) -> Result<(), String> {
    if holds { Ok(()) } else { Err(why.into()) }
}

/// Counts one frame, ticks others, reloads in between, and exports.
fn log_frames(page: &mut Page, card: &str, folder: &Path) -> Result<PathBuf, String> {
    picture(page, folder, "frames")?;
    fill(page, "anchor", "ev100", "14.5")?;
    fill(page, "anchor", "remarks", HOSTILE)?;
    press(page, "anchor", ".tick")?;
    // Another aperture and reading: 32²·100/(2^13.5·6) = 1.473 s, by hand; its power 1.31 is 1.661 s.
    fill(page, "ei-6", "aperture_f", "32")?;
    fill(page, "ei-6", "ev100", "13.5")?;
    fill(page, "ei-6", "sky", "thin_cloud")?;
    let how = seen(page, "ei-6", ".how")?;
    must(
        how.contains("metered 1.5 s, corrected 1.7 s"),
        format!("computed anew: {how}"),
    )?;
    // A count that outlives a reload of the page.
    press(page, "ei-6", ".time")?;
    page.ask("document.getElementById('go').click()")?;
    let begin = Instant::now();
    page.wait_for("Number(document.getElementById('left').textContent) < 1.4")?;
    picture(page, folder, "count")?;
    // A clock that jumps an hour changes nothing of the count.
    page.ask("{ const before = Date.now; Date.now = () => before() + 3600e3; }")?;
    page.wait_for("document.getElementById('jump').textContent.includes('jumped')")?;
    must(
        page.ask("document.getElementById('left').textContent")? != json!("CLOSE")
            || begin.elapsed() > Duration::from_millis(1600),
        "the clock's jump ended the count",
    )?;
    page.open("about:blank", "true")?;
    page.open(card, READY)?;
    page.wait_for("document.getElementById('left').textContent === 'CLOSE'")?;
    page.ask("document.getElementById('go').click()")?;
    let took = begin.elapsed().as_secs_f64();
    let actual = page.ask(
        "document.querySelector('[data-frame=\"ei-6\"] [data-field=\"time_actual_s\"]').value",
    )?;
    let actual: f64 = actual.as_str().and_then(|t| t.parse().ok()).unwrap_or(0.0);
    must(
        (actual - took).abs() < 0.5 && actual > 1.6,
        format!("the page counted {actual} s of {took:.2} s"),
    )?;
    println!("   counted {actual} s, by this program's clock {took:.2} s, over a reload");
    press(page, "base", ".tick")?;
    // A holder side used twice is told, and a wrong tick undone.
    fill(page, "ei-25", "holder", "1A")?;
    press(page, "ei-25", ".tick")?;
    let warn = seen(page, "ei-25", ".warn")?;
    must(
        warn.contains("used twice"),
        format!("a side used twice: {warn}"),
    )?;
    page.ask("document.getElementById('undo').click()")?;
    page.ask("document.getElementById('dim').click()")?;
    picture(page, folder, "dim")?;
    page.open("about:blank", "true")?;
    page.open(card, READY)?;
    let count = page.ask("document.getElementById('count').textContent")?;
    must(
        count == json!("3 of 10 done"),
        format!("after a reload: {count}"),
    )?;
    let kept = page
        .ask("document.querySelector('[data-frame=\"anchor\"] [data-field=\"remarks\"]').value")?;
    must(
        kept == json!(HOSTILE),
        format!("the remark after a reload: {kept}"),
    )?;
    let title = page.ask("document.title")?;
    must(title != json!("taken"), "a name was run as a script")?;
    let downloads = folder.join("downloads");
    fs::create_dir_all(&downloads).map_err(|e| format!("{}: {e}", downloads.display()))?;
    page.call(
        "Page.setDownloadBehavior",
        &json!({ "behavior": "allow", "downloadPath": downloads }),
    )?;
    let text = page.ask("document.getElementById('text').value")?;
    page.ask("document.getElementById('save').click()")?;
    let log = downloads.join("field-log.json");
    let begin = Instant::now();
    while !log.exists() {
        must(
            begin.elapsed() < Duration::from_secs(20),
            "no file was saved",
        )?;
        std::thread::sleep(Duration::from_millis(50));
    }
    let frames = |text: &str| -> Result<Value, String> {
        let value: Value = serde_json::from_str(text).map_err(|e| format!("the log: {e}"))?;
        Ok(value["frames"].clone())
    };
    let saved = fs::read_to_string(&log).map_err(|e| format!("{}: {e}", log.display()))?;
    must(
        frames(&saved)? == frames(text.as_str().unwrap_or_default())?,
        "the saved log and its text differ",
    )?;
    Ok(log)
}

/// Storage that refuses is told loudly.
fn denied(page: &mut Page) -> Result<(), String> {
    page.ask("Storage.prototype.setItem = () => { throw new Error('full') }")?;
    fill(page, "ei-3", "remarks", "x")?;
    let told = page.ask(
        "!document.getElementById('alarm').hidden && document.getElementById('alarm').textContent",
    )?;
    must(
        told.as_str().is_some_and(|t| t.starts_with("NOT KEPT")),
        format!("storage that refuses is told as {told}"),
    )
}

/// The page's chain against the program's, for each form of law.
fn laws(page: &mut Page, program: &Path, folder: &Path) -> Result<(), String> {
    let mut worst: f64 = 0.0;
    for (number, law) in LAWS.iter().enumerate() {
        let test = folder.join(format!("law-{number}"));
        fs::create_dir_all(&test).map_err(|e| format!("{}: {e}", test.display()))?;
        write(
            &test.join("test.toml"),
            &format!(
                "format = 1\ntitle = \"Law\"\ninvented = true\n[[film]]\nid = \"f\"\nname = \"Testfilm A\"\n\
             reciprocity = {{ law = \"{law}\", source = \"invented\" }}\n\
             [[light]]\nid = \"l\"\nsky = \"lamp\"\nev100 = 14\n[[process]]\nid = \"p\"\ndeveloper = \"D\"\n"
            ),
        )?;
        write(
            &test.join("plan.toml"),
            "format = 1\n[[planned]]\nid = \"a\"\nfilm = \"f\"\nprocess = \"p\"\nrole = \"anchor\"\nlight = \"l\"\n\
             ei = 6\naperture_f = 45\ntime_marked_s = 1\nmagnification = 0.5\n",
        )?;
        filmproof(program, &["card", &text(&test)], folder)?;
        page.open(&url(&test.join("card/field-card.html")), READY)?;
        for ev in EVS {
            let answer = output(
                program,
                &[
                    "expose",
                    "--json",
                    "--ev100",
                    &ev.to_string(),
                    "--ei",
                    "6",
                    "--aperture",
                    "45",
                    "--magnification",
                    "0.5",
                    "--reciprocity",
                    law,
                ],
                folder,
            )?;
            let found = page.ask(&format!(
                "{{ const f = JSON.parse(document.getElementById('plan').textContent).frames[0]; \
                 const c = window.filmproofCard; c.corrected(f.law, c.metered(45, {ev}, 6, f.bellows)).s ?? null }}"
            ))?;
            if answer.code != 0 {
                // A time that the law refuses, the page refuses too.
                must(
                    found.is_null(),
                    format!("{law} at EV {ev}: the program refuses, the page gives {found}"),
                )?;
                continue;
            }
            let wanted: Value = serde_json::from_str(&answer.stdout).map_err(|e| e.to_string())?;
            let (Some(wanted), Some(found)) = (wanted["time_corrected_s"].as_f64(), found.as_f64())
            else {
                return Err(format!("{law} at EV {ev}: the page gives {found}"));
            };
            let off = (found / wanted - 1.0).abs();
            must(
                off < 1e-9,
                format!("{law} at EV {ev}: {found} s on the page, {wanted} s by the program"),
            )?;
            worst = worst.max(off);
        }
    }
    println!(
        "   {} laws at {} readings: page and program differ by at most {worst:.1e}",
        LAWS.len(),
        EVS.len()
    );
    Ok(())
}

/// The log into the record, again, and evaluated with readings.
fn back(program: &Path, test: &Path, log: &Path, folder: &Path) -> Result<(), String> {
    let before = fs::read_to_string(test.join("test.toml")).map_err(|e| e.to_string())?;
    let import = ["import", &text(test), &text(log), "--json"];
    let done = filmproof(program, &import, folder)?;
    let done: Value = serde_json::from_str(&done).map_err(|e| format!("import: {e}"))?;
    must(
        done["added"] == json!(["anchor", "ei-6", "base"]),
        format!("imported: {done}"),
    )?;
    let after = fs::read_to_string(test.join("test.toml")).map_err(|e| e.to_string())?;
    must(after.starts_with(&before), "the record so far was changed")?;
    must(
        after.contains("id = \"noon-thin-cloud\""),
        "the sky that was seen is not recorded",
    )?;
    let again = filmproof(program, &import, folder)?;
    must(
        again.contains("\"added\": []"),
        format!("imported again: {again}"),
    )?;
    let same = fs::read_to_string(test.join("test.toml")).map_err(|e| e.to_string())?;
    must(same == after, "the same log again changed the record")?;
    write(
        &test.join("patches.csv"),
        "frame,patch,role\nanchor,card,grey_card\nei-6,card,grey_card\nbase,rebate,base_fog\n",
    )?;
    write(
        &test.join("readings.csv"),
        "frame,patch,density,density_sd\nanchor,card,0.80,0.02\nei-6,card,0.55,0.02\nbase,rebate,0.10,0.02\n",
    )?;
    let found = filmproof(
        program,
        &["evaluate", &text(test), "--json", "--quiet"],
        folder,
    )?;
    let found: Value = serde_json::from_str(&found).map_err(|e| format!("evaluate: {e}"))?;
    let frames = found["frames"].as_array().map_or(0, Vec::len);
    must(frames == 3, format!("evaluated {frames} frames of three"))
}

fn filmproof(program: &Path, arguments: &[&str], folder: &Path) -> Result<String, String> {
    let done = output(program, arguments, folder)?;
    if done.code == 0 {
        Ok(done.stdout)
    } else {
        Err(format!(
            "filmproof {}: {}",
            arguments.join(" "),
            done.stderr.trim()
        ))
    }
}

fn picture(page: &mut Page, folder: &Path, name: &str) -> Result<(), String> {
    use base64::Engine as _;
    let bytes = base64::engine::general_purpose::STANDARD
        .decode(page.picture()?)
        .map_err(|e| format!("{name}: {e}"))?;
    let path = folder.join(format!("{name}.png"));
    fs::write(&path, bytes).map_err(|e| format!("{}: {e}", path.display()))
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    fs::write(path, text).map_err(|e| format!("{}: {e}", path.display()))
}

fn text(path: &Path) -> String {
    path.display().to_string()
}

fn url(path: &Path) -> String {
    format!("file://{}", path.display()).replace(' ', "%20")
}
