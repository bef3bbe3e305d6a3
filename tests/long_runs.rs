//! Long runs from the outside: killed and taken up again, broken off, cut into shards; always the same bytes.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

const SCENARIO: &str = "scenarios/half-marathon-rain-eu-lower.toml";

fn readodds(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
    command.arg(arguments[0]).arg(SCENARIO).args(&arguments[1..]).current_dir(env!("CARGO_MANIFEST_DIR"));
    command
}

fn predict(races: &str, more: &[&str]) -> Command {
    let mut command =
        readodds(&["predict", "--format", "json", "--passings-per-race", "20", "--races", races]);
    command.args(more);
    command
}

fn finished(mut command: Command) -> Output {
    let output = command.output().expect("the binary starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder for the test");
    folder
}

/// Waits until the file has changed since `before`, or the child has ended.
fn wait_for_save(child: &mut Child, file: &Path, before: &Option<Vec<u8>>) {
    let start = Instant::now();
    while child.try_wait().expect("a child of ours").is_none() && fs::read(file).ok() == *before {
        assert!(start.elapsed() < Duration::from_secs(120), "nothing was saved");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn killed_at_any_moment_the_result_is_the_same_bytes() {
    let folder = folder("killed");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let straight = finished(predict("320", &[])).stdout;
    let mut kills = 0;
    for extra_ms in [0, 3, 11, 40] {
        let before = fs::read(&file).ok();
        let mut child = predict("320", &["--checkpoint", name])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("starts");
        wait_for_save(&mut child, &file, &before);
        std::thread::sleep(Duration::from_millis(extra_ms));
        // SIGKILL: no handler can tidy up.
        kills += u32::from(child.try_wait().expect("a child of ours").is_none());
        child.kill().expect("killed");
        child.wait().expect("ended");
    }
    assert!(kills > 0, "every run ended before it was killed: make them longer");
    let resumed = finished(predict("320", &["--checkpoint", name]));
    assert_eq!(resumed.stdout, straight);
    assert!(String::from_utf8_lossy(&resumed.stderr).contains("taken up again after"));
    // A finished checkpoint answers at once, with the same bytes.
    assert_eq!(finished(predict("320", &["--checkpoint", name])).stdout, straight);
    // Another run does not take it.
    let other = predict("320", &["--checkpoint", name, "--seed", "2"]).output().expect("starts");
    assert_eq!(other.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&other.stderr).contains("seed: 1 against 2"), "{other:?}");
}

#[cfg(unix)]
#[test]
fn broken_off_it_tells_what_is_known_and_how_to_go_on() {
    let folder = folder("broken-off");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let mut child = predict("4000", &["--checkpoint", name])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    wait_for_save(&mut child, &file, &None);
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    assert!(sent.success());
    let output = child.wait_with_output().expect("ended");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(130), "{said}");
    assert!(said.contains("the same command goes on from there"), "{said}");
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("a whole JSON result");
    assert_eq!(answer["stopped"], "interrupted");
    assert!(answer["races"].as_u64().is_some_and(|races| (2..4000).contains(&races)));
}

#[test]
fn shards_give_the_bytes_of_the_single_run_and_holes_are_refused() {
    let folder = folder("shards");
    let rows = folder.to_str().expect("plain path");
    let straight = finished(predict("7", &[])).stdout;
    for shard in ["2/3", "0/3", "1/3"] {
        finished(predict("7", &["--shard", shard, "--rows", rows, "--threads", "1"]));
    }
    let merge = || readodds(&["merge", rows, "--format", "json"]);
    assert_eq!(finished(merge()).stdout, straight);
    let mut other_seed = merge();
    let refused = other_seed.args(["--seed", "9"]).output().expect("starts");
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("made with --seed 1, not 9"), "{refused:?}");
    // As a Slurm job array would name it; a retried task goes on from its file.
    let mut task = predict("7", &["--shard", "auto", "--rows", rows]);
    task.env("SLURM_ARRAY_TASK_ID", "1").env("SLURM_ARRAY_TASK_COUNT", "3");
    finished(task);
    assert_eq!(finished(merge()).stdout, straight);
    fs::remove_file(folder.join("shard-00001-of-00003.rows")).expect("written above");
    let refused = merge().output().expect("starts");
    let said = String::from_utf8_lossy(&refused.stderr);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said.contains("races 1, 4 are missing; no file of shard 1/3"), "{said}");
    assert!(refused.stdout.is_empty());
}

