//! The program as it serves its pages, started for a look and stopped again.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A running `filmproof serve`; it ends with this.
pub(crate) struct Served {
    child: Child,
    /// `http://127.0.0.1:PORT`.
    pub(crate) address: String,
}

impl Served {
    /// Starts it over a notebook in a folder, on any free port.
    pub(crate) fn start(program: &Path, folder: &Path) -> Result<Self, String> {
        Self::start_with(program, folder, &[])
    }

    /// The same with more options.
    pub(crate) fn start_with(program: &Path, folder: &Path, more: &[&str]) -> Result<Self, String> {
        let mut child = Command::new(program)
            .args(["serve", "notebook.sqlite", "--port", "0"])
            .args(more)
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

impl Served {
    /// Asks for the first page.
    pub(crate) fn first_page(&self) -> Result<(), String> {
        let told = self.ask("GET", "/", "", "")?;
        if told.starts_with("HTTP/1.1 200") {
            Ok(())
        } else {
            Err(format!(
                "the first page is not there: {}",
                told.lines().next().unwrap_or("")
            ))
        }
    }

    /// The token that a change of this run must carry.
    pub(crate) fn token(&self) -> Result<String, String> {
        let told = self.ask("GET", "/api/run", "", "")?;
        let token = told
            .split_once("\"token\":\"")
            .and_then(|(_, rest)| rest.split_once('"'));
        token
            .map(|(token, _)| token.to_owned())
            .ok_or_else(|| format!("no token was told: {told}"))
    }

    /// Makes the worked example and waits until it is evaluated.
    pub(crate) fn open_example(&self, token: &str) -> Result<(), String> {
        self.ask("POST", "/tests/example", token, &format!("token={token}"))?;
        let begin = Instant::now();
        while begin.elapsed() < Duration::from_secs(120) {
            if self
                .ask("GET", "/api/tests/1/findings", "", "")?
                .contains("\"factors\"")
            {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(200));
        }
        Err("the worked example was not evaluated".to_owned())
    }

    /// A plain request; gives head and body of the answer.
    fn ask(&self, method: &str, path: &str, token: &str, form: &str) -> Result<String, String> {
        let host = self.address.trim_start_matches("http://");
        let failed = |e: std::io::Error| format!("{method} {path}: {e}");
        let mut stream = TcpStream::connect(host).map_err(failed)?;
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nX-Filmproof-Token: {token}\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{form}",
            form.len()
        );
        stream.write_all(head.as_bytes()).map_err(failed)?;
        let mut told = Vec::new();
        stream.read_to_end(&mut told).map_err(failed)?;
        Ok(String::from_utf8_lossy(&told).into_owned())
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Ours, by its own handle.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
