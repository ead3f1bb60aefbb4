//! Takes the compression off a chunk, a piece at a time.
//!
//! [`ChunkStream`] gives decoded bytes on demand, so a strip that holds a whole
//! picture costs no more memory than a small one. A chunk is complete when the
//! caller has all the bytes the header promises; end codes are not asked for,
//! because valid writers leave them out.

use super::info::Compression;
use std::borrow::Cow;
use std::io::{Read, Seek, SeekFrom};

/// Compressed bytes fetched at a time.
const INPUT_PIECE: usize = 64 << 10;

/// Why a chunk gave fewer bytes than promised.
#[derive(Debug)]
pub(crate) enum StreamFault {
    /// The source failed.
    Source(std::io::Error),
    /// The file ends inside the chunk.
    FileEnds {
        /// Byte of the file that was wanted.
        needed: u64,
    },
    /// The data of the chunk ends or contradicts its code.
    Data(Cow<'static, str>),
}

impl From<std::io::Error> for StreamFault {
    fn from(error: std::io::Error) -> Self {
        Self::Source(error)
    }
}

enum Code {
    Stored,
    Lzw(weezl::decode::Decoder),
    Deflate(Box<flate2::Decompress>),
    PackBits(PackBits),
}

/// Where a PackBits stream stands between two pieces.
#[derive(Clone, Copy)]
enum PackBits {
    Header,
    Literal(usize),
    RunByte(usize),
    Run(usize, u8),
}

/// A chunk of a file, decoded on demand.
pub(crate) struct ChunkStream {
    code: Code,
    next_offset: u64,
    remaining: u64,
    input: Vec<u8>,
    taken: usize,
}

impl ChunkStream {
    /// Starts at `offset` of the source with `length` compressed bytes.
    pub(crate) fn new(compression: Compression, offset: u64, length: u64) -> Self {
        let code = match compression {
            Compression::Lzw => Code::Lzw(
                weezl::decode::Configuration::with_tiff_size_switch(weezl::BitOrder::Msb, 8)
                    .with_yield_on_full_buffer(true)
                    .build(),
            ),
            Compression::Deflate => Code::Deflate(Box::new(flate2::Decompress::new(true))),
            Compression::PackBits => Code::PackBits(PackBits::Header),
            Compression::Stored => Code::Stored,
            Compression::LossyJpeg
            | Compression::LosslessJpeg
            | Compression::Fax
            | Compression::MakersOwn => {
                unreachable!("JPEG, fax and makers' own chunks are decoded whole")
            }
        };
        Self {
            code,
            next_offset: offset,
            remaining: length,
            input: Vec::new(),
            taken: 0,
        }
    }

    /// Fills `out` with the next decoded bytes, all of it.
    ///
    /// On a fault the count says how many bytes were good.
    pub(crate) fn fill<R: Read + Seek>(
        &mut self,
        source: &mut R,
        out: &mut [u8],
    ) -> Result<(), (usize, StreamFault)> {
        let mut filled = 0;
        if matches!(self.code, Code::Stored) {
            return self.fill_stored(source, out);
        }
        while filled < out.len() {
            if self.taken == self.input.len() && self.remaining > 0 {
                self.fetch(source).map_err(|fault| (filled, fault))?;
            }
            let input = &self.input[self.taken..];
            let at_end = self.remaining == 0;
            let (took, gave) = match &mut self.code {
                Code::Stored => unreachable!("stored chunks are filled above"),
                Code::Lzw(decoder) => lzw_step(decoder, input, &mut out[filled..]),
                Code::Deflate(decoder) => deflate_step(decoder, input, &mut out[filled..]),
                Code::PackBits(state) => Ok(pack_bits_step(state, input, &mut out[filled..])),
            }
            .map_err(|fault| (filled, StreamFault::Data(fault.into())))?;
            self.taken += took;
            filled += gave;
            if took == 0 && gave == 0 && (at_end || !input.is_empty()) {
                return Err((
                    filled,
                    StreamFault::Data("compressed data ends too early".into()),
                ));
            }
        }
        Ok(())
    }

    fn fill_stored<R: Read + Seek>(
        &mut self,
        source: &mut R,
        out: &mut [u8],
    ) -> Result<(), (usize, StreamFault)> {
        go_to(source, self.next_offset).map_err(|e| (0, e.into()))?;
        let got = read_up_to(source, out).map_err(|e| (0, e.into()))?;
        if got < out.len() {
            let needed = self.next_offset + out.len() as u64;
            return Err((got, StreamFault::FileEnds { needed }));
        }
        self.next_offset += out.len() as u64;
        Ok(())
    }

