//! Tiles of a scan for looking at it at any size, cut once and kept.
//!
//! The first look at a scan makes one pass over it and writes all its tiles into
//! one file of a cache folder, named by the sha256 of the scan and by what
//! decides its codes: image of the file, channel, tone. Later looks read the
//! tile asked for and nothing else. The file is written beside its place and
//! moved there when it is whole, so that any number of threads and programs can
//! share a folder. The folder is bounded: when it is larger than allowed, the
//! scans looked at longest ago lose their tiles. Nothing in it is needed; it can
//! be thrown away at any time.
//!
//! Of a scan of a test, the frame that was found in it is kept beside its tiles, under
//! the same name: it hangs on the same pixels.
//!
//! Form of the file: [`HEAD`], width and height as two little-endian u32, then
//! the codes of all tiles as little-endian u16 in the order of
//! [`TileLayout::pixels_before`].
//!
//! Begin with [`tiles_of_test_scan`] or, without a test, [`tiles_of_scan`].

use crate::error::with_causes;
use crate::frame_found::{FRAME_SEARCH, frame_json};
use crate::measuring::{calibrated_scan, recorded_tone, tone_words};
use crate::scan_channel::channel_of_text;
use crate::scan_reader::{named_scan, remedy_of, scan_file, scan_reader};
use crate::single_scan::tone_of_text;
use crate::tablet_search::find_tablets;
use crate::{AppError, Progress, write_file};
use negative::decode::{ChannelChoice, Polarity, ScanReader};
use negative::tiles::{TILE_SIDE, TileLayout, TilePass, TilePlace};
use negative::tone::Tone;
use notebook::{hash_file, read_test_folder};
use serde_json::{Value, json};
use std::fs::{self, File, OpenOptions};
use std::io::{BufReader, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, SystemTime};

/// Bytes of tiles that a cache folder holds unless told otherwise: about
/// twenty-five scans of 9600 × 12000 pixels.
pub const TILE_CACHE_BYTES: u64 = 8 << 30;

/// First bytes of a file of tiles.
const HEAD: &[u8; 16] = b"scan tiles v1\0\0\0";
/// Bytes before the first tile.
const HEAD_BYTES: u64 = 24;
/// Ending of a file of tiles.
const ENDING: &str = "tiles";
/// Ending of one that is being written.
const UNFINISHED: &str = "tiles-part";
/// Ending of what was found of a scan's frame.
const FRAME_ENDING: &str = "frame";
/// An unfinished file this old was left behind.
const LEFT_BEHIND: Duration = Duration::from_secs(3600);

/// Passes over scans are made one at a time: each uses all cores.
static MAKING: Mutex<()> = Mutex::new(());
/// Tells unfinished files of one program apart.
static COUNT: AtomicU64 = AtomicU64::new(0);

/// Where tiles are kept, and how many bytes of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TileCache {
    /// The folder; made when it isn't there. Give it nothing else to hold.
    pub dir: PathBuf,
    /// Most bytes of tiles; those of the scan just opened stay whatever their size.
    pub max_bytes: u64,
}

/// Which picture of which file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TileRequest {
    /// The scan.
    pub scan: PathBuf,
    /// Which image of the file, counted from 0.
    pub page: u32,
    /// How code values follow light, as for `measure`.
    pub tone: Option<String>,
    /// Which samples, as for `measure`.
    pub channel: Option<String>,
}

/// Size of one level of a tiled scan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TileSize {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Tiles side by side.
    pub columns: u32,
    /// Rows of tiles.
    pub rows: u32,
}

/// A scan as tiles. Can be shared between threads.
#[derive(Debug)]
pub struct TiledScan {
    /// Checksum of the scan's file.
    pub sha256: String,
    /// Pixels along each side of a tile; those at the right and lower edge are smaller.
    pub tile_side: u32,
    /// Levels, the scan itself first; each next has half the sides.
    pub levels: Vec<TileSize>,
    /// Bits of a stored sample.
    pub bits: u8,
    /// Largest code of the scale.
    pub code_max: u16,
    /// Whether the file says that code 0 is full light.
    pub min_is_white: bool,
    /// Which tone was used and who says so, in words.
    pub tone: String,
    /// Signal of each code from 0 to the largest, 0 to 1: linear light when the
    /// tone is known.
    pub signal_of_code: Vec<f32>,
    /// Gross density of each code, held within the tablet's, where a tablet of the
    /// test calibrates the scan.
    pub density_of_code: Option<Vec<f32>>,
    /// Sentences that name what was assumed or not used.
    pub warnings: Vec<String>,
    /// Of a scan of a test, the frame that was found in it or why none was: as under
    /// `frame` of `measure`.
    pub frame: Option<Value>,
    layout: TileLayout,
    file: Mutex<File>,
    path: PathBuf,
}

