//! No result takes the place of an input, of another result, or of a file of the user's; figures and tag folders come whole.

mod command;

use command::{ROOT, folder, said};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A scenario and its tag in a folder of their own.
fn home(name: &str) -> PathBuf {
    let home = folder(name);
    fs::create_dir(home.join("tag")).expect("made");
    for entry in fs::read_dir(Path::new(ROOT).join("demo-data/tags/cedar")).expect("demo data").flatten() {
        fs::copy(entry.path(), home.join("tag").join(entry.file_name())).expect("copied");
    }
    let scenario =
        fs::read_to_string(Path::new(ROOT).join("scenarios/trail-soaked-one-mat.toml")).expect("there");
    fs::write(home.join("race.toml"), scenario.replace("../demo-data/tags/elm", "tag")).expect("written");
    home
}

fn run(home: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_readodds")).args(arguments).current_dir(home).output().expect("starts")
}

fn predict(home: &Path, more: &[&str]) -> Output {
    let short = ["predict", "race.toml", "--tag", "tag", "--worlds", "4", "--passings-per-world", "20"];
    run(home, &[&short, more].concat())
}

/// Path and content of every file below a folder.
fn content(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(content(&path));
        } else {
            found.push((path.clone(), fs::read(&path).expect("readable")));
        }
    }
    found.sort();
    found
}

#[test]
fn an_input_is_never_replaced_not_even_by_force() {
    let home = home("inputs");
    fs::hard_link(home.join("race.toml"), home.join("hard.toml")).expect("linked");
    #[cfg(unix)]
    std::os::unix::fs::symlink("race.toml", home.join("soft.toml")).expect("linked");
    let before = content(&home);
    for option in ["--out", "--html", "--checkpoint"] {
        for input in
            ["race.toml", "./tag/../race.toml", "hard.toml", "soft.toml", "tag/tag.toml", "tag/free_air.csv"]
        {
            for force in [&[][..], &["--force"]] {
                let refused = predict(&home, &[&[option, input], force].concat());
                assert_eq!(refused.status.code(), Some(2), "{option} {input}: {}", said(&refused));
                assert!(refused.stdout.is_empty() && said(&refused).contains(input), "{}", said(&refused));
            }
        }
    }
    for folder in ["tag", "."] {
        let refused = predict(&home, &["--figures", folder, "--force"]);
        assert_eq!(refused.status.code(), Some(2), "{folder}: {}", said(&refused));
        let refused = run(&home, &["lab", "tag", "--write", folder, "--force"]);
        assert_eq!(refused.status.code(), Some(2), "{folder}: {}", said(&refused));
    }
    assert_eq!(content(&home), before);
}

#[test]
fn two_results_need_two_places() {
    let home = home("two-results");
    fs::create_dir(home.join("f")).expect("made");
    let before = content(&home);
    let pairs: [&[&str]; 4] = [
        &["--out", "a", "--html", "./a"],
        &["--out", "a", "--checkpoint", "a"],
        &["--figures", "f", "--out", "f/a.txt"],
        &["--html", "x.html", "--figures", "x.html"],
    ];
    for pair in pairs {
        let refused = predict(&home, pair);
        assert_eq!(refused.status.code(), Some(2), "{pair:?}: {}", said(&refused));
        assert!(said(&refused).contains("are one place"), "{pair:?}: {}", said(&refused));
    }
    assert_eq!(content(&home), before);
}

#[test]
fn only_what_was_written_here_is_replaced_unasked() {
    let home = home("unasked");
    let file = home.join("result.txt");
    let out = ["--out", "result.txt"];
    for _ in 0..2 {
        assert_eq!(predict(&home, &out).status.code(), Some(0));
    }
    let first = fs::read(&file).expect("written");
    // Changed since, or never ours: the user's.
    for (text, why) in [("my remarks", "changed after"), ("", "changed after")] {
        fs::write(&file, text).expect("written");
        let refused = predict(&home, &out);
        assert_eq!(refused.status.code(), Some(2));
        assert!(said(&refused).contains(why) && said(&refused).contains("--force"), "{}", said(&refused));
        assert_eq!(fs::read_to_string(&file).expect("there"), text);
    }
    assert_eq!(predict(&home, &["--out", "result.txt", "--force"]).status.code(), Some(0));
    assert_eq!(fs::read(&file).expect("written"), first);
    fs::write(home.join("mine.html"), "mine").expect("written");
    let refused = predict(&home, &["--html", "mine.html"]);
    assert!(said(&refused).contains("readodds did not write it"), "{}", said(&refused));
    // A tag folder of the user's stays, with and without force; one of ours is replaced on demand.
    fs::create_dir(home.join("theirs")).expect("made");
    fs::write(home.join("theirs/inventory.csv"), "mine").expect("written");
    for force in [&[][..], &["--force"]] {
        let refused = run(&home, &[&["lab", "tag", "--write", "theirs"], force].concat());
        assert_eq!(refused.status.code(), Some(2));
    }
    assert_eq!(fs::read_to_string(home.join("theirs/inventory.csv")).expect("there"), "mine");
    assert_eq!(run(&home, &["lab", "tag", "--write", "new"]).status.code(), Some(0));
    assert_eq!(run(&home, &["lab", "tag", "--write", "new", "--force"]).status.code(), Some(0));
    assert!(tag_loads(&home));
}

