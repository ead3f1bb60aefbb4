//! Why a scan could not be divided by a picture of the light table.

use crate::decode::DecodeError;

/// Why a scan could not be divided by a picture of the light table.
#[derive(Debug, thiserror::Error)]
pub enum FlatFieldError {
    /// The picture could not be read.
    #[error(transparent)]
    Decode(#[from] DecodeError),
    /// How codes follow light is not known, so nothing can be divided.
    #[error("the tone of {what} is unknown, and light can only be divided as linear light")]
    UnknownTone {
        /// Which picture.
        what: &'static str,
    },
    /// The picture is smaller than a field can be made of.
    #[error("it has {width} × {height} values, but a field needs at least {least} × {least}")]
    TooSmall {
        /// Values along a row.
        width: u32,
        /// Rows of values.
        height: u32,
        /// Fewest along each side.
        least: u32,
    },
    /// Two pictures differ in size.
    #[error("{what} has {width} × {height} pixels, but the scan has {scan_width} × {scan_height}")]
    OtherSize {
        /// Which picture.
        what: &'static str,
        /// Its pixels in a row.
        width: u32,
        /// Its rows.
        height: u32,
        /// Pixels in a row of the scan.
        scan_width: u32,
        /// Rows of the scan.
        scan_height: u32,
    },
    /// Two pictures were read in different channels, or have different mosaics.
    #[error("{what} was read as {found}, but the scan as {wanted}")]
    OtherChannel {
        /// Which picture.
        what: &'static str,
        /// Its channel.
        found: String,
        /// The scan's channel.
        wanted: String,
    },
    /// The picture of the light table reaches the end of the scale.
    #[error(
        "{percent:.1} % of the light table's picture is at the end of the scale, at most {most_percent} % may be"
    )]
    Clipped {
        /// Share of full pixels, in percent, where it is largest.
        percent: f64,
        /// Largest share allowed, in percent.
        most_percent: f64,
    },
    /// The light table is dark somewhere: a mask, a holder, an edge.
    #[error(
        "{dark_percent:.0} % of the light table's picture has less than {least_percent:.0} % of its brightest light"
    )]
    Dark {
        /// Share of the picture that is too dark, in percent.
        dark_percent: f64,
        /// Least light against the brightest place, in percent.
        least_percent: f64,
    },
    /// There is something on the light table.
    #[error(
        "the light table's picture is not smooth: {rough_percent:.0} % of it differs from what lies around it, at most {most_percent:.0} % may"
    )]
    NotBare {
        /// Share of the picture that differs, in percent.
        rough_percent: f64,
        /// Largest share allowed, in percent.
        most_percent: f64,
    },
    /// Light changes from place to place as in a picture.
    #[error(
        "the light table's picture shows structure: neighbouring parts differ by {percent:.1} %, at most {most_percent:.1} % may"
    )]
    Textured {
        /// Robust standard deviation between neighbours, in percent.
        percent: f64,
        /// Largest allowed, in percent.
        most_percent: f64,
    },
}
