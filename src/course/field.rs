//! The runners: how many, how fast, how tall, where the bib sits.

use super::walk::Section;
use crate::diag::codes;
use crate::limits;
use crate::random::quantity::{Quantity, QuantityForm};
use schemars::JsonSchema;
use serde::Serialize;

/// Where and how the bib is worn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Placement {
    FrontHigh,
    FrontLow,
    Side,
    Back,
    Covered,
    Creased,
}

impl Placement {
    pub const ALL: [Placement; 6] = [
        Placement::FrontHigh,
        Placement::FrontLow,
        Placement::Side,
        Placement::Back,
        Placement::Covered,
        Placement::Creased,
    ];
    pub fn key(self) -> &'static str {
        ["front_high", "front_low", "side", "back", "covered", "creased"][self as usize]
    }
    pub fn words(self) -> &'static str {
        [
            "front, high on the chest",
            "front, low on a belt",
            "on the side",
            "on the back",
            "covered by clothing",
            "creased",
        ][self as usize]
    }
}

/// What a placement does to the tag.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacementRow {
    pub placement: Placement,
    /// Share of the runners, 0..=1; all shares sum to 1.
    pub share: f64,
    /// Added to the mid chest-waist height, m.
    pub height_offset_m: f64,
    /// Yaw of the tag's outward normal from the running direction, degrees (the sign is drawn).
    pub yaw_deg: f64,
    /// Loss of what covers the tag, dB each way.
    pub cover_loss_db: f64,
    /// Turn of the tag's axis from the horizontal in the plane of the chest, degrees.
    pub roll_deg: f64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct RunnerField {
    /// Runners in the race.
    pub runners: u64,
    pub women_share: f64,
    /// Speed at the timing line before the point's own factor, m/s (runner draw).
    pub speed_m_s: Quantity,
    pub stature_men_m: Quantity,
    pub stature_women_m: Quantity,
    /// Mid chest-waist height as a share of stature.
    pub bib_height_share_men: Quantity,
    pub bib_height_share_women: Quantity,
    /// Pins the tag's height above the road, m; `None`: from stature and placement.
    pub tag_height_m: Option<Quantity>,
    /// Forward lean of the trunk, degrees (runner draw).
    pub lean_deg: Quantity,
    /// Yaw offset of the trunk from the running direction, degrees (crossing draw).
    pub yaw_deg: Quantity,
    /// Steps per minute at speed v: base + slope·v.
    pub step_rate_base_per_min: Quantity,
    pub step_rate_slope_per_min_per_m_s: f64,
    pub placements: Vec<PlacementRow>,
}

/// One placement as written.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlacementForm {
    /// Share of the runners. When any share is given, those not given are 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share: Option<f64>,
    /// Added to the mid chest-waist height, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height_offset_m: Option<f64>,
    /// Yaw of the tag from the running direction, degrees; the side is drawn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub yaw_deg: Option<f64>,
    /// Loss of what covers the tag, dB each way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cover_loss_db: Option<f64>,
    /// Turn of the tag's axis in the plane of the chest, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub roll_deg: Option<f64>,
}

/// `[field.placements]` as written.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlacementsForm {
    /// High on the chest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub front_high: Option<PlacementForm>,
    /// Low, on a belt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub front_low: Option<PlacementForm>,
    /// On the side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<PlacementForm>,
    /// On the back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub back: Option<PlacementForm>,
    /// Covered by clothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub covered: Option<PlacementForm>,
    /// Creased.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub creased: Option<PlacementForm>,
}

