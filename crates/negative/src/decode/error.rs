//! Why a scan file could not be read.

use super::info::ScanFormat;

/// Why a scan file could not be read, or not to its end.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// The file holds nothing.
    #[error("the file is empty")]
    Empty,
    /// The first bytes belong to no format that is read here.
    #[error("not a TIFF, PNG or JPEG file: its first bytes are {first_bytes}")]
    UnknownFormat {
        /// The first bytes in hexadecimal.
        first_bytes: String,
    },
    /// A camera's raw file of its maker's own kind that is not read.
    #[error("a camera's raw file of its maker's own kind is not read: {reason}")]
    MakersRaw {
        /// What stands against it, and what to do.
        reason: String,
    },
    /// The source handed in failed.
    #[error("the file could not be read")]
    Source(#[from] std::io::Error),
    /// A field of the file contradicts the format or another field.
    #[error("{format} file is malformed: {fault}")]
    Malformed {
        /// Format of the file.
        format: ScanFormat,
        /// What was found and what was expected.
        fault: String,
    },
    /// A legal file of a kind that is not read here.
    #[error("{format} file is not read: {reason}")]
    Unsupported {
        /// Format of the file.
        format: ScanFormat,
        /// Which property is not read, with what would be.
        reason: String,
    },
    /// The file ends before its picture does.
    #[error(
        "the file is cut short: {rows_complete} of {rows} rows are complete, \
         the next needs the file to reach byte {needed_bytes}, it ends at {file_bytes}"
    )]
    CutShort {
        /// Rows that can be read in full.
        rows_complete: u32,
        /// Rows of the picture.
        rows: u32,
        /// Bytes the file should have for the next rows.
        needed_bytes: u64,
        /// Bytes the file has.
        file_bytes: u64,
    },
    /// Compressed data stops or breaks before the picture is complete.
    #[error("the picture data is damaged after {rows_complete} of {rows} rows: {fault}")]
    Damaged {
        /// Rows that were read before the damage.
        rows_complete: u32,
        /// Rows of the picture.
        rows: u32,
        /// What the decoder met.
        fault: String,
    },
    /// More than the limits allow.
    #[error("{what} is {claimed}, but the limit is {limit}")]
    TooLarge {
        /// What is too large, with its unit.
        what: &'static str,
        /// The number the file claims.
        claimed: u64,
        /// The number allowed.
        limit: u64,
    },
    /// The header claims a picture that the file's bytes cannot hold.
    #[error(
        "the header claims {claimed_bytes} bytes of picture, \
         but the {held_bytes} bytes of data in the file can hold at most {possible_bytes}"
    )]
    ImplausibleSize {
        /// Decoded bytes claimed.
        claimed_bytes: u64,
        /// Compressed bytes in the file.
        held_bytes: u64,
        /// Decoded bytes that so much data can give.
        possible_bytes: u64,
    },
    /// The page asked for does not exist.
    #[error("page {page} was asked for (counted from 0), but the file has {page_count}")]
    NoSuchPage {
        /// Page asked for, counted from 0.
        page: usize,
        /// Pages in the file.
        page_count: usize,
    },
    /// The channel asked for does not exist.
    #[error("channel {choice} was asked for, but the file has {available}")]
    NoSuchChannel {
        /// Channel asked for.
        choice: String,
        /// What the file has.
        available: String,
    },
}
