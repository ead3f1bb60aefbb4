//! CGATS.17, the table form of colour and density measurement.
//!
//! `tables` reads the structure, `spectra` finds the spectra among the
//! fields, `densities` the densities. A text that only looks like it (rows
//! without a BEGIN_DATA_FORMAT block) is refused: which number is which can't be
//! known.
//!
//! Source: CGATS.17, "Graphic technology: exchange format for colour and process
//! control data using XML or ASCII text"; field names also ISO 28178. Field
//! names beyond those in the worked examples are from memory.

mod densities;
mod error;
mod reading;
mod spectra;
mod tables;

pub use densities::{DensityRow, DensityTable, density_tables};
pub use error::CgatsError;
pub(super) use reading::reading_from_cgats;
pub(super) use tables::is_identifier;