/// `[field]` as written.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FieldForm {
    /// Runners in the race.
    pub runners: u64,
    /// Share of women.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub women_share: Option<f64>,
    /// Speed of the field, m/s, before a point's own factor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_m_s: Option<QuantityForm>,
    /// Stature of men, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stature_men_m: Option<QuantityForm>,
    /// Stature of women, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stature_women_m: Option<QuantityForm>,
    /// Mid chest-waist height of men, share of stature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bib_height_share_men: Option<QuantityForm>,
    /// Mid chest-waist height of women, share of stature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bib_height_share_women: Option<QuantityForm>,
    /// Pins the tag's height above the road, m; default: from stature and placement.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tag_height_m: Option<QuantityForm>,
    /// Forward lean of the trunk, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lean_deg: Option<QuantityForm>,
    /// Yaw of the trunk from the running direction, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub yaw_deg: Option<QuantityForm>,
    /// Steps per minute at no speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step_rate_base_per_min: Option<QuantityForm>,
    /// More steps per minute for each m/s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step_rate_slope_per_min_per_m_s: Option<f64>,
    /// Where the bib sits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub placements: Option<PlacementsForm>,
}

impl From<&RunnerField> for FieldForm {
    fn from(f: &RunnerField) -> FieldForm {
        let row = |placement: Placement| {
            f.placements.iter().find(|row| row.placement == placement).map(|row| PlacementForm {
                share: Some(row.share),
                height_offset_m: Some(row.height_offset_m),
                yaw_deg: Some(row.yaw_deg),
                cover_loss_db: Some(row.cover_loss_db),
                roll_deg: Some(row.roll_deg),
            })
        };
        FieldForm {
            runners: f.runners,
            women_share: Some(f.women_share),
            speed_m_s: Some(f.speed_m_s.into()),
            stature_men_m: Some(f.stature_men_m.into()),
            stature_women_m: Some(f.stature_women_m.into()),
            bib_height_share_men: Some(f.bib_height_share_men.into()),
            bib_height_share_women: Some(f.bib_height_share_women.into()),
            tag_height_m: f.tag_height_m.map(Into::into),
            lean_deg: Some(f.lean_deg.into()),
            yaw_deg: Some(f.yaw_deg.into()),
            step_rate_base_per_min: Some(f.step_rate_base_per_min.into()),
            step_rate_slope_per_min_per_m_s: Some(f.step_rate_slope_per_min_per_m_s),
            placements: Some(PlacementsForm {
                front_high: row(Placement::FrontHigh),
                front_low: row(Placement::FrontLow),
                side: row(Placement::Side),
                back: row(Placement::Back),
                covered: row(Placement::Covered),
                creased: row(Placement::Creased),
            }),
        }
    }
}

const ANSUR: &str =
    "ANSUR II, 2012, report NATICK/TR-15/007 (4082 men, 1986 women), computed from its public tables";

/// Share, height offset m, yaw °, cover loss dB, roll ° by placement. Source: our estimate.
const PLACEMENTS: [(f64, f64, f64, f64, f64); 6] = [
    (0.78, 0.05, 0.0, 0.0, 0.0),
    (0.14, -0.12, 0.0, 0.0, 0.0),
    (0.03, 0.0, 80.0, 0.0, 0.0),
    (0.02, 0.0, 180.0, 0.0, 0.0),
    (0.03, 0.0, 0.0, 2.0, 0.0),
    (0.0, 0.0, 0.0, 1.0, 30.0),
];

