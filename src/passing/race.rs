//! What one race adds to the prepared scenario: reflection tables of its wet road, scatter level.

use super::draw::{OffsetLaw, RaceDraw, offset_law};
use super::fresnel::{self, METAL, Reflection, ReflectionTable};
use super::materials;
use super::prepared::Prepared;
use super::score::NOTHING_LEFT;
use crate::random::quantity::Quantity;
use crate::units::{db_to_amplitude_ratio, wave_number_rad_m};
use num_complex::Complex64;

/// A prepared scenario on the day of one race.
#[derive(Clone, Debug)]
pub struct RaceContext<'a> {
    pub prepared: &'a Prepared,
    pub draw: RaceDraw,
    /// Road of each timing point; none where no antenna has a ground image.
    pub roads: Vec<Option<ReflectionTable>>,
    /// 10^(−S/20) of the scattered waves, 0 with the effect off.
    pub scatter_level: f64,
    /// Power reflection of each point's road, averaged over the hemisphere and both polarisations; 0 without ground.
    pub road_power: Vec<f64>,
    /// Loss through the water on antennas that lie on the road, by point, dB each way.
    pub water_on_mats_db: Vec<f64>,
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
                asked.then(|| ReflectionTable::new(road_reflection(prepared, index, &draw)))
            })
            .collect();
        let waves_meet_roads = course.effects.diffuse_waves && course.effects.ground;
        let road_power = (0..prepared.points.len())
            .map(|index| {
                let asked = waves_meet_roads && only.is_none_or(|only| only == index);
                if asked { mean_power(road_reflection(prepared, index, &draw)) } else { 0.0 }
            })
            .collect();
        let water_on_mats_db =
            (0..prepared.points.len()).map(|index| water_on_mats_db(prepared, index, &draw)).collect();
        let offset_law = offset_law(course, &draw);
        let (low, high) = (offset_law.0.quantile(1e-9), offset_law.0.quantile(1.0 - NOTHING_LEFT));
        RaceContext {
            prepared,
            roads,
            scatter_level: if course.effects.diffuse_waves {
                db_to_amplitude_ratio(-draw.scatter_loss_db)
            } else {
                0.0
            },
            road_power,
            water_on_mats_db,
            offset_law,
            certain_below_db: low,
            certain_below: db_to_amplitude_ratio(low),
            certain_above_db: high,
            draw,
        }
    }
}

/// Water of `film_mm` at a point that day: thickness, mm, permittivity, k·t in radians.
fn water_film(
    prepared: &Prepared,
    point: usize,
    film_mm: &Quantity,
    draw: &RaceDraw,
) -> (f64, Complex64, f64) {
    let (course, freq_mhz) = (&prepared.course, prepared.mid_freq_mhz);
    let surface = &course.points[point].surface;
    let film_mm = if course.effects.water { film_mm.quantile(draw.film_rank).max(0.0) } else { 0.0 };
    let k_thickness = wave_number_rad_m(freq_mhz) * film_mm * 1e-3;
    (film_mm, materials::water(freq_mhz, surface.water_c), k_thickness)
}

/// Oblique waves of both polarisations lose on average what a steep one does.
fn water_on_mats_db(prepared: &Prepared, point: usize, draw: &RaceDraw) -> f64 {
    let film_mm = &prepared.course.points[point].surface.film_on_mats_mm;
    let (film_mm, water, k_thickness) = water_film(prepared, point, film_mm, draw);
    if film_mm > 0.0 { fresnel::film_loss_db(water, k_thickness) } else { 0.0 }
}

/// The road of a point under the film of the day, over the grazing sine.
fn road_reflection(prepared: &Prepared, point: usize, draw: &RaceDraw) -> impl Fn(f64) -> Reflection {
    let film_mm = &prepared.course.points[point].surface.film_mm;
    let (film_mm, water, k_thickness) = water_film(prepared, point, film_mm, draw);
    let under = materials::road(prepared.course.points[point].surface.material, prepared.mid_freq_mhz);
    move |s| match under {
        None => METAL,
        Some(eps) if film_mm > 0.0 => fresnel::film_over(water, k_thickness, eps, s),
        Some(eps) => fresnel::half_space(eps, s),
    }
}

/// ∫ (|R_H|² + |R_V|²)/2 d(sin ψ): waves that come uniformly from the upper hemisphere, thrown back.
fn mean_power(reflection: impl Fn(f64) -> Reflection) -> f64 {
    // Midpoints; the integrand is smooth but near grazing, where eight cells are within 2 %.
    (0..8)
        .map(|i| {
            let r = reflection((f64::from(i) + 0.5) / 8.0);
            (r.horizontal.norm_sqr() + r.vertical.norm_sqr()) / 16.0
        })
        .sum()
}