/// The rate beyond the race days is worked out from inputs, seed and rows alone: any threads, shards or resumption give the same bytes.
#[test]
fn an_estimator_gives_the_same_bytes_on_any_way() {
    let folder = folder("estimator");
    let rows = folder.join("rows");
    let (rows, saved) = (rows.to_str().expect("plain path"), folder.join("saved"));
    let scenario = "scenarios/trail-soaked-one-mat.toml";
    let run = |word: &str, more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
        command.args([word, scenario]).args(more).current_dir(env!("CARGO_MANIFEST_DIR"));
        finished(command).stdout
    };
    let asked = ["--estimator", "importance", "--max-passings", "600", "--precision", "0.2", "--races", "6"];
    let predict = |more: &[&str]| run("predict", &[&asked[..], more].concat());
    let straight = predict(&["--format", "json"]);
    assert_eq!(predict(&["--format", "json", "--threads", "1"]), straight);
    let saved = saved.to_str().expect("plain path");
    assert_eq!(predict(&["--format", "json", "--checkpoint", saved]), straight);
    assert_eq!(predict(&["--format", "json", "--checkpoint", saved]), straight);
    for shard in ["1/2", "0/2"] {
        predict(&["--shard", shard, "--rows", rows]);
    }
    assert_eq!(run("merge", &[rows, "--format", "json"]), straight);
    let answer: serde_json::Value = serde_json::from_slice(&straight).expect("JSON");
    let found = &answer["points"][0]["found_by"];
    assert_eq!(found["estimator"], "importance", "{found}");
    assert_eq!(found["agrees"], true, "{found}");
    assert!(found["effective_misses"].as_f64().is_some_and(|misses| misses > 10.0), "{found}");
    let text = String::from_utf8(predict(&[])).expect("text");
    assert!(text.contains("how rates were found") && text.contains("importance"), "{text}");
}

/// A closer look that takes a few seconds.
const LONG_LOOK: [&str; 14] = [
    "--tag",
    "demo-data/tags/cedar",
    "--absolute-precision",
    "1e-9",
    "--estimator",
    "importance",
    "--max-passings",
    "24000",
    "--precision",
    "0.02",
    "--races",
    "6",
    "--format",
    "json",
];

fn long_look(more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
    command.args(["predict", "scenarios/trail-soaked-one-mat.toml"]).args(LONG_LOOK).args(more);
    command.current_dir(env!("CARGO_MANIFEST_DIR"));
    command
}

/// Number of blocks of passings the closer look has saved.
fn blocks_saved(file: &Path) -> u64 {
    let text = fs::read_to_string(file).unwrap_or_default();
    let after = text.split("\"blocks\":").nth(1).unwrap_or_default();
    after.split(',').next().and_then(|number| number.parse().ok()).unwrap_or(0)
}

/// Waits until more blocks are saved than before; false if the child ended first.
fn wait_for_blocks(child: &mut Child, file: &Path, before: u64) -> bool {
    let start = Instant::now();
    while child.try_wait().expect("a child of ours").is_none() {
        if blocks_saved(file) > before {
            return true;
        }
        assert!(start.elapsed() < Duration::from_secs(120), "nothing was saved");
        std::thread::sleep(Duration::from_millis(5));
    }
    false
}

