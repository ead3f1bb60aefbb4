//! The worked example's report as a browser shows it, and the field card in it.
//!
//! Wide, on a phone and dark: it must show something, follow the dark theme,
//! and not be wider than a phone. Screenshots stay in `target/xtask/browser`
//! for a person to look at. Without Chromium this says so and passes: the
//! report's own tests read its HTML.

pub(crate) mod axe;
mod draft_walk;
mod folder_walk;
pub(crate) mod program;
pub(crate) mod screens;
mod sizes_walk;
mod trace_walk;
pub(crate) mod walks;

use crate::command::output;
use crate::workspace::Workspace;
use std::fs;
use std::path::{Path, PathBuf};

/// Under what names Chromium is installed.
const NAMES: &[&str] = &["chromium", "chromium-browser", "google-chrome", "chrome"];

/// A phone's width. \[CSS px\]
const PHONE_PX: u32 = 390;

pub(crate) fn run(workspace: &Workspace, program: &Path) -> Result<(), String> {
    let folder = workspace.scratch("browser")?;
    let Some(chromium) = chromium(workspace) else {
        println!("browser: SKIPPED, Chromium is not installed");
        return Ok(());
    };
    let program = program.canonicalize().map_err(|e| {
        format!(
            "{}: {e}; build it with: cargo build --release",
            program.display()
        )
    })?;
    let made = output(&program, &["evaluate", "demo", "--quiet"], &folder)?;
    if made.code != 0 {
        return Err(format!(
            "the worked example was not evaluated: {}",
            made.stderr.trim()
        ));
    }
    let report = folder.join("demo/results/report.html");
    let browser = Browser { chromium, folder };
    let mut faults = vec![];
    let shots = [
        ("wide", 1280, "1"),
        ("phone", PHONE_PX, "1"),
        ("dark", 1280, "0"),
    ];
    for (name, width, scheme) in shots {
        let luma = browser.screenshot(&report, name, width, scheme)?;
        println!(
            "   {name}: page {:.2}, darkest {:.2}, lightest {:.2}",
            luma.page, luma.darkest, luma.lightest
        );
        // Ink and paper of a page that is read differ by far more than half.
        if luma.lightest - luma.darkest < 0.5 {
            faults.push(format!("{name} shows nothing"));
        }
        if (name == "dark") != (luma.page < 0.5) {
            faults.push(format!("{name} has the wrong theme"));
        }
    }
    let widest = browser.content_width(&report)?;
    println!("   at {PHONE_PX} px the page is {widest} px wide");
    if widest > PHONE_PX {
        faults.push(format!(
            "the page is {widest} px wide on a phone of {PHONE_PX} px"
        ));
    }
    let chromium = browser.chromium.clone();
    if let Err(why) = crate::field_card::run(workspace, &program, &chromium) {
        faults.push(format!("field card: {why}"));
    }
    if let Err(why) = pages(workspace, &program, &chromium, &[]) {
        faults.push(format!("pages: {why}"));
    }
    if faults.is_empty() {
        println!("browser: passed; pictures in {}", browser.folder.display());
        Ok(())
    } else {
        Err(faults.join("; "))
    }
}

/// The walks through the pages by name.
const WALKS: [&str; 5] = ["example", "empty", "trace", "folder", "drafts"];

/// The walks through the pages, each over a notebook of its own; all when none is named.
pub(crate) fn pages(
    workspace: &Workspace,
    program: &Path,
    chromium: &Path,
    named: &[&str],
) -> Result<(), String> {
    if let Some(unknown) = named.iter().find(|name| !WALKS.contains(name)) {
        return Err(format!("there is no walk {unknown}; there are {WALKS:?}"));
    }
    let program = &program
        .canonicalize()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    let folder = workspace.scratch("walks")?;
    let axe = axe::Axe::fetched(workspace);
    let scans = walks::example_scans(&folder, program)?;
    for name in WALKS
        .into_iter()
        .filter(|name| named.is_empty() || named.contains(name))
    {
        let own = folder.join(format!("{name}-notebook"));
        fs::create_dir_all(&own).map_err(|e| format!("{}: {e}", own.display()))?;
        let begin = std::time::Instant::now();
        let served = program::Served::start(program, &own)?;
        served.first_page()?;
        println!(
            "   {name}: first page after {} ms",
            begin.elapsed().as_millis()
        );
        let mut page = devtools_page(chromium, &folder)?;
        let walked = match name {
            "example" => walks::example_walk(&mut page, &served.address, &axe),
            "trace" => trace_walk::walk(&mut page, &served.address, &folder, &axe),
            "folder" => folder_walk::walk(&mut page, &served.address, &scans, &axe),
            "drafts" => draft_walk::walk(&mut page, &served.address, &axe),
            _ => walks::empty_walk(&mut page, &served.address, &scans, &axe),
        };
        if walked.is_err() {
            // What was seen when it went wrong.
            let shot = page.whole_picture().ok().and_then(|text| {
                base64::Engine::decode(&base64::engine::general_purpose::STANDARD, text).ok()
            });
            if let Some(bytes) = shot {
                drop(fs::write(folder.join(format!("{name}.png")), bytes));
            }
        }
        walked.map_err(|e| format!("walk {name}: {e}"))?;
        if let Some(first) = page.complaints.first() {
            return Err(format!("walk {name}: console: {first}"));
        }
        println!("   walk {name}: {:.1} s", begin.elapsed().as_secs_f64());
    }
    println!("pages: passed");
    Ok(())
}

