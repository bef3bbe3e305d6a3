//! An estimate under watch: broken off within a fraction of a second, and taken up again from the blocks that are done.
//!
//! The second stage is cut into blocks of passings, replication by replication. A block is a pure function of the problem, the
//! request and its place, and blocks are folded in their order. So a stage taken up again adds up to the same bytes. Only whole
//! replications are alike, so only they tell something when a stage is broken off.

use super::Estimate;
use super::tally::WeightedTally;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// Passings between two looks at the wish to stop.
const BLOCK: u64 = 256;
/// Blocks for each thread before the work is told (and may be saved).
const WAVE: u64 = 8;
/// Fewest whole replications whose spread says something.
const FEWEST: usize = 3;

/// A second stage as far as it has come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// Method and number of the try.
    pub name: String,
    pub replications: u64,
    /// Passings in each replication.
    pub each: u64,
    /// Blocks done: the first ones, replication by replication.
    pub blocks: u64,
    /// What each replication begun adds up to so far.
    pub tallies: Vec<Vec<WeightedTally>>,
}

impl Stage {
    fn new(name: &str, replications: u64, each: u64) -> Stage {
        Stage { name: name.to_owned(), replications, each, blocks: 0, tallies: Vec::new() }
    }

    /// Passings planned in all.
    pub fn planned(&self) -> u64 {
        self.replications * self.each
    }

    /// Passings done.
    pub fn done(&self) -> u64 {
        self.tallies.iter().filter_map(|sums| sums.first()).map(|sum| sum.n).sum()
    }

    fn blocks_each(&self) -> u64 {
        self.each.div_ceil(BLOCK)
    }

    /// Replication and passings within it of a block.
    fn place(&self, block: u64) -> (u64, Range<u64>) {
        let first = block % self.blocks_each() * BLOCK;
        (block / self.blocks_each(), first..(first + BLOCK).min(self.each))
    }

    fn fold(&mut self, part: Vec<WeightedTally>) {
        let (replication, _) = self.place(self.blocks);
        if replication as usize == self.tallies.len() {
            self.tallies.push(vec![WeightedTally::default(); part.len()]);
        }
        if let Some(sums) = self.tallies.last_mut() {
            sums.iter_mut().zip(&part).for_each(|(sum, more)| sum.merge(more));
        }
        self.blocks += 1;
    }

    /// The replications that are done.
    fn whole(&self) -> &[Vec<WeightedTally>] {
        &self.tallies[..((self.blocks / self.blocks_each()) as usize).min(self.tallies.len())]
    }

    /// Whether this is the work of a stage of the same shape.
    fn goes_with(&self, other: &Stage, columns: usize) -> bool {
        (self.replications, self.each) == (other.replications, other.each)
            && self.blocks <= self.replications * self.blocks_each()
            && self.tallies.len() as u64 == self.blocks.div_ceil(self.blocks_each())
            && self.tallies.iter().all(|sums| sums.len() == columns)
    }
}

/// Somebody asked to stop while a pilot was at work: nothing is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Halt;

/// Somebody asked to stop.
#[derive(Clone, Debug)]
pub struct BrokenOff {
    /// What the whole replications so far say, where there are enough of them and nothing speaks against them.
    pub so_far: Option<Box<Estimate>>,
}

impl From<Halt> for BrokenOff {
    fn from(_: Halt) -> BrokenOff {
        BrokenOff { so_far: None }
    }
}

/// Who watches an estimate.
pub struct Watch<'a> {
    /// Asked often, by all threads.
    pub stop: &'a (dyn Fn() -> bool + Sync),
    /// Stages done or begun, also by an earlier start.
    pub stages: Vec<Stage>,
    /// Told of the stages while they grow.
    pub tell: &'a mut dyn FnMut(&[Stage]),
}

