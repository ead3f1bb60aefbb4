//! The directories of a TIFF or BigTIFF file: header, chain, tags.
//!
//! No value is allocated before its bytes are known to lie inside the file.
//! A chain that bites its own tail ends with an error.

use super::error::DecodeError;
use super::info::ScanFormat;
use super::limits::DecodeLimits;
use std::io::{Read, Seek, SeekFrom};

/// Most tags of one directory; TIFF writers use a few dozen.
const MAX_TAGS: u64 = 4096;

/// Numbers of the tags that are looked at.
pub(crate) mod tag {
    pub(crate) const NEW_SUBFILE_TYPE: u16 = 254;
    pub(crate) const IMAGE_WIDTH: u16 = 256;
    pub(crate) const IMAGE_LENGTH: u16 = 257;
    pub(crate) const BITS_PER_SAMPLE: u16 = 258;
    pub(crate) const COMPRESSION: u16 = 259;
    pub(crate) const PHOTOMETRIC: u16 = 262;
    pub(crate) const FILL_ORDER: u16 = 266;
    pub(crate) const STRIP_OFFSETS: u16 = 273;
    pub(crate) const ORIENTATION: u16 = 274;
    pub(crate) const SAMPLES_PER_PIXEL: u16 = 277;
    pub(crate) const ROWS_PER_STRIP: u16 = 278;
    pub(crate) const STRIP_BYTE_COUNTS: u16 = 279;
    pub(crate) const X_RESOLUTION: u16 = 282;
    pub(crate) const Y_RESOLUTION: u16 = 283;
    pub(crate) const PLANAR_CONFIGURATION: u16 = 284;
    pub(crate) const RESOLUTION_UNIT: u16 = 296;
    pub(crate) const GRAY_RESPONSE_CURVE: u16 = 291;
    pub(crate) const T4_OPTIONS: u16 = 292;
    pub(crate) const TRANSFER_FUNCTION: u16 = 301;
    pub(crate) const PREDICTOR: u16 = 317;
    pub(crate) const COLOR_MAP: u16 = 320;
    pub(crate) const TILE_WIDTH: u16 = 322;
    pub(crate) const TILE_LENGTH: u16 = 323;
    pub(crate) const TILE_OFFSETS: u16 = 324;
    pub(crate) const TILE_BYTE_COUNTS: u16 = 325;
    pub(crate) const SUB_DIRECTORIES: u16 = 330;
    pub(crate) const EXTRA_SAMPLES: u16 = 338;
    pub(crate) const SAMPLE_FORMAT: u16 = 339;
    pub(crate) const TRANSFER_RANGE: u16 = 342;
    pub(crate) const JPEG_TABLES: u16 = 347;
    pub(crate) const CFA_REPEAT: u16 = 33421;
    pub(crate) const CFA_PATTERN: u16 = 33422;
    pub(crate) const ICC_PROFILE: u16 = 34675;
    pub(crate) const DNG_VERSION: u16 = 50706;
    pub(crate) const LINEARIZATION_TABLE: u16 = 50712;
    pub(crate) const BLACK_LEVEL_REPEAT: u16 = 50713;
    pub(crate) const BLACK_LEVEL: u16 = 50714;
    pub(crate) const BLACK_LEVEL_DELTA_H: u16 = 50715;
    pub(crate) const BLACK_LEVEL_DELTA_V: u16 = 50716;
    pub(crate) const WHITE_LEVEL: u16 = 50717;
    pub(crate) const DEFAULT_CROP_ORIGIN: u16 = 50719;
    pub(crate) const DEFAULT_CROP_SIZE: u16 = 50720;
    pub(crate) const ACTIVE_AREA: u16 = 50829;
}

/// One tag: its type, its count and where its bytes lie.
#[derive(Clone, Copy, Debug)]
struct Entry {
    tag: u16,
    kind: u16,
    count: u64,
    offset: u64,
}

/// One directory of a TIFF file, tied to the file it was read from.
#[derive(Debug)]
pub(crate) struct Directory {
    entries: Vec<Entry>,
    pub(crate) format: ScanFormat,
    pub(crate) big_endian: bool,
    pub(crate) file_bytes: u64,
}

