//! What a scan file says of itself, and the shape in which its rows come out.

use super::camera::CameraSettings;
use super::sensor::{Mosaic, SensorScale};
use crate::tone::ToneEncoding;
use core::fmt;
use quantity::Flags;

/// File format of a scan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScanFormat {
    /// TIFF with 32-bit offsets.
    Tiff,
    /// TIFF with 64-bit offsets.
    BigTiff,
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
    /// A camera maker's own kind of raw file.
    CameraRaw,
}

impl fmt::Display for ScanFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Tiff => "TIFF",
            Self::BigTiff => "BigTIFF",
            Self::Png => "PNG",
            Self::Jpeg => "JPEG",
            Self::CameraRaw => "camera raw",
        })
    }
}

/// How the samples of a file come out as numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SampleKind {
    /// Whole numbers from 0 to 2^bits − 1.
    Unsigned,
    /// Numbers with 0 to 1 as the scale: floating-point samples as stored; whole
    /// numbers of more than 16 bits, and signed ones, divided by their largest.
    Float,
}

/// What the colour samples of a file are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Colour {
    /// One sample of grey.
    Grey,
    /// Red, green, blue.
    Rgb,
    /// One sample behind a mosaic of colour filters (a camera's raw frame).
    Mosaic,
}

/// Which end of the code scale the file says is dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Polarity {
    /// Code 0 is no light.
    BlackIsZero,
    /// Code 0 is full light (TIFF "min is white"); codes are still as stored.
    WhiteIsZero,
}

/// A sample beside the colour samples. It is never mixed into them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExtraSample {
    /// Alpha with which the colour was multiplied.
    AssociatedAlpha,
    /// Alpha that left the colour alone.
    UnassociatedAlpha,
    /// Unspecified; in a film scan usually the scanner's infrared channel.
    Unspecified,
}

/// Compression of the picture data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compression {
    /// None.
    Stored,
    /// LZW, most significant bit first.
    Lzw,
    /// Deflate (zlib), also PNG's.
    Deflate,
    /// PackBits run lengths.
    PackBits,
    /// JPEG's lossless mode, in raw frames of cameras.
    LosslessJpeg,
    /// JPEG's lossy compression.
    LossyJpeg,
    /// A camera maker's own code, which may lose something or not.
    MakersOwn,
    /// A fax code (CCITT group 3 or 4): black and white only.
    Fax,
}

/// Sampling of a scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resolution {
    /// Pixels to the inch along a row.
    pub x_per_inch: f64,
    /// Pixels to the inch down a column.
    pub y_per_inch: f64,
}

/// What a scan file says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct ScanInfo {
    /// File format.
    pub format: ScanFormat,
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Bits of a stored sample: 1 to 16, 24, 32 or 64; of a palette, those of its
    /// entries.
    pub bits: u8,
    /// How samples come out as numbers.
    pub sample_kind: SampleKind,
    /// What the colour samples are.
    pub colour: Colour,
    /// Samples beside the colour, in file order.
    pub extra_samples: Vec<ExtraSample>,
    /// Which end of the scale the file says is dark.
    pub polarity: Polarity,
    /// Page read, counted from 0.
    pub page: usize,
    /// Images in the file.
    pub page_count: usize,
    /// ICC profile, as stored.
    pub icc_profile: Option<Vec<u8>>,
    /// Tone named by a PNG's own chunks (cICP, sRGB, gAMA).
    pub chunk_tone: Option<ToneEncoding>,
    /// Tables of light by code value of a TIFF's transfer function: none, one, or
    /// one for each colour.
    pub transfer_function: Vec<Vec<u16>>,
    /// Sampling, when the file gives it with a unit of length.
    pub resolution: Option<Resolution>,
    /// Compression of the picture data.
    pub compression: Compression,
    /// Colours of a camera's filter mosaic, when the file names them.
    pub mosaic: Option<Mosaic>,
    /// Black and white level of a camera's raw frame, when the file gives them.
    pub sensor: Option<SensorScale>,
    /// How the camera was set, when the file tells.
    pub camera: Option<CameraSettings>,
    /// Flags of the file as such: several images, lossy, black and white only.
    pub flags: Flags,
    /// What a reader should know of how the file was read, as sentences.
    pub remarks: Vec<String>,
}

