//! The program as it serves its pages, started for a look and stopped again.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// A running `filmproof serve`; it ends with this.
pub(crate) struct Served {
    child: Child,
    /// `http://127.0.0.1:PORT`.
    pub(crate) address: String,
}

impl Served {
    /// Starts it over a notebook in a folder, on any free port.
    pub(crate) fn start(program: &Path, folder: &Path) -> Result<Self, String> {
        let mut child = Command::new(program)
            .args(["serve", "notebook.sqlite", "--port", "0"])
            .current_dir(folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .map_err(|e| format!("{}: {e}", program.display()))?;
        let told = child
            .stdout
            .take()
            .and_then(|out| BufReader::new(out).lines().map_while(Result::ok).next());
        let address = told
            .as_deref()
            .and_then(|line| line.split_once("http://"))
            .map(|(_, rest)| format!("http://{}", rest.trim()));
        let served = Self {
            child,
            address: address.unwrap_or_default(),
        };
        if served.address.is_empty() {
            return Err(format!("serve told no address: {told:?}"));
        }
        Ok(served)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Ours, by its own handle.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
