//! A file whose reading is told.
//!
//! Decoding has no say in how far it is; the bytes it has asked for do.

use crate::Progress;
use std::fs::File;
use std::io::{Error, Read, Result, Seek, SeekFrom};

/// Bytes between two tellings. A scan of less is read before anybody looks.
const STEP: u64 = 4 << 20;

/// A file that tells how much of it was read, in megabytes, and ends with an
/// error when the work was asked to stop.
pub(crate) struct ToldFile<'a> {
    file: File,
    work: String,
    progress: &'a dyn Progress,
    size: u64,
    read: u64,
    told: u64,
}

impl<'a> ToldFile<'a> {
    pub(crate) fn new(file: File, work: String, progress: &'a dyn Progress) -> Self {
        let size = file.metadata().map_or(0, |m| m.len());
        let told = Self {
            file,
            work,
            progress,
            size,
            read: 0,
            told: 0,
        };
        told.tell();
        told
    }

    fn tell(&self) {
        let megabytes = |bytes: u64| bytes.div_ceil(1_000_000);
        // Bytes that were read twice are no further way.
        let read = self.read.min(self.size);
        self.progress
            .at(&self.work, megabytes(read), megabytes(self.size).max(1));
    }
}

impl Read for ToldFile<'_> {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        let count = self.file.read(out)?;
        self.read += count as u64;
        if self.read - self.told >= STEP {
            if self.progress.stop_asked() {
                return Err(Error::other("the work was stopped"));
            }
            self.told = self.read;
            self.tell();
        }
        Ok(count)
    }
}

impl Seek for ToldFile<'_> {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.file.seek(to)
    }
}
