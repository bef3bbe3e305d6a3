//! The program as a user runs it, and folders for its files.
#![allow(dead_code)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

pub const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// An empty folder for one test of one binary.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(env!("CARGO_CRATE_NAME")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder for the test");
    folder
}

/// The command, to be run from the project's folder.
pub fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
    command.args(arguments).current_dir(ROOT);
    command
}

pub fn readodds(arguments: &[&str]) -> Output {
    command(arguments).output().expect("readodds runs")
}

/// Exit code, what it answers, what it says beside it.
pub fn run(arguments: &[&str]) -> (i32, String, String) {
    let done = readodds(arguments);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (done.status.code().unwrap_or(-1), text(&done.stdout), text(&done.stderr))
}

/// Text without its line breaks.
pub fn one_line(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What it said beside its answer, without line breaks.
pub fn said(output: &Output) -> String {
    one_line(&output.stderr)
}

/// The answer as JSON.
pub fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("no JSON ({e}): {}", said(output)))
}
