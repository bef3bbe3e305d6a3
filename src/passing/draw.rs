//! Every random quantity of a passing, as plain data made from points of the unit cube.
//!
//! Three levels: a race draw (shared by all passings of a race), a runner draw (what a runner carries to
//! every timing point) and a crossing draw (afresh at each point). Each is made from an array of uniforms; where that comes from
//! (a plain stream, a scrambled net, an importance density) the draw does not know. Neighbours and
//! diffuse waves have unknown length, so they come from counter-based streams named by the crossing's identity.
//! Dimensions are append-only: a new one goes to the end.

use super::unknowns;
use crate::course::Course;
use crate::course::weather::Wetness;
use crate::random::quantity::Quantity;
use crate::random::sobol::{Scrambled, Sobol};
use crate::random::transform::normal_quantile;
use crate::random::{Purpose, Stream};
use crate::tag::Tag;
use std::f64::consts::PI;
use std::sync::OnceLock;

pub const RACE_DIMS: usize = 15;
/// Coordinate of the races' net that chooses between laws.
const PICK_DIM: usize = 12;
/// Independent scrambles of the races' Sobol' sequence that stand beside each other.
pub const REPLICATES: u64 = 16;
pub const RUNNER_DIMS: usize = 18;
pub const CROSSING_DIMS: usize = 10;

/// What all passings of one race share.
#[derive(Clone, Debug, PartialEq)]
pub struct RaceDraw {
    pub race: u64,
    /// Shares of dry, damp and soaked bibs that day.
    pub wetness_shares: [f64; 3],
    pub scatter_loss_db: f64,
    pub cross_polar_db: f64,
    pub cling_factor: f64,
    pub body_loss_db: f64,
    /// Added to every threshold: batch offset, error of the samples' mean, laboratory bias.
    pub batch_offset_db: f64,
    pub sample_mean_error_db: f64,
    pub lab_bias_db: f64,
    /// Standard deviation of a sample's offset in this race's batch.
    pub sample_offset_sd_db: f64,
    pub sample_shift_sd_mhz: f64,
    /// Rank of the road film, read by each point's surface.
    pub film_rank: f64,
    /// Time under power a tag needs before it hears a Query, ms.
    pub start_up_ms: f64,
    /// Normal score of the thresholds at which no sample woke, and what it adds where they are least known, dB.
    pub open_score: f64,
    pub open_threshold_db: f64,
    /// By how much races differ beyond the model (standard deviation), and what this one has of it, dB on every threshold.
    pub race_effect_sd_db: f64,
    pub race_effect_db: f64,
}

impl RaceDraw {
    pub fn from_uniforms(course: &Course, tag: &Tag, race: u64, u: &[f64; RACE_DIMS]) -> RaceDraw {
        let beliefs = &course.beliefs;
        let spread = &tag.spread;
        let sigma = spread.offset_sigma_db.quantile(u[6]).max(beliefs.sample_offset_floor_db);
        let own_law = beliefs.sample_offset_db.is_some();
        // Half-normal: most likely small, never negative.
        let race_effect_sd_db = spread.race_effect_db * normal_quantile(0.5 + 0.5 * u[13]);
        RaceDraw {
            race,
            wetness_shares: course.weather.shares(u[0]),
            scatter_loss_db: beliefs.scatter_loss_db.quantile(u[1]),
            cross_polar_db: beliefs.cross_polar_db.quantile(u[2]),
            cling_factor: beliefs.cling_factor.quantile(u[3]),
            body_loss_db: beliefs.body_loss_db.quantile(u[4]),
            batch_offset_db: beliefs.batch_offset_db.quantile(u[5]),
            sample_mean_error_db: if own_law {
                0.0
            } else {
                // Few samples, each placed once in every mount.
                libm::hypot(spread.offset_sigma_db.quantile(u[6]), spread.placing_sd_db)
                    / (spread.samples as f64).sqrt()
                    * normal_quantile(u[7])
            },
            lab_bias_db: spread.lab_bias_sd_db * normal_quantile(u[8]),
            sample_offset_sd_db: sigma,
            sample_shift_sd_mhz: if own_law { 0.0 } else { spread.shift_sigma_mhz.quantile(u[9]) },
            film_rank: u[10],
            start_up_ms: beliefs.start_up_ms.quantile(u[11]),
            open_score: normal_quantile(u[12]),
            open_threshold_db: normal_quantile(u[12]) * tag.curve.most_open_db(),
            race_effect_sd_db,
            race_effect_db: race_effect_sd_db * normal_quantile(u[14]),
        }
    }

