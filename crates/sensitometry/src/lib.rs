//! Density, step tablets, the characteristic curve, speed points and gradients.
//!
//! Read [`CurveReading`] and [`fit_characteristic_curve`] first, then
//! [`CharacteristicCurve`] (what a fit answers) and [`speed_and_contrast`]
//! (every named criterion side by side). [`StepTablet`] holds the densities a
//! film was exposed through; [`FilmCurve`] is the explicit formula alone.
//!
//! This room is handed numbers and gives numbers: no film, filter, file or pixel.

mod bracket_curve;
mod characteristic_curve;
mod contrast_index;
mod correction;
mod criteria;
mod curve_fit;
mod debevec_malik;
mod development_time;
mod film_curve;
mod fractional_gradient;
mod gradient;
mod gradients;
mod grouping;
mod joint_curve;
mod least_squares;
mod missing;
mod root;
mod speed_point;
mod step_tablet;
mod zone_scale;

pub use bracket_curve::{
    BracketCurve, BracketCurveError, BracketPoint, BracketReading, ExposureError, bracket_curve,
    bracket_curve_with_errors,
};
pub use characteristic_curve::{
    CharacteristicCurve, CurveMethod, FittedReading, OutsideReadings, StraightLine,
};
pub use contrast_index::{ContrastIndexArcs, contrast_index_arcs, contrast_index_chord};
pub use criteria::{SpeedAndContrast, speed_and_contrast, speed_and_contrast_continued};
pub use curve_fit::{
    CurveError, CurveFitSettings, CurveReading, ExposureScale, fit_characteristic_curve,
};
pub use debevec_malik::debevec_malik_response;
pub use development_time::{TimeContrastError, TimeContrastLine};
pub use film_curve::{
    FILM_CURVE_PARAMETERS, FilmCurve, FilmCurveError, Shoulder, film_density,
    film_density_derivatives, film_gradient, film_gradient_derivatives,
};
pub use fractional_gradient::{
    DeltaX, delta_x, delta_x_from_density_difference, fractional_gradient_point,
};
pub use gradient::Gradient;
pub use gradients::{
    average_gradient, density_range, gamma, gradient_chord, log_exposure_range,
    log_exposure_range_between,
};
pub use missing::Missing;
pub use speed_point::{
    ContrastCondition, FilmSpeed, PointN, SpeedStep, arithmetic_speed, contrast_condition,
    density_difference, film_speed, point_n, speed_point, speed_step,
};
pub use step_tablet::{StepOrder, StepTablet, StepTabletError, TabletProvenance};
pub use zone_scale::{PaperGrade, PaperGradeAdvice, paper_grade_for_diffuser};
