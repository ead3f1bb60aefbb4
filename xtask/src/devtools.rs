//! A Chromium that is spoken to by its DevTools protocol.

use serde_json::{Value, json};
use std::fs;
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tungstenite::{Message, WebSocket};

/// How long anything may take that a page is asked.
const PATIENCE: Duration = Duration::from_secs(90);

/// A page in a browser of its own; the browser ends with it.
pub(crate) struct Page {
    browser: Child,
    profile: PathBuf,
    socket: WebSocket<TcpStream>,
    session: Option<String>,
    number: u64,
    /// Addresses that the page asked for.
    pub(crate) requests: Vec<String>,
    /// What the page complained of: errors on its console, exceptions, refused sources.
    pub(crate) complaints: Vec<String>,
}

/// The screen that a page is shown on. \[CSS px\]
#[derive(Clone, Copy, Debug)]
pub(crate) struct Screen {
    pub(crate) width: u32,
    pub(crate) height: u32,
    /// Pixels of the device for each CSS px.
    pub(crate) scale: u32,
    pub(crate) phone: bool,
    pub(crate) dark: bool,
}

impl Page {
    /// Starts the browser and opens an empty page of a phone's size without a network.
    pub(crate) fn phone(
        chromium: &Path,
        profile: &Path,
        width: u32,
        height: u32,
    ) -> Result<Self, String> {
        let mut page = Self::start(chromium, profile)?;
        page.call(
            "Network.emulateNetworkConditions",
            &json!({ "offline": true, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0 }),
        )?;
        page.screen(Screen {
            width,
            height,
            scale: 2,
            phone: true,
            dark: false,
        })?;
        Ok(page)
    }

