//! JCAMP-DX, the exchange form of spectrometers.
//!
//! `records` cuts the text into labelled records, `blocks` into spectra,
//! `ordinates` undoes the packed forms of numbers, `spectrum` checks one
//! spectrum against its own head, `reading` makes a curve of it. Spectra of
//! evenly spaced wavelengths (XYDATA) and pairs (XYPOINTS) are read; tables of
//! peaks and spectra of other kinds are refused.
//!
//! Source: R. S. McDonald, P. A. Wilks, "JCAMP-DX: a standard form for exchange
//! of infrared spectra in computer readable form", Applied Spectroscopy 42
//! (1988) 151, version 4.24.

mod blocks;
mod error;
mod ordinates;
mod pairs;
mod reading;
mod records;
mod spectrum;

pub use error::JcampError;
pub use reading::JcampSpectrum;
pub use reading::jcamp_spectra;
pub(super) use reading::reading_from_jcamp;
