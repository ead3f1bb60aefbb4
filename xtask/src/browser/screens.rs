//! Pictures of every page for a person to look at: light and dark, wide, on a phone and on
//! a very large screen; and what is printed, as PDF and, where `pdftoppm` is, as pictures of
//! its sheets.

use crate::browser::program::Served;
use crate::devtools::{Page, Screen};
use crate::workspace::Workspace;
use base64::Engine as _;
use serde_json::json;
use std::fs;
use std::path::Path;
use std::process::Command;

/// A page that is ready has said so, or needs no script.
pub(crate) const READY: &str = "document.readyState === 'complete' && \
    (!document.querySelector('script[type=module]') || document.documentElement.dataset.ready === '1')";

/// The screens on which each page is looked at.
const SCREENS: [(&str, u32, u32, bool); 3] = [
    ("wide", 1440, 900, false),
    ("phone", 390, 844, true),
    ("4k", 3840, 2160, false),
];

/// Ends of the paths of pages that are printed.
const PRINTED: [&str; 5] = [
    "/report.html",
    "/findings",
    "/plan",
    "/card/sheet",
    "/card/cards",
];

/// Pixels of a printed sheet for each inch, in its picture.
const SHEET_PER_INCH: &str = "70";

/// Longest line of text, in widths of an n: some 75 letters, which are still easy to read. The
/// pages set 68 widths of a figure, and a figure is a quarter wider than an n.
const MOST_LETTERS: f64 = 90.0;

/// The longest line of text in widths of an n of its own type, and how its text begins.
const LONGEST_LINE: &str = "(() => { const pen = document.createElement('canvas').getContext('2d'); \
    let longest = [0, '']; \
    for (const p of document.querySelectorAll('p, li, figcaption, caption, dd')) { \
      if (p.textContent.trim().length < 60) continue; \
      pen.font = getComputedStyle(p).font; \
      const lines = new Map(); \
      for (const pieces = document.createTreeWalker(p, NodeFilter.SHOW_TEXT); pieces.nextNode();) { \
        const range = document.createRange(); range.selectNodeContents(pieces.currentNode); \
        for (const { top, left, right } of range.getClientRects()) { \
          const [from, to] = lines.get(Math.round(top)) ?? [left, right]; \
          lines.set(Math.round(top), [Math.min(from, left), Math.max(to, right)]); \
        } \
      } \
      const width = Math.max(0, ...[...lines.values()].map(([from, to]) => to - from)); \
      const letters = width / pen.measureText('n').width; \
      if (letters > longest[0]) longest = [letters, p.textContent.trim().slice(0, 40)]; \
    } return longest; })()";

pub(crate) fn run(workspace: &Workspace, program: &Path, paths: &[&str]) -> Result<(), String> {
    let folder = workspace.scratch("screens")?;
    let chromium = crate::browser::chromium(workspace)
        .ok_or("Chromium is not installed, so no page can be looked at")?;
    let program = program
        .canonicalize()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    // With the option for a phone, so that the page which asks for the code is there.
    let served = Served::start_with(&program, &folder, &["--phone"])?;
    let mut page = Page::start(&chromium, &folder.join("profile"))?;
    let mut faults = vec![];
    let own: Vec<String> = if paths.is_empty() {
        crate::browser::walks::every_state(&mut page, &served.address)?
    } else {
        paths.iter().map(|p| (*p).to_owned()).collect()
    };
    for path in &own {
        for (name, width, height, phone) in SCREENS {
            for dark in [false, true] {
                page.screen(Screen {
                    width,
                    height,
                    scale: 1,
                    phone,
                    dark,
                })?;
                page.open(&format!("{}{path}", served.address), READY)?;
                let theme = if dark { "dark" } else { "light" };
                let file = folder.join(format!("{}-{name}-{theme}.png", stem(path)));
                write(&file, &page.whole_picture()?)?;
                // A card is laid out for its paper, whatever screen it is looked at on.
                if path.contains("/card/") {
                    continue;
                }
                let broad = page.ask("document.documentElement.scrollWidth")?;
                if broad.as_f64().is_none_or(|w| w > f64::from(width)) {
                    faults.push(format!("{path} is {broad} px wide on {width} px"));
                }
                let line = page.ask(LONGEST_LINE)?;
                if !dark
                    && line[0]
                        .as_f64()
                        .is_none_or(|letters| letters > MOST_LETTERS)
                {
                    faults.push(format!("{path} on {width} px has a line of {line} letters"));
                }
            }
        }
        if PRINTED.iter().any(|end| path.ends_with(end)) {
            printed(&mut page, &folder, path)?;
        }
    }
    faults.extend(page.complaints.iter().map(|c| format!("console: {c}")));
    println!("screens: pictures in {}", folder.display());
    if faults.is_empty() {
        Ok(())
    } else {
        Err(faults.join("\n"))
    }
}

/// A name for the pictures of a page.
fn stem(path: &str) -> String {
    match path.trim_matches('/') {
        "" => "tests".to_owned(),
        path => path.replace(['/', '?', '=', '&', ':', '%', '.'], "-"),
    }
}

/// Writes what came in base64.
fn write(file: &Path, text: &str) -> Result<(), String> {
    let bytes = base64::engine::general_purpose::STANDARD
        .decode(text)
        .map_err(|e| e.to_string())?;
    fs::write(file, bytes).map_err(|e| format!("{}: {e}", file.display()))
}

/// Prints the page that is open on A4; each sheet becomes a picture where that can be done.
fn printed(page: &mut Page, folder: &Path, path: &str) -> Result<(), String> {
    // 210 mm and 297 mm in inches; the page says its own margins where it wants others.
    let paper = json!({ "printBackground": true, "paperWidth": 8.27, "paperHeight": 11.69, "preferCSSPageSize": true });
    let pdf = page.call("Page.printToPDF", &paper)?;
    let file = folder.join(format!("{}-print.pdf", stem(path)));
    write(&file, pdf["data"].as_str().unwrap_or_default())?;
    let to = file.with_extension("");
    let arguments = ["-r", SHEET_PER_INCH, "-png"];
    let made = Command::new("pdftoppm")
        .args(arguments)
        .arg(&file)
        .arg(&to)
        .status();
    match made {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("pdftoppm of {}: {status}", file.display())),
        Err(_) => {
            println!(
                "   pdftoppm is not installed: {} is left as it is",
                file.display()
            );
            Ok(())
        }
    }
}
