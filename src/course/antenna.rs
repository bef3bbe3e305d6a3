//! One reader antenna: place, direction, pattern, polarisation.
//!
//! The kind (`mat`, `side_panel`, `overhead`) only fills in defaults; the geometry decides.

use super::elements::{self, Elements};
use super::walk::Section;
use crate::limits;
use crate::vector::{Vec3, X, Z};
use schemars::JsonSchema;
use serde::Serialize;

/// Polarisation of an antenna's boresight field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Polarisation {
    /// Linear, tilted from the horizontal axis h of the antenna by `tilt_deg`.
    Linear { tilt_deg: f64 },
    /// Elliptic with the given axial ratio in dB (0 = circular), right-handed or not.
    Circular { axial_ratio_db: f64, right_handed: bool },
}

/// Antennas up to this height lie flat on the road: their pattern already contains the ground.
pub const FLAT_HEIGHT_M: f64 = 0.15;

#[derive(Clone, Debug, PartialEq)]
pub struct Antenna {
    pub name: String,
    pub x_m: f64,
    pub y_m: f64,
    pub z_m: f64,
    pub azimuth_deg: f64,
    pub elevation_deg: f64,
    pub gain_dbi: f64,
    pub horizontal_beamwidth_deg: f64,
    pub vertical_beamwidth_deg: f64,
    pub front_to_back_db: f64,
    pub polarisation: Polarisation,
    /// Elements in a row along `across`, fed together; `gain_dbi` is that of all of them.
    pub elements: Elements,
    /// Power set at the reader for this port, dBm (at the reader's connector).
    pub power_dbm: f64,
    /// Loss of the cable between reader and antenna, dB, once each way.
    pub cable_loss_db: f64,
}

impl Antenna {
    /// Power at the antenna's own connector, dBm.
    pub fn port_power_dbm(&self) -> f64 {
        self.power_dbm - self.cable_loss_db
    }
    /// Boresight and the axes upwards and across of the antenna, unit vectors.
    pub fn axes(&self) -> (Vec3, Vec3, Vec3) {
        let boresight = Vec3::from_azimuth_elevation_deg(self.azimuth_deg, self.elevation_deg);
        let upwards = Z - boresight * boresight.dot(Z);
        let up = if upwards.norm() < 1e-9 { X } else { upwards.unit() };
        (boresight, up, boresight.cross(up))
    }
    /// The axis along which elements stand.
    pub fn across(&self) -> Vec3 {
        self.axes().2
    }
    pub fn is_flat(&self) -> bool {
        self.z_m <= FLAT_HEIGHT_M
    }
}

/// `[[point.line.reader.antenna]]` as written; every key may also stand in `[every_antenna]`, except the name.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AntennaForm {
    /// Name in reports; default `antenna 1` and so on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Shorthand for geometry and pattern: `mat`, `side_panel` or `overhead`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// Along the running direction from the timing line, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub x_m: Option<f64>,
    /// To the runner's left from the middle of the road, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub y_m: Option<f64>,
    /// Height above the road, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z_m: Option<f64>,
    /// Boresight from the running direction towards the left, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub azimuth_deg: Option<f64>,
    /// Boresight up from the horizontal, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elevation_deg: Option<f64>,
    /// Peak gain, dBi.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain_dbi: Option<f64>,
    /// Half-power beamwidth in the horizontal plane of the antenna, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub horizontal_beamwidth_deg: Option<f64>,
    /// Half-power beamwidth in the vertical plane of the antenna, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub vertical_beamwidth_deg: Option<f64>,
    /// Front-to-back ratio, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub front_to_back_db: Option<f64>,
    /// `horizontal`, `vertical`, `circular_right`, `circular_left` or a table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub polarisation: Option<PolarisationForm>,
    /// Equal elements in a row across the antenna, each with its own lobe; default 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elements: Option<u32>,
    /// Between the middles of neighbouring elements, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub element_spacing_m: Option<f64>,
    /// `together` (one connector feeds all) or `in_turn` (each for a dwell time of the port).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub feed: Option<String>,
    /// Power set at the reader's connector, dBm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_dbm: Option<f64>,
    /// Loss of the cable, dB, once each way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cable_loss_db: Option<f64>,
}

