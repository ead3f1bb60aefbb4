//! Scans to densities: decoding, linear light, calibration, honesty checks, patches.
//!
//! Bytes come in, densities with their uncertainty and flags come out. This
//! room knows pixels and densities, not films or filters, and opens no file.
//!
//! The way of a scan: [`decode`] reads rows of code values; [`tone`] says how
//! codes follow light; [`patch`] measures outlines; [`calibration`] turns a
//! step tablet in the scan into densities for the other patches; [`honesty`]
//! looks for levels that were changed, [`flat_field`] divides uneven light out of
//! camera scans, [`bare_light`] tells how uneven it is where no picture of it is at hand,
//! [`widening`] makes readings as uncertain
//! as that, and [`refusal`] puts a calibration aside that can't be right;
//! [`relative`] reads a scan without one; [`preview`] makes the small picture;
//! [`registration`] lays frames of one subject on each other; [`tiles`] cuts a scan
//! into tiles for looking at it closely. [`density_map`] reads density at every pixel,
//! [`frame_edges`] finds the picture's own edges and the rebate around it,
//! [`exposure_difference`] what one frame got more than another, [`float_tiff`] writes
//! such pictures of numbers.

pub mod bare_light;
pub mod calibration;
pub mod decode;
pub mod density_map;
pub mod exposure_difference;
pub mod flat_field;
pub mod float_tiff;
pub mod frame_edges;
pub mod honesty;
mod monotone;
pub mod outline;
pub mod patch;
pub mod preview;
pub mod refusal;
pub mod registration;
pub mod relative;
pub mod survey;
pub mod tablet_place;
pub mod tiles;
pub mod tone;
pub mod widening;
