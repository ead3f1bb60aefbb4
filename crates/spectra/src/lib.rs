//! Spectral curves: films, filters, lights and subjects by wavelength.
//!
//! A pure room: curves are handed in, and no table is loaded from here. A
//! [`Curve`] knows what its values are and where they come from; between its
//! points values come by [`Interpolation`], integrals are taken on a [`Grid`],
//! and nothing is known beyond its ends unless the caller says what to take.
//!
//! Read [`curve`] first, then [`grid`]. [`read`] makes curves from files.
//!
//! Symbols: λ wavelength, nm; E(λ) light; S(λ) sensitivity of the film to
//! energy; T(λ) transmittance; R(λ) reflectance.

pub mod curve;
pub mod grid;
pub mod interpolation;
pub mod kind;
pub mod read;

pub use curve::{Assumed, Beyond, Curve, CurveError, CurvePoint, NoValue, Sampling};
pub use grid::{Grid, GridError};
pub use interpolation::Interpolation;
pub use kind::CurveKind;