impl ScanInfo {
    /// Gives the largest code on the scale of [`Codes`]: 2^bits − 1, the white
    /// level of a raw frame, and 65535 for samples that come out as floats, whose
    /// 0 to 1 is spread over that scale in statistics.
    #[must_use]
    pub fn code_max(&self) -> u16 {
        match (&self.sensor, self.sample_kind) {
            (Some(sensor), _) => sensor.white,
            (None, SampleKind::Float) => u16::MAX,
            (None, SampleKind::Unsigned) => code_max_of(self.bits),
        }
    }

    /// Gives the pixels from one code of a channel to the next, along a row and
    /// from row to row: the side of the mosaic's cell, or 1.
    #[must_use]
    pub fn steps(&self, channel: ChannelChoice) -> (u32, u32) {
        match (&self.mosaic, channel) {
            (Some(mosaic), _) => (mosaic.columns(), mosaic.rows()),
            (None, ChannelChoice::MosaicPhase { .. }) => (2, 2),
            (None, _) => (1, 1),
        }
    }
}

/// Gives 2^bits − 1 for 1 to 16 bits.
pub(crate) fn code_max_of(bits: u8) -> u16 {
    assert!(
        (1..=16).contains(&bits),
        "codes have 1 to 16 bits, found {bits}"
    );
    u16::try_from((1_u32 << bits) - 1).unwrap_or(u16::MAX)
}

/// Which of a file's samples to read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChannelChoice {
    /// The one sample of a grey file.
    Grey,
    /// Red of a colour file.
    Red,
    /// Green of a colour file.
    Green,
    /// Blue of a colour file.
    Blue,
    /// Mean of red, green and blue code values, rounded to the nearest code.
    Mean,
    /// An extra sample, counted from 0: the scanner's infrared channel.
    Extra(usize),
    /// One place of a mosaic's cell: the pixels whose y % 2 is `row` and x % 2
    /// is `column` (for a cell of other sides, those). Coordinates stay those of
    /// the picture.
    MosaicPhase {
        /// 0 or 1.
        row: u8,
        /// 0 or 1.
        column: u8,
    },
}

impl fmt::Display for ChannelChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Grey => f.write_str("grey"),
            Self::Red => f.write_str("red"),
            Self::Green => f.write_str("green"),
            Self::Blue => f.write_str("blue"),
            Self::Mean => f.write_str("mean of red, green and blue"),
            Self::Extra(index) => write!(f, "extra:{}", index + 1),
            Self::MosaicPhase { row, column } => write!(f, "mosaic row {row} column {column}"),
        }
    }
}

/// Code values of one row, as stored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Codes<'a> {
    /// Unsigned codes, 0 to [`ScanInfo::code_max`].
    Unsigned(&'a [u16]),
    /// Float samples; can be NaN if the file says so.
    Float(&'a [f32]),
}

impl Codes<'_> {
    /// Gives the number of codes.
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            Self::Unsigned(codes) => codes.len(),
            Self::Float(codes) => codes.len(),
        }
    }

    /// Tells whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Gives one code on the whole-number scale; floats are clamped to 0..1 and
    /// spread over 0..65535. `None` for NaN.
    #[must_use]
    pub fn at(&self, index: usize) -> Option<u16> {
        match self {
            Self::Unsigned(codes) => codes.get(index).copied(),
            Self::Float(codes) => codes.get(index).and_then(|v| code_from_float(*v)),
        }
    }
}

/// Spreads a float sample over the 16-bit scale; `None` for NaN.
pub(crate) fn code_from_float(value: f32) -> Option<u16> {
    if value.is_nan() {
        return None;
    }
    Some((f64::from(value).clamp(0.0, 1.0) * 65535.0 + 0.5) as u16)
}

/// One row of the channel asked for.
///
/// The i-th code lies at column `x_first + i × x_step` of the full file.
#[derive(Clone, Copy, Debug)]
pub struct ScanRow<'a> {
    /// Row in the full file, counted from 0 at the top.
    pub y: u32,
    /// Column of the first code.
    pub x_first: u32,
    /// Columns from one code to the next: 1, or the side of a mosaic's cell.
    pub x_step: u32,
    /// The code values.
    pub codes: Codes<'a>,
}
