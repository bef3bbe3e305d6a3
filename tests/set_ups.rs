//! A set-up above the region's power limit is refused by every study, and run only on paper; one that was hardly meant is asked about first.

mod command;

use command::{folder, one_line, run};
use std::path::{Path, PathBuf};

/// A shipped scenario with one change, beside its tag.
fn changed(name: &str, from: &str, to: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("scenarios").join(name)).unwrap();
    assert!(text.contains(from), "{name} has no {from:?}");
    let tag = format!("\"{}", root.join("demo-data/tags").display());
    let text = text.replace(from, to).replace("\"../demo-data/tags", &tag);
    let file = folder(&to.replace(|c: char| !c.is_ascii_alphanumeric(), "-")).join(name);
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
    for study in ["predict", "drivers", "redundancy", "explain", "trial"] {
        let (code, out, told) = run(&[study, path]);
        assert_eq!((code, out.as_str()), (2, ""), "{study}: {told}");
        assert!(told.contains("8.00 dB above") && told.contains(ALLOW), "{study}: {told}");
        assert!(told.contains("set it to 29.00 dBm or less") && told.contains(path), "{told}");
    }
    let page = file.with_extension("html");
    let mut call = vec!["predict", path, ALLOW, "--html", page.to_str().unwrap()];
    call.extend(few);
    let (code, out, told) = run(&call);
    assert_eq!(code, 0, "{told}");
    assert!(out.starts_with(FIRST), "{out}");
    assert!(told.contains("8.00 dB above"), "{told}");
    assert!(std::fs::read_to_string(&page).unwrap().contains(FIRST));
    call.extend(["--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&run(&call).1).unwrap();
    assert_eq!(json["unlawful_power"].as_array().map(Vec::len), Some(4));
    for file in [&file, &page] {
        std::fs::remove_file(file).unwrap();
    }
}

/// Every study that runs on paper says so in the first line of its text and in its JSON.
#[test]
fn every_study_on_paper_says_so_first() {
    let loud = changed("trail-soaked-one-mat.toml", "power_dbm = 30.0", "power_dbm = 39.0");
    let second = "\n[[candidate]]\nname = \"moved mat\"\ncost = 1\nset = { \"point.*.line.*.reader.*.antenna.*.y_m\" = 0.3 }\n";
    std::fs::write(&loud, std::fs::read_to_string(&loud).unwrap() + second).unwrap();
    let path = loud.to_str().unwrap();
    let folder = folder("paper");
    let rows = folder.join("rows");
    std::fs::create_dir(&rows).unwrap();
    let few = ["--worlds", "4", "--passings-per-world", "12", ALLOW];
    let shard = ["predict", path, "--shard", "0/1", "--rows", rows.to_str().unwrap()];
    let (code, _, told) = run(&[&shard[..], &few[..]].concat());
    assert_eq!(code, 0, "{told}");
    let rows = std::fs::read_dir(&rows).unwrap().next().expect("a file of rows").unwrap().path();
    let rows = rows.to_str().unwrap();
    let outcome = folder.join("outcome.toml");
    let text = format!(
        "[race]\nname = \"R\"\nscenario = \"{path}\"\n[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = 900\nmissed = 2\n"
    );
    std::fs::write(&outcome, text).unwrap();
    let outcome = outcome.to_str().unwrap();
    let small = ["--draws", "64", "--passings", "16", ALLOW];
    for call in [
        [&["predict", path], &few[..]].concat(),
        vec!["drivers", path, "--max-passings", "2000", ALLOW],
        vec!["redundancy", path, "--worlds", "16", "--no-search", ALLOW],
        vec!["explain", path, ALLOW],
        vec!["merge", path, rows, ALLOW],
        [&["learn", outcome], &small[..]].concat(),
        [&["trial", path, "--people", "4", "--minutes", "30"], &small[..]].concat(),
    ] {
        let (code, out, told) = run(&call);
        assert!(matches!(code, 0 | 1), "{call:?}: {told}");
        assert!(out.starts_with(FIRST), "{call:?}: {out}");
        let (_, out, told) = run(&[&call[..], &["--format", "json"]].concat());
        let json: serde_json::Value = serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {told}"));
        let named = json["unlawful_power"].as_array().unwrap_or_else(|| panic!("{call:?}: nothing named"));
        assert!(!named.is_empty(), "{call:?}");
    }
    std::fs::remove_file(&loud).unwrap();
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
    let (code, out, told) = run(&["redundancy", file.to_str().unwrap(), "--worlds", "4"]);
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
    let (code, out, told) = run(&["rank", file.to_str().unwrap(), "--most-worlds", "16"]);
    assert_eq!((code, out.as_str()), (2, ""), "{told}");
    assert!(told.contains("above what") && told.contains(ALLOW), "{told}");
    std::fs::remove_file(&file).unwrap();
}

const MEANT: &str = "IS THIS SET-UP MEANT? The forecast takes it as written.";

/// Text, JSON and page of a study ask about a mat beside the road and a panel in it; `check` names them, those of candidates and seasons too.
#[test]
fn a_set_up_that_was_hardly_meant_is_asked_about_first() {
    let file = changed("trail-soaked-one-mat.toml", "y_m = 0.0,", "y_m = 4.0,");
    let path = file.to_str().unwrap();
    let page = file.with_extension("html");
    let few = ["--worlds", "4", "--passings-per-world", "12"];
    let mut call = vec!["predict", path, "--html", page.to_str().unwrap()];
    call.extend(few);
    let (code, out, told) = run(&call);
    assert_eq!(code, 0, "{told}");
    assert!(out.starts_with(MEANT) && one_line(out.as_bytes()).contains("nobody runs over it"), "{out}");
    let drawn = std::fs::read_to_string(&page).unwrap();
    assert!(drawn.contains(MEANT) && drawn.contains("nobody runs over it"));
    call.extend(["--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&run(&call).1).unwrap();
    assert_eq!(json["doubts"].as_array().map(Vec::len), Some(1));
    assert!(run(&["explain", path]).1.starts_with(MEANT));
    let (code, out, _) = run(&["check", path]);
    assert!(code == 0 && out.contains("set-up-doubtful") && out.contains("1 doubtful point"), "{out}");
    let candidate = "\n[[candidate]]\nname = \"post in the road\"\ncost = 1\nset = { \"point.*.line.*.reader.*.antenna.*.z_m\" = 1.2 }\n";
    let text = std::fs::read_to_string(&file).unwrap() + candidate;
    std::fs::write(&file, text.replace("y_m = 4.0,", "y_m = 0.0,")).unwrap();
    let (_, out, _) = run(&["check", path]);
    let out = one_line(out.as_bytes());
    assert!(out.contains("candidate \"post in the road\"") && out.contains("runners will hit it"), "{out}");
    for file in [&file, &page] {
        std::fs::remove_file(file).unwrap();
    }
}

#[test]
fn a_season_is_checked_as_a_whole() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/seasons");
    let season = root.join("lantern-coast.toml");
    let (code, out, told) = run(&["check", season.to_str().unwrap()]);
    assert!(code == 0 && out.contains("Nothing speaks against 19 scenarios"), "{out}{told}");
    let text = std::fs::read_to_string(&season).unwrap();
    let what_if = "\n[[what_if]]\nname = \"high gantry\"\n[[what_if.change]]\nwhere = { \"event.name\" = \"Lantern Town mile\" }\nset = { \"point.finish.line.*.reader.*.antenna.*.z_m\" = 10.0, \"point.turn.line.*.reader.*.antenna.*.power_dbm\" = 36.0 }\n";
    let demo = format!("folder = \"{}/", root.join("../..").display());
    let mut text = text.replace("folder = \"../../", &demo) + what_if;
    for file in ["quay-mats.toml", "bridge-panels.toml", "gantry-finish.toml"] {
        text = text.replace(&format!("\"{file}\""), &format!("\"{}\"", root.join(file).display()));
    }
    let changed = std::env::temp_dir().join(format!("readodds-season-check-{}.toml", std::process::id()));
    std::fs::write(&changed, text).unwrap();
    let (code, out, told) = run(&["check", changed.to_str().unwrap()]);
    assert!(
        code == 1 && out.contains("power-above-limit") && one_line(out.as_bytes()).contains("not feet"),
        "{out}{told}"
    );
    std::fs::remove_file(&changed).unwrap();
}
