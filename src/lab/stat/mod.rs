//! What a few readings of a few samples can and cannot say: pure functions, plain numbers in, results out.

pub mod backscatter;
pub mod budget;
pub mod censored;
pub mod compare;
pub mod correlated;
#[cfg(test)]
mod coverage;
pub mod crossing;
pub mod equivalence;
pub mod few;
pub mod hierarchy;
pub mod interlab;
pub mod mismatch;
pub mod outlier;
#[cfg(test)]
mod props;
pub mod ripple;
pub mod sigma_posterior;
pub mod spread_words;
pub mod survival;
pub mod tolerance;
pub mod trend;
pub mod two_way;
