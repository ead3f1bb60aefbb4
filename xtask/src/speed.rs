//! The time of 480 000 spectral integrals against the same whole job by numpy.
//!
//! Both sides are programs of their own, called in turn, each with one thread and
//! with as many as the machine has cores, so that a machine busy with other work
//! slows both. Where there is no Python or no index to install numpy from, only ours
//! is timed, loudly. Ends with an error when ours is slower or the sums differ.

use crate::python::python;
use crate::workspace::Workspace;
use serde_json::{Value, json};
use spectra::batch::{Sampled, integrals};
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// The peer; its wheels carry OpenBLAS.
const LIBRARIES: &[&str] = &["numpy==2.4.6"];
const SCRIPT: &str = include_str!("speed/peer.py");

const WAVELENGTHS: usize = 521;
const LIGHTS: usize = 50;
const FILMS: usize = 20;
const FILTERS: usize = 40;
const SUBJECTS: usize = 12;

/// Times each side is called, and turns each time.
const ROUNDS: usize = 5;
const TURNS: usize = 40;

fn curves(count: usize, seed: f64) -> Vec<f64> {
    (0..count * WAVELENGTHS)
        .map(|i| 0.6 + 0.4 * (seed * i as f64 + seed).sin())
        .collect()
}

/// Times ours in this program and prints the median and the sum of all integrals.
pub(crate) fn ours(turns: &str) -> Result<(), String> {
    let turns: usize = turns.parse().map_err(|e| format!("{turns}: {e}"))?;
    let (lights, films) = (curves(LIGHTS, 0.013), curves(FILMS, 0.017));
    let (filters, subjects) = (curves(FILTERS, 0.019), curves(SUBJECTS, 0.023));
    let mut weights = [1.0; WAVELENGTHS];
    weights[0] = 0.5;
    weights[WAVELENGTHS - 1] = 0.5;
    let of = |values, count| Sampled { values, count };
    let whole = || {
        integrals(
            of(&lights, LIGHTS),
            of(&films, FILMS),
            of(&filters, FILTERS),
            of(&subjects, SUBJECTS),
            &weights,
        )
        .map_err(|e| e.to_string())
    };
    let all = whole()?;
    let mut sum = 0.0;
    for (light, film) in (0..LIGHTS).flat_map(|e| (0..FILMS).map(move |s| (e, s))) {
        for (filter, subject) in (0..FILTERS).flat_map(|t| (0..SUBJECTS).map(move |r| (t, r))) {
            sum += all.at(light, film, filter, subject).unwrap_or(f64::NAN);
        }
    }
    let mut times = vec![];
    for _ in 0..turns.max(1) {
        let began = Instant::now();
        std::hint::black_box(whole()?);
        times.push(1e3 * began.elapsed().as_secs_f64());
    }
    println!("{}", json!({ "whole_ms": median(times), "sum": sum }));
    Ok(())
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Compares both sides with one thread and with all cores.
pub(crate) fn run(workspace: &Workspace) -> Result<(), String> {
    if cfg!(debug_assertions) {
        return Err("times mean nothing without optimisation: cargo run --release".to_owned());
    }
    let ours = std::env::current_exe().map_err(|e| e.to_string())?;
    let numpy = match python(&workspace.kept().join("speed-python"), LIBRARIES) {
        Ok(python) => Some(python),
        Err(why) => {
            println!("!!! SKIPPED: spectral integrals are not timed against numpy: {why}");
            None
        }
    };
    let turns = TURNS.to_string();
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!(
        "480 000 integrals on {WAVELENGTHS} wavelengths; medians of {TURNS}, {ROUNDS} rounds in turn, ms"
    );
    println!("threads  ours  numpy  numpy, product alone  ours/numpy");
    let mut slower = vec![];
    let mut counts = vec![1, cores];
    counts.dedup();
    for threads in counts {
        let (mut mine, mut theirs, mut product, mut ratios) = (vec![], vec![], vec![], vec![]);
        for _ in 0..ROUNDS {
            let our = called(&ours, &["speed-ours", &turns], threads)?;
            let our_ms = number(&our, "whole_ms")?;
            mine.push(our_ms);
            let Some(numpy) = &numpy else { continue };
            let their = called(numpy, &["-c", SCRIPT, &turns], threads)?;
            let (a, b) = (number(&our, "sum")?, number(&their, "sum")?);
            // 1e-9: the order of some 10^8 sums differs.
            if (a / b - 1.0).abs() > 1e-9 {
                return Err(format!(
                    "the sum of all integrals is {a} by ours, {b} by numpy"
                ));
            }
            let their_ms = number(&their, "whole_ms")?;
            theirs.push(their_ms);
            product.push(number(&their, "product_ms")?);
            ratios.push(our_ms / their_ms);
        }
        if numpy.is_none() {
            println!("{threads:<7} {:>5.1}      -", median(mine));
            continue;
        }
        let ratio = median(ratios);
        println!(
            "{threads:<7} {:>5.1} {:>6.1} {:>21.1} {ratio:>11.2}",
            median(mine),
            median(theirs),
            median(product),
        );
        if ratio > 1.0 {
            slower.push(format!("{threads} threads: {ratio:.2} of numpy's time"));
        }
    }
    if slower.is_empty() {
        Ok(())
    } else {
        Err(format!("slower than numpy with {}", slower.join(", ")))
    }
}

/// Calls a program with so many threads and reads the JSON it prints.
fn called(program: &Path, arguments: &[&str], threads: usize) -> Result<Value, String> {
    let threads = threads.to_string();
    let got = Command::new(program)
        .args(arguments)
        .env("RAYON_NUM_THREADS", &threads)
        .env("OPENBLAS_NUM_THREADS", &threads)
        .output()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    if !got.status.success() {
        let said = String::from_utf8_lossy(&got.stderr);
        return Err(format!("{}: {}", program.display(), said.trim()));
    }
    serde_json::from_slice(&got.stdout).map_err(|e| format!("{}: {e}", program.display()))
}

fn number(json: &Value, key: &str) -> Result<f64, String> {
    json[key].as_f64().ok_or_else(|| format!("no number {key}"))
}