/// Killed in the race days, in the pilot and twice among the blocks of the second stage.
#[test]
fn killed_while_looking_closer_the_result_is_the_same_bytes() {
    let folder = folder("killed-closer");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let straight = finished(long_look(&[])).stdout;
    let spawn = || {
        let mut command = long_look(&["--checkpoint", name]);
        command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("starts")
    };
    for wait_ms in [30, 150] {
        let mut child = spawn();
        wait_for_save(&mut child, &file, &None);
        std::thread::sleep(Duration::from_millis(wait_ms));
        child.kill().expect("killed");
        child.wait().expect("ended");
    }
    let mut saved = Vec::new();
    for _ in 0..2 {
        let before = blocks_saved(&file);
        let mut child = spawn();
        let grown = wait_for_blocks(&mut child, &file, before);
        child.kill().expect("killed");
        child.wait().expect("ended");
        if grown {
            saved.push(blocks_saved(&file));
        }
    }
    assert!(!saved.is_empty(), "the stage ended before it was killed: make it longer");
    let resumed = finished(long_look(&["--checkpoint", name]));
    assert_eq!(resumed.stdout, straight);
    // The finished look is kept as such.
    let again = finished(long_look(&["--checkpoint", name]));
    assert_eq!(again.stdout, straight);
    assert!(String::from_utf8_lossy(&again.stderr).contains("and 1 closer looks"), "{again:?}");
}

#[cfg(unix)]
#[test]
fn broken_off_while_looking_closer_it_says_so_and_goes_on_later() {
    let folder = folder("broken-closer");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let mut child = long_look(&["--checkpoint", name])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    assert!(wait_for_blocks(&mut child, &file, 0), "it ended before it was broken off: make it longer");
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    assert!(sent.success());
    let output = child.wait_with_output().expect("ended");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(130), "{said}");
    assert!(said.contains("broken off while looking closer at rare misses"), "{said}");
    assert!(said.contains("the same command goes on from there"), "{said}");
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("a whole JSON result");
    assert_eq!(answer["stopped"], "interrupted");
    let found = &answer["points"][0]["found_by"];
    assert_eq!(found["unfinished"], true, "{found}");
    let straight = finished(long_look(&[])).stdout;
    assert_eq!(finished(long_look(&["--checkpoint", name])).stdout, straight);
}

/// The script of `plan`, run by a shell, gives the bytes of the single run with the same options.
#[cfg(unix)]
#[test]
fn the_script_of_plan_reproduces_the_run() {
    let folder = folder("plan");
    let root = env!("CARGO_MANIFEST_DIR");
    let scenario = format!("{root}/scenarios/trail-soaked-one-mat.toml");
    let tag = format!("{root}/demo-data/tags/cedar");
    let options = [
        &scenario,
        "--tag",
        &tag,
        "--seed",
        "5",
        "--races",
        "7",
        "--passings-per-race",
        "20",
        "--estimator",
        "stratified",
        "--max-passings",
        "1500",
        "--precision",
        "0.2",
        "--absolute-precision",
        "0.000003",
    ];
    let run = |word: &str, more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
        command.arg(word).args(options).args(more).current_dir(&folder);
        finished(command).stdout
    };
    let straight = run("predict", &["--format", "json"]);
    assert!(String::from_utf8_lossy(&straight).contains("\"estimator\": \"stratified\""));
    let plan = ["--shards", "3", "--engine", "shell", "--rows", "my rows", "--require", "0.01"];
    let script = String::from_utf8(run("plan", &plan)).expect("text");
    fs::write(folder.join("job.sh"), &script).expect("written");
    let bin = Path::new(env!("CARGO_BIN_EXE_readodds")).parent().expect("in a folder").to_owned();
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap_or_default());
    let mut shell = Command::new("sh");
    shell.arg("job.sh").env("PATH", path).current_dir(&folder);
    finished(shell);
    assert_eq!(fs::read(folder.join("forecast.json")).expect("written by the script"), straight, "{script}");
    for engine in ["slurm", "mpi"] {
        let script = String::from_utf8(run("plan", &["--shards", "3", "--engine", engine])).expect("text");
        assert!(
            script.contains("--estimator stratified --precision 0.2 --absolute-precision 0.000003"),
            "{script}"
        );
    }
}
