//! One question of a reader to a tag: the power that arrives, what comes back, and bounds on both that spare rounds.

use super::decode::heard_odds;
use super::diffuse::DiffuseWaves;
use super::link::{NEAREST_M, Scene, Sight};
use super::prepared::{Channel, PreparedAntenna, PreparedReader};
use super::stride::Instant;
use crate::numeric::elementary::ln;
use num_complex::Complex64;
use std::f64::consts::{LOG10_E, PI};

/// One round worked out in full.
#[derive(Clone, Copy, Debug)]
pub struct RoundDetail {
    pub incident_dbm: f64,
    /// Threshold with everything but the sample's own offset, dBm.
    pub threshold_dbm: f64,
    pub backscatter_db: f64,
}

/// One question of a reader to the tag.
pub struct Ask<'a> {
    pub reader: &'a PreparedReader,
    pub antenna: &'a PreparedAntenna,
    pub channel: &'a Channel,
    pub instant: &'a Instant,
    pub sight: &'a Sight,
    pub losses_db: f64,
}

impl Ask<'_> {
    /// Diffuse part of c; none with the effect off.
    pub fn diffuse(&self, scene: &Scene, waves: Option<&DiffuseWaves>) -> Complex64 {
        waves
            .map_or(Complex64::new(0.0, 0.0), |w| scene.diffuse(w, self.channel, self.instant.at, self.sight))
    }

    /// Incident power at the tag, dBm, boresight-equivalent isotropic.
    pub fn incident_dbm(&self, scene: &Scene, diffuse: Complex64) -> f64 {
        self.dbm_of(scene.amplitude(self.antenna, diffuse, self.channel, self.instant, self.sight))
    }

    /// Incident power of amplitude `c`, dBm.
    pub(super) fn dbm_of(&self, c: Complex64) -> f64 {
        self.antenna.port_power_dbm + 10.0 * LOG10_E * ln(c.norm_sqr().max(1e-60)) - self.losses_db
    }

    pub fn received_dbm(&self, detail: &RoundDetail) -> f64 {
        2.0 * detail.incident_dbm - self.antenna.port_power_dbm - self.antenna.cable_loss_db
            + detail.backscatter_db
    }

    /// Odds that the replies decode.
    pub fn heard(&self, scene: &Scene, detail: &RoundDetail) -> f64 {
        if !scene.race.prepared.course.effects.decoding {
            return 1.0;
        }
        heard_odds(self.received_dbm(detail) - self.reader.sensitivity_dbm, self.reader.epc_bits)
    }

    /// λ/4πd of the direct ray.
    fn spread(&self) -> f64 {
        self.channel.wavelength_m / (4.0 * PI * self.sight.distance)
    }

    /// Bound on the sum of direct ray and images; `most_taken` bounds what the tag takes from any ray of its crossing.
    pub(super) fn ray_bound(&self, scene: &Scene, most_taken: f64) -> f64 {
        let antenna = self.antenna;
        let mut sum = self.sight.amplitude;
        for &along_m in &antenna.further_m {
            let path = self.instant.at - (antenna.radiator.at + antenna.radiator.across * along_m);
            let distance = path.norm().max(NEAREST_M);
            sum += antenna.radiator.amplitude(path * (1.0 / distance)) * self.sight.distance / distance;
        }
        if antenna.ground {
            let image = antenna.radiator.at.mirrored_in_z();
            let path = self.instant.at - image;
            let distance = path.norm();
            let k = path * (1.0 / distance);
            let reflection = scene.race.road(scene.point).at(k.z);
            let kept = reflection.horizontal.norm_sqr().max(reflection.vertical.norm_sqr()).sqrt();
            sum += antenna.radiator.amplitude(k.mirrored_in_z()) * kept * self.sight.distance / distance;
        }
        // An image in a metal plane is never nearer than the direct path and never better than the peak gain.
        let planes = scene.race.prepared.points[scene.point].planes.len();
        sum += antenna.radiator.peak_amplitude * planes as f64;
        sum * self.spread() * most_taken
    }

    /// Bound on the scattered waves at this distance.
    pub(super) fn diffuse_bound(&self, waves: &DiffuseWaves) -> f64 {
        waves.bound(self.sight.distance, self.channel.wavelength_m)
    }
}
