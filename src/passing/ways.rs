//! The ways from an antenna to the tag, told one by one, so that a pocket calculator can work a round out again.
//!
//!   part of a way = P_port + G + 20 log₁₀(λ/4πd) − screens + taken − losses    at its own phase
//!   P_inc = 20 log₁₀ |Σ 10^(part/20)·e^(jφ)| over all ways and the scattered waves
//!
//! All of it is what `link` sums; nothing here is worked out twice.

use super::ask::Ask;
use super::diffuse::DiffuseWaves;
use super::link::{Origin, Ray, Scene, Way};
use super::screens::{CAP_AMPLITUDE, each_screen};
use crate::units::amplitude_ratio_to_db;
use num_complex::Complex64;
use serde::Serialize;

/// Screens that take less than this are left out of the list, dB; their sum is in `screens_db`.
const LEAST_SCREEN_DB: f64 = 1e-9;

/// A neighbour in the way.
#[derive(Clone, Debug, Serialize)]
pub struct ScreenFacts {
    /// Number in the list of neighbours.
    pub neighbour: usize,
    pub loss_db: f64,
}

/// One way.
#[derive(Clone, Debug, Serialize)]
pub struct WayFacts {
    pub way: Way,
    pub distance_m: f64,
    /// Gain of the antenna that way.
    pub gain_dbi: f64,
    pub screens: Vec<ScreenFacts>,
    /// All screens together, 30 dB at most.
    pub screens_db: f64,
    /// What the worn tag takes, against broadside in its lab mount; polarisation and reflection included.
    pub taken_db: f64,
    /// Power of this way alone at the tag.
    pub part_dbm: f64,
    pub phase_deg: f64,
}

/// The scattered waves of one round together.
#[derive(Clone, Debug, Serialize)]
pub struct ScatteredFacts {
    pub part_dbm: f64,
    pub phase_deg: f64,
}

/// All ways of one round.
pub fn ways(scene: &Scene, ask: &Ask) -> Vec<WayFacts> {
    let direct = Origin { way: Way::Direct, from: ask.antenna.radiator.at, amplitude: ask.sight.amplitude };
    let scale = scene.direct_scale(ask.antenna, ask.channel, ask.instant, ask.sight);
    let ray = Ray::direct(ask.instant, ask.sight, ask.channel.wave_number, scale);
    let mut out = vec![way(scene, ask, &ray, &direct)];
    scene.each_image(ask.antenna, ask.channel, ask.instant, |ray, from| {
        out.push(way(scene, ask, &ray, &from))
    });
    out
}

fn way(scene: &Scene, ask: &Ask, ray: &Ray, origin: &Origin) -> WayFacts {
    let (mut screens, mut all) = (Vec::new(), 1.0);
    let at = ask.instant.at;
    let below = origin.way == Way::Road;
    let wavelength_m = ask.channel.wavelength_m;
    each_screen(scene.neighbours, at.x, origin.from, at, below, wavelength_m, |neighbour, amplitude| {
        all *= amplitude;
        let loss_db = 0.0 - amplitude_ratio_to_db(amplitude);
        if loss_db > LEAST_SCREEN_DB {
            screens.push(ScreenFacts { neighbour, loss_db });
        }
    });
    let taken = scene.taker().taken(ray.k, &ray.field, &ray.worn);
    let part = scene.taker().amplitude(ray);
    WayFacts {
        way: origin.way,
        distance_m: ray.distance,
        gain_dbi: amplitude_ratio_to_db(origin.amplitude),
        screens,
        screens_db: 0.0 - amplitude_ratio_to_db(all.max(CAP_AMPLITUDE)),
        taken_db: amplitude_ratio_to_db(taken.norm()),
        part_dbm: ask.dbm_of(part),
        phase_deg: part.arg().to_degrees(),
    }
}

/// The scattered waves together; none with the effect off.
pub fn scattered(scene: &Scene, ask: &Ask, waves: Option<&DiffuseWaves>) -> Option<ScatteredFacts> {
    let c: Complex64 = waves.map(|_| ask.diffuse(scene, waves))?;
    Some(ScatteredFacts { part_dbm: ask.dbm_of(c), phase_deg: c.arg().to_degrees() })
}