/// Opens the tiles of a scan, cutting them when the cache hasn't got them.
///
/// # Errors
/// [`AppError`] when the scan can't be read or the cache not be written.
pub fn tiles_of_scan(
    request: &TileRequest,
    cache: &TileCache,
    progress: &dyn Progress,
) -> Result<TiledScan, AppError> {
    let shown = request.scan.display().to_string();
    let fail = |e: &dyn std::error::Error, remedy: &str| {
        AppError::new(format!("{shown}: {}", with_causes(e)), remedy)
    };
    let file = scan_file(&request.scan)?;
    let mut reader = scan_reader(file, request.page).map_err(|e| fail(&e, remedy_of(&e)))?;
    let channel = channel_of_text(request.channel.as_deref(), &reader)?;
    let tone = recorded_tone(
        tone_of_text(request.tone.as_deref())?,
        reader.info(),
        channel,
    )
    .map_err(|e| AppError::new(e, "give a gamma between 0.1 and 10"))?;
    let sha256 = hash_file(&request.scan)?;
    tiled(
        &mut reader,
        &shown,
        (channel, &tone),
        (sha256, ""),
        cache,
        progress,
    )
}

/// Opens the tiles of one scan of a test, with the densities that the test's
/// tablet gives its codes.
///
/// # Errors
/// [`AppError`] when the folder or the scan is at fault, or the cache can't be
/// written.
pub fn tiles_of_test_scan(
    dir: &Path,
    scan: &str,
    cache: &TileCache,
    progress: &dyn Progress,
) -> Result<TiledScan, AppError> {
    let (folder, _) = find_tablets(read_test_folder(dir)?, progress)?;
    let record = named_scan(&folder, scan)?;
    let mut warnings = vec![];
    let (surveyed, density_of_code) = calibrated_scan(&folder, record, &mut warnings)?;
    let path = folder.scan_path(&record.file)?;
    let file = File::open(&path).map_err(|e| AppError::file("opening", &path, &e))?;
    let shown = format!("scan {} ({})", record.id, record.file);
    let mut reader = scan_reader(file, record.page)
        .map_err(|e| AppError::new(format!("{shown}: {}", with_causes(&e)), remedy_of(&e)))?;
    let divided_by = match &surveyed.divided {
        Some(divided) => {
            divided.divide_again(&mut reader, surveyed.channel)?;
            divided.key()
        }
        None => "",
    };
    let mut tiles = tiled(
        &mut reader,
        &shown,
        (surveyed.channel, &surveyed.tone),
        (surveyed.sha256, divided_by),
        cache,
        progress,
    )?;
    tiles.frame = Some(kept_frame(&tiles.path, || frame_json(&surveyed.preview)));
    tiles.density_of_code = density_of_code;
    tiles.warnings = warnings;
    Ok(tiles)
}

impl TiledScan {
    /// Gives the gross density of the rebate that was found and the spread of single
    /// pixels about it, where a tablet tells the density of codes.
    #[must_use]
    pub fn rebate_density(&self) -> Option<(f64, f64)> {
        let rebate = self.frame.as_ref()?.get("rebate")?;
        let signal = rebate.get("signal")?.as_f64()?;
        let sd = rebate.get("signal_sd")?.as_f64()?;
        let (low, high) = (
            self.density_of_signal(signal + sd)?,
            self.density_of_signal(signal - sd)?,
        );
        Some((self.density_of_signal(signal)?, (high - low).abs() / 2.0))
    }

    fn density_of_signal(&self, signal: f64) -> Option<f64> {
        let densities = self.density_of_code.as_ref()?;
        let off = |code: &usize| (f64::from(self.signal_of_code[*code]) - signal).abs();
        let nearest = (0..self.signal_of_code.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        densities.get(nearest).map(|density| f64::from(*density))
    }

    /// Gives one tile: its codes row by row as little-endian u16. `None` where
    /// the scan has no such tile.
    ///
    /// # Errors
    /// [`AppError`] when the cache can't be read.
    pub fn tile(&self, level: u32, column: u32, row: u32) -> Result<Option<Vec<u8>>, AppError> {
        let place = TilePlace { level, column, row };
        let (Some((width, height)), Some(before)) = (
            self.layout.tile_size(place),
            self.layout.pixels_before(place),
        ) else {
            return Ok(None);
        };
        let mut bytes = vec![0; 2 * width as usize * height as usize];
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(HEAD_BYTES + 2 * before))
            .and_then(|_| file.read_exact(&mut bytes))
            .map_err(|e| AppError::file("reading tiles from", &self.path, &e))?;
        Ok(Some(bytes))
    }
}

