//! `readodds live`: a page on this machine on which antennas are moved and the forecast moves with them.
//!
//! One thread answers one request after another, at 127.0.0.1 only and only to the page it served (`guard`). The page keeps the changes
//! and sends all of them each time, so two tabs do not disturb each other.

mod guard;
pub mod scene;

use super::args::Inputs;
use super::failure::{DONE, Failure};
use super::inputs::use_threads;
use super::interrupt;
use super::places::Places;
use guard::{Guard, MOST_BODY_BYTES};
use scene::{Scene, Set};
use serde::Deserialize;
use serde_json::{Value, json};
use std::io::Read;
use std::path::Path;
use std::process::ExitCode;
use std::time::{Duration, Instant};
use tiny_http::{Header, Method, Request, Response, Server};

/// The page beats every 2 s; hidden pages are slowed to once a minute by browsers, so it is given more than one.
const QUIET: Duration = Duration::from_secs(75);
/// Said by a page that is being closed; a page loaded anew beats again within it.
const AFTER_CLOSE: Duration = Duration::from_secs(5);
/// Most worlds a page may ask for at once.
const MOST_WORLDS: u64 = 512;
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    changes: Vec<Set>,
    worlds: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Save {
    changes: Vec<Set>,
    name: String,
    replace: bool,
}

pub fn run(args: &Inputs) -> Result<ExitCode, Failure> {
    use_threads(args.threads)?;
    if args.tag.is_some() || args.allow_unlawful_power || args.learned.is_some() {
        return Err(Failure::Usage(
            "live takes the tag from the scenario and tells unlawful power on the page; beliefs are those of the file; leave out --tag, --allow-unlawful-power and --learned".to_owned(),
        ));
    }
    // The loader's words about the file itself, once, before anything opens.
    super::inputs::read_files(&args.scenario, None)?;
    let text = std::fs::read_to_string(&args.scenario)
        .map_err(|e| Failure::Usage(format!("cannot read {}: {e}", args.scenario.display())))?;
    let text = text.trim_start_matches('\u{feff}').to_owned();
    let mut scene = Scene::new(&args.scenario, text.clone(), args.seed, args.despite_findings);
    scene.load(&text).map_err(Failure::Usage)?;
    let server = Server::http("127.0.0.1:0")
        .map_err(|e| Failure::Internal(format!("cannot open a port at 127.0.0.1: {e}")))?;
    let guard = Guard::new(server.server_addr().to_string())
        .map_err(|e| Failure::Internal(format!("no random numbers: {e}")))?;
    println!("http://{}/?token={}", guard.host, guard.token);
    eprintln!("open this address in a browser on this machine; Ctrl-C ends");
    interrupt::heed();
    let mut until: Option<Instant> = None;
    while !interrupt::asked() && until.is_none_or(|until| Instant::now() < until) {
        let request = server.recv_timeout(Duration::from_millis(200));
        let Some(request) = request.map_err(|e| Failure::Internal(e.to_string()))? else { continue };
        if let Some(status) = guard.refuses(&request) {
            // The other side may be gone already.
            let _ = request.respond(Response::from_string("refused\n").with_status_code(status));
            continue;
        }
        let closing = request.url().starts_with("/closed?");
        serve(request, &mut scene, &guard);
        until = Some(Instant::now() + if closing { AFTER_CLOSE } else { QUIET });
    }
    Ok(ExitCode::from(DONE))
}

fn serve(mut request: Request, scene: &mut Scene, guard: &Guard) {
    let path = request.url().split('?').next().unwrap_or("").to_owned();
    let (status, kind, body) = match (request.method().clone(), path.as_str()) {
        (Method::Get, "/") => {
            (200, "text/html; charset=utf-8", include_str!("page.html").replace("TOKEN", &guard.token))
        }
        (Method::Get, "/live.js") => {
            (200, "text/javascript; charset=utf-8", include_str!("live.js").to_owned())
        }
        (Method::Get, "/live.css") => (200, "text/css; charset=utf-8", include_str!("live.css").to_owned()),
        (Method::Post, path) => {
            let mut body = String::new();
            // A body without a stated length is cut here.
            let read = request.as_reader().take(MOST_BODY_BYTES + 1).read_to_string(&mut body);
            let (status, value) = match read {
                Err(_) => (400, json!({"refused": "the body is not UTF-8"})),
                Ok(n) if n as u64 > MOST_BODY_BYTES => (413, json!({"refused": "the body is too large"})),
                Ok(_) => match post(path, &body, scene) {
                    Ok(value) => (200, value),
                    Err((status, words)) => (status, json!({"refused": words})),
                },
            };
            (status, "application/json", value.to_string())
        }
        _ => (404, "text/plain", "nothing here\n".to_owned()),
    };
    let mut response = Response::from_string(body).with_status_code(status);
    let headers = [
        ("Content-Type", kind),
        ("Content-Security-Policy", POLICY),
        ("X-Content-Type-Options", "nosniff"),
        ("Referrer-Policy", "no-referrer"),
        ("Cache-Control", "no-store"),
    ];
    for (name, value) in headers {
        response.add_header(Header::from_bytes(name, value).expect("plain ASCII"));
    }
    // The page may be gone already.
    let _ = request.respond(response);
}

type Refusal = (u16, String);

fn post(path: &str, body: &str, scene: &mut Scene) -> Result<Value, Refusal> {
    fn of<T: serde::de::DeserializeOwned>(body: &str) -> Result<T, Refusal> {
        serde_json::from_str(body).map_err(|e| (400, format!("not the JSON expected: {e}")))
    }
    match path {
        "/beat" | "/closed" => Ok(json!({})),
        "/forecast" => {
            let asked: Asked = of(body)?;
            if !(2..=MOST_WORLDS).contains(&asked.worlds) {
                return Err((422, format!("worlds must be 2 to {MOST_WORLDS}, not {}", asked.worlds)));
            }
            scene.answer(&asked.changes, asked.worlds).map_err(|words| (422, words))
        }
        "/save" => save(&of(body)?, scene),
        _ => Err((404, "nothing here".to_owned())),
    }
}

/// Beside the scenario, so that its relative paths hold; never over the scenario itself, over another file only when told to.
fn save(asked: &Save, scene: &mut Scene) -> Result<Value, Refusal> {
    let plain = asked.name.strip_suffix(".toml").is_some_and(|stem| {
        let fits = |c: char| c.is_alphanumeric() || "-_ .".contains(c);
        !stem.is_empty() && stem.len() <= 100 && !stem.starts_with('.') && stem.chars().all(fits)
    });
    if !plain {
        return Err((
            422,
            "name a file of letters, digits, spaces, - and _ that ends in .toml; it goes beside the scenario"
                .to_owned(),
        ));
    }
    let text = scene.changed(&asked.changes).map_err(|words| (422, words))?;
    scene.load(&text).map_err(|words| (422, words))?;
    let path = scene.path.parent().unwrap_or(Path::new("")).join(&asked.name);
    if path.symlink_metadata().is_ok() && !asked.replace {
        return Err((409, format!("{} is there already", asked.name)));
    }
    let words = |failure| match failure {
        Failure::Usage(words) | Failure::Write(words) => (422, words),
        other => (500, format!("{other:?}")),
    };
    let mut places = Places::new(asked.replace);
    places.take("the scenario to save", &path, false).map_err(words)?;
    places.spare([scene.path.as_path()]).map_err(words)?;
    drop(places);
    let mut output = Places::new(asked.replace).file("the scenario to save", Some(&path)).map_err(words)?;
    output.write(&text).map_err(words)?;
    Ok(json!({"saved": path.display().to_string()}))
}
