//! Beliefs: quantities nobody has measured yet, each with a range. One race draws one value of each
//! race belief; a passing draws the rest. Every belief in force is listed in every report.

use super::walk::Section;
use super::weather::Wetness;
use crate::limits;
use crate::random::quantity::{Quantity, QuantityForm};
use schemars::JsonSchema;
use serde::Serialize;

/// Gap, resonance shift and film loss of one wetness class.
#[derive(Clone, Debug, PartialEq)]
pub struct WetnessBelief {
    /// Air gap behind the tag's own spacer, mm (passing draw).
    pub air_gap_mm: Quantity,
    /// How far water lowers the tag's resonance, MHz (passing draw).
    pub resonance_shift_mhz: Quantity,
    /// Loss of the water film on the tag, dB each way (passing draw).
    pub film_loss_db: Quantity,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Beliefs {
    /// By wetness: dry, damp, soaked.
    pub wetness: [WetnessBelief; 3],
    /// Loss of all scattered waves together against a free path of their length, for all the power radiated, dB (race draw).
    pub scatter_loss_db: Quantity,
    /// Mean detour of the scattered waves, m (passing draw of each wave is exponential with this mean).
    pub scatter_detour_m: f64,
    /// Crosswise response of a bent or meandered tag, dB below the one along its axis (race draw; its phase is the sample's own).
    pub cross_polar_db: Quantity,
    /// Radius of the torso behind the tag, m (passing draw).
    pub torso_radius_m: Quantity,
    /// Time under power a tag needs before it hears a Query, ms (race draw).
    pub start_up_ms: Quantity,
    /// Factor on every air gap of a race: how much bibs cling that day (race draw).
    pub cling_factor: Quantity,
    /// How much more a body costs than the phantom, dB at zero gap, fading with the closeness (race draw).
    pub body_loss_db: Quantity,
    /// Common error of the batch against the samples beyond what their number explains, dB (race draw).
    pub batch_offset_db: Quantity,
    /// Depth of the gap flutter at step rate, share of the gap (passing draw).
    pub flutter_share: Quantity,
    /// Amplitude of the trunk's yaw sway at stride rate, degrees (passing draw).
    pub sway_deg: Quantity,
    /// Amplitude of the vertical bounce at step rate, m (passing draw).
    pub bounce_m: Quantity,
    /// Offset of a sample from the average sample, dB; `None`: from the lab's samples (passing draw).
    pub sample_offset_db: Option<Quantity>,
    /// Least sample spread assumed whatever the samples say, dB (standard deviation).
    pub sample_offset_floor_db: f64,
}

macro_rules! quantity_form {
    ($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Default, Serialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$field_doc])* #[serde(skip_serializing_if = "Option::is_none")] pub $field: Option<QuantityForm>,)*
        }
    };
}

quantity_form! {
    /// One wetness class as written.
    WetnessForm {
        /// Air gap behind the tag's own spacer, mm.
        air_gap_mm,
        /// How far water lowers the tag's resonance, MHz.
        resonance_shift_mhz,
        /// Loss of the water film on the tag, dB each way.
        film_loss_db,
    }
}

/// `[beliefs]` as written.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BeliefsForm {
    /// Loss of all scattered waves together against a free path of their length, dB; negative: more than one such path.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scatter_loss_db: Option<QuantityForm>,
    /// Mean detour of a scattered wave, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scatter_detour_m: Option<f64>,
    /// Crosswise response of the tag, dB below the one along its axis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cross_polar_db: Option<QuantityForm>,
    /// Radius of the torso behind the tag, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub torso_radius_m: Option<QuantityForm>,
    /// Time under power a tag needs before it hears a Query, ms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_up_ms: Option<QuantityForm>,
    /// Factor on every air gap of a race.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cling_factor: Option<QuantityForm>,
    /// How much more a body costs than the phantom, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub body_loss_db: Option<QuantityForm>,
    /// Common error of the batch against the samples, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch_offset_db: Option<QuantityForm>,
    /// Depth of the gap flutter, share of the gap.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flutter_share: Option<QuantityForm>,
    /// Amplitude of the trunk's yaw sway, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sway_deg: Option<QuantityForm>,
    /// Amplitude of the vertical bounce, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bounce_m: Option<QuantityForm>,
    /// Offset of a tag from the average tag, dB; default: from the lab's samples.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sample_offset_db: Option<QuantityForm>,
    /// Least spread between tags whatever the samples say, dB (standard deviation).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sample_offset_floor_db: Option<f64>,
    /// Dry bibs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dry: Option<WetnessForm>,
    /// Damp bibs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub damp: Option<WetnessForm>,
    /// Soaked bibs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub soaked: Option<WetnessForm>,
}

