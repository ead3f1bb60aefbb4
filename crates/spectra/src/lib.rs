//! Spectral curves: films, filters, lights and subjects by wavelength.
//!
//! A pure room: curves are handed in, and no table is loaded from here. A
//! [`Curve`] knows what its values are and where they come from; between its
//! points values come by [`Interpolation`], integrals are taken on a [`Grid`],
//! and nothing is known beyond its ends unless the caller says what to take.
//!
//! Read [`curve`] first, then [`grid`], [`product`] and [`mod@prediction`], the aim of
//! it all. [`read`] makes curves from files.
//!
//! Symbols: λ wavelength, nm; E(λ) light; S(λ) sensitivity of the film to
//! energy; T(λ) transmittance; R(λ) reflectance.

pub mod batch;
pub mod clear_sky;
pub mod cloud;
pub mod curve;
pub mod film_class;
pub mod film_sensitivity;
pub mod filter_stack;
pub mod grid;
pub mod interpolation;
pub mod kind;
pub mod lamp;
pub mod leaf;
pub mod long_pass;
pub mod plain_subject;
pub mod prediction;
pub mod product;
pub mod read;
pub mod seen;
pub mod shade_cost;
mod strips;
pub mod sun_position;
pub mod tilted_plane;
pub mod trace;
pub mod uncertainty;

pub use batch::{BatchError, Integrals, integrals};
pub use curve::{Assumed, Beyond, Curve, CurveError, CurvePoint, NoValue, Sampling};
pub use film_class::{ClassModel, FilmClass, red_end};
pub use film_sensitivity::{
    AbsoluteSpeed, SensitivityError, as_logarithm, at_other_density,
    equal_energy_from_equal_photons, equal_energy_from_wedge, speed_from_absolute,
    wedge_from_equal_energy,
};
pub use filter_stack::{GlassError, in_thickness, stacked, surface_transmittance, with_surfaces};
pub use grid::{Grid, GridError};
pub use interpolation::Interpolation;
pub use kind::CurveKind;
pub use long_pass::{EdgeError, EdgeLevel, EdgeShape, LongPass};
pub use prediction::{
    Band, Ends, Expected, GREY_CARD_REFLECTANCE, GridChoice, Predicting, Prediction,
    PredictionError, Products, Response, SubjectContrast, Unknown, VerdictLimits, Whose,
    ends_words, prediction, subject_contrast,
};
pub use product::Product;
pub use shade_cost::{SHADE_INFRARED_STOPS, ShadeCost, ShadeSpread, shade_cost};
pub use uncertainty::{
    Combined, Contribution, GRADIENT_STOPS, InputSpread, combined, contributions,
};
