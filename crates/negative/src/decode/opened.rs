//! A scan whose header was read: what it says, and how its rows are found.

use super::error::DecodeError;
use super::info::{Resolution, ScanInfo};
use super::jpeg::JpegLayout;
use super::limits::DecodeLimits;
use super::makers_raw::FrameCodes;
use super::orientation::Orientation;
use super::palette::Palette;
use super::png::PngLayout;
use super::tiff_layout::TiffLayout;

/// How the rows of each format are found again.
#[derive(Debug)]
pub(crate) enum Body {
    Tiff(TiffLayout),
    Png(PngLayout),
    Jpeg(JpegLayout),
    /// Decoded already.
    MakersRaw(FrameCodes),
}

/// What opening a file gives.
#[derive(Debug)]
pub(crate) struct Opened {
    /// What the file says, in the upright picture.
    pub(crate) info: ScanInfo,
    pub(crate) body: Body,
    pub(crate) orientation: Orientation,
    /// Width and height of the picture as stored.
    pub(crate) stored: (u32, u32),
    pub(crate) palette: Option<Palette>,
}

impl Opened {
    /// Takes what a header says of the stored picture and turns it upright.
    pub(crate) fn turned(mut info: ScanInfo, body: Body, orientation: Orientation) -> Self {
        let stored = (info.width, info.height);
        if orientation.swaps_sides() {
            (info.width, info.height) = (info.height, info.width);
            info.resolution = info.resolution.map(|r| Resolution {
                x_per_inch: r.y_per_inch,
                y_per_inch: r.x_per_inch,
            });
        }
        info.remarks.extend(orientation.remark());
        Self {
            info,
            body,
            orientation,
            stored,
            palette: None,
        }
    }

    /// Adds the palette that stored numbers are looked up in.
    pub(crate) fn with_palette(mut self, palette: Option<Palette>) -> Self {
        self.info
            .remarks
            .extend(palette.as_ref().map(Palette::remark));
        self.palette = palette;
        self
    }
}

/// Holds a picture's size against the limit.
pub(crate) fn check_pixels(
    width: u32,
    height: u32,
    limits: &DecodeLimits,
) -> Result<(), DecodeError> {
    let pixels = u64::from(width) * u64::from(height);
    if pixels > limits.max_pixels {
        return Err(DecodeError::TooLarge {
            what: "number of pixels",
            claimed: pixels,
            limit: limits.max_pixels,
        });
    }
    Ok(())
}

/// Holds a picture's decoded bytes against those that its file can hold.
pub(crate) fn check_ratio(
    claimed_bytes: u64,
    held_bytes: u64,
    limits: &DecodeLimits,
) -> Result<(), DecodeError> {
    let possible_bytes = held_bytes
        .saturating_mul(limits.max_ratio)
        .max(limits.ratio_free_bytes);
    if claimed_bytes > possible_bytes {
        return Err(DecodeError::ImplausibleSize {
            claimed_bytes,
            held_bytes,
            possible_bytes,
        });
    }
    Ok(())
}

/// Holds the size of a colour profile against the limit.
pub(crate) fn check_profile(bytes: u64, limits: &DecodeLimits) -> Result<(), DecodeError> {
    if bytes > limits.max_profile_bytes {
        return Err(DecodeError::TooLarge {
            what: "size of the ICC profile in bytes",
            claimed: bytes,
            limit: limits.max_profile_bytes,
        });
    }
    Ok(())
}
