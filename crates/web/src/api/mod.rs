//! The JSON API: the same use cases as the commands.
//!
//! Each handler stands beside its description, from which `/api/openapi.json`
//! is made, so that the two can't differ.

pub(crate) mod files;
pub(crate) mod folders;
pub(crate) mod frames;
pub(crate) mod jobs;
pub(crate) mod outlines;
pub(crate) mod predict;
pub(crate) mod records;
pub(crate) mod refused;
pub(crate) mod run;
pub(crate) mod tablets;
pub(crate) mod tests;
pub(crate) mod tiles;
pub(crate) mod trace;
