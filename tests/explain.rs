//! A passing as told can be worked out again from its own numbers, without the program.

mod command;

use command::{ROOT, folder, json, readodds};
use serde_json::Value;
use std::collections::BTreeSet;
use std::f64::consts::PI;

const SPEED_OF_LIGHT_M_S: f64 = 299_792_458.0;

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap_or_else(|| panic!("no number {key} in {of}"))
}

fn list<'a>(of: &'a Value, key: &str) -> &'a [Value] {
    of[key].as_array().unwrap_or_else(|| panic!("no list {key}"))
}

fn db(amplitude: f64) -> f64 {
    20.0 * amplitude.log10()
}

/// Sum of parts in dBm with phases in degrees, as (re, im) in √mW.
fn sum(parts: &[(f64, f64)]) -> (f64, f64) {
    parts.iter().fold((0.0, 0.0), |(re, im), (dbm, deg)| {
        let (size, angle) = (10f64.powf(dbm / 20.0), deg.to_radians());
        (re + size * angle.cos(), im + size * angle.sin())
    })
}

/// Loss of one screen of 0.45 m by 1.7 m that faces the ray between two places, the second one the tag's. Source: 3GPP TR 38.901 V17 §7.6.4.2 eqs 7.6-29 and 7.6-30.
fn screen_db(from: [f64; 3], to: [f64; 3], at: [f64; 2], lowest_m: f64, wavelength_m: f64) -> f64 {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let level = dx.hypot(dy);
    let along = ((at[0] - from[0]) * dx + (at[1] - from[1]) * dy) / level;
    let aside = ((at[0] - from[0]) * dy - (at[1] - from[1]) * dx) / level;
    let straight = level.hypot(to[2] - from[2]);
    let ray_z = from[2] + (to[2] - from[2]) * along / level;
    let f = |d1: f64, d2: f64, r: f64, inside: bool| {
        let sign = if inside { 1.0 } else { -1.0 };
        (sign * PI / 2.0 * (PI / wavelength_m * (d1 + d2 - r).max(0.0)).sqrt()).atan() / PI
    };
    let side = |edge: f64, inside: bool| f(along.hypot(edge), (level - along).hypot(edge), level, inside);
    let end = |edge_z: f64, inside: bool| {
        f(along.hypot(edge_z - from[2]), (level - along).hypot(edge_z - to[2]), straight, inside)
    };
    let (left, right) = (aside - 0.225, aside + 0.225);
    let wide = side(left, aside < 0.225) + side(right, aside > -0.225);
    let high = end(1.7, ray_z < 1.7) + end(lowest_m, ray_z > lowest_m);
    -db((1.0 - wide * high).clamp(1e-6, 1.0))
}