    /// The draw of race `race` (see `race_point`).
    pub fn draw(course: &Course, tag: &Tag, seed: u64, race: u64) -> RaceDraw {
        RaceDraw::from_uniforms(course, tag, race, &race_point(&tag.name, seed, race))
    }

    /// What is added to every threshold in all races alike, dB.
    pub fn constant_offset_db(&self) -> f64 {
        self.sample_mean_error_db + self.lab_bias_db
    }

    /// What is added to every threshold of this race, dB.
    pub fn threshold_offset_db(&self) -> f64 {
        self.batch_offset_db + self.race_effect_db + self.constant_offset_db()
    }
}

/// Point of the unit cube behind race `race`. Races are spread evenly over what nobody has measured: race r is point r/16 of
/// scramble r mod 16 of a Sobol' sequence, so sixteen independent scrambles stand beside each other and their spread tells the error
/// (`estimate::replicates`); any prefix of the races is spread evenly, too. What belongs to a tag by itself comes from scrambles named by the
/// tag, so two tags do not share it; all the rest is common to all tags and layouts.
pub fn race_point(tag_name: &str, seed: u64, race: u64) -> [f64; RACE_DIMS] {
    race_point_and_pick(tag_name, seed, race).0
}

/// The same, with one more coordinate that chooses between laws (`estimate::tilt`).
pub fn race_point_and_pick(tag_name: &str, seed: u64, race: u64) -> ([f64; RACE_DIMS], f64) {
    let sobol = races();
    let (scramble, index) = (race % REPLICATES, race / REPLICATES);
    let shared = Scrambled::new(sobol, seed, scramble);
    let own = Scrambled::new(sobol, seed, place_of(tag_name) * REPLICATES + scramble);
    // The pick keeps its place; unknowns appended since lie behind it.
    let place = |dim: usize| if dim < PICK_DIM { dim } else { dim + 1 };
    let mut u = std::array::from_fn(|dim| shared.coordinate(place(dim), index));
    for dim in unknowns::of_tag() {
        u[dim] = own.coordinate(place(dim), index);
    }
    (u, shared.coordinate(PICK_DIM, index))
}

/// The coordinate of race `race` that chooses between laws, common to all tags.
pub fn race_pick(seed: u64, race: u64) -> f64 {
    Scrambled::new(races(), seed, race % REPLICATES).coordinate(PICK_DIM, race / REPLICATES)
}

fn races() -> &'static Sobol {
    static SOBOL: OnceLock<Sobol> = OnceLock::new();
    SOBOL.get_or_init(|| Sobol::new(RACE_DIMS + 1).expect("RACE_DIMS is below MAX_DIMS"))
}

/// Place of a tag's own streams, 1..=2^24: FNV-1a (G. Fowler, L. C. Noll, K.-P. Vo), folded.
pub fn place_of(tag_name: &str) -> u64 {
    let hash = tag_name.bytes().fold(0x811c_9dc5_u32, |h, b| (h ^ u32::from(b)).wrapping_mul(0x0100_0193));
    u64::from((hash >> 24) ^ (hash & 0xff_ffff)) + 1
}

/// Law of a sample's offset from the average sample, integrated over by the score.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OffsetLaw(pub Quantity);

/// What a runner carries to every timing point.
#[derive(Clone, Debug, PartialEq)]
pub struct RunnerDraw {
    /// Row of the field's placement table.
    pub placement_row: usize,
    pub wetness: Wetness,
    pub woman: bool,
    pub stature_m: f64,
    pub tag_height_m: f64,
    /// Before the point's own factor.
    pub speed_m_s: f64,
    /// +1 or −1: which side a side placement is on.
    pub side: f64,
    /// Air gap behind the tag's own spacer, mm.
    pub air_gap_mm: f64,
    pub resonance_shift_mhz: f64,
    pub film_loss_db: f64,
    /// This sample's own offset, dB (used by a replay; a score integrates over it).
    pub sample_offset_db: f64,
    pub sample_shift_mhz: f64,
    pub lean_deg: f64,
    pub steps_per_min: f64,
    pub flutter_share: f64,
    pub sway_deg: f64,
    pub bounce_m: f64,
    /// Crosswise current of this sample, dB below that along its axis, and its phase.
    pub cross_polar_db: f64,
    pub cross_phase_rad: f64,
    pub torso_radius_m: f64,
}

