//! Readers of outside bytes against damaged files.
//!
//! Starts from small sound files, damages them in the ways files are damaged and
//! a few more, and holds what the readers do to the claims in [`claims`] (spectral
//! files) and [`scan_claims`] (scans). Runs on the stable compiler; the folder `fuzz`
//! has the same claims for a fuzzer that watches which code a file reaches, which
//! needs a nightly compiler.
//!
//! A finding is made as small as it gets and printed, to be kept as a test.

mod claims;
mod damage;
mod scan_claims;
mod scan_seeds;
mod seeds;

use claims::Target;
use damage::Chance;
use scan_claims::ScanTarget;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// A text that takes longer than this to read is a finding: the longest seed has some hundred lines.
const SLOW_TEXT: Duration = Duration::from_secs(1);

/// A scan of half a megapixel that takes longer than this, with all its channels and passes, is a finding.
const SLOW_SCAN: Duration = Duration::from_secs(5);

struct Wanted {
    seconds: u64,
    target: Option<String>,
    draw: u64,
    /// Files to begin with beside those made here.
    files: Option<PathBuf>,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        seconds: 60,
        target: None,
        draw: 1,
        files: None,
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
            "--files" => wanted.files = Some(PathBuf::from(value)),
            _ => {
                return Err(format!(
                    "fuzz knows --seconds, --target, --draw and --files, not {name}"
                ));
            }
        }
    }
    Ok(wanted)
}

/// Holds a reader to its claims; says whether anything was read to its end.
type Hold = Box<dyn Fn(&[u8]) -> bool>;

/// One kind of file, its sound ones, and what is held of it.
struct Subject {
    name: &'static str,
    seeds: Vec<Vec<u8>>,
    hold: Hold,
    slow: Duration,
    damage: fn(&[Vec<u8>], &mut Chance) -> Vec<u8>,
}

/// Everything that reads bytes from outside.
fn subjects() -> Vec<Subject> {
    let spectral = Target::ALL.map(|target| Subject {
        name: target.name(),
        seeds: seeds::of(target)
            .iter()
            .map(|seed| seed.as_bytes().to_vec())
            .collect(),
        hold: Box::new(move |bytes| target.hold(bytes)),
        slow: SLOW_TEXT,
        damage: damage::damaged,
    });
    let scans = ScanTarget::ALL.map(|target| Subject {
        name: target.name(),
        seeds: scan_seeds::of(target),
        hold: Box::new(move |bytes| target.hold(bytes)),
        slow: SLOW_SCAN,
        damage: damage::damaged_binary,
    });
    spectral.into_iter().chain(scans).collect()
}

/// Writes the sound files, one folder for each kind, where a fuzzer can begin.
pub(crate) fn write_seeds(folder: &Path) -> Result<(), String> {
    for subject in subjects() {
        let own = folder.join(subject.name);
        std::fs::create_dir_all(&own).map_err(|e| format!("{}: {e}", own.display()))?;
        for (number, seed) in subject.seeds.iter().enumerate() {
            let path = own.join(format!("seed-{number}"));
            std::fs::write(&path, seed).map_err(|e| format!("{}: {e}", path.display()))?;
        }
        println!("{}: {} files", own.display(), subject.seeds.len());
    }
    Ok(())
}

/// The files of a folder, sound or not.
fn files_of(folder: &Path) -> Result<Vec<Vec<u8>>, String> {
    let told = |error: std::io::Error| format!("{}: {error}", folder.display());
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(told)? {
        let path = entry.map_err(told)?.path();
        if path.is_file() {
            files.push(std::fs::read(&path).map_err(told)?);
        }
    }
    if files.is_empty() {
        return Err(format!("{} holds no file", folder.display()));
    }
    Ok(files)
}

/// Damages files for the time asked for, shared among the targets; an error tells the findings.
pub(crate) fn run(words: &[&str]) -> Result<(), String> {
    if let ["--seeds", folder] = words {
        return write_seeds(Path::new(folder));
    }
    let wanted = wanted(words)?;
    let mut subjects = subjects();
    let names: Vec<&str> = subjects.iter().map(|subject| subject.name).collect();
    let names = names.join(" ");
    if let Some(name) = &wanted.target {
        subjects.retain(|subject| subject.name == name);
    }
    let share = u32::try_from(subjects.len()).unwrap_or(u32::MAX);
    if share == 0 {
        return Err(format!("no such target; there are {names}"));
    }
    if let Some(folder) = &wanted.files {
        for subject in &mut subjects {
            subject.seeds.extend(files_of(folder)?);
        }
    }
    // Each finding is told once, below, and not by every panic on the way.
    std::panic::set_hook(Box::new(|_| {}));
    let time = Duration::from_secs(wanted.seconds) / share;
    let mut findings = vec![];
    for (number, subject) in subjects.iter().enumerate() {
        let (files, read, finding) = hunt(subject, time, wanted.draw ^ (number as u64) << 32);
        println!(
            "{:<6} {files} files in {} s, {read} read to the end, {}",
            subject.name,
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

/// Files tried, files that gave what they hold, and the first finding.
fn hunt(subject: &Subject, time: Duration, draw: u64) -> (u64, u64, Option<String>) {
    let mut chance = Chance::new(draw);
    let seeds = subject.seeds.len();
    // Damaged files that still read are worth damaging further.
    let mut pool = subject.seeds.clone();
    let (mut files, mut read) = (0, 0);
    let began = Instant::now();
    while began.elapsed() < time {
        let file = (subject.damage)(&pool, &mut chance);
        files += 1;
        match outcome(subject, &file) {
            Ok(true) => {
                read += 1;
                keep(&mut pool, file, seeds, &mut chance);
            }
            Ok(false) => {}
            Err(why) => return (files, read, Some(told(subject, &file, &why))),
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

/// Reads a file; slow is what is slow each time, not what had to wait for another program.
fn outcome(subject: &Subject, file: &[u8]) -> Result<bool, String> {
    const TRIES: usize = 3;
    let mut quickest = Duration::MAX;
    for _ in 0..TRIES {
        let (read, took) = timed(subject, file)?;
        if took <= subject.slow {
            return Ok(read);
        }
        quickest = quickest.min(took);
    }
    Err(format!(
        "took {:.1} s, the quickest of {TRIES} tries",
        quickest.as_secs_f64()
    ))
}

fn timed(subject: &Subject, file: &[u8]) -> Result<(bool, Duration), String> {
    let began = Instant::now();
    let read = catch_unwind(AssertUnwindSafe(|| (subject.hold)(file))).map_err(|panic| {
        panic
            .downcast_ref::<String>()
            .cloned()
            .or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()))
            .unwrap_or_else(|| "panicked".to_owned())
    })?;
    Ok((read, began.elapsed()))
}

/// The finding, cut down as long as something is still wrong with it.
fn told(subject: &Subject, file: &[u8], why: &str) -> String {
    let mut small = file.to_vec();
    let mut size = small.len() / 2;
    while size > 0 {
        let mut at = 0;
        while at < small.len() {
            let mut less = small.clone();
            less.drain(at..(at + size).min(small.len()));
            if outcome(subject, &less).is_err() {
                small = less;
            } else {
                at += size;
            }
        }
        size /= 2;
    }
    format!("{}: {why}\n  b\"{}\"", subject.name, small.escape_ascii())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_seed_is_read_and_holds_the_claims() {
        for subject in subjects() {
            for (number, seed) in subject.seeds.iter().enumerate() {
                let read = outcome(&subject, seed);
                assert_eq!(read, Ok(true), "{} seed {number}", subject.name);
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
