//! A browser for the tests: WebDriver over a plain socket to the machine's own chromedriver.
//! Source of the commands: W3C, WebDriver (2018), sections 8 to 15; W3C, WebDriver Level 2 (draft), 18.1 (print).

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    profile: std::path::PathBuf,
}

impl Browser {
    /// Starts a browser of the given window size.
    pub fn start(name: &str, width: u32, height: u32) -> Browser {
        let profile = std::env::temp_dir().join(format!("readodds-browser-{name}-{}", std::process::id()));
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts (Debian: chromium-driver)");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = loop {
            let line = lines.next().expect("chromedriver names its port").unwrap();
            if let Some(rest) = line.split("started successfully on port ").nth(1) {
                break rest.trim_end_matches('.').parse().unwrap();
            }
        };
        std::thread::spawn(move || lines.for_each(drop));
        let mut browser = Browser { driver, port, session: String::new(), profile };
        let arguments = json!([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            format!("--window-size={width},{height}"),
            format!("--user-data-dir={}", browser.profile.display()),
        ]);
        let answer = browser.call(
            "POST",
            "/session",
            &json!({"capabilities": {"alwaysMatch": {
                "browserName": "chrome",
                "goog:chromeOptions": {"args": arguments},
                "goog:loggingPrefs": {"browser": "ALL"},
            }}}),
        );
        browser.session = answer["sessionId"].as_str().expect("a session").to_string();
        browser
    }

    /// One HTTP exchange; the body's `value`.
    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        let body = if method == "GET" { String::new() } else { body.to_string() };
        let mut socket = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        write!(
            socket,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        )
        .unwrap();
        let mut reader = BufReader::new(socket);
        let (mut line, mut length) = (String::new(), 0);
        while reader.read_line(&mut line).unwrap() > 2 {
            if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = value.trim().parse().unwrap();
            }
            line.clear();
        }
        // chromedriver keeps the socket open whatever was asked for: stop at the length it states.
        let mut bytes = vec![0; length];
        reader.read_exact(&mut bytes).unwrap();
        let answer: Value = serde_json::from_slice(&bytes).unwrap();
        assert!(answer["value"]["error"].is_null(), "{method} {path}: {}", answer["value"]["message"]);
        answer["value"].clone()
    }

    fn command(&self, path: &str, body: &Value) -> Value {
        self.call("POST", &format!("/session/{}{path}", self.session), body)
    }

    pub fn open(&self, file: &Path) {
        self.go(&format!("file://{}", file.display()));
    }
    pub fn go(&self, url: &str) {
        self.command("/url", &json!({"url": url}));
    }
    /// Runs a script and gives back what it returns.
    pub fn run(&self, script: &str) -> Value {
        self.command("/execute/sync", &json!({"script": script, "args": []}))
    }
    /// Moves the mouse to a point of the window, pressing in between when `drag_to` is given.
    pub fn point(&self, x: f64, y: f64, drag_to: Option<(f64, f64)>) {
        let to = |x: f64, y: f64| json!({"type": "pointerMove", "duration": 0, "x": x as i64, "y": y as i64});
        let mut steps = vec![to(x, y)];
        if let Some((x, y)) = drag_to {
            steps.push(json!({"type": "pointerDown", "button": 0}));
            steps.push(to(x, y));
            steps.push(json!({"type": "pointerUp", "button": 0}));
        }
        self.command("/actions", &json!({"actions": [{"type": "pointer", "id": "mouse", "actions": steps}]}));
    }
    /// Sends one key to whatever has the focus.
    pub fn key(&self, key: &str) {
        let steps = json!([{"type": "keyDown", "value": key}, {"type": "keyUp", "value": key}]);
        self.command("/actions", &json!({"actions": [{"type": "key", "id": "keys", "actions": steps}]}));
    }
    /// Messages of the browser's console since the last look.
    pub fn console(&self) -> Vec<String> {
        let log = self.command("/se/log", &json!({"type": "browser"}));
        log.as_array().unwrap().iter().map(|entry| entry.to_string()).collect()
    }
    /// The page printed on A4, as PDF.
    pub fn print(&self) -> Vec<u8> {
        let page = json!({"page": {"width": 21.0, "height": 29.7}, "margin": {"top": 1.5, "bottom": 1.5, "left": 1.5, "right": 1.5}});
        bytes_of_base64(self.command("/print", &page).as_str().unwrap())
    }
    pub fn screenshot(&self) -> Vec<u8> {
        let picture = self.call("GET", &format!("/session/{}/screenshot", self.session), &Value::Null);
        bytes_of_base64(picture.as_str().unwrap())
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() && !std::thread::panicking() {
            self.call("DELETE", &format!("/session/{}", self.session), &json!({}));
        }
        self.driver.kill().ok();
        self.driver.wait().ok();
        std::fs::remove_dir_all(&self.profile).ok();
    }
}

fn bytes_of_base64(text: &str) -> Vec<u8> {
    let sign = |c: u8| match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let mut out = vec![];
    for chunk in text.trim_end_matches('=').as_bytes().chunks(4) {
        let word = chunk.iter().fold(0u32, |w, c| (w << 6) | u32::from(sign(*c))) << (6 * (4 - chunk.len()));
        out.extend(&word.to_be_bytes()[1..chunk.len()]);
    }
    out
}
