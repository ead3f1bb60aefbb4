//! The notebook as a whole: opened, migrated, exchanged, and refused where it must be.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod bundle;
mod hostile;
mod made;
mod model;
mod opening;
mod revisions;
mod round_trip;
mod torn;