/// How a polarisation is written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum PolarisationForm {
    /// `horizontal`, `vertical`, `circular_right` or `circular_left` (axial ratio 3 dB).
    Word(String),
    /// Linear, turned from the horizontal.
    Linear { tilt_deg: f64 },
    /// Elliptic; hand `right` or `left`.
    Circular { axial_ratio_db: f64, hand: String },
}

impl From<&Antenna> for AntennaForm {
    fn from(a: &Antenna) -> AntennaForm {
        AntennaForm {
            name: Some(a.name.clone()),
            kind: None,
            x_m: Some(a.x_m),
            y_m: Some(a.y_m),
            z_m: Some(a.z_m),
            azimuth_deg: Some(a.azimuth_deg),
            elevation_deg: Some(a.elevation_deg),
            gain_dbi: Some(a.gain_dbi),
            horizontal_beamwidth_deg: Some(a.horizontal_beamwidth_deg),
            vertical_beamwidth_deg: Some(a.vertical_beamwidth_deg),
            front_to_back_db: Some(a.front_to_back_db),
            polarisation: Some(match a.polarisation {
                Polarisation::Linear { tilt_deg } => PolarisationForm::Linear { tilt_deg },
                Polarisation::Circular { axial_ratio_db, right_handed } => PolarisationForm::Circular {
                    axial_ratio_db,
                    hand: if right_handed { "right" } else { "left" }.to_owned(),
                },
            }),
            elements: (a.elements.count > 1).then_some(a.elements.count as u32),
            element_spacing_m: (a.elements.count > 1).then_some(a.elements.spacing_m),
            feed: (a.elements.count > 1).then(|| "together".to_owned()),
            power_dbm: Some(a.power_dbm),
            cable_loss_db: Some(a.cable_loss_db),
        }
    }
}

/// What a kind fills in: height, elevation, gain, both beamwidths, front-to-back ratio.
#[derive(Clone, Copy)]
struct Kind {
    z_m: f64,
    elevation_deg: f64,
    gain_dbi: f64,
    beamwidth_deg: f64,
    front_to_back_db: f64,
}

/// Source: our estimate of common timing mats and panels; gain and beamwidth agree with the directivity of
/// the 3GPP TR 38.901 table 7.3-1 pattern within the losses of a real antenna (computed: 100° x 100°, 20
/// dB: 6.70 dBi; 70° x 70°, 20 dB: 9.10 dBi).
const KINDS: [(&str, Kind); 3] = [
    (
        "mat",
        Kind { z_m: 0.02, elevation_deg: 90.0, gain_dbi: 5.0, beamwidth_deg: 100.0, front_to_back_db: 20.0 },
    ),
    (
        "side_panel",
        Kind { z_m: 1.2, elevation_deg: 0.0, gain_dbi: 8.0, beamwidth_deg: 70.0, front_to_back_db: 20.0 },
    ),
    (
        "overhead",
        Kind { z_m: 2.8, elevation_deg: -45.0, gain_dbi: 8.0, beamwidth_deg: 70.0, front_to_back_db: 20.0 },
    ),
];

const KIND_SOURCE: &str = "our estimate for this kind of antenna";
const AXIAL_RATIO_DB: f64 = 3.0;
const CIRCULAR: Polarisation = Polarisation::Circular { axial_ratio_db: AXIAL_RATIO_DB, right_handed: true };

