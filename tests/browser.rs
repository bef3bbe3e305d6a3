//! The HTML page in a real browser: Debian's chromium, headless. Ignored unless asked for by `--ignored`, because it
//! needs `chromium`, `chromium-driver` and `poppler-utils`; READODDS_LOOK=DIR keeps pictures for people to look at.

#[path = "browser/driver.rs"]
#[allow(dead_code)]
mod driver;
mod sample;

use driver::Browser;
use readodds::report::html::html;
use std::path::{Path, PathBuf};

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
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn page_loads_without_a_console_message() {
    let file = page_file("load");
    let browser = Browser::start("load", 1100, 900);
    browser.open(&file);
    assert_eq!(browser.console(), Vec::<String>::new());
    let ready = browser.run("return document.documentElement.dataset.ready");
    assert!(ready.as_str().is_some_and(|r| r.contains("12 panels")), "{ready}");
    let load_ms =
        browser.run("return performance.getEntriesByType('navigation')[0].loadEventEnd").as_f64().unwrap();
    eprintln!("loaded in {load_ms:.0} ms, {} bytes", std::fs::metadata(&file).unwrap().len());
    assert_eq!(
        browser.run("return performance.getEntriesByType('resource').length"),
        0,
        "nothing is fetched"
    );
    keep("page-laptop.png", &browser.screenshot());
}

