//! Findings to SVG figures.
//!
//! Each figure has a title that says what is seen, a subtitle that says what
//! was plotted, named axes with their unit, sample size and uncertainty; it
//! can be read in a grey print, and its numbers stand in the report's tables.
//!
//! No charting crate is used. Five were built or read for one and the same
//! characteristic curve before this room was written, and each fell short:
//! whole-pixel coordinates that make curves wavy, clipped labels, a legend
//! over the data, bands lost in the dark theme, or a whole browser to draw.
//! What is needed is a small writer ([`Sheet`] and the private `svg`), linear
//! axes and text anchored inward by the metrics of the font in use.
//!
//! A pure room: no file, no clock; the same findings give the same bytes.
//!
//! Read [`characteristic_curve()`] first; [`density_bars`], [`factor_intervals`]
//! and [`wood_effect()`] are simpler. [`shown`] says how numbers are rounded.

mod axis;
mod bracket_curve;
mod characteristic_curve;
mod density_bars;
mod density_map;
mod density_scale;
mod direction;
mod factor_interval;
mod intervals;
mod joint_histogram;
mod letters;
mod named;
mod places;
mod process_plot;
mod promised_interval;
mod red_end;
pub mod shown;
mod spectral_panels;
mod stops_map;
mod sun_height;
mod svg;
mod tablet_picture;
mod text_width;
mod wood_effect;

pub use bracket_curve::bracket_curve;
pub use characteristic_curve::{characteristic_curve, curve_family};
pub use density_bars::density_bars;
pub use density_map::{MapFigure, Mark, density_map};
pub use density_scale::{DensityScale, density_scale};
pub use direction::in_line;
pub use factor_interval::{
    bracket, ei_intervals, factor_intervals, factor_sentence, filters_words,
};
pub use joint_histogram::{JointFields, joint_histogram};
pub use letters::{PatchLetters, letter_at, role_words};
pub use named::{NamedFigure, curve_families, named_figures};
pub use process_plot::process_plot;
pub use promised_interval::{Promise, promised_intervals};
pub use red_end::red_end;
pub use spectral_panels::{SpectralPanels, spectral_panels};
pub use stops_map::{StopsScale, stops_map};
pub use sun_height::SunHeightFactor;
pub use svg::{Colours, Sheet};
pub use tablet_picture::{OutlinedStep, TabletPicture, tablet_picture, tablet_picture_alone};
pub use wood_effect::wood_effect;