impl RunnerDraw {
    /// `placement_row` and `wetness` are the stratum; all else comes from `u`.
    pub fn from_uniforms(
        course: &Course,
        race: &RaceDraw,
        placement_row: usize,
        wetness: Wetness,
        u: &[f64; RUNNER_DIMS],
    ) -> RunnerDraw {
        let (field, beliefs) = (&course.field, &course.beliefs);
        let woman = u[0] < field.women_share;
        let (stature, share) = if woman {
            (&field.stature_women_m, &field.bib_height_share_women)
        } else {
            (&field.stature_men_m, &field.bib_height_share_men)
        };
        let stature_m = stature.quantile(u[1]);
        let placement = &field.placements[placement_row];
        let tag_height_m = match &field.tag_height_m {
            Some(pinned) => pinned.quantile(u[2]),
            None => stature_m * share.quantile(u[2]) + placement.height_offset_m,
        };
        let speed_m_s = field.speed_m_s.quantile(u[3]);
        let wet = &beliefs.wetness[wetness as usize];
        let (shift, film) = if course.effects.water {
            (wet.resonance_shift_mhz.quantile(u[6]), wet.film_loss_db.quantile(u[7]))
        } else {
            (0.0, 0.0)
        };
        RunnerDraw {
            placement_row,
            wetness,
            woman,
            stature_m,
            tag_height_m: tag_height_m.max(0.05),
            // Nobody stands still on the line: a runner slower than a stroll would have unlimited rounds.
            speed_m_s: speed_m_s.max(0.3),
            side: if u[4] < 0.5 { -1.0 } else { 1.0 },
            air_gap_mm: (wet.air_gap_mm.quantile(u[5]) * race.cling_factor).max(0.0),
            resonance_shift_mhz: shift,
            film_loss_db: film,
            sample_offset_db: offset_law(course, race).0.quantile(u[8]),
            sample_shift_mhz: race.sample_shift_sd_mhz * normal_quantile(u[9]),
            lean_deg: field.lean_deg.quantile(u[10]),
            steps_per_min: field.step_rate_base_per_min.quantile(u[11])
                + field.step_rate_slope_per_min_per_m_s * speed_m_s,
            flutter_share: beliefs.flutter_share.quantile(u[12]).clamp(0.0, 1.0),
            sway_deg: beliefs.sway_deg.quantile(u[13]),
            bounce_m: beliefs.bounce_m.quantile(u[14]),
            cross_polar_db: race.cross_polar_db,
            cross_phase_rad: 2.0 * PI * u[16],
            torso_radius_m: beliefs.torso_radius_m.quantile(u[17]),
        }
    }
}

/// Law of the sample offset in this race: the scenario's own, or normal with the batch's spread.
pub fn offset_law(course: &Course, race: &RaceDraw) -> OffsetLaw {
    OffsetLaw(
        course
            .beliefs
            .sample_offset_db
            .unwrap_or(Quantity::Normal { mean: 0.0, sd: race.sample_offset_sd_db }),
    )
}

/// What a runner draws afresh at one timing point.
#[derive(Clone, Debug, PartialEq)]
pub struct CrossingDraw {
    pub point: usize,
    pub lateral_m: f64,
    pub yaw_deg: f64,
    pub step_phase_rad: f64,
    pub sway_phase_rad: f64,
    pub flutter_phase_rad: f64,
    /// Share of a full hop sequence by which the readers are ahead.
    pub hop_phase: f64,
    /// Share of a full turn over the ports.
    pub port_phase: f64,
    /// Share of a round.
    pub round_phase: f64,
    /// Rank of the number of contenders.
    pub contender_rank: f64,
    pub identity: CrossingId,
    /// Whose neighbours these are: `identity`, but where a study draws neighbours or waves alone afresh.
    pub neighbours: CrossingId,
}

/// Names the streams of one crossing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CrossingId {
    pub seed: u64,
    pub race: u64,
    pub passing: u64,
    pub point: u64,
}

