//! The notebook, as pages and commands use it.
//!
//! [`Notebook`] is one notebook that is open: it lists and finds tests, opens
//! and saves them, takes folders and bundles in and gives them out, and
//! evaluates. It can be shared between threads. Whoever edits says which
//! revision they saw; if somebody else changed the test since, nothing is
//! saved and [`KeepError::Conflict`] says what was changed.
//!
//! Use cases that know folders only get one: [`Notebook::folder`] lays a
//! revision out to be read, [`Notebook::change_in_folder`] takes it back in.
//!
//! Begin with [`Notebook::open`], then [`Notebook::open_test`] and
//! [`Notebook::save`].

mod error;
mod evaluation;
mod frames_typed;
mod patch_rows;
mod planning;
mod rebate;
mod scan_frames;
mod sent_folder;
mod tablets;
mod tests_kept;
mod ways;

pub use error::KeepError;
pub use evaluation::EvaluatedTest;
pub use patch_rows::PatchRow;
pub use planning::{PlannedFor, plan_foreseen};
pub use sent_folder::SentFolder;
pub use tablets::{TabletQuestion, USUAL_TABLETS, UsualTablet};
pub use tests_kept::{Notebook, OpenTest};
pub use ways::{Added, bundle_of_folder, folder_of_bundle};
