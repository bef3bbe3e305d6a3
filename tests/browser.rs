//! The HTML page in a real browser: Debian's chromium, headless. Runs when READODDS_BROWSER=1 is set, because it needs
//! `chromium`, `chromium-driver` and `poppler-utils`; READODDS_LOOK=DIR keeps pictures for people to look at.

#[path = "browser/driver.rs"]
mod driver;
mod sample;

use driver::Browser;
use readodds::report::html::html;
use std::path::{Path, PathBuf};

fn wanted() -> bool {
    let on = std::env::var_os("READODDS_BROWSER").is_some_and(|v| v == "1");
    if !on {
        eprintln!("skipped: set READODDS_BROWSER=1 to test in a browser");
    }
    on
}

fn page_file(name: &str) -> PathBuf {
    let file = std::env::temp_dir().join(format!("readodds-{name}-{}.html", std::process::id()));
    std::fs::write(&file, html(&sample::page()).unwrap()).unwrap();
    file
}

fn keep(name: &str, bytes: &[u8]) {
    if let Some(folder) = std::env::var_os("READODDS_LOOK") {
        std::fs::write(Path::new(&folder).join(name), bytes).unwrap();
    }
}

#[test]
fn page_loads_fast_and_without_a_console_message() {
    if !wanted() {
        return;
    }
    let file = page_file("load");
    let browser = Browser::start("load", 1100, 900);
    browser.open(&file);
    assert_eq!(browser.console(), Vec::<String>::new());
    let ready = browser.run("return document.documentElement.dataset.ready");
    assert!(ready.as_str().is_some_and(|r| r.contains("9 panels")), "{ready}");
    let load_ms =
        browser.run("return performance.getEntriesByType('navigation')[0].loadEventEnd").as_f64().unwrap();
    assert!(load_ms > 0.0 && load_ms < 1000.0, "{load_ms} ms");
    eprintln!("loaded in {load_ms:.0} ms, {} bytes", std::fs::metadata(&file).unwrap().len());
    assert_eq!(
        browser.run("return performance.getEntriesByType('resource').length"),
        0,
        "nothing is fetched"
    );
    keep("page-laptop.png", &browser.screenshot());
}

#[test]
fn a_script_in_a_name_is_harmless() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("script", 1100, 900);
    browser.open(&page_file("script"));
    assert!(
        browser.run("return document.body.innerText.includes(\"<script>alert('x')\")").as_bool().unwrap()
    );
    assert_eq!(browser.run("return document.scripts.length"), 1);
    // Even a script that got in would not run: the policy admits ours alone.
    browser.run("const s = document.createElement('script'); s.textContent = 'window.broken = 1'; document.body.append(s)");
    assert!(browser.run("return window.broken ?? null").is_null());
    assert!(browser.console().iter().all(|line| line.contains("Content Security Policy")));
}

/// Centre of an element in the window, after scrolling it into view.
fn centre(browser: &Browser, element: &str) -> (f64, f64) {
    let at = browser.run(&format!(
        "const e = {element}; e.scrollIntoView({{block: 'center'}}); const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]"
    ));
    (at[0].as_f64().unwrap(), at[1].as_f64().unwrap())
}

const TIP: &str = "const t = document.getElementById('tip'); return t.hidden ? '' : t.textContent";

#[test]
fn pointing_shows_values() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("hover", 1100, 900);
    browser.open(&page_file("hover"));
    let (x, y) = centre(&browser, "document.querySelectorAll('#sample-rates .tip')[1]");
    browser.point(x, y, None);
    assert_eq!(browser.run(TIP), "plain tag, dry\n1.9 %");
    let (x, y) = centre(&browser, "document.querySelector('#sample-curves .line')");
    browser.point(x, y, None);
    let text = browser.run(TIP);
    assert!(text.as_str().unwrap().starts_with("average sample\nfrequency 8"), "{text}");
    let (x, y) = centre(&browser, "document.querySelector('#sample-heat .plot')");
    browser.point(x + 60.0, y - 40.0, None);
    let text = browser.run(TIP);
    assert!(text.as_str().unwrap().starts_with("odds of a read "), "{text}");
    keep("page-hover.png", &browser.screenshot());
    let (x, y) = centre(&browser, "document.querySelector('h1')");
    browser.point(x, y, None);
    assert_eq!(browser.run(TIP), "");
}

#[test]
fn keys_walk_through_the_values() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("keys", 1100, 900);
    browser.open(&page_file("keys"));
    browser.run("document.querySelector('#sample-rates svg').focus()");
    for _ in 0..3 {
        browser.key("\u{e014}");
    }
    assert_eq!(browser.run(TIP), "plain tag, dry\n0.02 %");
    browser.key("\u{e00c}");
    assert_eq!(browser.run(TIP), "");
}

#[test]
fn switches_hide_and_show_layers_and_panels() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("switch", 1100, 900);
    browser.open(&page_file("switch"));
    let boxes = browser
        .run("return [...document.querySelectorAll('#switches label')].map(l => l.textContent.trim())");
    assert_eq!(boxes[0], "dry");
    assert_eq!(boxes[1], "soaked");
    let seen = "return [...document.querySelectorAll('#sample-rates .layer')].filter(e => e.getClientRects().length).map(e => e.dataset.name)";
    let before = browser.run(seen);
    browser.run("document.querySelector('#switches input').click()");
    let after = browser.run(seen);
    assert!(
        before.to_string().contains("plain tag, dry") && !after.to_string().contains("plain tag, dry"),
        "{after}"
    );
    assert!(after.to_string().contains("plain tag, soaked"));
    browser.run("document.querySelector('#switches input').click()");
    assert_eq!(browser.run(seen), before);
}