impl CrossingId {
    pub fn neighbours(&self) -> Stream {
        Stream::new(self.seed, Purpose::Neighbours, self.point, self.race, self.passing)
    }
    /// Stream of the directions from which scattered waves come.
    pub fn arrivals(&self) -> Stream {
        self.diffuse(0xFFFF)
    }
    /// Stream of the waves of antenna number `antenna` of the point.
    pub fn diffuse(&self, antenna: usize) -> Stream {
        Stream::new(self.seed, Purpose::Diffuse, (self.point << 16) | antenna as u64, self.race, self.passing)
    }
}

impl CrossingDraw {
    pub fn from_uniforms(course: &Course, identity: CrossingId, u: &[f64; CROSSING_DIMS]) -> CrossingDraw {
        let point = &course.points[identity.point as usize];
        let half = 0.5 * point.road_width_m;
        CrossingDraw {
            point: identity.point as usize,
            lateral_m: fold(point.lateral_m.quantile(u[0]), half),
            yaw_deg: course.field.yaw_deg.quantile(u[1]),
            step_phase_rad: 2.0 * PI * u[2],
            sway_phase_rad: 2.0 * PI * u[3],
            flutter_phase_rad: 2.0 * PI * u[4],
            hop_phase: u[5],
            port_phase: u[6],
            round_phase: u[7],
            contender_rank: u[8],
            identity,
            neighbours: identity,
        }
    }
}

/// Folds a place back onto the road: who would run outside runs as far inside the edge instead.
fn fold(y_m: f64, half_m: f64) -> f64 {
    let mut y = y_m;
    for _ in 0..64 {
        if y > half_m {
            y = 2.0 * half_m - y;
        } else if y < -half_m {
            y = -2.0 * half_m - y;
        } else {
            return y;
        }
    }
    y.clamp(-half_m, half_m)
}

/// Uniforms of a runner from his plain stream.
pub fn runner_uniforms(seed: u64, race: u64, passing: u64) -> [f64; RUNNER_DIMS] {
    let mut u = [0.0; RUNNER_DIMS];
    fill(&mut Stream::new(seed, Purpose::Runner, 0, race, passing), &mut u);
    u
}

/// Uniforms of a crossing from its plain stream.
pub fn crossing_uniforms(id: CrossingId) -> [f64; CROSSING_DIMS] {
    let mut u = [0.0; CROSSING_DIMS];
    fill(&mut Stream::new(id.seed, Purpose::Crossing, id.point, id.race, id.passing), &mut u);
    u
}

fn fill(stream: &mut Stream, out: &mut [f64]) {
    for slot in out {
        *slot = stream.uniform();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folding_keeps_runners_on_the_road() {
        for (y, folded) in [(0.5, 0.5), (3.5, 2.5), (-3.5, -2.5), (-9.2, 2.8), (1e9, 3.0)] {
            let got = fold(y, 3.0);
            assert!((-3.0..=3.0).contains(&got));
            if y < 1e6 {
                assert!((got - folded).abs() < 1e-9, "{y}: {got}");
            }
        }
    }

    /// Value stability: pins the first uniforms of every purpose in use. A change here is value-changing
    /// and goes to the changelog as such.
    #[test]
    fn regress_first_draws() {
        let runner = runner_uniforms(1, 0, 0);
        let id = CrossingId { seed: 1, race: 0, passing: 0, point: 0 };
        let crossing = crossing_uniforms(id);
        let bits: Vec<u64> = [runner[0], crossing[0], id.neighbours().uniform(), id.diffuse(0).uniform()]
            .map(f64::to_bits)
            .to_vec();
        assert_eq!(bits, REGRESS_FIRST_DRAWS);
    }
    const REGRESS_FIRST_DRAWS: [u64; 4] =
        [4605685474172052242, 4593878997315270066, 4577261736913156768, 4606046763858051498];

    #[test]
    fn streams_depend_on_every_part_of_their_name() {
        let base = runner_uniforms(1, 2, 3)[0];
        for other in [runner_uniforms(2, 2, 3)[0], runner_uniforms(1, 3, 3)[0], runner_uniforms(1, 2, 4)[0]] {
            assert_ne!(base, other);
        }
    }
}
