//! The test folder and the notebook: reading, checking, keeping and writing the
//! files of tests.
//!
//! A test folder holds `test.toml` (the record), `plan.toml`, `patches.csv`,
//! `readings.csv`, certificates of tablets and the scans. The format is ours;
//! `docs/test-folder.md` describes it, and [`json_schema`] is made from the
//! very tables that read it. What is refused is refused with file, line, the
//! text seen, what was expected and what to do: [`Problem`].
//!
//! Many tests are kept in one SQLite file, the notebook ([`NotebookFile`], in
//! `store`), as the very files of their folders; a bundle is one such folder in
//! a zip file.
//!
//! This room may touch files. It measures nothing and knows no formula.
//!
//! Read `format` first (the keys), then `keys` (how they are read), then
//! `folder`; for the notebook `documents`, then `store`.

mod bundle;
mod cell_places;
mod cells;
mod changed_plan;
mod channel_word;
mod checked;
mod columns;
mod csv_file;
mod documents;
mod f_sign;
mod field_log;
mod files;
mod folder;
mod format;
mod frame_rows;
mod from_record;
mod import;
mod keys;
mod listing;
mod patch_rows;
mod path;
mod plan_format;
mod plan_record;
mod problem;
mod schema;
mod stand_alone;
mod store;
mod strips;
mod to_record;
mod words;
mod write;

pub use bundle::{BundleLimits, GoOn, OpenHeld, unpack_bundle, write_bundle};
pub use cell_places::{CellPlace, cell_of};
pub use cells::{
    CELL_TABLES, CellColumn, CellKind, CellTable, RecordRow, cell_table, record_rows,
    with_record_rows, with_top_keys,
};
pub use changed_plan::change_plan;
pub use channel_word::{channel_of_word, word_of_channel};
pub use checked::{Checked, check};
pub use columns::ReciprocityTableRow;
pub use documents::{Documents, Fingerprint, Held, PICTURE_ENDINGS};
pub use f_sign::without_f_sign;
pub use field_log::field_log_csv;
pub use folder::{HashState, PlannedFolder, TestFolder, read_planned_folder, read_test_folder};
pub use frame_rows::{OnFrame, on_frame, without_frames};
pub use import::{Imported, import_field_log};
pub use listing::{ListedFile, Listing, ListingLimits, check_listing};
pub use patch_rows::{PatchRow, patch_rows, with_patch_rows};
pub use path::hash_file;
pub use plan_record::plan_hash;
pub use problem::{FolderError, Problem};
pub use schema::{json_schema, key_tables, plan_json_schema};
pub use stand_alone::{
    CurveRow, NamedPatch, Rows, TabletRow, read_curve_csv, read_patches_csv, read_reciprocity_csv,
    read_tablet_csv,
};
pub use store::{
    Check, Conflict, Difference, Found, FoundTests, NotebookError, NotebookFile, Revision, Saved,
    ScanPlace, Stage, Stamp, StoredPlace, TakenIn, TestId, TestOverview, folder_files,
};
pub use strips::{StripOutline, StripPlace, with_scan_frame, with_strip};
pub use write::{plan_toml, write_plan, write_planned_folder, write_test_folder};