/// Works every row of a passing out again; ways met go to `met`.
fn check(passing: &Value, met: &mut BTreeSet<String>) {
    let draw = &passing["draw"];
    let mut missed = 1.0;
    let neighbours = list(draw, "neighbours");
    for row in list(passing, "rounds") {
        let near = |got: f64, key: &str| {
            let want = number(row, key);
            assert!((got - want).abs() < 1e-6, "{key}: {got} here, {want} told, in {row}");
        };
        let sender = list(passing, "senders")
            .iter()
            .find(|s| ["line", "reader", "antenna"].iter().all(|key| s[*key] == row[*key]))
            .expect("its antenna");
        // Place and posture (`draw`'s own formulas).
        let t = number(row, "time_s");
        let step = 2.0 * PI * number(draw, "steps_per_min") / 60.0 * t;
        let swing = |phase: &str, rate: f64| (rate * step + number(draw, phase).to_radians()).sin();
        let tag = [
            number(draw, "speed_m_s") * t,
            number(draw, "lateral_m"),
            number(draw, "tag_height_m") + number(draw, "bounce_m") * swing("step_phase_deg", 1.0),
        ];
        near(tag[0], "x_m");
        near(tag[1], "y_m");
        near(tag[2], "z_m");
        near(number(draw, "yaw_deg") + number(draw, "sway_deg") * swing("sway_phase_deg", 0.5), "yaw_deg");
        let flutter = 1.0 + number(draw, "flutter_share") * swing("flutter_phase_deg", 1.0);
        near(number(draw, "own_spacer_mm") + number(draw, "air_gap_mm") * flutter, "gap_mm");
        // Power at the tag, way by way.
        let wavelength_m = SPEED_OF_LIGHT_M_S / (1e6 * number(row, "freq_mhz"));
        let (port_dbm, losses_db) = (number(sender, "port_power_dbm"), number(row, "losses_db"));
        let antenna = ["x_m", "y_m", "z_m"].map(|key| number(sender, key));
        let mut parts = Vec::new();
        for way in list(row, "ways") {
            let kind = way["way"].as_str().expect("a word").to_owned();
            let d = number(way, "distance_m");
            let told: f64 = list(way, "screens").iter().map(|s| number(s, "loss_db")).sum();
            assert!((told.min(30.0) - number(way, "screens_db")).abs() < 1e-6, "{way}");
            let seems_from = match kind.as_str() {
                "direct" => Some((antenna, 0.0)),
                "road" => Some(([antenna[0], antenna[1], -antenna[2]], -1.7)),
                _ => None,
            };
            if let Some((from, lowest_m)) = seems_from {
                let straight =
                    ((tag[0] - from[0]).powi(2) + (tag[1] - from[1]).powi(2) + (tag[2] - from[2]).powi(2))
                        .sqrt();
                assert!((straight - d).abs() < 1e-6, "{kind}: {straight} {d}");
                for screen in list(way, "screens") {
                    let who = &neighbours[screen["neighbour"].as_u64().expect("a number") as usize];
                    let at = [tag[0] + number(who, "ahead_m"), number(who, "y_m")];
                    let here_db = screen_db(from, tag, at, lowest_m, wavelength_m);
                    assert!((here_db - number(screen, "loss_db")).abs() < 1e-5, "{here_db} {screen}");
                }
            }
            let part = port_dbm + number(way, "gain_dbi") + db(wavelength_m / (4.0 * PI * d))
                - number(way, "screens_db")
                + number(way, "taken_db")
                - losses_db;
            assert!((part - number(way, "part_dbm")).abs() < 1e-6, "{part} {way}");
            parts.push((number(way, "part_dbm"), number(way, "phase_deg")));
            met.insert(kind);
        }
        if let Some(scattered) = row["scattered"].as_object() {
            let k = 2.0 * PI / wavelength_m;
            let d1 = number(&list(row, "ways")[0], "distance_m");
            let waves: Vec<(f64, f64)> = list(sender, "scattered_waves")
                .iter()
                .map(|w| {
                    let path = number(w, "x") * tag[0]
                        + number(w, "y") * tag[1]
                        + number(w, "z") * tag[2]
                        + number(w, "detour_m");
                    let size = wavelength_m * number(w, "amplitude") / (d1 + number(w, "detour_m"));
                    (port_dbm + db(size) - losses_db, number(w, "phase_deg") - (k * path).to_degrees())
                })
                .collect();
            let (re, im) = sum(&waves);
            let told = scattered["part_dbm"].as_f64().expect("a number");
            assert!((db(re.hypot(im)) - told).abs() < 1e-4, "{} {told}", db(re.hypot(im)));
            parts.push((told, scattered["phase_deg"].as_f64().expect("a number")));
            met.insert("scattered".to_owned());
        }
        let (re, im) = sum(&parts);
        let deepest = parts.iter().fold(f64::NEG_INFINITY, |most, part| most.max(part.0));
        // Where waves all but cancel the last digits of the parts are all that is left.
        if number(row, "incident_dbm") > deepest - 60.0 {
            near(db(re.hypot(im)), "incident_dbm");
        }
        // Awake, heard, alone.
        near(
            number(row, "measured_dbm")
                + number(draw, "threshold_offset_db")
                + number(draw, "sample_offset_db"),
            "threshold_dbm",
        );
        near(
            2.0 * number(row, "incident_dbm") - port_dbm - number(sender, "cable_loss_db")
                + number(row, "backscatter_db"),
            "received_dbm",
        );
        if row["awake"] == true && number(sender, "round_s") <= 0.01 {
            assert!(number(row, "incident_dbm") >= number(row, "threshold_dbm"), "{row}");
        }
        if number(row, "received_dbm") > number(sender, "sensitivity_dbm") + 12.0 {
            assert_eq!(number(row, "heard_odds"), 1.0);
        }
        missed *= 1.0 - number(row, "powered_share") * number(row, "heard_odds") * number(row, "alone_odds");
    }
    assert!((missed - number(passing, "miss_odds")).abs() < 1e-9);
}

/// Source: the formulas at the heads of `passing/ways`, `diffuse`, `stride` and design of the link (Friis 1946), written again here; screens after 3GPP TR 38.901 V17 §7.6.4.2.
/// Tolerance: 1e-6 dB a way, 1e-4 dB the scattered sum (phases of thousands of degrees).
#[test]
fn val_every_round_can_be_worked_out_again() {
    let half = format!("{ROOT}/scenarios/half-marathon-rain-eu-lower.toml");
    let rows = folder("rows").join("rows.toml");
    let text =
        std::fs::read_to_string(&half).expect("there").replace("../demo-data", &format!("{ROOT}/demo-data"));
    let elements = text.replace("kind = \"mat\",", "kind = \"mat\", elements = 3, power_dbm = 24.0,");
    assert_ne!(text, elements);
    std::fs::write(&rows, elements).expect("written");
    let mut met = BTreeSet::new();
    for scenario in
        [half.as_str(), "scenarios/finish-panels-overhead-japan.toml", rows.to_str().expect("plain path")]
    {
        for passing in ["3", "12"] {
            let call = ["explain", scenario, "--point", "finish", "--race", "1", "--passing", passing];
            let answer = json(&readodds(&[&call[..], &["--format", "json"]].concat()));
            let told = list(&answer, "passings");
            assert_eq!(told.len(), 1);
            assert!(list(&told[0], "rounds").len() > 50);
            check(&told[0], &mut met);
        }
    }
    let met: Vec<&str> = met.iter().map(String::as_str).collect();
    assert_eq!(met, ["direct", "element", "plane", "road", "scattered"]);
}
