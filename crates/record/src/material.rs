//! What is exposed, through what, and how it is developed.

use crate::Id;
use quantity::{Celsius, Density, ExposureIndex, FilterFactor, Measured, Nanometres, Seconds};

/// A film and batch.
#[derive(Clone, Debug, PartialEq)]
pub struct Film {
    /// Name in this test.
    pub id: Id,
    /// What it is called: the maker's name or the tester's own.
    pub name: String,
    /// Format, as written: `4x5 in sheet`, `120`.
    pub format: Option<String>,
    /// Speed printed on the box.
    pub box_speed: Option<ExposureIndex>,
    /// Emulsion or batch number.
    pub batch: Option<String>,
    /// Expiry, as printed.
    pub expiry: Option<String>,
    /// What is known of its reciprocity failure.
    pub reciprocity: Option<ReciprocityRecord>,
}

/// A reciprocity law as it was written down, with its origin.
#[derive(Clone, Debug, PartialEq)]
pub struct ReciprocityRecord {
    /// The law in the syntax of the exposure room: `power:1.31`, `additive:0.1,1.62`.
    pub law: String,
    /// Where it comes from.
    pub source: String,
    /// One standard deviation of the correction, in stops per decade of time
    /// beyond one second; `None` when not known.
    pub uncertainty_stops_per_decade: Option<f64>,
    /// Whether the law is carried on outside the range in which it is known to hold;
    /// what rests on that is flagged.
    pub extrapolate: bool,
}

/// The level at which a long-pass filter's edge is quoted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EdgeLevel {
    /// 50 % transmittance.
    HalfTransmittance,
    /// Half of the filter's own peak.
    HalfOfPeak,
    /// 10 % transmittance.
    TenPercent,
    /// Three stops below the peak.
    MinusThreeStops,
    /// A bare number such as "720": the level is not known.
    NotStated,
}

/// Where a long-pass filter begins to pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Wavelength at the level.
    pub wavelength: Nanometres,
    /// The level.
    pub level: EdgeLevel,
}

/// A factor printed or told by somebody.
#[derive(Clone, Debug, PartialEq)]
pub struct StatedFactor {
    /// The factor.
    pub factor: FilterFactor,
    /// For which film, light and criterion it was said to hold.
    pub basis: String,
}

/// A filter.
#[derive(Clone, Debug, PartialEq)]
pub struct Filter {
    /// Name in this test.
    pub id: Id,
    /// What it is called.
    pub name: String,
    /// What is engraved or printed on it.
    pub marking: Option<String>,
    /// Where it begins to pass.
    pub edge: Option<Edge>,
    /// A factor somebody states.
    pub stated_factor: Option<StatedFactor>,
}

/// One development: frames that share it share a characteristic curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Process {
    /// Name in this test.
    pub id: Id,
    /// Developer.
    pub developer: String,
    /// Dilution, as written: `1+50`.
    pub dilution: Option<String>,
    /// Development time.
    pub time: Option<Seconds>,
    /// Temperature.
    pub temperature: Option<Celsius>,
    /// Agitation, as written.
    pub agitation: Option<String>,
    /// Anything else.
    pub remarks: Option<String>,
}

/// A step tablet with the density of each step.
#[derive(Clone, Debug, PartialEq)]
pub struct Tablet {
    /// Name in this test.
    pub id: Id,
    /// Serial number.
    pub serial: Option<String>,
    /// Whether the densities were measured for this very tablet.
    pub certified: bool,
    /// Density of each step, in step order.
    pub steps: Vec<Measured<Density>>,
}