/// Reads one antenna, or one for each of its elements where they are fed in turn; `number` counts from 1 and names it when the file does not.
pub fn read(section: &Section, number: usize) -> Vec<Antenna> {
    let (elements, feed) = elements::read(section);
    let kind = section.choice("kind", &KINDS);
    let kind_word = section.text("kind").unwrap_or_default();
    let from_kind = |key: &'static str, limit: &'static limits::Limit, value: Option<f64>| match value {
        Some(default) => section.number_or(key, limit, default, KIND_SOURCE),
        None => section.number(key, limit).unwrap_or(limit.min),
    };
    if section.find("kind").is_none() {
        require_geometry(section);
    }
    let y = section.number_required(
        "y_m",
        &limits::ANTENNA_Y_M,
        "say where the antenna stands across the road, m to the runner's left of the middle",
    );
    let y_m = y.unwrap_or(0.0);
    let facing = match kind_word.as_str() {
        "side_panel" if y_m > 0.0 => Some(-90.0),
        "side_panel" => Some(90.0),
        "mat" => Some(0.0),
        "overhead" => Some(180.0),
        _ => None,
    };
    let antenna = Antenna {
        name: section.name("name").unwrap_or_else(|| format!("antenna {number}")),
        x_m: section.number("x_m", &limits::ANTENNA_X_M).unwrap_or(0.0),
        y_m,
        z_m: from_kind("z_m", &limits::ANTENNA_Z_M, kind.map(|k| k.z_m)),
        azimuth_deg: from_kind("azimuth_deg", &limits::AZIMUTH_DEG, facing),
        elevation_deg: from_kind("elevation_deg", &limits::ELEVATION_DEG, kind.map(|k| k.elevation_deg)),
        gain_dbi: from_kind("gain_dbi", &limits::GAIN_DBI, kind.map(|k| k.gain_dbi + elements.gain_db())),
        horizontal_beamwidth_deg: from_kind(
            "horizontal_beamwidth_deg",
            &limits::BEAMWIDTH_DEG,
            kind.map(|k| k.beamwidth_deg),
        ),
        vertical_beamwidth_deg: from_kind(
            "vertical_beamwidth_deg",
            &limits::BEAMWIDTH_DEG,
            kind.map(|k| k.beamwidth_deg),
        ),
        front_to_back_db: from_kind(
            "front_to_back_db",
            &limits::FRONT_TO_BACK_DB,
            Some(kind.map_or(20.0, |k| k.front_to_back_db)),
        ),
        polarisation: read_polarisation(section),
        elements,
        power_dbm: section
            .number_required(
                "power_dbm",
                &limits::POWER_DBM,
                "say what the reader is set to, dBm; [every_antenna] sets it for all",
            )
            .unwrap_or(0.0),
        cable_loss_db: section.number_or(
            "cable_loss_db",
            &limits::CABLE_LOSS_DB,
            1.0,
            "our estimate, some metres of good coaxial cable",
        ),
    };
    section.finish();
    elements::antennas(antenna, feed)
}

/// Without a kind the geometry has no defaults; all that is missing makes one finding.
fn require_geometry(section: &Section) {
    let needed = [
        "z_m",
        "azimuth_deg",
        "elevation_deg",
        "gain_dbi",
        "horizontal_beamwidth_deg",
        "vertical_beamwidth_deg",
    ];
    let missing: Vec<&str> = needed.into_iter().filter(|key| section.find(key).is_none()).collect();
    if !missing.is_empty() {
        section.missing(
            &missing.join("`, `"),
            "set it, or take the defaults of a kind: mat, side_panel, overhead",
        );
    }
}

fn read_polarisation(section: &Section) -> Polarisation {
    const KEY: &str = "polarisation";
    let words = [
        ("horizontal", Polarisation::Linear { tilt_deg: 0.0 }),
        ("vertical", Polarisation::Linear { tilt_deg: 90.0 }),
        ("circular_right", CIRCULAR),
        ("circular_left", Polarisation::Circular { axial_ratio_db: AXIAL_RATIO_DB, right_handed: false }),
    ];
    let Some(found) = section.find(KEY) else {
        section.walk.assume(
            format!("{}.{KEY}", section.kind),
            format!("circular, axial ratio {AXIAL_RATIO_DB} dB"),
            KIND_SOURCE,
        );
        return CIRCULAR;
    };
    if !found.value.is_table() {
        return section.choice(KEY, &words).unwrap_or(CIRCULAR);
    }
    let table = section.section_of(KEY, &found, KEY);
    let axial_ratio_db = table.number("axial_ratio_db", &limits::AXIAL_RATIO_DB);
    let tilt_deg = table.number("tilt_deg", &limits::TILT_DEG);
    let right_handed = table.choice("hand", &[("right", true), ("left", false)]).unwrap_or(true);
    table.finish();
    table.conflict(
        "tilt_deg",
        "axial_ratio_db",
        "`tilt_deg` is for linear, `axial_ratio_db` for circular polarisation",
        "keep one of the two",
    );
    match (tilt_deg, axial_ratio_db) {
        (Some(tilt_deg), _) => Polarisation::Linear { tilt_deg },
        (None, Some(axial_ratio_db)) => Polarisation::Circular { axial_ratio_db, right_handed },
        (None, None) => {
            if table.find("tilt_deg").is_none() && table.find("axial_ratio_db").is_none() {
                table.missing(
                    "axial_ratio_db",
                    "write { tilt_deg = 0 } or { axial_ratio_db = 3, hand = \"right\" }",
                );
            }
            CIRCULAR
        }
    }
}
