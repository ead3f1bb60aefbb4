//! Outlines of patches, added to a test's files.

use super::KeepError;
use super::tests_kept::OpenTest;
use notebook::{Documents, with_patch_rows};

/// A row of `patches.csv`, as it would be typed; an empty cell is not recorded.
pub use notebook::PatchRow;

impl OpenTest {
    /// The test's files with these patches: a row of the same frame and patch is
    /// replaced, another is added, and `without` names frame and patch of rows
    /// that go. All other text of the file stays as it is.
    ///
    /// # Errors
    /// [`KeepError`] when `patches.csv` can't be read as a table.
    pub fn with_patches(
        &self,
        rows: &[PatchRow],
        without: &[(String, String)],
    ) -> Result<Documents, KeepError> {
        Ok(with_patch_rows(&self.documents, rows, without)?)
    }

    /// The test's files with another text of one of them; `None` takes it out.
    ///
    /// # Errors
    /// [`KeepError`] when the path leaves the test.
    pub fn with_text(&self, path: &str, text: Option<&str>) -> Result<Documents, KeepError> {
        let mut documents = self.documents.clone();
        match text {
            Some(text) => {
                documents.put(path, notebook::Held::Bytes(text.as_bytes().to_vec()))?;
            }
            None => {
                documents.remove(path);
            }
        }
        Ok(documents)
    }
}
