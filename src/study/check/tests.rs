use super::*;
use std::path::Path;

const FINISH: &str = include_str!("../../../scenarios/finish-panels-overhead-japan.toml");
const HALF: &str = include_str!("../../../scenarios/half-marathon-rain-eu-lower.toml");

fn report(text: &str, swept_mhz: (f64, f64)) -> CheckReport {
    let (course, warnings) = crate::course::from_text("x.toml", text, Path::new("")).expect("valid");
    let tag = TagCover { name: "birch".to_owned(), swept_mhz, file_hashes: Vec::new() };
    check(&course, &tag, &Default::default(), &warnings)
}

fn codes(report: &CheckReport) -> Vec<&str> {
    report.findings.iter().map(|f| f.code.as_str()).collect()
}

#[test]
fn a_sound_scenario_is_clear() {
    let report = report(HALF, (850.0, 950.0));
    assert!(report.is_clear());
    assert_eq!(report.antennas.len(), 16);
    assert!(report.antennas.iter().all(|a| a.power.legal && a.flat));
    // 34 dBm EIRP = 31.85 dBm ERP with 100° of beamwidth: the old European rule is worth a note at each
    // antenna.
    assert_eq!(codes(&report).iter().filter(|c| **c == "beamwidth-rule").count(), 16);
    assert!(codes(&report).contains(&"sweep-out-of-band"));
    assert!(!codes(&report).contains(&"region-unsure"));
}

#[test]
fn too_much_power_comes_first_and_says_what_would_be_legal() {
    let loud = FINISH.replace("power_dbm = 29.0", "power_dbm = 29.5");
    let report = report(&loud, (850.0, 950.0));
    assert!(!report.is_clear());
    assert_eq!(report.findings[0].code, "power-above-limit");
    assert!(
        report.findings[0].message.contains("set it to 29.00 dBm or less"),
        "{}",
        report.findings[0].message
    );
    assert_eq!(report.findings[0].place, "finish / gantry / panels / left");
    assert_eq!(codes(&report).iter().filter(|c| **c == "power-above-limit").count(), 4);
    assert!(codes(&report).contains(&"region-unsure"));
}

#[test]
fn sweeps_that_miss_the_region_are_a_problem() {
    assert!(codes(&report(HALF, (902.0, 928.0))).contains(&"sweep-no-overlap"));
    assert!(codes(&report(HALF, (866.0, 928.0))).contains(&"sweep-channels"));
    assert!(codes(&report(HALF, (860.0, 875.0))).contains(&"sweep-water"));
}

#[test]
fn a_gain_its_beamwidths_cannot_give_is_doubtful() {
    let narrow = HALF.replace("cable_loss_db = 1.0", "cable_loss_db = 1.0\ngain_dbi = 8.5");
    let report = report(&narrow, (850.0, 950.0));
    assert!(codes(&report).contains(&"gain-above-directivity"));
    // 30 - 1 + 8.5 = 37.5 dBm EIRP is above 35.16.
    assert!(!report.is_clear());
}

#[test]
fn the_answer_survives_json() {
    let report = report(FINISH, (850.0, 950.0));
    let text = serde_json::to_string(&report).expect("json");
    assert_eq!(serde_json::from_str::<CheckReport>(&text).expect("same"), report);
    for key in ["eirp_dbm", "screening_m", "directivity_dbi", "swept_mhz", "room_db"] {
        assert!(text.contains(key), "{key}");
    }
}
