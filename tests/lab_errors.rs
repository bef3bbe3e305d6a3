//! What the user reads when a tag folder is wrong: one folder per code in tests/errors/lab, with the expected text in it.
//!
//! A folder may end in a word after the code (`csv-number-export`) where one code has more faces. To renew the texts
//! after a change of wording: READODDS_BLESS=1 cargo test --test lab_errors, then read the difference.

use readodds::diag::Diagnostic;
use readodds::diag::codes::CODES;
use readodds::diag::render::{Style, render_all};
use readodds::{study, tag};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Codes of tag folders and their files.
fn ours(code: &str) -> bool {
    let families = ["csv-", "tag-", "raw-", "correction", "touchstone", "more-"];
    // A scenario without its tag folder has its case beside the scenarios. A table held as checked UTF-8 text cannot
    // break: `csv-broken` guards against a reader that would.
    let elsewhere = ["tag-folder", "csv-broken"];
    code == "sweep-asleep"
        || (families.iter().any(|family| code.starts_with(family)) && !elsewhere.contains(&code))
}

fn cases() -> Vec<PathBuf> {
    let listed = std::fs::read_dir("tests/errors/lab").expect("tests/errors/lab");
    let mut paths: Vec<_> = listed.map(|entry| entry.expect("entry").path()).collect();
    paths.sort();
    assert!(paths.len() >= 30);
    paths
}

fn found(folder: &Path) -> Vec<Diagnostic> {
    // Raw folders are refused where referred ones are needed; everything else is seen by `lab`.
    if folder.ends_with("tag-raw") {
        return tag::load(folder).expect_err("raw");
    }
    match study::lab::load(folder) {
        Ok(loaded) => loaded.warnings,
        Err(found) => found,
    }
}

#[test]
fn every_case_reads_as_expected_and_shows_its_code() {
    let bless = std::env::var_os("READODDS_BLESS").is_some();
    let mut seen = BTreeSet::new();
    for folder in cases() {
        let diagnostics = found(&folder);
        let text = render_all(&diagnostics, Style::PLAIN);
        let expected = folder.join("expected.txt");
        if bless {
            std::fs::write(&expected, &text).expect("written");
        }
        assert_eq!(text, std::fs::read_to_string(&expected).unwrap_or_default(), "{}", folder.display());
        let name = folder.file_name().expect("name").to_string_lossy().into_owned();
        assert!(diagnostics.iter().any(|d| name.starts_with(d.code)), "{name}: {text}");
        assert!(diagnostics.len() <= 21, "{name}: more than 20 problems and their count");
        for diagnostic in &diagnostics {
            let place = diagnostic.place().expect("a place");
            assert!(place.starts_with(&folder.display().to_string()), "{place}");
            seen.insert(diagnostic.code);
        }
    }
    for (code, _) in CODES.iter().filter(|(code, _)| ours(code)) {
        assert!(seen.contains(code), "{code} has no case");
    }
}