impl From<&Beliefs> for BeliefsForm {
    fn from(b: &Beliefs) -> BeliefsForm {
        let wet = |wetness: Wetness| {
            let belief = &b.wetness[wetness as usize];
            Some(WetnessForm {
                air_gap_mm: Some(belief.air_gap_mm.into()),
                resonance_shift_mhz: Some(belief.resonance_shift_mhz.into()),
                film_loss_db: Some(belief.film_loss_db.into()),
            })
        };
        BeliefsForm {
            scatter_loss_db: Some(b.scatter_loss_db.into()),
            scatter_detour_m: Some(b.scatter_detour_m),
            cross_polar_db: Some(b.cross_polar_db.into()),
            torso_radius_m: Some(b.torso_radius_m.into()),
            start_up_ms: Some(b.start_up_ms.into()),
            cling_factor: Some(b.cling_factor.into()),
            body_loss_db: Some(b.body_loss_db.into()),
            batch_offset_db: Some(b.batch_offset_db.into()),
            flutter_share: Some(b.flutter_share.into()),
            sway_deg: Some(b.sway_deg.into()),
            bounce_m: Some(b.bounce_m.into()),
            sample_offset_db: b.sample_offset_db.map(Into::into),
            sample_offset_floor_db: Some(b.sample_offset_floor_db),
            dry: wet(Wetness::Dry),
            damp: wet(Wetness::Damp),
            soaked: wet(Wetness::Soaked),
        }
    }
}

const OURS: &str = "our estimate";

const fn uniform(min: f64, max: f64) -> Quantity {
    Quantity::Uniform { min, max }
}

/// Air gap, resonance shift and film loss of dry, damp and soaked bibs: a class value times 0.5 to 1.5.
/// Source: our estimate; only far-field losses of water sheets are established.
const WETNESS: [WetnessBelief; 3] = [
    WetnessBelief {
        air_gap_mm: Quantity::LogNormal { median: 8.0, ln_sd: 0.5 },
        resonance_shift_mhz: Quantity::Pinned(0.0),
        film_loss_db: Quantity::Pinned(0.0),
    },
    WetnessBelief {
        air_gap_mm: Quantity::LogNormal { median: 5.0, ln_sd: 0.6 },
        resonance_shift_mhz: uniform(2.0, 6.0),
        film_loss_db: uniform(0.15, 0.45),
    },
    WetnessBelief {
        air_gap_mm: Quantity::LogNormal { median: 2.0, ln_sd: 0.7 },
        resonance_shift_mhz: uniform(5.0, 15.0),
        film_loss_db: uniform(0.5, 1.5),
    },
];

fn read_wetness(section: &Section, wetness: Wetness) -> WetnessBelief {
    let class = &WETNESS[wetness as usize];
    let belief = WetnessBelief {
        air_gap_mm: section.belief("air_gap_mm", &limits::GAP_MM, class.air_gap_mm, OURS),
        resonance_shift_mhz: section.belief(
            "resonance_shift_mhz",
            &limits::SHIFT_MHZ,
            class.resonance_shift_mhz,
            OURS,
        ),
        film_loss_db: section.belief("film_loss_db", &limits::FILM_LOSS_DB, class.film_loss_db, OURS),
    };
    section.finish();
    belief
}

/// Reads `[beliefs]`.
pub fn read(section: &Section) -> Beliefs {
    let normal = |mean, sd| Quantity::Normal { mean, sd };
    let beliefs = Beliefs {
        wetness: [
            read_wetness(&section.table("dry", "beliefs.dry"), Wetness::Dry),
            read_wetness(&section.table("damp", "beliefs.damp"), Wetness::Damp),
            read_wetness(&section.table("soaked", "beliefs.soaked"), Wetness::Soaked),
        ],
        scatter_loss_db: section.belief(
            "scatter_loss_db",
            &limits::SCATTER_LOSS_DB,
            uniform(-8.0, 4.0),
            OURS,
        ),
        scatter_detour_m: section.number_or("scatter_detour_m", &limits::SCATTER_DETOUR_M, 6.0, OURS),
        cross_polar_db: section.belief(
            "cross_polar_db",
            &limits::CROSS_POLAR_DB,
            uniform(10.0, 20.0),
            "our estimate: bib antennas are bent and meandered",
        ),
        torso_radius_m: section.belief(
            "torso_radius_m",
            &limits::TORSO_RADIUS_M,
            uniform(0.12, 0.17),
            "our estimate: chests of 75 to 107 cm round",
        ),
        start_up_ms: section.belief("start_up_ms", &limits::START_UP_MS, uniform(1.0, 3.0), OURS),
        cling_factor: section.belief("cling_factor", &limits::CLING, uniform(0.75, 1.33), OURS),
        body_loss_db: section.belief("body_loss_db", &limits::BODY_LOSS_DB, normal(0.0, 1.0), OURS),
        batch_offset_db: section.belief("batch_offset_db", &limits::BATCH_DB, normal(0.0, 0.3), OURS),
        flutter_share: section.belief("flutter_share", &limits::FLUTTER, uniform(0.1, 0.5), OURS),
        sway_deg: section.belief("sway_deg", &limits::SWAY_DEG, normal(8.0, 3.0), OURS),
        bounce_m: section.belief(
            "bounce_m",
            &limits::BOUNCE_M,
            Quantity::Pinned(0.04),
            "6 to 10 cm peak to peak, from memory",
        ),
        sample_offset_db: section.quantity("sample_offset_db", &limits::SAMPLE_OFFSET_DB),
        sample_offset_floor_db: section.number_or(
            "sample_offset_floor_db",
            &limits::SAMPLE_FLOOR_DB,
            0.8,
            OURS,
        ),
    };
    if let Some(quantity) = beliefs.sample_offset_db {
        section.walk.assume(
            "beliefs.sample_offset_db".to_owned(),
            format!("{quantity} dB"),
            "set in the scenario",
        );
    }
    section.finish();
    beliefs
}
