//! Measures the scans of a test: patches to readings, with what calibrated
//! them and what the honesty checks found.
//!
//! Each scan is decoded once (`survey`), then held against the others of its test
//! (`same_files`, `clear_film_compared`, `repeats`, and `camera_settings` beside this
//! folder), and read (`readings`). Scans that hold a tablet may calibrate others
//! (`calibration_used`).
//!
//! What the checks find is not only said: it widens the readings of the scan,
//! so that one scan that was tampered with can't outweigh honest ones. What one
//! scan alone shows is added in `negative::widening` and by the calibration; what
//! scans show of each other is added here to the standard uncertainty, as the
//! root of the sum of squares:
//!
//! | flag | what is added |
//! |---|---|
//! | `tablet_misfit` | the difference of clear film |
//! | `levels_changed` | the difference of clear film from the other scans, or of the camera's exposure from that of the calibrating scan |
//! | `uneven_light` | what rebate and bare light differ by from place to place (`light_of_scan`) |
//! | `scanner_flare` | what half as much veiling light again would do (`scan_checks`) |
//! | `same_file` | 0.3 in density, about what a stop does: one of the two frames is another |
//!
//! A patch that was carried from another frame (`carrying`) is as uncertain as
//! its place makes it, and flagged.
//!
//! Begin with [`measure_folder`].

mod calibrated_scan;
mod calibration_used;
mod carried_doubt;
mod clear_film;
mod clear_film_compared;
mod folder;
mod outlined;
mod readings;
mod recorded_outline;
mod recorded_tone;
mod refusals;
mod region_map;
mod repeats;
mod same_files;
mod survey;
mod surveyed;

pub(crate) use calibrated_scan::calibrated_scan;
pub(crate) use calibration_used::calibrator_words;
pub(crate) use folder::{Measuring, measure_folder};
pub(crate) use readings::calibrated;
pub(crate) use recorded_outline::outline_of;
pub(crate) use recorded_tone::{recorded_tone, tone_of_record, tone_words};
pub(crate) use region_map::read_labels;
pub(crate) use surveyed::Surveyed;
