//! Four rounds at once: the arithmetic of places, gains and rays, taken for four rounds in one go.
//!
//! The bodies of these loops hold no jump and no call, so the compiler turns them into vector arithmetic: two rounds a register
//! on any 64-bit machine, four where the processor has 256-bit registers (asked at run time). Each round goes through the
//! same additions and multiplications in the same order either way and nothing is fused, so the bytes of a result do not depend on the
//! processor.

use super::antenna_pattern::Radiator;
use super::diffuse::DiffuseWaves;
use super::link::{Ray, Sight, Taker};
use super::stride::{Instant, Stride};
use crate::tag::closeness;
use crate::vector::Vec3;
use multiversion::multiversion;
use num_complex::Complex64;
use std::f64::consts::FRAC_PI_2;

/// Rounds taken together.
pub const LANES: usize = 4;

/// One round as far as geometry knows it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    pub instant: Instant,
    pub sight: Sight,
    /// Closeness of the tag to the body.
    pub closeness: f64,
}

/// Where the tag is at each of the times (s from the line), how it sits and how the antenna sees it.
#[multiversion(targets("x86_64+avx2"))]
pub fn look(stride: &Stride, times_s: &[f64; LANES], radiators: [&Radiator; LANES], out: &mut [Seen; LANES]) {
    for lane in 0..LANES {
        let instant = stride.at(times_s[lane]);
        let sight = Sight::new(radiators[lane], instant.at);
        out[lane] = Seen { instant, sight, closeness: closeness(instant.worn.gap_mm) };
    }
}

/// Antennas seen from a stretch of the road.
#[derive(Clone, Copy, Debug, Default)]
pub struct View {
    /// √G/d in the middle of the stretch, 1/m.
    pub bare: [f64; LANES],
    /// Most √G towards any place of it.
    pub most: [f64; LANES],
    /// Least distance, m.
    pub near_m: [f64; LANES],
}

/// How antennas see the places within `half_m` of `middle`.
#[multiversion(targets("x86_64+avx2"))]
pub fn view(radiators: [&Radiator; LANES], middle: Vec3, half_m: f64) -> View {
    let mut out = View::default();
    for (lane, radiator) in radiators.into_iter().enumerate() {
        let sight = Sight::new(radiator, middle);
        out.bare[lane] = sight.amplitude / sight.distance;
        // The angle under which half the stretch is seen: asin x ≤ x·π/2.
        let half_rad = FRAC_PI_2 * (half_m / sight.distance).min(1.0);
        out.most[lane] = radiator.most_amplitude(sight.k, half_rad);
        out.near_m[lane] = (sight.distance - half_m).max(0.02);
    }
    out
}

/// What the tag takes from the direct ray of each round; `scale` as in `Ray`, wave numbers in rad/m.
#[multiversion(targets("x86_64+avx2"))]
pub fn direct_rays(
    taker: Taker,
    seen: &[Seen; LANES],
    wave_number: &[f64; LANES],
    scale: &[f64; LANES],
) -> [Complex64; LANES] {
    let mut out = [Complex64::new(0.0, 0.0); LANES];
    // The switches stand outside the loop: a loop with a switch in it is not taken four at a time.
    if let Taker { body: Some(body), patterned: true } = taker {
        for lane in 0..LANES {
            let Seen { instant, sight, .. } = &seen[lane];
            let ray = Ray::direct(instant, sight, wave_number[lane], scale[lane]);
            out[lane] = ray.taken_by(body.taken(ray.k, &ray.field, &ray.worn, true));
        }
    } else {
        for lane in 0..LANES {
            let Seen { instant, sight, .. } = &seen[lane];
            out[lane] = taker.amplitude(&Ray::direct(instant, sight, wave_number[lane], scale[lane]));
        }
    }
    out
}

/// What the tag takes from each ray.
#[multiversion(targets("x86_64+avx2"))]
pub fn rays(taker: Taker, rays: &[Ray; LANES]) -> [Complex64; LANES] {
    let mut out = [Complex64::new(0.0, 0.0); LANES];
    if let Taker { body: Some(body), patterned: true } = taker {
        for (ray, c) in rays.iter().zip(&mut out) {
            *c = ray.taken_by(body.taken(ray.k, &ray.field, &ray.worn, true));
        }
    } else {
        for (ray, c) in rays.iter().zip(&mut out) {
            *c = taker.amplitude(ray);
        }
    }
    out
}

