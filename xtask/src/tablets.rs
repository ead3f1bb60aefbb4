//! The search for step tablets against made scans whose truth is known: whole
//! tablets, which shall be found, and faulty ones, which shall be refused.
//!
//! An answer is wrong when the inner outline of any step reaches out of that
//! step, or a step is called seen that is not there. No answer may be wrong.

use negative::decode::{ChannelChoice, DecodeLimits, ScanReader};
use negative::outline::Outline;
use negative::preview::{LONG_SIDE, Preview, PreviewPass};
use negative::tablet_place::{TabletPlace, TabletPlaceError, find_tablet};
use negative::tone::tone_of;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::time::Instant;
use testkit::{AnsweredStep, TabletFlaw, TabletScan, tablet_scan};

/// Share of whole tablets that must be found. About one in eight of the made scans
/// lets the dense end drown in a dark holder, so that no one can count the steps.
const FOUND: f64 = 0.8;

const FLAWS: [(TabletFlaw, &str); 10] = [
    (TabletFlaw::None, "whole"),
    (TabletFlaw::Absent, "none in the scan"),
    (TabletFlaw::ThinStepMissing, "thinnest step cut away"),
    (TabletFlaw::DenseStepMissing, "densest step cut away"),
    (TabletFlaw::MiddleStepMissing, "a step cut out"),
    (TabletFlaw::StepCovered, "a step covered"),
    (TabletFlaw::CutByScan, "cut by the scan's edge"),
    (TabletFlaw::Two, "two tablets"),
    (TabletFlaw::OtherTable, "another table"),
    (TabletFlaw::Wedge, "an even wedge"),
];

#[derive(Default)]
struct Tally {
    found: usize,
    by_pitch: usize,
    refused: usize,
    wrong: usize,
    edge: Vec<f64>,
    seconds: f64,
}

struct Wanted {
    draws: u64,
    first: u64,
    flaw: Option<String>,
    told: bool,
    scans: Option<PathBuf>,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        draws: 120,
        first: 0,
        flaw: None,
        told: false,
        scans: None,
    };
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or_else(|| format!("{word} wants a value"));
        let number = |text: &str| text.parse().map_err(|_| format!("{text:?} is no number"));
        match *word {
            "--draws" => wanted.draws = number(value()?)?,
            "--draw" => wanted.first = number(value()?)?,
            "--flaw" => wanted.flaw = Some((*value()?).to_owned()),
            "--scans" => wanted.scans = Some(PathBuf::from(value()?)),
            "--tell" => wanted.told = true,
            other => {
                return Err(format!(
                    "tablets knows --draws, --draw, --flaw, --tell and --scans, not {other}"
                ));
            }
        }
    }
    Ok(wanted)
}

