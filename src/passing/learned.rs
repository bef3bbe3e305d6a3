//! Learned beliefs: whole vectors of what nobody knows, weighted by how well they explain the counts of past races and trials.
//!
//! A vector is a point of the unit cube of `unknowns`; only what is the same in all races counts in it. Vectors come in groups that share
//! all that only passings tell, as a world does: a world is a group, its levels are vectors of the group. Whole vectors are kept, never a new range for
//! each belief alone: what one race teaches is mostly which *combinations* are possible.

use super::draw::RACE_DIMS;
use super::unknowns::{Layer, UNKNOWNS};

/// One vector.
#[derive(Clone, Debug, PartialEq)]
pub struct Vector {
    pub group: usize,
    /// More than 0; all sum to 1.
    pub weight: f64,
    pub u: [f64; RACE_DIMS],
}

/// A law of worlds in place of the one the scenario and the tag give.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    /// Group by group.
    vectors: Vec<Vector>,
    /// First vector of each group, and one past the last.
    first: Vec<usize>,
    /// Weight of all groups up to each, the last 1.
    reached: Vec<f64>,
    /// Whether it was learned with the tag in use: if not, what belongs to a tag is left as it was.
    pub same_tag: bool,
}

impl Learned {
    /// Of vectors that stand group by group; `None` without any weight.
    pub fn new(vectors: Vec<Vector>, same_tag: bool) -> Option<Learned> {
        let total: f64 = vectors.iter().map(|v| v.weight).sum();
        if !(total > 0.0) {
            return None;
        }
        let (mut first, mut reached, mut sum) = (Vec::new(), Vec::new(), 0.0);
        for (i, vector) in vectors.iter().enumerate() {
            if i == 0 || vectors[i - 1].group != vector.group {
                first.push(i);
                reached.push(0.0);
            }
            sum += vector.weight / total;
            *reached.last_mut().expect("a group is open") = sum;
        }
        first.push(vectors.len());
        Some(Learned { vectors, first, reached, same_tag })
    }

    pub fn groups(&self) -> usize {
        self.reached.len()
    }

    /// Puts what only passings tell of the group at `pick` (0 to 1, by weight) into `u`.
    pub fn world(&self, pick: f64, u: &mut [f64; RACE_DIMS]) {
        self.put(self.first[self.group(pick)], u);
    }

    /// Puts a vector of the group at `pick` into `u`, the one at `level_pick` (0 to 1, by weight) among them.
    pub fn level(&self, pick: f64, level_pick: f64, u: &mut [f64; RACE_DIMS]) {
        let group = self.group(pick);
        let members = &self.vectors[self.first[group]..self.first[group + 1]];
        let total: f64 = members.iter().map(|v| v.weight).sum();
        let mut below = 0.0;
        let chosen = members.iter().position(|v| {
            below += v.weight;
            below >= level_pick * total
        });
        self.put(self.first[group] + chosen.unwrap_or(members.len() - 1), u);
    }

    /// Number of the group at `pick`.
    pub fn group(&self, pick: f64) -> usize {
        self.reached.partition_point(|&sum| sum < pick).min(self.groups() - 1)
    }

    fn put(&self, vector: usize, u: &mut [f64; RACE_DIMS]) {
        let kept = |dim: &usize| {
            let unknown = &UNKNOWNS[*dim];
            unknown.layer == Layer::NobodyKnows && (self.same_tag || !unknown.of_tag)
        };
        (0..RACE_DIMS).filter(kept).for_each(|dim| u[dim] = self.vectors[vector].u[dim]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vector(group: usize, weight: f64, value: f64) -> Vector {
        Vector { group, weight, u: [value; RACE_DIMS] }
    }

    #[test]
    fn groups_and_their_vectors_are_picked_by_weight() {
        let vectors = vec![vector(0, 0.1, 0.1), vector(0, 0.3, 0.2), vector(4, 0.6, 0.3)];
        let learned = Learned::new(vectors, true).unwrap();
        assert_eq!(learned.groups(), 2);
        let at = |pick: f64, level_pick: f64| {
            let mut u = [0.9; RACE_DIMS];
            learned.level(pick, level_pick, &mut u);
            // What is of the day stays.
            assert_eq!((u[0], u[5], u[10], u[14]), (0.9, 0.9, 0.9, 0.9));
            u[1]
        };
        assert_eq!((at(0.05, 0.2), at(0.39, 0.3), at(0.41, 0.3), at(0.99, 0.99)), (0.1, 0.2, 0.3, 0.3));
        assert!(Learned::new(Vec::new(), true).is_none());
    }

    #[test]
    fn another_tag_keeps_what_is_its_own() {
        let learned = Learned::new(vec![vector(0, 1.0, 0.2)], false).unwrap();
        let mut u = [0.9; RACE_DIMS];
        learned.level(0.5, 0.5, &mut u);
        // Scatter loss is common, the tag's crosswise response and the error of its samples are not.
        assert_eq!((u[1], u[2], u[7], u[8]), (0.2, 0.9, 0.9, 0.2));
    }
}
