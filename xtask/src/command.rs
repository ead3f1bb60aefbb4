//! Running other programs.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// What a program gave back.
pub(crate) struct Output {
    /// Exit code; -1 when it was ended by a signal.
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

/// Runs a program and keeps what it prints.
pub(crate) fn output(program: &Path, arguments: &[&str], folder: &Path) -> Result<Output, String> {
    let got = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .map_err(|e| format!("{}: {e}", program.display()))?;
    Ok(Output {
        code: got.status.code().unwrap_or(-1),
        stdout: String::from_utf8_lossy(&got.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&got.stderr).into_owned(),
    })
}

/// Runs cargo with its output shown, and says how long it took.
pub(crate) fn cargo(
    title: &str,
    arguments: &[&str],
    environment: &[(&str, &str)],
    folder: &Path,
) -> Result<bool, String> {
    println!("== {title}: cargo {}", arguments.join(" "));
    let start = Instant::now();
    // The cargo that runs this chore, so that both use one toolchain.
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(cargo)
        .args(arguments)
        .envs(environment.iter().copied())
        .current_dir(folder)
        .status()
        .map_err(|e| format!("cargo: {e}"))?;
    let word = if status.success() { "ok" } else { "FAILED" };
    println!("   {word}, {:.0} s", start.elapsed().as_secs_f64());
    Ok(status.success())
}
