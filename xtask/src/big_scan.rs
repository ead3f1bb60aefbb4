//! A large scan against libvips: time of both in one run, and peak memory.
//!
//! 9600 × 12000 pixels of 16-bit grey, stored, LZW and Deflate, made here and removed
//! afterwards. `filmproof measure` decodes, calibrates by 21 steps, measures 40 patches
//! and makes its preview in one pass; libvips makes the mean and a thumbnail, by two
//! commands. They take turns, and the least of each counts. A run of ours counts only
//! when all 40 densities are as drawn.
//!
//! Not the same on both sides: `measure` keeps its preview in memory, while
//! `vipsthumbnail` also writes its thumbnail as a small JPEG.

use crate::command::output;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use testkit::{TiffForm, tiff_grey16};

const WIDTH: usize = 9600;
const HEIGHT: usize = 12000;
/// Rows that the tablet takes, along the top.
const TABLET_ROWS: usize = 1200;
const STEPS: usize = 21;
/// Fields of even density below the tablet, one patch in each.
const COLUMNS: usize = 8;
const ROWS: usize = 5;
const FIELD_WIDTH: usize = WIDTH / COLUMNS;
const FIELD_HEIGHT: usize = (HEIGHT - TABLET_ROWS) / ROWS;
/// How far a measured density may lie from the drawn one.
const DENSITY_TOLERANCE: f64 = 0.02;
/// Most resident memory. \[kB\]
const MOST_MEMORY: u64 = 400_000;
/// Turns when not said otherwise.
const TURNS: u32 = 5;

/// Compares PROGRAM with libvips: `[--turns N]`.
pub(crate) fn run(program: &Path, arguments: &[&str]) -> Result<(), String> {
    let turns = match arguments {
        [] => TURNS,
        ["--turns", number] => match number.parse() {
            Ok(turns) if turns > 0 => turns,
            _ => {
                return Err(format!(
                    "--turns needs a whole number above 0, not {number}"
                ));
            }
        },
        _ => return Err("big-scan takes PROGRAM and --turns N".to_owned()),
    };
    let program = program
        .canonicalize()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    let scratch = Scratch::new()?;
    let (vips, thumbnail) = (Path::new("vips"), Path::new("vipsthumbnail"));
    if ["vips", "vipsthumbnail"]
        .iter()
        .any(|name| output(Path::new(name), &["--version"], &scratch.0).is_err())
    {
        println!(
            "SKIPPED: libvips's commands vips and vipsthumbnail are not installed; nothing was compared"
        );
        return Ok(());
    }
    scratch.lay_out(vips)?;

    println!("least of {turns} turns   ours      libvips   our peak memory");
    let mut behind = vec![];
    for name in ["stored", "lzw", "deflate"] {
        let scan = format!("{name}.tif");
        let ours = our_arguments(&scan);
        let (mut best, mut peer) = (Duration::MAX, Duration::MAX);
        for _ in 0..turns {
            let (took, said) = timed(&program, &ours, &scratch.0)?;
            as_drawn(&said).map_err(|why| format!("{scan}: {why}"))?;
            best = best.min(took);
            let (mean, _) = timed(vips, &["avg", &scan], &scratch.0)?;
            let small = ["--size", "640", &scan, "-o", "small.jpg"];
            let (small, _) = timed(thumbnail, &small, &scratch.0)?;
            peer = peer.min(mean + small);
        }
        // Apart from the timed turns, since watching takes time too.
        let memory = peak_memory(&program, &ours, &scratch.0)?;
        println!(
            "{name:<18} {:>7.3} s {:>9.3} s   {}",
            best.as_secs_f64(),
            peer.as_secs_f64(),
            memory.map_or("NOT MEASURED (no /proc)".to_owned(), |kb| format!(
                "{} MB",
                kb / 1000
            ))
        );
        if best >= peer {
            behind.push(format!("{name} takes longer than libvips"));
        }
        if memory.is_some_and(|kb| kb > MOST_MEMORY) {
            behind.push(format!("{name} takes more than {} MB", MOST_MEMORY / 1000));
        }
    }
    if behind.is_empty() {
        Ok(())
    } else {
        Err(behind.join("; "))
    }
}

fn our_arguments(scan: &str) -> [&str; 10] {
    [
        "measure",
        scan,
        "--tablet",
        "tablet.csv",
        "--strip",
        "0,0,9600,1200",
        "--patches",
        "patches.csv",
        "--tone=linear",
        "--json",
    ]
}

fn step_density(step: usize) -> f64 {
    0.05 + 0.15 * step as f64
}

fn field_density(field: usize) -> f64 {
    0.3 + 0.05 * field as f64
}

