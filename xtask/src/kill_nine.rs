//! Kill −9 in the middle of an import, of a migration and of a save.
//!
//! A program of its own (this one, started again) works on a notebook and says
//! on its standard output what was acknowledged. It is killed at a random
//! moment. Then the notebook must open, pass its full check, and hold all that
//! was acknowledged, byte for byte.
//!
//! Tried against a program that says *saved* too early, and one that refers to a scan
//! before it is whole: both are caught in the first rounds.
//!
//! What this can't show: a pulled plug also takes what the system had not yet
//! brought to the disk. Against that stand `synchronous = FULL` and the order
//! in which scans are written, which this chore does not test.

use notebook::{Check, Documents, Held, NotebookFile, ScanPlace, Stamp, TestId};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Rounds of each kind when not said otherwise: 3 × 67 is over 200.
const ROUNDS: u32 = 67;
/// Tests in the notebook that is migrated.
const MIGRATED: usize = 60;
/// Bytes of the scan that is imported: beyond what lies within the notebook's file.
const SCAN_BYTES: usize = 3_000_000;

/// What is being done when the program is killed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Work {
    Save,
    Import,
    Migration,
}

impl Work {
    const ALL: [Self; 3] = [Self::Save, Self::Import, Self::Migration];

    fn word(self) -> &'static str {
        match self {
            Self::Save => "save",
            Self::Import => "import",
            Self::Migration => "migration",
        }
    }
}

/// Runs all rounds: `[--rounds N] [--draw N]`.
pub(crate) fn run(arguments: &[&str]) -> Result<(), String> {
    let (mut rounds, mut draw) = (ROUNDS, 1_u64);
    let mut rest = arguments;
    while let [name, value, after @ ..] = rest {
        let number: u64 = value
            .parse()
            .map_err(|_| format!("{name} needs a whole number, not {value}"))?;
        match *name {
            "--rounds" => rounds = u32::try_from(number).map_err(told)?,
            "--draw" => draw = number,
            _ => return Err(format!("{name} is no option of kill-nine")),
        }
        rest = after;
    }
    if !rest.is_empty() {
        return Err("kill-nine takes --rounds N and --draw N".to_owned());
    }
    let mut random = ChaCha8Rng::seed_from_u64(draw);
    for work in Work::ALL {
        let told = rounds_of(work, rounds, &mut random)?;
        println!("{}: {told}", work.word());
    }
    Ok(())
}

/// Runs the rounds of one kind, and says in words what was met.
fn rounds_of(work: Work, rounds: u32, random: &mut ChaCha8Rng) -> Result<String, String> {
    let scratch = Scratch::new(work)?;
    let (longest, began) = (scratch.longest(work)?, Instant::now());
    let (mut acknowledged, mut cut_short) = (0_u64, 0_u32);
    for round in 0..rounds {
        let dir = scratch.0.join(round.to_string());
        fs::create_dir_all(&dir).map_err(told)?;
        if work == Work::Migration {
            scratch.lay_out_old(&dir)?;
        }
        let share = f64::from(random.next_u32()) / f64::from(u32::MAX);
        let (lines, whole) = killed(work, &dir, longest.mul_f64(share))?;
        held(work, &dir, &lines).map_err(|why| format!("{}, round {round}: {why}", work.word()))?;
        acknowledged += lines.len() as u64;
        cut_short += u32::from(!whole);
        fs::remove_dir_all(&dir).map_err(told)?;
    }
    Ok(format!(
        "{rounds} rounds, {cut_short} of them killed before the work was done, within {:.0} ms of \
         its start; {acknowledged} acknowledged changes, all held; {:.0} s",
        longest.as_secs_f64() * 1e3,
        began.elapsed().as_secs_f64()
    ))
}

fn told(error: impl std::fmt::Display) -> String {
    error.to_string()
}

fn stamp() -> Stamp {
    Stamp {
        at: "2026-06-21T12:30:00Z".to_owned(),
        by: "kill-nine".to_owned(),
    }
}

fn notebook_in(dir: &Path) -> PathBuf {
    dir.join("n.sqlite")
}

/// A folder that goes away at the end.
struct Scratch(PathBuf);

impl Scratch {
    /// Makes it, and in it the notebook of the earlier schema.
    fn new(work: Work) -> Result<Self, String> {
        let own = format!("filmproof-kill-nine-{}-{}", std::process::id(), work.word());
        let scratch = Self(std::env::temp_dir().join(own));
        fs::create_dir_all(&scratch.0).map_err(told)?;
        if work == Work::Migration {
            let mut old = NotebookFile::open(&scratch.old(), Check::Quick).map_err(told)?;
            for number in 0..MIGRATED {
                old.add_test(&test_of(number as u64, 20), &stamp(), "made")
                    .map_err(told)?;
            }
            old.back_to_schema_1().map_err(told)?;
        }
        Ok(scratch)
    }

