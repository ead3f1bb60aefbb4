//! A plan that was changed in the field: its new light into `test.toml`, the new
//! plan in place of the old one.
//!
//! The text of `test.toml` so far stays byte for byte; the old plan is kept in
//! `field/`, named by its checksum.

use crate::folder::{PLAN_TOML, TEST_TOML, read_planned_folder, read_with_record};
use crate::from_record::light_table;
use crate::import::{hex, keep};
use crate::path::read_text;
use crate::problem::FolderError;
use crate::write::{plan_toml, tables_text};
use record::{Light, PlannedFrame, PlannedTest};
use std::fs;
use std::io::Write;
use std::path::Path;

/// Puts a light and a changed plan into a test folder. Gives the name, within the
/// folder, of the old plan's copy.
///
/// The light is written first: should the last step fail, the folder holds a light
/// that no frame uses yet, and the old plan.
///
/// # Errors
/// [`FolderError`] when the folder is at fault, the light's name is taken, the new
/// plan doesn't fit the records, or a file can't be written.
pub fn change_plan(
    dir: &Path,
    light: &Light,
    planned: &[PlannedFrame],
) -> Result<String, FolderError> {
    let folder = read_planned_folder(dir)?;
    let mut parts = folder.test.records().parts().clone();
    parts.lights.push(light.clone());
    PlannedTest::assemble(parts.clone(), planned.to_vec()).map_err(|error| {
        FolderError::of_file(
            PLAN_TOML,
            error.to_string(),
            "a plan that fits the records of test.toml",
            "give the light a name of its own",
        )
    })?;
    let record = folder.root.join(TEST_TOML);
    let mut text = read_text(&record, TEST_TOML)?;
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text.push_str(&format!(
        "\n# The light after it had changed.\n{}",
        tables_text(vec![("light", light_table(light).entries())])
    ));
    // The whole folder is read with the new text before anything is written.
    let after = read_with_record(dir, &text)?;
    if after.test.records().parts() != &parts {
        return Err(FolderError::of_file(
            TEST_TOML,
            "the new light reads back differently",
            "[[light]] tables at the end of test.toml",
            "if lights are written as a list, light = [ … ], write them as [[light]] tables",
        ));
    }
    let plan = folder.root.join(PLAN_TOML);
    let old = read_text(&plan, PLAN_TOML)?;
    let digest = hex(old.as_bytes());
    let name = format!("plan-{}.toml", &digest[..8]);
    let kept = keep(
        &folder.root,
        &[(name, old.as_bytes())],
        &record,
        Some(text.as_bytes()),
    )?;
    let new = folder
        .root
        .join(format!(".{PLAN_TOML}.new-{}", std::process::id()));
    fs::File::create_new(&new)
        .and_then(|mut file| {
            file.write_all(plan_toml(planned).as_bytes())?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&new, &plan))
        .map_err(|error| {
            // Ours, and of no use.
            drop(fs::remove_file(&new));
            FolderError::of_file(
                PLAN_TOML,
                format!("writing the plan failed: {error}"),
                "a test folder that can be written",
                "check its permissions and the free space; the old plan still stands",
            )
        })?;
    let read = read_planned_folder(dir)?;
    if read.test.planned() != planned {
        return Err(FolderError::of_file(
            PLAN_TOML,
            "the changed plan reads back differently",
            "planned frames that the format can hold",
            "the old plan is kept in field/",
        ));
    }
    Ok(kept.into_iter().next().unwrap_or_default())
}