/// The directories of a file in chain order; only offsets are kept.
#[derive(Debug)]
pub(crate) struct Chain {
    format: ScanFormat,
    big_endian: bool,
    file_bytes: u64,
    offsets: Vec<u64>,
}

impl Chain {
    /// Reads the header and follows the chain to its end.
    pub(crate) fn read<R: Read + Seek>(
        source: &mut R,
        limits: &DecodeLimits,
    ) -> Result<Self, DecodeError> {
        let file_bytes = source.seek(SeekFrom::End(0))?;
        source.seek(SeekFrom::Start(0))?;
        let mut head = [0; 16];
        let got = super::decompress::read_up_to(source, &mut head)?;
        let fault = |fault: String| DecodeError::Malformed {
            format: ScanFormat::Tiff,
            fault,
        };
        if got < 8 {
            return Err(fault(format!(
                "a header has at least 8 bytes, the file has {got}"
            )));
        }
        let big_endian = &head[..2] == b"MM";
        let mut chain = Self {
            format: ScanFormat::Tiff,
            big_endian,
            file_bytes,
            offsets: Vec::new(),
        };
        let first = match chain.number(&head[2..4]) {
            42 => chain.number(&head[4..8]),
            43 => {
                chain.format = ScanFormat::BigTiff;
                let (size, zero) = (chain.number(&head[4..6]), chain.number(&head[6..8]));
                if got < 16 || size != 8 || zero != 0 {
                    return Err(fault(format!(
                        "a BigTIFF header has 16 bytes, offset size 8 and 0, found {got}, {size} and {zero}"
                    )));
                }
                chain.number(&head[8..16])
            }
            magic => {
                return Err(fault(format!(
                    "the magic number is 42 or 43, found {magic}"
                )));
            }
        };
        let mut next = first;
        while next != 0 {
            if chain.offsets.contains(&next) {
                return Err(chain.fault(format!("the chain of directories returns to byte {next}")));
            }
            if chain.offsets.len() == limits.max_pages {
                return Err(DecodeError::TooLarge {
                    what: "number of images in the file",
                    claimed: chain.offsets.len() as u64 + 1,
                    limit: limits.max_pages as u64,
                });
            }
            chain.offsets.push(next);
            next = match chain.directory_frame(source, next) {
                Ok((_, _, following)) => following,
                // The first directory must be whole; a later one that lies
                // outside the file ends the chain, as in a file cut short.
                Err(error) if chain.offsets.len() == 1 => return Err(error),
                Err(_) => 0,
            };
        }
        if chain.offsets.is_empty() {
            return Err(chain.fault("the file names no directory".to_owned()));
        }
        Ok(chain)
    }

    /// Gives the number of images.
    pub(crate) fn len(&self) -> usize {
        self.offsets.len()
    }

    /// Reads one directory.
    pub(crate) fn directory<R: Read + Seek>(
        &self,
        source: &mut R,
        page: usize,
    ) -> Result<Directory, DecodeError> {
        let Some(&offset) = self.offsets.get(page) else {
            return Err(DecodeError::NoSuchPage {
                page,
                page_count: self.len(),
            });
        };
        self.directory_at(source, offset)
    }

    /// Reads the directory at a byte of the file: one of the chain, or one that
    /// another directory names.
    pub(crate) fn directory_at<R: Read + Seek>(
        &self,
        source: &mut R,
        offset: u64,
    ) -> Result<Directory, DecodeError> {
        let (bytes, first_entry, _) = self.directory_frame(source, offset)?;
        let big = self.format == ScanFormat::BigTiff;
        let entry_bytes = if big { 20 } else { 12 };
        let inline_bytes: u64 = if big { 8 } else { 4 };
        let mut entries = Vec::with_capacity(bytes.len() / entry_bytes);
        for (index, raw) in bytes.chunks_exact(entry_bytes).enumerate() {
            let kind = self.number(&raw[2..4]) as u16;
            let (count, value) = if big {
                (&raw[4..12], &raw[12..20])
            } else {
                (&raw[4..8], &raw[8..12])
            };
            let count = self.number(count);
            let inline = count
                .checked_mul(type_bytes(kind))
                .is_some_and(|bytes| bytes <= inline_bytes);
            let here =
                first_entry + (index * entry_bytes) as u64 + (entry_bytes as u64 - inline_bytes);
            let offset = if inline { here } else { self.number(value) };
            entries.push(Entry {
                tag: self.number(&raw[..2]) as u16,
                kind,
                count,
                offset,
            });
        }
        Ok(Directory {
            entries,
            format: self.format,
            big_endian: self.big_endian,
            file_bytes: self.file_bytes,
        })
    }

