//! The runners: how many, how fast, how tall, where the bib sits.

use crate::random::quantity::Quantity;

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
#[derive(Clone, Debug)]
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

#[derive(Clone, Debug)]
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
