//! The sum of the rays: incident power at the tag, one line per term.
//!
//!   c = Σ √G·(λ/4πd)·e^(−jkd)·T·10^(−L_block/20) + scattered
//!
//! over the direct ray (of each element fed together: a sum of near fields, its image left out), the road's image (antennas higher than
//! 0.15 m) and the images in metal planes. The same c serves both
//! directions of one antenna (reciprocity), so P_inc = P_port + 20 log₁₀|c| − L_cover − L_film − L_body and
//! P_rx = 2 P_inc − P_port − L_cable + η.
//! P_inc is boresight-equivalent isotropic power, comparable with the lab threshold.
//! Source: H. T. Friis 1946 for the ray; J. D. Griffin, G. D. Durgin, IEEE Antennas Propag. Mag. 51(2) 2009, 11-25,
//! for the backscatter budget (abstract; form from memory).

use super::antenna_pattern::Radiator;
use super::body::{Torsos, Worn};
use super::crossing::Crossing;
use super::diffuse::{Arrivals, DiffuseWaves};
use super::four_at_once;
use super::fresnel::{METAL, mirror};
use super::prepared::{Channel, PreparedAntenna};
use super::race::RaceContext;
use super::screens::{self, Neighbour};
use super::stride::Instant;
use super::turn::turn;
use crate::units::wavelength_m;
use crate::vector::{Field, Vec3};
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::PI;

/// Nearer than this the far-field form means nothing, m.
pub const NEAREST_M: f64 = 0.02;

/// The direct line from an antenna to the tag.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sight {
    pub k: Vec3,
    pub distance: f64,
    /// √G towards the tag.
    pub amplitude: f64,
    /// Unit field sent there.
    pub field: Field,
}

impl Sight {
    #[inline(always)]
    pub fn new(radiator: &Radiator, tag: Vec3) -> Sight {
        let path = tag - radiator.at;
        let distance = path.norm().max(NEAREST_M);
        let k = path * (1.0 / distance);
        Sight { k, distance, amplitude: radiator.amplitude(k), field: radiator.field(k) }
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
        let taker = self.taker();
        let scale = self.direct_scale(antenna, channel, instant, sight);
        let mut sum = taker.amplitude(&Ray::direct(instant, sight, channel.wave_number, scale));
        self.each_image(antenna, channel, instant, |ray, _| sum += taker.amplitude(&ray));
        sum + diffuse
    }

