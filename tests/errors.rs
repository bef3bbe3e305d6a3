//! What the user reads when a scenario is wrong: one file per code in tests/errors, with the expected text beside it.
//!
//! To renew the texts after a change of wording: READODDS_BLESS=1 cargo test --test errors, then read the difference.

use readodds::course;
use readodds::diag::Diagnostic;
use readodds::diag::codes::CODES;
use readodds::diag::render::{Style, render_all};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Codes of files other than scenarios; their cases stand beside their readers.
fn elsewhere(code: &str) -> bool {
    let families = [
        "csv-",
        "tag-",
        "sweep-",
        "raw-",
        "correction",
        "touchstone",
        "output-",
        "change-",
        "more-",
        "power-",
        "outcome-",
        "learned",
        "reads-",
    ];
    code != "tag-folder" && families.iter().any(|family| code.starts_with(family))
}

fn cases() -> Vec<PathBuf> {
    let mut paths: Vec<_> = std::fs::read_dir("tests/errors")
        .expect("tests/errors")
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    paths.sort();
    assert!(paths.len() >= 15);
    paths
}

fn found(path: &Path) -> Vec<Diagnostic> {
    match course::load(path) {
        Ok((_, warnings)) => warnings,
        Err(found) => found,
    }
}

#[test]
fn every_case_reads_as_expected() {
    let bless = std::env::var_os("READODDS_BLESS").is_some();
    for path in cases() {
        let text = render_all(&found(&path), Style::PLAIN);
        let expected = path.with_extension("txt");
        if bless {
            std::fs::write(&expected, &text).expect("written");
        }
        assert_eq!(text, std::fs::read_to_string(&expected).unwrap_or_default(), "{}", path.display());
    }
}

#[test]
fn every_case_shows_its_own_code_and_every_code_has_a_case() {
    let mut seen = BTreeSet::new();
    for path in cases() {
        let name = path.file_stem().expect("stem").to_string_lossy().into_owned();
        let codes: BTreeSet<_> = found(&path).iter().map(|d| d.code).collect();
        assert!(codes.contains(name.as_str()), "{name}: {codes:?}");
        seen.extend(codes);
    }
    // A missing file, a folder and a file too large cannot lie in a repository.
    let folder = std::env::temp_dir().join(format!("readodds-errors-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("folder");
    let large = folder.join("large.toml");
    // No machine could read it.
    std::fs::File::create(&large).and_then(|f| f.set_len(1 << 40)).expect("1 TB of holes");
    for (path, code) in [
        (Path::new("tests/errors/no-such-file.toml"), "file-missing"),
        (Path::new("tests/errors"), "file-is-directory"),
        (&large, "file-too-large"),
    ] {
        let found = found(path);
        assert_eq!(found.iter().map(|d| d.code).collect::<Vec<_>>(), [code], "{}", path.display());
        assert!(render_all(&found, Style::PLAIN).contains(&path.display().to_string()));
        seen.insert(code);
    }
    std::fs::remove_dir_all(&folder).expect("removed");
    for (code, _) in CODES.iter().filter(|(code, _)| !elsewhere(code)) {
        assert!(seen.contains(code), "{code} has no case");
    }
}

#[test]
fn every_diagnostic_points_into_its_file() {
    for path in cases() {
        for diagnostic in found(&path) {
            let place = diagnostic.place().expect("a place");
            assert!(place.starts_with(&path.display().to_string()), "{place}");
            assert!(
                CODES.iter().any(|(code, _)| *code == diagnostic.code),
                "{} is not listed",
                diagnostic.code
            );
            assert!(!diagnostic.message.ends_with('.'), "{}", diagnostic.message);
        }
    }
}

/// Codes written as text in the source are in the list too.
#[test]
fn every_code_in_the_source_is_listed() {
    let mut folders = vec![PathBuf::from("src")];
    let mut checked = 0;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("folder") {
            let path = entry.expect("entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = std::fs::read_to_string(&path).expect("source");
                for call in ["Diagnostic::error(", "Diagnostic::warning("] {
                    for rest in text.split(call).skip(1) {
                        let Some(literal) = rest.trim_start().strip_prefix('"') else { continue };
                        let code = literal.split('"').next().unwrap_or_default();
                        assert!(CODES.iter().any(|(c, _)| *c == code), "{code} in {}", path.display());
                        checked += 1;
                    }
                }
            }
        }
    }
    assert!(checked > 20);
}
