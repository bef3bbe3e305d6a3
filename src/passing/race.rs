//! What one race adds to the prepared scenario: reflection tables of its wet road, body floor, diffuse level.

use super::body::Body;
use super::draw::{OffsetLaw, RaceDraw, offset_law};
use super::fresnel::{self, METAL, ReflectionTable};
use super::materials;
use super::prepared::Prepared;
use super::score::NOTHING_LEFT;
use crate::units::{db_to_amplitude_ratio, wave_number_rad_m};

/// A prepared scenario on the day of one race.
#[derive(Clone, Debug)]
pub struct RaceContext<'a> {
    pub prepared: &'a Prepared,
    pub draw: RaceDraw,
    pub body: Body,
    /// Road of each timing point; none where no antenna has a ground image.
    pub roads: Vec<Option<ReflectionTable>>,
    /// 10^(−K/20), 0 with the diffuse waves off.
    pub diffuse_amplitude: f64,
    pub offset_law: OffsetLaw,
    /// A round with a margin below this is taken as asleep: the sample offset lies below it with odds of 1e-9, dB.
    certain_below_db: f64,
    /// The same as an amplitude ratio.
    certain_below: f64,
    /// The sample offset exceeds this with odds of 1e-10, dB.
    certain_above_db: f64,
}

impl<'a> RaceContext<'a> {
    pub fn new(prepared: &'a Prepared, draw: RaceDraw) -> RaceContext<'a> {
        RaceContext::build(prepared, draw, None)
    }

    /// For crossings of one point alone: the roads of the others are left out.
    pub fn at_point(prepared: &'a Prepared, draw: RaceDraw, point: usize) -> RaceContext<'a> {
        RaceContext::build(prepared, draw, Some(point))
    }

    /// Margins below which a round is asleep and above which it wakes for certain, dB, where the offsets have another law than
    /// that of the draw.
    pub fn certain(mut self, below_db: f64, above_db: f64) -> RaceContext<'a> {
        self.certain_below_db = below_db;
        self.certain_below = db_to_amplitude_ratio(below_db);
        self.certain_above_db = above_db;
        self
    }

    pub fn certain_below_db(&self) -> f64 {
        self.certain_below_db
    }

    /// `certain_below_db` as an amplitude ratio.
    pub fn certain_below(&self) -> f64 {
        self.certain_below
    }

    pub fn certain_above_db(&self) -> f64 {
        self.certain_above_db
    }

    /// The road of a point one of whose antennas has a ground image.
    pub fn road(&self, point: usize) -> &ReflectionTable {
        self.roads[point].as_ref().expect("a road is prepared wherever an antenna has a ground image")
    }

    fn build(prepared: &'a Prepared, draw: RaceDraw, only: Option<usize>) -> RaceContext<'a> {
        let course = &prepared.course;
        // Only an antenna with a ground image ever asks the road; mats have it in their pattern.
        let roads = prepared
            .points
            .iter()
            .enumerate()
            .map(|(index, point)| {
                let asked = only.is_none_or(|only| only == index) && point.antennas.iter().any(|a| a.ground);
                asked.then(|| road(prepared, index, &draw))
            })
            .collect();
        let offset_law = offset_law(course, &draw);
        let (low, high) = (offset_law.0.quantile(1e-9), offset_law.0.quantile(1.0 - NOTHING_LEFT));
        RaceContext {
            prepared,
            body: Body {
                torso: prepared.torso.clone(),
                rear_floor: db_to_amplitude_ratio(-draw.rear_floor_db),
            },
            roads,
            diffuse_amplitude: if course.effects.diffuse_waves {
                db_to_amplitude_ratio(-draw.rician_k_db)
            } else {
                0.0
            },
            offset_law,
            certain_below_db: low,
            certain_below: db_to_amplitude_ratio(low),
            certain_above_db: high,
            draw,
        }
    }
}

/// The road of a point under the film of the day.
fn road(prepared: &Prepared, point: usize, draw: &RaceDraw) -> ReflectionTable {
    let (course, freq_mhz) = (&prepared.course, prepared.mid_freq_mhz);
    let surface = &course.points[point].surface;
    let film_mm = if course.effects.water { surface.film_mm.quantile(draw.film_rank).max(0.0) } else { 0.0 };
    match materials::road(surface.material, freq_mhz) {
        None => ReflectionTable::new(|_| METAL),
        Some(eps) if film_mm > 0.0 => {
            let water = materials::water(freq_mhz, surface.water_c);
            let k_thickness = wave_number_rad_m(freq_mhz) * film_mm * 1e-3;
            ReflectionTable::new(|s| fresnel::film_over(water, k_thickness, eps, s))
        }
        Some(eps) => ReflectionTable::new(|s| fresnel::half_space(eps, s)),
    }
}
