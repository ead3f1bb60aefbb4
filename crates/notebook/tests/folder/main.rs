//! Test folders as a whole: read, refused, written.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod document;
mod import;
mod mutation;
mod plan;
mod refused;
mod round_trip;
mod sample;
mod stand_alone;
