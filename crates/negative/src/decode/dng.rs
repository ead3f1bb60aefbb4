//! The raw frame of a DNG file: which directory it is, and its sensor's scale.
//!
//! A DNG often begins with a small rendered picture and has the frame in a
//! directory below (SubIFDs). What its tags say is checked here; the rows are
//! taken apart in `sensor_rows`.
//!
//! Source: Adobe, Digital Negative specification 1.6 (from memory); TIFF/EP,
//! ISO 12234-2, for the mosaic's tags.

use super::error::DecodeError;
use super::info::{Colour, SampleKind, code_max_of};
use super::sensor::{Mosaic, MosaicColour, SensorScale};
use super::tiff_directory::{Chain, Directory, tag};
use std::io::{Read, Seek, SeekFrom};

/// Photometric interpretation of a mosaic.
const MOSAIC: u64 = 32803;
/// Photometric interpretation of sensor values already made whole pixels.
const LINEAR_RAW: u64 = 34892;
/// Most directories below one that are looked at.
const MOST_BELOW: u64 = 32;
/// Largest part of a code that may be lost on a black level that changes along
/// a row or column.
const DELTA_LOST: f64 = 0.5;
/// What to do about a raw frame that is not read.
const CONVERT: &str = "convert the file to an uncompressed DNG or to a linear 16-bit TIFF";

/// What a sensor's tags say.
pub(crate) struct Frame {
    pub(crate) mosaic: Option<Mosaic>,
    pub(crate) sensor: Option<SensorScale>,
    /// Width and height of the picture.
    pub(crate) size: (u32, u32),
}

/// Gives the directory of a page: in a file of raw frames, page 0 is the
/// largest raw frame, wherever its directory lies.
///
/// The second answer tells whether the file is a DNG.
pub(crate) fn directory_of<R: Read + Seek>(
    source: &mut R,
    chain: &Chain,
    page: usize,
) -> Result<(Directory, bool), DecodeError> {
    let first = chain.directory(source, page)?;
    // Some makers' files say so right after the header, and begin with a picture.
    let mut mark = [0; 4];
    source.seek(SeekFrom::Start(8))?;
    let read = super::decompress::read_up_to(source, &mut mark)?;
    if mark.starts_with(b"CR") || (read == 4 && matches!(&mark, b"IIII" | b"MMMM")) {
        return Err(makers_raw(
            "its sensor's numbers follow a small picture".to_owned(),
        ));
    }
    if page > 0 {
        return Ok((first, false));
    }
    let dng = first.has(tag::DNG_VERSION);
    let mut best: Option<(u64, Directory)> = None;
    for offset in first.numbers(source, tag::SUB_DIRECTORIES, MOST_BELOW)? {
        // A directory that can't be read is none that a picture is taken from.
        let Ok(below) = chain.directory_at(source, offset) else {
            continue;
        };
        if let Some(pixels) = raw_pixels(source, &below)?
            && best.as_ref().is_none_or(|(most, _)| pixels > *most)
        {
            best = Some((pixels, below));
        }
    }
    let here = raw_pixels(source, &first)?;
    match best {
        Some((pixels, _)) if !dng && here.is_none() => Err(makers_raw(format!(
            "a small picture comes first, the sensor's {pixels} pixels follow it"
        ))),
        Some((pixels, below)) if dng && here.is_none_or(|here| pixels > here) => Ok((below, true)),
        _ => Ok((first, dng)),
    }
}

fn makers_raw(reason: String) -> DecodeError {
    DecodeError::MakersRaw { reason }
}

/// Gives the pixels of a full-size raw frame; `None` for any other picture.
fn raw_pixels<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<Option<u64>, DecodeError> {
    let mut of = |tag| directory.first_number(source, tag);
    let reduced = of(tag::NEW_SUBFILE_TYPE)?.unwrap_or(0) & 1 == 1;
    let raw = matches!(of(tag::PHOTOMETRIC)?, Some(MOSAIC | LINEAR_RAW));
    let (width, height) = (of(tag::IMAGE_WIDTH)?, of(tag::IMAGE_LENGTH)?);
    Ok((raw && !reduced).then(|| width.unwrap_or(0).saturating_mul(height.unwrap_or(0))))
}

