//! A scan's file as rows of code values, and what to do when it can't be read.

use crate::AppError;
use crate::error::with_causes;
use negative::decode::{DecodeError, DecodeLimits, ScanReader};
use notebook::TestFolder;
use record::Scan;
use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

/// Buffer of a file being decoded, in bytes: a choice.
const READ_BUFFER: usize = 1 << 20;

/// Opens a scan's file; what never ends, a pipe or a device, is refused.
pub(crate) fn scan_file(path: &Path) -> Result<File, AppError> {
    let told = |e| AppError::file("opening", path, &e);
    let kind = std::fs::metadata(path).map_err(told)?.file_type();
    if !kind.is_file() && !kind.is_dir() {
        return Err(AppError::new(
            format!("{} is a pipe or a device", path.display()),
            "name a file",
        ));
    }
    File::open(path).map_err(told)
}

/// Reads the header of a scan's page, within the usual limits.
pub(crate) fn scan_reader<F: Read + Seek>(
    file: F,
    page: u32,
) -> Result<ScanReader<BufReader<F>>, DecodeError> {
    ScanReader::open(
        BufReader::with_capacity(READ_BUFFER, file),
        page as usize,
        &DecodeLimits::default(),
    )
}

/// The same of a scan of a test.
pub(crate) fn recorded_scan_reader(
    folder: &TestFolder,
    scan: &Scan,
) -> Result<ScanReader<BufReader<File>>, AppError> {
    scan_reader(folder.open_scan(scan)?, scan.page)
        .map_err(|e| scan_error(scan, &e, decode_remedy()))
}

/// The scan of a test that goes by a name.
pub(crate) fn named_scan<'a>(folder: &'a TestFolder, name: &str) -> Result<&'a Scan, AppError> {
    let scans = &folder.test.parts().scans;
    scans.iter().find(|s| s.id.as_str() == name).ok_or_else(|| {
        let known: Vec<&str> = scans.iter().map(|s| s.id.as_str()).collect();
        AppError::new(
            format!("the test has no scan {name:?}"),
            format!("its scans are {}", known.join(", ")),
        )
    })
}

/// A fault of a test's scan, with the scan's name and file.
pub(crate) fn scan_error(scan: &Scan, error: &dyn std::error::Error, remedy: &str) -> AppError {
    AppError::new(
        format!("scan {} ({}): {}", scan.id, scan.file, with_causes(error)),
        remedy,
    )
}

/// What to do about a scan that can't be read.
pub(crate) fn remedy_of(error: &DecodeError) -> &'static str {
    match error {
        DecodeError::NoSuchPage { .. } => "name one of its pages with --page, counted from 0",
        DecodeError::NoSuchChannel { .. } => {
            "name a channel it has with --channel, or leave it out"
        }
        DecodeError::Source(_) => "check that the file is there and may be read",
        _ => decode_remedy(),
    }
}

/// The same where the file itself is at fault.
pub(crate) fn decode_remedy() -> &'static str {
    "save the scan again as uncompressed 16-bit grey or RGB TIFF (a camera's raw file as uncompressed DNG), or copy the file again if it was cut short"
}