/// Tries the search; an error tells what was asked for and not reached.
pub(crate) fn run(words: &[&str]) -> Result<(), String> {
    let wanted = wanted(words)?;
    if let Some(folder) = &wanted.scans {
        return in_files(folder);
    }
    println!(
        "| tablet | steps | scans | found | of these with steps by the pitch | refused | wrong | edge off, median | edge off, most | s each |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    let (mut wrong, mut found, mut whole) = (0, 0, 0);
    for (flaw, words) in FLAWS {
        if wanted
            .flaw
            .as_ref()
            .is_some_and(|only| *only != format!("{flaw:?}"))
        {
            continue;
        }
        for steps in [11, 21, 31] {
            let draws = if flaw == TabletFlaw::None {
                wanted.draws
            } else {
                wanted.draws.div_ceil(3)
            };
            let mut tally = Tally::default();
            for draw in wanted.first..wanted.first + draws {
                look(
                    draw * 3 + steps as u64 / 10 - 1,
                    steps,
                    flaw,
                    &mut tally,
                    wanted.told,
                );
            }
            wrong += tally.wrong;
            if flaw == TabletFlaw::None {
                found += tally.found;
                whole += draws as usize;
            }
            tally.edge.sort_by(f64::total_cmp);
            let shown = |value: Option<&f64>| value.map_or("".to_owned(), |v| format!("{v:.3}"));
            println!(
                "| {words} | {steps} | {draws} | {} | {} | {} | {} | {} | {} | {:.2} |",
                tally.found,
                tally.by_pitch,
                tally.refused,
                tally.wrong,
                shown(tally.edge.get(tally.edge.len() / 2)),
                shown(tally.edge.last()),
                tally.seconds / draws as f64
            );
        }
    }
    if wrong > 0 {
        return Err(format!("{wrong} answers are wrong"));
    }
    if whole > 0 && (found as f64) < FOUND * whole as f64 {
        return Err(format!(
            "{found} of {whole} whole tablets found, {FOUND} wanted"
        ));
    }
    Ok(())
}

fn look(draw: u64, steps: usize, flaw: TabletFlaw, tally: &mut Tally, told: bool) {
    let scan = tablet_scan(draw, steps, flaw);
    let preview = Preview {
        width: scan.width as u32,
        height: scan.height as u32,
        left: 0,
        top: 0,
        box_side: 1,
        signal: scan.signal.clone(),
        tone_known: scan.gamma == 1.0,
    };
    let start = Instant::now();
    let answer = find_tablet(&preview, &scan.table);
    tally.seconds += start.elapsed().as_secs_f64();
    let tell = |what: &str| println!("  {draw} {what}\n      {}", scan.scene);
    let place = match answer {
        Ok(place) => place,
        Err(error) => {
            tally.refused += 1;
            if told {
                tell(&error.to_string());
            }
            return;
        }
    };
    match compared(&scan, &place) {
        Ok(error) => {
            tally.found += 1;
            tally.by_pitch += usize::from(place.placed_by_pitch() > 0);
            tally.edge.push(error);
            if told && (flaw != TabletFlaw::None || error > 0.08) {
                tell(&format!(
                    "found, {} by pitch, edge {error:.3}",
                    place.placed_by_pitch()
                ));
            }
        }
        Err(what) => {
            tally.wrong += 1;
            tell(&format!("WRONG {what}"));
        }
    }
}

fn compared(scan: &TabletScan, place: &TabletPlace) -> Result<f64, String> {
    let answer: Vec<AnsweredStep> = place
        .steps
        .iter()
        .map(|step| AnsweredStep {
            inner: match &step.outline {
                Outline::Polygon(corners) => corners.clone(),
                _ => vec![],
            },
            whole: step.whole,
            seen: step.seen,
        })
        .collect();
    scan.compare(&answer).map(|error| error.edge)
}

/// Looks for the usual tablets in real scans, in which there are none.
fn in_files(folder: &Path) -> Result<(), String> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .map_err(|e| format!("{}: {e}", folder.display()))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.is_file())
        .collect();
    files.sort();
    let mut wrong = 0;
    for path in files {
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let preview = match preview_of(&path) {
            Ok(preview) => preview,
            Err(error) => {
                println!("{name}: not read, {error}");
                continue;
            }
        };
        for (steps, step) in [(11, 0.30), (21, 0.15), (31, 0.10)] {
            let table: Vec<f64> = (0..steps).map(|k| 0.05 + step * f64::from(k)).collect();
            let start = Instant::now();
            let answer = find_tablet(&preview, &table);
            let seconds = start.elapsed().as_secs_f64();
            match answer {
                Ok(place) => {
                    wrong += 1;
                    println!("{name}: {steps} steps FOUND, {:?}", place.steps[0].whole);
                }
                Err(TabletPlaceError::NotFound) => {
                    println!("{name}: {steps} steps not found, {seconds:.2} s");
                }
                Err(error) => println!("{name}: {error}, {seconds:.2} s"),
            }
        }
    }
    if wrong > 0 {
        return Err(format!("{wrong} tablets found where there is none"));
    }
    Ok(())
}

fn preview_of(path: &Path) -> Result<Preview, String> {
    let file = File::open(path).map_err(|e| e.to_string())?;
    let mut reader = ScanReader::open(BufReader::new(file), 0, &DecodeLimits::default())
        .map_err(|e| e.to_string())?;
    let channel: ChannelChoice = reader.usual_channel();
    let info = reader.info().clone();
    let tone = tone_of(&info, None, channel);
    let mut pass = PreviewPass::new(info.width, info.height, &tone, None, LONG_SIDE)
        .map_err(|e| e.to_string())?;
    reader
        .for_each_row(channel, |row| pass.take(&row))
        .map_err(|e| e.to_string())?;
    Ok(pass.finish())
}
