//! Walks the rows of a TIFF image.
//!
//! Small strips and tiles are decoded a batch at a time on all cores; a strip
//! larger than a batch (often the whole picture) is streamed. Either way a few
//! megabytes are held, and rows come out in order from the top.

use super::decompress::{ChunkStream, StreamFault, go_to};
use super::error::DecodeError;
use super::fax_rows;
use super::info::{Codes, Compression};
use super::tiff_layout::{ChunkCode, TiffLayout};
use super::unpack::{CodeBuffer, Pick, RowLayout};
use super::{jpeg_data, lossless_jpeg};
use rayon::prelude::*;
use std::io::{Cursor, Read, Seek};

/// Decoded bytes that are worked on at a time.
const BATCH_BYTES: u64 = 8 << 20;

/// Hands every row of the picked sample to `visit`, from the top.
pub(crate) fn walk<R: Read + Seek>(
    source: &mut R,
    layout: &TiffLayout,
    pick: Pick,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    let (planes, pick) = planes_of(layout, pick);
    if layout.tiled {
        walk_tiles(source, layout, &planes, pick, visit)
    } else if layout.streams() && layout.held_bytes(0) > BATCH_BYTES {
        walk_large_strips(source, layout, &planes, pick, visit)
    } else {
        walk_strips(source, layout, &planes, pick, visit)
    }
}

/// Gives the planes to fetch, and the pick inside what they are joined to.
fn planes_of(layout: &TiffLayout, pick: Pick) -> (Vec<usize>, Pick) {
    match (layout.planar, pick) {
        (false, pick) => (vec![0], pick),
        (true, Pick::One(sample)) => (vec![sample], Pick::One(0)),
        (true, Pick::MeanOfThree) => (vec![0, 1, 2], Pick::MeanOfThree),
    }
}

/// Compressed bytes of one chunk in each plane, with the rows they stand for.
struct Job {
    down: u32,
    across: u32,
    rows: u32,
    planes: Vec<Vec<u8>>,
}

fn walk_strips<R: Read + Seek>(
    source: &mut R,
    layout: &TiffLayout,
    planes: &[usize],
    pick: Pick,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    let per_batch =
        (BATCH_BYTES / (layout.held_bytes(0) * planes.len() as u64).max(1)).clamp(1, 4096);
    let mut first = 0_u32;
    let mut ready: Option<(u32, Vec<Decoded>)> = None;
    loop {
        let last = layout.down.min(first.saturating_add(per_batch as u32));
        let mut jobs = Vec::with_capacity((last - first) as usize);
        for down in first..last {
            jobs.push(job(source, layout, planes, down, 0)?);
        }
        if jobs.is_empty() && ready.is_none() {
            return Ok(());
        }
        // The next batch is decoded while the caller looks at this one.
        let mut next = None;
        rayon::in_place_scope(|scope| {
            if !jobs.is_empty() {
                scope.spawn(|_| {
                    let decoded = jobs.into_par_iter().map(|job| decode(layout, job, pick));
                    next = Some((first, decoded.collect()));
                });
            }
            let Some((first, decoded)) = ready.take() else {
                return Ok(());
            };
            for (down, codes) in (first..).zip(decoded) {
                let y = down * layout.chunk_height;
                let codes = codes.map_err(|(rows, fault)| layout.error(y + rows, fault))?;
                visit_rows(&codes, layout.width, y, visit);
            }
            Ok::<(), DecodeError>(())
        })?;
        ready = next;
        first = last;
    }
}

fn walk_tiles<R: Read + Seek>(
    source: &mut R,
    layout: &TiffLayout,
    planes: &[usize],
    pick: Pick,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    let width = layout.width as usize;
    let per_batch =
        (BATCH_BYTES / (layout.held_bytes(0) * planes.len() as u64).max(1)).clamp(1, 4096) as u32;
    for down in 0..layout.down {
        let y = down * layout.chunk_height;
        let rows = layout.rows_at(down) as usize;
        let mut band = CodeBuffer::with_len(layout.rows.spread(), width * rows);
        let mut first = 0_u32;
        while first < layout.across {
            let last = layout.across.min(first.saturating_add(per_batch));
            let mut jobs = Vec::with_capacity((last - first) as usize);
            for across in first..last {
                jobs.push(job(source, layout, planes, down, across)?);
            }
            let decoded: Vec<Decoded> = jobs
                .into_par_iter()
                .map(|job| decode(layout, job, pick))
                .collect();
            for (across, codes) in (first..).zip(decoded) {
                let codes = codes.map_err(|(_, fault)| layout.error(y, fault))?;
                place_tile(
                    &codes,
                    &mut band,
                    layout.rows.columns,
                    across as usize,
                    width,
                );
            }
            first = last;
        }
        visit_rows(&band, layout.width, y, visit);
    }
    Ok(())
}

