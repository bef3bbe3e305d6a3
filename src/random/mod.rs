//! Random numbers: counter-based streams, purposes, and inverse-CDF transforms over libm.
//!
//! Every random number of a run is a pure function of (seed, purpose, place, absolute race index, absolute
//! passing index). Threads, blocks, shards and resumption therefore change nothing, two tags are
//! compared on the same draws, and any passing can be replayed alone.
//!
//! The generator is ChaCha8 (named, portable); its 256-bit key carries seed, purpose and place, its 64-bit
//! stream number carries race (24 bits) and passing (40 bits). Values come from inverse-CDF transforms over `libm`, never from
//! a rejection sampler, so each quantity eats a fixed number of uniforms and the same point of the unit cube
//! can come from a plain stream, a scrambled net or an importance density.

mod joe_kuo;
pub mod quantity;
pub mod sobol;
pub mod transform;

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

/// What a stream is for. Append only: the number is part of the key, so a new purpose moves no old draw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u32)]
pub enum Purpose {
    /// What all passings of one race share.
    Race = 1,
    /// What a runner carries to every timing point of a race (tag, placement, stature).
    Runner = 2,
    /// What a runner draws afresh at each timing point (speed, position, posture).
    Crossing = 3,
    /// Neighbours' places.
    Neighbours = 4,
    /// Diffuse waves; the place is the antenna.
    Diffuse = 5,
    /// Pilot runs that set contention before the forecast.
    Pilot = 6,
    /// Scrambling of low-discrepancy points; the place is the replication.
    Scramble = 7,
    /// Which component of an importance density a point comes from.
    Mixture = 8,
    /// Resampling and posterior draws in the studies.
    Study = 9,
    /// Simulated measuring campaigns.
    Campaign = 10,
    /// What a world's race days draw for themselves; the place is 0 or the tag.
    RaceDays = 11,
}

/// Largest race index + 1 that fits the stream number.
pub const MAX_RACES: u64 = 1 << 24;
/// Largest passing index + 1 that fits the stream number.
pub const MAX_PASSINGS: u64 = 1 << 40;

/// A stream of uniforms strictly inside (0, 1).
pub struct Stream(ChaCha8Rng);

/// 256-bit key of all streams with this seed, purpose and place.
pub fn key(seed: u64, purpose: Purpose, place: u64) -> [u8; 32] {
    let mut bytes = *b"................readodds draws 1";
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    bytes[8..12].copy_from_slice(&(purpose as u32).to_le_bytes());
    bytes[12..16].copy_from_slice(&(place as u32).to_le_bytes());
    bytes
}

impl Stream {
    /// The stream of one purpose and place for one passing of one race. `race < MAX_RACES`,
    /// `passing < MAX_PASSINGS`, `place < 2^32`.
    pub fn new(seed: u64, purpose: Purpose, place: u64, race: u64, passing: u64) -> Stream {
        debug_assert!(race < MAX_RACES && passing < MAX_PASSINGS && place < 1 << 32);
        let mut rng = ChaCha8Rng::from_seed(key(seed, purpose, place));
        rng.set_stream((race << 40) | passing);
        Stream(rng)
    }

    pub fn next_u64(&mut self) -> u64 {
        rand::Rng::next_u64(&mut self.0)
    }

    /// Next uniform, (k + 1/2) / 2^53 with k in 0..2^53: open on both sides.
    pub fn uniform(&mut self) -> f64 {
        unit_open(self.next_u64())
    }

    pub fn normal(&mut self) -> f64 {
        transform::normal_quantile(self.uniform())
    }
}

/// Uniform in the open unit interval from the upper 53 bits of `bits`.
pub fn unit_open(bits: u64) -> f64 {
    ((bits >> 11) as f64 + 0.5) * (1.0 / (1u64 << 53) as f64)
}
