//! `readodds live` as a stranger meets it: who is answered, what is refused, what is never written over.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

struct Live {
    process: Child,
    host: String,
    token: String,
    folder: PathBuf,
}

impl Live {
    fn start(name: &str) -> Live {
        let folder = std::env::temp_dir().join(format!("readodds-live-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let root = env!("CARGO_MANIFEST_DIR");
        let text = std::fs::read_to_string(format!("{root}/scenarios/smallest.toml")).unwrap();
        std::fs::write(folder.join("own.toml"), text.replace("../demo-data", &format!("{root}/demo-data")))
            .unwrap();
        let mut process = Command::new(env!("CARGO_BIN_EXE_readodds"))
            .args(["live", folder.join("own.toml").to_str().unwrap()])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(process.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let (host, token) = line.trim().strip_prefix("http://").unwrap().split_once("/?token=").unwrap();
        Live { host: host.to_owned(), token: token.to_owned(), process, folder }
    }

    /// Status, headers and body of a request made of these lines.
    fn ask(&self, first: &str, headers: &str, body: &str) -> (u16, String) {
        let mut socket = TcpStream::connect(&self.host).unwrap();
        write!(
            socket,
            "{first} HTTP/1.1\r\n{headers}Connection: close\r\nContent-Length: {}\r\n\r\n",
            body.len()
        )
        .unwrap();
        // A server that refuses by the length alone may close before it has read all.
        let _ = socket.write_all(body.as_bytes());
        let mut answer = Vec::new();
        let _ = socket.read_to_end(&mut answer);
        let answer = String::from_utf8(answer).unwrap();
        (answer[9..12].parse().unwrap(), answer)
    }
    fn post(&self, what: &str, body: &str) -> (u16, Value) {
        let headers = format!("Host: {0}\r\nOrigin: http://{0}\r\n", self.host);
        let (status, answer) = self.ask(&format!("POST /{what}?token={}", self.token), &headers, body);
        let body = answer.split_once("\r\n\r\n").unwrap().1;
        (status, serde_json::from_str(body).unwrap_or(Value::Null))
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
        std::fs::remove_dir_all(&self.folder).ok();
    }
}

#[test]
fn only_its_own_page_is_answered() {
    let live = Live::start("guard");
    let (host, token) = (&live.host, &live.token);
    assert!(host.starts_with("127.0.0.1:"));
    assert_eq!(token.len(), 32);
    let ours = format!("Host: {host}\r\n");
    let (status, page) = live.ask(&format!("GET /?token={token}"), &ours, "");
    assert_eq!(status, 200);
    assert!(page.contains("Content-Security-Policy: default-src 'none'"), "{page}");
    let get = |path: &str, headers: &str| live.ask(&format!("GET {path}"), headers, "").0;
    assert_eq!(get("/", &ours), 403);
    assert_eq!(get(&format!("/?token={}", "0".repeat(32)), &ours), 403);
    assert_eq!(get("/live.js", &ours), 403);
    assert_eq!(get(&format!("/?token={token}"), "Host: evil.example\r\n"), 403);
    assert_eq!(get(&format!("/?token={token}"), &format!("{ours}Origin: http://evil.example\r\n")), 403);
    assert_eq!(get(&format!("/?token={token}"), &format!("{ours}Origin: null\r\n")), 403);
    let beat = format!("POST /beat?token={token}");
    assert_eq!(live.ask(&beat, &ours, "{}").0, 403, "a request that does something names its origin");
    assert_eq!(live.post("beat", "{}").0, 200);
}

#[test]
fn bad_bodies_are_refused_and_it_goes_on() {
    let live = Live::start("bodies");
    for body in
        ["", "{", "[]", "{\"changes\": [], \"worlds\": -1}", "{\"changes\": [], \"worlds\": 4, \"more\": 1}"]
    {
        assert_eq!(live.post("forecast", body).0, 400, "{body}");
    }
    assert_eq!(live.post("forecast", "{\"changes\": [], \"worlds\": 100000}").0, 422);
    assert_eq!(live.post("forecast", &" ".repeat(300_000)).0, 413);
    let change = |path: &str, value: Value| {
        json!({"changes": [{"path": path, "value": value}], "worlds": 4}).to_string()
    };
    for (path, value) in [
        ("none.of.this", json!(1)),
        ("weather.key", json!("<script>")),
        ("field.runners", json!(-5)),
        ("tag", json!("nowhere")),
    ] {
        let (status, answer) = live.post("forecast", &change(path, value));
        assert_eq!(status, 422, "{path}");
        assert!(answer["refused"].as_str().is_some_and(|w| !w.is_empty()));
    }
    let (status, answer) =
        live.post("forecast", &change("point.1.line.1.reader.1.antenna.2.power_dbm", json!(10.0)));
    assert_eq!(status, 200, "{answer}");
    let missed = |which: &str| answer[which][0]["missed"]["value"].as_f64().unwrap();
    assert!(missed("now") > missed("pinned"), "less power misses more: {answer}");
}

#[test]
fn saving_keeps_comments_and_writes_over_nothing_unasked() {
    let live = Live::start("save");
    let own = live.folder.join("own.toml");
    let before = std::fs::read_to_string(&own).unwrap();
    let save = |name: &str, runners: u32, replace: bool| {
        let changes = json!([{"path": "field.runners", "value": runners}]);
        live.post("save", &json!({"changes": changes, "name": name, "replace": replace}).to_string()).0
    };
    for name in [
        "../out.toml",
        "/tmp/out.toml",
        ".toml",
        ".hidden.toml",
        "a\u{0}.toml",
        "a/b.toml",
        "a.txt",
        "<b>.toml",
    ] {
        assert_eq!(save(name, 800, true), 422, "{name:?}");
    }
    assert_eq!(save("own.toml", 800, false), 409);
    assert_eq!(save("own.toml", 800, true), 422, "the scenario itself is never replaced");
    assert_eq!(save("new.toml", 800, false), 200);
    assert_eq!(save("new.toml", 700, false), 409);
    let new = live.folder.join("new.toml");
    assert_eq!(std::fs::read_to_string(&new).unwrap(), before.replace("runners = 900", "runners = 800"));
    assert_eq!(save("new.toml", 700, true), 200);
    assert!(std::fs::read_to_string(&new).unwrap().contains("runners = 700"));
    assert_eq!(std::fs::read_to_string(&own).unwrap(), before);
}
