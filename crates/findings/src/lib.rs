//! Records and readings to findings: the joint estimate, EI, factor, verdicts.
//!
//! One model for a whole test is fitted at once: a curve for each film and
//! process, what each frame, light, shutter speed and subject may be off by,
//! and a factor for each filter. Blank and blocked frames enter as limits.
//! Answers are intervals, bounds, or "cannot be told" with the sheet that
//! would settle it.
//!
//! This room reads no file, draws nothing and writes no page. It must never
//! use a number as if it were recorded when it was assumed: what is assumed
//! stands in [`Assumptions`] and is listed in the findings.
//!
//! Begin with [`evaluate`]; the model is in `model`, the fit in `solve` and
//! `estimate`, the answers in `factors`, `frames`, `curves` and `advice`.

mod advice;
mod assumptions;
mod bracket;
mod causes;
mod compare;
mod consistency;
mod criteria;
mod curves;
mod estimate;
mod evaluate;
mod factor_ends;
mod factors;
mod finding;
mod frame_exposure;
mod frames;
mod judged;
mod model;
mod named;
mod next_sheet;
mod normal;
mod plan;
mod solve;
mod tail;

pub use assumptions::Assumptions;
pub use bracket::bracket_cannot_tell;
pub use compare::*;
pub use criteria::rows as criterion_rows;
pub use estimate::EstimateError;
pub use evaluate::{EvaluateError, METHOD, evaluate};
pub use finding::*;
pub use frame_exposure::FrameExposureError;
pub use normal::interval_half_width;
pub use plan::*;
pub use tail::*;
