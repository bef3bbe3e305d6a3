//! What all runners of a race share: which of it moves the race's miss rate.
//!
//! A race draw is a point of the unit cube; the output is the log odds of the miss rate over the same planned runners. The swing
//! takes each quantity from its 5 % to its 95 % value with all others at their middle.

use super::answer::{Split, Swing};
use super::{FLOOR, log_odds, pick_freeze, scramble, split, two_halves};
use crate::course::timing_point::TimingPoint;
use crate::passing::draw::RACE_DIMS;
use crate::passing::{Prepared, RaceContext, RaceDraw, Workspace};
use crate::random::sobol::Sobol;
use crate::study::strata::{self, LineSets, Plan};
use crate::study::worlds::UNKNOWNS;
use rayon::prelude::*;

/// Ends of a swing.
pub const ENDS: [f64; 2] = [0.05, 0.95];

/// One quantity of the race draw.
pub struct RaceInput {
    pub name: &'static str,
    pub unit: &'static str,
    /// Place in the race draw's point.
    pub dim: usize,
    pub read: fn(&RaceDraw, &TimingPoint) -> f64,
    pub how: &'static str,
}

fn unknown(dim: usize, unit: &'static str, read: fn(&RaceDraw, &TimingPoint) -> f64) -> Option<RaceInput> {
    let known = UNKNOWNS.iter().find(|u| u.dim == dim)?;
    Some(RaceInput { name: known.name, unit, dim, read, how: known.how })
}

/// The quantities that vary in a scenario.
pub fn inputs(prepared: &Prepared) -> Vec<RaceInput> {
    let (course, point) = (&prepared.course, &prepared.course.points[0]);
    let of_the_day = [
        RaceInput {
            name: "weather of the day (share of wet bibs)",
            unit: "",
            dim: 0,
            read: |d, _| 1.0 - d.wetness_shares[0],
            how: "count wet bibs at some races; on the day, look at the sky",
        },
        RaceInput {
            name: "difference of resonance between samples",
            unit: "MHz",
            dim: 9,
            read: |d, _| d.sample_shift_sd_mhz,
            how: "measure more samples",
        },
        RaceInput {
            name: "water on the road",
            unit: "mm",
            dim: 10,
            read: |d, p| p.surface.film_mm.quantile(d.film_rank),
            how: "a ruler on a wet road",
        },
    ];
    let unknowns = [
        unknown(1, "dB", |d, _| d.scatter_loss_db),
        unknown(2, "dB", |d, _| d.cross_polar_db),
        unknown(3, "", |d, _| d.cling_factor),
        unknown(4, "dB", |d, _| d.body_loss_db),
        unknown(5, "dB", |d, _| d.batch_offset_db),
        unknown(6, "dB", |d, _| d.sample_offset_sd_db),
        unknown(7, "dB", |d, _| d.sample_mean_error_db),
        unknown(8, "dB", |d, _| d.lab_bias_db),
    ];
    let value = |input: &RaceInput, rank: f64| {
        let mut u = [0.5; RACE_DIMS];
        u[input.dim] = rank;
        (input.read)(&RaceDraw::from_uniforms(course, &prepared.tag, 0, &u), point)
    };
    unknowns
        .into_iter()
        .flatten()
        .chain(of_the_day)
        .filter(|input| match input.dim {
            1 => course.effects.diffuse_waves,
            2 => course.effects.tag_pattern,
            4 => course.effects.body,
            10 => course.effects.water,
            _ => true,
        })
        .filter(|input| value(input, ENDS[0]) != value(input, ENDS[1]))
        .collect()
}

/// One timing point, ready to be asked for the miss rate of any race draw.
pub struct Bench<'a> {
    pub prepared: &'a Prepared,
    pub plan: &'a Plan,
    pub seed: u64,
}

