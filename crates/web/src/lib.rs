//! Local pages over the use cases, and a JSON API beside them.
//!
//! [`serve`] binds to the loopback address, opens the notebook and answers
//! until it is told to stop. Pages are written here, in Rust; what reacts in
//! the browser is a few plain modules in `served/`, inside the program.
//!
//! A handler parses, calls `app` and renders. What comes from outside passes
//! `guard` first: a foreign Host, a foreign Origin, a change without the
//! token of this run and a device that was not let in are refused before any
//! handler sees them. No text from outside becomes a path.
//!
//! This room must never compute, and sees no room but `app`.
//!
//! Begin with `router`; one file for each page is in `pages`.

mod api;
mod assets;
mod book;
mod download;
mod drawing;
mod folders;
mod form;
mod frame_found;
mod guard;
mod jobs;
mod layout;
mod mending;
mod pages;
mod phone;
mod plan_form;
mod record_tables;
mod refusal;
mod router;
mod server;
mod shared;
mod spectra_question;
mod tablet_looks;
mod token;
mod upload;

pub use guard::Connection;
pub use router::router;
pub use server::{ServeSettings, serve};
pub use shared::Shared;
