//! The vectors tried: groups that share all that only passings tell, and within each group draws of the rest.

use super::evidence::Evidence;
use crate::passing::draw::{RACE_DIMS, race_point};
use crate::passing::unknowns::{Enters, Layer, UNKNOWNS};
use crate::random::sobol::{Scrambled, Sobol};
use crate::random::{Purpose, Stream};

/// Draws of the spread between tags in a group; each takes a pass over the tables.
pub const SPREADS: usize = 16;
/// Vectors of a group with the same spread.
pub const EACH: usize = 8;
/// Vectors of a group.
pub const INNER: usize = SPREADS * EACH;

/// Dimensions of the unit cube that groups differ in, beyond those of the day.
pub fn outer_dims() -> Vec<usize> {
    let of = |enters: bool| {
        UNKNOWNS
            .iter()
            .filter(move |u| u.layer == Layer::NobodyKnows && (u.enters == Enters::Passings) == enters)
    };
    of(true).map(|u| u.dim).collect()
}

/// The spread between tags.
const SPREAD_DIM: usize = 6;
/// What shifts thresholds: error of the mean, bias of the laboratory, and how far races differ.
const SHIFT_DIMS: [usize; 3] = [7, 8, 13];

/// Natural point of group `group`.
pub fn outer(evidence: &Evidence, seed: u64, group: u64) -> [f64; RACE_DIMS] {
    race_point(&evidence.views[0].prepared.tag.name, seed, group)
}

/// The vectors of a group, spread by spread: vector s·EACH + e has spread number s.
pub fn inner(point: &[f64; RACE_DIMS], seed: u64, group: u64) -> Vec<[f64; RACE_DIMS]> {
    let sobol = Sobol::new(SHIFT_DIMS.len()).expect("three dimensions");
    let mut stream = Stream::new(seed, Purpose::Study, 1, group, 0);
    let net = Scrambled::from_stream(&sobol, &mut stream);
    let mut out = Vec::with_capacity(INNER);
    for spread in 0..SPREADS {
        // One of sixteen equal parts each, anywhere in it: the law keeps its tail.
        let u = (spread as f64 + stream.uniform()) / SPREADS as f64;
        for each in 0..EACH {
            let mut vector = *point;
            vector[SPREAD_DIM] = u;
            for (place, dim) in SHIFT_DIMS.into_iter().enumerate() {
                vector[dim] = net.coordinate(place, (spread * EACH + each) as u64);
            }
            out.push(vector);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unknown_has_its_place() {
        let mut dims = outer_dims();
        dims.extend(SHIFT_DIMS);
        dims.push(SPREAD_DIM);
        dims.sort_unstable();
        let all: Vec<usize> =
            UNKNOWNS.iter().filter(|u| u.layer == Layer::NobodyKnows).map(|u| u.dim).collect();
        assert_eq!(dims, all);
    }

    /// Each coordinate is spread evenly: every eighth holds an eighth of the vectors.
    #[test]
    fn vectors_fill_their_dimensions() {
        let vectors = inner(&[0.5; RACE_DIMS], 3, 7);
        assert_eq!(vectors.len(), INNER);
        for dim in SHIFT_DIMS.into_iter().chain([SPREAD_DIM]) {
            let mut parts = [0; 8];
            vectors.iter().for_each(|v| parts[(v[dim] * 8.0) as usize] += 1);
            assert_eq!(parts, [INNER / 8; 8], "{dim}");
        }
        // The spread says nothing of a shift.
        let mean = |from: usize| vectors[from..from + INNER / 2].iter().map(|v| v[8]).sum::<f64>() / 64.0;
        assert!((mean(0) - 0.5).abs() < 0.05 && (mean(INNER / 2) - 0.5).abs() < 0.05);
    }
}
