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
use std::collections::BTreeSet;
use std::path::PathBuf;
use testkit::film_scan;

/// Scans that nothing is done to, when no other number is asked for.
const CLEAN: u64 = 200;
/// Share that must be found.
const FOUND: f64 = 0.95;
/// Share of clean scans that may raise an alarm.
const FALSE: f64 = 0.02;

/// Draws from which scans of the same number never coincide.
const PER_DRAW: u64 = 10_000;
/// Chance below which a count of few scans is no longer put down to luck.
const LUCK: f64 = 0.05;

struct Wanted {
    /// The first draw, and how many.
    draw: u64,
    draws: u64,
    /// Clean scans of each draw.
    clean: u64,
    /// Whether the limits make room for the luck of few scans.
    spread: bool,
    /// One kind only, each strength done to so many scans.
    kind: Option<(String, u64)>,
    scans: Option<PathBuf>,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        draw: 1,
        draws: 1,
        clean: CLEAN,
        spread: false,
        kind: None,
        scans: None,
    };
    let number = |word: &str, value: Option<&&str>| {
        let whole = value.and_then(|v| v.parse().ok()).filter(|n| *n > 0);
        whole.ok_or_else(|| format!("{word} wants a whole number of at least 1"))
    };
    let mut words = words.iter();
    while let Some(word) = words.next() {
        match *word {
            "--draw" => wanted.draw = number(word, words.next())?,
            "--draws" => wanted.draws = number(word, words.next())?,
            "--clean" => wanted.clean = number(word, words.next())?,
            "--spread" => wanted.spread = true,
            "--kind" => {
                let kind = *words.next().ok_or("--kind wants the name of a kind")?;
                wanted.kind = Some((kind.to_owned(), number("KIND", words.next())?));
            }
            "--scans" => {
                let folder = words.next().ok_or("--scans wants a folder")?;
                wanted.scans = Some(PathBuf::from(folder));
            }
            _ => {
                return Err(format!(
                    "doctored knows --draw, --draws, --clean, --spread, --kind and --scans, not {word}"
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
    let firsts = || (wanted.draw..wanted.draw + wanted.draws).map(|draw| draw * PER_DRAW);
    if let Some((kind, times)) = &wanted.kind {
        let doings = || DOINGS.iter().chain(BEYOND).filter(|d| d.kind == kind);
        if doings().count() == 0 {
            return Err(format!("nothing of the kind {kind:?} is done"));
        }
        let first = wanted.draw * PER_DRAW + 7000;
        table(doings().zip(0..).map(|(doing, i)| {
            let from = first + i * times;
            (doing, (from..from + times).collect())
        }));
        return Ok(());
    }
    let draws_of = |doings: &'static [Doing], later: u64| {
        doings.iter().zip(0..).map(move |(doing, i)| {
            let draws: Vec<u64> = firsts().map(|first| first + later + i).collect();
            (doing, draws)
        })
    };
    let missed = table(draws_of(DOINGS, 0));
    println!("\nBeyond what the checks can tell, not counted:\n");
    table(draws_of(BEYOND, 3000));
    let of_all = DOINGS.len() * wanted.draws as usize;
    let clean: Vec<u64> = firsts()
        .flat_map(|first| first + 5000..first + 5000 + wanted.clean)
        .collect();
    let mut alarms = 0;
    for draw in &clean {
        let findings = done(&doing::NOTHING, *draw).findings;
        alarms += usize::from(!findings.is_empty());
        for finding in findings {
            println!(
                "false alarm, draw {draw}: {}: {}",
                finding.flag.name(),
                finding.evidence
            );
        }
    }
    println!(
        "\n{} of {of_all} doctored scans found ({:.1} %), {alarms} false alarms in {} clean scans ({:.1} %)",
        of_all - missed.len(),
        (1.0 - missed.len() as f64 / of_all as f64) * 100.0,
        clean.len(),
        alarms as f64 / clean.len() as f64 * 100.0
    );
    let (most_missed, most_alarms) = (
        allowed(of_all, 1.0 - FOUND, wanted.spread),
        allowed(clean.len(), FALSE, wanted.spread),
    );
    if missed.len() > most_missed || alarms > most_alarms {
        return Err(format!(
            "at most {most_missed} may be missed and {most_alarms} alarms be false; missed: {}",
            missed.join("; ")
        ));
    }
    Ok(())
}

/// How many of `count` scans may go wrong where a part of `share` may.
///
/// That part itself, or with `spread` the number that checks which are wrong just so
/// often exceed less than once in twenty draws: of 52 scans at 5 % that is 5, of 50 at
/// 2 % it is 3. Few scans, judged by the share itself, would fail sound checks on
/// many a draw (52 at 3 % have more than two wrong in one draw of five).
fn allowed(count: usize, share: f64, spread: bool) -> usize {
    if !spread {
        // The least part of a scan above a whole number is rounding.
        return (count as f64 * share + 1e-9) as usize;
    }
    // Binomial: P(0) = (1 − p)^n, P(k + 1) = P(k) (n − k) / (k + 1) · p / (1 − p).
    let mut chance = (1.0 - share).powf(count as f64);
    let mut above = 1.0 - chance;
    let mut most = 0;
    while above >= LUCK && most < count {
        chance *= (count - most) as f64 / (most + 1) as f64 * share / (1.0 - share);
        above -= chance;
        most += 1;
    }
    most
}

/// Does each to scans of their own draws, prints what was told, gives what was missed.
fn table<'a>(doings: impl Iterator<Item = (&'a Doing, Vec<u64>)>) -> Vec<String> {
    println!("| what was done | how strongly | found | by the flags |");
    println!("|---|---|---|---|");
    let mut missed = vec![];
    for (doing, draws) in doings {
        let mut flags = BTreeSet::new();
        let mut found = 0;
        for draw in &draws {
            let looked = done(doing, *draw);
            if let Some(told) = looked.told(doing.flags) {
                found += 1;
                flags.insert(format!("`{}`", told.flag.name()));
            } else {
                missed.push(format!("{}, {}, draw {draw}", doing.kind, doing.strength));
            }
        }
        println!(
            "| {} | {} | {found} of {} | {} |",
            doing.kind,
            doing.strength,
            draws.len(),
            flags.into_iter().collect::<Vec<_>>().join(", ")
        );
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
    fn few_scans_may_have_bad_luck_and_many_may_not() {
        // Binomial tables: P(X > 5 | 52, 0.05) = 0.045, P(X > 4) = 0.118;
        // P(X > 3 | 50, 0.02) = 0.018, P(X > 2) = 0.078.
        assert_eq!((allowed(52, 0.05, true), allowed(50, 0.02, true)), (5, 3));
        assert_eq!(
            (allowed(312, 0.05, false), allowed(150, 0.02, false)),
            (15, 3)
        );
    }

    #[test]
    fn a_stretch_a_halo_and_blocks_are_found_and_a_clean_scan_is_let_alone() {
        for kind in ["levels stretched, 16 bits", "sharpened", "JPEG, then TIFF"] {
            let doing = DOINGS.iter().rfind(|d| d.kind == kind).unwrap();
            let looked = done(doing, 12);
            assert!(looked.told(doing.flags).is_some(), "{kind}");
        }
        assert_eq!(done(&doing::NOTHING, 12).findings, []);
    }
}