/// Opens the tiles of a scan whose header was read.
fn tiled(
    reader: &mut ScanReader<BufReader<File>>,
    shown: &str,
    (channel, tone): (ChannelChoice, &Tone),
    (sha256, divided_by): (String, &str),
    cache: &TileCache,
    progress: &dyn Progress,
) -> Result<TiledScan, AppError> {
    let layout = TileLayout::of_channel(reader.info(), channel).map_err(|e| {
        AppError::new(
            format!("{shown}: {e}"),
            "look at a part of the scan, or a reduced copy",
        )
    })?;
    fs::create_dir_all(&cache.dir).map_err(|e| AppError::file("making", &cache.dir, &e))?;
    let page = reader.info().page;
    let words = format!("{channel} {}{divided_by}", tone.encoding.describe());
    let path = cache
        .dir
        .join(format!("{sha256}-{page}-{}.{ENDING}", file_word(&words)));
    let file = match kept(&path, &layout) {
        Some(file) => file,
        None => {
            let _one_at_a_time = MAKING.lock().unwrap_or_else(PoisonError::into_inner);
            // Another thread may have made them while this one waited.
            match kept(&path, &layout) {
                Some(file) => file,
                None => {
                    let file = made(reader, shown, channel, tone, &layout, &path, progress)?;
                    make_room(cache, &path);
                    file
                }
            }
        }
    };
    // When it was last looked at; a cache that can't note it still serves.
    drop(file.set_modified(SystemTime::now()));
    let levels = layout.levels().iter().map(|level| TileSize {
        width: level.width,
        height: level.height,
        columns: level.columns(),
        rows: level.rows(),
    });
    Ok(TiledScan {
        sha256,
        tile_side: TILE_SIDE,
        levels: levels.collect(),
        bits: reader.info().bits,
        code_max: tone.code_max,
        min_is_white: tone.polarity == Polarity::WhiteIsZero,
        tone: tone_words(tone),
        signal_of_code: tone.table().into_iter().map(|s| s as f32).collect(),
        density_of_code: None,
        warnings: reader.info().remarks.clone(),
        frame: None,
        layout,
        file: Mutex::new(file),
        path,
    })
}

/// Gives the frame that was found with these tiles, or finds and keeps it.
///
/// A cache that can't be read or written only costs time, so that faults are passed over.
fn kept_frame(tiles: &Path, find: impl FnOnce() -> Value) -> Value {
    let path = tiles.with_extension(FRAME_ENDING);
    let found_by = format!("{}, frame {FRAME_SEARCH}", crate::VERSION);
    let kept = fs::read(&path)
        .ok()
        .and_then(|bytes| serde_json::from_slice::<Value>(&bytes).ok())
        .filter(|kept| kept.get("found_by").and_then(Value::as_str) == Some(found_by.as_str()));
    if let Some(frame) = kept.as_ref().and_then(|kept| kept.get("frame")) {
        return frame.clone();
    }
    let frame = find();
    let text = json!({ "found_by": found_by, "frame": &frame }).to_string();
    drop(write_file(&path, text.as_bytes()));
    frame
}

/// A word that can stand in a file's name.
fn file_word(text: &str) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() || c == '.' {
            c
        } else {
            '-'
        }
    };
    text.chars().map(plain).collect()
}

fn head_of(layout: &TileLayout) -> Vec<u8> {
    let mut head = HEAD.to_vec();
    head.extend(layout.levels()[0].width.to_le_bytes());
    head.extend(layout.levels()[0].height.to_le_bytes());
    head
}

/// Opens tiles that were kept; `None` when there are none that are whole.
fn kept(path: &Path, layout: &TileLayout) -> Option<File> {
    let mut file = OpenOptions::new().read(true).write(true).open(path).ok()?;
    let mut head = [0; HEAD_BYTES as usize];
    file.read_exact(&mut head).ok()?;
    let length = file.metadata().ok()?.len();
    (head[..] == head_of(layout) && length == HEAD_BYTES + 2 * layout.pixels()).then_some(file)
}

