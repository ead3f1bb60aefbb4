//! Two or more tests put on one basis, and other people's reports held
//! against them.
//!
//! Numbers of different tests are compared in stops, each difference with its
//! interval; whether it is significant (the interval excludes zero) and
//! whether it is important (more than a third of a stop) are told apart. What
//! could explain it stands beside it, with the stops it could give and what
//! the records say of it.
//!
//! Nothing is fitted here: the findings of each test are taken as they are,
//! and their errors as independent of each other.
//!
//! Begin with [`compare`]; `causes` says what could explain a difference,
//! `outside` checks reports, `batch` compares batches.

mod batch;
mod causes;
mod comparison;
pub(crate) mod edge;
mod outside;
mod pairs;
mod side;
mod student;

pub use comparison::*;
pub use edge::{EDGE_PEAK, EDGE_WIDTH_NM, edge_half_peak_nm};
pub use pairs::{CompareError, compare};
