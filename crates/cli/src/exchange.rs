//! Import, export and the list of a notebook, told to a person.

use crate::progress_bar::ProgressBar;
use crate::{field, say, say_json};
use app::{
    AppError, Check, Evaluated, Found, Notebook, Revision, ScanPlace, TestId, TestOverview,
    bundle_of_folder, evaluate_folder, folder_of_bundle, import_log,
};
use clap::{Args, ValueHint};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  filmproof import my-test field-log.json\n  filmproof import my-test --notebook notebook.sqlite\n  filmproof import their-test.zip --notebook notebook.sqlite\n  filmproof import their-test.zip --into their-test\n  filmproof import 12 field-log.json --notebook notebook.sqlite"
)]
pub(crate) struct ImportArguments {
    /// A test folder or a bundle; for a log into a notebook, the test's number there.
    #[arg(value_hint = ValueHint::AnyPath)]
    test: PathBuf,
    /// A field log: JSON from the phone's page, or the CSV typed from paper.
    #[arg(value_hint = ValueHint::FilePath)]
    log: Option<PathBuf>,
    /// The notebook to import into; begun when it isn't there.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    notebook: Option<PathBuf>,
    /// Unpack a bundle into this new or empty folder.
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath, conflicts_with_all = ["notebook", "log"])]
    into: Option<PathBuf>,
    /// Leave the folder's scans where they are, and keep their paths, sizes and hashes.
    #[arg(long, requires = "notebook", conflicts_with = "log")]
    scans_in_place: bool,
    /// Who imports, for the history of the test.
    #[arg(long, value_name = "NAME", default_value = "command line")]
    by: String,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  filmproof export my-test my-test.zip\n  filmproof export 12 my-test.zip --notebook notebook.sqlite\n  filmproof export 12 my-test --notebook notebook.sqlite --revision 3"
)]
pub(crate) struct ExportArguments {
    /// A test folder; with --notebook, the test's number there.
    #[arg(value_hint = ValueHint::DirPath)]
    test: PathBuf,
    /// Where to: a bundle when the name ends in .zip, else a new or empty folder.
    #[arg(value_hint = ValueHint::AnyPath)]
    to: PathBuf,
    /// The notebook that holds the test.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    notebook: Option<PathBuf>,
    /// The test as it was in this revision.
    #[arg(long, value_name = "NUMBER", requires = "notebook")]
    revision: Option<u32>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  filmproof notebook notebook.sqlite\n  filmproof notebook notebook.sqlite --search 0417\n  filmproof notebook notebook.sqlite --history 12"
)]
pub(crate) struct NotebookArguments {
    /// The notebook.
    #[arg(value_hint = ValueHint::FilePath)]
    file: PathBuf,
    /// Find tests, films, filters and batches whose words begin with these.
    #[arg(long, value_name = "WORDS", group = "what")]
    search: Option<String>,
    /// Tell every change of a test, with what differed.
    #[arg(long, value_name = "TEST", group = "what")]
    history: Option<u32>,
    /// Check the whole file: every index, reference and hash.
    #[arg(long, group = "what")]
    check: bool,
    /// Put a test away: no longer listed or found, and all still there.
    #[arg(long, value_name = "TEST", group = "what")]
    put_away: Option<u32>,
    /// Take a test out again that was put away.
    #[arg(long, value_name = "TEST", group = "what")]
    take_out: Option<u32>,
    /// List the tests that were put away.
    #[arg(long, group = "what")]
    away: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Opens a notebook that must be there.
fn notebook_there(path: &Path) -> Result<Notebook, AppError> {
    if !path.is_file() {
        return Err(AppError::new(
            format!("{} is not there", path.display()),
            "name the notebook; `filmproof import TEST --notebook FILE` begins one",
        ));
    }
    Notebook::open(path, Check::Quick)
}

/// A test's number within a notebook.
fn test_number(text: &Path) -> Result<TestId, AppError> {
    text.to_str()
        .and_then(|text| text.parse().ok())
        .map(TestId::new)
        .ok_or_else(|| {
            AppError::new(
                format!("{} is no number of a test", text.display()),
                "name the test by its number; `filmproof notebook FILE` lists them",
            )
        })
}

/// Imports a log, a folder or a bundle, and says what was done.
pub(crate) fn import(arguments: &ImportArguments, progress: &ProgressBar) -> Result<(), AppError> {
    let ImportArguments {
        test,
        log,
        by,
        json,
        ..
    } = arguments;
    match (&arguments.notebook, log, &arguments.into) {
        (None, Some(log), _) => field::say_imported(&import_log(test, log)?, *json),
        (None, None, Some(dir)) => {
            folder_of_bundle(test, dir, progress)?;
            progress.finish();
            if *json {
                return say_json(&json!({ "folder": dir.display().to_string() }));
            }
            say(&format!("The test is in the folder {}.", dir.display()))
        }
        (None, None, None) => Err(AppError::new(
            "nothing says what to import where",
            "name a field log behind the test folder, or give --notebook FILE or --into DIR",
        )),
        (Some(path), Some(log), _) => {
            let notebook = notebook_there(path)?;
            let id = test_number(test)?;
            let seen = notebook.overview(id)?.revision;
            let (_, imported) =
                notebook.change_in_folder(id, seen, by, "field log imported", |dir| {
                    import_log(dir, log)
                })?;
            field::say_imported(&imported, *json)
        }
        (Some(path), None, _) => {
            let notebook = Notebook::open(path, Check::Quick)?;
            let added = if test.is_dir() {
                let scans = if arguments.scans_in_place {
                    ScanPlace::ReferredTo
                } else {
                    ScanPlace::TakenIn
                };
                notebook.import_folder(test, scans, by, progress)?
            } else if arguments.scans_in_place {
                return Err(AppError::new(
                    "the scans of a bundle are within it",
                    "leave --scans-in-place out, or name a folder",
                ));
            } else {
                notebook.import_bundle(test, by, progress)?
            };
            progress.finish();
            for left_out in &added.left_out {
                eprintln!("note: left out {left_out}");
            }
            for same in &added.same_as {
                crate::say_note(&format!("test {same} has the very same files"));
            }
            let overview = notebook.overview(added.test)?;
            if *json {
                let mut answer = overview_json(&overview);
                answer["left_out"] = Value::from(added.left_out);
                answer["same_as"] = added.same_as.iter().map(|test| test.number()).collect();
                return say_json(&answer);
            }
            say(&format!(
                "Test {} of {}: {}",
                overview.id,
                path.display(),
                overview_line(&overview)
            ))
        }
    }
}

/// Exports a test, and says where it is.
pub(crate) fn export(arguments: &ExportArguments) -> Result<(), AppError> {
    let ExportArguments { test, to, .. } = arguments;
    let is_bundle = to
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
    let mut left_out = vec![];
    match &arguments.notebook {
        Some(path) => {
            let notebook = notebook_there(path)?;
            let id = test_number(test)?;
            if is_bundle {
                notebook.export_bundle(id, arguments.revision, to)?;
            } else {
                notebook.export_folder(id, arguments.revision, to)?;
            }
        }
        None if is_bundle => left_out = bundle_of_folder(test, to)?,
        None => {
            return Err(AppError::new(
                format!(
                    "{} is a folder already, and needs no export into one",
                    test.display()
                ),
                "name a bundle: a file that ends in .zip",
            ));
        }
    }
    for left_out in &left_out {
        eprintln!("note: left out {left_out}");
    }
    if arguments.json {
        return say_json(&json!({
            "to": to.display().to_string(),
            "form": if is_bundle { "bundle" } else { "folder" },
            "left_out": left_out,
        }));
    }
    say(&format!("The test is in {}.", to.display()))
}

/// Evaluates a test of a notebook; with `out` the results go there instead of beside it.
pub(crate) fn evaluated(
    path: &Path,
    test: &Path,
    out: Option<&Path>,
    made_on: Option<String>,
    progress: &ProgressBar,
) -> Result<Evaluated, AppError> {
    let notebook = notebook_there(path)?;
    let id = test_number(test)?;
    match out {
        None => Ok(notebook.evaluate(id, None, made_on, progress)?.1),
        Some(out) => {
            let (_, dir) = notebook.folder(id, None)?;
            evaluate_folder(&dir, Some(out), made_on, progress)
        }
    }
}

/// Lists, searches, checks.
pub(crate) fn notebook(arguments: &NotebookArguments) -> Result<(), AppError> {
    let notebook = notebook_there(&arguments.file)?;
    if let Some(words) = &arguments.search {
        let found = notebook.search(words)?;
        if arguments.json {
            return say_json(&json!({ "found": found.iter().map(found_json).collect::<Vec<_>>() }));
        }
        let lines: Vec<String> = found
            .iter()
            .map(|hit| {
                format!(
                    "{:>5}  {}: {}  ({})",
                    hit.test, hit.kind, hit.label, hit.title
                )
            })
            .collect();
        return say(&or_none(&lines, "Nothing was found."));
    }
    if let Some(test) = arguments.history {
        let history = notebook.history(TestId::new(test))?;
        if arguments.json {
            let revisions: Vec<Value> = history.iter().map(revision_json).collect();
            return say_json(&json!({ "test": test, "revisions": revisions }));
        }
        return say(&history
            .iter()
            .map(revision_text)
            .collect::<Vec<_>>()
            .join("\n"));
    }
    if arguments.check {
        notebook.check()?;
        if arguments.json {
            return say_json(&json!({ "sound": true }));
        }
        return say("The notebook is sound.");
    }
    for (test, away) in [(arguments.put_away, true), (arguments.take_out, false)] {
        let Some(test) = test.map(TestId::new) else {
            continue;
        };
        if away {
            notebook.put_away(test)?;
        } else {
            notebook.take_out(test)?;
        }
        let overview = notebook.overview(test)?;
        if arguments.json {
            return say_json(&overview_json(&overview));
        }
        return say(&format!(
            "Test {test} is {}: {}",
            if away { "put away" } else { "at hand again" },
            overview.title
        ));
    }
    let tests = if arguments.away {
        notebook.tests_put_away()?
    } else {
        notebook.tests()?
    };
    if arguments.json {
        return say_json(&json!({ "tests": tests.iter().map(overview_json).collect::<Vec<_>>() }));
    }
    let lines: Vec<String> = tests
        .iter()
        .map(|test| format!("{:>5}  {}", test.id, overview_line(test)))
        .collect();
    say(&or_none(&lines, "No test is there."))
}

fn or_none(lines: &[String], none: &str) -> String {
    if lines.is_empty() {
        none.to_owned()
    } else {
        lines.join("\n")
    }
}

fn overview_line(test: &TestOverview) -> String {
    let mut parts = vec![test.stage.word().to_owned()];
    let mut counted = |count: u32, one: &str, several: &str| match count {
        0 => {}
        1 => parts.push(format!("1 {one}")),
        count => parts.push(format!("{count} {several}")),
    };
    counted(test.frames, "frame", "frames");
    counted(test.planned, "planned frame", "planned frames");
    counted(test.problems, "problem", "problems");
    parts.push(format!("revision {}", test.revision));
    parts.push(format!("changed {}", test.changed_at));
    format!("{}  ({})", test.title, parts.join(", "))
}

fn overview_json(test: &TestOverview) -> Value {
    json!({
        "test": test.id.number(),
        "title": test.title,
        "stage": test.stage.word(),
        "revision": test.revision,
        "changed_at": test.changed_at,
        "invented": test.invented,
        "frames": test.frames,
        "planned": test.planned,
        "scans": test.scans,
        "readings": test.readings,
        "problems": test.problems,
        "films": test.films,
        "filters": test.filters,
        "batches": test.batches,
        "places": test.places,
        "put_away_at": test.put_away_at,
    })
}

fn found_json(hit: &Found) -> Value {
    json!({
        "test": hit.test.number(),
        "title": hit.title,
        "kind": hit.kind,
        "record": hit.record,
        "label": hit.label,
    })
}

fn revision_json(revision: &Revision) -> Value {
    let differences: Vec<Value> = revision
        .differences
        .iter()
        .map(|one| {
            json!({
                "record": one.record,
                "key": one.key,
                "before": one.before,
                "after": one.after,
                "words": one.to_string(),
            })
        })
        .collect();
    json!({
        "revision": revision.number,
        "at": revision.at,
        "by": revision.by,
        "what": revision.what,
        "restores": revision.restores,
        "differences": differences,
    })
}

fn revision_text(revision: &Revision) -> String {
    let mut text = format!(
        "{:>4}  {}  {}: {}",
        revision.number, revision.at, revision.by, revision.what
    );
    for one in &revision.differences {
        text.push_str(&format!("\n        {one}"));
    }
    text
}