/// Makes one pass over a scan and keeps its tiles.
fn made(
    reader: &mut ScanReader<BufReader<File>>,
    shown: &str,
    channel: ChannelChoice,
    tone: &Tone,
    layout: &TileLayout,
    path: &Path,
    progress: &dyn Progress,
) -> Result<File, AppError> {
    let unfinished = path.with_extension(format!(
        "{}-{}.{UNFINISHED}",
        std::process::id(),
        COUNT.fetch_add(1, Ordering::Relaxed)
    ));
    let made =
        write_tiles(reader, shown, channel, tone, layout, &unfinished, progress).and_then(|file| {
            fs::rename(&unfinished, path)
                .map_err(|e| AppError::file("moving tiles to", path, &e))?;
            Ok(file)
        });
    if made.is_err() {
        drop(fs::remove_file(&unfinished));
    }
    made
}

fn write_tiles(
    reader: &mut ScanReader<BufReader<File>>,
    shown: &str,
    channel: ChannelChoice,
    tone: &Tone,
    layout: &TileLayout,
    unfinished: &Path,
    progress: &dyn Progress,
) -> Result<File, AppError> {
    let fail = |e: &std::io::Error| AppError::file("writing tiles to", unfinished, e);
    let file = OpenOptions::new()
        .read(true)
        .write(true)
        .create_new(true)
        .open(unfinished)
        .map_err(|e| fail(&e))?;
    let mut out = BufWriter::with_capacity(1 << 20, file);
    out.write_all(&head_of(layout)).map_err(|e| fail(&e))?;
    let mut at = HEAD_BYTES;
    let mut fault = None;
    let mut bytes = vec![];
    let mut put = |place: TilePlace, codes: &[u16]| {
        let Some(before) = layout.pixels_before(place).filter(|_| fault.is_none()) else {
            return;
        };
        bytes.clear();
        bytes.extend(codes.iter().flat_map(|code| code.to_le_bytes()));
        let start = HEAD_BYTES + 2 * before;
        let sought = if start == at {
            Ok(at)
        } else {
            out.seek(SeekFrom::Start(start))
        };
        match sought.and_then(|_| out.write_all(&bytes)) {
            Ok(()) => at = start + bytes.len() as u64,
            Err(error) => fault = Some(error),
        }
    };
    let work = format!("cutting tiles of {shown}");
    let rows = u64::from(layout.levels()[0].height);
    let mut done = 0;
    let mut pass = TilePass::new(layout, tone);
    reader
        .for_each_row(channel, |row| {
            pass.take(&row, &mut put);
            done += 1;
            if done % u64::from(TILE_SIDE) == 0 {
                progress.at(&work, done, rows);
            }
        })
        .map_err(|e| AppError::new(format!("{shown}: {}", with_causes(&e)), remedy_of(&e)))?;
    pass.finish(&mut put);
    progress.at(&work, rows, rows);
    if let Some(error) = fault {
        return Err(fail(&error));
    }
    let file = out
        .into_inner()
        .map_err(|e| fail(&std::io::Error::from(e.error().kind())))?;
    // A file that is named as whole must be whole after a power cut, too.
    file.sync_data().map_err(|e| fail(&e))?;
    Ok(file)
}

/// Removes the tiles looked at longest ago until the cache is within its bound,
/// and unfinished files that were left behind.
///
/// A cache that can't be tidied still serves, so that faults are passed over.
fn make_room(cache: &TileCache, stays: &Path) {
    let Ok(entries) = fs::read_dir(&cache.dir) else {
        return;
    };
    let mut files = vec![];
    let mut total = 0;
    for entry in entries.flatten() {
        let path = entry.path();
        let Ok(about) = entry.metadata() else {
            continue;
        };
        let looked_at = about.modified().unwrap_or(SystemTime::UNIX_EPOCH);
        match path.extension().and_then(|e| e.to_str()) {
            Some(ENDING) => {
                total += about.len();
                files.push((looked_at, about.len(), path));
            }
            Some(UNFINISHED) if looked_at.elapsed().is_ok_and(|age| age > LEFT_BEHIND) => {
                drop(fs::remove_file(path));
            }
            _ => {}
        }
    }
    files.sort();
    for (_, bytes, path) in files {
        if total <= cache.max_bytes {
            return;
        }
        if path != stays && fs::remove_file(&path).is_ok() {
            drop(fs::remove_file(path.with_extension(FRAME_ENDING)));
            total -= bytes;
        }
    }
}
