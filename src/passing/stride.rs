//! Where the tag is and how it is turned at time t, from the draw.
//!
//! The runner moves with constant speed along x and crosses the line x = 0 at t = 0. The tag bounces at step rate,
//! the trunk sways in yaw at stride rate (half the step rate), the gap flutters at step rate:
//!
//!   x = v t,  z = h + b sin(2πf t + φ₁),  yaw = ψ + s sin(πf t + φ₂),  gap = own spacer + air gap·(1 + u sin(2πf t + φ₃))
//!
//! Axis and normal: at rest the bib's normal is turned by the placement's yaw from +x and its axis is horizontal across
//! the chest (plus the placement's roll); then the trunk leans forward about y, then turns in yaw about z.
//! Sources: steps/min = 150 + 6.0 v, a study of inter-individual stride frequency from wearable data (VU
//! Amsterdam, abstract); lean 7 ± 4°, H.-L. Teng, C. M. Powers, Med. Sci. Sports Exerc. 47 (2015) 625; bounce ±4 cm,
//! common practice.

use super::draw::{CrossingDraw, RunnerDraw};
use crate::course::field::PlacementRow;
use crate::numeric::elementary::sin_cos;
use crate::passing::body::{Worn, nearest_radius};
use crate::units::db_to_amplitude_ratio;
use crate::vector::Vec3;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Motion of one crossing, ready to be asked for any instant.
#[derive(Clone, Copy, Debug)]
pub struct Stride {
    pub speed_m_s: f64,
    lateral_m: f64,
    height_m: f64,
    step_rad_s: f64,
    bounce_m: f64,
    step_phase_rad: f64,
    yaw_rad: f64,
    sway_rad: f64,
    sway_phase_rad: f64,
    own_spacer_mm: f64,
    air_gap_mm: f64,
    flutter: f64,
    flutter_phase_rad: f64,
    /// Axis and normal of the leaning trunk before its yaw.
    axis: Vec3,
    normal: Vec3,
    /// Crosswise current of the tag and number of the torso's radius.
    cross: Complex64,
    torso: usize,
}

/// Place and posture of the tag at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub struct Instant {
    pub at: Vec3,
    pub worn: Worn,
}

impl Stride {
    pub fn new(
        runner: &RunnerDraw,
        crossing: &CrossingDraw,
        placement: &PlacementRow,
        own_spacer_mm: f64,
        speed_factor: f64,
        moving_trunk: bool,
    ) -> Stride {
        let (sin_p, cos_p) = libm::sincos((placement.yaw_deg * runner.side).to_radians());
        let (sin_r, cos_r) = libm::sincos(placement.roll_deg.to_radians());
        let (sin_l, cos_l) = libm::sincos(runner.lean_deg.to_radians());
        let lean = |v: Vec3| Vec3::new(v.x * cos_l + v.z * sin_l, v.y, v.z * cos_l - v.x * sin_l);
        let on = f64::from(u8::from(moving_trunk));
        let (sin_x, cos_x) = libm::sincos(runner.cross_phase_rad);
        Stride {
            speed_m_s: runner.speed_m_s * speed_factor,
            lateral_m: crossing.lateral_m,
            height_m: runner.tag_height_m,
            step_rad_s: 2.0 * PI * runner.steps_per_min / 60.0,
            bounce_m: runner.bounce_m * on,
            step_phase_rad: crossing.step_phase_rad,
            yaw_rad: crossing.yaw_deg.to_radians(),
            sway_rad: runner.sway_deg.to_radians() * on,
            sway_phase_rad: crossing.sway_phase_rad,
            own_spacer_mm,
            air_gap_mm: runner.air_gap_mm,
            flutter: runner.flutter_share * on,
            flutter_phase_rad: crossing.flutter_phase_rad,
            axis: lean(Vec3::new(-sin_p * cos_r, cos_p * cos_r, sin_r)),
            normal: lean(Vec3::new(cos_p, sin_p, 0.0)),
            cross: Complex64::new(cos_x, sin_x) * db_to_amplitude_ratio(-runner.cross_polar_db),
            torso: nearest_radius(runner.torso_radius_m),
        }
    }

    /// Gap without flutter, own spacer included, mm.
    pub fn mean_gap_mm(&self) -> f64 {
        self.own_spacer_mm + self.air_gap_mm
    }

