//! Links in the documents lead somewhere.
//!
//! Relative links only: a file or folder of the workspace and, within a
//! document, a heading. A source named in code, `room/src/file.rs`, must be
//! there too. Addresses on the net are not looked up.

use crate::fault::Fault;
use crate::workspace::Workspace;
use std::path::{Component, Path, PathBuf};

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let mut faults = vec![];
    for document in workspace.files()? {
        if !document.ends_with(".md") {
            continue;
        }
        let text = workspace.text(&document)?;
        for (line, source) in sources(&text) {
            let there = ["", "crates/"]
                .iter()
                .any(|at| workspace.path(&format!("{at}{source}")).exists());
            if !there {
                faults.push(Fault::new(
                    format!("{document}:{line}"),
                    format!("there is no source `{source}`"),
                ));
            }
        }
        for (line, target) in links(&text) {
            if let Err(why) = resolved(workspace, &document, &target) {
                faults.push(Fault::new(
                    format!("{document}:{line}"),
                    format!("({target}) {why}"),
                ));
            }
        }
    }
    Ok(faults)
}

/// Targets of `](…)` outside code, with their line numbers.
fn links(text: &str) -> Vec<(usize, String)> {
    let mut found = vec![];
    for (number, line) in prose(text) {
        for after in line.split("](").skip(1) {
            if let Some((target, _)) = after.split_once(')') {
                found.push((
                    number,
                    target.split_whitespace().next().unwrap_or("").to_owned(),
                ));
            }
        }
    }
    found
}

/// Paths of sources in inline code, with their line numbers.
fn sources(text: &str) -> Vec<(usize, String)> {
    let mut found = vec![];
    for (number, line) in text.lines().enumerate() {
        for code in line.split('`').skip(1).step_by(2) {
            if code.contains("/src/") && code.ends_with(".rs") {
                found.push((number + 1, code.to_owned()));
            }
        }
    }
    found
}

/// Lines outside code blocks, without their inline code, with their numbers.
fn prose(text: &str) -> Vec<(usize, String)> {
    let mut in_code = false;
    let mut lines = vec![];
    for (number, line) in text.lines().enumerate() {
        if line.trim_start().starts_with("```") {
            in_code = !in_code;
        } else if !in_code {
            lines.push((number + 1, line.split('`').step_by(2).collect()));
        }
    }
    lines
}

fn resolved(workspace: &Workspace, document: &str, target: &str) -> Result<(), String> {
    let elsewhere = ["http://", "https://", "mailto:"];
    if elsewhere.iter().any(|scheme| target.starts_with(scheme)) {
        return Ok(());
    }
    let (path, heading) = target.split_once('#').unwrap_or((target, ""));
    let file = if path.is_empty() {
        document.to_owned()
    } else {
        let folder = Path::new(document).parent().unwrap_or(Path::new(""));
        within(&folder.join(path)).ok_or("leads out of the workspace")?
    };
    if !workspace.path(&file).exists() {
        return Err(format!("there is no {file}"));
    }
    if heading.is_empty() {
        return Ok(());
    }
    let there = workspace.text(&file)?.lines().any(|line| {
        line.strip_prefix('#')
            .is_some_and(|rest| anchor(rest.trim_start_matches('#').trim()) == heading)
    });
    if there {
        Ok(())
    } else {
        Err(format!("{file} has no heading #{heading}"))
    }
}

/// Takes `.` and `..` out of a path; `None` when it leaves the workspace.
fn within(path: &Path) -> Option<String> {
    let mut parts = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir => {
                if !parts.pop() {
                    return None;
                }
            }
            Component::Normal(name) => parts.push(name),
            Component::RootDir | Component::Prefix(_) => return None,
        }
    }
    Some(parts.to_string_lossy().replace('\\', "/"))
}

/// A heading as code hosts write it in a link.
fn anchor(heading: &str) -> String {
    heading
        .to_lowercase()
        .chars()
        .filter_map(|c| match c {
            ' ' => Some('-'),
            c if c.is_alphanumeric() || c == '-' || c == '_' => Some(c),
            _ => None,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_in_code_are_no_links() {
        let text = "[a](b.md) `[x](y)` [c](d.md#e)\n```\n[f](g)\n```\n";
        assert_eq!(
            links(text),
            [(1, "b.md".to_owned()), (1, "d.md#e".to_owned())]
        );
    }

    #[test]
    fn a_source_named_in_code_is_looked_for() {
        assert_eq!(
            sources("see `a/src/b.rs`, `c.rs` and d/src/e.rs"),
            [(1, "a/src/b.rs".to_owned())]
        );
    }

    #[test]
    fn headings_become_anchors() {
        assert_eq!(anchor("Where each formula is"), "where-each-formula-is");
        assert_eq!(anchor("[[film]]"), "film");
    }

    #[test]
    fn a_path_does_not_leave_the_workspace() {
        assert_eq!(
            within(Path::new("docs/../README.md")).as_deref(),
            Some("README.md")
        );
        assert_eq!(within(Path::new("../elsewhere")), None);
    }
}