    /// What a tag makes of a ray on this day.
    pub fn taker(&self) -> Taker<'_> {
        let effects = &self.race.prepared.course.effects;
        Taker { body: self.race.prepared.torsos.as_deref(), patterned: effects.tag_pattern }
    }

    /// √G·(λ/4πd)·10^(−L_block/20) of the direct ray.
    pub fn direct_scale(
        &self,
        antenna: &PreparedAntenna,
        channel: &Channel,
        instant: &Instant,
        sight: &Sight,
    ) -> f64 {
        let from = antenna.radiator.at;
        self.scale(channel, instant, from, false, sight.distance) * sight.amplitude
    }

    /// (λ/4πd)·10^(−L_block/20) of a ray that seems to come from `from`.
    fn scale(
        &self,
        channel: &Channel,
        instant: &Instant,
        from: Vec3,
        below_ground: bool,
        distance: f64,
    ) -> f64 {
        let blocked = screens::neighbours_amplitude(
            self.neighbours,
            instant.at.x,
            from,
            instant.at,
            below_ground,
            channel.wavelength_m,
        );
        channel.wavelength_m / (4.0 * PI * distance) * blocked
    }

    /// Every ray between antenna and tag but the direct one of its first element: those of further elements, reflected rays.
    pub fn each_image(
        &self,
        antenna: &PreparedAntenna,
        channel: &Channel,
        instant: &Instant,
        mut visit: impl FnMut(Ray, Origin),
    ) {
        let radiator = &antenna.radiator;
        let mut ray = |way: Way, from: Vec3, k: Vec3, distance: f64, field: Field, amplitude: f64| {
            let scale = self.scale(channel, instant, from, way == Way::Road, distance) * amplitude;
            let ray = Ray { k, distance, field, scale, worn: instant.worn, wave_number: channel.wave_number };
            visit(ray, Origin { way, from, amplitude });
        };
        for &along_m in &antenna.further_m {
            let from = radiator.at + radiator.across * along_m;
            let path = instant.at - from;
            let distance = path.norm().max(NEAREST_M);
            let k = path * (1.0 / distance);
            ray(Way::Element, from, k, distance, radiator.field(k), radiator.amplitude(k));
        }
        if antenna.ground {
            let image = radiator.at.mirrored_in_z();
            let path = instant.at - image;
            let distance = path.norm();
            let arriving = path * (1.0 / distance);
            let leaving = arriving.mirrored_in_z();
            let reflection = self.race.road(self.point).at(arriving.z);
            let (_, field) = mirror(leaving, &radiator.field(leaving), crate::vector::Z, &reflection);
            ray(Way::Road, image, arriving, distance, field, radiator.amplitude(leaving));
        }
        for plane in &self.race.prepared.points[self.point].planes {
            let depth = (radiator.at - plane.at).dot(plane.normal);
            let tag_depth = (instant.at - plane.at).dot(plane.normal);
            // Only what stands on the antenna's side of the plane sees the image.
            if depth * tag_depth <= 0.0 {
                continue;
            }
            let image = radiator.at - plane.normal * (2.0 * depth);
            let path = instant.at - image;
            let distance = path.norm();
            let arriving = path * (1.0 / distance);
            let leaving = arriving - plane.normal * (2.0 * arriving.dot(plane.normal));
            let (_, field) = mirror(leaving, &radiator.field(leaving), plane.normal, &METAL);
            ray(Way::Plane, image, arriving, distance, field, radiator.amplitude(leaving));
        }
    }

    /// Where the scattered waves of a crossing come from and what the tag, worn as on average over it, takes from them.
    pub fn arrivals(&self, crossing: &Crossing) -> Arrivals {
        let wavelength_m = wavelength_m(self.race.prepared.mid_freq_mhz);
        let (worn, taker) = (crossing.stride.mean_worn(), self.taker());
        let at = crossing.stride.mean_place(0.0);
        let mut stream = crossing.draw.identity.arrivals();
        Arrivals::draw(&mut stream, self.race.road_power[self.point], |k, field| {
            // Neighbours move with the runner, so what they cover they cover all along.
            let from = at - k * screens::REACH_M;
            let seen =
                screens::neighbours_amplitude(self.neighbours, at.x, from, at, from.z < 0.0, wavelength_m);
            taker.taken(k, field, &worn) * seen
        })
    }

    /// Sum of the scattered waves at the tag, on the scale of c.
    pub fn diffuse(&self, waves: &DiffuseWaves, channel: &Channel, at: Vec3, sight: &Sight) -> Complex64 {
        four_at_once::diffuse_sum(waves, at, sight.distance, channel.wave_number)
    }
}

/// How a ray gets to the tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    Direct,
    /// From a further element fed together with the first.
    Element,
    /// Reflected by the road.
    Road,
    /// Reflected by a metal plane.
    Plane,
}

/// Where a ray seems to come from.
#[derive(Clone, Copy, Debug)]
pub struct Origin {
    pub way: Way,
    pub from: Vec3,
    /// √G that way.
    pub amplitude: f64,
}

/// One ray on its way to the tag.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ray {
    /// Direction of travel at the tag.
    pub k: Vec3,
    pub distance: f64,
    pub field: Field,
    /// √G·(λ/4πd)·10^(−L_block/20).
    pub scale: f64,
    pub worn: Worn,
    pub wave_number: f64,
}

impl Ray {
    #[inline(always)]
    pub fn direct(instant: &Instant, sight: &Sight, wave_number: f64, scale: f64) -> Ray {
        let Sight { k, distance, field, .. } = *sight;
        Ray { k, distance, field, scale, worn: instant.worn, wave_number }
    }

    /// `taken`·e^(−jkd) on the scale of the ray.
    #[inline(always)]
    pub fn taken_by(&self, taken: Complex64) -> Complex64 {
        taken * turn(-self.wave_number * self.distance) * self.scale
    }
}

/// A worn tag, or one in free air (Σ over its currents along and crosswise).
#[derive(Clone, Copy)]
pub struct Taker<'a> {
    pub body: Option<&'a Torsos>,
    pub patterned: bool,
}

impl Taker<'_> {
    /// √G·(λ/4πd)·e^(−jkd)·T·10^(−L_block/20) of one ray.
    #[inline(always)]
    pub fn amplitude(&self, ray: &Ray) -> Complex64 {
        ray.taken_by(self.taken(ray.k, &ray.field, &ray.worn))
    }

    /// What the tag takes from a wave along `k` with field `e`, relative to broadside in its lab mount.
    #[inline(always)]
    pub fn taken(&self, k: Vec3, e: &Field, worn: &Worn) -> Complex64 {
        match self.body {
            Some(body) => body.taken(k, e, worn, self.patterned),
            None => worn.bare(k, e, self.patterned),
        }
    }
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
