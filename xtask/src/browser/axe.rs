//! What axe-core says of a page, where it could be fetched.
//!
//! It is fetched from the registry of npm by its usual client or, without one, by
//! the address that client would use, into `target/`; it is no part of the project.
//! Without a network this says so, loudly, and the walks go on.

use crate::devtools::Page;
use crate::workspace::Workspace;
use serde_json::Value;
use std::fs;
use std::process::Command;

/// The version that is looked with.
const VERSION: &str = "4.11.0";

/// axe-core, or nothing where it could not be fetched.
pub(crate) struct Axe(Option<String>);

impl Axe {
    /// Fetches it once; later runs take what lies in `target/`.
    pub(crate) fn fetched(workspace: &Workspace) -> Self {
        let folder = workspace.kept().join("axe-core");
        let script = folder.join("package/axe.min.js");
        if !script.exists() {
            let address = format!("https://registry.npmjs.org/axe-core/-/axe-core-{VERSION}.tgz");
            drop(fs::create_dir_all(&folder));
            let packed = folder.join("axe-core.tgz");
            let fetched = Command::new("curl")
                .args(["-fsSL", "--max-time", "60", "-o"])
                .arg(&packed)
                .arg(&address)
                .status()
                .is_ok_and(|s| s.success())
                && Command::new("tar")
                    .arg("-xzf")
                    .arg(&packed)
                    .arg("-C")
                    .arg(&folder)
                    .status()
                    .is_ok_and(|s| s.success());
            if !fetched {
                println!(
                    "!!! SKIPPED: axe-core {VERSION} could not be fetched, so no page is checked by it"
                );
                return Self(None);
            }
        }
        let text = fs::read_to_string(&script).ok();
        if text.is_none() {
            println!("!!! SKIPPED: {} can't be read", script.display());
        }
        Self(text)
    }

    /// Looks at a page that is open; serious and critical findings are faults.
    pub(crate) fn look(&self, page: &mut Page, name: &str) -> Result<(), String> {
        let Some(script) = &self.0 else {
            return Ok(());
        };
        page.ask(&format!("{script}; 0"))?;
        let found = page.ask(
            "axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] }) \
             .then(r => r.violations.map(v => ({ impact: v.impact, id: v.id, help: v.help, at: v.nodes.slice(0, 4).map(n => n.html + ' ' + n.failureSummary) })))",
        )?;
        let serious: Vec<String> = found
            .as_array()
            .into_iter()
            .flatten()
            .filter(|v| v["impact"] == "serious" || v["impact"] == "critical")
            .map(Value::to_string)
            .collect();
        if serious.is_empty() {
            Ok(())
        } else {
            Err(format!("axe-core on {name}: {}", serious.join("\n")))
        }
    }
}
