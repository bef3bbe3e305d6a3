//! Cover of thresholds and of replies kept apart: a reply that is missing takes no threshold with it, and a row that is left out says why.

use assert_cmd::Command;
use std::path::{Path, PathBuf};

fn folder(scratch: &Path, name: &str, reply_to: f64, closest_to: f64) -> PathBuf {
    let folder = scratch.join(name);
    std::fs::create_dir_all(&folder).unwrap();
    let mut csv = String::from("# Invented.\nsample,phantom,gap_mm,freq_mhz,threshold_dbm,backscatter_db\n");
    for (i, sample) in ["A", "B", "C"].iter().enumerate() {
        for (mount, level) in [("none,", -18.0), ("gel,10", -14.0), ("gel,2", -8.0)] {
            for k in 0..=50 {
                let freq = 850.0 + 2.0 * f64::from(k);
                let closest = mount == "gel,2";
                if closest && freq > closest_to {
                    continue;
                }
                let threshold = level + ((freq - 905.0) / 40.0).powi(2) + 0.3 * i as f64;
                let reply = if closest && freq > reply_to { String::new() } else { "-10".to_owned() };
                csv += &format!("{sample},{mount},{freq},{threshold:.3},{reply}\n");
            }
        }
    }
    std::fs::write(folder.join("sweeps.csv"), csv).unwrap();
    let toml = format!(
        "# Invented.\nname = \"{name}\"\nnote = \"Invented\"\nown_spacer_mm = 2\nlevel = \"referred\"\n"
    );
    std::fs::write(folder.join("tag.toml"), toml).unwrap();
    folder
}

fn lab(folders: &[&Path]) -> serde_json::Value {
    let mut call = vec!["lab", "--format", "json", "--region", "usa"];
    call.extend(folders.iter().map(|f| f.to_str().unwrap()));
    let done = Command::cargo_bin("readodds").unwrap().args(&call).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}

#[test]
fn a_missing_reply_takes_no_threshold_with_it() {
    let scratch = std::env::temp_dir().join(format!("readodds-cover-{}", std::process::id()));
    let whole = folder(&scratch, "oak", 950.0, 950.0);
    let mute = folder(&scratch, "ash", 912.0, 950.0);
    let short = folder(&scratch, "yew", 950.0, 912.0);
    // Reply missing above 912 MHz in one mount: every threshold is compared, the reply is a finding of its own.
    let answer = lab(&[&whole, &mute]);
    let pair = &answer["comparisons"][0];
    assert_eq!(pair["rows"].as_array().unwrap().len(), 3, "free air, 10 mm, 2 mm");
    assert!(pair["left_out"].as_array().unwrap().is_empty());
    let findings = answer["tags"][1]["findings"].as_array().unwrap();
    assert!(findings.iter().all(|f| f["kind"] != "cover"), "{findings:?}");
    let reply: Vec<_> = findings.iter().filter(|f| f["kind"] == "reply-cover").collect();
    assert_eq!(reply.len(), 1);
    assert!(reply[0]["about"].as_str().unwrap().contains("2 mm") && reply[0]["number"] == 38.0);
    // Threshold missing in that mount: its row is left out with the reason, the others stay.
    let answer = lab(&[&whole, &short]);
    let pair = &answer["comparisons"][0];
    assert_eq!(pair["rows"].as_array().unwrap().len(), 2, "free air, 10 mm");
    let left = pair["left_out"].as_array().unwrap();
    assert_eq!(left.len(), 1);
    let why = left[0].as_str().unwrap();
    assert!(
        why.contains("usa, same gap 2 mm: left out")
            && why.contains("thresholds of yew at 2 mm over gel run from 850 to 912 MHz"),
        "{why}"
    );
    let cover = answer["tags"][1]["findings"].as_array().unwrap().iter().find(|f| f["kind"] == "cover");
    assert!(cover.unwrap()["words"].as_str().unwrap().contains("(2 mm over gel is the narrowest)"));
    std::fs::remove_dir_all(&scratch).unwrap();
}

/// A mount that sleeps has no reply either: the forecast goes on with a warning.
#[test]
fn channels_without_a_reply_are_a_warning() {
    let scratch = std::env::temp_dir().join(format!("readodds-cover-run-{}", std::process::id()));
    let mute = folder(&scratch, "ash", 912.0, 950.0);
    let scenario = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/city-10k-dry-usa.toml");
    let call = ["predict", scenario.to_str().unwrap(), "--tag", mute.to_str().unwrap(), "--worlds", "2"];
    let done =
        Command::cargo_bin("readodds").unwrap().args(call).args(["--passings-per-world", "12"]).output();
    let done = done.unwrap();
    let told = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success() && told.contains("warning[sweep-misses-reply]"), "{told}");
    std::fs::remove_dir_all(&scratch).unwrap();
}