    /// Gives a directory's entries as bytes, where they begin, and the offset
    /// of the next directory.
    fn directory_frame<R: Read + Seek>(
        &self,
        source: &mut R,
        offset: u64,
    ) -> Result<(Vec<u8>, u64, u64), DecodeError> {
        let big = self.format == ScanFormat::BigTiff;
        let (count_bytes, entry_bytes, next_bytes) = if big { (8, 20, 8) } else { (2, 12, 4) };
        let outside = || {
            self.fault(format!(
                "a directory at byte {offset} lies outside the file's {} bytes",
                self.file_bytes
            ))
        };
        if offset
            .checked_add(count_bytes)
            .is_none_or(|end| end > self.file_bytes)
        {
            return Err(outside());
        }
        let count = self.number(&bytes_at(source, offset, count_bytes as usize)?);
        if count == 0 || count > MAX_TAGS {
            return Err(self.fault(format!(
                "a directory has 1 to {MAX_TAGS} tags, found {count} at byte {offset}"
            )));
        }
        let first_entry = offset + count_bytes;
        let end = first_entry + count * entry_bytes;
        if end > self.file_bytes {
            return Err(outside());
        }
        let bytes = bytes_at(source, first_entry, (count * entry_bytes) as usize)?;
        // Some writers leave the last offset away; then the chain ends here.
        let next = if end + next_bytes <= self.file_bytes {
            self.number(&bytes_at(source, end, next_bytes as usize)?)
        } else {
            0
        };
        Ok((bytes, first_entry, next))
    }

    fn number(&self, bytes: &[u8]) -> u64 {
        number(bytes, self.big_endian)
    }

    fn fault(&self, fault: String) -> DecodeError {
        DecodeError::Malformed {
            format: self.format,
            fault,
        }
    }
}

impl Directory {
    /// Gives the whole numbers of a tag, at most `most` of them; empty when the
    /// tag is missing.
    pub(crate) fn numbers<R: Read + Seek>(
        &self,
        source: &mut R,
        tag: u16,
        most: u64,
    ) -> Result<Vec<u64>, DecodeError> {
        let Some(entry) = self.entry(tag) else {
            return Ok(Vec::new());
        };
        if !matches!(entry.kind, 1 | 3 | 4 | 13 | 16 | 18) {
            return Err(self.fault(format!(
                "tag {tag} has type {}, whole numbers were expected",
                entry.kind
            )));
        }
        let size = type_bytes(entry.kind);
        let bytes = self.bytes_of(source, entry, entry.count.min(most))?;
        Ok(bytes
            .chunks_exact(size as usize)
            .map(|raw| number(raw, self.big_endian))
            .collect())
    }

    /// Gives the numbers of a tag, whole or ratios, at most `most` of them; empty
    /// when the tag is missing. A ratio over nothing is NaN or infinite.
    pub(crate) fn values<R: Read + Seek>(
        &self,
        source: &mut R,
        tag: u16,
        most: u64,
    ) -> Result<Vec<f64>, DecodeError> {
        let Some(entry) = self.entry(tag) else {
            return Ok(Vec::new());
        };
        let signed = entry.kind == 10;
        if !signed && entry.kind != 5 {
            let whole = self.numbers(source, tag, most)?;
            return Ok(whole.into_iter().map(|v| v as f64).collect());
        }
        let part = |raw: &[u8]| {
            let word = number(raw, self.big_endian) as u32;
            if signed {
                f64::from(word.cast_signed())
            } else {
                f64::from(word)
            }
        };
        let bytes = self.bytes_of(source, entry, entry.count.min(most))?;
        Ok(bytes
            .chunks_exact(8)
            .map(|raw| part(&raw[..4]) / part(&raw[4..]))
            .collect())
    }

    /// Gives the first whole number of a tag.
    pub(crate) fn first_number<R: Read + Seek>(
        &self,
        source: &mut R,
        tag: u16,
    ) -> Result<Option<u64>, DecodeError> {
        Ok(self.numbers(source, tag, 1)?.first().copied())
    }

