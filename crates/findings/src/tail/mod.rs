//! The red end of a film, learned from the factors of a test.
//!
//! Factors behind several long-pass filters say where a film's sensitivity ends
//! and how steeply. `film_class` holds what films are like before any reading,
//! `tail_light` the light, `exposure_ratio` the integral that gives a factor,
//! `posterior` joins them with the data on a grid, `outlook` says what other
//! filters would give and which to try next, `from_findings` takes the data from
//! a test. Begin with [`tail_estimate`].
//!
//! Symbols: λe edge, nm; k steepness, log10 sensitivity per nm; S film
//! sensitivity; T transmittance of a filter; E light; F factor.

mod exposure_ratio;
mod film_class;
mod from_findings;
mod outlook;
mod posterior;
mod tail_light;

pub use from_findings::{TailFinding, TailReading, tails};
pub use outlook::{NextFilter, Outlook};
pub use posterior::{TailData, TailEstimate, tail_estimate};
pub use tail_light::TailLight;
