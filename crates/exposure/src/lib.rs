//! Exposure: meter equations, series, factors, bellows, reciprocity, and the chain that joins them.
//!
//! A pure room with no hidden defaults: the meter constants K and C, the lens
//! factor q and the reciprocity law are handed in and named in the answer.
//! Nothing is rounded while computing; rounding to a mark is a step of its own
//! that shows what it leaves over.
//!
//! Read [`chain`] first: [`exposure_answer`] goes from a light reading to the
//! time on the shutter, [`film_exposure()`] goes back from a frame to the
//! exposure of the film. Then [`reciprocity`], [`meter`], [`bellows`],
//! [`filter`], [`series`] and [`shutter`], which they join.
//!
//! Symbols: N f-number; t time, s; S speed or EI; L luminance, cd/m²;
//! E illuminance, lux; H exposure, lux s; m magnification; p pupil ratio;
//! Tm metered time, s; Tc corrected time, s.

pub mod aperture_route;
pub mod bellows;
pub mod chain;
pub mod film_exposure;
pub mod filter;
pub mod focus_depth;
pub mod hand_timing;
pub mod infrared_focus;
mod law_equations;
pub mod law_text;
pub mod light_reading;
pub mod meter;
pub mod meter_sight;
pub mod nearest_mark;
pub mod number_text;
pub mod reciprocity;
pub mod reciprocity_error;
pub mod reciprocity_form;
pub mod series;
pub mod set_marks;
pub mod shutter;
pub mod sunny_rule;
pub mod uncertainty;

pub use aperture_route::{ApertureCorrection, OpenedLens};
pub use bellows::{Bellows, BellowsBasis, BellowsError, magnification_from_sizes};
pub use chain::{
    ChainError, ExposureAnswer, ExposureRequest, LONGEST_EXPOSURE_S, RECIPROCITY_ASKED_ABOVE_S,
    Step, StepKind, exposure_answer,
};
pub use film_exposure::{FilmExposure, FrameExposure, film_exposure};
pub use filter::{
    ei_behind_filter, factor_from_density, stacked_factor, stops_in_published_thirds,
    stops_to_nearest_third,
};
pub use focus_depth::{Diffraction, circle_of_confusion, depth_of_focus, diffraction};
pub use hand_timing::HandTiming;
pub use infrared_focus::{FocusAdvice, FocusShift, LensCorrection, focus_advice, focus_shift};
pub use law_equations::CatenaryShape;
pub use law_text::{LawTextError, reciprocity_law_from_text};
pub use light_reading::{LightReading, TargetReading};
pub use meter::{
    IncidentConstant, LensFactor, ReflectedConstant, ev100_from_illuminance, ev100_from_luminance,
    ev100_from_setting, focal_plane_exposure, illuminance_from_ev100, luminance_from_ev100,
    metered_aperture, metered_mid_tone_exposure, metered_time,
};
pub use meter_sight::{Cell, ReadThrough, ReadingUse, reading_sentence, reading_use};
pub use nearest_mark::{
    Nearest, SeriesPlace, exact_aperture, exact_shutter_time, nearest_aperture, nearest_ei,
    nearest_shutter,
};
pub use number_text::{format_aperture, format_ei, format_time};
pub use reciprocity::{Corrected, OutsideLaw, ReciprocityLaw};
pub use reciprocity_error::ReciprocityError;
pub use reciprocity_form::{ReciprocityForm, ReciprocityRow};
pub use series::{
    ActualBasis, ApertureMark, EiMark, MarkReading, SeriesError, ShutterMark, StepSize,
    aperture_marks, ei_marks, shutter_and_timer_marks, shutter_marks,
};
pub use set_marks::{
    ApertureSetting, AvailableMarks, MarkedAperture, MarkedShutter, aperture_for_time,
};
pub use shutter::{EffectiveTime, ShutterTime, SmallApertureGain};
pub use sunny_rule::{SkyEstimate, SunnySky, sunny_estimate};
pub use uncertainty::{ChainUncertainty, UncertainPart, chain_uncertainty};
