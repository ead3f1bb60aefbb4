//! The tests of this room, by what they are held against.
//!
//! `reference_tables`: closed forms and tables; `published_cases`: numbers that
//! people and makers published; `properties`: what holds for every number;
//! `refusals`: errors, flags and partial answers; `infrared_focus` and `whole_room`:
//! focus, and what joins meter, shutter, hand and law.
#![expect(clippy::unwrap_used, reason = "a test may stop at a broken fixture")]

mod common;
mod infrared_focus;
mod properties;
mod published_cases;
mod reference_tables;
mod refusals;
mod whole_room;
