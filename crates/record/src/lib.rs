//! The facts of a test: plain validated data.
//!
//! A [`Test`] holds films, filters, lenses, lights, processes, tablets, scans,
//! frames, patches, readings and other people's reports. It is built from
//! parts by [`Test::assemble`], which checks that every reference leads
//! somewhere and that nothing is named twice; a `Test` that exists is sound.
//!
//! This room stores nothing, computes nothing and knows no file format: text
//! and files belong to `notebook`, numbers drawn from the facts to `findings`.
//!
//! What is only planned is a [`PlannedTest`], never a [`Frame`].
//!
//! Read [`Test`] first, then [`Frame`].

mod equipment;
mod frame;
mod id;
mod light;
mod material;
mod plan;
mod reading;
mod scan;
mod test;

pub use equipment::{Lens, MeasuredTime, Shutter};
pub use frame::{Bellows, CameraExposure, Exposure, Frame, FrameRole, Time};
pub use id::{Id, IdError};
pub use light::{Light, LightReading, Meter, MeterCell, MeterMode, Sky};
pub use material::{
    Edge, EdgeLevel, Film, Filter, Process, ReciprocityRecord, StatedFactor, Tablet,
};
pub use plan::{PlannedCamera, PlannedExposure, PlannedFrame, PlannedTest, PlannedTime};
pub use reading::{
    Outline, OutsideReport, Patch, PatchRole, Reading, ReadingOrigin, Response, Seen,
};
pub use scan::{Calibrator, Channel, Scan, TabletStrip, Tone};
pub use test::{RecordError, Test, TestParts};