/// Reads what a raw frame says of its sensor.
///
/// `None` when the picture is no raw frame. A mosaic outside a DNG has no known
/// levels: its numbers' tone stays unknown.
pub(crate) fn frame_of<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    dng: bool,
    stored: (u32, u32),
    colour: Colour,
    bits: u8,
    kind: SampleKind,
) -> Result<Option<Frame>, DecodeError> {
    let photometric = directory.first_number(source, tag::PHOTOMETRIC)?;
    let raw = matches!(photometric, Some(MOSAIC | LINEAR_RAW));
    let levels = dng || directory.has(tag::BLACK_LEVEL) || directory.has(tag::WHITE_LEVEL);
    if !raw || (colour != Colour::Mosaic && !levels) {
        return Ok(None);
    }
    let active = active_area(source, directory, stored)?;
    let crop = crop(source, directory, active)?;
    let pattern = pattern(source, directory, colour)?;
    if colour == Colour::Mosaic && levels && pattern.is_none() {
        return Err(directory.refused(format!(
            "its mosaic's colours are not named (tag {}); {CONVERT}",
            tag::CFA_PATTERN
        )));
    }
    // The cell as it lies in the picture: both begin at other pixels.
    let across = (crop.left - active.left) as usize;
    let down = (crop.top - active.top) as usize;
    let mosaic = match &pattern {
        None => None,
        Some(pattern) => Some(turned(pattern, across, down).ok_or_else(|| {
            directory.refused(format!(
                "a mosaic of {} × {} pixels or without red, green and blue; {CONVERT}",
                pattern.columns,
                pattern.colours.len() / pattern.columns.max(1)
            ))
        })?),
    };
    if let Some(mosaic) = &mosaic
        && (crop.width < mosaic.columns() || crop.height < mosaic.rows())
    {
        return Err(directory.fault(format!(
            "the picture of {} × {} pixels is smaller than one cell of its mosaic, {} × {}",
            crop.width,
            crop.height,
            mosaic.columns(),
            mosaic.rows()
        )));
    }
    if kind == SampleKind::Float && (levels || mosaic.is_some()) {
        return Err(directory.refused(format!(
            "floating-point sensor values; whole numbers of 8 to 16 bits are read; {CONVERT}"
        )));
    }
    let sensor = if levels {
        let table = table(source, directory)?;
        let top = table
            .as_ref()
            .and_then(|t| t.iter().max().copied())
            .unwrap_or(code_max_of(bits));
        let white = white(source, directory, bits, top)?;
        let black = black(source, directory, mosaic.as_ref(), colour, (across, down))?;
        if let Some(over) = black.iter().find(|b| !(0.0..f64::from(white)).contains(*b)) {
            return Err(directory.fault(format!(
                "the black level must lie from 0 to below the white level {white}, found {over}"
            )));
        }
        Some(SensorScale {
            black,
            white,
            origin: (crop.left, crop.top),
            stored,
            table,
        })
    } else {
        None
    };
    // Without levels nothing says where the picture lies in the frame.
    let size = if sensor.is_some() {
        (crop.width, crop.height)
    } else {
        stored
    };
    Ok(Some(Frame {
        mosaic,
        sensor,
        size,
    }))
}

/// The part of a frame that light reaches.
#[derive(Clone, Copy)]
struct Area {
    left: u32,
    top: u32,
    width: u32,
    height: u32,
}

