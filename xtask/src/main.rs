//! Chores of the workspace.
//!
//! `cargo run -p xtask -- check` is the whole gate; every other chore is either
//! a part of it or needs more than Rust (a built program, a browser).
//!
//! Each check is a file that gives a list of `Fault`s; `check` runs them all.
//! Nothing here is part of the product, and no room may depend on it.

#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "chores speak to the person or the machine that runs them"
)]

mod api_description;
mod arrows;
mod big_scan;
mod browser;
mod check;
mod command;
mod devtools;
mod doctored;
mod fault;
mod field_card;
mod fuzz;
mod glossary;
mod golden;
mod kill_nine;
mod licences;
mod links;
mod oracles;
mod prove;
mod purity;
mod python;
mod registration;
mod sidecars;
mod speed;
mod stray;
mod tablets;
mod unused;
mod workspace;

use std::path::PathBuf;
use std::process::ExitCode;
use workspace::Workspace;

const USAGE: &str = "\
usage: cargo run -p xtask -- CHORE

  check [--fast]       the whole gate; --fast leaves the tests out
  oracles [PROGRAM]    run the built program against numbers known from outside
  browser [PROGRAM]    look at the worked example's report in Chromium, where there is one,
                       and take the field card from plan to record there
  api PROGRAM          the JSON API against its own description, where schemathesis can be installed
  pages PROGRAM [WALK...]
                       walks through the pages alone, with axe-core where it can be fetched:
                       example, empty, trace, folder, drafts; all when none is named
  screens PROGRAM [PATH...]
                       pictures of every page, light and dark, wide, on a phone and on a very
                       large screen, and in print
  golden report        goldens that differ from the last commit: old, new, difference
  prove [--tests N] [--kind LETTER] [--draw N]
                       simulate tests whose truth is known and score the estimate
                       (1000 of each kind when not given; use --release)
  prove-tail [--films N] [--draw N]
                       simulate films whose red end is known and count what the intervals hold
                       (200 of each number of filters when not given; use --release)
  prove-plan [--tests N] [--draw N]
                       simulate planned tests and hold their intervals against the plan's promise
                       and a bracket by hand (500 truths when not given; use --release)
  doctored [--draw N] [--draws N] [--clean N] [--spread] [--kind KIND N] [--scans FOLDER]
                       what the checks of scans find of what was done to made scans, and how
                       often they are wrong (200 clean ones when not given; use --release);
                       with a folder, what they say of the scans in it
  registration [--pairs N] [--draw N] [--plates FOLDER]
                       lay frames whose true places are known, refuse what can't be laid, and find
                       shifts beside published methods (8 pairs in each row when not given; use --release)
  fuzz [--seconds N] [--target NAME] [--draw N]
                       damaged files against the readers of spectral files and scans
                       (60 s when not given; use --release)
  fuzz --seeds FOLDER  the sound files that damaged ones are made of, for a fuzzer to begin with
  kill-nine [--rounds N] [--draw N]
                       kill -9 in the middle of saves, imports and migrations of a notebook,
                       which must then hold all that was acknowledged (67 rounds of each)
  speed                time many spectral integrals against numpy, with one core and with all
                       (with --release, on a machine that does little else)
  tablets [--draws N] [--draw N] [--flaw NAME] [--tell] [--scans FOLDER]
                       look for step tablets in made scans and count what was found, refused
                       and wrong (120 of each table when not given), or in files that hold none
  big-scan PROGRAM [--turns N]
                       a scan of 230 MB against libvips, where it is installed: time and peak
                       memory (the least of 5 turns when not given; a release build)
  glossary             rewrite the table of flags in GLOSSARY.md

PROGRAM is target/release/filmproof when not given.";

fn main() -> ExitCode {
    let workspace = Workspace::here();
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let built = workspace.path("target/release/filmproof");
    let outcome = match words.as_slice() {
        ["check"] => check::run(&workspace, check::Extent::Whole),
        ["check", "--fast"] => check::run(&workspace, check::Extent::WithoutTests),
        ["oracles"] => oracles::run(&workspace, &built),
        ["oracles", program] => oracles::run(&workspace, &PathBuf::from(program)),
        ["browser"] => browser::run(&workspace, &built),
        ["browser", program] => browser::run(&workspace, &PathBuf::from(program)),
        ["api", program] => api_description::run(&workspace, &PathBuf::from(program)),
        ["pages", program, walks @ ..] => match browser::chromium(&workspace) {
            Some(chromium) => browser::pages(&workspace, &PathBuf::from(program), &chromium, walks),
            None => Err("Chromium is not installed".to_owned()),
        },
        ["screens", program, paths @ ..] => {
            browser::screens::run(&workspace, &PathBuf::from(program), paths)
        }
        ["golden", "report"] => golden::report(&workspace),
        ["prove-tail", rest @ ..] => prove::tail_chore(rest),
        ["prove-plan", rest @ ..] => prove::plan::run(rest),
        ["prove", rest @ ..] => prove::run(rest),
        ["doctored", rest @ ..] => doctored::run(rest),
        ["fuzz", rest @ ..] => fuzz::run(rest),
        ["big-scan", program, rest @ ..] => big_scan::run(&PathBuf::from(program), rest),
        ["kill-nine-work", word, dir] => kill_nine::work(word, &PathBuf::from(dir)),
        ["kill-nine", rest @ ..] => kill_nine::run(rest),
        ["registration", rest @ ..] => registration::run(&workspace, rest),
        ["speed"] => speed::run(&workspace),
        ["speed-ours", turns] => speed::ours(turns),
        ["tablets", rest @ ..] => tablets::run(rest),
        ["glossary"] => glossary::rewrite(&workspace),
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("xtask: {why}");
            ExitCode::FAILURE
        }
    }
}
