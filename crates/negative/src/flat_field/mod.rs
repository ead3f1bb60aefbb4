//! Flat fields and dark frames: uneven light divided out of camera scans.
//!
//! A picture of the bare light table holds what lens and table do together. It
//! is smoothed to a coarse field, so that its own noise and dust hardly count,
//! and each pixel of a scan is divided by it, as linear light. A dark frame is
//! subtracted from both before. Codes stay codes: a corrected scan has 16 bits,
//! a black level and the linear scale, and goes through everything that an
//! uncorrected one does.
//!
//! Begin with [`light_field`], which smooths one picture, and [`FlatField`],
//! which [`crate::decode::ScanReader::divide_by`] takes.
//!
//! Symbols: s light of a scan, f of the bare table, d of the dark frame, 0 to 1;
//! corrected light = (s − d) · max(f − d)/(f − d).

mod correction;
mod error;
mod light_field;
mod unevenness;

pub(crate) use correction::Correction;
pub use correction::FlatField;
pub use error::FlatFieldError;
pub use light_field::{LightField, light_field};
pub use unevenness::Unevenness;
