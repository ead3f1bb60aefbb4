//! The files of a test, read and checked without being refused.

use crate::documents::Documents;
use crate::files::Files;
use crate::folder::checked_records;
use crate::problem::FolderError;
use crate::store::Stage;
use record::{PlannedFrame, PlannedTest, Test, TestParts};

/// What the files of a test hold, and what is wrong with them.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The records, as far as they could be read. They are sound when there is
    /// no problem.
    pub parts: TestParts,
    /// The planned frames.
    pub planned: Vec<PlannedFrame>,
    /// Sentences that name what was assumed.
    pub warnings: Vec<String>,
    /// What has to be put right; `None` when nothing has.
    pub problems: Option<FolderError>,
    /// The title as it is typed, though all else may be at fault.
    typed_title: Option<String>,
}

/// Reads and checks the files of a test; what is at fault stands in
/// [`Checked::problems`], and all else was read.
#[must_use]
pub fn check(documents: &Documents) -> Checked {
    let read = checked_records(Files::Kept(documents));
    let typed_title = documents
        .record_text()
        .and_then(|text| text.parse::<toml_edit::DocumentMut>().ok())
        .and_then(|record| Some(record.get("title")?.as_str()?.trim().to_owned()))
        .filter(|title| !title.is_empty());
    Checked {
        parts: read.parts,
        planned: read.planned,
        warnings: read.warnings,
        problems: read.problems,
        typed_title,
    }
}

impl Checked {
    /// The test, when it is sound and has an exposed frame.
    #[must_use]
    pub fn test(&self) -> Option<Test> {
        match self.problems {
            None => Test::assemble(self.parts.clone()).ok(),
            Some(_) => None,
        }
    }

    /// The test with its plan, when it is sound and has one.
    #[must_use]
    pub fn planned_test(&self) -> Option<PlannedTest> {
        match self.problems {
            None => PlannedTest::assemble(self.parts.clone(), self.planned.clone()).ok(),
            Some(_) => None,
        }
    }

    /// The title, as far as it can be read.
    #[must_use]
    pub fn title(&self) -> String {
        self.typed_title
            .clone()
            .unwrap_or_else(|| "Test without a title".to_owned())
    }

    /// How many problems there are.
    #[must_use]
    pub fn problem_count(&self) -> usize {
        self.problems
            .as_ref()
            .map_or(0, |error| error.problems.len() + error.more)
    }

    /// How far the test is.
    #[must_use]
    pub fn stage(&self) -> Stage {
        if self.problems.is_some() {
            Stage::Draft
        } else if self.parts.frames.is_empty() {
            if self.planned.is_empty() {
                Stage::Begun
            } else {
                Stage::Planned
            }
        } else if self.parts.readings.is_empty()
            && self.parts.patches.iter().all(|patch| patch.place.is_none())
        {
            Stage::Exposed
        } else {
            Stage::Measured
        }
    }
}
