//! The API against its own description, by property-based requests.
//!
//! Schemathesis is installed into the target folder at a fixed version; where it
//! can't be, this is skipped, loudly. It holds every answer against the
//! description: no status that isn't documented, no body of another form, nothing
//! accepted that the description forbids, and never a 500.

use crate::browser::program::Served;
use crate::command::output;
use crate::workspace::Workspace;
use std::path::{Path, PathBuf};

/// What is run.
const TOOL: &str = "schemathesis==4.32.5";

pub(crate) fn run(workspace: &Workspace, program: &Path) -> Result<(), String> {
    let folder = workspace.scratch("api")?;
    let tool = match installed(&workspace.kept().join("schemathesis")) {
        Ok(tool) => tool,
        Err(why) => {
            println!("!!! SKIPPED: the API is not held against its description: {why}");
            return Ok(());
        }
    };
    let program = program
        .canonicalize()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    let served = Served::start(&program, &folder)?;
    let token = served.token()?;
    // A test that is evaluated, so that there is something to ask about.
    served.open_example(&token)?;
    let description = format!("{}/api/openapi.json", served.address);
    let header = format!("x-filmproof-token: {token}");
    let got = output(
        &tool,
        &[
            "run",
            &description,
            "-H",
            &header,
            "--seed",
            "1",
            "--max-examples",
            "40",
            "--phases",
            "examples,coverage,fuzzing,stateful",
            // What a record holds can't all be said in a schema: a well-formed change of a
            // test that is not so is refused with 422, as the description says.
            "--exclude-checks",
            "positive_data_acceptance",
        ],
        &folder,
    )?;
    let summary: Vec<&str> = got
        .stdout
        .lines()
        .filter(|line| line.contains("generated") || line.contains("Tested:"))
        .collect();
    println!("   {}", summary.join("; ").trim());
    if got.code == 0 {
        println!("api: passed");
        Ok(())
    } else {
        Err(format!("the API is not as described:\n{}", got.stdout))
    }
}

/// Gives the tool, installed when it isn't there yet.
fn installed(folder: &Path) -> Result<PathBuf, String> {
    let tool = folder.join("bin/st");
    let mark = folder.join("installed.txt");
    if tool.exists() && std::fs::read_to_string(&mark).is_ok_and(|has| has == TOOL) {
        return Ok(tool);
    }
    let here = Path::new(".");
    let place = folder.to_string_lossy();
    let python = folder.join("bin/python");
    let steps: [(&Path, &[&str]); 2] = [
        (Path::new("python3"), &["-m", "venv", "--clear", &place]),
        (
            &python,
            &["-m", "pip", "install", "--quiet", "--retries", "1", TOOL],
        ),
    ];
    for (program, arguments) in steps {
        let got = output(program, arguments, here)?;
        if got.code != 0 {
            let last = got.stderr.lines().last().unwrap_or("no message");
            return Err(format!("{}: {last}", arguments.join(" ")));
        }
    }
    std::fs::write(&mark, TOOL).map_err(|e| format!("{}: {e}", mark.display()))?;
    Ok(tool)
}
