//! The flags in `GLOSSARY.md` are those of the program.
//!
//! The list lives in `quantity::Flag`; the table in the glossary is made from it.

use crate::fault::Fault;
use crate::workspace::Workspace;
use quantity::Flag;
use std::fs;

const DOCUMENT: &str = "GLOSSARY.md";
const BEGIN: &str = "<!-- flags: made by `cargo run -p xtask -- glossary` -->\n";
const END: &str = "<!-- end of flags -->";

/// The table as it should stand.
fn table() -> String {
    let mut text = String::from("| flag | means |\n|---|---|\n");
    for flag in Flag::ALL {
        text.push_str(&format!("| `{}` | {} |\n", flag.name(), flag.meaning()));
    }
    text
}

/// Splits the document around its table.
fn around(document: &str) -> Option<(&str, &str, &str)> {
    let (before, rest) = document.split_once(BEGIN)?;
    let (table, after) = rest.split_once(END)?;
    Some((before, table, after))
}

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let document = workspace.text(DOCUMENT)?;
    Ok(match around(&document) {
        None => vec![Fault::new(
            DOCUMENT,
            "has no table of flags between its two marks",
        )],
        Some((_, written, _)) if written != table() => vec![Fault::new(
            DOCUMENT,
            "its flags are not those of the program; `cargo run -p xtask -- glossary` rewrites them",
        )],
        Some(_) => vec![],
    })
}

pub(crate) fn rewrite(workspace: &Workspace) -> Result<(), String> {
    let document = workspace.text(DOCUMENT)?;
    let (before, _, after) =
        around(&document).ok_or("GLOSSARY.md has no table of flags between its two marks")?;
    let text = format!("{before}{BEGIN}{}{END}{after}", table());
    fs::write(workspace.path(DOCUMENT), text).map_err(|e| format!("{DOCUMENT}: {e}"))
}
