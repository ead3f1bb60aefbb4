//! Spectral curves.

pub mod read;
