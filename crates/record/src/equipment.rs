//! Lens and shutter.

use crate::Id;
use quantity::{Millimetres, PupilRatio, Seconds, Stops};

/// A shutter speed that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredTime {
    /// The speed as marked.
    pub marked: Seconds,
    /// The mean of the measured times.
    pub actual: Seconds,
    /// One standard deviation of a single release, in stops.
    pub spread: Stops,
}

/// A shutter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shutter {
    /// One standard deviation of a marked speed that was not measured, in
    /// stops; `None` leaves it to the estimate's stated assumption.
    pub marked_uncertainty: Option<Stops>,
    /// Speeds that were measured.
    pub measured: Vec<MeasuredTime>,
}

/// A lens with its shutter.
#[derive(Clone, Debug, PartialEq)]
pub struct Lens {
    /// Name in this test.
    pub id: Id,
    /// What it is called.
    pub name: String,
    /// Focal length.
    pub focal_length: Option<Millimetres>,
    /// Exit pupil over entrance pupil; 1 for a symmetric lens.
    pub pupil_ratio: Option<PupilRatio>,
    /// Its shutter.
    pub shutter: Shutter,
}
