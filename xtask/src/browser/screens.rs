//! Pictures of every page, light and dark, wide and on a phone, for a person to
//! look at.

use crate::browser::program::Served;
use crate::devtools::{Page, Screen};
use crate::workspace::Workspace;
use base64::Engine as _;
use std::fs;
use std::path::Path;

/// A page that is ready has said so, or needs no script.
pub(crate) const READY: &str = "document.readyState === 'complete' && \
    (!document.querySelector('script[type=module]') || document.documentElement.dataset.ready === '1')";

/// The screens on which each page is looked at.
const SCREENS: [(&str, u32, u32, bool); 2] =
    [("wide", 1440, 900, false), ("phone", 390, 844, true)];

pub(crate) fn run(workspace: &Workspace, program: &Path, paths: &[&str]) -> Result<(), String> {
    let folder = workspace.scratch("screens")?;
    let chromium = crate::browser::chromium(workspace)
        .ok_or("Chromium is not installed, so no page can be looked at")?;
    let program = program
        .canonicalize()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    let served = Served::start(&program, &folder)?;
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
                let stem = path
                    .trim_matches('/')
                    .replace(['/', '?', '=', '&', ':', '%'], "-");
                let stem = if stem.is_empty() { "tests" } else { &stem };
                let file = folder.join(format!("{stem}-{name}-{theme}.png"));
                let bytes = base64::engine::general_purpose::STANDARD
                    .decode(page.whole_picture()?)
                    .map_err(|e| e.to_string())?;
                fs::write(&file, bytes).map_err(|e| format!("{}: {e}", file.display()))?;
                let broad = page.ask("document.documentElement.scrollWidth")?;
                if broad.as_f64().is_none_or(|w| w > f64::from(width)) {
                    faults.push(format!("{path} is {broad} px wide on {width} px"));
                }
            }
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
