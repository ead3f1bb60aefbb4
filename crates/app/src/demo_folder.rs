//! The worked example as a test folder.

use crate::{AppError, Progress};
use std::path::Path;

/// Which draw of the invented example is written: a plain number, so that
/// everybody sees the same one.
pub const DEMO_DRAW: u64 = 715;

/// Writes the worked example into a new or empty folder.
///
/// # Errors
/// [`AppError`] when the folder holds anything already or can't be written.
pub fn write_demo(dir: &Path, progress: &dyn Progress) -> Result<(), AppError> {
    progress.at("making the invented negatives", 0, 2);
    let demo = testkit::demo(DEMO_DRAW);
    progress.at("writing the worked example", 1, 2);
    notebook::write_test_folder(&demo.parts, &demo.files, dir)?;
    progress.at("writing the worked example", 2, 2);
    Ok(())
}
