//! The sum of the rays: incident power at the tag, one line per term.
//!
//!   c = Σ √G·(λ/4πd)·e^(−jkd)·F·body·10^(−L_block/20) + diffuse
//!
//! over the direct ray, the road's image (antennas higher than 0.15 m) and the images in metal planes. The same c serves both
//! directions of one antenna (reciprocity), so P_inc = P_port + 20 log₁₀|c| − L_cover − L_film − L_body and
//! P_rx = 2 P_inc − P_port − L_cable + η.
//! P_inc is boresight-equivalent isotropic power, comparable with the lab threshold.
//! Source: H. T. Friis 1946 for the ray; J. D. Griffin, G. D. Durgin, IEEE Antennas Propag. Mag. 51(2) 2009, 11-25,
//! for the backscatter budget (abstract; form from memory).

use super::body::mirror;
use super::diffuse::DiffuseWaves;
use super::dipole;
use super::fresnel::METAL;
use super::prepared::{Channel, PreparedAntenna};
use super::race::RaceContext;
use super::screens::{self, Neighbour};
use super::stride::Instant;
use super::turn::turn;
use crate::vector::{Field, Vec3};
use num_complex::Complex64;
use std::f64::consts::PI;

/// The direct line from an antenna to the tag.
#[derive(Clone, Copy, Debug)]
pub struct Sight {
    pub k: Vec3,
    pub distance: f64,
    /// √G towards the tag.
    pub amplitude: f64,
}

impl Sight {
    pub fn new(antenna: &PreparedAntenna, tag: Vec3) -> Sight {
        let path = tag - antenna.radiator.at;
        // Nearer than 2 cm the far-field form means nothing.
        let distance = path.norm().max(0.02);
        let k = path * (1.0 / distance);
        Sight { k, distance, amplitude: antenna.radiator.amplitude(k) }
    }
}

/// What surrounds one crossing.
pub struct Scene<'a> {
    pub race: &'a RaceContext<'a>,
    pub point: usize,
    pub neighbours: &'a [Neighbour],
}

impl Scene<'_> {
    pub fn antennas(&self) -> &[PreparedAntenna] {
        &self.race.prepared.points[self.point].antennas
    }

    /// Complex amplitude c between antenna and tag on one channel.
    pub fn amplitude(
        &self,
        antenna: &PreparedAntenna,
        diffuse: Complex64,
        channel: &Channel,
        instant: &Instant,
        sight: &Sight,
    ) -> Complex64 {
        let radiator = &antenna.radiator;
        let mut sum = self.ray(
            channel,
            instant,
            Ray {
                from: radiator.at,
                k: sight.k,
                distance: sight.distance,
                field: radiator.field(sight.k),
                below_ground: false,
            },
        ) * sight.amplitude;
        if antenna.ground {
            sum += self.ground(antenna, channel, instant);
        }
        for plane in &self.race.prepared.points[self.point].planes {
            sum += self.metal_plane(antenna, plane.at, plane.normal, channel, instant);
        }
        sum + diffuse
    }

    /// Sum of the diffuse waves at the tag, on the scale of c.
    pub fn diffuse(
        &self,
        antenna: &PreparedAntenna,
        waves: &DiffuseWaves,
        channel: &Channel,
        at: Vec3,
        sight: &Sight,
    ) -> Complex64 {
        let level = antenna.radiator.peak_amplitude * self.race.diffuse_amplitude * channel.wavelength_m
            / (4.0 * PI * sight.distance);
        waves.sum(at, channel.wave_number) * level
    }

    fn ground(&self, antenna: &PreparedAntenna, channel: &Channel, instant: &Instant) -> Complex64 {
        let image = antenna.radiator.at.mirrored_in_z();
        let path = instant.at - image;
        let distance = path.norm();
        let arriving = path * (1.0 / distance);
        let leaving = arriving.mirrored_in_z();
        let reflection = self.race.roads[self.point].at(arriving.z);
        let (_, field) = mirror(leaving, &antenna.radiator.field(leaving), crate::vector::Z, &reflection);
        let ray = Ray { from: image, k: arriving, distance, field, below_ground: true };
        self.ray(channel, instant, ray) * antenna.radiator.amplitude(leaving)
    }

    fn metal_plane(
        &self,
        antenna: &PreparedAntenna,
        at: Vec3,
        normal: Vec3,
        channel: &Channel,
        instant: &Instant,
    ) -> Complex64 {
        let depth = (antenna.radiator.at - at).dot(normal);
        let tag_depth = (instant.at - at).dot(normal);
        // Only what stands on the antenna's side of the plane sees the image.
        if depth * tag_depth <= 0.0 {
            return Complex64::new(0.0, 0.0);
        }
        let image = antenna.radiator.at - normal * (2.0 * depth);
        let path = instant.at - image;
        let distance = path.norm();
        let arriving = path * (1.0 / distance);
        let leaving = arriving - normal * (2.0 * arriving.dot(normal));
        let (_, field) = mirror(leaving, &antenna.radiator.field(leaving), normal, &METAL);
        let ray = Ray { from: image, k: arriving, distance, field, below_ground: false };
        self.ray(channel, instant, ray) * antenna.radiator.amplitude(leaving)
    }

    /// (λ/4πd)·e^(−jkd)·F·body·10^(−L_block/20) of one ray.
    fn ray(&self, channel: &Channel, instant: &Instant, ray: Ray) -> Complex64 {
        let effects = &self.race.prepared.course.effects;
        let taken = if effects.body {
            self.race.body.taken(ray.k, &ray.field, &instant.worn, channel.wave_number, effects.tag_pattern)
        } else {
            dipole::taken(ray.k, &ray.field, instant.worn.axis, effects.tag_pattern)
        };
        let blocked = if self.neighbours.is_empty() {
            1.0
        } else {
            screens::neighbours_amplitude(
                self.neighbours,
                instant.at.x,
                ray.from,
                instant.at,
                ray.below_ground,
                channel.wavelength_m,
            )
        };
        let spread = channel.wavelength_m / (4.0 * PI * ray.distance);
        taken * turn(-channel.wave_number * ray.distance) * (spread * blocked)
    }
}

