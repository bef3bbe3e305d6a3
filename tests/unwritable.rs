//! What cannot be written: found before the run where it can be, named with its reason, and never half a file.

mod command;

use command::{folder, said};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const BIN: &str = env!("CARGO_BIN_EXE_readodds");

/// A short forecast with more options.
fn predict(more: &[&str]) -> Command {
    let mut command = Command::new(BIN);
    command.args([
        "predict",
        "scenarios/trail-soaked-one-mat.toml",
        "--worlds",
        "7",
        "--passings-per-world",
        "20",
    ]);
    command.args(more).current_dir(env!("CARGO_MANIFEST_DIR"));
    command
}

/// Run where no file may grow beyond so many blocks of 512 bytes: a write beyond fails, as on a full disk.
#[cfg(unix)]
fn limited<'a>(blocks: u64, arguments: impl Iterator<Item = &'a std::ffi::OsStr>) -> Command {
    let mut command = Command::new("sh");
    // The file size limit counts blocks of 512 bytes (POSIX, ulimit); where a shell counts larger ones the limit is looser.
    command.arg("-c").arg(format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\""));
    command.arg(BIN).args(arguments).current_dir(env!("CARGO_MANIFEST_DIR"));
    command
}

#[cfg(unix)]
fn cramped(blocks: u64, more: &[&str]) -> Output {
    limited(blocks, predict(more).get_args()).output().expect("a POSIX shell")
}

/// Names of all files below a folder.
fn files(folder: &Path) -> Vec<String> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            names.extend(files(&path));
        } else {
            names.push(path.file_name().unwrap_or_default().to_string_lossy().into_owned());
        }
    }
    names.sort();
    names
}

/// Every option that writes, with what else it needs.
const WRITERS: [(&str, &[&str]); 5] = [
    ("--out", &[]),
    ("--html", &[]),
    ("--figures", &[]),
    ("--checkpoint", &[]),
    ("--rows", &["--shard", "0/2"]),
];

#[test]
fn a_place_that_cannot_be_written_is_named_before_the_run() {
    let folder = folder("unwritable");
    let file = folder.join("file");
    fs::write(&file, "here first").expect("written");
    let below_a_file = file.join("there");
    let nowhere = folder.join("nowhere/there");
    for (option, more) in WRITERS {
        // Folders that are missing are made for --figures and --rows; a file needs its folder.
        let makes_folders = matches!(option, "--figures" | "--rows");
        let mut places = vec![below_a_file.clone(), PathBuf::from("/proc/self/there")];
        if !makes_folders {
            places.extend([nowhere.clone(), folder.clone()]);
        }
        for place in places {
            let name = place.to_str().expect("plain path");
            let refused = predict(&[&[option, name], more].concat()).output().expect("starts");
            let said = said(&refused);
            assert_eq!(refused.status.code(), Some(2), "{option} {name}: {said}");
            assert!(said.contains(name) && said.contains("cannot"), "{option} {name}: {said}");
            assert!(refused.stdout.is_empty(), "{option} {name}");
        }
    }
    assert_eq!(fs::read_to_string(&file).expect("still there"), "here first");
    assert_eq!(files(&folder), ["file"]);
}

/// No file may grow beyond 64 KiB: too little for anything but the rows of a shard, and found before the run.
#[cfg(unix)]
#[test]
fn a_full_disk_is_found_before_the_run() {
    let folder = folder("full");
    for (option, more) in WRITERS {
        let is_folder = matches!(option, "--figures" | "--rows");
        let place = folder.join(option.trim_start_matches('-'));
        if !is_folder && option != "--checkpoint" {
            fs::write(&place, "here first").expect("written");
        }
        let name = place.to_str().expect("plain path");
        let blocks = if matches!(option, "--checkpoint" | "--rows") { 1 } else { 128 };
        let full = cramped(blocks, &[&[option, name], more].concat());
        let said = said(&full);
        assert_eq!(full.status.code(), Some(2), "{option}: {said}");
        assert!(said.contains(name) && said.to_lowercase().contains("too large"), "{option}: {said}");
        assert!(full.stdout.is_empty(), "{option}");
        if !is_folder && option != "--checkpoint" {
            assert_eq!(fs::read_to_string(&place).expect("still there"), "here first", "{option}");
        }
    }
    assert_eq!(files(&folder), ["html", "out"], "no temporary file is left");
}

/// A checkpoint that outgrows the disk on the way: the run goes on, says so, and the last whole checkpoint stays.
#[cfg(unix)]
#[test]
fn a_disk_that_fills_up_on_the_way_costs_the_checkpoint_and_not_the_result() {
    let folder = folder("fills-up");
    let file = folder.join("run.rows");
    let name = file.to_str().expect("plain path");
    let options =
        ["--precision", "0.001", "--least-runners", "0.001", "--max-passings", "24000", "--format", "json"];
    let by_precision = |more: &[&str]| {
        let mut command = Command::new(BIN);
        command.args([
            "predict",
            "scenarios/trail-soaked-one-mat.toml",
            "--passings-per-world",
            "1",
            "--tag",
            "demo-data/tags/cedar",
        ]);
        command.args(options).args(more).current_dir(env!("CARGO_MANIFEST_DIR"));
        command
    };
    let straight = by_precision(&["--checkpoint", name]).output().expect("starts");
    let whole = fs::metadata(&file).expect("a checkpoint").len();
    fs::remove_file(&file).expect("written above");
    // Room for the first stage, which is claimed beforehand, and not for the ones that follow.
    let claimed = 128 * (1000 * 2 + 2000);
    assert!(whole > claimed + 60_000, "{whole}: the run is too short");
    let limit = (whole + claimed) / 2 / 512;
    let mut cut = limited(limit, by_precision(&["--checkpoint", name]).get_args());
    let cut = cut.output().expect("a POSIX shell");
    let said = said(&cut);
    assert_eq!(cut.status.code(), Some(0), "{said}");
    assert_eq!(cut.stdout, straight.stdout);
    assert!(said.contains(name) && said.to_lowercase().contains("too large"), "{said}");
    assert!(said.contains("cannot be resumed"), "{said}");
    // Whatever was saved before is whole, and goes on to the same result where there is room again.
    assert!(files(&folder).iter().all(|name| name == "run.rows"), "{:?}", files(&folder));
    let resumed = by_precision(&["--checkpoint", name]).output().expect("starts");
    assert_eq!(resumed.stdout, straight.stdout);
}

/// A device that is always full, as standard output and by name. The device itself stays what it is.
#[cfg(target_os = "linux")]
#[test]
fn a_full_device_is_an_error_and_not_half_a_result() {
    let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("Linux has it");
    let output = predict(&[]).stdout(full).output().expect("starts");
    assert_eq!(output.status.code(), Some(3));
    assert!(said(&output).contains("cannot write to stdout"));
    for option in ["--out", "--html"] {
        let output = predict(&[option, "/dev/full"]).output().expect("starts");
        let said = said(&output);
        assert_eq!(output.status.code(), Some(3), "{option}: {said}");
        assert!(said.contains("cannot write /dev/full") && said.contains("choose another place"), "{said}");
    }
    for (option, more) in [("--checkpoint", &[][..]), ("--figures", &[]), ("--rows", &["--shard", "0/2"])] {
        let output = predict(&[&[option, "/dev/full"], more].concat()).output().expect("starts");
        assert_eq!(output.status.code(), Some(2), "{option}: {}", said(&output));
        assert!(said(&output).contains("/dev/full"), "{option}");
    }
    use std::os::unix::fs::FileTypeExt;
    assert!(fs::metadata("/dev/full").expect("still there").file_type().is_char_device());
}
