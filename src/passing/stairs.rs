//! The rounds that can matter: a staircase kept short while rounds come in any order.
//!
//! Sorted by falling margin, once the product of (1 − p) over the rounds above some margin L is below 1e-10, rounds with
//! a smaller margin change the miss odds by less than 1e-10 whatever the sample's offset is. So only the rounds
//! above L are kept, and a round whose margin surely lies below L need not be worked out. L only rises.

use super::score::{NOTHING_LEFT, Round};
use crate::units::db_to_amplitude_ratio;

/// Rounds by falling margin, cut where nothing is left to miss.
#[derive(Clone, Debug, Default)]
pub struct Stairs {
    rounds: Vec<Round>,
    /// Rounds below this margin do not matter; −∞ until the staircase is long enough.
    floor_db: f64,
    /// The floor as an amplitude ratio.
    floor_amplitude: f64,
}

impl Stairs {
    pub fn clear(&mut self) {
        self.rounds.clear();
        self.floor_db = f64::NEG_INFINITY;
        self.floor_amplitude = 0.0;
    }

    /// Margin below which a further round does not matter, dB.
    pub fn floor_db(&self) -> f64 {
        self.floor_db
    }

    /// The floor as an amplitude ratio; 0 while there is none.
    pub fn floor_amplitude(&self) -> f64 {
        self.floor_amplitude
    }

    pub fn rounds(&self) -> &[Round] {
        &self.rounds
    }

    /// Takes a round in its place; cuts the tail that no longer matters.
    pub fn add(&mut self, round: Round) {
        if round.margin_db < self.floor_db {
            return;
        }
        let at = self.rounds.partition_point(|r| r.margin_db >= round.margin_db);
        self.rounds.insert(at, round);
        let mut left = 1.0;
        for (i, r) in self.rounds.iter().enumerate() {
            left *= r.missed;
            if left < NOTHING_LEFT {
                self.floor_db = r.margin_db;
                self.floor_amplitude = db_to_amplitude_ratio(r.margin_db);
                self.rounds.truncate(i + 1);
                break;
            }
        }
    }

    /// Takes a round whose reply falls into one of its parts, each alike: margin (falling) and heard odds of each.
    pub fn add_parts(&mut self, parts: &[(f64, f64)], alone: f64) {
        let share = 1.0 / parts.len() as f64;
        let (mut missed, mut unheard) = (1.0, 1.0);
        for &(margin_db, heard) in parts {
            let (missed_now, unheard_now) = (missed - share * heard * alone, unheard - share * heard);
            let left =
                |now: f64, before: f64| if before > 0.0 { (now / before).clamp(0.0, 1.0) } else { 0.0 };
            let round =
                Round { margin_db, missed: left(missed_now, missed), unheard: left(unheard_now, unheard) };
            (missed, unheard) = (missed_now, unheard_now);
            self.add(round);
        }
    }

    /// Whether the miss odds are below 1e-10 for every offset up to `offset_db`.
    pub fn settled(&self, offset_db: f64) -> bool {
        self.floor_db > offset_db
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::passing::draw::OffsetLaw;
    use crate::passing::score::score;
    use crate::random::quantity::Quantity;

    #[test]
    fn the_short_staircase_scores_as_the_long_one() {
        let law = OffsetLaw(Quantity::Normal { mean: 0.0, sd: 1.0 });
        let all: Vec<Round> = (0..300)
            .map(|i| Round {
                margin_db: f64::from((i * 97) % 300) * 0.03 - 5.0,
                missed: 0.3 + 0.4 * f64::from(i % 5) / 5.0,
                unheard: 0.1,
            })
            .collect();
        let mut stairs = Stairs::default();
        stairs.clear();
        all.iter().for_each(|&r| stairs.add(r));
        assert!(stairs.rounds().len() < 60 && stairs.floor_db() > 2.0);
        let (short, long) =
            (score(&mut stairs.rounds().to_vec(), law, true), score(&mut all.clone(), law, true));
        assert!((short.miss - long.miss).abs() < 1e-12 && (short.unheard - long.unheard).abs() < 1e-12);
    }
}