/// Sum of diffuse waves at one place; here it is the waves that are taken several at a time.
#[multiversion(targets("x86_64+avx2"))]
pub fn diffuse_sum(waves: &DiffuseWaves, at: Vec3, distance: f64, wave_number: f64) -> Complex64 {
    waves.sum(at, distance, wave_number)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::antenna::{Antenna, Polarisation};
    use crate::passing::body::Torsos;
    use crate::passing::body::tests::any_worn;
    use crate::passing::diffuse::Arrivals;
    use crate::random::{Purpose, Stream};
    use crate::vector::Field;

    fn ray(stream: &mut Stream) -> Ray {
        let mut vector = || Vec3::new(stream.uniform() - 0.5, stream.uniform() - 0.5, stream.uniform() - 0.5);
        let (k, re, im) = (vector().unit(), vector(), vector());
        let field = Field {
            x: Complex64::new(re.x, im.x),
            y: Complex64::new(re.y, im.y),
            z: Complex64::new(re.z, im.z),
        };
        let worn = any_worn(stream);
        let (distance, scale) = (0.1 + 5.0 * stream.uniform(), stream.uniform());
        Ray { k, distance, field, scale, worn, wave_number: 18.0 + 2.0 * stream.uniform() }
    }

    fn radiator(stream: &mut Stream, directive: bool) -> Radiator {
        let antenna = Antenna {
            name: "a".into(),
            x_m: stream.uniform(),
            y_m: stream.uniform(),
            z_m: 3.0 * stream.uniform(),
            azimuth_deg: 360.0 * stream.uniform(),
            elevation_deg: 180.0 * stream.uniform() - 90.0,
            gain_dbi: 6.0,
            horizontal_beamwidth_deg: 70.0,
            vertical_beamwidth_deg: 60.0,
            front_to_back_db: 20.0,
            polarisation: Polarisation::Circular { axial_ratio_db: 1.5, right_handed: true },
            elements: crate::course::elements::Elements::ONE,
            power_dbm: 30.0,
            cable_loss_db: 0.0,
        };
        Radiator::new(&antenna, directive)
    }

    /// One ray alone is plain arithmetic; four at once may run in wide registers: the same bits on any processor.
    #[test]
    fn four_rays_abreast_have_the_bits_of_each_alone() {
        let body = Torsos::at(900.0);
        let mut stream = Stream::new(5, Purpose::Runner, 0, 0, 0);
        for _ in 0..500 {
            let four = [(); LANES].map(|()| ray(&mut stream));
            for (body, patterned) in
                [(Some(&*body), true), (Some(&*body), false), (None, true), (None, false)]
            {
                let taker = Taker { body, patterned };
                assert_eq!(rays(taker, &four), four.map(|ray| taker.amplitude(&ray)));
            }
        }
    }

    #[test]
    fn four_looks_abreast_have_the_bits_of_each_alone() {
        let mut stream = Stream::new(6, Purpose::Runner, 0, 0, 0);
        for i in 0..500 {
            let four = [(); LANES].map(|()| radiator(&mut stream, i % 3 > 0));
            let stride = Stride::any(&mut stream);
            let times_s = [(); LANES].map(|()| 2.0 * stream.uniform() - 1.0);
            let mut seen = [Seen::default(); LANES];
            look(&stride, &times_s, four.each_ref(), &mut seen);
            let place = Vec3::new(0.3, stream.uniform(), 1.2);
            let view = view(four.each_ref(), place, 0.2);
            let scale = times_s.map(f64::abs);
            let taker = Taker { body: None, patterned: true };
            let direct = direct_rays(taker, &seen, &[19.0; LANES], &scale);
            for lane in 0..LANES {
                let instant = stride.at(times_s[lane]);
                let sight = Sight::new(&four[lane], instant.at);
                let Seen { instant: i, sight: s, closeness: c } = seen[lane];
                assert_eq!(
                    (i.at, i.worn.axis, i.worn.normal),
                    (instant.at, instant.worn.axis, instant.worn.normal)
                );
                assert_eq!(
                    (s.k, s.distance, s.amplitude, s.field),
                    (sight.k, sight.distance, sight.amplitude, sight.field)
                );
                assert_eq!(c, closeness(instant.worn.gap_mm));
                let sight = Sight::new(&four[lane], place);
                assert_eq!(view.bare[lane], sight.amplitude / sight.distance);
                let ray = Ray::direct(&seen[lane].instant, &seen[lane].sight, 19.0, scale[lane]);
                assert_eq!(direct[lane], taker.amplitude(&ray));
            }
            let arrivals = Arrivals::draw(&mut stream, 0.3, |k, e| e.dot(Vec3::new(0.0, 1.0, k.z)));
            let waves = DiffuseWaves::draw(&mut stream, &arrivals, 0.5, 6.0);
            assert_eq!(diffuse_sum(&waves, place, 3.0, 19.0), waves.sum(place, 3.0, 19.0));
        }
    }
}