    fn fetch<R: Read + Seek>(&mut self, source: &mut R) -> Result<(), StreamFault> {
        let want = usize::try_from(self.remaining.min(INPUT_PIECE as u64)).unwrap_or(INPUT_PIECE);
        self.input.resize(want, 0);
        self.taken = 0;
        go_to(source, self.next_offset)?;
        let got = read_up_to(source, &mut self.input)?;
        self.input.truncate(got);
        if got == 0 {
            return Err(StreamFault::FileEnds {
                needed: self.next_offset + want as u64,
            });
        }
        self.next_offset += got as u64;
        self.remaining -= got as u64;
        Ok(())
    }
}

/// Goes to a byte of the source without dropping what a buffer already holds.
pub(crate) fn go_to<R: Seek>(source: &mut R, offset: u64) -> std::io::Result<()> {
    let here = source.stream_position()?;
    match offset.checked_signed_diff(here) {
        Some(by) => source.seek_relative(by),
        None => source.seek(SeekFrom::Start(offset)).map(|_| ()),
    }
}

/// Reads until the buffer is full or the source ends; gives the count.
pub(crate) fn read_up_to<R: Read>(source: &mut R, out: &mut [u8]) -> std::io::Result<usize> {
    let mut got = 0;
    while got < out.len() {
        match source.read(&mut out[got..]) {
            Ok(0) => break,
            Ok(count) => got += count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(got)
}

fn lzw_step(
    decoder: &mut weezl::decode::Decoder,
    input: &[u8],
    out: &mut [u8],
) -> Result<(usize, usize), &'static str> {
    let result = decoder.decode_bytes(input, out);
    match result.status {
        Ok(weezl::LzwStatus::Done) if result.consumed_out < out.len() => {
            // An end code before the chunk is full: nothing more will come.
            if result.consumed_in == 0 && result.consumed_out == 0 {
                return Err("LZW end code before the chunk is full");
            }
            Ok((result.consumed_in, result.consumed_out))
        }
        Ok(_) => Ok((result.consumed_in, result.consumed_out)),
        Err(_) => Err("LZW code that was never defined"),
    }
}

fn deflate_step(
    decoder: &mut flate2::Decompress,
    input: &[u8],
    out: &mut [u8],
) -> Result<(usize, usize), &'static str> {
    let (in_before, out_before) = (decoder.total_in(), decoder.total_out());
    let status = decoder
        .decompress(input, out, flate2::FlushDecompress::None)
        .map_err(|_| "Deflate data is not valid")?;
    let took = usize::try_from(decoder.total_in() - in_before).unwrap_or(usize::MAX);
    let gave = usize::try_from(decoder.total_out() - out_before).unwrap_or(usize::MAX);
    if status == flate2::Status::StreamEnd && gave < out.len() && gave == 0 {
        return Err("Deflate data ends before the chunk is full");
    }
    Ok((took, gave))
}

/// Runs the PackBits code of TIFF 6.0, section 9.
fn pack_bits_step(state: &mut PackBits, input: &[u8], out: &mut [u8]) -> (usize, usize) {
    let (mut took, mut gave) = (0, 0);
    loop {
        match *state {
            PackBits::Header => {
                let Some(&header) = input.get(took) else {
                    break;
                };
                if gave == out.len() {
                    break;
                }
                took += 1;
                *state = match header {
                    0..=127 => PackBits::Literal(usize::from(header) + 1),
                    128 => PackBits::Header,
                    129..=255 => PackBits::RunByte(257 - usize::from(header)),
                };
            }
            PackBits::Literal(left) => {
                let count = left.min(input.len() - took).min(out.len() - gave);
                if count == 0 {
                    break;
                }
                out[gave..gave + count].copy_from_slice(&input[took..took + count]);
                took += count;
                gave += count;
                *state = if left == count {
                    PackBits::Header
                } else {
                    PackBits::Literal(left - count)
                };
            }
            PackBits::RunByte(left) => {
                let Some(&byte) = input.get(took) else { break };
                took += 1;
                *state = PackBits::Run(left, byte);
            }
            PackBits::Run(left, byte) => {
                let count = left.min(out.len() - gave);
                if count == 0 {
                    break;
                }
                out[gave..gave + count].fill(byte);
                gave += count;
                *state = if left == count {
                    PackBits::Header
                } else {
                    PackBits::Run(left - count, byte)
                };
            }
        }
    }
    (took, gave)
}
