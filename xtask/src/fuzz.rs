//! Readers of outside bytes against damaged files.
//!
//! Starts from small sound files, damages them in the ways files are damaged and
//! a few more, and holds what the readers do to the claims in [`claims`]. Runs on
//! the stable compiler; the folder `fuzz` has the same claims for a fuzzer that
//! watches which code a file reaches, which needs a nightly compiler.
//!
//! A finding is made as small as it gets and printed, to be kept as a test.

mod claims;
mod damage;
mod seeds;

use claims::Target;
use damage::Chance;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

/// A file that takes longer than this to read is a finding: the longest seed has some hundred lines.
const SLOW: Duration = Duration::from_secs(1);

struct Wanted {
    seconds: u64,
    target: Option<String>,
    draw: u64,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        seconds: 60,
        target: None,
        draw: 1,
    };
    for pair in words.chunks(2) {
        let [name, value] = pair else {
            return Err(format!("{} wants a value", pair[0]));
        };
        let number = || {
            value
                .parse::<u64>()
                .map_err(|_| format!("{name} wants a whole number, not {value:?}"))
        };
        match *name {
            "--seconds" => wanted.seconds = number()?.max(1),
            "--draw" => wanted.draw = number()?,
            "--target" => wanted.target = Some((*value).to_owned()),
            _ => {
                return Err(format!(
                    "fuzz knows --seconds, --target and --draw, not {name}"
                ));
            }
        }
    }
    Ok(wanted)
}

/// Damages files for the time asked for, shared among the targets; an error tells the findings.
pub(crate) fn run(words: &[&str]) -> Result<(), String> {
    let wanted = wanted(words)?;
    let targets: Vec<Target> = Target::ALL
        .into_iter()
        .filter(|target| {
            wanted
                .target
                .as_deref()
                .is_none_or(|name| name == target.name())
        })
        .collect();
    let share = u32::try_from(targets.len()).unwrap_or(u32::MAX);
    if share == 0 {
        let names = Target::ALL.map(Target::name);
        return Err(format!("no such target; there are {}", names.join(" ")));
    }
    // Each finding is told once, below, and not by every panic on the way.
    std::panic::set_hook(Box::new(|_| {}));
    let time = Duration::from_secs(wanted.seconds) / share;
    let mut findings = vec![];
    for target in targets {
        let (files, read, finding) = hunt(target, time, wanted.draw);
        println!(
            "{:<6} {files} files in {} s, {read} read to the end, {}",
            target.name(),
            time.as_secs(),
            if finding.is_some() {
                "1 finding"
            } else {
                "no finding"
            }
        );
        findings.extend(finding);
    }
    let _ = std::panic::take_hook();
    if findings.is_empty() {
        Ok(())
    } else {
        Err(findings.join("\n"))
    }
}

/// Files tried, files that gave a curve or a table, and the first finding.
fn hunt(target: Target, time: Duration, draw: u64) -> (u64, u64, Option<String>) {
    let mut chance = Chance::new(draw ^ (target as u64) << 32);
    let seeds = seeds::of(target);
    // Damaged files that still read are worth damaging further.
    let mut pool: Vec<Vec<u8>> = seeds.iter().map(|seed| seed.as_bytes().to_vec()).collect();
    let (mut files, mut read) = (0, 0);
    let began = Instant::now();
    while began.elapsed() < time {
        let file = damage::damaged(&pool, &mut chance);
        files += 1;
        match outcome(target, &file) {
            Ok(true) => {
                read += 1;
                keep(&mut pool, file, seeds.len(), &mut chance);
            }
            Ok(false) => {}
            Err(why) => return (files, read, Some(told(target, &file, &why))),
        }
    }
    (files, read, None)
}

/// Keeps a file in the pool beside the seeds, in a random place once the pool is full.
fn keep(pool: &mut Vec<Vec<u8>>, file: Vec<u8>, seeds: usize, chance: &mut Chance) {
    const POOL: usize = 200;
    if file.len() > 4000 {
        return;
    }
    if pool.len() < POOL {
        pool.push(file);
    } else {
        pool[seeds + chance.below(POOL - seeds)] = file;
    }
}

fn outcome(target: Target, file: &[u8]) -> Result<bool, String> {
    let began = Instant::now();
    let read = catch_unwind(AssertUnwindSafe(|| target.hold(file))).map_err(|panic| {
        panic
            .downcast_ref::<String>()
            .cloned()
            .or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()))
            .unwrap_or_else(|| "panicked".to_owned())
    })?;
    let took = began.elapsed();
    if took > SLOW {
        return Err(format!("took {:.1} s", took.as_secs_f64()));
    }
    Ok(read)
}

/// The finding, cut down as long as something is still wrong with it.
fn told(target: Target, file: &[u8], why: &str) -> String {
    let mut small = file.to_vec();
    let mut size = small.len() / 2;
    while size > 0 {
        let mut at = 0;
        while at < small.len() {
            let mut less = small.clone();
            less.drain(at..(at + size).min(small.len()));
            if outcome(target, &less).is_err() {
                small = less;
            } else {
                at += size;
            }
        }
        size /= 2;
    }
    format!("{}: {why}\n  b\"{}\"", target.name(), small.escape_ascii())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_seed_is_read_and_holds_the_claims() {
        for target in Target::ALL {
            for seed in seeds::of(target) {
                assert_eq!(outcome(target, seed.as_bytes()), Ok(true), "{seed}");
            }
        }
    }

    #[test]
    fn the_same_draw_damages_the_same() {
        let pool = vec![b"nm;T (%)\n700;24\n".to_vec(), b"400 1\n".to_vec()];
        let some = |draw| {
            let mut chance = Chance::new(draw);
            (0..50)
                .map(|_| damage::damaged(&pool, &mut chance))
                .collect::<Vec<_>>()
        };
        assert_eq!(some(7), some(7));
        assert_ne!(some(7), some(8));
    }
}
