//! The pages, one file each, in the order in which the work is done.

pub(crate) mod compare;
pub(crate) mod curves;
pub(crate) mod exposures;
pub(crate) mod findings;
pub(crate) mod frame_found;
pub(crate) mod history;
pub(crate) mod job;
pub(crate) mod let_in;
pub(crate) mod negatives;
pub(crate) mod new_test;
pub(crate) mod plan;
pub(crate) mod planning;
pub(crate) mod report;
pub(crate) mod spectra;
pub(crate) mod spectra_fields;
pub(crate) mod tablet;
pub(crate) mod tests;
pub(crate) mod trace;
pub(crate) mod unevaluated;
