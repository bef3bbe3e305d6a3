//! Sobol' points with direct index access and nested uniform (Owen) scrambling.
//!
//! Point i is the exclusive or of the direction numbers v_k over the set bits k of i: plain binary order, not the
//! Gray-code order. Both orders visit the same 2^m points for i < 2^m. Coordinates have 53 bits.
//!
//! Scrambling (A. B. Owen, Randomly permuted (t,m,s)-nets and (t,s)-sequences, 1995): bit j of a coordinate
//! is flipped or not by a random bit which depends on the dimension and on the j - 1 bits above it. The random bits are
//! not stored: they come from a hash of (key of the dimension, bits above). One 64-bit hash serves six
//! levels, as the 63 nodes of a binary tree of depth six. The keys come from a counter-based stream, so a scramble is
//! a pure function of (seed, replication).
//!
//! Rules that keep the estimate sound (A. B. Owen, On dropping the first Sobol' point, arXiv 2008.08051, 2020): take 2^m
//! points, keep the first one, drop none, and read the error from independent replications, never from within one net.

use super::joe_kuo::JOE_KUO;
use super::{Purpose, Stream};

/// Largest number of dimensions.
pub const MAX_DIMS: usize = JOE_KUO.len() + 1;
/// Bits of a coordinate; the index may not have more.
pub const BITS: u32 = 53;
const LEVELS_PER_HASH: u32 = 6;

/// The Sobol' sequence in a fixed number of dimensions.
pub struct Sobol {
    /// One row per dimension: direction number of index bit k, its highest bit at place 52.
    directions: Vec<[u64; BITS as usize]>,
}

impl Sobol {
    /// `None` if `dims` is above `MAX_DIMS`.
    pub fn new(dims: usize) -> Option<Sobol> {
        (dims <= MAX_DIMS).then(|| Sobol { directions: (0..dims).map(direction_numbers).collect() })
    }

    pub fn dims(&self) -> usize {
        self.directions.len()
    }

    /// Coordinate `dim` of point `index` (< 2^53) as 53 bits.
    pub fn bits(&self, dim: usize, index: u64) -> u64 {
        let mut rest = index;
        let mut bits = 0;
        while rest != 0 {
            bits ^= self.directions[dim][rest.trailing_zeros() as usize];
            rest &= rest - 1;
        }
        bits
    }
}

/// v_k for k = 0..53, by the recurrence of Joe and Kuo (2008), equations 2 and 3.
fn direction_numbers(dim: usize) -> [u64; BITS as usize] {
    let mut v = [0u64; BITS as usize];
    let Some((a, initial)) = dim.checked_sub(1).map(|row| JOE_KUO[row]) else {
        for (k, direction) in v.iter_mut().enumerate() {
            *direction = 1 << (BITS as usize - 1 - k);
        }
        return v;
    };
    let s = initial.len();
    for k in 0..BITS as usize {
        v[k] = if k < s {
            initial[k] << (BITS as usize - 1 - k)
        } else {
            (1..s)
                .filter(|j| a >> (s - 1 - j) & 1 == 1)
                .fold(v[k - s] ^ (v[k - s] >> s), |sum, j| sum ^ v[k - j])
        };
    }
    v
}

/// One random scramble of a Sobol' sequence.
pub struct Scrambled<'a> {
    sobol: &'a Sobol,
    keys: Vec<u64>,
}

impl<'a> Scrambled<'a> {
    /// Scramble number `replication` under `seed`; scrambles of different numbers are independent.
    pub fn new(sobol: &'a Sobol, seed: u64, replication: u64) -> Scrambled<'a> {
        Scrambled::from_stream(sobol, &mut Stream::new(seed, Purpose::Scramble, replication, 0, 0))
    }

    /// The scramble whose keys come from `stream`.
    pub fn from_stream(sobol: &'a Sobol, stream: &mut Stream) -> Scrambled<'a> {
        Scrambled { sobol, keys: (0..sobol.dims()).map(|_| stream.next_u64()).collect() }
    }

    /// Coordinate `dim` of point `index`, strictly inside (0, 1).
    pub fn coordinate(&self, dim: usize, index: u64) -> f64 {
        let bits = scramble(self.sobol.bits(dim, index), self.keys[dim]);
        (bits as f64 + 0.5) * (1.0 / (1u64 << BITS) as f64)
    }

    /// Point `index` written into `point`, whose length must be the number of dimensions.
    pub fn fill(&self, index: u64, point: &mut [f64]) {
        for (dim, coordinate) in point.iter_mut().enumerate() {
            *coordinate = self.coordinate(dim, index);
        }
    }
}

/// Nested uniform scramble of a 53-bit number.
fn scramble(bits: u64, key: u64) -> u64 {
    let mut flips = 0u64;
    let mut done = 0;
    while done < BITS {
        let take = LEVELS_PER_HASH.min(BITS - done);
        let above = if done == 0 { 0 } else { bits >> (BITS - done) };
        // `above` has `done` bits; the marker bit in front tells equal numbers of different length apart.
        let tree = mix(key ^ mix(above | 1 << done));
        let chunk = (bits >> (BITS - done - take)) & ((1 << take) - 1);
        for level in 0..take {
            let node = 1 << level | chunk >> (take - level);
            let flip = tree >> node & 1;
            flips |= flip << (BITS - 1 - done - level);
        }
        done += take;
    }
    bits ^ flips
}

/// The 64-bit finaliser of SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom
/// number generators, OOPSLA 2014), with its increment added first so that 0 is not a fixed point.
fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
#[path = "sobol_tests.rs"]
mod tests;