fn active_area<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    (width, height): (u32, u32),
) -> Result<Area, DecodeError> {
    let named = directory.numbers(source, tag::ACTIVE_AREA, 4)?;
    if named.is_empty() {
        return Ok(Area {
            left: 0,
            top: 0,
            width,
            height,
        });
    }
    let inside = |from: u64, to: u64, most: u32| {
        (from < to && to <= u64::from(most)).then_some((from as u32, (to - from) as u32))
    };
    let area = match *named.as_slice() {
        [top, left, bottom, right] => inside(left, right, width).zip(inside(top, bottom, height)),
        _ => None,
    };
    let Some(((left, width), (top, height))) = area else {
        return Err(directory.fault(format!(
            "the active area must be top, left, bottom, right within {width} × {height} pixels, \
             found {named:?}"
        )));
    };
    Ok(Area {
        left,
        top,
        width,
        height,
    })
}

/// Gives where the picture begins in the stored frame, and its size.
fn crop<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    active: Area,
) -> Result<Area, DecodeError> {
    let origin = directory.values(source, tag::DEFAULT_CROP_ORIGIN, 2)?;
    let size = directory.values(source, tag::DEFAULT_CROP_SIZE, 2)?;
    let (x, y) = match *origin.as_slice() {
        [x, y] => (x.round(), y.round()),
        _ => (0.0, 0.0),
    };
    let (width, height) = match *size.as_slice() {
        [width, height] => (width.round(), height.round()),
        _ => (f64::from(active.width) - x, f64::from(active.height) - y),
    };
    let fits = |from: f64, long: f64, most: u32| {
        from >= 0.0 && long >= 1.0 && from + long <= f64::from(most)
    };
    if !fits(x, width, active.width) || !fits(y, height, active.height) {
        return Err(directory.fault(format!(
            "the crop must lie within the active area of {} × {} pixels, found {width} × {height} from {x}, {y}",
            active.width, active.height
        )));
    }
    Ok(Area {
        left: active.left + x as u32,
        top: active.top + y as u32,
        width: width as u32,
        height: height as u32,
    })
}

/// The cell as the file gives it, from the active area's corner.
struct Pattern {
    columns: usize,
    colours: Vec<MosaicColour>,
}

fn pattern<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    colour: Colour,
) -> Result<Option<Pattern>, DecodeError> {
    if colour != Colour::Mosaic || !directory.has(tag::CFA_PATTERN) {
        return Ok(None);
    }
    let sides = directory.numbers(source, tag::CFA_REPEAT, 2)?;
    let (rows, columns) = match *sides.as_slice() {
        [rows, columns] => (rows, columns),
        [] => (2, 2),
        _ => return Err(directory.fault(format!("a mosaic's cell has two sides, found {sides:?}"))),
    };
    let named = directory
        .blob(source, tag::CFA_PATTERN, "size of the mosaic's cell", 4096)?
        .unwrap_or_default();
    if rows.saturating_mul(columns) != named.len() as u64 {
        return Err(directory.fault(format!(
            "a mosaic of {rows} × {columns} places names {} colours",
            named.len()
        )));
    }
    let mut colours = Vec::with_capacity(named.len());
    for name in named {
        colours.push(match name {
            0 => MosaicColour::Red,
            1 => MosaicColour::Green,
            2 => MosaicColour::Blue,
            other => {
                return Err(directory.refused(format!(
                    "colour {other} in its mosaic; red (0), green (1) and blue (2) are read; {CONVERT}"
                )));
            }
        });
    }
    Ok(Some(Pattern {
        columns: columns as usize,
        colours,
    }))
}

/// The cell with its first place so many pixels further right and down.
fn turned(pattern: &Pattern, across: usize, down: usize) -> Option<Mosaic> {
    let columns = pattern.columns;
    if columns == 0 || pattern.colours.is_empty() {
        return None;
    }
    let rows = pattern.colours.len() / columns;
    let colours = (0..rows * columns)
        .map(|place| {
            let (row, column) = (place / columns + down, place % columns + across);
            pattern.colours[row % rows * columns + column % columns]
        })
        .collect();
    Mosaic::new(columns, colours)
}

