//! Exposure: meter equations, series, factors, bellows, reciprocity, and the chain that joins them.
//!
//! A pure room with no hidden defaults: the meter constants K and C, the lens
//! factor q and the reciprocity law are handed in and named in the answer.
//! Nothing is rounded while computing; rounding to a mark is a step of its own
//! that shows what it leaves over.
//!
//! Read [`chain`] first: [`exposure_answer`] goes from a light reading to the
//! time on the shutter, [`film_exposure`] goes back from a frame to the
//! exposure of the film. Then [`reciprocity`], [`meter`], [`bellows`],
//! [`filter`], [`series`] and [`shutter`], which they join.
//!
//! Symbols: N f-number; t time, s; S speed or EI; L luminance, cd/m²;
//! E illuminance, lux; H exposure, lux s; m magnification; p pupil ratio;
//! Tm metered time, s; Tc corrected time, s.

pub mod aperture_route;
pub mod bellows;
pub mod chain;
pub mod filter;
pub mod focus_depth;
pub mod hand_timing;
pub mod infrared_focus;
mod law_equations;
pub mod law_text;
pub mod meter;
pub mod meter_sight;
pub mod reciprocity;
pub mod series;
pub mod shutter;
pub mod sunny_rule;
pub mod uncertainty;

pub use aperture_route::{ApertureCorrection, OpenedLens};
pub use bellows::{Bellows, BellowsBasis, BellowsError, magnification_from_sizes};
pub use chain::{
    ApertureSetting, AvailableMarks, ChainError, ExposureAnswer, ExposureRequest, FilmExposure,
    FrameExposure, LONGEST_EXPOSURE_S, LightReading, MarkedAperture, MarkedShutter,
    RECIPROCITY_ASKED_ABOVE_S, Step, StepKind, TargetReading, aperture_for_time, exposure_answer,
    film_exposure,
};
pub use filter::{
    ei_behind_filter, factor_from_density, stacked_factor, stops_in_published_thirds,
    stops_to_nearest_third,
};
pub use focus_depth::{Diffraction, circle_of_confusion, depth_of_focus, diffraction};
pub use hand_timing::HandTiming;
pub use infrared_focus::{FocusAdvice, FocusShift, LensCorrection, focus_advice, focus_shift};
pub use law_equations::CatenaryShape;
pub use law_text::{LawTextError, reciprocity_law_from_text};
pub use meter::{
    IncidentConstant, LensFactor, ReflectedConstant, ev100_from_illuminance, ev100_from_luminance,
    ev100_from_setting, focal_plane_exposure, illuminance_from_ev100, luminance_from_ev100,
    metered_aperture, metered_mid_tone_exposure, metered_time,
};
pub use meter_sight::{Cell, ReadThrough, ReadingUse, reading_sentence, reading_use};
pub use reciprocity::{
    Corrected, OutsideLaw, ReciprocityError, ReciprocityForm, ReciprocityLaw, ReciprocityRow,
};
pub use series::{
    ActualBasis, ApertureMark, EiMark, MarkReading, Nearest, SeriesError, SeriesPlace, ShutterMark,
    StepSize, aperture_marks, ei_marks, exact_aperture, exact_shutter_time, format_aperture,
    format_ei, format_time, nearest_aperture, nearest_ei, nearest_shutter, shutter_and_timer_marks,
    shutter_marks,
};
pub use shutter::{EffectiveTime, ShutterTime, SmallApertureGain};
pub use sunny_rule::{SkyEstimate, SunnySky, sunny_estimate};
pub use uncertainty::{ChainUncertainty, UncertainPart, chain_uncertainty};
