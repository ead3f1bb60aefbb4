//! The built program against numbers that were not made by it.
//!
//! Each part writes its own input, runs the program as a photographer would,
//! and compares with a closed form, a published table or the truth that the
//! worked example was made from. It links to no room: only the command line
//! and its JSON are used.

mod closed_form_curve;
mod demo_truth;
mod exposure_chain;
mod light;
mod made_scan;
mod readme;
mod refusals;

use crate::command::{Output, output};
use crate::workspace::Workspace;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// Runs the program in a folder of its own and counts what agreed.
pub(crate) struct Bench {
    program: PathBuf,
    folder: PathBuf,
    /// Where what is slow to make is kept from run to run.
    kept: PathBuf,
    /// The README, which must name what the program can do.
    readme: String,
    passed: usize,
    failed: usize,
}

impl Bench {
    fn run(&self, arguments: &[&str]) -> Result<Output, String> {
        output(&self.program, arguments, &self.folder)
    }

    /// Runs a command that must succeed, and reads its JSON.
    fn json(&self, arguments: &[&str]) -> Result<Value, String> {
        let got = self.run(arguments)?;
        if got.code != 0 {
            return Err(format!(
                "{arguments:?} ended with {}: {}",
                got.code,
                got.stderr.trim()
            ));
        }
        serde_json::from_str(&got.stdout).map_err(|e| format!("{arguments:?}: {e}"))
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> Result<(), String> {
        std::fs::write(self.folder.join(name), bytes).map_err(|e| format!("{name}: {e}"))
    }

    /// Counts one comparison and says how it went.
    fn told(&mut self, held: bool, what: &str) {
        println!("   {} {what}", if held { "ok    " } else { "FAILED" });
        if held {
            self.passed += 1;
        } else {
            self.failed += 1;
        }
    }

    /// A number against its expectation, with the most they may differ.
    fn near(&mut self, what: &str, ours: f64, expected: f64, at_most: f64) {
        let held = (ours - expected).abs() <= at_most;
        self.told(
            held,
            &format!("{what}: {ours:.6}, expected {expected:.6} ± {at_most:.1e}"),
        );
    }
}

/// A number in JSON: plain, or the `value` of one with an interval.
fn number(json: &Value, key: &str) -> Result<f64, String> {
    let found = &json[key];
    found
        .as_f64()
        .or_else(|| found["value"].as_f64())
        .ok_or_else(|| format!("no number {key}"))
}

/// Every part, by title.
type Part = fn(&mut Bench) -> Result<(), String>;
const PARTS: &[(&str, Part)] = &[
    ("exposure chains", exposure_chain::compare),
    ("curve of a closed form", closed_form_curve::compare),
    ("scan of known densities", made_scan::compare),
    ("truth of the worked example", demo_truth::compare),
    ("light against public libraries", light::compare),
    ("refusals and exit codes", refusals::compare),
    ("commands in the README", readme::compare),
];

pub(crate) fn run(workspace: &Workspace, program: &Path) -> Result<(), String> {
    let program = program.canonicalize().map_err(|e| {
        format!(
            "{}: {e}; build it with: cargo build --release",
            program.display()
        )
    })?;
    let mut bench = Bench {
        program,
        folder: workspace.scratch("oracles")?,
        kept: workspace.kept(),
        readme: workspace.text("README.md")?,
        passed: 0,
        failed: 0,
    };
    for (title, part) in PARTS {
        println!("== {title}");
        if let Err(why) = part(&mut bench) {
            bench.told(false, &why);
        }
    }
    println!("oracles: {} passed, {} failed", bench.passed, bench.failed);
    if bench.failed == 0 {
        Ok(())
    } else {
        Err(format!("{} oracles failed", bench.failed))
    }
}
