//! Shifts of one texture by ours and by two published methods: cross-correlation
//! upsampled by a Fourier transform, and the correlation coefficient maximised by
//! warping (ECC).
//!
//! Ours finds shift, rotation, scale and their uncertainty, and is timed beside
//! them in the same run.

use super::median;
use crate::command::output;
use crate::python::python;
use crate::workspace::Workspace;
use negative::registration::{GreyPicture, Motion, register};
use serde_json::Value;
use std::time::Instant;
use testkit::waves;

const LIBRARIES: &[&str] = &[
    "numpy==2.4.6",
    "scikit-image==0.26.0",
    "opencv-python-headless==5.0.0.93",
];
const SCRIPT: &str = include_str!("peers.py");
/// Side of the textures. \[pixels\]
const SIDE: usize = 512;
/// Times ours is timed at each shift.
const RUNS: usize = 5;
/// How much larger than theirs our error may be.
const TIMES_THEIRS: f64 = 2.0;
/// Half a step of the upsampled correlation, which at round shifts is exact by
/// luck. \[pixels\]
const HALF_STEP: f64 = 0.005;

/// Two shifts common in tables of such methods, and six of this draw.
fn shifts(draw: u64) -> Vec<(f64, f64)> {
    let part =
        |n: u64, k: f64| 12.0 * (((8 * draw + n) as f64 * 0.618_033_988_749_895 * k).fract() - 0.5);
    let drawn = (0..6).map(|n| (part(n, 1.0), part(n, 3.0)));
    [(0.5, 0.25), (-4.6, 3.2)]
        .into_iter()
        .chain(drawn)
        .collect()
}

/// Root mean square of how far shifts lie from the true ones. \[pixels\]
fn error(found: &[(f64, f64)], truth: &[(f64, f64)]) -> f64 {
    let squares: f64 = found
        .iter()
        .zip(truth)
        .map(|(a, b)| (a.0 - b.0).powi(2) + (a.1 - b.1).powi(2))
        .sum();
    (squares / truth.len() as f64).sqrt()
}

/// Compares and gives what is wrong.
pub(crate) fn run(workspace: &Workspace, draw: u64) -> Result<Vec<String>, String> {
    let truth = shifts(draw);
    let picture = |shift| GreyPicture::new(SIDE, SIDE, waves(SIDE, shift));
    let first = picture((0.0, 0.0)).map_err(|e| e.to_string())?;
    let middle = (SIDE as f64 / 2.0, SIDE as f64 / 2.0);
    let (mut found, mut times) = (vec![], vec![]);
    for shift in &truth {
        let second = picture(*shift).map_err(|e| e.to_string())?;
        let lay = || register(&first, &second, Motion::Flat).map_err(|e| format!("{shift:?}: {e}"));
        let to = lay()?.placement().carry(middle);
        found.push((to.0 - middle.0, to.1 - middle.1));
        for _ in 0..RUNS {
            let began = Instant::now();
            std::hint::black_box(lay()?);
            times.push(1e3 * began.elapsed().as_secs_f64());
        }
    }
    let (ours_px, ours_ms) = (error(&found, &truth), median(&times));
    println!();
    println!(
        "{} shifts of a texture of {SIDE} px        error px  median ms",
        truth.len()
    );
    let line = |name: &str, px: f64, ms: f64| println!("{name:<42} {px:>9.4} {ms:>10.1}");
    line(
        "ours: shift, rotation, scale, uncertainty",
        ours_px,
        ours_ms,
    );
    let python = match python(&workspace.kept().join("registration-python"), LIBRARIES) {
        Ok(python) => python,
        Err(why) => {
            println!("!!! SKIPPED: registration is not held against published methods: {why}");
            return Ok(vec![]);
        }
    };
    let folder = workspace.scratch("registration")?;
    let write = |name: &str, shift| {
        let bytes: Vec<u8> = waves(SIDE, shift)
            .iter()
            .flat_map(|v| v.to_le_bytes())
            .collect();
        let path = folder.join(format!("{name}.raw"));
        std::fs::write(&path, bytes).map_err(|e| format!("{}: {e}", path.display()))
    };
    write("first", (0.0, 0.0))?;
    let names: Vec<String> = (0..truth.len()).map(|n| n.to_string()).collect();
    for (name, shift) in names.iter().zip(&truth) {
        write(name, *shift)?;
    }
    let (place, side) = (folder.to_string_lossy().into_owned(), SIDE.to_string());
    let mut words = vec!["-c", SCRIPT, &place, &side];
    words.extend(names.iter().map(String::as_str));
    let got = output(&python, &words, &folder)?;
    if got.code != 0 {
        return Err(format!("the published methods: {}", got.stderr.trim()));
    }
    let theirs: Value =
        serde_json::from_str(&got.stdout).map_err(|e| format!("the published methods: {e}"))?;
    let mut failed = vec![];
    for (name, of) in theirs.as_object().into_iter().flatten() {
        let found: Vec<(f64, f64)> = of["found"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(|f| Some((f[0].as_f64()?, f[1].as_f64()?)))
            .collect();
        let Some(ms) = of["ms"].as_f64().filter(|_| found.len() == truth.len()) else {
            return Err(format!("{name}: no shifts or no time"));
        };
        let px = error(&found, &truth);
        line(name, px, ms);
        let allowed = TIMES_THEIRS * px.max(HALF_STEP);
        if ours_px > allowed {
            failed.push(format!(
                "error {ours_px:.4} px, {allowed:.4} allowed by {name}"
            ));
        }
        if ours_ms > ms {
            failed.push(format!("{ours_ms:.1} ms, {name} takes {ms:.1} ms"));
        }
    }
    Ok(failed)
}