    /// Place and posture `time_s` after the line is crossed.
    #[inline(always)]
    pub fn at(&self, time_s: f64) -> Instant {
        let step = self.step_rad_s * time_s;
        let (bounce, _) = sin_cos(step + self.step_phase_rad);
        let (flutter, _) = sin_cos(step + self.flutter_phase_rad);
        let (sway, _) = sin_cos(0.5 * step + self.sway_phase_rad);
        let (sin, cos) = sin_cos(self.yaw_rad + self.sway_rad * sway);
        let turned = |v: Vec3| Vec3::new(v.x * cos - v.y * sin, v.x * sin + v.y * cos, v.z);
        Instant {
            at: Vec3::new(self.speed_m_s * time_s, self.lateral_m, self.height_m + self.bounce_m * bounce),
            worn: Worn {
                axis: turned(self.axis),
                normal: turned(self.normal),
                gap_mm: self.own_spacer_mm + self.air_gap_mm * (1.0 + self.flutter * flutter),
                cross: self.cross,
                torso: self.torso,
            },
        }
    }

    /// Yaw of the trunk at time `time_s`, sway included.
    pub fn yaw_deg(&self, time_s: f64) -> f64 {
        let sway = sin_cos(0.5 * self.step_rad_s * time_s + self.sway_phase_rad).0;
        (self.yaw_rad + self.sway_rad * sway).to_degrees()
    }

    /// Place of the tag without bounce at time `time_s`.
    pub fn mean_place(&self, time_s: f64) -> Vec3 {
        Vec3::new(self.speed_m_s * time_s, self.lateral_m, self.height_m)
    }

    /// How the tag sits without sway and flutter.
    pub fn mean_worn(&self) -> Worn {
        let (sin, cos) = sin_cos(self.yaw_rad);
        let turned = |v: Vec3| Vec3::new(v.x * cos - v.y * sin, v.x * sin + v.y * cos, v.z);
        let (cross, torso, gap_mm) = (self.cross, self.torso, self.mean_gap_mm());
        Worn { axis: turned(self.axis), normal: turned(self.normal), gap_mm, cross, torso }
    }

    /// Largest rise and fall of the tag, m.
    pub fn bounce_m(&self) -> f64 {
        self.bounce_m.abs()
    }

    /// Smallest and largest gap of this crossing, mm.
    pub fn gap_range_mm(&self) -> (f64, f64) {
        let swing = self.air_gap_mm * self.flutter.abs();
        (self.own_spacer_mm + self.air_gap_mm - swing, self.own_spacer_mm + self.air_gap_mm + swing)
    }
}

#[cfg(test)]
impl Stride {
    /// Some runner or other.
    pub fn any(stream: &mut crate::random::Stream) -> Stride {
        let mut u = || stream.uniform();
        Stride {
            speed_m_s: 2.0 + 3.0 * u(),
            lateral_m: 4.0 * u() - 2.0,
            height_m: 1.0 + 0.4 * u(),
            step_rad_s: 15.0 + 4.0 * u(),
            bounce_m: 0.05 * u(),
            step_phase_rad: std::f64::consts::TAU * u(),
            yaw_rad: u() - 0.5,
            sway_rad: 0.3 * u(),
            sway_phase_rad: std::f64::consts::TAU * u(),
            own_spacer_mm: 2.0 * u(),
            air_gap_mm: 40.0 * u(),
            flutter: u(),
            flutter_phase_rad: std::f64::consts::TAU * u(),
            axis: crate::vector::Y,
            normal: crate::vector::X,
            cross: Complex64::new(0.1, 0.0),
            torso: 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stride() -> Stride {
        Stride {
            speed_m_s: 3.0,
            lateral_m: 0.4,
            height_m: 1.2,
            step_rad_s: 17.5,
            bounce_m: 0.04,
            step_phase_rad: 1.0,
            yaw_rad: 0.1,
            sway_rad: 0.14,
            sway_phase_rad: 2.0,
            own_spacer_mm: 2.0,
            air_gap_mm: 5.0,
            flutter: 0.4,
            flutter_phase_rad: 3.0,
            axis: crate::vector::Y,
            normal: crate::vector::X,
            cross: Complex64::new(0.1, 0.0),
            torso: 1,
        }
    }

    #[test]
    fn the_runner_is_on_the_line_at_time_zero_and_axis_and_normal_stay_square() {
        let s = stride();
        assert_eq!(s.at(0.0).at.x, 0.0);
        for i in -50..50 {
            let worn = s.at(f64::from(i) * 0.037).worn;
            assert!(worn.axis.dot(worn.normal).abs() < 1e-12 && (worn.axis.norm() - 1.0).abs() < 1e-12);
            let (low, high) = s.gap_range_mm();
            assert!((low..=high).contains(&worn.gap_mm));
        }
    }
}
