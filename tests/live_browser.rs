//! The page of `readodds live` in a real browser; ignored like those of tests/browser.rs.

#[allow(dead_code)]
#[path = "browser/driver.rs"]
mod driver;

use driver::Browser;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

fn until(browser: &Browser, script: &str) {
    let end = Instant::now() + Duration::from_secs(30);
    while browser.run(script) != true {
        assert!(Instant::now() < end, "never true: {script}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
#[ignore = "needs chromium: cargo test --test live_browser -- --ignored"]
fn drag_key_undo_and_redo_move_an_antenna() {
    let mut live = Command::new(env!("CARGO_BIN_EXE_readodds"))
        .args(["live", concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/smallest.toml")])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut url = String::new();
    BufReader::new(live.stdout.take().unwrap()).read_line(&mut url).unwrap();
    let browser = Browser::start("live", 390, 900);
    browser.go(url.trim());
    let y = |y: &str| format!("return typeof plan === 'object' && plan?.antennas[0].y_m {y}");
    until(&browser, &y("=== -1.2"));
    let at = browser.run("const b = document.querySelector('.at').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]");
    let (px, py) = (at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
    browser.point(px, py, Some((px - 40.0, py)));
    until(&browser, &y("> -1.1"));
    browser.run("document.getElementById('undo').click()");
    until(&browser, &y("=== -1.2"));
    browser.run("document.getElementById('redo').click()");
    until(&browser, &y("> -1.1"));
    browser.run("document.getElementById('undo').click()");
    until(&browser, &y("=== -1.2"));
    browser.run("document.querySelector('.at').focus()");
    browser.key("\u{E012}");
    until(&browser, &y("=== -1.1"));
    assert_eq!(browser.run("return document.documentElement.scrollWidth <= innerWidth"), true);
    live.kill().unwrap();
    live.wait().unwrap();
}
