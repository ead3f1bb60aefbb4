//! Raw frames of camera makers' own kinds.
//!
//! Their files are read by a decoder from outside, behind [`RawDecoder`]: this
//! room asks it for a sensor's numbers and what they mean, believes neither
//! before it has checked them, and lives on when the decoder breaks. Without
//! the feature `raw` there is no decoder, and such files are refused.
//!
//! Such a file can only be decoded whole: on opening, once, within
//! [`DecodeLimits::max_whole_bytes`]. Never rendered, white balanced or made
//! whole between pixels.
//!
//! DNG is read by this room itself, see `dng`.

#[cfg(feature = "raw")]
mod flashraw;
mod frame;

pub(crate) use frame::{FrameCodes, MakersFrame, walk};

use super::error::DecodeError;
use super::limits::DecodeLimits;
use super::opened::Opened;
use std::io::{Read, Seek, SeekFrom};

/// Name of the threads on which a decoder from outside runs.
///
/// It may panic there, which is caught and told as a refusal: a program can
/// leave such a panic out of what it prints.
pub const OUTSIDE_DECODER_THREAD: &str = "camera raw decoder";

/// What a decoder answers, or why it does not.
type Answer<T> = Result<T, String>;

/// How the reason of a file begins that another copy may mend.
const DAMAGED: &str = "it is damaged or cut short";

/// What to do about a kind that is not read.
const CONVERT: &str = "convert it to DNG without loss, or to a linear 16-bit TIFF";

/// Asked with a frame's width, height and samples to a pixel whether it may be decoded.
type Fits<'a> = &'a (dyn Fn(u32, u32, u32) -> Answer<()> + Sync);

/// Reads the raw files of camera makers.
pub(crate) trait RawDecoder {
    /// Gives the numbers of a file's first frame.
    ///
    /// It may allocate for `most_samples` numbers; `fits` is asked before they are decoded.
    fn frame(&self, file: &[u8], most_samples: u64, fits: Fits<'_>) -> Answer<MakersFrame>;
}

#[cfg(feature = "raw")]
fn decoder() -> Option<&'static dyn RawDecoder> {
    Some(&flashraw::Decoder)
}

#[cfg(not(feature = "raw"))]
fn decoder() -> Option<&'static dyn RawDecoder> {
    None
}

/// Decodes one frame of a maker's own kind of file.
pub(crate) fn open<R: Read + Seek>(
    source: &mut R,
    page: usize,
    limits: &DecodeLimits,
) -> Result<Opened, DecodeError> {
    let Some(decoder) = decoder() else {
        return Err(refused(
            "this program was built without a decoder for them (feature `raw`)",
        ));
    };
    if page > 0 {
        // Only cameras that take several exposures at once write more, and none of
        // these is a picture of its own.
        return Err(DecodeError::NoSuchPage {
            page,
            page_count: 1,
        });
    }
    let bytes = source.seek(SeekFrom::End(0))?;
    if bytes > limits.max_whole_bytes {
        return Err(DecodeError::TooLarge {
            what: "size of the camera's raw file in bytes",
            claimed: bytes,
            limit: limits.max_whole_bytes,
        });
    }
    source.seek(SeekFrom::Start(0))?;
    let mut file = Vec::new();
    source.take(bytes).read_to_end(&mut file)?;
    let fits = |width, height, samples| {
        frame::fits(width, height, samples, bytes, limits).map_err(|error| error.to_string())
    };
    let most_samples = limits.max_whole_bytes / frame::CODE_BYTES;
    let frame = decoder
        .frame(&file, most_samples, &fits)
        .map_err(|reason| refused(&reason))?;
    frame.opened().map_err(|reason| refused(&reason))
}

fn refused(reason: &str) -> DecodeError {
    let reason = if reason.starts_with(DAMAGED) {
        format!("{reason}; copy it again from the camera's card")
    } else {
        format!("{reason}; {CONVERT}")
    };
    DecodeError::MakersRaw { reason }
}

/// Tells the first bytes of files that are not TIFF's.
pub(crate) fn begins(first: &[u8]) -> bool {
    // Variants of TIFF with other numbers, and names of makers or their formats.
    let starts: [&[u8]; 8] = [
        b"IIRO",
        b"IIRS",
        b"MMOR",
        b"IIU\0",
        b"FUJIFILM",
        b"FOVb",
        b"\0MRM",
        b"II\x1A\0\0\0HE",
    ];
    // Films and pictures of telephones begin with the same kind of box.
    let boxed = first.get(4..12) == Some(b"ftypcrx ");
    boxed || starts.iter().any(|start| first.starts_with(start))
}