#[test]
fn dragging_zooms_and_a_double_click_goes_back() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("zoom", 1100, 900);
    browser.open(&page_file("zoom"));
    let ticks = "return [...document.querySelectorAll('#sample-curves .axis.x')[0].querySelectorAll('text')].map(t => t.textContent).join()";
    assert_eq!(browser.run(ticks), "860,880,900,920");
    let (x, y) = centre(&browser, "document.querySelector('#sample-curves .plot')");
    browser.point(x - 30.0, y, Some((x + 30.0, y)));
    let zoomed = browser.run(ticks);
    assert!(zoomed != "860,880,900,920" && zoomed.as_str().unwrap().contains("890"), "{zoomed}");
    keep("page-zoom.png", &browser.screenshot());
    browser.run("document.querySelector('#sample-curves .tools button:last-of-type').click()");
    assert_eq!(browser.run(ticks), "860,880,900,920");
}

/// Words of each page of the printed file, blanks made even.
fn printed(browser: &Browser, name: &str) -> Vec<String> {
    let pdf = std::env::temp_dir().join(format!("readodds-print-{name}-{}.pdf", std::process::id()));
    std::fs::write(&pdf, browser.print()).unwrap();
    keep(&format!("{name}.pdf"), &std::fs::read(&pdf).unwrap());
    let text = std::process::Command::new("pdftotext").arg("-layout").arg(&pdf).arg("-").output().unwrap();
    let text = String::from_utf8(text.stdout).unwrap();
    text.split('\u{c}').map(even).collect()
}

fn even(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A figure is whole when its heading, the label of its last axis and its source stand on one page, in this order.
fn assert_whole_figures(browser: &Browser, name: &str) {
    let figures = browser.run(
        "return [...document.querySelectorAll('figure')].map(f => [f.querySelector('h3').textContent, \
         [...f.querySelectorAll('.panel')].pop().dataset.x.split('|')[3], f.querySelector('figcaption').textContent])",
    );
    let pages = printed(browser, name);
    let figures = figures.as_array().unwrap();
    assert!(!figures.is_empty());
    for figure in figures {
        let [title, axis, source] = [0, 1, 2].map(|k| even(figure[k].as_str().unwrap()));
        // Long words are broken over lines; their beginnings are enough to find them.
        let start = |text: &str| text.chars().take(28).collect::<String>();
        let whole = pages.iter().any(|page| {
            let Some(at) = page.find(&start(&title)) else { return false };
            let Some(n) = page[at..].find(&start(&axis)) else { return false };
            page[at + n..].contains(&start(&source))
        });
        assert!(whole, "{title} is cut");
    }
}

#[test]
fn print_on_a4_cuts_no_figure() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("print", 1100, 900);
    browser.open(&page_file("print"));
    assert_whole_figures(&browser, "page");
}

/// Pages as the program writes them, from the shipped scenarios and tags.
#[test]
fn pages_of_the_program_load_and_print_whole() {
    if !wanted() {
        return;
    }
    let scenario = "scenarios/trail-soaked-one-mat.toml";
    let (wet, dipole) = ("scenarios/river-half-rain-usa.toml", "demo-data/tags/alder");
    let season = std::env::temp_dir().join(format!("readodds-season-{}.toml", std::process::id()));
    let root = env!("CARGO_MANIFEST_DIR");
    let text = format!(
        "# Invented.\nname = \"small\"\n[[tag]]\nfolder = \"{root}/{dipole}\"\n[[tag]]\nfolder = \"{root}/demo-data/tags/dogwood\"\n[[scenario]]\nname = \"wet\"\nfile = \"{root}/{wet}\"\nraces = 2\n"
    );
    std::fs::write(&season, text).unwrap();
    let season = season.display().to_string();
    let few = ["--passings-per-race", "20"];
    let rank = [&["rank", &season, "--first-worlds", "8", "--most-worlds", "8"], &few[..]].concat();
    let redundancy = [&["redundancy", wet, "--tag", dipole, "--races", "6"], &few[..]].concat();
    let drivers = [
        &["drivers", wet, "--tag", dipole, "--replications", "3", "--points", "4", "--passing-points", "16"],
        &few[..],
    ]
    .concat();
    let calls: [&[&str]; 6] = [
        &rank,
        &redundancy,
        &drivers,
        &["predict", scenario, "--races", "4", "--passings-per-race", "40"],
        &["explain", scenario],
        &["lab", "demo-data/tags/alder", "demo-data/tags/birch"],
    ];
    for call in calls {
        let file =
            std::env::temp_dir().join(format!("readodds-real-{}-{}.html", call[0], std::process::id()));
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_readodds"))
            .args(call)
            .arg("--html")
            .arg(&file)
            .output()
            .unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let browser = Browser::start(call[0], 1100, 900);
        browser.open(&file);
        assert_eq!(browser.console(), Vec::<String>::new(), "{}", call[0]);
        let load_ms = browser.run("return performance.getEntriesByType('navigation')[0].loadEventEnd");
        let bytes = std::fs::metadata(&file).unwrap().len();
        eprintln!("{}: {} ms, {bytes} bytes", call[0], load_ms);
        assert!(bytes < 2_000_000, "{}: {bytes} bytes", call[0]);
        assert_whole_figures(&browser, &format!("real-{}", call[0]));
    }
}

#[test]
fn page_fits_a_phone() {
    if !wanted() {
        return;
    }
    let browser = Browser::start("phone", 500, 900);
    browser.open(&page_file("phone"));
    let wide = browser.run("return document.documentElement.scrollWidth - innerWidth").as_f64().unwrap();
    assert!(wide <= 0.0, "the page is {wide} px wider than the window");
    keep("page-phone.png", &browser.screenshot());
}
