//! Pages at another size than they were opened at: a window made narrower, and paper.

use crate::browser::screens::READY;
use crate::browser::walks::mouse;
use crate::devtools::{Page, Screen};
use serde_json::json;

const WIDE: Screen = Screen {
    width: 1440,
    height: 900,
    scale: 1,
    phone: false,
    dark: false,
};

/// The light table shows whole frames when the window is made narrower, and the records
/// leave nothing out on paper.
pub(crate) fn walk(page: &mut Page, address: &str, own: &str) -> Result<(), String> {
    page.open(&format!("{address}{own}/negatives"), READY)?;
    page.screen(Screen { width: 800, ..WIDE })?;
    // Drawn anew when the browser has laid the page out.
    page.ask("new Promise((done) => setTimeout(done, 500))")?;
    whole_frame(page)?;
    page.screen(WIDE)?;
    page.open(&format!("{address}{own}/exposures"), READY)?;
    records_on_paper(page)
}

/// Both sides of the first scan lie under the two sides of its picture.
fn whole_frame(page: &mut Page) -> Result<(), String> {
    let size = page.ask(
        "(async () => { \
           const canvas = document.querySelector('[data-view] canvas'); \
           canvas.scrollIntoView({ block: 'center' }); \
           const box = canvas.getBoundingClientRect(); \
           const test = document.querySelector('[data-light-table]').dataset.lightTable; \
           const scan = JSON.parse(document.querySelector('[data-views]').dataset.views).views[0].scan; \
           const { width, height } = (await (await fetch(`/api/tests/${test}/scans/${scan}/tiles`)).json()).levels[0]; \
           const scale = Math.min(box.width / width, box.height / height); \
           return [box.left + box.width / 2, box.top + box.height / 2, width * scale / 2, width]; \
         })()",
    )?;
    let number = |at: usize| size[at].as_f64().ok_or("the first scan has no size");
    let (middle, across, half, width) = (number(0)?, number(1)?, number(2)?, number(3)?);
    for (place, least, most) in [(-half + 2.0, 0.0, 0.05), (half - 2.0, 0.95, 1.0)] {
        mouse(page, "mouseMoved", (middle + place, across))?;
        let told = page.ask(
            "Number(/ at x (\\d+)/.exec(document.querySelector('[data-readout]').textContent)?.[1])",
        )?;
        let share = told.as_f64().unwrap_or(f64::NAN) / width;
        if !(least..=most).contains(&share) {
            return Err(format!(
                "in a narrower window the edge of a frame is at {share:.2} of its width, not between {least} and {most}"
            ));
        }
    }
    Ok(())
}

/// Every cell that holds something is on paper, within the sheet.
fn records_on_paper(page: &mut Page) -> Result<(), String> {
    page.call("Emulation.setEmulatedMedia", &json!({ "media": "print" }))?;
    let told = page.ask(
        "(() => { dispatchEvent(new Event('beforeprint')); \
           const cells = [...document.querySelectorAll('[data-table] td:has(input)')].filter((c) => c.querySelector('input').value !== ''); \
           const wide = document.documentElement.clientWidth; \
           const lost = cells.filter((c) => { \
             const box = c.getBoundingClientRect(); \
             const shown = getComputedStyle(c, '::after').content; \
             return box.width === 0 || box.height === 0 || box.right > wide || shown !== JSON.stringify(c.querySelector('input').value); \
           }).map((c) => c.querySelector('input').getAttribute('aria-label')); \
           dispatchEvent(new Event('afterprint')); \
           return [cells.length, lost.join('; ')]; })()",
    )?;
    page.call("Emulation.setEmulatedMedia", &json!({ "media": "" }))?;
    if told[0].as_u64().is_some_and(|cells| cells > 100) && told[1] == json!("") {
        Ok(())
    } else {
        Err(format!(
            "of {} typed cells are not on paper: {}",
            told[0], told[1]
        ))
    }
}
