//! From what happened to what to believe: whole vectors of what nobody knows, weighted by how well they explain the counts.
//!
//! ```text
//! evidence      which tables of miss odds the outcomes need, and what was counted
//!   odds        a table laid over the law of the tags: odds by offset of the thresholds
//!   likelihood  race      ln L of one vector: the day and the race's own effect integrated out
//!               trial     the same for walkers at lowered power
//! vectors       the vectors tried: points of the unit cube, in groups
//! posterior     weights, later rounds where the first were spent badly
//!   pareto      smoothed weights and whether they can be trusted
//!   calibration worlds drawn from what was learned, counted and learned from again
//!   causes      what patterns of lines and the bibs of those missed say of the reason
//!   ladder      what every setting of a trial would have counted
//! design        what a trial would teach before it is walked
//! score         stored forecasts against counts
//! ```
//!
//! Method: importance sampling over a table of responses. Passings are needed only for what passings alone tell (512 draws of it); shifts of the thresholds
//! and the spread between tags are laid over the staircases (`estimate::response`), so 128 draws of these cost no passings each.
//!   ln L(θ) = Σ_races ln ∫∫ Π_points Bin(x | n, p(θ, day, g)) dF(day) dΦ(g) + Σ_trials …
//! A race differs from its forecast by more than chance: a term g·τ on every threshold, τ half-normal and unknown, is the race's own
//! (M. Kennedy, A. O'Hagan, J. R. Stat. Soc. B 63 (2001) 425-464, from memory). It stands in dB, as a batch does, so that it acts through the staircase and stays
//! lawful near odds of 1.

pub mod calibration;
pub mod causes;
pub mod design;
pub mod evidence;
pub mod folder;
#[cfg(test)]
mod known_answers;
pub mod ladder;
pub mod likelihood;
pub mod odds;
pub mod pareto;
pub mod posterior;
pub mod score;
pub mod vectors;

/// How far races may differ beyond the model unless told: scale of a half-normal law, dB on every threshold (our estimate).
pub const RACE_EFFECT_DB: f64 = 0.7;
/// What it may be told to be, dB.
pub const RACE_EFFECT_RANGE_DB: std::ops::RangeInclusive<f64> = 0.0..=6.0;