    fn old(&self) -> PathBuf {
        self.0.join("old.sqlite")
    }

    fn lay_out_old(&self, dir: &Path) -> Result<(), String> {
        fs::copy(self.old(), notebook_in(dir))
            .map(drop)
            .map_err(told)
    }

    /// How long after its start the program may be killed: for a migration, as
    /// long as a whole one takes; else long enough for many changes.
    fn longest(&self, work: Work) -> Result<Duration, String> {
        if work != Work::Migration {
            return Ok(Duration::from_millis(500));
        }
        let dir = self.0.join("timed");
        let mut least = Duration::MAX;
        for _ in 0..3 {
            fs::create_dir_all(&dir).map_err(told)?;
            self.lay_out_old(&dir)?;
            let began = Instant::now();
            killed(work, &dir, Duration::from_secs(60))?;
            least = least.min(began.elapsed());
            fs::remove_dir_all(&dir).map_err(told)?;
        }
        Ok(least)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // In the system's folder for such things; what stays is harmless.
        drop(fs::remove_dir_all(&self.0));
    }
}

/// Starts the work and kills it; gives the lines it had said by then, and whether
/// it had ended by itself.
fn killed(work: Work, dir: &Path, after: Duration) -> Result<(Vec<String>, bool), String> {
    let program = std::env::current_exe().map_err(told)?;
    let mut child = Command::new(program)
        .args(["kill-nine-work", work.word()])
        .arg(dir)
        .stdout(Stdio::piped())
        .spawn()
        .map_err(told)?;
    let began = Instant::now();
    let mut ended = None;
    while began.elapsed() < after {
        ended = child.try_wait().map_err(told)?;
        if ended.is_some() {
            break;
        }
        std::thread::sleep(Duration::from_micros(200));
    }
    if ended.is_none() {
        // SIGKILL, to this child alone.
        child.kill().map_err(told)?;
        child.wait().map_err(told)?;
    } else if ended.is_some_and(|status| !status.success()) {
        return Err("the work itself failed".to_owned());
    }
    let mut lines = vec![];
    if let Some(out) = child.stdout.take() {
        let mut reader = BufReader::new(out);
        let mut line = String::new();
        // A line without its end was not said.
        while reader.read_line(&mut line).map_err(told)? > 0 && line.ends_with('\n') {
            lines.push(line.trim_end().to_owned());
            line.clear();
        }
    }
    Ok((lines, ended.is_some()))
}

/// Checks the notebook after the kill.
fn held(work: Work, dir: &Path, lines: &[String]) -> Result<(), String> {
    let path = notebook_in(dir);
    let file = NotebookFile::open(&path, Check::Full).map_err(|e| {
        format!(
            "the notebook does not open: {e}; {:?}",
            std::error::Error::source(&e)
        )
    })?;
    match work {
        Work::Save => {
            for line in lines {
                let (revision, number) = parted(line)?;
                let (_, documents) = file.documents(first(), Some(revision)).map_err(told)?;
                if documents != test_of(number, 1) {
                    return Err(format!("revision {revision} has other files"));
                }
            }
        }
        Work::Import => {
            for line in lines {
                let (test, number) = parted(line)?;
                let (_, documents) = file.documents(TestId::new(test), None).map_err(told)?;
                let held = documents
                    .get("scans/sheet.tif")
                    .ok_or_else(|| format!("test {test} has no scan"))?;
                let mut bytes = vec![];
                file.open_held(held)
                    .map_err(told)?
                    .read_to_end(&mut bytes)
                    .map_err(told)?;
                if bytes != scan_of(number) {
                    return Err(format!("the scan of test {test} has other bytes"));
                }
            }
            // Also what was not acknowledged is whole, or not there.
            if let Some(wrong) = file.wrong_scans().map_err(told)?.first() {
                return Err(wrong.clone());
            }
        }
        Work::Migration => {
            migrated(&file)?;
            // The copy, once it is there, is whole and holds the same.
            let copy = file.beside(".schema-1.copy");
            if copy.exists() {
                migrated(&NotebookFile::open(&copy, Check::Full).map_err(told)?)?;
            } else {
                return Err("no copy was made".to_owned());
            }
        }
    }
    Ok(())
}

