//! The checks of scans against made scans: as a scanner gives them, and doctored.
//!
//! Every doctored scan has its own draw, so that no clean scan is looked at twice,
//! and goes the whole way: encoded, decoded, surveyed, calibrated by its tablet. A
//! scan counts as found when a check of the kind that was done to it speaks, and
//! as a false alarm when any check speaks of a scan that nothing was done to.

mod doing;
mod look;

use doing::{BEYOND, DOINGS, Doing};
use look::{Looked, look, look_at_file};
use negative::honesty::HonestyFinding;
use std::path::PathBuf;
use testkit::film_scan;

/// Scans that nothing is done to, when no other number is asked for.
const CLEAN: u64 = 200;
/// Share that must be found.
const FOUND: f64 = 0.95;
/// Share of clean scans that may raise an alarm.
const FALSE: f64 = 0.02;

struct Wanted {
    draw: u64,
    clean: u64,
    scans: Option<PathBuf>,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        draw: 1,
        clean: CLEAN,
        scans: None,
    };
    for pair in words.chunks(2) {
        match pair {
            [word @ ("--draw" | "--clean"), value] => {
                let number = value
                    .parse()
                    .map_err(|_| format!("{word} wants a whole number, not {value:?}"))?;
                if *word == "--draw" {
                    wanted.draw = number;
                } else {
                    wanted.clean = number;
                }
            }
            ["--scans", folder] => wanted.scans = Some(PathBuf::from(folder)),
            _ => {
                return Err(format!(
                    "doctored knows --draw, --clean and --scans, not {}",
                    pair[0]
                ));
            }
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
    if wanted.clean == 0 {
        return Err("--clean wants at least 1".to_owned());
    }
    let first = wanted.draw * 10_000;
    let missed = table(DOINGS, first);
    let found = DOINGS.len() - missed.len();
    println!("\nBeyond what the checks can tell, not counted:\n");
    table(BEYOND, first + 3000);
    let draws = first + 5000..first + 5000 + wanted.clean;
    let alarmed: Vec<(u64, Vec<HonestyFinding>)> = draws
        .map(|draw| (draw, done(&doing::NOTHING, draw).findings))
        .filter(|(_, findings)| !findings.is_empty())
        .collect();
    let share = found as f64 / DOINGS.len() as f64;
    let wrong = alarmed.len() as f64 / wanted.clean as f64;
    println!(
        "\n{found} of {} doctored scans found ({:.1} %), {} false alarms in {} clean scans ({:.1} %)",
        DOINGS.len(),
        share * 100.0,
        alarmed.len(),
        wanted.clean,
        wrong * 100.0
    );
    for (draw, finding) in alarmed
        .iter()
        .flat_map(|(d, f)| f.iter().map(move |f| (d, f)))
    {
        println!(
            "false alarm, draw {draw}: {}: {}",
            finding.flag.name(),
            finding.evidence
        );
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

/// Does each to a scan of its own draw, prints what was told, gives what was missed.
fn table(doings: &[Doing], first: u64) -> Vec<String> {
    println!("| what was done | how strongly | found by | evidence |");
    println!("|---|---|---|---|");
    let mut missed = vec![];
    for (draw, doing) in (first..).zip(doings) {
        let looked = done(doing, draw);
        let told = looked.told(doing.flags);
        println!(
            "| {} | {} | {} | {} |",
            doing.kind,
            doing.strength,
            told.map_or("**missed**", |f| f.flag.name()),
            told.map_or("", |f| f.evidence.as_str())
        );
        if told.is_none() {
            missed.push(format!("{}, {}", doing.kind, doing.strength));
        }
    }
    missed
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
        // A halo is told in about six of ten made scans: draw 12 is one of them.
        for kind in ["levels stretched, 16 bits", "sharpened", "JPEG, then TIFF"] {
            let doing = DOINGS.iter().rfind(|d| d.kind == kind).unwrap();
            let looked = done(doing, 12);
            assert!(looked.told(doing.flags).is_some(), "{kind}");
        }
        assert_eq!(done(&doing::NOTHING, 12).findings, []);
    }
}
