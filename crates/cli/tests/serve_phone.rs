//! A phone on the same network, played by a client that comes by this machine's own address.
//!
//! The program runs as it does for a person, on a real socket; the code is read off what it
//! prints.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{IpAddr, SocketAddr, TcpStream, UdpSocket};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

/// What the line begins with that shows a new code.
const SHOWN: &str = "The code for a phone is ";

/// The program as it serves; it ends with this.
struct Serving {
    child: Child,
    told: BufReader<ChildStdout>,
    port: u16,
    folder: tempfile::TempDir,
}

impl Serving {
    fn start(options: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_filmproof"))
            .args(["serve", "notebook.sqlite", "--port", "0"])
            .args(options)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let told = BufReader::new(child.stdout.take().unwrap());
        let mut serving = Self {
            child,
            told,
            port: 0,
            folder,
        };
        let line = serving.line_with("http://127.0.0.1:");
        serving.port = line.rsplit(':').next().unwrap().trim().parse().unwrap();
        serving
    }

    /// The next line that is printed and has these words.
    fn line_with(&mut self, words: &str) -> String {
        loop {
            let mut line = String::new();
            let read = self.told.read_line(&mut line).unwrap();
            assert!(read > 0, "the program ended before it said {words}");
            if line.contains(words) {
                return line;
            }
        }
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        // Ours, by its own handle.
        drop(self.child.kill());
        drop(self.child.wait());
        assert!(self.folder.path().exists());
    }
}

/// This machine's address on the network, or word that it has none.
#[expect(clippy::print_stderr, reason = "what is skipped must be seen")]
fn own_address() -> Option<IpAddr> {
    let address = address_of_route();
    if address.is_none() {
        eprintln!("SKIPPED: this machine has no address on a network");
    }
    address
}

/// The address that a packet would leave by; nothing is sent to find it.
fn address_of_route() -> Option<IpAddr> {
    let socket = UdpSocket::bind(("0.0.0.0", 0)).ok()?;
    // An address set aside for documentation (RFC 5737): only the route is looked up.
    socket.connect(("192.0.2.1", 9)).ok()?;
    let address = socket.local_addr().ok()?.ip();
    (!address.is_loopback() && !address.is_unspecified()).then_some(address)
}

/// Asks as a browser on a phone does; gives status and the whole answer.
fn asked(at: SocketAddr, method: &str, path: &str, cookie: &str, form: &str) -> (u16, String) {
    let mut stream = TcpStream::connect_timeout(&at, Duration::from_secs(10)).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    write!(
        stream,
        "{method} {path} HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nConnection: close\r\nCookie: {cookie}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{form}",
        form.len()
    )
    .unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let text = String::from_utf8_lossy(&answer).into_owned();
    let status = text.split(' ').nth(1).unwrap().parse().unwrap();
    (status, text)
}

fn typed(at: SocketAddr, code: &str) -> (u16, String) {
    asked(at, "POST", "/let-in", "", &format!("code={code}"))
}

/// The word after these.
fn word_after<'a>(line: &'a str, words: &str) -> &'a str {
    let (_, rest) = line.split_once(words).unwrap();
    rest.split_whitespace().next().unwrap().trim_matches('.')
}

#[test]
fn a_phone_comes_in_by_the_code_that_is_printed_and_by_it_once() {
    let Some(address) = own_address() else {
        return;
    };
    let mut serving = Serving::start(&["--phone"]);
    let at = SocketAddr::new(address, serving.port);
    let line = serving.line_with("/let-in and types");
    assert!(line.contains(&format!("http://{at}/let-in")), "{line}");
    let code = word_after(&line, "types ").to_owned();

    let (status, text) = asked(at, "GET", "/", "", "");
    assert_eq!(status, 401, "{text}");
    assert_eq!(
        asked(at, "GET", "/api/run", "", "").0,
        401,
        "no token either"
    );
    assert_eq!(asked(at, "GET", "/let-in", "", "").0, 200);
    assert_eq!(typed(at, "22222222").0, 403);

    let (status, text) = typed(at, &code);
    assert_eq!(status, 303, "{text}");
    let cookie = word_after(&text, "set-cookie: ")
        .trim_matches(';')
        .to_owned();
    let (status, text) = asked(at, "GET", "/", &cookie, "");
    assert_eq!(status, 200);
    assert!(text.contains("This notebook has no test yet."));
    assert_eq!(asked(at, "GET", "/", "let-in=0", "").0, 401);

    // The code was good once; the next one is printed, and is another.
    assert_eq!(typed(at, &code).0, 403);
    let next = word_after(&serving.line_with(SHOWN), SHOWN).to_owned();
    assert_ne!(next, code);
    assert_eq!(typed(at, &next).0, 303);
    // After five wrong tries the code that was shown is good no more.
    let shown = word_after(&serving.line_with(SHOWN), SHOWN).to_owned();
    for _ in 0..5 {
        assert_eq!(typed(at, "33333333").0, 403);
    }
    assert_eq!(typed(at, &shown).0, 403);
    assert_eq!(
        asked(at, "GET", "/", &cookie, "").0,
        200,
        "who is in stays in"
    );
}

#[test]
fn without_the_option_nobody_answers_on_the_network() {
    let Some(address) = own_address() else {
        return;
    };
    let serving = Serving::start(&[]);
    let here = SocketAddr::new(IpAddr::from([127, 0, 0, 1]), serving.port);
    assert_eq!(asked(here, "GET", "/", "", "").0, 200);
    let there = SocketAddr::new(address, serving.port);
    TcpStream::connect_timeout(&there, Duration::from_secs(5)).unwrap_err();
}
