//! The checks of scans against made scans: as a scanner gives them, and doctored.
//!
//! Every doctored scan has its own draw, so that no clean scan is looked at twice,
//! and goes the whole way: encoded, decoded, surveyed, calibrated by its tablet. A
//! scan counts as found when a check of the kind that was done to it speaks, and
//! as a false alarm when any check speaks of a scan that nothing was done to.

mod doing;
mod look;

use doing::{DOINGS, Doing};
use look::{Looked, look, look_at_file};
use std::path::PathBuf;
use testkit::film_scan;

/// Scans that nothing is done to.
const CLEAN: u64 = 40;
/// Share that must be found.
const FOUND: f64 = 0.95;
/// Share of clean scans that may raise an alarm.
const FALSE: f64 = 0.02;

struct Wanted {
    draw: u64,
    scans: Option<PathBuf>,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        draw: 1,
        scans: None,
    };
    for pair in words.chunks(2) {
        match pair {
            ["--draw", value] => {
                wanted.draw = value
                    .parse()
                    .map_err(|_| format!("--draw wants a whole number, not {value:?}"))?;
            }
            ["--scans", folder] => wanted.scans = Some(PathBuf::from(folder)),
            _ => return Err(format!("doctored knows --draw and --scans, not {}", pair[0])),
        }
    }
    Ok(wanted)
}

/// Tries the checks; an error tells what was asked for and not reached.
pub(crate) fn run(words: &[&str]) -> Result<(), String> {
    let wanted = wanted(words)?;
    if let Some(folder) = &wanted.scans {
        return scans_of(folder);
    }
    let (mut found, mut missed) = (0, vec![]);
    println!("| what was done | how strongly | found by | evidence |");
    println!("|---|---|---|---|");
    for (number, doing) in (0..).zip(DOINGS) {
        let looked = done(doing, wanted.draw * 10_000 + number);
        let told = looked.told(doing.flags);
        println!(
            "| {} | {} | {} | {} |",
            doing.kind,
            doing.strength,
            told.map_or("**missed**", |f| f.flag.name()),
            told.map_or("", |f| f.evidence.as_str())
        );
        match told {
            Some(_) => found += 1,
            None => missed.push(format!("{}, {}", doing.kind, doing.strength)),
        }
    }
    let mut alarms = vec![];
    for number in 0..CLEAN {
        let draw = wanted.draw * 10_000 + 5000 + number;
        for finding in done(&doing::NOTHING, draw).findings {
            alarms.push(format!("draw {draw}: {}: {}", finding.flag.name(), finding.evidence));
        }
    }
    let mut alarmed: Vec<&str> = alarms.iter().filter_map(|a| a.split(':').next()).collect();
    alarmed.dedup();
    let share = found as f64 / DOINGS.len() as f64;
    let wrong = alarmed.len() as f64 / CLEAN as f64;
    println!(
        "\n{found} of {} doctored scans found ({:.1} %), {} false alarms in {CLEAN} clean scans ({:.1} %)",
        DOINGS.len(),
        share * 100.0,
        alarmed.len(),
        wrong * 100.0
    );
    for alarm in &alarms {
        println!("false alarm, {alarm}");
    }
    if share < FOUND || wrong > FALSE {
        return Err(format!(
            "at least {:.0} % must be found and at most {:.0} % be false; missed: {}",
            FOUND * 100.0,
            FALSE * 100.0,
            missed.join("; ")
        ));
    }
    Ok(())
}

/// Makes a scan, does it, and looks at it beside two others of the same film.
fn done(doing: &Doing, draw: u64) -> Looked {
    let scan = film_scan(draw, doing.plan);
    let mut sent = doing::sent(&scan);
    (doing.act)(&mut sent);
    look(&scan, &sent)
}

/// Says what the checks find in real files.
fn scans_of(folder: &PathBuf) -> Result<(), String> {
    let entries = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    for path in paths.iter().filter(|p| p.is_file()) {
        println!("{}", path.file_name().unwrap_or_default().to_string_lossy());
        match look_at_file(path) {
            Ok(findings) => {
                for finding in findings {
                    println!("  {}: {}", finding.flag.name(), finding.evidence);
                }
            }
            Err(why) => println!("  not read: {why}"),
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use testkit::FilmScanPlan;

    #[test]
    fn kinds_are_tried_in_several_strengths_and_forty_in_all() {
        assert!(DOINGS.len() >= 40, "{}", DOINGS.len());
        let plans = DOINGS.iter().filter(|d| d.plan != FilmScanPlan::default());
        assert!(plans.count() > 0);
    }

    #[test]
    fn a_stretch_a_halo_and_blocks_are_found_and_a_clean_scan_is_let_alone() {
        for kind in ["levels stretched, 16 bits", "sharpened", "JPEG, then TIFF"] {
            let doing = DOINGS.iter().rfind(|d| d.kind == kind).unwrap();
            let looked = done(doing, 11);
            assert!(looked.told(doing.flags).is_some(), "{kind}");
        }
        assert_eq!(done(&doing::NOTHING, 12).findings, []);
    }
}