    /// Shows the page on a screen of this kind.
    pub(crate) fn screen(&mut self, screen: Screen) -> Result<(), String> {
        self.call(
            "Emulation.setDeviceMetricsOverride",
            &json!({ "width": screen.width, "height": screen.height, "deviceScaleFactor": screen.scale, "mobile": screen.phone }),
        )?;
        let scheme = if screen.dark { "dark" } else { "light" };
        self.call(
            "Emulation.setEmulatedMedia",
            &json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] }),
        )?;
        Ok(())
    }

    /// Starts the browser with a profile of its own and opens an empty page.
    pub(crate) fn start(chromium: &Path, profile: &Path) -> Result<Self, String> {
        if profile.exists() {
            fs::remove_dir_all(profile).map_err(|e| format!("{}: {e}", profile.display()))?;
        }
        let mut browser = Command::new(chromium)
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--hide-scrollbars",
                "--no-first-run",
                "--remote-debugging-port=0",
            ])
            .arg(format!("--user-data-dir={}", profile.display()))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|e| format!("{}: {e}", chromium.display()))?;
        let socket = match connect(profile) {
            Ok(socket) => socket,
            Err(why) => {
                drop(browser.kill());
                drop(browser.wait());
                return Err(why);
            }
        };
        let mut page = Self {
            browser,
            profile: profile.to_path_buf(),
            socket,
            session: None,
            number: 0,
            requests: vec![],
            complaints: vec![],
        };
        let target = page.call("Target.createTarget", &json!({ "url": "about:blank" }))?;
        let attached = page.call(
            "Target.attachToTarget",
            &json!({ "targetId": target["targetId"], "flatten": true }),
        )?;
        page.session = attached["sessionId"].as_str().map(str::to_owned);
        page.call("Page.enable", &json!({}))?;
        page.call("Network.enable", &json!({}))?;
        page.call("Runtime.enable", &json!({}))?;
        page.call("Log.enable", &json!({}))?;
        Ok(page)
    }

    /// Asks the browser; gives the result.
    pub(crate) fn call(&mut self, method: &str, parameters: &Value) -> Result<Value, String> {
        self.number += 1;
        let number = self.number;
        let mut message = json!({ "id": number, "method": method, "params": parameters });
        if let Some(session) = &self.session {
            message["sessionId"] = json!(session);
        }
        self.socket
            .send(Message::text(message.to_string()))
            .map_err(|e| format!("{method}: {e}"))?;
        loop {
            let text = match self.socket.read() {
                Ok(Message::Text(text)) => text,
                Ok(_) => continue,
                Err(e) => return Err(format!("{method}: {e}")),
            };
            let answer: Value =
                serde_json::from_str(&text).map_err(|e| format!("{method}: {e}"))?;
            if answer["method"] == "Network.requestWillBeSent"
                && let Some(url) = answer["params"]["request"]["url"].as_str()
            {
                self.requests.push(url.to_owned());
            }
            self.complaints.extend(complaint(&answer));
            if answer["method"] == "Page.javascriptDialogOpening" {
                self.answer_yes()?;
            }
            if answer["id"] == json!(number) {
                return match answer.get("error") {
                    Some(error) => Err(format!("{method}: {error}")),
                    None => Ok(answer["result"].clone()),
                };
            }
        }
    }

    /// Answers the browser's question, whether to leave the page, with yes.
    fn answer_yes(&mut self) -> Result<(), String> {
        self.number += 1;
        let mut message = json!({ "id": self.number, "method": "Page.handleJavaScriptDialog", "params": { "accept": true } });
        if let Some(session) = &self.session {
            message["sessionId"] = json!(session);
        }
        self.socket
            .send(Message::text(message.to_string()))
            .map_err(|e| format!("Page.handleJavaScriptDialog: {e}"))
    }

    /// Gives what a script makes of the page.
    pub(crate) fn ask(&mut self, script: &str) -> Result<Value, String> {
        let answer = self.call(
            "Runtime.evaluate",
            &json!({ "expression": script, "returnByValue": true, "awaitPromise": true, "userGesture": true }),
        )?;
        if let Some(details) = answer.get("exceptionDetails") {
            return Err(format!("{script}: {}", details["exception"]["description"]));
        }
        Ok(answer["result"]["value"].clone())
    }

    /// Waits until a script says true.
    pub(crate) fn wait_for(&mut self, script: &str) -> Result<(), String> {
        let begin = Instant::now();
        while begin.elapsed() < PATIENCE {
            if self.ask(script).is_ok_and(|value| value == json!(true)) {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        Err(format!("waited in vain for: {script}"))
    }

    /// Goes to a page.
    pub(crate) fn open(&mut self, url: &str, ready: &str) -> Result<(), String> {
        self.call("Page.navigate", &json!({ "url": url }))?;
        self.wait_for(ready)
    }

    /// Takes a picture of the whole page, as PNG in base64.
    pub(crate) fn whole_picture(&mut self) -> Result<String, String> {
        let metrics = self.call("Page.getLayoutMetrics", &json!({}))?;
        let size = &metrics["cssContentSize"];
        let shot = self.call(
            "Page.captureScreenshot",
            &json!({ "format": "png", "captureBeyondViewport": true,
                "clip": { "x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1 } }),
        )?;
        shot["data"]
            .as_str()
            .map(str::to_owned)
            .ok_or_else(|| "no picture came".to_owned())
    }

    /// Takes a picture of what is seen, as PNG in base64.
    pub(crate) fn picture(&mut self) -> Result<String, String> {
        let shot = self.call("Page.captureScreenshot", &json!({ "format": "png" }))?;
        shot["data"]
            .as_str()
            .map(str::to_owned)
            .ok_or_else(|| "no picture came".to_owned())
    }
}

/// What an event says that a page without faults would not.
fn complaint(event: &Value) -> Option<String> {
    let parameters = &event["params"];
    match event["method"].as_str()? {
        "Runtime.exceptionThrown" => Some(format!(
            "{} {}",
            parameters["exceptionDetails"]["text"],
            parameters["exceptionDetails"]["exception"]["description"]
        )),
        "Runtime.consoleAPICalled" if parameters["type"] == "error" => {
            Some(parameters["args"].to_string())
        }
        "Log.entryAdded" if parameters["entry"]["level"] == "error" => Some(format!(
            "{} {}",
            parameters["entry"]["text"], parameters["entry"]["url"]
        )),
        _ => None,
    }
}

fn connect(profile: &Path) -> Result<WebSocket<TcpStream>, String> {
    let told = profile.join("DevToolsActivePort");
    let begin = Instant::now();
    let (port, path) = loop {
        // The port stands in the first line, the path in the second.
        let text = fs::read_to_string(&told).unwrap_or_default();
        if let Some((port, path)) = text.split_once('\n') {
            break (port.to_owned(), path.trim().to_owned());
        }
        if begin.elapsed() > PATIENCE {
            return Err("Chromium told no port".to_owned());
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    let stream =
        TcpStream::connect(format!("127.0.0.1:{port}")).map_err(|e| format!("Chromium: {e}"))?;
    stream
        .set_read_timeout(Some(PATIENCE))
        .map_err(|e| format!("Chromium: {e}"))?;
    tungstenite::client(format!("ws://127.0.0.1:{port}{path}"), stream)
        .map(|(socket, _)| socket)
        .map_err(|e| format!("Chromium: {e}"))
}

impl Drop for Page {
    fn drop(&mut self) {
        // Ours, by its own handle.
        drop(self.browser.kill());
        drop(self.browser.wait());
        drop(fs::remove_dir_all(&self.profile));
    }
}
