//! What the laboratory found wrong travels with the sweeps: every study says it first and refuses to go on without leave.

mod command;

use command::run;
use std::path::{Path, PathBuf};

struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Scratch {
        let folder = std::env::temp_dir().join(format!("readodds-findings-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        Scratch(folder)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

const FIRST: &str = "DESPITE SERIOUS FINDINGS about the measurement";
const LEAVE: &str = "--despite-findings";

#[test]
fn serious_findings_are_refused_and_with_leave_said_first() {
    let scratch = Scratch::new("alder");
    let written = scratch.0.join("alder");
    let folder = written.to_str().unwrap();
    let raw = root().join("demo-data/raw/alder");
    let (code, _, told) = run(&["lab", raw.to_str().unwrap(), "--write", folder]);
    assert_eq!(code, 0, "{told}");
    let scenario = root().join("scenarios/city-10k-dry-usa.toml");
    let scenario = scenario.to_str().unwrap();
    for study in ["predict", "drivers", "redundancy", "explain"] {
        let (code, out, told) = run(&[study, scenario, "--tag", folder]);
        assert_eq!((code, out.as_str()), (2, ""), "{study}: {told}");
        assert!(told.contains("beats-free-air") && told.contains(LEAVE), "{study}: {told}");
    }
    let page = scratch.0.join("page.html");
    let few = ["--tag", folder, LEAVE, "--worlds", "4"];
    let mut call = vec!["predict", scenario, "--passings-per-world", "12", "--html", page.to_str().unwrap()];
    call.extend(few);
    let (code, out, told) = run(&call);
    assert_eq!(code, 0, "{told}");
    assert!(out.starts_with(FIRST), "{out}");
    assert!(told.contains("beats-free-air"), "{told}");
    assert!(std::fs::read_to_string(&page).unwrap().contains(FIRST));
    call.extend(["--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&run(&call).1).unwrap();
    let findings = json["findings"].as_array().unwrap();
    assert!(findings.iter().any(|f| f.as_str().unwrap().contains("tag alder: beats-free-air")));
    // Not a study: the folder is judged, not used.
    let (code, out, _) = run(&["check", scenario, "--tag", folder]);
    assert!(code == 0 && out.contains("found when it was measured: beats-free-air"), "{code} {out}");
}

/// A season with one such tag is refused as a whole, naming the tag.
#[test]
fn a_season_with_such_a_tag_is_refused() {
    let scratch = Scratch::new("season");
    let written = scratch.0.join("alder");
    let raw = root().join("demo-data/raw/alder");
    run(&["lab", raw.to_str().unwrap(), "--write", written.to_str().unwrap()]);
    let seasons = root().join("scenarios/seasons");
    let text = std::fs::read_to_string(seasons.join("lantern-coast.toml")).unwrap();
    let from = "folder = \"../../demo-data/tags/alder\"";
    assert!(text.contains(from), "the season names alder");
    let text = text
        .replace(from, &format!("folder = \"{}\"", written.display()))
        .replace("folder = \"../..", &format!("folder = \"{}/../..", seasons.display()))
        .replace("file = \"", &format!("file = \"{}/", seasons.display()));
    let season = scratch.0.join("season.toml");
    std::fs::write(&season, text).unwrap();
    let (code, out, told) = run(&["rank", season.to_str().unwrap()]);
    assert_eq!((code, out.as_str()), (2, ""), "{told}");
    assert!(told.contains("tag alder: ") && told.contains(LEAVE), "{told}");
}

/// Written, read and written again: the findings stay, once each.
#[test]
fn findings_survive_a_second_writing() {
    let scratch = Scratch::new("twice");
    let (one, two) = (scratch.0.join("one"), scratch.0.join("two"));
    let raw = root().join("demo-data/raw/birch");
    run(&["lab", raw.to_str().unwrap(), "--write", one.to_str().unwrap()]);
    let (code, _, told) = run(&["lab", one.to_str().unwrap(), "--write", two.to_str().unwrap()]);
    assert_eq!(code, 0, "{told}");
    let text = |folder: &Path| std::fs::read_to_string(folder.join("tag.toml")).unwrap();
    let count = |text: &str| text.matches("[[finding]]").count();
    assert!(count(&text(&one)) > 0);
    assert_eq!(count(&text(&one)), count(&text(&two)), "{}", text(&two));
}

/// What could not be read again is not written: here limits above anything a tag can be offered.
#[test]
fn nothing_is_written_that_could_not_be_read_again() {
    let scratch = Scratch::new("unreadable");
    let raw = scratch.0.join("raw");
    std::fs::create_dir_all(&raw).unwrap();
    let toml = "# Invented.\nname = \"x\"\nown_spacer_mm = 1.5\nlevel = \"raw\"\n[export]\nno_answer = [\"-\"]\n[columns]\nfreq = { name = \"f\", unit = \"MHz\" }\nthreshold = { name = \"p\", unit = \"dBm\" }\nreply = { name = \"r\", unit = \"dBm\" }\n[setup]\ndistance_m = 1.0\nantenna_gain_dbi = 6.0\ncable_loss_db = 1.0\nmax_generator_dbm = 60.0\n[[sweep]]\nfile = \"a.txt\"\nsample = \"A\"\nphantom = \"none\"\n";
    std::fs::write(raw.join("tag.toml"), toml).unwrap();
    std::fs::write(raw.join("a.txt"), "f,p,r\n864,10,-50\n866,10,-50\n868,-,\n").unwrap();
    let written = scratch.0.join("written");
    let (code, _, told) = run(&["lab", raw.to_str().unwrap(), "--write", written.to_str().unwrap()]);
    assert_eq!(code, 2, "{told}");
    assert!(told.contains("csv-range") && told.contains("nothing was written"), "{told}");
    assert!(!written.exists());
}