#[test]
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn a_script_in_a_name_is_harmless() {
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
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn pointing_shows_values() {
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
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn keys_walk_through_the_values() {
    let browser = Browser::start("keys", 1100, 900);
    browser.open(&page_file("keys"));
    // Whatever the keyboard reaches shows that it has the focus.
    let mut reached = std::collections::BTreeSet::new();
    for _ in 0..14 {
        browser.key("\u{e004}");
        let at = browser.run("const e = document.activeElement, s = getComputedStyle(e); return [e.tagName, s.outlineStyle, parseFloat(s.outlineWidth)]");
        assert_eq!(at[1], "solid", "{at}");
        assert!(at[2].as_f64().is_some_and(|px| px >= 2.0), "{at}");
        reached.insert(at[0].to_string());
    }
    assert!(reached.len() >= 3, "links, switches and figures: {reached:?}");
    browser.run("document.querySelector('#sample-rates svg').focus()");
    for _ in 0..3 {
        browser.key("\u{e014}");
    }
    assert_eq!(browser.run(TIP), "plain tag, dry\n0.02 %");
    browser.key("\u{e00c}");
    assert_eq!(browser.run(TIP), "");
}

#[test]
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn switches_hide_and_show_layers_and_panels() {
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
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn dragging_zooms_and_a_double_click_goes_back() {
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
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn print_on_a4_cuts_no_figure() {
    let browser = Browser::start("print", 1100, 900);
    browser.open(&page_file("print"));
    assert_whole_figures(&browser, "page");
}

/// A name that tries to be a program.
const EVIL: &str = "<script>window.broken=1</script>";

/// Copies of shipped scenarios and tags whose names and notes hold a script.
fn hostile(folder: &Path) -> [String; 5] {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let copy = |from: &str, to: &str, changes: &[(&str, String)]| {
        let text = std::fs::read_to_string(root.join(from)).unwrap();
        let text = changes.iter().fold(text, |text, (old, new)| {
            assert!(text.contains(old), "{from} no longer holds {old}");
            text.replacen(old, new, 1)
        });
        let file = folder.join(to);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(&file, text).unwrap();
        file.display().to_string()
    };
    let named = |name: &str| (format!("name = \"{name}\""), format!("name = \"{name} {EVIL}\""));
    for tag in ["alder", "dogwood"] {
        let (old, new) = named(tag);
        copy(
            &format!("demo-data/tags/{tag}/tag.toml"),
            &format!("{tag}/tag.toml"),
            &[(&old, new), ("note = \"", format!("note = \"{EVIL} "))],
        );
        for file in ["free_air.csv", "phantom_10mm.csv", "phantom_close.csv"] {
            copy(&format!("demo-data/tags/{tag}/{file}"), &format!("{tag}/{file}"), &[]);
        }
    }
    let tag = |name: &str| folder.join(name).display().to_string();
    let scenario = |from: &str, to: &str, names: &[&str]| {
        let renamed: Vec<(String, String)> = names.iter().map(|n| named(n)).collect();
        let mut changes: Vec<(&str, String)> =
            renamed.iter().map(|(old, new)| (old.as_str(), new.clone())).collect();
        changes.push(("note = \"", format!("note = \"{EVIL} ")));
        let file = copy(from, to, &changes);
        let text = std::fs::read_to_string(&file).unwrap();
        let old = text.lines().find(|l| l.starts_with("tag = ")).unwrap().to_owned();
        std::fs::write(&file, text.replace(&old, &format!("tag = \"{}\"", tag("alder")))).unwrap();
        file
    };
    let trail =
        scenario("scenarios/trail-soaked-one-mat.toml", "trail.toml", &["Sedgewick ridge run", "mat"]);
    let river =
        scenario("scenarios/river-half-rain-usa.toml", "river.toml", &["Alderwick River half", "side pair"]);
    let season = folder.join("season.toml");
    let text = format!(
        "# Invented.\nname = \"small {EVIL}\"\nnote = \"{EVIL}\"\n[[tag]]\nfolder = \"{}\"\n[[tag]]\nfolder = \"{}\"\n[[scenario]]\nname = \"wet {EVIL}\"\nfile = \"{river}\"\nraces = 2\n",
        tag("alder"),
        tag("dogwood")
    );
    std::fs::write(&season, text).unwrap();
    [trail, river, season.display().to_string(), tag("alder"), tag("dogwood")]
}

/// A race with a forecast stored before it, and a walk, whose names hold a script.
fn outcomes(folder: &Path, scenario: &str) -> [String; 2] {
    let stored = folder.join("forecast.json").display().to_string();
    let few = ["--worlds", "16", "--passings-per-world", "40", "--format", "json", "--out", &stored];
    let done = std::process::Command::new(env!("CARGO_BIN_EXE_readodds"))
        .args([&["predict", scenario], &few[..]].concat())
        .output()
        .unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let write = |name: &str, text: String| {
        let file = folder.join(name);
        std::fs::write(&file, text).unwrap();
        file.display().to_string()
    };
    let race = format!(
        "# Invented {EVIL}.\n[race]\nname = \"Race {EVIL}\"\nscenario = \"{scenario}\"\nforecast = \"forecast.json\"\n\
         [[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = 300\nmissed = 40\n\
         missed_were = {{ back = 20, side = 10 }}\nsample_were = {{ front_high = 70, side = 5, back = 9 }}\n"
    );
    let rows: String = (0..120)
        .map(|n| format!("walker {},front_high,soaked,{},{}\n", n % 6, 3 * (n / 40), u8::from(n % 3 == 0)))
        .collect();
    write("walk.csv", format!("person,placement,wetness,drop_db,read\n{rows}"));
    let walk = format!(
        "# Invented {EVIL}.\n[trial]\nname = \"Walk {EVIL}\"\nscenario = \"{scenario}\"\nfile = \"walk.csv\"\n"
    );
    [write("race.toml", race), write("walk.toml", walk)]
}

/// Words that stick out of their figure or lie on other words, and figures whose values the arrow keys do not reach.
const FAULTS: &str = "const out = []; \
    for (const svg of document.querySelectorAll('svg.figure')) { \
      const frame = svg.getBoundingClientRect(), texts = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]); \
      for (const [i, [words, r]] of texts.entries()) { \
        if (r.left < frame.left - 1 || r.right > frame.right + 1 || r.top < frame.top - 1 || r.bottom > frame.bottom + 1) out.push(svg.id + ' cuts ' + words); \
        for (const [other, q] of texts.slice(0, i)) { \
          const wide = Math.min(r.right, q.right) - Math.max(r.left, q.left), high = Math.min(r.bottom, q.bottom) - Math.max(r.top, q.top); \
          if (wide > 1 && high > 4) out.push(svg.id + ': ' + words + ' lies on ' + other); } } \
      if (svg.querySelector('.tip, .line')) { svg.focus(); svg.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowRight' })); \
        if (document.getElementById('tip').hidden) out.push(svg.id + ' tells no value'); svg.blur(); } } \
    for (const box of document.querySelectorAll('#switches input')) { box.click(); \
      if (!document.querySelector('[data-off]')) out.push('a switch does nothing: ' + box.parentNode.textContent); box.click(); \
      if (document.querySelector('[data-off]')) out.push('a switch does not come back: ' + box.parentNode.textContent); } \
    if (window.broken) out.push('a script in a name ran'); \
    if (document.scripts.length !== 1) out.push('a script in a name became one'); \
    return out";

/// Pages of every kind as the program writes them, from shipped files whose names try to be scripts.
#[test]
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn pages_of_the_program_load_work_and_print_whole() {
    let folder = std::env::temp_dir().join(format!("readodds-hostile-{}", std::process::id()));
    let [trail, river, season, alder, dogwood] = hostile(&folder);
    let rank = ["rank", &season, "--most-worlds", "32"];
    let redundancy = ["redundancy", &river, "--worlds", "16"];
    let drivers = ["drivers", &river, "--max-passings", "6000"];
    let [race, walk] = outcomes(&folder, &trail);
    let small = ["--draws", "64", "--passings", "16"];
    let learn = [&["learn", &race, &walk], &small[..]].concat();
    let trial = [&["trial", &trail, "--people", "4", "--minutes", "30"], &small[..]].concat();
    let calls: [&[&str]; 9] = [
        &learn,
        &trial,
        &["score", &race],
        &rank,
        &redundancy,
        &drivers,
        &["predict", &trail, "--worlds", "16", "--passings-per-world", "40"],
        &["explain", &trail],
        &["lab", &alder, &dogwood],
    ];
    let browser = Browser::start("real", 1100, 900);
    for call in calls {
        let file = folder.join(format!("{}.html", call[0]));
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_readodds"))
            .args(call)
            .arg("--html")
            .arg(&file)
            .output()
            .unwrap();
        // `learn` ends with 1 where the counts do not fit; the page is written all the same.
        assert!(matches!(done.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&done.stderr));
        let text = std::fs::read_to_string(&file).unwrap();
        assert!(text.contains("&lt;script&gt;window.broken"), "{}: the name is not on the page", call[0]);
        browser.open(&file);
        let faults: Vec<String> = serde_json::from_value(browser.run(FAULTS)).unwrap();
        assert!(faults.is_empty(), "{}: {faults:#?}", call[0]);
        assert_eq!(browser.console(), Vec::<String>::new(), "{}", call[0]);
        let load_ms = browser.run("return performance.getEntriesByType('navigation')[0].loadEventEnd");
        eprintln!("{}: {load_ms} ms, {} bytes", call[0], text.len());
        assert!(text.len() < 2_000_000, "{}: {} bytes", call[0], text.len());
        assert_whole_figures(&browser, &format!("real-{}", call[0]));
    }
    std::fs::remove_dir_all(&folder).ok();
}

#[test]
#[ignore = "needs chromium: cargo test --test browser -- --ignored"]
fn page_fits_a_phone() {
    let browser = Browser::start("phone", 500, 900);
    let mut page = sample::page();
    // A long path beside a hash: neither may squeeze the other into a column of letters.
    page.inputs = vec![(
        "scenarios/seasons/../../demo-data/tags/alder/phantom_close.csv".into(),
        "0123456789abcdef".repeat(4),
    )];
    let file = std::env::temp_dir().join(format!("readodds-phone-{}.html", std::process::id()));
    std::fs::write(&file, html(&page).unwrap()).unwrap();
    browser.open(&file);
    let narrowest =
        browser.run("return Math.min(...[...document.querySelectorAll('dd')].map(e => e.clientWidth))");
    assert!(narrowest.as_f64().is_some_and(|px| px > 200.0), "{narrowest} px for a value");
    let wide = browser.run("return document.documentElement.scrollWidth - innerWidth").as_f64().unwrap();
    assert!(wide <= 0.0, "the page is {wide} px wider than the window");
    keep("page-phone.png", &browser.screenshot());
}
