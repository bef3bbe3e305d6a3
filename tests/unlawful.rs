//! A set-up above the region's power limit is refused by every study, and run only as a study on paper that says so first.

use assert_cmd::Command;
use std::path::{Path, PathBuf};

fn readodds(arguments: &[&str]) -> (i32, String, String) {
    let done = Command::cargo_bin("readodds").unwrap().args(arguments).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (done.status.code().unwrap_or(-1), text(&done.stdout), text(&done.stderr))
}

/// A shipped scenario with one change, beside its tag.
fn changed(name: &str, from: &str, to: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("scenarios").join(name)).unwrap();
    assert!(text.contains(from), "{name} has no {from:?}");
    let tag = format!("\"{}", root.join("demo-data/tags").display());
    let text = text.replace(from, to).replace("\"../demo-data/tags", &tag);
    let file = std::env::temp_dir().join(format!("readodds-unlawful-{}-{name}", std::process::id()));
    std::fs::write(&file, text).unwrap();
    file
}

const FIRST: &str = "UNLAWFUL POWER, a study on paper only; do not transmit like this.";
const ALLOW: &str = "--allow-unlawful-power";

#[test]
fn power_above_the_limit_is_refused_and_on_paper_said_first() {
    let file = changed("finish-panels-overhead-japan.toml", "power_dbm = 29.0", "power_dbm = 37.0");
    let path = file.to_str().unwrap();
    let few = ["--worlds", "4", "--passings-per-world", "12"];
    for study in [&["predict"][..], &["drivers"], &["redundancy"], &["explain"]] {
        let mut call = study.to_vec();
        call.push(path);
        let (code, out, told) = readodds(&call);
        assert_eq!((code, out.as_str()), (2, ""), "{study:?}: {told}");
        assert!(told.contains("8.00 dB above") && told.contains(ALLOW), "{study:?}: {told}");
        assert!(told.contains("set it to 29.00 dBm or less") && told.contains(path), "{told}");
    }
    let page = file.with_extension("html");
    let mut call = vec!["predict", path, ALLOW, "--html", page.to_str().unwrap()];
    call.extend(few);
    let (code, out, told) = readodds(&call);
    assert_eq!(code, 0, "{told}");
    assert!(out.starts_with(FIRST), "{out}");
    assert!(told.contains("8.00 dB above"), "{told}");
    assert!(std::fs::read_to_string(&page).unwrap().contains(FIRST));
    call.extend(["--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&readodds(&call).1).unwrap();
    assert_eq!(json["unlawful_power"].as_array().map(Vec::len), Some(4));
    let (_, out, _) = readodds(&["explain", path, ALLOW]);
    assert!(out.starts_with(FIRST), "{out}");
    for file in [&file, &page] {
        std::fs::remove_file(file).unwrap();
    }
}

/// The scenario is lawful, one of its candidates is not.
#[test]
fn a_candidate_above_the_limit_is_refused() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("scenarios/river-half-rain-usa.toml")).unwrap();
    let tag = format!("\"{}", root.join("demo-data/tags").display());
    let candidate = "\n[[candidate]]\nname = \"louder mats\"\ncost = 1\nset = { \"point.finish.line.main.reader.*.antenna.*.power_dbm\" = 36.0 }\n";
    let file = std::env::temp_dir().join(format!("readodds-louder-{}.toml", std::process::id()));
    std::fs::write(&file, text.replace("\"../demo-data/tags", &tag) + candidate).unwrap();
    let (code, out, told) = readodds(&["redundancy", file.to_str().unwrap(), "--worlds", "4"]);
    assert_eq!((code, out.as_str()), (2, ""), "{told}");
    assert!(told.contains("candidate \"louder mats\"") && told.contains(ALLOW), "{told}");
    std::fs::remove_file(&file).unwrap();
}

/// A what-if of a season that turns the power up is refused like the season itself.
#[test]
fn a_season_above_the_limit_is_refused() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/seasons");
    let text = std::fs::read_to_string(root.join("lantern-coast.toml")).unwrap();
    let what_if = "\n[[what_if]]\nname = \"all power up\"\n[[what_if.change]]\nset = { \"point.*.line.*.reader.*.antenna.*.power_dbm\" = 36.0 }\n";
    let demo = format!("folder = \"{}/", root.join("../..").display());
    let text = text
        .replace("folder = \"../../", &demo)
        .replace("file = \"", &format!("file = \"{}/", root.display()))
        + what_if;
    let file = std::env::temp_dir().join(format!("readodds-season-{}.toml", std::process::id()));
    std::fs::write(&file, text).unwrap();
    let (code, out, told) = readodds(&["rank", file.to_str().unwrap(), "--most-worlds", "16"]);
    assert_eq!((code, out.as_str()), (2, ""), "{told}");
    assert!(told.contains("above what") && told.contains(ALLOW), "{told}");
    std::fs::remove_file(&file).unwrap();
}