impl Watch<'_> {
    pub fn stopped(&self) -> bool {
        (self.stop)()
    }

    /// Tallies of every replication of a second stage; or, broken off, of those that are done. `work` adds up the passings in a
    /// range of one replication into `columns` tallies.
    pub fn second_stage(
        &mut self,
        name: &str,
        (replications, each): (u64, u64),
        columns: usize,
        work: impl Fn(u64, Range<u64>, &mut [WeightedTally]) + Sync,
    ) -> Result<Vec<Vec<WeightedTally>>, Vec<Vec<WeightedTally>>> {
        let blank = Stage::new(name, replications, each);
        let at = match self.stages.iter().position(|stage| stage.name == name) {
            Some(at) if self.stages[at].goes_with(&blank, columns) => at,
            Some(at) => {
                self.stages[at] = blank;
                at
            }
            None => {
                self.stages.push(blank);
                self.stages.len() - 1
            }
        };
        let all = replications * self.stages[at].blocks_each();
        let stop = self.stop;
        while self.stages[at].blocks < all && !stop() {
            let stage = &self.stages[at];
            let end = (stage.blocks + WAVE * rayon::current_num_threads() as u64).min(all);
            let wave: Vec<Option<Vec<WeightedTally>>> = (stage.blocks..end)
                .into_par_iter()
                .map(|block| {
                    if stop() {
                        return None;
                    }
                    let (replication, within) = stage.place(block);
                    let mut sums = vec![WeightedTally::default(); columns];
                    work(replication, within, &mut sums);
                    Some(sums)
                })
                .collect();
            wave.into_iter().map_while(|part| part).for_each(|part| self.stages[at].fold(part));
            (self.tell)(&self.stages);
        }
        let stage = &self.stages[at];
        let whole = stage.whole().to_vec();
        if stage.blocks >= all { Ok(whole) } else { Err(whole) }
    }
}

/// What to make of a stage that was broken off: `judged` of its whole replications, marked as such.
pub fn so_far(
    whole: &[Vec<WeightedTally>],
    planned: usize,
    judged: impl FnOnce(&[Vec<WeightedTally>]) -> Option<Estimate>,
) -> BrokenOff {
    if whole.len() < FEWEST {
        return BrokenOff { so_far: None };
    }
    let note =
        format!("broken off after {} of {planned} replications, so its interval is wider", whole.len());
    let estimate = judged(whole).map(|mut estimate| {
        estimate.notes.push(note);
        Box::new(estimate)
    });
    BrokenOff { so_far: estimate }
}

/// Numbers that JSON does not know (infinities), as text that reads back to the same bits.
pub mod any_number {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(value: &f64, out: S) -> Result<S::Ok, S::Error> {
        out.collect_str(value)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
        let text = String::deserialize(from)?;
        text.parse().map_err(|_| D::Error::custom(format!("`{text}` is no number")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicU64, Ordering};

    fn count(_: u64, within: Range<u64>, sums: &mut [WeightedTally]) {
        within.for_each(|i| sums[0].add(1.0 / (1.0 + i as f64)));
    }

    /// Broken off after every possible number of looks and taken up again, the tallies are the same bits.
    #[test]
    fn taken_up_again_a_stage_adds_up_to_the_same_bits() {
        let shape = (5, 3 * BLOCK + 7);
        let mut straight = Watch { stop: &|| false, stages: Vec::new(), tell: &mut |_: &[Stage]| {} };
        let expected = straight.second_stage("x", shape, 1, count).expect("nobody stops it");
        assert_eq!(expected.len(), 5);
        for looks in 1..24 {
            let (left, mut starts) = (AtomicU64::new(looks), 0);
            let stop = || left.fetch_sub(1, Ordering::Relaxed) == 0;
            let mut watch = Watch { stop: &stop, stages: Vec::new(), tell: &mut |_: &[Stage]| {} };
            let got = loop {
                starts += 1;
                match watch.second_stage("x", shape, 1, count) {
                    Ok(got) => break got,
                    Err(whole) => assert!(whole.len() < 5 && whole == expected[..whole.len()]),
                }
                let text = serde_json::to_string(&watch.stages).expect("plain data");
                watch.stages = serde_json::from_str(&text).expect("what was written");
                left.store(looks + starts, Ordering::Relaxed);
                assert!(starts < 100, "it never ends");
            };
            assert_eq!(got, expected);
        }
    }
}
