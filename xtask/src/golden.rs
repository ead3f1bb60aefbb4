//! Goldens: drawings that were looked at once and are compared ever since.

use crate::command::output;
use crate::fault::Fault;
use crate::workspace::Workspace;
use std::fs;
use std::path::Path;

/// Every golden, by its path in the workspace.
fn goldens(workspace: &Workspace) -> Result<Vec<String>, String> {
    let mut found = vec![];
    for room in workspace.crate_folders()? {
        found.extend(workspace.files_under(&format!("crates/{room}/tests/golden"))?);
    }
    Ok(found)
}

/// Goldens that no test of their crate names in quotes.
pub(crate) fn orphans(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let mut faults = vec![];
    for golden in goldens(workspace)? {
        let room = golden.split('/').nth(1).unwrap_or_default();
        let mut tests = String::new();
        for folder in ["tests", "src"] {
            for file in workspace.files_under(&format!("crates/{room}/{folder}"))? {
                if file.ends_with(".rs") {
                    tests.push_str(&workspace.text(&file)?);
                }
            }
        }
        if !is_named(&golden, &tests) {
            faults.push(Fault::new(&golden, "no test names this golden"));
        }
    }
    Ok(faults)
}

/// Whether a golden's name, with or without its ending, stands in quotes.
fn is_named(golden: &str, tests: &str) -> bool {
    let name = golden.rsplit('/').next().unwrap_or(golden);
    let stem = name.split('.').next().unwrap_or(name);
    [name, stem]
        .iter()
        .any(|n| tests.contains(&format!("\"{n}\"")))
}

/// Shows each golden that differs from the last commit, and writes a page with
/// old and new side by side.
pub(crate) fn report(workspace: &Workspace) -> Result<(), String> {
    let folder = workspace.scratch("golden")?;
    let mut page = String::from("<!DOCTYPE html><meta charset=\"utf-8\"><title>Goldens</title>\n");
    let mut changed = 0;
    for golden in goldens(workspace)? {
        let new = workspace.text(&golden)?;
        let at_commit = format!("HEAD:{golden}");
        let shown = output(Path::new("git"), &["show", &at_commit], workspace.root())?;
        let old = (shown.code == 0).then_some(shown.stdout);
        if old.as_deref() == Some(new.as_str()) {
            continue;
        }
        changed += 1;
        println!("{golden}");
        print!("{}", differences(old.as_deref().unwrap_or(""), &new));
        let flat = golden.replace('/', "-");
        let (was, is) = (format!("old-{flat}"), format!("new-{flat}"));
        let write = |name: &str, text: &str| {
            fs::write(folder.join(name), text).map_err(|e| format!("{name}: {e}"))
        };
        write(&was, old.as_deref().unwrap_or(""))?;
        write(&is, &new)?;
        page.push_str(&format!(
            "<h2>{golden}</h2>\n<p>old, new</p>\n<img src=\"{was}\" alt=\"old\" width=\"48%\"> <img src=\"{is}\" alt=\"new\" width=\"48%\">\n"
        ));
    }
    let path = folder.join("index.html");
    fs::write(&path, page).map_err(|e| format!("{}: {e}", path.display()))?;
    println!(
        "{changed} goldens differ from the last commit; side by side in {}",
        path.display()
    );
    Ok(())
}

/// Lines that are not the same at the same place, `-` old and `+` new.
///
/// Goldens keep their order, so a comparison place by place is enough to see
/// what moved; git shows the rest.
fn differences(old: &str, new: &str) -> String {
    let (old, new): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
    let mut text = String::new();
    for place in 0..old.len().max(new.len()) {
        let (was, is) = (old.get(place), new.get(place));
        if was != is {
            for (mark, line) in [("-", was), ("+", is)] {
                if let Some(line) = line {
                    text.push_str(&format!("  {mark}{}: {line}\n", place + 1));
                }
            }
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_golden_is_an_orphan_when_no_test_quotes_it() {
        assert!(is_named(
            "crates/figures/tests/golden/bars.svg",
            "golden(\"bars\", svg)"
        ));
        assert!(is_named(
            "crates/figures/tests/golden/bars.svg",
            "read(\"bars.svg\")"
        ));
        assert!(!is_named(
            "crates/figures/tests/golden/bars.svg",
            "golden(\"bars_2\", svg) // bars"
        ));
    }

    #[test]
    fn a_changed_line_is_shown_with_its_number() {
        assert_eq!(
            differences("a\nb\n", "a\nc\nd\n"),
            "  -2: b\n  +2: c\n  +3: d\n"
        );
    }
}
