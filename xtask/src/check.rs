//! The whole gate.

use crate::command::cargo;
use crate::fault::Fault;
use crate::workspace::Workspace;
use crate::{arrows, glossary, golden, licences, links, purity, sidecars, stray, unused};

/// How much of the gate is run.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Extent {
    Whole,
    WithoutTests,
}

/// A check that reads files and gives what it found wrong.
type Reading = fn(&Workspace) -> Result<Vec<Fault>, String>;

/// The checks that need no compiler, in the order they are run.
const READINGS: &[(&str, Reading)] = &[
    ("arrows between rooms", arrows::faults),
    ("dependencies in use", unused::faults),
    ("purity of the pure rooms", purity::faults),
    ("orphan goldens", golden::orphans),
    ("links in the documents", links::faults),
    ("sidecars of assets and data", sidecars::faults),
    ("things that do not belong", stray::faults),
    ("flags in the glossary", glossary::faults),
    ("licences and sources", licences::faults),
];

/// Runs every part, also after one has failed, and tells which did.
pub(crate) fn run(workspace: &Workspace, extent: Extent) -> Result<(), String> {
    let mut failed: Vec<&str> = vec![];
    for (title, reading) in READINGS {
        let faults = match reading(workspace) {
            Ok(faults) => faults,
            Err(why) => vec![Fault::new(*title, format!("could not be checked: {why}"))],
        };
        println!(
            "== {title}: {}",
            if faults.is_empty() { "ok" } else { "FAILED" }
        );
        for fault in &faults {
            println!("   {fault}");
        }
        if !faults.is_empty() {
            failed.push(title);
        }
    }
    let root = workspace.root();
    let deny_warnings = [("RUSTDOCFLAGS", "-D warnings")];
    if !cargo("format", &["fmt", "--all", "--check"], &[], root)? {
        failed.push("format");
    }
    let clippy = [
        "clippy",
        "--workspace",
        "--all-targets",
        "--",
        "-D",
        "warnings",
    ];
    if !cargo("lints", &clippy, &[], root)? {
        failed.push("lints");
    }
    let doc = ["doc", "--workspace", "--no-deps"];
    if !cargo("documentation", &doc, &deny_warnings, root)? {
        failed.push("documentation");
    }
    if extent == Extent::Whole && !cargo("tests", &["test", "--workspace"], &[], root)? {
        failed.push("tests");
    }
    if failed.is_empty() {
        println!("check: all passed");
        Ok(())
    } else {
        Err(format!("failed: {}", failed.join("; ")))
    }
}
