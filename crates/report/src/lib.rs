//! Findings and figures to one self-contained HTML report.
mod input;
pub use input::{
    FlagEvidence, FramePicture, OutlineKind, PictureOutline, PictureScale, ReportInput, ScanSummary,
};

/// Writes the report as one HTML file that loads nothing from elsewhere.
#[must_use]
pub fn html(input: &ReportInput<'_>) -> String {
    maud::html! { (maud::DOCTYPE) html lang="en" { head { title { (input.findings.title) } } body {} } }.into_string()
}
