//! How even the light of a scan is, by what the scan itself shows of it.
//!
//! Rebate is of one density all around a picture, and bare light beside the film is
//! one light: what they read from place to place is lens shading, light table and
//! lamp together. The frame is found first ([`crate::frame_edges`]), then read in
//! cells along its sides (`places`), and a plane with a part that follows the distance
//! from the middle is fitted (`fit`). Light so uneven that no even level is seen is
//! found by dividing an envelope over the lightest parts out (`envelope`); a frame
//! with straight sides and even rebate must then come out, or nothing is told.
//!
//! What can't be told: film that is itself fogged along one side looks the same, and
//! the middle of the picture is not seen, only what lies around it. A picture of the
//! bare table ([`crate::flat_field`]) tells both.
//!
//! Limits are choices where nothing else is said beside them; the made scans of
//! `tests/bare_light.rs`, whose light is known, are measured rightly with them.
//!
//! Begin with [`uneven_light`].
//!
//! Symbols: L = −log10 of signal; x, y from the middle, −1 to 1 along the longer
//! side, r² = x² + y²; L = c of rebate or light + p·x + q·y + a·r².

mod envelope;
mod fit;
mod places;
mod seek;

pub use seek::{LightUnseen, UnevenLight, uneven_light};