fn walk_large_strips<R: Read + Seek>(
    source: &mut R,
    layout: &TiffLayout,
    planes: &[usize],
    pick: Pick,
    visit: &mut dyn FnMut(u32, Codes<'_>),
) -> Result<(), DecodeError> {
    let row_bytes = layout.rows.row_bytes();
    let rows_at_once = (BATCH_BYTES / 4 / layout.held_bytes_of_row()).max(1) as usize;
    let mut bytes = vec![vec![0; rows_at_once * row_bytes]; planes.len()];
    for down in 0..layout.down {
        let mut streams: Vec<_> = planes
            .iter()
            .map(|plane| {
                let chunk = layout.chunk(*plane, down, 0);
                ChunkStream::new(
                    layout.compression,
                    layout.offsets[chunk],
                    layout.byte_counts[chunk],
                )
            })
            .collect();
        let first_row = down * layout.chunk_height;
        let rows = layout.rows_at(down) as usize;
        let mut done = 0;
        while done < rows {
            let now = rows_at_once.min(rows - done);
            let y = first_row + done as u32;
            for (stream, bytes) in streams.iter_mut().zip(&mut bytes) {
                let part = &mut bytes[..now * row_bytes];
                stream
                    .fill(source, part)
                    .map_err(|(good, fault)| layout.error(y + (good / row_bytes) as u32, fault))?;
            }
            let parts: Vec<&mut [u8]> = bytes
                .iter_mut()
                .map(|b| &mut b[..now * row_bytes])
                .collect();
            let codes = unpack(&layout.rows, parts, now, pick);
            visit_rows(&codes, layout.width, y, visit);
            done += now;
        }
    }
    Ok(())
}

/// Fetches the compressed bytes of one chunk.
fn job<R: Read + Seek>(
    source: &mut R,
    layout: &TiffLayout,
    planes: &[usize],
    down: u32,
    across: u32,
) -> Result<Job, DecodeError> {
    let decoded = layout.decoded_bytes(down);
    let mut fetched = Vec::with_capacity(planes.len());
    for plane in planes {
        let chunk = layout.chunk(*plane, down, across);
        let (offset, counted) = (layout.offsets[chunk], layout.byte_counts[chunk]);
        // No code here makes data more than twice as long: more is not needed.
        let wanted = counted.min(2 * decoded + 1024).min(layout.file_bytes);
        go_to(source, offset)?;
        let mut bytes = Vec::with_capacity(wanted as usize);
        source.take(wanted).read_to_end(&mut bytes)?;
        if layout.bits_backwards {
            for byte in &mut bytes {
                *byte = byte.reverse_bits();
            }
        }
        fetched.push(bytes);
    }
    let rows = if layout.tiled {
        layout.chunk_height
    } else {
        layout.rows_at(down)
    };
    Ok(Job {
        down,
        across,
        rows,
        planes: fetched,
    })
}

/// The codes of a chunk, or how many of its rows were good and what then came.
type Decoded = Result<CodeBuffer, (u32, StreamFault)>;

/// Decodes one chunk; on a fault says how many rows were good.
fn decode(layout: &TiffLayout, job: Job, pick: Pick) -> Decoded {
    let row_bytes = layout.rows.row_bytes();
    let wanted = row_bytes * job.rows as usize;
    let mut decoded = Vec::with_capacity(job.planes.len());
    for (plane, compressed) in job.planes.into_iter().enumerate() {
        if layout.compression == Compression::Stored && compressed.len() == wanted {
            decoded.push(compressed);
            continue;
        }
        let bytes = match &layout.code {
            ChunkCode::Stream => {
                let mut bytes = vec![0; wanted];
                ChunkStream::new(layout.compression, 0, compressed.len() as u64)
                    .fill(&mut Cursor::new(&compressed), &mut bytes)
                    .map(|()| bytes)
                    .map_err(|(good, fault)| ((good / row_bytes) as u32, fault))
            }
            ChunkCode::Fax(code) => {
                let mut bytes = vec![0; wanted];
                fax_rows::decode(
                    *code,
                    &compressed,
                    layout.rows.columns,
                    row_bytes,
                    &mut bytes,
                )
                .map(|()| bytes)
                .map_err(|(rows, fault)| (rows as u32, StreamFault::Data(fault.into())))
            }
            ChunkCode::Jpeg { tables, components } => {
                let data = jpeg_data::with_tables(tables.as_deref(), &compressed);
                // A strip at the end may hold as many rows as the others.
                let most = row_bytes as u64 * u64::from(layout.chunk_height);
                jpeg_data::decode(Cursor::new(&data), *components, most)
                    .and_then(|picture| {
                        let fits = picture.width == layout.rows.columns
                            && picture.height >= job.rows as usize
                            && picture.samples == layout.rows.samples;
                        let mut bytes = picture.bytes;
                        bytes.truncate(wanted);
                        fits.then_some(bytes).ok_or_else(|| {
                            format!(
                                "a strip or tile holds {} × {} pixels of {} samples, {} × {} of {} were promised",
                                picture.width,
                                picture.height,
                                picture.samples,
                                layout.rows.columns,
                                job.rows,
                                layout.rows.samples
                            )
                        })
                    })
                    .map_err(|fault| (0, StreamFault::Data(fault.into())))
            }
            ChunkCode::LosslessJpeg => {
                // A strip at the end may hold as many rows as the others.
                let most = row_bytes / 2 * layout.chunk_height as usize;
                lossless_jpeg::decode(&compressed, most)
                    .and_then(|numbers| {
                        let mut bytes = layout.rows.bytes_of_words(&numbers);
                        if bytes.len() < wanted {
                            return Err(format!(
                                "a strip or tile holds {} numbers, {} were promised",
                                numbers.len(),
                                wanted / 2
                            )
                            .into());
                        }
                        bytes.truncate(wanted);
                        Ok(bytes)
                    })
                    .map_err(|fault| (0, StreamFault::Data(fault)))
            }
        };
        let place = if layout.planar { plane } else { 0 };
        let chunk = layout.chunk(place, job.down, job.across);
        decoded.push(bytes.map_err(|(rows, fault)| {
            let fault = at_end_of_file(layout, chunk, &compressed, fault);
            (rows.min(job.rows), fault)
        })?);
    }
    let parts = decoded.iter_mut().map(Vec::as_mut_slice).collect();
    Ok(unpack(&layout.rows, parts, job.rows as usize, pick))
}

/// Tells a chunk that the file's end cut off from one that is damaged.
fn at_end_of_file(
    layout: &TiffLayout,
    chunk: usize,
    compressed: &[u8],
    fault: StreamFault,
) -> StreamFault {
    let end = layout.offsets[chunk].saturating_add(layout.byte_counts[chunk]);
    let cut = layout.offsets[chunk].saturating_add(compressed.len() as u64) >= layout.file_bytes;
    if end > layout.file_bytes && (cut || layout.compression == Compression::Stored) {
        StreamFault::FileEnds { needed: end }
    } else {
        fault
    }
}

/// Decoded bytes of one or three planes to codes.
fn unpack(rows: &RowLayout, mut planes: Vec<&mut [u8]>, count: usize, pick: Pick) -> CodeBuffer {
    let of = |bytes: &mut [u8], pick: Pick| {
        let plain = rows.undo_predictor(bytes);
        let mut codes = CodeBuffer::with_len(rows.spread(), rows.columns * count);
        plain.unpack(bytes, pick, &mut codes);
        codes
    };
    if let [bytes] = planes.as_mut_slice() {
        return of(bytes, pick);
    }
    let mut planes: Vec<_> = planes
        .into_iter()
        .map(|bytes| of(bytes, Pick::One(0)))
        .collect();
    mean_of_planes(&mut planes)
}

fn mean_of_planes(planes: &mut [CodeBuffer]) -> CodeBuffer {
    match planes {
        [
            CodeBuffer::Unsigned(a),
            CodeBuffer::Unsigned(b),
            CodeBuffer::Unsigned(c),
        ] => CodeBuffer::Unsigned(
            a.iter()
                .zip(b)
                .zip(c)
                .map(|((a, b), c)| super::unpack::mean_of_three([*a, *b, *c]))
                .collect(),
        ),
        [
            CodeBuffer::Float(a),
            CodeBuffer::Float(b),
            CodeBuffer::Float(c),
        ] => CodeBuffer::Float(
            a.iter()
                .zip(b)
                .zip(c)
                .map(|((a, b), c)| (*a + *b + *c) / 3.0)
                .collect(),
        ),
        _ => unreachable!("planes of one file are of one kind, and one or three are fetched"),
    }
}

fn place_tile(
    tile: &CodeBuffer,
    band: &mut CodeBuffer,
    tile_width: usize,
    across: usize,
    width: usize,
) {
    let first = across * tile_width;
    let count = tile_width.min(width - first);
    match (tile, band) {
        (CodeBuffer::Unsigned(tile), CodeBuffer::Unsigned(band)) => {
            for (from, to) in tile
                .chunks_exact(tile_width)
                .zip(band.chunks_exact_mut(width))
            {
                to[first..first + count].copy_from_slice(&from[..count]);
            }
        }
        (CodeBuffer::Float(tile), CodeBuffer::Float(band)) => {
            for (from, to) in tile
                .chunks_exact(tile_width)
                .zip(band.chunks_exact_mut(width))
            {
                to[first..first + count].copy_from_slice(&from[..count]);
            }
        }
        _ => unreachable!("tiles and band of one file are of one kind"),
    }
}

fn visit_rows(codes: &CodeBuffer, width: u32, first: u32, visit: &mut dyn FnMut(u32, Codes<'_>)) {
    match codes {
        CodeBuffer::Unsigned(codes) => {
            for (y, row) in (first..).zip(codes.chunks_exact(width as usize)) {
                visit(y, Codes::Unsigned(row));
            }
        }
        CodeBuffer::Float(codes) => {
            for (y, row) in (first..).zip(codes.chunks_exact(width as usize)) {
                visit(y, Codes::Float(row));
            }
        }
    }
}
