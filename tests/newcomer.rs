//! What a newcomer calls first: a scenario from a few answers, completions, manual pages.

mod command;

use command::run;
use std::path::Path;

#[test]
fn a_new_scenario_is_checked_and_forecast_as_it_stands() {
    let tag = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/tags/birch");
    let file = std::env::temp_dir().join(format!("readodds-new-{}.toml", std::process::id()));
    let path = file.to_str().unwrap();
    for antennas in ["mats", "panels", "overhead"] {
        let call =
            ["new", "--region", "usa", "--weather", "rain", "--antennas", antennas, "--road-width", "6"];
        let call = [&call[..], &["--tag", tag.to_str().unwrap(), "--out", path]].concat();
        let (code, _, told) = run(&call);
        assert_eq!(code, 0, "{told}");
        let (code, out, told) = run(&["check", path]);
        assert_eq!(code, 0, "{out}{told}");
        assert!(!out.contains("set-up-doubtful"), "{out}");
        let (code, out, told) = run(&["predict", path, "--worlds", "4", "--passings-per-world", "30"]);
        assert!(code == 0 && out.contains("My race") && out.contains("finish"), "{out}{told}");
        std::fs::remove_file(&file).unwrap();
    }
}

#[test]
fn a_wrong_answer_names_the_choices() {
    let (code, _, told) = run(&["new", "--region", "US"]);
    assert!(code == 2 && told.contains("did you mean usa?") && told.contains("eu_lower"), "{told}");
    let (code, _, told) = run(&["new", "--region", "usa", "--weather", "rainy"]);
    assert!(code == 2 && told.contains("downpour"), "{told}");
    let (code, _, told) = run(&["new", "--region", "usa", "--road-width", "600"]);
    assert!(code == 2 && told.contains("0.5 to 60 m"), "{told}");
}

#[test]
fn completions_and_manual_know_every_command() {
    let (_, help, _) = run(&["help"]);
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| line.starts_with("  "))
        .filter(|line| !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(commands.len() > 10, "{commands:?}");
    let whole = run(&["manual"]).1;
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = run(&["completions", shell]).1;
        for command in &commands {
            assert!(script.contains(command), "{shell} does not know {command}");
        }
    }
    for command in commands.iter().filter(|command| **command != "help") {
        assert!(whole.contains(command), "{command}");
        let page = run(&["manual", command]).1;
        assert!(
            page.contains(&format!(".TH readodds-{command} "))
                && page.contains(&format!("\\fBreadodds {command}\\fR")),
            "{command}: {page}"
        );
    }
    assert_eq!(run(&["manual", "foretell"]).0, 2);
}

#[test]
fn the_readme_shows_the_smallest_scenario() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let scenario = std::fs::read_to_string(root.join("scenarios/smallest.toml")).unwrap();
    assert_eq!(scenario.lines().count(), 12);
    assert!(std::fs::read_to_string(root.join("README.md")).unwrap().contains(&scenario));
}
