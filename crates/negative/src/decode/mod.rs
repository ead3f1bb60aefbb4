//! Scan files to code values, row by row, with bounded memory.
//!
//! A file comes in as anything that can be read and sought; nothing is opened
//! here. TIFF is taken apart by this room itself: one path reads every layout
//! (strips and tiles, chunky and planar, packed bits), so nothing is silently
//! inverted, dropped or reordered on the way. PNG goes through the `png` crate row
//! by row, JPEG through `zune-jpeg`, whole, below a stated limit.
//!
//! Camera makers' own raw files go through a decoder from outside (`makers_raw`).
//! A camera's raw frame comes out as its sensor's numbers, cropped as the
//! file asks; a colour of its mosaic is the mean of that colour in each cell.
//!
//! Code values come out as stored, those of a palette as its entries. The picture
//! comes out upright where the file says how it lies. What codes mean for light is
//! `tone`'s matter.
//!
//! Begin with [`ScanReader`]; then [`ScanInfo`] for what a file says of itself.
//!
//! Source: TIFF Revision 6.0 (Adobe, 1992) and its supplement 2 (2002);
//! BigTIFF by common practice; Adobe's Digital Negative specification 1.6 (from
//! memory) for the tags of raw frames.

mod camera;
mod decompress;
mod dng;
mod error;
mod fax_rows;
mod info;
mod jpeg;
mod jpeg_data;
mod limits;
mod lossless_jpeg;
mod makers_raw;
mod opened;
mod orientation;
mod palette;
mod png;
mod reader;
mod sensor;
mod sensor_rows;
mod tiff_codes;
mod tiff_directory;
mod tiff_layout;
mod tiff_rows;
mod tiff_tone;
mod unpack;

pub use camera::{CameraSettings, SettingsDifference};
pub use error::DecodeError;
pub use info::{
    ChannelChoice, Codes, Colour, Compression, ExtraSample, Polarity, Resolution, SampleKind,
    ScanFormat, ScanInfo, ScanRow,
};
pub use limits::DecodeLimits;
pub use makers_raw::OUTSIDE_DECODER_THREAD;
pub use reader::ScanReader;
pub use sensor::{Mosaic, MosaicColour, SensorScale};