fn table<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
) -> Result<Option<Vec<u16>>, DecodeError> {
    let table = directory.numbers(source, tag::LINEARIZATION_TABLE, 65536)?;
    if table.is_empty() {
        return Ok(None);
    }
    let codes: Option<Vec<u16>> = table.iter().map(|v| u16::try_from(*v).ok()).collect();
    let rising = |codes: &Vec<u16>| codes.windows(2).all(|w| w[0] <= w[1]);
    codes.filter(rising).map(Some).ok_or_else(|| {
        directory.fault("the linearization table must rise within 16 bits".to_owned())
    })
}

fn white<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    bits: u8,
    top: u16,
) -> Result<u16, DecodeError> {
    let named = directory.values(source, tag::WHITE_LEVEL, 64)?;
    // One white for all colours: the lowest, so that none is full unseen.
    let Some(least) = named.iter().copied().reduce(f64::min) else {
        return Ok(code_max_of(bits).min(top));
    };
    if least.is_nan() || least < 1.0 || least.floor() > f64::from(u16::MAX) {
        return Err(directory.fault(format!(
            "the white level must lie from 1 to 65535, found {named:?}"
        )));
    }
    // A white level that no code reaches would hide that pixels are full.
    Ok((least as u16).min(top))
}

/// Gives the black level at each place of the cell, or of each colour sample.
fn black<R: Read + Seek>(
    source: &mut R,
    directory: &Directory,
    mosaic: Option<&Mosaic>,
    colour: Colour,
    (across, down): (usize, usize),
) -> Result<Vec<f64>, DecodeError> {
    for tag in [tag::BLACK_LEVEL_DELTA_H, tag::BLACK_LEVEL_DELTA_V] {
        let deltas = directory.values(source, tag, 1 << 20)?;
        let over = |d: &&f64| d.is_nan() || d.abs() >= DELTA_LOST;
        if let Some(delta) = deltas.iter().find(over) {
            return Err(directory.refused(format!(
                "its black level changes along rows or columns (by {delta}); {CONVERT}"
            )));
        }
    }
    let sides = directory.numbers(source, tag::BLACK_LEVEL_REPEAT, 2)?;
    let (rows, columns) = match *sides.as_slice() {
        [rows @ 1..=8, columns @ 1..=8] => (rows as usize, columns as usize),
        [] => (1, 1),
        _ => {
            return Err(directory.fault(format!(
                "black levels repeat over 1 to 8 rows and columns, found {sides:?}"
            )));
        }
    };
    let samples = if colour == Colour::Rgb { 3 } else { 1 };
    let mut levels = directory.values(source, tag::BLACK_LEVEL, 8 * 8 * 3)?;
    if levels.is_empty() {
        levels = vec![0.0; rows * columns * samples];
    }
    if levels.len() != rows * columns * samples {
        return Err(directory.fault(format!(
            "{rows} × {columns} black levels of {samples} samples were announced, {} are given",
            levels.len()
        )));
    }
    match mosaic {
        Some(mosaic) => {
            let (cell_rows, cell_columns) = (mosaic.rows() as usize, mosaic.columns() as usize);
            if !cell_rows.is_multiple_of(rows) || !cell_columns.is_multiple_of(columns) {
                return Err(directory.refused(format!(
                    "its {rows} × {columns} black levels don't repeat with its mosaic of {cell_rows} × {cell_columns}; {CONVERT}"
                )));
            }
            let at = |place: usize| {
                let row = (place / cell_columns + down) % rows;
                levels[row * columns + (place % cell_columns + across) % columns]
            };
            Ok((0..cell_rows * cell_columns).map(at).collect())
        }
        None => {
            let first = levels[..samples].to_vec();
            if levels.chunks_exact(samples).any(|l| l != first) {
                return Err(directory.refused(format!(
                    "its black levels repeat over {rows} × {columns} pixels of no named mosaic; {CONVERT}"
                )));
            }
            Ok(first)
        }
    }
}
