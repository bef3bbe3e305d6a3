//! Worlds: one draw of everything nobody has measured, shared by every race of a season.
//!
//! A belief (diffuse level, body loss, cling …), the laboratory's bias and the error of a handful of samples do not change from race to
//! race, so a season's total must not average over them as if they did. World w fixes them once for all races. What does
//! change from day to day (wetness of the bibs, water on the road) is the race's own.
//!
//! A tag's batch offset, the error of its samples' mean and its spread belong to that tag: they come from a stream named by
//! the tag, so two tags do not share them. All the rest is common to all tags, with every passing's draw.

use crate::course::Course;
use crate::passing::RaceDraw;
use crate::passing::draw::RACE_DIMS;
use crate::random::transform::normal_quantile;
use crate::random::{Purpose, Stream};
use crate::tag::Tag;

/// Places in the race draw's point of the unit cube (see `passing::draw`).
const DAY: [usize; 2] = [0, 10];
const SHARED: [usize; 5] = [1, 2, 3, 4, 8];
const OF_TAG: [usize; 5] = [5, 6, 7, 9, 11];

/// Something unknown that a measurement could tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    pub name: &'static str,
    /// Place in the race draw's point.
    pub dim: usize,
    /// Belongs to each tag by itself.
    pub of_tag: bool,
    /// How one would come to know it.
    pub how: &'static str,
}

/// Unknowns that one world fixes.
pub const UNKNOWNS: [Unknown; 8] = [
    Unknown {
        name: "how little the surroundings scatter",
        dim: 1,
        of_tag: false,
        how: "log received power along a walk past the line at one of the sites",
    },
    Unknown {
        name: "crosswise response of the tag",
        dim: 2,
        of_tag: false,
        how: "turn a tag by 90 degrees in the chamber and measure its threshold",
    },
    Unknown {
        name: "how closely bibs cling",
        dim: 3,
        of_tag: false,
        how: "measure the air gap behind the bibs of some runners, dry and soaked",
    },
    Unknown {
        name: "body loss beyond the phantom",
        dim: 4,
        of_tag: false,
        how: "measure thresholds on a few people beside the phantom",
    },
    Unknown {
        name: "laboratory bias",
        dim: 8,
        of_tag: false,
        how: "measure a reference antenna or tag in the chamber",
    },
    Unknown { name: "batch offset", dim: 5, of_tag: true, how: "measure samples from the delivered batch" },
    Unknown { name: "average sample", dim: 7, of_tag: true, how: "measure more samples" },
    Unknown { name: "spread between samples", dim: 6, of_tag: true, how: "measure more samples" },
];

/// Name of a tag's own streams: FNV-1a, 32 bits (G. Fowler, L. C. Noll, K.-P. Vo).
fn place_of(tag_name: &str) -> u64 {
    u64::from(tag_name.bytes().fold(0x811c_9dc5_u32, |h, b| (h ^ u32::from(b)).wrapping_mul(0x0100_0193)))
}

/// Point of the unit cube behind a race draw: day numbers from `race`, shared numbers from `world`, the tag's own from its name.
pub fn race_point(tag_name: &str, seed: u64, world: u64, race: u64) -> [f64; RACE_DIMS] {
    let fill = |stream: &mut Stream| -> [f64; RACE_DIMS] { std::array::from_fn(|_| stream.uniform()) };
    let mut point = fill(&mut Stream::new(seed, Purpose::Race, 0, race, 0));
    let shared = fill(&mut Stream::new(seed, Purpose::Study, 0, world, 0));
    let own = fill(&mut Stream::new(seed, Purpose::Study, place_of(tag_name), world, 1));
    debug_assert_eq!(DAY.len() + SHARED.len() + OF_TAG.len(), RACE_DIMS);
    for dim in SHARED {
        point[dim] = shared[dim];
    }
    for dim in OF_TAG {
        point[dim] = own[dim];
    }
    point
}

/// The draw of one race of a world.
pub fn race_draw(course: &Course, tag: &Tag, seed: u64, world: u64, race: u64) -> RaceDraw {
    RaceDraw::from_uniforms(course, tag, race, &race_point(&tag.name, seed, world, race))
}

/// Normal score of an unknown in a world (the same for every race).
pub fn score_of(unknown: &Unknown, tag_name: &str, seed: u64, world: u64) -> f64 {
    normal_quantile(race_point(tag_name, seed, world, 0)[unknown.dim])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_world_is_shared_by_its_races_and_tags_keep_their_own() {
        let point = |tag, world, race| race_point(tag, 7, world, race);
        let (here, there) = (point("alder", 3, 10), point("alder", 3, 11));
        let other = point("birch", 3, 10);
        for dim in DAY {
            assert_ne!(here[dim], there[dim]);
            assert_eq!(here[dim], other[dim]);
        }
        for dim in SHARED {
            assert_eq!(here[dim], there[dim]);
            assert_eq!(here[dim], other[dim]);
            assert_ne!(here[dim], point("alder", 4, 10)[dim]);
        }
        for dim in OF_TAG {
            assert_eq!(here[dim], there[dim]);
            assert_ne!(here[dim], other[dim]);
        }
        for unknown in &UNKNOWNS {
            let list: &[usize] = if unknown.of_tag { &OF_TAG } else { &SHARED };
            assert!(list.contains(&unknown.dim), "{}", unknown.name);
        }
    }
}