fn migrated(file: &NotebookFile) -> Result<(), String> {
    let tests = file.tests(false).map_err(told)?;
    if tests.len() != MIGRATED {
        return Err(format!("{} tests instead of {MIGRATED}", tests.len()));
    }
    for number in 0..MIGRATED {
        let id = TestId::new(u32::try_from(number + 1).map_err(told)?);
        let (_, documents) = file.documents(id, None).map_err(told)?;
        if documents != test_of(number as u64, 20) {
            return Err(format!("test {id} has other files"));
        }
    }
    if file.search("count", 1000).map_err(told)?.len() < MIGRATED {
        return Err("the index is not whole".to_owned());
    }
    Ok(())
}

fn parted(line: &str) -> Result<(u32, u64), String> {
    let (one, other) = line
        .split_once(' ')
        .ok_or_else(|| format!("{line:?} was said"))?;
    Ok((one.parse().map_err(told)?, other.parse().map_err(told)?))
}

/// The one test whose revisions are saved.
fn first() -> TestId {
    TestId::new(1)
}

/// A test that is another one for each number.
fn test_of(number: u64, frames: u32) -> Documents {
    let mut text = format!(
        "format = 1\ntitle = \"Count {number}\"\ninvented = true\n\n[[film]]\nid = \"a\"\nname = \"Testfilm A\"\n\n\
         [[light]]\nid = \"noon\"\nsky = \"clear_sun\"\nev100 = 14.7\n\n[[process]]\nid = \"tray\"\ndeveloper = \"D\"\n"
    );
    for frame in 1..=frames {
        text.push_str(&format!(
            "\n[[frame]]\nid = \"{frame}\"\nfilm = \"a\"\nprocess = \"tray\"\nrole = \"bracket\"\nlight = \"noon\"\n\
             aperture_f = 22\ntime_marked_s = {frame}\nremarks = \"count {number}\"\n"
        ));
    }
    let mut documents = Documents::default();
    for (path, bytes) in [
        ("test.toml", text.into_bytes()),
        // Bytes that do not deflate, so that a save writes many pages.
        ("notes.bin", noise(number, 30_000)),
    ] {
        if documents.put(path, Held::Bytes(bytes)).is_err() {
            unreachable!("both paths stay within the folder");
        }
    }
    documents
}

fn scan_of(number: u64) -> Vec<u8> {
    noise(number, SCAN_BYTES)
}

fn noise(number: u64, length: usize) -> Vec<u8> {
    let mut bytes = vec![0; length];
    ChaCha8Rng::seed_from_u64(number).fill_bytes(&mut bytes);
    bytes
}

/// Does the work that is to be killed: a line for each change that was acknowledged.
pub(crate) fn work(word: &str, dir: &Path) -> Result<(), String> {
    let work = Work::ALL
        .into_iter()
        .find(|work| work.word() == word)
        .ok_or_else(|| format!("{word} is no work"))?;
    let path = notebook_in(dir);
    let mut file = NotebookFile::open(&path, Check::Quick).map_err(told)?;
    let say = |one: &dyn std::fmt::Display, number: u64| -> Result<(), String> {
        let mut out = std::io::stdout().lock();
        writeln!(out, "{one} {number}")
            .and_then(|()| out.flush())
            .map_err(told)
    };
    match work {
        Work::Save => {
            file.add_test(&test_of(0, 1), &stamp(), "made")
                .map_err(told)?;
            say(&1, 0)?;
            for number in 1.. {
                let revision = file.revision(first()).map_err(told)?;
                let saved = file
                    .save(first(), revision, &test_of(number, 1), &stamp(), "counted")
                    .map_err(told)?;
                say(&saved.revision, number)?;
            }
        }
        Work::Import => {
            for number in 0.. {
                let folder = dir.join(format!("folder-{number}"));
                fs::create_dir_all(folder.join("scans")).map_err(told)?;
                for (name, held) in test_of(number, 1).iter() {
                    if let Held::Bytes(bytes) = held {
                        fs::write(folder.join(name), bytes).map_err(told)?;
                    }
                }
                fs::write(folder.join("scans/sheet.tif"), scan_of(number)).map_err(told)?;
                let taken = file
                    .take_folder_in(&folder, ScanPlace::TakenIn, &|_, _| true)
                    .map_err(told)?;
                let test = file
                    .add_test(&taken.documents, &stamp(), "imported")
                    .map_err(told)?;
                say(&test, number)?;
            }
        }
        Work::Migration => say(&0, 0)?,
    }
    Ok(())
}