struct Ray {
    from: Vec3,
    k: Vec3,
    distance: f64,
    field: Field,
    below_ground: bool,
}

/// Two isotropic ends over a road: excess over the direct ray in dB, for one polarisation.
/// Kept as the closed form the ray sum must reduce to; used by tests and by `explain`'s notes.
pub fn two_ray_excess(h1_m: f64, h2_m: f64, d_m: f64, reflection: Complex64, wave_number: f64) -> f64 {
    let d1 = libm::hypot(d_m, h1_m - h2_m);
    let d2 = libm::hypot(d_m, h1_m + h2_m);
    let sum = Complex64::new(1.0, 0.0) + reflection * turn(-wave_number * (d2 - d1)) * (d1 / d2);
    crate::units::amplitude_ratio_to_db(sum.norm())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::surface::Material;
    use crate::passing::{fresnel, materials};
    use crate::units::wave_number_rad_m;

    /// Source: two-ray sum with Fresnel coefficients of ITU-R P.2040 concrete, 915 MHz, isotropic ends, second end
    /// at 1.2 m, evaluated with Python. Tolerance: half of the last digit.
    #[test]
    fn val_two_ray() {
        let eps = materials::road(Material::Concrete, 915.0).unwrap();
        let k = wave_number_rad_m(915.0);
        for (h1, d, h_db, v_db) in [
            (1.5, 2.0, -2.152, 1.286),
            (1.5, 3.0, -2.219, 1.019),
            (1.5, 5.0, -5.568, 0.513),
            (1.5, 10.0, -5.823, -1.775),
            (2.5, 3.0, 2.328, -1.705),
        ] {
            let sin_psi = (h1 + 1.2) / libm::hypot(d, h1 + 1.2);
            let r = fresnel::half_space(eps, sin_psi);
            assert!((two_ray_excess(h1, 1.2, d, r.horizontal, k) - h_db).abs() < 6e-4);
            assert!((two_ray_excess(h1, 1.2, d, r.vertical, k) - v_db).abs() < 6e-4);
        }
    }
}
