//! The notebook: many tests in one SQLite file.
//!
//! A test is kept as the very files of its folder, byte for byte, so that
//! folder, notebook and bundle hold the same and nothing is translated. Each
//! change is a revision; revisions are only added. Beside them stands an index
//! of titles, films, filters, batches and frames, filled from the checked
//! records in the same transaction, which can always be made again.
//!
//! Texts and small files lie in the SQLite file itself; scans lie in a folder
//! beside it, named by their SHA-256, or stay where they are and are referred to.
//!
//! A text that does not check is kept all the same, as a draft with its
//! problems: what somebody typed is never lost.
//!
//! Read `schema` first (what is kept), then `open`, then `revisions`.

mod content;
mod difference;
mod error;
mod folder_way;
mod index;
mod open;
mod overview;
mod revisions;
mod scans;
mod schema;
mod search;

pub use difference::Difference;
pub(crate) use error::file_error;
pub use error::{Conflict, NotebookError};
pub(crate) use folder_way::{FILES_MOST, Hashed, no_record, why_left_out};
pub use folder_way::{TakenIn, folder_files};
pub use open::{Check, NotebookFile};
pub use overview::{Stage, TestOverview};
pub use revisions::{Revision, Saved, Stamp, TestId};
pub use scans::{ScanPlace, StoredPlace};
pub use search::{Found, FoundTests};
