//! A Python of our own with libraries at fixed versions, kept from run to run.

use crate::command::output;
use std::path::{Path, PathBuf};

/// Gives a Python that has the libraries, made when it isn't there yet.
pub(crate) fn python(folder: &Path, libraries: &[&str]) -> Result<PathBuf, String> {
    let python = folder.join("bin/python");
    let wanted = libraries.join(" ");
    let mark = folder.join("installed.txt");
    if python.exists() && std::fs::read_to_string(&mark).is_ok_and(|has| has == wanted) {
        return Ok(python);
    }
    let here = Path::new(".");
    let succeeded = |program: &Path, arguments: &[&str]| {
        let got = output(program, arguments, here)?;
        if got.code == 0 {
            Ok(())
        } else {
            let last = got.stderr.lines().last().unwrap_or("no message");
            Err(format!("{}: {last}", arguments.join(" ")))
        }
    };
    let place = folder.to_string_lossy();
    succeeded(Path::new("python3"), &["-m", "venv", "--clear", &place])?;
    let pip = ["-m", "pip", "install", "--quiet", "--retries", "1"];
    let pip = [&pip, ["--disable-pip-version-check"].as_slice(), libraries].concat();
    succeeded(&python, &pip)?;
    std::fs::write(&mark, wanted).map_err(|e| format!("{}: {e}", mark.display()))?;
    Ok(python)
}
