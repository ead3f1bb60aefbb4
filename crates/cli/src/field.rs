//! The field card and its way back, told to a person.

use crate::{say, say_json};
use app::{AppError, Imported, write_card};
use std::path::Path;

/// Writes the card and says where it is.
pub(crate) fn card(test: &Path, out: Option<&Path>) -> Result<(), AppError> {
    let card = write_card(test, out)?;
    for warning in &card.warnings {
        crate::say_note(warning);
    }
    let mut text = String::new();
    for (path, what) in &card.files {
        text.push_str(&format!("{}: {what}\n", path.display()));
    }
    text.push_str("For a PDF, print from a browser into a file.");
    say(&text)
}

/// Says what the import of a field log did.
pub(crate) fn say_imported(imported: &Imported, json: bool) -> Result<(), AppError> {
    for warning in &imported.warnings {
        crate::say_note(warning);
    }
    let ids = |ids: &[_]| -> Vec<String> { ids.iter().map(ToString::to_string).collect() };
    let added = ids(&imported.added);
    let unchanged = ids(&imported.unchanged);
    let not_exposed = ids(&imported.not_exposed);
    if json {
        return say_json(&serde_json::json!({
            "added": added,
            "unchanged": unchanged,
            "not_exposed": not_exposed,
            "files": imported.files,
            "warnings": imported.warnings,
        }));
    }
    let mut text = String::new();
    for (what, ids) in [
        ("Recorded as exposed", &added),
        ("Recorded before, the same", &unchanged),
        (
            "Logged but not ticked as exposed, and not recorded",
            &not_exposed,
        ),
    ] {
        if !ids.is_empty() {
            text.push_str(&format!("{what}: {}\n", ids.join(", ")));
        }
    }
    text.push_str(&format!(
        "Kept in the test folder: {}",
        imported.files.join(", ")
    ));
    say(&text)
}
