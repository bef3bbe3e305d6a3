//! Long runs from the outside: killed and resumed, interrupted, cut into shards; always the same bytes.

mod command;

use command::folder;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

const SCENARIO: &str = "scenarios/half-marathon-rain-eu-lower.toml";

fn readodds(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
    command.arg(arguments[0]).arg(SCENARIO).args(&arguments[1..]).current_dir(env!("CARGO_MANIFEST_DIR"));
    command
}

fn predict(worlds: &str, more: &[&str]) -> Command {
    let mut command =
        readodds(&["predict", "--format", "json", "--passings-per-world", "20", "--worlds", worlds]);
    command.args(more);
    command
}

fn finished(mut command: Command) -> Output {
    let output = command.output().expect("the binary starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output
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
    assert!(String::from_utf8_lossy(&resumed.stderr).contains("resumed after"));
    // A finished checkpoint answers at once, with the same bytes.
    assert_eq!(finished(predict("320", &["--checkpoint", name])).stdout, straight);
    // Another run does not take it.
    let other = predict("320", &["--checkpoint", name, "--seed", "2"]).output().expect("starts");
    assert_eq!(other.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&other.stderr).contains("seed: 1 against 2"), "{other:?}");
}

#[cfg(unix)]
#[test]
fn interrupted_it_tells_what_is_known_and_how_to_go_on() {
    let folder = folder("broken-off");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let mut child = predict("4000", &["--checkpoint", name])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    // First what the pilot found, then worlds.
    wait_for_save(&mut child, &file, &None);
    wait_for_save(&mut child, &file, &fs::read(&file).ok());
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    assert!(sent.success());
    let output = child.wait_with_output().expect("ended");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(130), "{said}");
    assert!(said.contains("the same command goes on from there"), "{said}");
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("a whole JSON result");
    assert_eq!(answer["stopped"], "interrupted");
    assert!(answer["worlds"].as_u64().is_some_and(|worlds| (2..4000).contains(&worlds)));
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
    assert!(said.contains("worlds 1, 4 are missing; no file of shard 1/3"), "{said}");
    assert!(refused.stdout.is_empty());
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
        "--worlds",
        "64",
        "--passings-per-world",
        "20",
        "--max-passings",
        "1500",
        "--precision",
        "0.2",
        "--least-runners",
        "0.03",
    ];
    let run = |word: &str, more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
        command.arg(word).args(options).args(more).current_dir(&folder);
        finished(command).stdout
    };
    let straight = run("predict", &["--format", "json"]);
    let plan = ["--shards", "3", "--engine", "shell", "--rows", "my rows", "--require", "0.01"];
    let script = String::from_utf8(run("plan", &plan)).expect("text");
    fs::write(folder.join("job.sh"), &script).expect("written");
    let bin = Path::new(env!("CARGO_BIN_EXE_readodds")).parent().expect("in a folder").to_owned();
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap_or_default());
    let mut shell = Command::new("sh");
    shell.arg("job.sh").env("PATH", path).current_dir(&folder);
    // 1: the promise is not kept, which the script asks for.
    let ended = shell.output().expect("a POSIX shell");
    assert!(matches!(ended.status.code(), Some(0 | 1)), "{ended:?}");
    assert_eq!(fs::read(folder.join("forecast.json")).expect("written by the script"), straight, "{script}");
    for engine in ["slurm", "mpi"] {
        let script = String::from_utf8(run("plan", &["--shards", "3", "--engine", engine])).expect("text");
        assert!(script.contains("--precision 0.2 --least-runners 0.03"), "{script}");
    }
}

/// One file of worlds serves `predict` and `drivers`; a second process, another study and forged rows do not get in.
#[test]
fn a_checkpoint_serves_its_study_and_nobody_else() {
    let folder = folder("one-checkpoint");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let forecast = |more: &[&str]| {
        let mut command = readodds(&["predict", "--max-passings", "3000", "--checkpoint", name]);
        command.args(more);
        command
    };
    let first = finished(forecast(&[]));
    let drivers =
        readodds(&["drivers", "--max-passings", "3000", "--checkpoint", name]).output().expect("starts");
    assert!(String::from_utf8_lossy(&drivers.stderr).contains("resumed after"), "{drivers:?}");
    assert_eq!(
        drivers.stdout,
        finished(readodds(&["drivers", "--max-passings", "3000"])).stdout,
        "the worlds of predict are those of drivers"
    );
    let other = readodds(&["redundancy", "--checkpoint", name]).output().expect("starts");
    assert_eq!(other.status.code(), Some(2));
    assert!(
        String::from_utf8_lossy(&other.stderr).contains("study: forecast against redundancy"),
        "{other:?}"
    );
    // A living process holds the lock; a lock file alone, as a killed one leaves it, does not.
    let lock = fs::File::create(folder.join("run.rows.lock")).expect("made");
    lock.lock().expect("locked");
    let refused = forecast(&[]).output().expect("starts");
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("another process is at work"), "{refused:?}");
    drop(lock);
    // Rows that could be, under a right hash, but are not those of this scenario: worked out anew, and told.
    let text = fs::read_to_string(&file).expect("text");
    // The last odds of a row are of a runner missed everywhere, which the causes do not tell.
    let forged: Vec<String> = text
        .lines()
        .map(|line| match line.split_once("],\"weights\":") {
            Some((odds, rest)) => {
                let (kept, _) = odds.rsplit_once(',').expect("several odds");
                format!("{kept},0.75],\"weights\":{rest}")
            }
            None => line.to_owned(),
        })
        .collect();
    assert_ne!(forged.join("\n"), text.trim_end(), "something was forged");
    fs::write(&file, readodds::estimate::rows_file::with_end(&(forged.join("\n") + "\n"))).expect("written");
    let mended = finished(forecast(&[]));
    assert_eq!(mended.stdout, first.stdout);
    assert!(String::from_utf8_lossy(&mended.stderr).contains("made anew"), "{mended:?}");
    assert_eq!(fs::read_dir(&folder).expect("listed").count(), 1, "no lock and no part is left");
}

#[test]
fn a_file_named_twice_is_called_so() {
    let folder = folder("twice");
    let rows = folder.to_str().expect("plain path");
    finished(predict("2", &["--shard", "0/1", "--rows", rows]));
    let file = folder.join("shard-00000-of-00001.rows");
    let refused = readodds(&["merge", rows, file.to_str().expect("plain")]).output().expect("starts");
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("is named twice"), "{refused:?}");
}