fn devtools_page(chromium: &Path, folder: &Path) -> Result<crate::devtools::Page, String> {
    let mut page = crate::devtools::Page::start(chromium, &folder.join("profile"))?;
    page.screen(crate::devtools::Screen {
        width: 1440,
        height: 900,
        scale: 1,
        phone: false,
        dark: false,
    })?;
    Ok(page)
}

/// The browser, where there is one.
pub(crate) fn chromium(workspace: &Workspace) -> Option<PathBuf> {
    NAMES
        .iter()
        .map(PathBuf::from)
        .find(|name| output(name, &["--version"], workspace.root()).is_ok_and(|o| o.code == 0))
}

struct Browser {
    chromium: PathBuf,
    folder: PathBuf,
}

/// Lightness in a screenshot, 0 to 1.
struct Luma {
    /// At the page's upper left corner.
    page: f64,
    darkest: f64,
    lightest: f64,
}

impl Browser {
    fn show(&self, more: &[&str]) -> Result<String, String> {
        let profile = format!("--user-data-dir={}", self.folder.join("profile").display());
        let mut arguments = vec![
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            "--allow-file-access-from-files",
            "--virtual-time-budget=5000",
            profile.as_str(),
        ];
        arguments.extend(more);
        let shown = output(&self.chromium, &arguments, &self.folder)?;
        if shown.code == 0 {
            Ok(shown.stdout)
        } else {
            Err(format!(
                "Chromium ended with {}: {}",
                shown.code,
                shown.stderr.trim()
            ))
        }
    }

    /// The page within a frame of the width asked for, because a window can't
    /// be as narrow as a phone.
    fn framed(&self, report: &Path, width: u32) -> Result<String, String> {
        let page = self.folder.join(format!("frame-{width}.html"));
        let text = format!(
            "<!DOCTYPE html><meta charset=\"utf-8\"><meta name=\"color-scheme\" content=\"light dark\">\
             <body style=\"margin:0\"><iframe id=\"f\" src=\"{}\" width=\"{width}\" height=\"2000\" style=\"border:0\"></iframe>\
             <script>f.onload = () => {{ document.body.dataset.width = f.contentDocument.documentElement.scrollWidth; }}</script>",
            url(report)
        );
        fs::write(&page, text).map_err(|e| format!("{}: {e}", page.display()))?;
        Ok(url(&page))
    }

    fn screenshot(
        &self,
        report: &Path,
        name: &str,
        width: u32,
        scheme: &str,
    ) -> Result<Luma, String> {
        let path = self.folder.join(format!("{name}.png"));
        let to = format!("--screenshot={}", path.display());
        let size = format!("--window-size={},2000", width.max(500));
        let scheme = format!("--blink-settings=preferredColorScheme={scheme}");
        let page = self.framed(report, width)?;
        self.show(&[&to, &size, &scheme, &page])?;
        let picture = image::open(&path)
            .map_err(|e| format!("{}: {e}", path.display()))?
            .into_luma8();
        let share = |v: u8| f64::from(v) / 255.0;
        Ok(Luma {
            page: share(picture.get_pixel(2, 2).0[0]),
            darkest: share(picture.iter().copied().min().unwrap_or(0)),
            lightest: share(picture.iter().copied().max().unwrap_or(0)),
        })
    }

    /// How wide the page's content is on a phone. \[CSS px\]
    fn content_width(&self, report: &Path) -> Result<u32, String> {
        let page = self.framed(report, PHONE_PX)?;
        let dom = self.show(&["--dump-dom", &page])?;
        dom.split_once("data-width=\"")
            .and_then(|(_, rest)| rest.split_once('"'))
            .and_then(|(width, _)| width.parse().ok())
            .ok_or_else(|| "the page's width could not be read".to_owned())
    }
}

fn url(path: &Path) -> String {
    format!("file://{}", path.display()).replace(' ', "%20")
}
