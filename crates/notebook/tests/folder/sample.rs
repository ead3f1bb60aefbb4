//! A valid folder to start from: the example of the documentation.

use std::path::Path;

/// The documentation of the format.
pub(crate) const DOCUMENT: &str = include_str!("../../../../docs/test-folder.md");

/// Gives what stands in the first code block after a text.
pub(crate) fn block_after(text: &str) -> String {
    let from = DOCUMENT
        .find(text)
        .unwrap_or_else(|| panic!("{text:?} is in the document"));
    let mut lines = DOCUMENT[from..]
        .lines()
        .skip_while(|line| !line.starts_with("```"));
    lines.next().unwrap();
    lines
        .take_while(|line| !line.starts_with("```"))
        .map(|line| format!("{line}\n"))
        .collect()
}

pub(crate) fn test_toml() -> String {
    block_after("invented. `test.toml`:")
}

pub(crate) fn patches_csv() -> String {
    block_after("\n`patches.csv`:")
}

pub(crate) fn readings_csv() -> String {
    block_after("\n`readings.csv`:")
}

/// Writes the example, with a stand-in for the scan.
pub(crate) fn write(dir: &Path) {
    std::fs::create_dir_all(dir.join("scans")).unwrap();
    std::fs::write(dir.join("scans/sheets.tif"), "abc").unwrap();
    std::fs::write(dir.join("test.toml"), test_toml()).unwrap();
    std::fs::write(dir.join("patches.csv"), patches_csv()).unwrap();
    std::fs::write(dir.join("readings.csv"), readings_csv()).unwrap();
}
