//! Rician K of a point: a result, not an input.
//!
//!   K = |Σ rays|² / E|c_scattered|²
//!
//! at the place where the direct ray of an antenna is strongest along the line of the median runner, dry, front bib, on an empty road, with
//! the scatter loss in the middle of its belief. The mean over the waves is that of 512 draws of a fixed stream, so two standard errors
//! are 0.2 dB.

use super::crossing::Crossing;
use super::draw::{CROSSING_DIMS, CrossingDraw, CrossingId, RACE_DIMS, RUNNER_DIMS, RaceDraw, RunnerDraw};
use super::link::{Scene, Sight};
use super::prepared::Prepared;
use super::race::RaceContext;
use crate::course::weather::Wetness;
use num_complex::Complex64;

const DRAWS: u64 = 512;
const STEP_M: f64 = 0.05;

/// K of each antenna of a point in dB, in their order; none with the scattered waves off.
pub fn k_db(prepared: &Prepared, point: usize) -> Option<Vec<f64>> {
    let course = &prepared.course;
    let race = RaceDraw::from_uniforms(course, &prepared.tag, 0, &[0.5; RACE_DIMS]);
    let race = RaceContext::at_point(prepared, race, point);
    if race.scatter_level <= 0.0 {
        return None;
    }
    let row = (0..course.field.placements.len()).fold(0, |best, row| {
        let share = |row: usize| course.field.placements[row].share;
        if share(row) > share(best) { row } else { best }
    });
    let runner = RunnerDraw::from_uniforms(course, &race.draw, row, Wetness::Dry, &[0.5; RUNNER_DIMS]);
    let scene = Scene { race: &race, point, neighbours: &[] };
    let zone_m = prepared.points[point].zone_m;
    let of_antenna = |number: usize| {
        let antenna = &scene.antennas()[number];
        let reader = prepared.points[point].readers.iter().find(|r| r.antennas.contains(&number));
        let channel = &reader.expect("every antenna has a reader").channels[0];
        let id = CrossingId { seed: 0, race: 0, passing: 0, point: point as u64 };
        let draw = CrossingDraw::from_uniforms(course, id, &[0.5; CROSSING_DIMS]);
        let crossing = Crossing::new(&race, &runner, &draw);
        let none = Complex64::new(0.0, 0.0);
        let direct = |x_m: f64| {
            let instant = crossing.stride.at(x_m / crossing.stride.speed_m_s);
            let sight = Sight::new(&antenna.radiator, instant.at);
            let scale = scene.direct_scale(antenna, channel, &instant, &sight);
            let k = scene.taker().taken(sight.k, &sight.field, &instant.worn) * scale;
            (k.norm(), instant, sight)
        };
        let steps = (2.0 * zone_m / STEP_M) as i32;
        let (_, instant, sight) = (0..=steps)
            .map(|i| direct(f64::from(i) * STEP_M - zone_m))
            .fold(None, |best: Option<(f64, _, _)>, here| match best {
                Some(best) if best.0 >= here.0 => Some(best),
                _ => Some(here),
            })
            .expect("a zone has places");
        let rays = scene.amplitude(antenna, none, channel, &instant, &sight).norm_sqr();
        let scattered = (0..DRAWS)
            .map(|passing| {
                let id = CrossingId { passing, ..id };
                let draw = CrossingDraw { identity: id, ..draw.clone() };
                let crossing = Crossing::new(&race, &runner, &draw);
                let waves = crossing.waves(&scene.arrivals(&crossing), number);
                scene.diffuse(&waves, channel, instant.at, &sight).norm_sqr() / DRAWS as f64
            })
            .sum::<f64>();
        10.0 * libm::log10(rays / scattered.max(1e-300))
    };
    Some((0..scene.antennas().len()).map(of_antenna).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::passing::prepare;
    use std::path::Path;
    use std::sync::Arc;

    /// Our estimate: some 8 to 20 dB for a panel at 4 m, 13 to 25 dB over a mat; a dB of loss is a dB of K.
    #[test]
    fn k_of_mats_and_panels() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let best = |scenario: &str, loss_db: f64| {
            let (mut course, _) = crate::course::load(&root.join("scenarios").join(scenario)).unwrap();
            let (tag, _) = crate::tag::load(&root.join("demo-data/tags/birch")).unwrap();
            course.beliefs.scatter_loss_db = crate::random::quantity::Quantity::Pinned(loss_db);
            let prepared = prepare(Arc::new(course), Arc::new(tag));
            let k = k_db(&prepared, prepared.points.len() - 1).expect("waves are on");
            k.into_iter().fold(f64::NEG_INFINITY, f64::max)
        };
        let mat = best("half-marathon-rain-eu-lower.toml", -2.0);
        let panel = best("city-10k-dry-usa.toml", -2.0);
        assert!((10.0..25.0).contains(&mat) && (8.0..20.0).contains(&panel), "{mat} {panel}");
        assert!((best("city-10k-dry-usa.toml", 8.0) - panel - 10.0).abs() < 1e-9);
    }
}
