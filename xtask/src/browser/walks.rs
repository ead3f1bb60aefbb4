//! Walks through the pages as a newcomer goes them.

use crate::browser::screens::READY;
use crate::devtools::Page;
use serde_json::Value;

/// The worked example, opened with one click; gives the paths of its pages.
pub(crate) fn worked_example(page: &mut Page, address: &str) -> Result<Vec<String>, String> {
    page.open(&format!("{address}/"), READY)?;
    page.ask("document.querySelector('form[action=\"/tests/example\"] button').click()")?;
    page.wait_for("/^\\/tests\\/\\d+\\/findings$/.test(location.pathname) && document.readyState === 'complete'")?;
    let own = page.ask("location.pathname.split('/')[2]")?;
    let own = own
        .as_str()
        .map(str::to_owned)
        .unwrap_or_else(|| Value::to_string(&own));
    let mut paths = vec![
        "/".to_owned(),
        "/tests/new".to_owned(),
        "/spectra".to_owned(),
    ];
    for step in [
        "plan",
        "exposures",
        "negatives",
        "curves",
        "spectra",
        "findings",
        "report",
        "history",
    ] {
        paths.push(format!("/tests/{own}/{step}"));
    }
    Ok(paths)
}