    /// Gives the one ratio of a tag; `None` when missing or without meaning.
    pub(crate) fn ratio<R: Read + Seek>(
        &self,
        source: &mut R,
        tag: u16,
    ) -> Result<Option<f64>, DecodeError> {
        let Some(entry) = self.entry(tag).filter(|e| e.kind == 5 && e.count >= 1) else {
            return Ok(None);
        };
        let bytes = self.bytes_of(source, entry, 1)?;
        let (above, below) = bytes.split_at(4);
        let ratio = number(above, self.big_endian) as f64 / number(below, self.big_endian) as f64;
        Ok(Some(ratio).filter(|r| r.is_finite() && *r > 0.0))
    }

    /// Gives the bytes of a tag of bytes; `None` when missing.
    pub(crate) fn blob<R: Read + Seek>(
        &self,
        source: &mut R,
        tag: u16,
        what: &'static str,
        limit: u64,
    ) -> Result<Option<Vec<u8>>, DecodeError> {
        let Some(entry) = self.entry(tag).filter(|e| matches!(e.kind, 1 | 7)) else {
            return Ok(None);
        };
        if entry.count > limit {
            return Err(DecodeError::TooLarge {
                what,
                claimed: entry.count,
                limit,
            });
        }
        self.bytes_of(source, entry, entry.count).map(Some)
    }

    /// Gives the text of a tag, at most `most` bytes of it, up to its end; `None` when
    /// missing or of other bytes than ASCII.
    pub(crate) fn text<R: Read + Seek>(
        &self,
        source: &mut R,
        tag: u16,
        most: usize,
    ) -> Result<Option<String>, DecodeError> {
        let Some(entry) = self.entry(tag).filter(|e| e.kind == 2) else {
            return Ok(None);
        };
        let mut bytes = self.bytes_of(source, entry, entry.count.min(most as u64))?;
        if let Some(end) = bytes.iter().position(|byte| *byte == 0) {
            bytes.truncate(end);
        }
        Ok(String::from_utf8(bytes).ok().filter(|text| text.is_ascii()))
    }

    pub(crate) fn fault(&self, fault: String) -> DecodeError {
        DecodeError::Malformed {
            format: self.format,
            fault,
        }
    }

    pub(crate) fn refused(&self, reason: String) -> DecodeError {
        DecodeError::Unsupported {
            format: self.format,
            reason,
        }
    }

    pub(crate) fn has(&self, tag: u16) -> bool {
        self.entry(tag).is_some()
    }

    fn entry(&self, tag: u16) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.tag == tag)
    }

    fn bytes_of<R: Read + Seek>(
        &self,
        source: &mut R,
        entry: &Entry,
        count: u64,
    ) -> Result<Vec<u8>, DecodeError> {
        let end = |count: u64| {
            count
                .checked_mul(type_bytes(entry.kind))
                .and_then(|bytes| entry.offset.checked_add(bytes))
        };
        match (end(entry.count), end(count)) {
            (Some(all), Some(end)) if all <= self.file_bytes => {
                bytes_at(source, entry.offset, (end - entry.offset) as usize)
            }
            _ => Err(self.fault(format!(
                "tag {} names {} values at byte {}, but the file has {} bytes",
                entry.tag, entry.count, entry.offset, self.file_bytes
            ))),
        }
    }
}

/// Reads bytes that are known to lie inside the file.
fn bytes_at<R: Read + Seek>(
    source: &mut R,
    offset: u64,
    count: usize,
) -> Result<Vec<u8>, DecodeError> {
    super::decompress::go_to(source, offset)?;
    let mut bytes = vec![0; count];
    source.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// Reads an unsigned number of up to 8 bytes.
fn number(bytes: &[u8], big_endian: bool) -> u64 {
    let join = |sum: u64, byte: &u8| sum << 8 | u64::from(*byte);
    if big_endian {
        bytes.iter().fold(0, join)
    } else {
        bytes.iter().rev().fold(0, join)
    }
}

/// Bytes of one value of a TIFF type; 1 for a type that is not known.
fn type_bytes(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 | 16 | 17 | 18 => 8,
        _ => 1,
    }
}
