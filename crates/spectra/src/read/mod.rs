//! Readers of spectral files: bytes in, a curve or the reason out.
//!
//! Three kinds of file are read: tables of text ([`spectral_reading`] on a CSV
//! and its kin), JCAMP-DX ([`jcamp`]) and CGATS ([`cgats`], densities too).
//! Nothing is opened here, and nothing is guessed: what a file doesn't say about
//! its units is a question ([`ReadError`], variants `Which…`) that comes back as
//! [`Answers`].
//!
//! Begin with [`spectral_reading`].

mod answers;
mod assemble;
mod cells;
pub mod cgats;
mod error;
pub mod jcamp;
mod kind;
mod layout;
mod reading;
mod stated;
mod table;
mod text;

pub use answers::{Answers, Purpose, ValueScale, WavelengthUnit};
pub use error::ReadError;
pub use kind::spectral_reading;
pub use reading::{Notice, ReadPoint, SpectralReading};
