//! Things that do not belong in the workspace.

use crate::fault::Fault;
use crate::workspace::Workspace;

/// Text that must not stand in any file, and why. Each is written in two
/// halves, so that this very list does not hold it.
const STRAY: &[(&str, &str, &str)] = &[
    ("/ho", "me/", "a path of somebody's machine"),
    ("/Us", "ers/", "a path of somebody's machine"),
    ("C:", "\\", "a path of somebody's machine"),
    ("/wo", "rk/", "a path of somebody's machine"),
    (
        "/tm",
        "p/",
        "a path of somebody's machine; tests use a temporary folder",
    ),
    (
        "TO",
        "DO",
        "work left undone; finish it or write it down as a limit",
    ),
    (
        "FIX",
        "ME",
        "work left undone; finish it or write it down as a limit",
    ),
    ("<<<", "<<<<", "an unresolved merge"),
    ("lorem ", "ipsum", "text that says nothing"),
];

/// Names that say nothing about what a file holds.
const EMPTY_NAMES: &[&str] = &["utils.rs", "util.rs", "misc.rs", "common.rs", "helpers.rs"];

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let mut faults = vec![];
    for file in workspace.files()? {
        let name = file.rsplit('/').next().unwrap_or(&file);
        if EMPTY_NAMES.contains(&name) && file.contains("/src/") {
            faults.push(Fault::new(&file, "a file is named for the idea it holds"));
        }
        if let Ok(text) = workspace.text(&file) {
            faults.extend(found(&file, &text));
        }
    }
    Ok(faults)
}

fn found(file: &str, text: &str) -> Vec<Fault> {
    let mut faults = vec![];
    for (number, line) in text.lines().enumerate() {
        for (half, rest, why) in STRAY {
            let stray = format!("{half}{rest}");
            if line.contains(&stray) {
                faults.push(Fault::new(
                    format!("{file}:{}", number + 1),
                    format!("holds {stray:?}: {why}"),
                ));
            }
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_machine_path_is_found_and_a_relative_one_is_not() {
        let path = ["/ho", "me/somebody/scan.tif"].concat();
        assert_eq!(found("a.md", &path).len(), 1);
        assert!(found("a.md", "scans/sheet.tif").is_empty());
    }
}
