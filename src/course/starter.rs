//! A first scenario from a few answers: commented text that loads as it stands, at lawful power.

use super::power;
use super::region::Region;
use super::region_table::{ROWS, Row};
use super::weather::KINDS;

/// What the antennas of the first point are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Mats,
    Panels,
    Overhead,
}

impl Kind {
    pub const ALL: [(&str, Kind); 3] =
        [("mats", Kind::Mats), ("panels", Kind::Panels), ("overhead", Kind::Overhead)];
}

/// Answers to the few questions.
#[derive(Clone, Debug)]
pub struct Answers {
    pub name: String,
    pub region: &'static Row,
    pub weather: &'static str,
    pub runners: u64,
    pub road_width_m: f64,
    pub kind: Kind,
    /// Tag folder as the scenario will name it, relative to its own folder.
    pub tag: String,
}

/// The region and weather of these keys; an error names the choices.
pub fn choices(region: &str, weather: &str) -> Result<(&'static Row, &'static str), String> {
    let keys = |list: Vec<&'static str>| list.join(", ");
    let row = ROWS.iter().find(|row| row.key == region).ok_or_else(|| {
        let all: Vec<&str> = ROWS.iter().map(|row| row.key).collect();
        let meant = super::walk::did_you_mean(region, all.iter().copied());
        let hint = meant.map_or(String::new(), |key| format!("did you mean {key}? "));
        format!("--region {region}: {hint}choices: {}", keys(all))
    })?;
    let kind = KINDS.iter().find(|kind| kind.key == weather).ok_or_else(|| {
        format!("--weather {weather}: choices: {}", keys(KINDS.iter().map(|kind| kind.key).collect()))
    })?;
    Ok((row, kind.key))
}

const CABLE_LOSS_DB: f64 = 1.0;
/// Width that one mat of a single lobe serves, m (our estimate).
const MAT_M: f64 = 1.25;

/// The scenario as text.
pub fn text(answers: &Answers) -> String {
    let Answers { name, region, weather, runners, road_width_m, kind, tag } = answers;
    let (what, gain_dbi, rows) = antennas(*kind, *road_width_m);
    let power_dbm = lawful_dbm(region, gain_dbi);
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    format!(
        "# A first scenario, to be corrected: what is marked \"default\" may go; `readodds check` says what else is assumed.\n\
         # x runs with the runners, y to their left, z up, in metres; x = 0 is the timing line, y = 0 the middle of the road.\n\
         # A point has lines (rows of antennas), a line has readers, a reader has antennas.\n\n\
         tag = {tag}\n\n\
         [event]\nname = {name}\ndistance_km = 10.0                     # default\n\n\
         [region]\nkey = \"{region_key}\"                         # {region_name}: {limit}\n\n\
         [weather]\nkey = \"{weather}\"                            # dry, humid, showers, rain or downpour\n\n\
         [field]\nrunners = {runners}\n\n\
         [[point]]\nname = \"finish\"\nfinish = true\nroad_width_m = {road_width_m:?}\ntarget = 0.998                         # share of the runners promised; default\n\n\
         [[point.line]]\nname = \"main\"\n\n\
         # {what}\n\
         [[point.line.reader]]\nlink = \"miller4_250\"                   # default\nsession = \"S1\"\n\
         antenna = [\n{rows}]\n\n\
         # The most this region allows with {gain_dbi} dBi and {CABLE_LOSS_DB} dB of cable. Local rules and licences prevail.\n\
         [every_antenna]\npower_dbm = {power_dbm:?}\ncable_loss_db = {CABLE_LOSS_DB:?}\n",
        tag = quoted(tag),
        name = quoted(name),
        region_key = region.key,
        region_name = region.name,
        limit = power::limit_in_words(Region::from(*region).limit),
    )
}

fn antennas(kind: Kind, road_width_m: f64) -> (&'static str, f64, String) {
    let side_m = 0.5 * road_width_m + 0.5;
    match kind {
        Kind::Mats => {
            let count = (road_width_m / MAT_M).round().clamp(1.0, 8.0) as usize;
            let width_m = road_width_m / count as f64;
            let row = |i: usize| {
                let y_m = ((i as f64 + 0.5) * width_m - 0.5 * road_width_m) * 1000.0;
                format!(
                    "  {{ name = \"mat {}\", kind = \"mat\", y_m = {:?} }},\n",
                    i + 1,
                    y_m.round() / 1000.0
                )
            };
            let what = "Mats side by side; several patches on one connector: add `elements`. Mats and cables are trip hazards.";
            (what, 5.0, (0..count).map(row).collect())
        }
        Kind::Panels => (
            "A panel on either side, turned 35 degrees against the runners.",
            8.0,
            format!(
                "  {{ name = \"left\", kind = \"side_panel\", y_m = {side_m:?}, z_m = 1.3, azimuth_deg = -125.0 }},\n  \
                 {{ name = \"right\", kind = \"side_panel\", y_m = {:?}, z_m = 1.3, azimuth_deg = 125.0 }},\n",
                -side_m
            ),
        ),
        Kind::Overhead => (
            "A pair on a gantry, looking down at the runners who come. Gantries are for qualified people.",
            8.0,
            format!(
                "  {{ name = \"left\", kind = \"overhead\", y_m = {:?}, z_m = 2.8, elevation_deg = -40.0 }},\n  \
                 {{ name = \"right\", kind = \"overhead\", y_m = {:?}, z_m = 2.8, elevation_deg = -40.0 }},\n",
                0.25 * road_width_m,
                -0.25 * road_width_m
            ),
        ),
    }
}

/// The highest lawful setting of the reader, down to a tenth, at most 33 dBm.
fn lawful_dbm(region: &'static Row, gain_dbi: f64) -> f64 {
    let limit = Region::from(region).limit;
    let at_antenna = power::most_conducted_dbm(limit, gain_dbi) + CABLE_LOSS_DB;
    let most = match limit {
        super::region::PowerLimit::Conducted { power_dbm, .. } => at_antenna.min(power_dbm),
        _ => at_antenna,
    };
    (most.min(33.0) * 10.0 + 1e-6).floor() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::plausible::doubts;
    use std::path::Path;

    /// Every region, weather and kind, on roads of 2 to 12 m: loads, is lawful, and nobody would ask whether it was meant.
    #[test]
    fn every_first_scenario_is_sound() {
        let mut seen = 0;
        for row in ROWS {
            for weather in KINDS {
                for (_, kind) in Kind::ALL {
                    for road_width_m in [2.0, 5.0, 6.5, 12.0] {
                        let answers = Answers {
                            name: "Quill \"Quay\" run".to_owned(),
                            region: row,
                            weather: weather.key,
                            runners: 1500,
                            road_width_m,
                            kind,
                            tag: "tags/birch".to_owned(),
                        };
                        let written = text(&answers);
                        let (course, _) = crate::course::from_text("new.toml", &written, Path::new(""))
                            .unwrap_or_else(|found| panic!("{found:?}\n{written}"));
                        assert_eq!(power::unlawful(&course), Vec::<String>::new(), "{written}");
                        assert_eq!(doubts(&course), Vec::<String>::new(), "{written}");
                        assert_eq!(course.event_name, answers.name);
                        seen += 1;
                    }
                }
            }
        }
        assert!(seen > 600, "{seen}");
    }
}