fn tag_loads(home: &Path) -> bool {
    run(home, &["check", "race.toml", "--tag", "new"]).status.code().is_some_and(|code| code < 2)
}

#[test]
fn figures_come_whole_and_beside_those_of_other_studies() {
    let home = home("figures");
    let names = || -> Vec<String> {
        let listed = fs::read_dir(home.join("f")).expect("a folder").flatten();
        let mut names: Vec<String> = listed
            .map(|e| e.file_name().into_string().expect("plain"))
            .filter(|n| !n.starts_with('.'))
            .collect();
        names.sort();
        names
    };
    assert_eq!(predict(&home, &["--figures", "f/"]).status.code(), Some(0));
    let predicted = names();
    let explain = ["explain", "race.toml", "--tag", "tag", "--figures", "f"];
    assert_eq!(run(&home, &explain).status.code(), Some(0));
    let both = names();
    assert!(
        predicted.len() >= 4
            && predicted.iter().all(|name| both.contains(name))
            && both.len() > predicted.len()
    );
    // What a killed run left is taken away by the next.
    fs::write(home.join("f.999999999.part"), "").expect("written");
    fs::create_dir(home.join("f.999999999.part-new")).expect("made");
    fs::write(home.join("result.999999999.part"), "").expect("written");
    assert_eq!(predict(&home, &["--figures", "f", "--out", "result"]).status.code(), Some(0));
    assert_eq!(names(), both);
    assert!(content(&home).iter().all(|(path, _)| !path.to_string_lossy().contains(".part")));
    assert!(!home.join("f.999999999.part-new").exists());
}

/// What is no regular file, or too large, is refused before a byte of it is read.
#[cfg(unix)]
#[test]
fn pipes_devices_and_huge_files_are_not_read() {
    let home = home("no-files");
    assert!(Command::new("mkfifo").arg(home.join("pipe")).status().expect("POSIX has it").success());
    let huge = fs::File::create(home.join("huge.rows")).expect("made");
    huge.set_len(1 << 40).expect("1 TB of holes");
    let text = format!("{{\"format\":\"readodds world rows\"{}", " ".repeat(100));
    fs::write(home.join("start.rows"), &text).expect("written");
    fs::File::options()
        .write(true)
        .open(home.join("start.rows"))
        .expect("there")
        .set_len(1 << 40)
        .expect("holes");
    fs::remove_file(home.join("tag/free_air.csv")).expect("there");
    let calls: [&[&str]; 6] = [
        &["check", "pipe"],
        &["check", "/dev/zero"],
        &["merge", "race.toml", "pipe"],
        &["merge", "race.toml", "/dev/zero"],
        &["merge", "race.toml", "huge.rows"],
        &["merge", "race.toml", "start.rows"],
    ];
    for call in calls {
        let refused = run(&home, call);
        assert_eq!(refused.status.code(), Some(2), "{call:?}: {}", said(&refused));
    }
    // A pipe in the place of a sweep.
    fs::rename(home.join("pipe"), home.join("tag/free_air.csv")).expect("moved");
    for call in [["check", "race.toml"], ["lab", "tag"]] {
        let refused = run(&home, &call);
        assert_eq!(refused.status.code(), Some(2));
        assert!(said(&refused).contains("pipe or a device"), "{}", said(&refused));
    }
}

/// Names that would hide or reorder text, or run as a formula, in every form of the result.
#[test]
fn names_cannot_hide_text_or_run_as_formulas() {
    let home = home("names");
    let text = fs::read_to_string(home.join("race.toml")).expect("there");
    let named = text.replacen("name = \"", "name = \"\\u202Egnp\\u200B", 1);
    assert_ne!(text, named);
    fs::write(home.join("race.toml"), named).expect("written");
    let all = ["--html", "p.html", "--figures", "f", "--out", "r.txt", "--full"];
    let done = predict(&home, &all);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert_eq!(predict(&home, &["--format", "json", "--out", "r.json"]).status.code(), Some(0));
    let shown = fs::read_to_string(home.join("r.txt")).expect("written");
    assert!(shown.contains("[U+202E]gnp[U+200B]"), "{shown}");
    for (path, bytes) in content(&home) {
        if path.ends_with("race.toml") || path.starts_with(home.join("tag")) {
            continue;
        }
        let text = String::from_utf8_lossy(&bytes);
        assert!(!text.contains(['\u{202e}', '\u{200b}']), "{}", path.display());
    }
    let json: serde_json::Value =
        serde_json::from_slice(&fs::read(home.join("r.json")).expect("written")).expect("JSON");
    assert!(
        json["event"].as_str().is_some_and(|name| name.starts_with("\u{202e}gnp\u{200b}")),
        "{}",
        json["event"]
    );
}