/// Runs a program to its end, which must be a good one.
fn timed(program: &Path, arguments: &[&str], folder: &Path) -> Result<(Duration, String), String> {
    let began = Instant::now();
    let got = output(program, arguments, folder)?;
    let took = began.elapsed();
    if got.code == 0 {
        Ok((took, got.stdout))
    } else {
        Err(format!(
            "{} ended with {}: {}",
            program.display(),
            got.code,
            got.stderr
        ))
    }
}

/// Whether all fields have the density they were drawn with.
fn as_drawn(json: &str) -> Result<(), String> {
    let answer: Value = serde_json::from_str(json).map_err(|e| e.to_string())?;
    let patches = answer["patches"]
        .as_array()
        .ok_or("no patches in the answer")?;
    for field in 0..COLUMNS * ROWS {
        let name = format!("field-{field}");
        let density = patches
            .iter()
            .find(|p| p["name"] == name.as_str())
            .and_then(|p| p["density"].as_f64())
            .ok_or_else(|| format!("{name} has no density"))?;
        if (density - field_density(field)).abs() > DENSITY_TOLERANCE {
            let drawn = field_density(field);
            return Err(format!(
                "{name} was drawn with density {drawn:.2}, measured {density:.3}"
            ));
        }
    }
    Ok(())
}

/// Peak resident memory of a program, as the system last told it before the end. \[kB\]
fn peak_memory(program: &Path, arguments: &[&str], folder: &Path) -> Result<Option<u64>, String> {
    let mut child = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    let status = PathBuf::from(format!("/proc/{}/status", child.id()));
    let mut peak = None;
    while child.try_wait().map_err(|e| e.to_string())?.is_none() {
        let now = fs::read_to_string(&status).ok().and_then(|text| {
            let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
            line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok()
        });
        peak = peak.max(now);
        std::thread::sleep(Duration::from_millis(1));
    }
    Ok(peak)
}

/// A folder that goes away at the end.
struct Scratch(PathBuf);

impl Scratch {
    fn new() -> Result<Self, String> {
        let own = format!("filmproof-big-scan-{}", std::process::id());
        let scratch = Self(std::env::temp_dir().join(own));
        fs::create_dir_all(&scratch.0).map_err(|e| e.to_string())?;
        Ok(scratch)
    }

    /// Writes the scans, the tablet's table and the patches.
    fn lay_out(&self, vips: &Path) -> Result<(), String> {
        let write = |name: &str, bytes: &[u8]| {
            fs::write(self.0.join(name), bytes).map_err(|e| format!("{name}: {e}"))
        };
        let form = TiffForm::default();
        write(
            "stored.tif",
            &tiff_grey16(WIDTH as u32, HEIGHT as u32, &codes(), form),
        )?;
        for kind in ["lzw", "deflate"] {
            let to = format!("{kind}.tif");
            timed(
                vips,
                &["tiffsave", "stored.tif", &to, "--compression", kind],
                &self.0,
            )?;
        }
        let mut tablet = "step,density,density_sd\n".to_owned();
        for step in 0..STEPS {
            tablet += &format!("{},{:.2},0.005\n", step + 1, step_density(step));
        }
        write("tablet.csv", tablet.as_bytes())?;
        let mut patches = "name,x_px,y_px,width_px,height_px\n".to_owned();
        for field in 0..COLUMNS * ROWS {
            let x = field % COLUMNS * FIELD_WIDTH + 400;
            let y = TABLET_ROWS + field / COLUMNS * FIELD_HEIGHT + 800;
            patches += &format!("field-{field},{x},{y},400,400\n");
        }
        write("patches.csv", patches.as_bytes())
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // In the system's folder for such things; what stays is harmless.
        drop(fs::remove_dir_all(&self.0));
    }
}

/// Code values proportional to light, with grain over all.
fn codes() -> Vec<u16> {
    let light = |density: f64| 60_000.0 * 10_f64.powf(-density);
    let steps: Vec<f64> = (0..STEPS).map(|s| light(step_density(s))).collect();
    let fields: Vec<f64> = (0..COLUMNS * ROWS)
        .map(|f| light(field_density(f)))
        .collect();
    let mut state = 1_u64;
    let mut codes = Vec::with_capacity(WIDTH * HEIGHT);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let even = match y.checked_sub(TABLET_ROWS) {
                None => steps[x * STEPS / WIDTH],
                Some(below) => fields[below / FIELD_HEIGHT * COLUMNS + x / FIELD_WIDTH],
            };
            // A linear congruential generator: the same grain every time.
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let grain = 1.0 + 0.02 * ((state >> 40) as f64 / f64::from(1 << 24) - 0.5);
            codes.push((even * grain) as u16);
        }
    }
    codes
}
