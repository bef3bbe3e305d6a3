//! Reduced scenarios and tags: everything pinned and switched off but what a test needs.
#![allow(dead_code)]

use readodds::course::{self, Course};
use readodds::passing::{Prepared, prepare};
use readodds::tag::curve::{MountCurve, TagCurve};
use readodds::tag::pchip::Pchip;
use readodds::tag::spread::{SigmaPosterior, Spread};
use readodds::tag::{self, Tag};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A tag with the same threshold and backscatter at every frequency and gap.
pub fn flat_tag(threshold_dbm: f64, backscatter_db: f64) -> Tag {
    let level = |v: f64| Pchip::new(vec![850.0, 950.0], vec![v, v]);
    Tag {
        name: "flat".into(),
        note: "Invented: flat over frequency and gap".into(),
        own_spacer_mm: 2.0,
        price: None,
        curve: TagCurve::new(vec![MountCurve {
            gap_mm: None,
            threshold_dbm: level(threshold_dbm),
            backscatter_db: level(backscatter_db),
            open: None,
        }]),
        findings: Vec::new(),
        spread: Spread {
            samples: 3,
            placing_sd_db: 0.0,
            observed_offset_sd_db: 0.0,
            observed_shift_sd_mhz: 0.0,
            offset_sigma_db: SigmaPosterior::known(0.0),
            shift_sigma_mhz: SigmaPosterior::known(0.0),
            lab_bias_sd_db: 0.0,
            race_effect_db: 0.0,
        },
        learned_from: None,
        file_hashes: Vec::new(),
    }
}

/// A scenario with every effect off and every quantity pinned. `effects` are lines of the `[effects]` table to turn on,
/// `beliefs` further lines of `[beliefs]`, `point` further lines of the point, `reader` of the reader.
pub struct Reduced<'a> {
    pub effects: &'a str,
    pub beliefs: &'a str,
    pub field: &'a str,
    pub point: &'a str,
    pub reader: &'a str,
    pub antenna: &'a str,
}

impl Reduced<'_> {
    pub const PLAIN: Reduced<'static> = Reduced {
        effects: "",
        beliefs: "sample_offset_db = 0",
        field: "",
        point: "",
        reader: "",
        antenna: "",
    };

    pub fn course(&self) -> Course {
        let off: String = [
            "ground",
            "body",
            "neighbours",
            "diffuse_waves",
            "water",
            "contention",
            "tag_pattern",
            "antenna_pattern",
            "stride",
            "decoding",
        ]
        .iter()
        .filter(|key| !self.effects.split_whitespace().any(|on| on == **key))
        .map(|key| format!("{key} = false\n"))
        .collect();
        let field = if self.field.is_empty() { "speed_m_s = 2.0\ntag_height_m = 1.2" } else { self.field };
        let antenna = if self.antenna.is_empty() {
            "{ kind = \"side_panel\", x_m = 0, y_m = 0, z_m = 1.2, azimuth_deg = 180, gain_dbi = 6, polarisation = { tilt_deg = 0 } , power_dbm = 30, cable_loss_db = 0 }"
        } else {
            self.antenna
        };
        let text = format!(
            r#"
note = "Invented: reduced to a closed form"
tag = "none"
[event]
name = "reduced"
distance_km = 10
[region]
key = "test"
name = "one channel"
bands_mhz = [[914, 916]]
channels_mhz = [915]
hopping = "in_turn"
dwell_s = 4
limit = {{ eirp_dbm = 60 }}
source = "none: a test"
certainty = "own"
[weather]
key = "own"
damp_share = 0
soaked_share = 0
[field]
runners = 1000
lean_deg = 0
yaw_deg = 0
{field}
[field.placements]
front_high = {{ share = 1, height_offset_m = 0, yaw_deg = 0, cover_loss_db = 0, roll_deg = 0 }}
[beliefs]
cling_factor = 1
body_loss_db = 0
batch_offset_db = 0
sample_offset_floor_db = 0
{beliefs}
[effects]
{off}
[[point]]
name = "finish"
finish = true
road_width_m = 30
speed_factor = 1
flow_per_min = 60
{point}
[[point.line]]
[[point.line.reader]]
interference_db = 0
{reader}
antenna = [{antenna}]
"#,
            beliefs = self.beliefs,
            point = self.point,
            reader = self.reader,
        );
        match course::from_text("reduced.toml", &text, Path::new(".")) {
            Ok((course, _)) => course,
            Err(found) => panic!(
                "{}\n{text}",
                readodds::diag::render::render_all(&found, readodds::diag::render::Style::PLAIN)
            ),
        }
    }

    pub fn prepared(&self, tag: Tag) -> Prepared {
        prepare(Arc::new(self.course()), Arc::new(tag))
    }
}

pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

pub fn demo_tag(name: &str) -> Tag {
    tag::load(&root().join("demo-data/tags").join(name)).expect("shipped tag loads").0
}

pub fn demo(scenario: &str, tag: &str) -> Prepared {
    let (course, _) = course::load(&root().join("scenarios").join(scenario)).expect("shipped scenario loads");
    prepare(Arc::new(course), Arc::new(demo_tag(tag)))
}