/// Reads `[field]`.
pub fn read(section: &Section) -> RunnerField {
    const OURS: &str = "our estimate";
    let normal = |mean, sd| Quantity::Normal { mean, sd };
    let runners = section.whole("runners", &limits::RUNNERS);
    if section.find("runners").is_none() {
        section.missing("runners", "say how many runners start, for example runners = 2000");
    }
    let field = RunnerField {
        runners: runners.unwrap_or(1),
        women_share: section.number_or("women_share", &limits::SHARE, 0.4, OURS),
        speed_m_s: section.quantity_or(
            "speed_m_s",
            &limits::SPEED_M_S,
            Quantity::LogNormal { median: 2.785, ln_sd: 0.1774 },
            "open result file of a 10-mile race, 2017, 17442 finishers (OpenIntroStat/cherryblossom), computed",
        ),
        stature_men_m: section.quantity_or("stature_men_m", &limits::STATURE_M, normal(1.756, 0.0686), ANSUR),
        stature_women_m: section.quantity_or(
            "stature_women_m",
            &limits::STATURE_M,
            normal(1.6285, 0.0642),
            ANSUR,
        ),
        bib_height_share_men: section.quantity_or(
            "bib_height_share_men",
            &limits::HEIGHT_SHARE,
            normal(0.668, 0.010),
            ANSUR,
        ),
        bib_height_share_women: section.quantity_or(
            "bib_height_share_women",
            &limits::HEIGHT_SHARE,
            normal(0.661, 0.012),
            ANSUR,
        ),
        tag_height_m: section.quantity("tag_height_m", &limits::TAG_HEIGHT_M),
        lean_deg: section.quantity_or(
            "lean_deg",
            &limits::LEAN_DEG,
            normal(7.0, 4.0),
            "Teng and Powers, Med. Sci. Sports Exerc. 47 (2015) 625, upper and lower trunk averaged",
        ),
        yaw_deg: section.quantity_or("yaw_deg", &limits::YAW_DEG, normal(0.0, 8.0), OURS),
        step_rate_base_per_min: section.quantity_or(
            "step_rate_base_per_min",
            &limits::STEP_RATE,
            normal(150.0, 8.0),
            "stride frequency study with wearables, VU Amsterdam, N = 256: 150 + 6.0 v (abstract); the spread is our estimate",
        ),
        step_rate_slope_per_min_per_m_s: section.number_or(
            "step_rate_slope_per_min_per_m_s",
            &limits::STEP_SLOPE,
            6.0,
            "stride frequency study with wearables, VU Amsterdam, N = 256: 150 + 6.0 v (abstract)",
        ),
        placements: read_placements(&section.table("placements", "field.placements")),
    };
    section.finish();
    field
}

fn read_placements(section: &Section) -> Vec<PlacementRow> {
    let tables = Placement::ALL.map(|placement| section.table(placement.key(), "field.placements.placement"));
    let any_share = tables.iter().any(|t| t.find("share").is_some());
    let mut known = true;
    let rows: Vec<PlacementRow> = Placement::ALL
        .into_iter()
        .zip(&tables)
        .map(|(placement, table)| {
            let (share, height, yaw, cover, roll) = PLACEMENTS[placement as usize];
            let stated = table.number("share", &limits::SHARE);
            known &= stated.is_some() || table.find("share").is_none();
            let or = |key: &'static str, limit: &'static limits::Limit, default: f64| {
                table.number(key, limit).unwrap_or(default)
            };
            let row = PlacementRow {
                placement,
                share: stated.unwrap_or(if any_share { 0.0 } else { share }),
                height_offset_m: or("height_offset_m", &limits::HEIGHT_OFFSET_M, height),
                yaw_deg: or("yaw_deg", &limits::PLACEMENT_YAW_DEG, yaw),
                cover_loss_db: or("cover_loss_db", &limits::COVER_LOSS_DB, cover),
                roll_deg: or("roll_deg", &limits::ROLL_DEG, roll),
            };
            table.finish();
            if row.share > 0.0 {
                section.walk.assume(
                    format!("field.placements.{}", placement.key()),
                    format!(
                        "share {}, {:+} m, yaw {}°, cover {} dB, roll {}°",
                        row.share, row.height_offset_m, row.yaw_deg, row.cover_loss_db, row.roll_deg
                    ),
                    if table.is_present() { "set in the scenario" } else { "our estimate" },
                );
            }
            row
        })
        .collect();
    section.finish();
    let sum: f64 = rows.iter().map(|row| row.share).sum();
    if known && (sum - 1.0).abs() > 1e-6 {
        let list: Vec<_> = rows.iter().map(|r| format!("{} {}", r.placement.key(), r.share)).collect();
        section.walk.note(
            section
                .walk
                .error(
                    codes::SHARES_SUM,
                    &section.span,
                    format!("placement shares add up to {sum:.4}, not 1"),
                )
                .label("shares of one field")
                .help(format!("in force: {}", list.join(", ")))
                .help("when any share is given, those not given are 0"),
        );
    }
    rows
}
