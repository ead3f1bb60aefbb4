//! Frames as they were found in scans, and rebates kept from them.

use super::{BY, Book, id};
use crate::frame_found::FrameFound;
use app::{AppError, KeepError};

impl Book {
    /// The frame of a scan as it was found; the first look at a scan cuts it into tiles.
    pub(crate) fn frame_found(&self, test: u32, scan: &str) -> Result<FrameFound, KeepError> {
        let tiled = self.tiled(test, scan)?;
        FrameFound::of(&tiled).ok_or_else(|| {
            AppError::new(
                format!("what was found in scan {scan:?} can't be read"),
                "stop the program, remove the folder of tiles beside the notebook, begin again",
            )
            .into()
        })
    }

    /// Keeps the largest even stretch of the rebate found in a scan as clear film of the
    /// frame that the scan shows, once a person has looked at it.
    pub(crate) fn keep_rebate(&self, test: u32, seen: u32, scan: &str) -> Result<(), KeepError> {
        let open = self.notebook.open_test(id(test), Some(seen))?;
        let Some(corners) = self.frame_found(test, scan)?.clear_stretch() else {
            return Err(AppError::new(
                format!("no even stretch of rebate was found in scan {scan}"),
                "outline the clear film by hand",
            )
            .into());
        };
        let (documents, what) = open.with_rebate(scan, &corners)?;
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }
}