impl Bench<'_> {
    /// Miss rate under the race draw at `u`, over the runners numbered `runners`.
    pub fn rate(&self, u: &[f64; RACE_DIMS], runners: u64, work: &mut Workspace) -> f64 {
        let course = &self.prepared.course;
        let draw = RaceDraw::from_uniforms(course, &self.prepared.tag, runners, u);
        let context = RaceContext::new(self.prepared, draw);
        let weights = strata::weights(course, context.draw.wetness_shares);
        let plan = self.plan.where_weighed(&weights);
        let sets = LineSets::all_lines(self.prepared);
        strata::run(&context, &sets, &plan, self.seed, 0, work).miss(0, 0, &weights)
    }

    /// Crossings of one rate at most.
    pub fn crossings(&self) -> u64 {
        self.plan.0.iter().map(|&n| u64::from(n)).sum()
    }

    fn place(inputs: &[RaceInput], ranks: &[f64]) -> [f64; RACE_DIMS] {
        let mut u = [0.5; RACE_DIMS];
        for (input, &rank) in inputs.iter().zip(ranks) {
            u[input.dim] = rank;
        }
        u
    }

    /// Indices by `points` points in each of `replications` replications; `watch` hears how many are done.
    pub fn indices(
        &self,
        inputs: &[RaceInput],
        points: u64,
        replications: u64,
        stop: &(dyn Fn() -> bool + Sync),
        watch: &dyn Fn(u64),
    ) -> Option<Split> {
        let sobol = Sobol::new(2 * inputs.len())?;
        let mut runs = Vec::new();
        for replication in 0..replications {
            watch(replication);
            let scrambled = scramble(&sobol, self.seed, replication);
            let pairs: Vec<(Vec<f64>, Vec<f64>)> = (0..points)
                .map(|i| {
                    let [a, b] = two_halves(&scrambled, inputs.len(), i);
                    (a, b)
                })
                .collect();
            let exchange = |a: &Vec<f64>, b: &Vec<f64>, input: usize| {
                let mut mixed = a.clone();
                mixed[input] = b[input];
                mixed
            };
            let f = |ranks: &Vec<f64>, work: &mut Workspace| {
                log_odds(self.rate(&Self::place(inputs, ranks), replication, work))
            };
            match pick_freeze(&pairs, inputs.len(), exchange, f, stop) {
                Some(run) => runs.push(run),
                None => break,
            }
        }
        split(&runs, |i| (inputs[i].name.to_owned(), inputs[i].unit.to_owned(), inputs[i].how.to_owned()))
    }

    /// Miss rate with everything at its middle, and the swing of each input, widest first; `None` when broken off.
    pub fn swings(
        &self,
        inputs: &[RaceInput],
        replications: u64,
        stop: &(dyn Fn() -> bool + Sync),
    ) -> Option<(f64, Vec<Swing>)> {
        let middle = [0.5; RACE_DIMS];
        let mut asked = vec![middle];
        for input in inputs {
            for end in ENDS {
                let mut u = middle;
                u[input.dim] = end;
                asked.push(u);
            }
        }
        let rates = self.mean_rates(asked.len(), replications, stop, |place, runners, work| {
            self.rate(&asked[place], runners, work)
        })?;
        let course = &self.prepared.course;
        let value = |input: &RaceInput, end: usize| {
            let mut u = middle;
            u[input.dim] = ENDS[end];
            (input.read)(&RaceDraw::from_uniforms(course, &self.prepared.tag, 0, &u), &course.points[0])
        };
        let mut swings: Vec<Swing> = inputs
            .iter()
            .enumerate()
            .map(|(i, input)| Swing {
                name: input.name.to_owned(),
                unit: input.unit.to_owned(),
                low: Some(value(input, 0)),
                high: Some(value(input, 1)),
                miss_rate_at_low: rates[1 + 2 * i],
                miss_rate_at_high: rates[2 + 2 * i],
            })
            .collect();
        widest_first(&mut swings);
        Some((rates[0], swings))
    }

    /// Means of `places` rates over replications, in parallel; asked to stop, over those that are whole.
    pub fn mean_rates(
        &self,
        places: usize,
        replications: u64,
        stop: &(dyn Fn() -> bool + Sync),
        rate: impl Fn(usize, u64, &mut Workspace) -> f64 + Sync,
    ) -> Option<Vec<f64>> {
        let mut sums = vec![0.0; places];
        let mut whole = 0;
        for runners in 0..replications {
            let rates: Option<Vec<f64>> = (0..places)
                .into_par_iter()
                .map_init(Workspace::new, |work, place| (!stop()).then(|| rate(place, runners, work)))
                .collect();
            let Some(rates) = rates else { break };
            sums.iter_mut().zip(rates).for_each(|(sum, rate)| *sum += rate);
            whole += 1;
        }
        (whole > 0).then(|| sums.into_iter().map(|sum| sum / f64::from(whole)).collect())
    }
}

/// Sorts by the width on the log scale, above the floor.
pub fn widest_first(swings: &mut [Swing]) {
    let width = |s: &Swing| {
        let at = |rate: f64| libm::log(rate.max(FLOOR));
        (at(s.miss_rate_at_high) - at(s.miss_rate_at_low)).abs()
    };
    swings.sort_by(|x, y| width(y).total_cmp(&width(x)));
}
