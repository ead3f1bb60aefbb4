//! Numbers with a unit, uncertain values and flags.
//!
//! Every public signature of the pure rooms takes and gives these types. The
//! inside of each is a private `f64`; the way in checks, the way out names the
//! scale, and operators exist only where the physics has them.
//!
//! This room knows no formula of the trade beyond changes of scale, and must
//! never learn one: no curve, no film, no file.
//!
//! Read `scale.rs` first (the macro and the simplest types), then `ratio.rs`
//! (stops, factors, log exposure), then `measured.rs` and `flag.rs`.

mod density;
mod error;
mod flag;
mod measured;
mod ratio;
mod scale;

pub use density::{Density, NetDensity, Transmittance};
pub use error::QuantityError;
pub use flag::{Flag, Flags};
pub use measured::{Bound, Interval, Measured};
pub use ratio::{ExposureIndex, FilterFactor, LogExposure, Stops};
pub use scale::{
    Celsius, Ev100, FNumber, Illuminance, Luminance, Magnification, Millimetres, Nanometres,
    PupilRatio, Seconds,
};
