//! What a race day does not know beforehand: one list for every command, page and file.
//!
//! Two layers. *Nobody knows*: the same in every race of a season until somebody measures it. *Of the day*: weather, batch, crowd;
//! drawn afresh for every race. And three ways into the odds: some need passings of their own; a shift of every threshold and the
//! spread between tags are read off the staircase of margins (`estimate::offsets`); shares of runners are weights of the strata.

use super::draw::{RACE_DIMS, RaceDraw};

/// Whether an unknown is the same for all races of a season.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layer {
    NobodyKnows,
    OfTheDay,
}

/// How an unknown enters the miss odds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Enters {
    /// Only passings tell what it does.
    Passings,
    /// It moves every threshold, or the law of the tags about the average one.
    Threshold,
    /// It shares out the runners over the strata.
    Shares,
}

/// One unknown of a race day; `dim` is its place in the race draw's point of the unit cube.
#[derive(Clone, Copy)]
pub struct Unknown {
    pub dim: usize,
    pub key: &'static str,
    pub name: &'static str,
    pub unit: &'static str,
    pub layer: Layer,
    pub enters: Enters,
    /// Belongs to each tag by itself.
    pub of_tag: bool,
    /// How one would come to know it.
    pub measure: &'static str,
    pub value: fn(&RaceDraw) -> f64,
}

/// Key of the thresholds that nobody could measure.
pub const OPEN_KEY: &str = "open_threshold_db";

/// Key of how far races differ beyond the model.
pub const RACE_EFFECT_KEY: &str = "race_effect_sd_db";

/// All unknowns, by dimension.
pub const UNKNOWNS: [Unknown; RACE_DIMS] = [
    Unknown {
        dim: 0,
        key: "soaked_share",
        name: "share of soaked bibs on the day",
        unit: "",
        layer: Layer::OfTheDay,
        enters: Enters::Shares,
        of_tag: false,
        measure: "count wet bibs in a sample of finishers",
        value: |d| d.wetness_shares[2],
    },
    Unknown {
        dim: 1,
        key: "scatter_loss_db",
        name: "how little the surroundings scatter (scatter loss)",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: false,
        measure: "log received power along a walk past the line at one of the sites",
        value: |d| d.scatter_loss_db,
    },
    Unknown {
        dim: 2,
        key: "cross_polar_db",
        name: "crosswise response of the tag (dB below its own)",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: true,
        measure: "turn a tag by 90 degrees in the chamber and measure its threshold",
        value: |d| d.cross_polar_db,
    },
    Unknown {
        dim: 3,
        key: "cling_factor",
        name: "how closely bibs cling (factor on the air gap)",
        unit: "",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: false,
        measure: "measure the air gap behind the bibs of some runners, dry and soaked",
        value: |d| d.cling_factor,
    },
    Unknown {
        dim: 4,
        key: "body_loss_db",
        name: "loss of a body beyond the phantom's",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: false,
        measure: "measure thresholds on a few people beside the phantom",
        value: |d| d.body_loss_db,
    },
    Unknown {
        dim: 5,
        key: "batch_offset_db",
        name: "offset of the batch",
        unit: "dB",
        layer: Layer::OfTheDay,
        enters: Enters::Threshold,
        of_tag: true,
        measure: "measure samples from the delivered batch",
        value: |d| d.batch_offset_db,
    },
    Unknown {
        dim: 6,
        key: "sample_offset_sd_db",
        name: "spread between tags of a batch",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Threshold,
        of_tag: true,
        measure: "measure more samples",
        value: |d| d.sample_offset_sd_db,
    },
    Unknown {
        dim: 7,
        key: "sample_mean_error_db",
        name: "error of the average sample",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Threshold,
        of_tag: true,
        measure: "measure more samples",
        value: |d| d.sample_mean_error_db,
    },
    Unknown {
        dim: 8,
        key: "lab_bias_db",
        name: "bias of the laboratory",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Threshold,
        of_tag: false,
        measure: "measure a reference antenna or tag in the chamber",
        value: |d| d.lab_bias_db,
    },
    Unknown {
        dim: 9,
        key: "sample_shift_sd_mhz",
        name: "spread of the tags' resonances",
        unit: "MHz",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: true,
        measure: "measure more samples",
        value: |d| d.sample_shift_sd_mhz,
    },
    Unknown {
        dim: 10,
        key: "film_rank",
        name: "water standing on the road (rank)",
        unit: "",
        layer: Layer::OfTheDay,
        enters: Enters::Passings,
        of_tag: false,
        measure: "measure the film on the road on a wet day",
        value: |d| d.film_rank,
    },
    Unknown {
        dim: 11,
        key: "start_up_ms",
        name: "time a tag needs to start up",
        unit: "ms",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: true,
        measure: "switch the carrier on ever later before a Query in the chamber",
        value: |d| d.start_up_ms,
    },
    Unknown {
        dim: 12,
        key: OPEN_KEY,
        name: "thresholds at which no sample woke",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Passings,
        of_tag: true,
        measure: "sweep that mount again with more power",
        value: |d| d.open_threshold_db,
    },
    Unknown {
        dim: 13,
        key: RACE_EFFECT_KEY,
        name: "how far races differ beyond the model",
        unit: "dB",
        layer: Layer::NobodyKnows,
        enters: Enters::Threshold,
        of_tag: false,
        measure: "learn from the counts of more races",
        value: |d| d.race_effect_sd_db,
    },
    Unknown {
        dim: 14,
        key: "race_effect_db",
        name: "what the race has beyond the model",
        unit: "dB",
        layer: Layer::OfTheDay,
        enters: Enters::Threshold,
        of_tag: false,
        measure: "keep the counts of every race, and what was odd about the day",
        value: |d| d.race_effect_db,
    },
];

/// Dimensions whose law belongs to each tag by itself.
pub fn of_tag() -> impl Iterator<Item = usize> {
    UNKNOWNS.iter().filter(|u| u.of_tag).map(|u| u.dim)
}

/// Dimensions that only passings tell.
pub fn by_passings() -> impl Iterator<Item = usize> {
    UNKNOWNS.iter().filter(|u| u.enters == Enters::Passings).map(|u| u.dim)
}

/// Dimensions read off without passings, of one layer.
pub fn read_off(layer: Layer) -> impl Iterator<Item = usize> {
    UNKNOWNS.iter().filter(move |u| u.layer == layer && u.enters != Enters::Passings).map(|u| u.dim)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_complete_and_in_order() {
        for (dim, unknown) in UNKNOWNS.iter().enumerate() {
            assert_eq!(unknown.dim, dim);
        }
        let mut keys: Vec<&str> = UNKNOWNS.iter().map(|u| u.key).collect();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), RACE_DIMS);
    }
}
